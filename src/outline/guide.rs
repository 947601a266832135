//! The first trace of a closed outline: coarse, both sides together, content with any of the lines that run round the
//! seat form (its welt has two sides, a seam runs inside it). Which of them is the edge is asked later, in a strip
//! straightened along this first trace.

use super::View;
use super::chart::Chart;
use super::strip::{COLUMN_STEP_MM, Evidence};
use super::trace::{Programme, Traced};

/// Half-widths that a saddle's plan has, at stations along it, mm (common practice, no source): for the seat the trade's
/// under 7 in to over 9 in at the widest, two to four fingers and the rims beside them in front. Wide of the mark by
/// a flap's breadth is what it is there to tell.
const SEAT_PLAN: [(f64, f64); 5] = [(0.1, 45.0), (0.25, 42.0), (0.4, 52.0), (0.6, 88.0), (0.85, 95.0)];
/// The same for the panels' outer outline.
const PANEL_PLAN: [(f64, f64); 5] = [(0.1, 80.0), (0.3, 80.0), (0.5, 90.0), (0.7, 98.0), (0.85, 95.0)];

/// The half-width expected at a station of the given view, mm.
pub fn expected_half_width_mm(view: View, station: f64) -> f64 {
    let plan = match view {
        View::Top => &SEAT_PLAN,
        View::Underside => &PANEL_PLAN,
    };
    let after = plan.partition_point(|p| p.0 <= station).clamp(1, plan.len() - 1);
    let (a, b) = (plan[after - 1], plan[after]);
    let t = ((station - a.0) / (b.0 - a.0)).clamp(0.0, 1.0);
    a.1 + (b.1 - a.1) * t
}

/// Rows and columns of the evidence that make one of the programme.
const ROWS_PER_STEP: usize = 2;
const COLUMNS_PER_PLACE: usize = 2;
const PLACE_MM: f64 = COLUMN_STEP_MM * COLUMNS_PER_PLACE as f64;
/// Steepest slope followed: 7 places of 0.5 mm in a step of 2 mm, 60 degrees.
const MAX_SLOPE: usize = 7;
/// A change of direction by a quarter costs about what one row's clear evidence earns in seven: a real outline
/// turns a dozen times by that much on its way round, texture would need to at every row.
const BEND_COST: f32 = 0.6;
/// Left and right halves of one saddle differ by some millimetres; a difference of this many mm costs half a unit.
const ASYMMETRY_MM: f64 = 6.0;
/// Costs of asymmetry end here: a strap over one side must not pull the other along.
const ASYMMETRY_CAP: f32 = 2.0;
/// Saddles differ from the expected plan by this much (standard deviation of a half-width), mm.
const EXPECTED_U_MM: f64 = 22.0;
/// However odd a saddle, clear evidence in a few rows must be able to say so.
const PRIOR_CAP: f64 = 8.0;
/// No outline comes nearer to the midline than this, mm.
const LEAST_OUTLINE_MM: f64 = 18.0;

/// Reach of the first trace at every row of the chart, mm, for both sides, through the midline's ends give or take a
/// tolerance. `None` when there is no path at all.
pub fn first_trace(
    evidence: [&Evidence; 2],
    charts: [&Chart; 2],
    expected: impl Fn(usize) -> Option<f64> + Copy,
    end_tolerance_mm: f64,
) -> Option<[Vec<f64>; 2]> {
    let programmes = [0, 1].map(|i| programme(evidence[i], charts[i], expected, end_tolerance_mm));
    let (a, b) = rayon::join(|| programmes[0].run(), || programmes[1].run());
    let alone = [a?, b?];
    let coupled = [0, 1].map(|i| with_symmetry(&programmes[i], &alone[1 - i]));
    let (a, b) = rayon::join(|| coupled[0].run(), || coupled[1].run());
    Some([reach_of_rows(&a?, evidence[0].rows), reach_of_rows(&b?, evidence[1].rows)])
}

fn programme(
    evidence: &Evidence,
    chart: &Chart,
    expected: impl Fn(usize) -> Option<f64>,
    end_tolerance_mm: f64,
) -> Programme {
    let rows = evidence.rows.div_ceil(ROWS_PER_STEP);
    let places = evidence.columns / COLUMNS_PER_PLACE;
    let mut cost = vec![0.0; rows * places];
    for (row, line) in cost.chunks_mut(places).enumerate() {
        let fine = row * ROWS_PER_STEP..((row + 1) * ROWS_PER_STEP).min(evidence.rows);
        for (place, out) in line.iter_mut().enumerate() {
            let columns = place * COLUMNS_PER_PLACE..(place + 1) * COLUMNS_PER_PLACE;
            let sum: f32 = fine
                .clone()
                .map(|r| evidence.row(r)[columns.clone()].iter().copied().fold(0.0, f32::max))
                .sum();
            let reach = place as f64 * PLACE_MM;
            let prior = expected(fine.start)
                .map_or(0.0, |mean| (0.5 * ((reach - mean) / EXPECTED_U_MM).powi(2)).min(PRIOR_CAP) as f32);
            *out = if reach < LEAST_OUTLINE_MM { f32::INFINITY } else { prior - sum / fine.len() as f32 };
        }
    }
    if let Some(ends) = chart.end_reach_mm {
        pin(&mut cost[..places], ends[0], end_tolerance_mm);
        pin(&mut cost[(rows - 1) * places..], ends[1], end_tolerance_mm);
    }
    Programme { rows, places, cost, max_slope: MAX_SLOPE, bend_cost: BEND_COST, step_costs: None }
}

/// The outline passes through the midline's end, give or take its tolerance.
fn pin(line: &mut [f32], reach_mm: f64, tolerance_mm: f64) {
    for (place, cost) in line.iter_mut().enumerate() {
        if (place as f64 * PLACE_MM - reach_mm).abs() > tolerance_mm {
            *cost = f32::INFINITY;
        }
    }
}

/// Adds to each place what the other side says of its mirror image: the least regret of a path there, plus the cost
/// of the difference between both.
fn with_symmetry(own: &Programme, other: &Traced) -> Programme {
    let mut coupled = own.clone();
    let reach = (3.0 * ASYMMETRY_MM / PLACE_MM) as usize;
    let rows = own.rows.min(other.regret.len() / other.places);
    for row in 0..rows {
        let regrets = other.row(row);
        for place in 0..own.places {
            let from = place.saturating_sub(reach);
            let to = (place + reach + 1).min(regrets.len());
            let said = (from..to)
                .map(|p| {
                    let apart = (p as f64 - place as f64) * PLACE_MM / ASYMMETRY_MM;
                    regrets[p] * 0.2 + (0.5 * apart * apart) as f32
                })
                .fold(ASYMMETRY_CAP, f32::min);
            coupled.cost[row * own.places + place] += said;
        }
    }
    coupled
}

fn reach_of_rows(traced: &Traced, rows: usize) -> Vec<f64> {
    let coarse: Vec<f64> = traced.path.iter().map(|&p| (p as f64 + 0.5) * PLACE_MM).collect();
    (0..rows)
        .map(|row| {
            let at = (row as f64 - 0.5) / ROWS_PER_STEP as f64;
            let low = (at.max(0.0) as usize).min(coarse.len() - 1);
            let high = (low + 1).min(coarse.len() - 1);
            let t = (at - low as f64).clamp(0.0, 1.0);
            coarse[low] * (1.0 - t) + coarse[high] * t
        })
        .collect()
}
