//! The rim: the edge followed in bands along a first trace of it.

use super::curve::{Curve, ROW_MM};
use super::edge::COMPETITOR_MM;
use super::hint::{self, Grid, HintCell};
use super::lift::LiftProfile;
use super::network::net::{EdgeNets, EdgePosterior, MULTIPLE, Planes};
use super::network::{self, COLUMNS, RIM_CHANNELS};
use super::strip::{CHANNELS, Strip};
use super::trace::{Alternative, RowPosterior};
use super::{Part, Scene};

/// Width of a band's columns, mm: it reaches 25 mm to either side.
const COLUMN_MM: f64 = 0.4;
/// Samples in each direction that make one value: rows are 2 mm apart.
pub const SAMPLES: usize = 2;
/// The same for hints.
const GRID: Grid = Grid { row_mm: SAMPLES as f64 * ROW_MM, column_mm: COLUMN_MM, straight: true };
/// Steepest slope against the band, columns a row: 45 degrees.
const MAX_SLOPE: usize = 5;
/// Cost of a change of slope by one column a row.
const BEND_COST: f32 = 0.5;
/// The curve is smoothed over this after each iteration, mm.
const SMOOTHINGS_MM: [f64; 2] = [4.0, 2.0];
/// A row is hidden when that is more likely than this (a logarithm).
const HIDDEN: f32 = -0.7;

/// An edge followed: the curve, and the posterior of each of its rows.
pub struct FollowedRim {
    /// The curve.
    pub curve: Curve,
    /// One a row of the band along which it was followed last.
    pub row_posteriors: Vec<RowPosterior>,
}

/// Follows a rim from a first trace by the posterior of a network for such rims.
pub fn follow(
    net: &EdgeNets,
    scene: &Scene,
    part: Part,
    lift: &LiftProfile,
    first: Curve,
) -> Option<FollowedRim> {
    let mut followed = FollowedRim { curve: first, row_posteriors: Vec::new() };
    for smoothing_mm in SMOOTHINGS_MM {
        let (planes, rows) = picture(scene, lift, &followed.curve)?;
        let path_of = |posterior: &EdgePosterior| {
            Some(network::viterbi(posterior, 0..rows, MAX_SLOPE, BEND_COST).best_path()?.0)
        };
        let hints = hint_cells(scene, part, lift, &followed.curve);
        let posterior =
            hint::conditioned(net.posterior(planes).first_rows(rows), 0..rows, &hints, GRID, path_of);
        let path = path_of(&posterior)?;
        let points = followed.curve.points.len();
        followed.row_posteriors = row_posteriors(&posterior, &path, points);
        followed.curve = followed.curve.moved(&offsets_mm(&posterior, &path, points), smoothing_mm);
    }
    Some(followed)
}

/// The network's picture of the band along a curve, and how many of its rows are the band's: colours, the slope of the line
/// of sight, and the photo's resolution.
pub fn picture(scene: &Scene, lift: &LiftProfile, curve: &Curve) -> Option<(Planes, usize)> {
    let rows = curve.points.len() / SAMPLES;
    let strip = Strip::sample(scene.photo, scene.camera, rows * SAMPLES, COLUMNS * SAMPLES, |row, column| {
        let column = (column as f64 + 0.5) / SAMPLES as f64 - 0.5;
        curve.point(row, offset_mm(column), scene.midline, lift)
    });
    let means = network::means(&strip, SAMPLES);
    let mut planes = network::by_mean_light(&[&means], RIM_CHANNELS, rows.next_multiple_of(MULTIPLE));
    let mm_per_px = scene.camera.mm_per_px(curve.point(rows * SAMPLES / 2, 0.0, scene.midline, lift))?;
    for row in 0..planes.rows {
        let slope = curve.slope_of_sight(row.min(rows - 1) * SAMPLES, scene.camera, scene.midline, lift);
        planes.line_mut(row, CHANNELS).fill(slope as f32);
        planes.line_mut(row, CHANNELS + 1).fill((0.5 * mm_per_px.log2()) as f32);
    }
    Some((planes, rows))
}

