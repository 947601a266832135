//! What a band shows of a rim, on the raster on which the welt is followed: steps of three rows, places of 0.4 mm.

use std::sync::Arc;

use rayon::prelude::*;

use super::band::{HALF_WIDTH_MM, STEP_MM, columns, offset_mm};
use super::strip::{Evidence, Strip};
use super::trace::Programme;

/// Columns and rows of a band that make one place and one step.
pub const COLUMNS_PER_PLACE: usize = 2;
/// See [`COLUMNS_PER_PLACE`].
pub const ROWS_PER_STEP: usize = 3;
/// Width of a place, mm.
pub const PLACE_MM: f64 = STEP_MM * COLUMNS_PER_PLACE as f64;
/// Number of places.
pub const PLACES: usize = (2.0 * HALF_WIDTH_MM / PLACE_MM) as usize;
/// Steepest slope against the band, places a step: 34 degrees.
const MAX_SLOPE: usize = 5;
/// The edge passes the ends of the midline within this (a standard deviation), mm; an end that lies elsewhere costs no
/// more than the second value.
const END_TOLERANCE_MM: f64 = 1.5;
const MOST_OFF: f64 = 30.0;
/// Steps left out at either end, this part of the whole each, when all are judged together: there the inside of the form
/// is another.
pub const END_PART: f64 = 0.125;
/// Stray light and noise, as a square root of light: ratios in the dark beside it mean little.
pub const BLACK: f32 = 0.03;

/// Height of the crease over the cord's middle, in widths of the cord.
const CREASE_HEIGHT: f64 = 0.4;
/// However slanting the view, a cord is no narrower than this, places.
pub const LEAST_WIDTH: usize = 4;

/// The row in the middle of a step.
fn middle(step: usize, rows: usize) -> usize {
    (step * ROWS_PER_STEP + ROWS_PER_STEP / 2).min(rows - 1)
}

/// True when a row is the middle one of a step.
pub fn is_middle(row: usize, rows: usize) -> bool {
    middle(row / ROWS_PER_STEP, rows) == row
}

/// How a band is looked at.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    /// Rows on either side that are taken together: the straighter the band runs along the rim, the more.
    pub rows: usize,
    /// Whether the band's middle is taken for the edge, so that the colours of form and surroundings can be learnt.
    pub on_edge: bool,
    /// Cost of a change of slope by one place a step: the straighter the band, the more.
    pub bend_cost: f32,
    /// What a photo pixel covers, mm.
    pub mm_per_px: f64,
}

/// What a band shows.
pub struct Sight {
    /// Number of steps.
    pub steps: usize,
    /// Number of the band's rows.
    pub rows: usize,
    /// How it was looked at.
    pub look: Look,
    /// Evidence for a line at each place of every step.
    pub lines: Vec<f32>,
    /// Light across the band in every step, averaged along it, column by column.
    pub light: Vec<f32>,
    /// Colour at each place: logarithm of the light, and both colour differences by the light.
    pub colours: Vec<[f32; 3]>,
    /// Change of log light across each place.
    pub changes: Vec<f32>,
    /// Roughness along the band at each place beyond what leather has, as a logarithm.
    pub rough: Vec<f32>,
    /// How different the colours on either side of each place are, from 0 to 1.
    pub contrast: Vec<f32>,
    /// Slope of the line of sight across the rim in each step: positive when seen from outside.
    pub slopes: Vec<f64>,
    /// Running sums over the places of each step of how much rather a colour is the form's than its surroundings'.
    belonging: Vec<f32>,
    /// Cost of each step from place to place by how much the look of the form's rim changes in it.
    step_costs: Arc<Vec<f32>>,
}

impl Sight {
    /// Looks at a band whose evidence was taken with `look.rows` on either side; `slopes` has one value a row.
    pub fn of(band: &Strip, evidence: &Evidence, look: Look, slopes: &[f64]) -> Self {
        let steps = band.rows.div_ceil(ROWS_PER_STEP);
        let middle = |step: usize| middle(step, band.rows);
        let near = |step: usize| {
            middle(step).saturating_sub(look.rows)..(middle(step) + look.rows + 1).min(band.rows)
        };
        let lines = (0..steps).flat_map(|step| pooled(evidence.row(middle(step)))).collect();
        let light: Vec<f32> = (0..steps).flat_map(|step| mean_light(band, near(step))).collect();
        let logs = logs_of(&light);
        let colours: Vec<[f32; 3]> =
            (0..steps).into_par_iter().flat_map_iter(|step| colours_of(band, near(step))).collect();
        let belonging = if look.on_edge { belonging(&colours) } else { vec![0.0; steps * (PLACES + 1)] };
        Self {
            steps,
            rows: band.rows,
            look,
            lines,
            changes: changes(&logs),
            rough: rough(band, steps, middle),
            contrast: contrast(&colours),
            slopes: (0..steps).map(|step| slopes[middle(step)]).collect(),
            step_costs: Arc::new(step_costs(&logs)),
            belonging,
            colours,
            light,
        }
    }

