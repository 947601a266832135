//! Hints: points on an edge given by hand, on which the posteriors are conditioned.
//!
//! A hint pins the edge in its row. What misled the network there does so in nearby rows as well: the line that was traced
//! instead loses the log odds by which it beat the hint, fading over [`REACH_MM`].

use std::ops::Range;

use nalgebra::Vector2;

use super::curve::Curve;
use super::edge::COMPETITOR_MM;
use super::lift::LiftProfile;
use super::network::net::EdgePosterior;
use super::{Scene, Side};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::Part;

/// A point of the photo, given by hand, through which an edge runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hint {
    /// The pair of edges; the side is that of the point.
    pub part: Part,
    /// Where.
    pub pixel: PhotoPoint,
}

impl Hint {
    /// The point at the profile's lift, mm in the card's horizontal.
    pub fn plan_point(&self, scene: &Scene, lift: &LiftProfile) -> Option<Vector2<f64>> {
        let side = Side::Left;
        let (station, offset_mm) = scene.midline.locate(scene.camera, lift, side, self.pixel, 0.5)?;
        Some(scene.midline.point(station, offset_mm, side, 0.0).horizontal())
    }
}

/// The hints of a part along a curve: row of the curve and offset outwards, mm.
pub fn along(scene: &Scene, part: Part, lift: &LiftProfile, curve: &Curve) -> Vec<(usize, f64)> {
    let here = scene.hints.iter().filter(|hint| hint.part == part);
    let places = here.filter_map(|hint| curve.place_of(hint.plan_point(scene, lift)?));
    places.filter(|(_, offset_mm)| offset_mm.abs() < OWN_MM).collect()
}

/// A hint in the rows and columns of a network's picture.
#[derive(Debug, Clone, Copy)]
pub struct HintCell {
    /// Row.
    pub row: usize,
    /// Column, whole where its middle is.
    pub column: f64,
}

/// A picture's rows and columns.
#[derive(Debug, Clone, Copy)]
pub struct Grid {
    /// From row to row, mm.
    pub row_mm: f64,
    /// From column to column, mm.
    pub column_mm: f64,
    /// Whether the edge runs about straight through the rows, as in a band along its own trace; else about as the traced line.
    pub straight: bool,
}

/// Standard deviation of a point given by hand, mm, and how far the edge departs from its course there, mm per mm.
const HINT_U_MM: f64 = 0.7;
const DRIFT: f64 = 0.05;
/// A hint further off a first trace than this, mm, is not of its edge but of the one on the other side: channels are twice as
/// wide.
const OWN_MM: f64 = 15.0;
/// Length over which straps, shadows and worn patches mislead a trace, to either side, mm.
const REACH_MM: f64 = 60.0;
/// Floor of a likelihood: the edge may be where the network gives it no probability.
const LEAST: f32 = 1e-3;

/// The posterior of rows conditioned on hints. `path_of` gives the traced column of each of `rows`.
pub fn conditioned(
    mut posterior: EdgePosterior,
    rows: Range<usize>,
    hints: &[HintCell],
    grid: Grid,
    path_of: impl Fn(&EdgePosterior) -> Option<Vec<usize>>,
) -> EdgePosterior {
    for hint in hints.iter().filter(|hint| rows.contains(&hint.row)) {
        let Some(path) = path_of(&posterior) else { continue };
        let traced = |row: usize| path[row - rows.start] as f64;
        let mistaken = log_odds_of_trace(&posterior, hint, traced(hint.row), grid);
        for row in rows.clone() {
            let away_mm = row.abs_diff(hint.row) as f64 * grid.row_mm;
            let runs_on = if grid.straight { 0.0 } else { traced(row) - traced(hint.row) };
            let less = mistaken * (-0.5 * (away_mm / REACH_MM).powi(2)).exp();
            for (c, v) in posterior.row_mut(row).iter_mut().enumerate() {
                let off_mm = (c as f64 - hint.column - runs_on) * grid.column_mm;
                let is_traced = (c as f64 - traced(row)).abs() * grid.column_mm < COMPETITOR_MM;
                let z = off_mm / (HINT_U_MM + DRIFT * away_mm);
                let against = 0.5 * z * z + if is_traced { less } else { 0.0 };
                *v = v.max(LEAST.ln()) - against as f32;
            }
        }
        posterior.unseen[hint.row] = f32::NEG_INFINITY;
        rows.clone().for_each(|row| posterior.normalise(row));
    }
    posterior
}