/// The hints within the band along a curve, in its picture.
fn hint_cells(scene: &Scene, part: Part, lift: &LiftProfile, curve: &Curve) -> Vec<HintCell> {
    let all = hint::along(scene, part, lift, curve).into_iter();
    let cells = all.map(|(row, offset_mm)| HintCell { row: row / SAMPLES, column: column_of(offset_mm) });
    cells.filter(|cell| (0.0..COLUMNS as f64).contains(&cell.column)).collect()
}

/// Offset of a column's middle, mm outwards.
fn offset_mm(column: f64) -> f64 {
    (column + 0.5 - COLUMNS as f64 / 2.0) * COLUMN_MM
}

/// The column whose middle is at an offset.
pub fn column_of(offset_mm: f64) -> f64 {
    offset_mm / COLUMN_MM + COLUMNS as f64 / 2.0 - 0.5
}

/// Offset in each row of the band of which `posterior` has one in [`SAMPLES`], mm.
fn offsets_mm(posterior: &EdgePosterior, path: &[usize], rows: usize) -> Vec<f64> {
    let at: Vec<f64> =
        (0..posterior.rows).map(|row| offset_mm(network::fine_column(posterior, row, path[row]))).collect();
    (0..rows)
        .map(|row| {
            let x = ((row as f64 - 0.5) / SAMPLES as f64).clamp(0.0, (at.len() - 1) as f64);
            let (low, t) = (x as usize, x.fract());
            at[low] * (1.0 - t) + at[(low + 1).min(at.len() - 1)] * t
        })
        .collect()
}

/// The posterior of each row of the band about the path.
fn row_posteriors(posterior: &EdgePosterior, path: &[usize], rows: usize) -> Vec<RowPosterior> {
    let all: Vec<RowPosterior> =
        (0..posterior.rows).map(|row| row_posterior(posterior, row, path[row])).collect();
    (0..rows).map(|row| all[(row / SAMPLES).min(posterior.rows - 1)]).collect()
}

/// The posterior of a row about a column.
fn row_posterior(posterior: &EdgePosterior, row: usize, column: usize) -> RowPosterior {
    if posterior.unseen[row] > HIDDEN {
        return RowPosterior::HIDDEN;
    }
    let (mut near, mut second_mm2, mut alternatives) = (0.0, 0.0, [Alternative::default(); 2]);
    for (at, log) in posterior.row(row).iter().enumerate() {
        let (p, apart_mm) = (f64::from(log.exp()), (at as f64 - column as f64) * COLUMN_MM);
        if apart_mm.abs() < COMPETITOR_MM {
            near += p;
        } else {
            let other = &mut alternatives[usize::from(apart_mm > 0.0)];
            other.probability += p;
            other.apart_mm += p * apart_mm;
            second_mm2 += p * apart_mm * apart_mm;
        }
    }
    let all = near + alternatives[0].probability + alternatives[1].probability;
    let alternatives = alternatives.map(|o| Alternative {
        probability: o.probability / all,
        apart_mm: o.apart_mm / o.probability.max(f64::MIN_POSITIVE),
    });
    RowPosterior { confidence: near / all, doubt_mm: (second_mm2 / all).sqrt(), alternatives }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn places_beside_the_path_are_rivals_by_their_probability() {
        // Columns are 0.4 mm wide: 3 of 10 are 6 mm further out, 1 of 10 is 4 mm further in.
        let mut edge = vec![f32::NEG_INFINITY; COLUMNS];
        for (column, p) in [(64, 0.6_f32), (79, 0.3), (54, 0.1)] {
            edge[column] = p.ln();
        }
        let posterior = EdgePosterior { rows: 1, columns: COLUMNS, edge, unseen: vec![f32::NEG_INFINITY] };
        let row = row_posterior(&posterior, 0, 64);
        let [inside, outside] = row.alternatives;
        // Single-precision logarithms.
        assert_relative_eq!(row.confidence, 0.6, epsilon = 1e-6);
        assert_relative_eq!(row.doubt_mm, (0.3 * 36.0 + 0.1 * 16.0_f64).sqrt(), epsilon = 1e-5);
        assert_relative_eq!(inside.apart_mm, -4.0, epsilon = 1e-6);
        assert_relative_eq!(outside.apart_mm, 6.0, epsilon = 1e-6);
        assert_relative_eq!(outside.probability, 0.3, epsilon = 1e-6);
    }
}
