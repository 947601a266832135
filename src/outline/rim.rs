//! Which of the lines of an aligned band is the edge: where the form ends, the rows stop looking alike.
//!
//! A seat form is made alike all along its rim: in the aligned band the light rises and falls across it in every row
//! by the same ratios (seam, crease, the rounding of the welt), whatever the light. What lies beyond (flap, floor,
//! panel, shadow) is another thing in every stretch. So the change of light across the form's edge varies from row to
//! row as nowhere further out: the edge is the outermost offset at which the increments of log light scatter far
//! beyond what grain and noise do. A soft shadow beyond it scatters too, but spread over millimetres.

use super::band::{HALF_WIDTH_MM, STEP_MM, offset_mm};
use super::strip::Strip;

/// Rows averaged into one profile, which takes out grain and stitches.
const BLOCK_ROWS: usize = 12;
/// The ends of a band are left out, this part of it each: there the form's inside is not the same.
const END_PART: f64 = 0.125;
/// Increments are taken over this many photo pixels (what blur mixes), but no less than the second value, mm.
const SPAN_PX: f64 = 0.7;
const SPAN_MM: f64 = 0.28;
/// Where nothing but surroundings are expected, mm from the band's middle.
const BEYOND_MM: (f64, f64) = (8.0, 24.0);
/// Stray light and noise, as a square root of light: ratios in the dark beside it mean little.
const BLACK: f32 = 0.03;

/// Scatter of the log-light increments between blocks of rows, at every column of a band, in units of what it is in the
/// surroundings, and its natural logarithm taken: 0 where only grain is.
pub fn scatter(band: &Strip, mm_per_px: f64) -> Vec<f64> {
    let profiles = block_profiles(band);
    let half = (0.5 * (SPAN_PX * mm_per_px).max(SPAN_MM) / STEP_MM).round().max(1.0) as usize;
    let mut out = vec![0.0; band.columns];
    let mut increments = Vec::with_capacity(profiles.len());
    for (column, out) in out.iter_mut().enumerate().take(band.columns - half).skip(half) {
        increments.clear();
        increments.extend(
            profiles.iter().map(|p| f64::from(p[column + half] - p[column - half])).filter(|v| v.is_finite()),
        );
        *out = deviation(&mut increments);
    }
    let column = |mm: f64| ((mm + HALF_WIDTH_MM) / STEP_MM) as usize;
    let mut beyond: Vec<f64> =
        out[column(BEYOND_MM.0)..column(BEYOND_MM.1)].iter().copied().filter(|v| *v > 0.0).collect();
    let ground = if beyond.is_empty() { 1.0 } else { median(&mut beyond) };
    out.iter_mut().for_each(|v| *v = (*v / ground).max(1.0).ln().min(MOST_SCATTER));
    out
}

fn block_profiles(band: &Strip) -> Vec<Vec<f32>> {
    let skipped = (band.rows as f64 * END_PART) as usize;
    let rows: Vec<usize> = (skipped..band.rows - skipped).collect();
    rows.chunks_exact(BLOCK_ROWS)
        .map(|block| {
            (0..band.columns)
                .map(|c| {
                    let mean = block.iter().map(|&r| band.row(r)[c][0]).sum::<f32>() / BLOCK_ROWS as f32;
                    (mean + BLACK).ln()
                })
                .collect()
        })
        .collect()
}

fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Median absolute deviation, as a standard deviation of Gaussian values.
fn deviation(values: &mut [f64]) -> f64 {
    if values.len() < 5 {
        return 0.0;
    }
    let middle = median(values);
    values.iter_mut().for_each(|v| *v = (*v - middle).abs());
    1.4826 * median(values)
}

/// Left and right are built alike but centred each on a line of its own: their bands differ by no more than the
/// distance from a seam to the edge, mm.
const MOST_APART_MM: f64 = 8.0;
/// The edge is looked for this far inside and outside of a band's middle, mm.
const INNERMOST_MM: f64 = -16.0;
/// A peak of the scatter: five standard deviations above grain (a median deviation of 40 blocks is uncertain by 18 %).
const LEAST_SCATTER: f64 = 1.3;
/// A line that lies less than so many mm beyond another must be so clear beside it: a shadow's rim, less than a welt's
/// width away, is not; a seam or a crease may well be clearer than an edge.
const AS_CLEAR: [(f64, f64); 2] = [(3.5, 0.8), (7.0, 0.6)];
/// Clear is clear: the logarithm of the scatter counts up to this.
const MOST_SCATTER: f64 = 2.7;
/// Half the width of a peak, mm.
const PEAK_MM: f64 = 0.8;

/// Offset of the edge from the middle of the left and of the right band, mm, at most `reach_mm`; `None` when the rows
/// look alike as far out as they go.
pub fn edge_offsets(bands: [&Strip; 2], mm_per_px: f64, reach_mm: f64) -> Option<[f64; 2]> {
    let scatters = bands.map(|band| scatter(band, mm_per_px));
    let apart = best_match(&scatters[0], &scatters[1], MOST_APART_MM.min(2.0 * reach_mm));
    let columns = scatters[0].len();
    let joint: Vec<f64> = (0..columns)
        .map(|c| {
            let other = (c as isize + apart).clamp(0, columns as isize - 1) as usize;
            scatters[0][c] + scatters[1][other]
        })
        .collect();
    let left = outermost(&joint, reach_mm)?;
    let right = (left as isize + apart).clamp(0, columns as isize - 1) as usize;
    Some([fine(&scatters[0], left), fine(&scatters[1], right)])
}

/// Columns that the right side's curve must be moved by to look like the left one's.
fn best_match(left: &[f64], right: &[f64], most_mm: f64) -> isize {
    let most = (most_mm / STEP_MM).round() as isize;
    let inner = ((INNERMOST_MM + HALF_WIDTH_MM) / STEP_MM) as isize;
    let outer = left.len() as isize - inner;
    let score = |apart: isize| -> f64 {
        (inner..outer)
            .map(|c| left[c as usize] * right.get((c + apart).max(0) as usize).copied().unwrap_or(0.0))
            .sum()
    };
    (-most..=most).max_by(|a, b| score(*a).total_cmp(&score(*b))).unwrap_or(0)
}

fn outermost(joint: &[f64], reach_mm: f64) -> Option<usize> {
    let wide = (PEAK_MM / STEP_MM) as usize;
    let peak = |c: usize| joint[c] >= LEAST_SCATTER && (c - wide..=c + wide).all(|o| joint[o] <= joint[c]);
    let peaks: Vec<usize> =
        (wide..joint.len() - wide).filter(|&c| offset_mm(c).abs() <= reach_mm.max(1.0) && peak(c)).collect();
    let clear = |c: usize| {
        peaks.iter().filter(|&&o| o < c).all(|&o| {
            let apart = offset_mm(c) - offset_mm(o);
            let share = AS_CLEAR.iter().find(|(within, _)| apart < *within).map_or(0.0, |a| a.1);
            joint[c] >= share * joint[o]
        })
    };
    peaks.iter().rev().copied().find(|&c| clear(c))
}

/// Centre of a side's own peak near a column, mm.
fn fine(scatter: &[f64], column: usize) -> f64 {
    let wide = (PEAK_MM / STEP_MM) as usize;
    let near = column.saturating_sub(wide)..(column + wide + 1).min(scatter.len());
    let weights: f64 = near.clone().map(|c| scatter[c].powi(2)).sum();
    let sum: f64 = near.map(|c| scatter[c].powi(2) * offset_mm(c)).sum();
    if weights > 0.0 { sum / weights } else { offset_mm(column) }
}