    /// One step's light, column by column.
    pub fn light_of(&self, step: usize) -> &[f32] {
        &self.light[step * columns()..(step + 1) * columns()]
    }

    /// Distance in places from silhouette to crease as it is seen in a step: the crease lies nearly half the cord's width
    /// higher, so a slanting line of sight shows it further from the silhouette from outside and nearer from inside.
    pub fn seen_width(&self, width: usize, step: usize) -> usize {
        let seen = (width as f64 * (1.0 + CREASE_HEIGHT * self.slopes[step])).round();
        (seen as usize).max(LEAST_WIDTH)
    }

    /// Mean along a path, without its ends.
    pub fn mean_along(&self, seen: &[f32], path: &[usize]) -> f64 {
        let skipped = (self.steps as f64 * END_PART) as usize;
        let sum: f64 = (skipped..self.steps - skipped).map(|s| f64::from(seen[s * PLACES + path[s]])).sum();
        sum / (self.steps - 2 * skipped) as f64
    }

    /// Mean belonging of the cord, less that of a strip as wide beyond it.
    pub fn parted(&self, step: usize, place: usize, width: usize) -> f32 {
        let sums = &self.belonging[step * (PLACES + 1)..(step + 1) * (PLACES + 1)];
        let mean = |from: usize, to: usize| (sums[to] - sums[from]) / (to - from) as f32;
        let beyond = (place + 1 + width).min(PLACES);
        if beyond <= place + 1 { 0.0 } else { mean(place - width, place) - mean(place + 1, beyond) }
    }

    /// The programme of a silhouette that is seen at each place by so much, within `search_mm` of an offset. `ends_mm` are
    /// the offsets at which the midline's ends lie, front and rear.
    pub fn programme(
        &self,
        seen: &[f32],
        middle_mm: f64,
        search_mm: f64,
        ends_mm: Option<[f64; 2]>,
    ) -> Programme {
        let mut cost = vec![f32::INFINITY; self.steps * PLACES];
        for step in 0..self.steps {
            let end = match step {
                0 => ends_mm.map(|e| e[0]),
                s if s + 1 == self.steps => ends_mm.map(|e| e[1]),
                _ => None,
            };
            for place in 0..PLACES {
                let at = place_mm(place);
                if (at - middle_mm).abs() <= search_mm {
                    let off = end.map_or(0.0, |e| 0.5 * ((at - e) / END_TOLERANCE_MM).powi(2));
                    cost[step * PLACES + place] = off.min(MOST_OFF) as f32 - seen[step * PLACES + place];
                }
            }
        }
        let (bend_cost, step_costs) = (self.look.bend_cost, Some(self.step_costs.clone()));
        Programme { rows: self.steps, places: PLACES, cost, max_slope: MAX_SLOPE, bend_cost, step_costs }
    }

    /// Offset of a path in each of the band's rows, mm.
    pub fn offsets_mm(&self, path: &[usize]) -> Vec<f64> {
        (0..self.rows)
            .map(|row| {
                let at = ((row as f64 - (ROWS_PER_STEP / 2) as f64) / ROWS_PER_STEP as f64)
                    .clamp(0.0, (path.len() - 1) as f64);
                let low = at as usize;
                let high = (low + 1).min(path.len() - 1);
                let t = at - low as f64;
                place_mm(path[low]) * (1.0 - t) + place_mm(path[high]) * t
            })
            .collect()
    }
}

/// Offset of a place's middle, mm.
pub fn place_mm(place: usize) -> f64 {
    offset_mm(place * COLUMNS_PER_PLACE) + 0.5 * (PLACE_MM - STEP_MM)
}

/// The places within `search_mm` of a band's middle.
pub fn places_within(search_mm: f64) -> std::ops::Range<usize> {
    let inside = |place: &usize| place_mm(*place).abs() <= search_mm;
    let first = (0..PLACES).find(inside).unwrap_or(0);
    let last = (0..PLACES).rev().find(inside).unwrap_or(0);
    first..last + 1
}

/// The strongest evidence of each place, and beside it.
fn pooled(fine: &[f32]) -> impl Iterator<Item = f32> + '_ {
    (0..PLACES).map(|place| {
        let from = place * COLUMNS_PER_PLACE;
        fine[from.saturating_sub(1)..=from + COLUMNS_PER_PLACE].iter().copied().fold(0.0, f32::max)
    })
}

fn mean_light(band: &Strip, rows: std::ops::Range<usize>) -> Vec<f32> {
    let scale = 1.0 / rows.len() as f32;
    let mut line = vec![0.0; columns()];
    for row in rows {
        line.iter_mut().zip(band.row(row)).for_each(|(l, s)| *l += s[0] * scale);
    }
    line
}

