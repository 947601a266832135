//! The form as a whole: a first trace of its edges, and of its channel's, in the charts of both sides.

use std::ops::Range;

use nalgebra::Vector2;

use super::chart::Chart;
use super::curve::Curve;
use super::hint::{self, Grid, HintCell};
use super::lift::LiftProfile;
use super::midline::Midline;
use super::network::net::{EdgeNets, EdgePosterior, Planes};
use super::network::{self, CHANNEL_FORM, COLUMNS, FORM, FORM_CHANNELS};
use super::strip::{CHANNELS, Strip};
use super::trace::Viterbi;
use super::{Part, SIDES, Scene};
use crate::numeric::parallel;

/// Rows of a chart's picture.
const ROWS: usize = 160;
/// Width of its columns, mm: 128 of them reach 160 mm, and no seat form is wider than twice that.
const COLUMN_MM: f64 = 1.25;
/// Samples in each direction that make one of its values.
const SAMPLES: usize = 3;
/// Steepest slope against the chart, columns a row: 6 mm in 3.
const MAX_SLOPE: usize = 5;
/// Cost of a change of slope by one column a row.
const BEND_COST: f32 = 0.5;
/// The curve through the columns is smoothed over this, mm.
const SMOOTHING_MM: f64 = 5.0;
/// A channel is open at its ends: rows that fan out by more than 60 degrees may not cross its edges.
const MOST_ALONG: f64 = 0.87;
/// Least visibility of a pair of edges, half of its rows: below it there is none.
pub const LEAST_VISIBILITY: f64 = 0.5;

/// The networks' pictures of a form about a midline, one a side.
#[derive(Debug, Clone)]
pub struct FormPictures {
    /// The midline.
    pub midline: Midline,
    /// The lift of the surface that they show.
    pub lift: LiftProfile,
    /// The charts of the left and the right side.
    pub charts: [Chart; 2],
    /// Their pictures: each side's colours, those of the other one, and where a value is across and along the chart.
    pub planes: [Planes; 2],
    /// Hints, mm in the card's horizontal.
    hints: Vec<(Part, Vector2<f64>)>,
}

impl FormPictures {
    /// The pictures about a scene's midline.
    pub fn of(scene: &Scene, lift: &LiftProfile) -> Self {
        let charts = SIDES.map(|side| Chart::closed(scene.midline, side));
        let means = charts.each_ref().map(|chart| network::means(&sampled(scene, lift, chart), SAMPLES));
        let planes = [0, 1].map(|i| {
            let mut planes = network::by_mean_light(&[&means[i], &means[1 - i]], FORM_CHANNELS, ROWS);
            for row in 0..ROWS {
                let across = planes.line_mut(row, 2 * CHANNELS).iter_mut().enumerate();
                across.for_each(|(c, v)| *v = c as f32 / (COLUMNS / 2) as f32 - 1.0);
                planes.line_mut(row, 2 * CHANNELS + 1).fill(row as f32 / (ROWS / 2) as f32 - 1.0);
            }
            planes
        });
        let hints = scene.hints.iter().filter_map(|h| Some((h.part, h.plan_point(scene, lift)?))).collect();
        Self { midline: *scene.midline, lift: lift.clone(), charts, planes, hints }
    }

    /// The same pictures for the other view, in which left and right are exchanged.
    pub fn mirrored(mut self) -> Self {
        self.midline = self.midline.mirrored();
        self.charts.reverse();
        self.planes.reverse();
        self
    }

    /// The form's edges.
    pub fn edges(&self) -> FormPosterior<'_> {
        self.posterior(&FORM, Part::Seat, 0..ROWS)
    }

    /// The channel's edges. `None` where no row crosses them.
    pub fn channel(&self) -> Option<FormPosterior<'_>> {
        let chart = &self.charts[0];
        let ray = |row: usize| &chart.rays[row * (chart.rays.len() - 1) / ROWS];
        let crosses = |row: &usize| ray(*row).direction.dot(&self.midline.along()).abs() <= MOST_ALONG;
        let first = (0..ROWS).find(crosses)?;
        let end = (0..ROWS).rev().find(crosses)? + 1;
        Some(self.posterior(&CHANNEL_FORM, Part::Channel, first..end))
    }

    fn posterior(&self, net: &EdgeNets, part: Part, rows: Range<usize>) -> FormPosterior<'_> {
        let of_side = |i: usize| {
            let path_of = |posterior: &EdgePosterior| Some(viterbi(posterior, rows.clone()).best_path()?.0);
            let row_mm = self.charts[i].rays.len() as f64 / ROWS as f64;
            let grid = Grid { row_mm, column_mm: COLUMN_MM, straight: false };
            let posterior = net.posterior(self.planes[i].clone());
            hint::conditioned(posterior, rows.clone(), &self.hint_cells(part, i), grid, path_of)
        };
        let (left, right) = parallel::join(|| of_side(0), || of_side(1));
        FormPosterior { charts: &self.charts, posteriors: [left, right], rows }
    }

    /// The hints of a part on a side, in its picture.
    fn hint_cells(&self, part: Part, side: usize) -> Vec<HintCell> {
        let chart = &self.charts[side];
        let rows = ROWS as f64 / (chart.rays.len() - 1) as f64;
        let here = self.hints.iter().filter(|hint| hint.0 == part);
        let places = here.filter_map(|hint| chart.place_of(hint.1));
        let cells =
            places.map(|(at, reach_mm)| HintCell { row: (at * rows) as usize, column: column_of(reach_mm) });
        // A point beyond the chart belongs to something else.
        cells.filter(|cell| (0.0..COLUMNS as f64).contains(&cell.column)).collect()
    }
}

