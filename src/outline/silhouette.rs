//! Where a round cord ends: the profile of light across its silhouette.
//!
//! Light from above falls on a cord by the slope of its surface, so toward the silhouette the cord darkens like
//! `sqrt(1 - (x/r)^2)`; what lies beyond begins there with a light of its own that changes but slowly. A bright ground
//! makes that a step, a dark one a kink, a contact shadow a valley: fitting a step alone would put the edge a quarter
//! of a radius inside the silhouette in one case and on the shadow's far side in another. So both sides' own profiles,
//! blurred as the photo is, are fitted by least squares for every place of the silhouette, in all colours together, and
//! the sum of squares that is left tells how well the edge lies there.
//!
//! The same model, mirrored, finds the crease at the cord's inner side, where it meets the seat.

use nalgebra::DMatrix;
use rayon::prelude::*;

use super::band::{STEP_MM, column_of};
use super::strip::{CHANNELS, Strip};

/// Half-width of the window across the silhouette, mm: within a cord's radius nothing else is near.
const WINDOW_MM: f64 = 1.6;
/// Places of the silhouette within the window: this far from its middle, and so far apart, mm.
pub const REACH_MM: f64 = 1.2;
/// See [`REACH_MM`].
pub const PLACE_MM: f64 = 0.1;
/// Number of places.
pub const PLACES: usize = 2 * (REACH_MM / PLACE_MM + 0.5) as usize + 1;
/// Rows on either side that are averaged: texture goes, the line stays.
const AVERAGED_ROWS: usize = 3;
/// Noise of an averaged sample that is always there (square root of light).
const FLOOR: f64 = 0.002;
/// A row tells no more than this: beyond it the model is wrong, not the place.
const MOST_COST: f32 = 4.0;
/// Bilinear sampling blurs by this much (standard deviation), pixels.
const SAMPLING_BLUR_PX: f64 = 0.35;

/// Which way the cord's surface falls off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Faces {
    /// Toward greater offsets: the outer silhouette.
    Outwards,
    /// Toward lesser offsets: the crease.
    Inwards,
}

/// The profile model with its bases for every place.
#[derive(Debug, Clone)]
pub struct Silhouette {
    bases: Vec<DMatrix<f32>>,
    independent: f64,
}

impl Silhouette {
    /// The model for a cord of a radius in mm seen with a blur (standard deviation) in pixels that cover `mm_per_px`.
    pub fn new(radius_mm: f64, blur_px: f64, mm_per_px: f64, faces: Faces) -> Self {
        let blur_mm = blur_px.hypot(SAMPLING_BLUR_PX) * mm_per_px;
        let sign = if faces == Faces::Outwards { 1.0 } else { -1.0 };
        let bases = (0..PLACES).map(|i| basis(place_mm(i) * sign, radius_mm, blur_mm, sign)).collect();
        // Pixels across the window; rows of a millimetre averaged over seven repeat each other.
        let independent = 2.0 * WINDOW_MM / mm_per_px / (2 * AVERAGED_ROWS + 1) as f64;
        Self { bases, independent }
    }

    /// Cost of the silhouette at every place about `middle_mm`, row by row: minus the logarithm of its likelihood when
    /// the noise is not known beforehand, 0 at the best place of a row. All 0 where samples are missing.
    pub fn costs(&self, band: &Strip, middle_mm: f64) -> Vec<f32> {
        let first = column_of(middle_mm - WINDOW_MM).max(0) as usize;
        let samples = window_columns();
        let mut out = vec![0.0; band.rows * PLACES];
        if first + samples > band.columns {
            return out;
        }
        out.par_chunks_mut(PLACES).enumerate().for_each(|(row, line)| {
            let window = averaged(band, row, first, samples);
            self.row_costs(&window, line);
        });
        out
    }

    fn row_costs(&self, window: &DMatrix<f32>, line: &mut [f32]) {
        let total = window.norm_squared();
        if !total.is_finite() {
            return;
        }
        let floor = (FLOOR * FLOOR) as f32 * window.len() as f32;
        for (out, basis) in line.iter_mut().zip(&self.bases) {
            let left = (total - (basis.transpose() * window).norm_squared()).max(0.0);
            *out = 0.5 * self.independent as f32 * (left + floor).ln();
        }
        let least = line.iter().copied().fold(f32::INFINITY, f32::min);
        line.iter_mut().for_each(|v| *v = (*v - least).min(MOST_COST));
    }
}

/// Offset of a place from the window's middle, mm.
pub fn place_mm(place: usize) -> f64 {
    place as f64 * PLACE_MM - REACH_MM
}

fn window_columns() -> usize {
    (2.0 * WINDOW_MM / STEP_MM).round() as usize + 1
}

/// The window's samples, averaged over neighbouring rows: one column a colour channel.
fn averaged(band: &Strip, row: usize, first: usize, samples: usize) -> DMatrix<f32> {
    let near = row.saturating_sub(AVERAGED_ROWS)..(row + AVERAGED_ROWS + 1).min(band.rows);
    let scale = 1.0 / near.len() as f32;
    let mut window = DMatrix::zeros(samples, CHANNELS);
    for r in near {
        for (i, sample) in band.row(r)[first..first + samples].iter().enumerate() {
            for k in 0..CHANNELS {
                window[(i, k)] += sample[k] * scale;
            }
        }
    }
    window
}

/// Orthonormal basis of the profiles with the silhouette at a place: on the cord a level, a slope and the fall-off,
/// beyond it a level and a slope. `sign` is -1 for a mirrored profile.
fn basis(place: f64, radius: f64, blur: f64, sign: f64) -> DMatrix<f32> {
    let profiles: [&dyn Fn(f64) -> f64; 5] = [
        &|d| if d < 0.0 { 1.0 } else { 0.0 },
        &|d| if d < 0.0 { d } else { 0.0 },
        &|d| if d < 0.0 { (1.0 - (1.0 + d / radius).powi(2)).max(0.0).sqrt() } else { 0.0 },
        &|d| if d < 0.0 { 0.0 } else { 1.0 },
        &|d| if d < 0.0 { 0.0 } else { d },
    ];
    let raw = DMatrix::from_fn(window_columns(), profiles.len(), |i, k| {
        let x = (i as f64 * STEP_MM - WINDOW_MM) * sign;
        blurred(profiles[k], x - place, blur)
    });
    raw.qr().q().map(|v| v as f32)
}

/// A profile under a Gaussian blur, by the trapezium rule over four standard deviations each way.
fn blurred(profile: &dyn Fn(f64) -> f64, d: f64, blur: f64) -> f64 {
    const STEPS: i32 = 24;
    let (mut sum, mut weights) = (0.0, 0.0);
    for i in -STEPS..=STEPS {
        let z = 4.0 * f64::from(i) / f64::from(STEPS);
        let weight = (-0.5 * z * z).exp();
        sum += weight * profile(d - z * blur);
        weights += weight;
    }
    sum / weights
}