fn colours_of(band: &Strip, rows: std::ops::Range<usize>) -> impl Iterator<Item = [f32; 3]> + '_ {
    (0..PLACES).map(move |place| {
        let from = (place * COLUMNS_PER_PLACE).saturating_sub(2);
        let to = (place * COLUMNS_PER_PLACE + 3).min(columns());
        colour(rows.clone().flat_map(|row| &band.row(row)[from..to]))
    })
}

/// The mean colour of samples as [`Sight`] keeps it.
fn colour<'a>(samples: impl Iterator<Item = &'a [f32; 3]>) -> [f32; 3] {
    let (mut sum, mut n) = ([0.0; 3], 0.0);
    for sample in samples {
        sum.iter_mut().zip(sample).for_each(|(s, v)| *s += v);
        n += 1.0;
    }
    let [light, red_green, blue_yellow] = sum.map(|v| v / n);
    let light = light + BLACK;
    [light.ln(), red_green / light, blue_yellow / light]
}

/// Bins of the colours' histogram: logarithm of light from 1/32 up, and the colour differences by the light.
const BINS: [usize; 3] = [14, 16, 16];
const BIN_RANGES: [(f32, f32); 3] = [(-3.5, 0.0), (-1.2, 1.2), (-1.2, 1.2)];
/// What lies within these offsets is taken for the form, and what lies within those for its surroundings, mm.
const FORM_MM: (f64, f64) = (-14.0, -0.6);
const SURROUNDINGS_MM: (f64, f64) = (4.0, 14.0);
/// No colour is better known to belong than this (a logarithm).
const MOST_BELONGING: f32 = 1.0;
/// Samples that every bin has beforehand.
const PRIOR_COUNT: f32 = 4.0;

/// Running sums of the log-likelihood ratio of each place's colour, the form's against the surroundings', both learnt
/// from a band whose middle runs near the edge.
fn belonging(colours: &[[f32; 3]]) -> Vec<f32> {
    let bin = |colour: &[f32; 3]| -> Option<usize> {
        (0..3).try_fold(0, |index, k| {
            let (low, high) = BIN_RANGES[k];
            let t = (colour[k] - low) / (high - low) * BINS[k] as f32;
            t.is_finite().then(|| index * BINS[k] + (t.max(0.0) as usize).min(BINS[k] - 1))
        })
    };
    let mut counts = vec![[PRIOR_COUNT; 2]; BINS.iter().product()];
    let mut totals = [0.0f32; 2];
    for (i, colour) in colours.iter().enumerate() {
        let at = place_mm(i % PLACES);
        let region = [FORM_MM, SURROUNDINGS_MM].iter().position(|r| (r.0..=r.1).contains(&at));
        if let (Some(region), Some(bin)) = (region, bin(colour)) {
            counts[bin][region] += 1.0;
            totals[region] += 1.0;
        }
    }
    let level = (totals[1].max(1.0) / totals[0].max(1.0)).ln();
    let ratio = |colour: &[f32; 3]| {
        bin(colour).map_or(0.0, |b| {
            ((counts[b][0] / counts[b][1]).ln() + level).clamp(-MOST_BELONGING, MOST_BELONGING)
        })
    };
    let mut sums = Vec::with_capacity(colours.len() / PLACES * (PLACES + 1));
    for line in colours.chunks(PLACES) {
        let mut sum = 0.0;
        sums.push(sum);
        for colour in line {
            sum += ratio(colour);
            sums.push(sum);
        }
    }
    sums
}

/// The part of the form whose look is compared from step to step: so many places inwards from the silhouette, past the
/// seam.
const RIM_PLACES: usize = 30;
/// A step between rims that look nothing alike costs this much, one between the same rim nothing.
const LOOK_WEIGHT: f32 = 10.0;
/// Logarithms of light below this are noise (a norm over the rim).
const LEAST_LOOK: f32 = 0.1;

/// Logarithm of the light of every place.
fn logs_of(light: &[f32]) -> Vec<f32> {
    let log = |place: &[f32]| (place.iter().sum::<f32>() / COLUMNS_PER_PLACE as f32 + BLACK).ln();
    light
        .chunks(columns())
        .flat_map(|line| line.chunks_exact(COLUMNS_PER_PLACE).take(PLACES).map(log))
        .collect()
}

