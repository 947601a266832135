//! The straightened strip: the photo sampled on a chart, and the evidence for a boundary in it.
//!
//! Samples are square roots of linear light, in which a sensor's shot noise is the same in the dark and in the
//! light, turned to one intensity and two colour differences.

use rayon::prelude::*;

use super::chart::Chart;
use super::lift::LiftProfile;
use super::midline::Midline;
use crate::camera::Camera;
use crate::ground::frame::CardPoint;
use crate::photo::Photo;

/// Columns stand this far apart, mm.
pub const COLUMN_STEP_MM: f64 = 0.25;
/// Channels of a sample: intensity, red-green and blue-yellow difference.
pub const CHANNELS: usize = 3;

/// The sampled strip of one side. Samples outside the photo are NaN.
#[derive(Debug, Clone)]
pub struct Strip {
    /// Number of rows.
    pub rows: usize,
    /// Number of columns.
    pub columns: usize,
    samples: Vec<[f32; CHANNELS]>,
}

impl Strip {
    /// Samples the photo at `place(row, column)`, points in the card frame.
    pub fn sample(
        photo: &Photo,
        camera: &Camera,
        rows: usize,
        columns: usize,
        place: impl Fn(usize, usize) -> CardPoint + Sync,
    ) -> Self {
        let mut samples = vec![[f32::NAN; CHANNELS]; rows * columns];
        samples.par_chunks_mut(columns).enumerate().for_each(|(row, line)| {
            for (column, out) in line.iter_mut().enumerate() {
                let light = camera.photo_from_card(place(row, column)).and_then(|p| photo.linear_at(p));
                if let Some(rgb) = light {
                    *out = opponent(rgb);
                }
            }
        });
        Self { rows, columns, samples }
    }

    /// The strip of a chart out to a reach; column c lies at reach `c * COLUMN_STEP_MM`.
    pub fn of_chart(
        photo: &Photo,
        camera: &Camera,
        midline: &Midline,
        lift: &LiftProfile,
        chart: &Chart,
        reach_mm: f64,
    ) -> Self {
        let columns = (reach_mm / COLUMN_STEP_MM).round() as usize;
        Self::sample(photo, camera, chart.rays.len(), columns, |row, column| {
            chart.point(row, column as f64 * COLUMN_STEP_MM, midline, lift)
        })
    }

    /// One row's samples.
    pub fn row(&self, row: usize) -> &[[f32; CHANNELS]] {
        &self.samples[row * self.columns..(row + 1) * self.columns]
    }
}

/// Square roots of light as intensity and colour differences. Differences carry less noise and less of the texture
/// that shading makes, so they weigh more.
#[inline]
pub fn opponent(rgb: [f32; 3]) -> [f32; CHANNELS] {
    let [r, g, b] = rgb.map(f32::sqrt);
    [(r + g + b) / 3.0, 2.0 * (r - g), 2.0 * (0.5 * (r + g) - b)]
}

/// Evidence for a boundary at each place of a strip, as a log-likelihood ratio that saturates.
#[derive(Debug, Clone)]
pub struct Evidence {
    /// Number of rows.
    pub rows: usize,
    /// Number of columns.
    pub columns: usize,
    /// Row by row.
    pub values: Vec<f32>,
}

/// What the windows on both sides of a supposed boundary look like.
#[derive(Debug, Clone, Copy)]
pub struct Windows {
    /// Length of each window across the boundary, columns.
    pub length: usize,
    /// Columns left out on each side of the boundary, where blur mixes both.
    pub gap: usize,
    /// Rows on either side that are taken along.
    pub rows: usize,
}

/// Noise of a sample that no texture explains (square root of light): quantisation and compression.
const FLOOR: f32 = 0.004;
/// Evidence saturates: one row can say so much and no more.
const SATURATION: f32 = 4.0;

impl Evidence {
    /// Student's t of the two windows' means, squared and summed over the channels, on a logarithmic scale.
    pub fn of(strip: &Strip, windows: Windows) -> Self {
        let (rows, columns) = (strip.rows, strip.columns);
        let sums = sums_of_rows(strip);
        let mut values = vec![0.0; rows * columns];
        let margin = windows.gap + windows.length;
        values.par_chunks_mut(columns).enumerate().for_each(|(row, line)| {
            let near = &sums[row.saturating_sub(windows.rows)..(row + windows.rows + 1).min(rows)];
            let (sum, n) = (summed(near), (windows.length * near.len()) as f64);
            let last = columns.saturating_sub(margin);
            for (column, out) in line.iter_mut().enumerate().take(last).skip(margin) {
                let inner = (column - margin, column - windows.gap);
                let outer = (column + windows.gap, column + margin);
                *out = contrast(&sum, n, inner, outer);
            }
        });
        Self { rows, columns, values }
    }

    /// Evidence for sharp steps only, each row taken with `near` rows on either side and windows of `length` columns;
    /// rows that are not `wanted` have none.
    pub fn of_sharp_steps(
        strip: &Strip,
        length: usize,
        near: usize,
        wanted: impl Fn(usize) -> bool + Sync,
    ) -> Self {
        let (rows, columns) = (strip.rows, strip.columns);
        let sums = sums_of_rows(strip);
        let mut values = vec![0.0; rows * columns];
        values.par_chunks_mut(columns).enumerate().filter(|(row, _)| wanted(*row)).for_each(|(row, line)| {
            let t2 = sharp_steps(&sums[row.saturating_sub(near)..(row + near + 1).min(rows)], length);
            line.iter_mut().zip(t2).for_each(|(v, t2)| *v = ((1.0 + t2).ln() as f32).min(SATURATION));
        });
        Self { rows, columns, values }
    }