/// The posterior of a pair of edges.
pub struct FormPosterior<'a> {
    charts: &'a [Chart; 2],
    /// The posterior of each side.
    pub posteriors: [EdgePosterior; 2],
    /// The rows in which the edges are looked for.
    rows: Range<usize>,
}

impl FormPosterior<'_> {
    /// Probability that an edge is visible, averaged over the rows of both sides.
    pub fn visibility(&self) -> f64 {
        let unseen = self.posteriors.iter().flat_map(|t| &t.unseen[self.rows.clone()]);
        1.0 - unseen.map(|v| f64::from(v.exp())).sum::<f64>() / (2 * self.rows.len()) as f64
    }

    /// The most likely curves of both sides, outwards away from the midline, through the midline's ends, give or take a
    /// tolerance.
    pub fn curves(&self, end_tolerance_mm: f64) -> Option<[Curve; 2]> {
        let curve = |side: usize| {
            let points = self.points(side, Some(end_tolerance_mm))?;
            Some(Curve::of_side(&points, &self.charts[side], SMOOTHING_MM, false))
        };
        let (left, right) = parallel::join(|| curve(0), || curve(1));
        Some([left?, right?])
    }

    /// The most likely points of one side, mm in the card's horizontal; with a tolerance they begin and end at the
    /// midline's ends.
    pub fn points(&self, side: usize, end_tolerance_mm: Option<f64>) -> Option<Vec<Vector2<f64>>> {
        let (chart, posterior) = (&self.charts[side], &self.posteriors[side]);
        let mut viterbi = viterbi(posterior, self.rows.clone());
        if let Some(tolerance_mm) = end_tolerance_mm {
            for (row, end_mm) in [0, ROWS - 1].into_iter().zip(chart.end_reach_mm) {
                let costs = viterbi.cost[row * COLUMNS..(row + 1) * COLUMNS].iter_mut().enumerate();
                let off = |column: usize| (reach_mm(column as f64) - end_mm).abs();
                costs.filter(|(column, _)| off(*column) > tolerance_mm).for_each(|(_, c)| *c = f32::INFINITY);
            }
        }
        let (path, _) = viterbi.best_path()?;
        let last = (chart.rays.len() - 1) as f64;
        let reach = |i: usize| reach_mm(network::fine_column(posterior, self.rows.start + i, path[i]));
        let place = |i: usize| ((self.rows.start + i) as f64 + 0.5) / ROWS as f64 * last;
        let mut points: Vec<_> = (0..path.len()).map(|i| chart.plan_point(place(i), reach(i))).collect();
        if end_tolerance_mm.is_some() {
            points.insert(0, chart.plan_point(0.0, reach(0)));
            points.push(chart.plan_point(last, reach(path.len() - 1)));
        }
        Some(points)
    }
}

fn viterbi(posterior: &EdgePosterior, rows: Range<usize>) -> Viterbi {
    network::viterbi(posterior, rows, MAX_SLOPE, BEND_COST)
}

/// The column whose middle is at a reach.
pub fn column_of(reach_mm: f64) -> f64 {
    reach_mm / COLUMN_MM - 0.5
}

/// Reach of a column's middle, mm.
fn reach_mm(column: f64) -> f64 {
    (column + 0.5) * COLUMN_MM
}

fn sampled(scene: &Scene, lift: &LiftProfile, chart: &Chart) -> Strip {
    let (rows, step) = (ROWS * SAMPLES, COLUMN_MM / SAMPLES as f64);
    let last = (chart.rays.len() - 1) as f64;
    Strip::sample(scene.photo, scene.camera, rows, COLUMNS * SAMPLES, |row, column| {
        let at = (row as f64 + 0.5) / rows as f64 * last;
        chart.point_between(at, (column as f64 + 0.5) * step, scene.midline, lift)
    })
}
