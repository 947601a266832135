//! Where a form ends, its surroundings begin and end without its taking notice: along the edge the change of light across
//! it is another one in every stretch, as it is nowhere further out.

use super::band::{STEP_MM, columns};
use super::sight::{BLACK, COLUMNS_PER_PLACE, END_PART, PLACE_MM, PLACES, Sight, place_mm};

/// Increments are taken over this many photo pixels (what blur mixes), but no less than the second value, mm.
const SPAN_PX: f64 = 0.7;
const SPAN_MM: f64 = 0.4;
/// Steps averaged into one profile, 12 mm along, which takes out grain and stitches.
const BLOCK_STEPS: usize = 4;
/// Ratios of light are never better known than this.
const LEAST_SCATTER: f64 = 0.004;
/// Where there is nothing of the form, mm beyond the silhouette.
const SURROUNDINGS_FROM_MM: f64 = 6.0;
const SURROUNDINGS_TO_MM: f64 = 16.0;
/// Clear is clear: the novelty counts up to this.
const MOST_NOVELTY: f64 = 1.2;
/// A form does not go on beyond its edge: that counts more.
const BEYOND_WEIGHT: f64 = 1.5;
/// Nearer than this, mm, what scatters beyond a silhouette is the silhouette itself.
const BEYOND_MM: f64 = 1.6;

/// How much the scatter along a path stands out of the surroundings' (a logarithm), less how much any does beyond it.
pub fn outermost(sight: &Sight, path: &[usize]) -> f64 {
    let novelty = novelty(&sight.light, path, sight.look.mm_per_px);
    let place = PLACES / 2;
    let gap = (BEYOND_MM / PLACE_MM) as usize;
    let last = place + (SURROUNDINGS_TO_MM / PLACE_MM) as usize;
    let most = |range: std::ops::Range<usize>| {
        novelty[range].iter().copied().fold(f64::MIN, f64::max).clamp(0.0, MOST_NOVELTY)
    };
    most(place - 1..place + 2) - BEYOND_WEIGHT * most(place + gap..last)
}

/// Logarithm of the scatter, from stretch to stretch, of the change of log light across each place of bands straightened
/// along a path, less its median over the surroundings.
fn novelty(light: &[f32], path: &[usize], mm_per_px: f64) -> Vec<f64> {
    let skipped = (path.len() as f64 * END_PART) as usize;
    let width = columns();
    let middle = PLACES / 2;
    let blocks: Vec<Vec<f32>> = (skipped..path.len() - skipped)
        .collect::<Vec<_>>()
        .chunks_exact(BLOCK_STEPS)
        .map(|block| {
            (0..width as isize)
                .map(|c| {
                    let at = |step: &usize| {
                        let shift = (path[*step] as isize - middle as isize) * COLUMNS_PER_PLACE as isize;
                        let column = c + shift;
                        if (0..width as isize).contains(&column) {
                            light[step * width + column as usize]
                        } else {
                            f32::NAN
                        }
                    };
                    (block.iter().map(at).sum::<f32>() / BLOCK_STEPS as f32 + BLACK).ln()
                })
                .collect()
        })
        .collect();
    let half = (0.5 * (SPAN_PX * mm_per_px).max(SPAN_MM) / STEP_MM).round().max(1.0) as usize;
    let mut out: Vec<f64> = (0..PLACES)
        .map(|place| {
            let column = (place * COLUMNS_PER_PLACE).clamp(half, width - 1 - half);
            let mut increments: Vec<f64> = blocks
                .iter()
                .map(|b| f64::from(b[column + half] - b[column - half]))
                .filter(|v| v.is_finite())
                .collect();
            (deviation(&mut increments) + LEAST_SCATTER).ln()
        })
        .collect();
    let mut far: Vec<f64> = (0..PLACES)
        .filter(|p| (SURROUNDINGS_FROM_MM..SURROUNDINGS_TO_MM).contains(&place_mm(*p)))
        .map(|p| out[p])
        .collect();
    let level = median(&mut far);
    out.iter_mut().for_each(|v| *v -= level);
    out
}

/// Median absolute deviation, as a standard deviation of Gaussian values; 0 for too few.
fn deviation(values: &mut [f64]) -> f64 {
    if values.len() < 5 {
        return 0.0;
    }
    let middle = median(values);
    values.iter_mut().for_each(|v| *v = (*v - middle).abs());
    1.4826 * median(values)
}

/// Median of values, which are reordered. At least one is needed.
pub fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