    /// One row's evidence.
    pub fn row(&self, row: usize) -> &[f32] {
        &self.values[row * self.columns..(row + 1) * self.columns]
    }
}

/// Sums of values and squares of each channel, and the count of missing samples.
type RunningSum = [f64; 2 * CHANNELS + 1];

/// Student's t squared of a sharp step at every column, summed over the channels, from a stretch of rows together.
///
/// Soft shadows beside a form brighten over some millimetres and would count as boundaries everywhere along their slope.
/// A step shows the same difference in short windows and in windows three times as long, a slope only a third of it in
/// the short ones: `(3 short - long) / 2` keeps the step and drops the slope.
fn sharp_steps(rows: &[Vec<RunningSum>], length: usize) -> Vec<f64> {
    let columns = rows[0].len() - 1;
    let sums = summed(rows);
    let n = (length * rows.len()) as f64;
    let mut out = vec![0.0; columns];
    let last = columns.saturating_sub(3 * length);
    for (column, out) in out.iter_mut().enumerate().take(last).skip(3 * length) {
        let (short, spread) = step_and_spread(&sums, n, column, length);
        let (long, _) = step_and_spread(&sums, 3.0 * n, column, 3 * length);
        let level = window_sum(&sums, (column - length, column + length))[0] / (2.0 * n);
        let t2: f64 = (0..CHANNELS)
            .map(|k| {
                let step = (1.5 * short[k].abs() - 0.5 * long[k] * short[k].signum()).max(0.0);
                let floor = f64::from(FLOOR);
                step * step / ((spread[k] + floor * floor) * CORRELATED / n + (FAINT * level).powi(2))
            })
            .sum();
        *out = if t2.is_finite() { t2 } else { 0.0 };
    }
    out
}

/// A change of light by less than this part of it is the floor's or the leather's own, however surely it is seen.
const FAINT: f64 = 0.03;

/// Neighbouring samples repeat each other: a strip is sampled finer than the photo, and leather has a grain. So many
/// samples count as one.
const CORRELATED: f64 = 12.0;

/// Difference of the means of two windows that meet at a column, and the sum of their variances, by channel. NaN where
/// samples are missing.
fn step_and_spread(
    sums: &[RunningSum],
    n: f64,
    column: usize,
    length: usize,
) -> ([f64; CHANNELS], [f64; CHANNELS]) {
    let inner = window_sum(sums, (column - length, column));
    let outer = window_sum(sums, (column, column + length));
    let missing = inner[2 * CHANNELS] + outer[2 * CHANNELS] > 0.0;
    let n = if missing { f64::NAN } else { n };
    let mean = |sum: &RunningSum, k: usize| sum[k] / n;
    let step = std::array::from_fn(|k| mean(&outer, k) - mean(&inner, k));
    let spread = std::array::from_fn(|k| {
        let squares = (inner[CHANNELS + k] + outer[CHANNELS + k]) / n;
        (squares - mean(&inner, k).powi(2) - mean(&outer, k).powi(2)).max(0.0)
    });
    (step, spread)
}

fn window_sum(sums: &[RunningSum], (from, to): (usize, usize)) -> RunningSum {
    std::array::from_fn(|k| sums[to][k] - sums[from][k])
}

/// The running sums of every row of a strip.
fn sums_of_rows(strip: &Strip) -> Vec<Vec<RunningSum>> {
    (0..strip.rows).into_par_iter().map(|row| running_sums(strip.row(row))).collect()
}

/// The running sums of rows taken together.
fn summed(rows: &[Vec<RunningSum>]) -> Vec<RunningSum> {
    let mut sums = vec![[0.0; 2 * CHANNELS + 1]; rows[0].len()];
    for row in rows {
        for (sum, own) in sums.iter_mut().zip(row) {
            sum.iter_mut().zip(own).for_each(|(s, v)| *s += v);
        }
    }
    sums
}

/// Running sums of values and squares, and a count of missing samples.
fn running_sums(line: &[[f32; CHANNELS]]) -> Vec<RunningSum> {
    let mut sums = Vec::with_capacity(line.len() + 1);
    let mut total = [0.0; 2 * CHANNELS + 1];
    sums.push(total);
    for sample in line {
        if sample[0].is_nan() {
            total[2 * CHANNELS] += 1.0;
        } else {
            for k in 0..CHANNELS {
                let v = f64::from(sample[k]);
                total[k] += v;
                total[CHANNELS + k] += v * v;
            }
        }
        sums.push(total);
    }
    sums
}

fn contrast(sums: &[RunningSum], n: f64, inner: (usize, usize), outer: (usize, usize)) -> f32 {
    let (a, b) = (window_sum(sums, inner), window_sum(sums, outer));
    if a[2 * CHANNELS] > 0.0 || b[2 * CHANNELS] > 0.0 {
        return 0.0;
    }
    let mut t2 = 0.0;
    for k in 0..CHANNELS {
        let (ma, mb) = (a[k] / n, b[k] / n);
        let spread = (a[CHANNELS + k] + b[CHANNELS + k]) / n - ma * ma - mb * mb;
        let floor = f64::from(FLOOR);
        t2 += (ma - mb) * (ma - mb) / (spread.max(0.0) + floor * floor);
    }
    ((1.0 + t2).ln() as f32).min(SATURATION)
}
