//! The rim: the edge followed in bands along a first trace of it.

use super::curve::{Curve, ROW_MM};
use super::edge::COMPETITOR_MM;
use super::hint::{self, Grid, Shown};
use super::lift::LiftProfile;
use super::network::net::{EdgeNets, EdgePosterior, MULTIPLE, Planes};
use super::network::{self, COLUMNS, RIM_CHANNELS};
use super::strip::{CHANNELS, Strip};
use super::trace::Belief;
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
/// The curve is smoothed over this after each turn, mm.
const SMOOTHINGS_MM: [f64; 2] = [4.0, 2.0];
/// A row is hidden when that is more likely than this (a logarithm).
const HIDDEN: f32 = -0.7;

/// An edge followed: the curve, and how sure each of its rows is.
pub struct FollowedRim {
    /// The curve.
    pub curve: Curve,
    /// One a row of the band along which it was followed last.
    pub beliefs: Vec<Belief>,
}

/// Follows a rim from a first trace with what a network for such rims tells.
pub fn follow(
    net: &EdgeNets,
    scene: &Scene,
    part: Part,
    lift: &LiftProfile,
    first: Curve,
) -> Option<FollowedRim> {
    let mut followed = FollowedRim { curve: first, beliefs: Vec::new() };
    for smoothing_mm in SMOOTHINGS_MM {
        let (planes, rows) = picture(scene, lift, &followed.curve)?;
        let path_of =
            |told: &EdgePosterior| Some(network::programme(told, 0..rows, MAX_SLOPE, BEND_COST).best()?.0);
        let shown = shown(scene, part, lift, &followed.curve);
        let told = hint::believed(net.posterior(planes).first_rows(rows), 0..rows, &shown, GRID, path_of);
        let path = path_of(&told)?;
        let points = followed.curve.points.len();
        followed.beliefs = beliefs(&told, &path, points);
        followed.curve = followed.curve.moved(&offsets_mm(&told, &path, points), smoothing_mm);
    }
    Some(followed)
}

/// What the network is shown of the band along a curve, and how many of its rows are the band's: its colours, the slope of
/// the line of sight and how fine the photo is.
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

/// The hints that lie within the band along a curve, in its picture.
fn shown(scene: &Scene, part: Part, lift: &LiftProfile, curve: &Curve) -> Vec<Shown> {
    let all = hint::along(scene, part, lift, curve).into_iter();
    let shown = all.map(|(row, offset_mm)| Shown { row: row / SAMPLES, column: column_of(offset_mm) });
    shown.filter(|shown| (0.0..COLUMNS as f64).contains(&shown.column)).collect()
}

/// Offset of a column's middle, mm outwards.
fn offset_mm(column: f64) -> f64 {
    (column + 0.5 - COLUMNS as f64 / 2.0) * COLUMN_MM
}

/// The column in whose middle an offset lies.
pub fn column_of(offset_mm: f64) -> f64 {
    offset_mm / COLUMN_MM + COLUMNS as f64 / 2.0 - 0.5
}

/// Offset in each row of the band of which `told` has one in [`SAMPLES`], mm.
fn offsets_mm(told: &EdgePosterior, path: &[usize], rows: usize) -> Vec<f64> {
    let at: Vec<f64> =
        (0..told.rows).map(|row| offset_mm(network::fine_column(told, row, path[row]))).collect();
    (0..rows)
        .map(|row| {
            let x = ((row as f64 - 0.5) / SAMPLES as f64).clamp(0.0, (at.len() - 1) as f64);
            let (low, t) = (x as usize, x.fract());
            at[low] * (1.0 - t) + at[(low + 1).min(at.len() - 1)] * t
        })
        .collect()
}

/// How sure each row of the band is that the edge lies on the path.
fn beliefs(told: &EdgePosterior, path: &[usize], rows: usize) -> Vec<Belief> {
    let beliefs: Vec<Belief> = (0..told.rows).map(|row| belief(told, row, path[row])).collect();
    (0..rows).map(|row| beliefs[(row / SAMPLES).min(told.rows - 1)]).collect()
}

/// What is told of a row near a column, against all that is told of it elsewhere; most of all speaks for the rival.
fn belief(told: &EdgePosterior, row: usize, column: usize) -> Belief {
    if told.unseen[row] > HIDDEN {
        return Belief::HIDDEN;
    }
    let apart = (COMPETITOR_MM / COLUMN_MM) as usize;
    let (mut near, mut elsewhere, mut rival) = (0.0, 0.0, (f32::NEG_INFINITY, 0));
    for (at, told) in told.row(row).iter().enumerate() {
        if at.abs_diff(column) < apart {
            near += f64::from(told.exp());
        } else {
            elsewhere += f64::from(told.exp());
            rival = if *told > rival.0 { (*told, at) } else { rival };
        }
    }
    let rival_mm = (rival.1 as f64 - column as f64) * COLUMN_MM;
    Belief { confidence: near / (near + elsewhere), rival_mm: Some(rival_mm) }
}