/// Log odds by which the traced line beat the hint in its row.
fn log_odds_of_trace(posterior: &EdgePosterior, hint: &HintCell, traced: f64, grid: Grid) -> f64 {
    let apart = COMPETITOR_MM / grid.column_mm;
    if (traced - hint.column).abs() < apart {
        return 0.0;
    }
    let likely = |column: f64| -> f32 {
        let near =
            posterior.row(hint.row).iter().enumerate().filter(|(c, _)| (*c as f64 - column).abs() < apart);
        near.map(|(_, v)| v.exp()).sum::<f32>().max(LEAST)
    };
    f64::from((likely(traced) / likely(hint.column)).ln().max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    const BAND: Grid = Grid { row_mm: 2.0, column_mm: 0.4, straight: true };

    /// Rows that show two lines, the first of them more likely.
    fn two_lines(rows: usize, columns: [usize; 2]) -> EdgePosterior {
        let mut posterior =
            EdgePosterior { rows, columns: 64, edge: vec![-12.0; rows * 64], unseen: vec![-5.0; rows] };
        for row in 0..rows {
            posterior.row_mut(row)[columns[0]] = 0.9f32.ln();
            posterior.row_mut(row)[columns[1]] = 0.1f32.ln();
        }
        posterior
    }

    fn most_likely(posterior: &EdgePosterior) -> Option<Vec<usize>> {
        let most = |row: &[f32]| row.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map(|m| m.0);
        (0..posterior.rows).map(|row| most(posterior.row(row))).collect()
    }

    #[test]
    fn a_hint_moves_the_rows_beside_it_and_no_row_far_away() {
        let hint = HintCell { row: 50, column: 40.0 };
        let posterior = conditioned(two_lines(300, [20, 40]), 0..300, &[hint], BAND, most_likely);
        let path = most_likely(&posterior).unwrap();
        // 20 mm away: the 8 mm between the lines cost 11, more than the little that is left of the mistake.
        assert_eq!([path[40], path[50], path[60]], [40; 3]);
        // 400 mm away, ten lengths of what a hint reaches.
        assert_eq!(path[250], 20);
    }

    #[test]
    fn a_hint_makes_a_hidden_row_visible() {
        let mut hidden = two_lines(9, [20, 40]);
        hidden.unseen = vec![-1e-3; 9];
        let posterior = conditioned(hidden, 0..9, &[HintCell { row: 4, column: 33.0 }], BAND, most_likely);
        assert_eq!(posterior.unseen[4], f32::NEG_INFINITY);
        assert_eq!(most_likely(&posterior).unwrap()[4], 33);
    }

    #[test]
    fn an_edge_that_is_not_straight_follows_the_course_of_the_traced_line() {
        let slope = Grid { straight: false, ..BAND };
        let mut posterior =
            EdgePosterior { rows: 20, columns: 64, edge: vec![-12.0; 20 * 64], unseen: vec![-5.0; 20] };
        for row in 0..20 {
            posterior.row_mut(row)[10 + 2 * row] = -0.1;
            posterior.row_mut(row)[16 + 2 * row] = -5.0;
        }
        let hints = [HintCell { row: 10, column: 36.0 }];
        let path = most_likely(&conditioned(posterior, 0..20, &hints, slope, most_likely)).unwrap();
        assert_eq!([path[7], path[13]], [30, 42]);
    }
}