/// Costs of the steps from place to place: what the rim's look loses in likeness. All lines of a rim run side by side, so a
/// path that changes over from one to another sees the whole rim shifted.
fn step_costs(logs: &[f32]) -> Vec<f32> {
    let slopes = 2 * MAX_SLOPE + 1;
    let length = RIM_PLACES + 1;
    let rims: Vec<Vec<f32>> = logs
        .par_chunks(PLACES)
        .map(|logs| {
            let mut rims = vec![0.0; PLACES * length];
            for place in RIM_PLACES..PLACES {
                let own = &logs[place - RIM_PLACES..=place];
                let mean = own.iter().sum::<f32>() / length as f32;
                let norm = own.iter().map(|v| (v - mean) * (v - mean)).sum::<f32>().sqrt().max(LEAST_LOOK);
                let out = &mut rims[place * length..(place + 1) * length];
                out.iter_mut()
                    .zip(own)
                    .for_each(|(o, v)| *o = if norm.is_finite() { (v - mean) / norm } else { 0.0 });
            }
            rims
        })
        .collect();
    let mut costs = vec![0.0; logs.len() * slopes];
    costs.par_chunks_mut(PLACES * slopes).enumerate().skip(1).for_each(|(step, line)| {
        for place in 0..PLACES {
            let here = &rims[step][place * length..(place + 1) * length];
            for slope in 0..slopes {
                let before = place as isize - (slope as isize - MAX_SLOPE as isize);
                if (0..PLACES as isize).contains(&before) {
                    let before = before as usize;
                    let there = &rims[step - 1][before * length..(before + 1) * length];
                    let likeness: f32 = here.iter().zip(there).map(|(a, b)| a * b).sum();
                    line[place * slopes + slope] = -LOOK_WEIGHT * likeness;
                }
            }
            let costs = &mut line[place * slopes..(place + 1) * slopes];
            let least = costs.iter().copied().fold(f32::INFINITY, f32::min);
            costs.iter_mut().for_each(|c| *c -= least);
        }
    });
    costs
}

/// Changes of log light count up to this.
const MOST_CHANGE: f32 = 0.5;

/// Change of log light across each place of every step.
fn changes(logs: &[f32]) -> Vec<f32> {
    let mut out = vec![0.0; logs.len()];
    for (line, out) in logs.chunks(PLACES).zip(out.chunks_mut(PLACES)) {
        for place in 1..PLACES - 1 {
            let change = line[place + 1] - line[place - 1];
            out[place] = if change.is_finite() { change.clamp(-MOST_CHANGE, MOST_CHANGE) } else { 0.0 };
        }
    }
    out
}

/// Places on either side over which colours are compared: from a blur's reach to a cord's width.
const COMPARED: std::ops::Range<usize> = 3..8;
/// Light (its logarithm) and colour differences (by the light) that are altogether different.
const OTHER_LIGHT: f32 = 0.4;
const OTHER_COLOUR: f32 = 0.1;

/// How different the mean colours just inside and just outside of each place are.
fn contrast(colours: &[[f32; 3]]) -> Vec<f32> {
    let mut out = vec![0.0; colours.len()];
    for (line, out) in colours.chunks(PLACES).zip(out.chunks_mut(PLACES)) {
        for place in COMPARED.end..PLACES - COMPARED.end {
            let difference = |k: usize| -> f32 {
                COMPARED.map(|d| line[place + d][k] - line[place - d][k]).sum::<f32>() / COMPARED.len() as f32
            };
            let other = difference(0).abs() / OTHER_LIGHT + difference(1).hypot(difference(2)) / OTHER_COLOUR;
            out[place] = if other.is_finite() { other.min(1.0) } else { 0.0 };
        }
    }
    out
}

/// Rows of a stretch over which roughness is told, on either side.
const ROUGH_ROWS: usize = 6;
/// Roughness of leather and noise (square root of light, by the light).
const LEATHER_ROUGHNESS: f32 = 0.03;

/// Roughness along the band at every place of every step: how the light of single rows scatters about their mean, by the
/// light, against what leather does; 0 up to that.
fn rough(band: &Strip, steps: usize, middle: impl Fn(usize) -> usize + Sync) -> Vec<f32> {
    let mut out = vec![0.0; steps * PLACES];
    out.par_chunks_mut(PLACES).enumerate().for_each(|(step, line)| {
        let row = middle(step);
        let near = row.saturating_sub(ROUGH_ROWS)..(row + ROUGH_ROWS + 1).min(band.rows);
        let n = near.len() as f32;
        for (place, out) in line.iter_mut().enumerate() {
            let from = place * COLUMNS_PER_PLACE;
            let light = |r: usize| (band.row(r)[from][0] + band.row(r)[from + 1][0]) / 2.0;
            let mean = near.clone().map(light).sum::<f32>() / n;
            // Differences of neighbouring rows are blind to a slow change.
            let scatter =
                (near.clone().skip(1).map(|r| (light(r) - light(r - 1)).powi(2)).sum::<f32>() / n).sqrt();
            let roughness = scatter / (mean + BLACK) / LEATHER_ROUGHNESS;
            *out = if roughness.is_finite() { roughness.max(1.0).ln().min(2.0) } else { 0.0 };
        }
    });
    out
}
