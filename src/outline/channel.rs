//! The channel's two edges, seen from below.
//!
//! The channel is recessed, so its floor lies in the shadow of the panels: going outwards from the midline the light
//! rises where the panel's welt begins. Webbing that lies in the channel is a decoy of the other sign (its own outer
//! side falls into the shadow); the crease between welt and panel and the seam beyond it rise too, but they have the
//! true edge inside them. So the edge is the innermost rise.

use rayon::prelude::*;

use super::band::Curve;
use super::chart::Chart;
use super::edge::{COMPETITOR_MM, EdgePoint, Rival, TracedEdge};
use super::lift::LiftProfile;
use super::limb::{LimbWindow, limb_offset};
use super::strip::{COLUMN_STEP_MM, Strip};
use super::trace::{Belief, Programme};
use super::{SIDES, Scene};
use crate::ground::frame::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};

/// Stations between which a channel is looked for: at its ends it opens into the saddle's own rounded ends.
const STATIONS: [f64; 2] = [0.06, 0.94];
/// Half-widths that a channel has, mm (common practice, no source: from less than an inch to some five inches wide).
const REACH_MM: (f64, f64) = (10.0, 65.0);
/// Windows of the evidence: so long across and so many rows on either side along.
const WINDOW_MM: f64 = 1.25;
const WINDOW_PX: f64 = 1.4;
const ROWS_ALONG: usize = 5;
/// Rises between these distances inside a place speak against it, mm: a welt's width and more.
const INNER_MM: (f64, f64) = (2.0, 9.0);
/// A channel's edge is nearly straight: it turns by a column a row (14 degrees) at most, and seldom.
const MAX_SLOPE: usize = 1;
const BEND_COST: f32 = 3.0;
/// Noise of a sample that no texture explains (square root of light).
const FLOOR: f64 = 0.006;
/// One row can say so much and no more.
const SATURATION: f32 = 4.0;
/// A row whose evidence on the path is below this shows no edge: something lies across it.
const LEAST_EVIDENCE: f32 = 0.7;

/// Traces the channel's two edges.
///
/// # Errors
/// `edges-not-found` when no rise runs along the channel.
pub fn trace_channel(scene: &Scene, lift: &LiftProfile) -> Result<[TracedEdge; 2], Refusal> {
    let mut edges: [TracedEdge; 2] = Default::default();
    for (edge, side) in edges.iter_mut().zip(SIDES) {
        let chart = Chart::open(scene.midline, side, STATIONS);
        *edge = trace_side(scene, lift, &chart).ok_or_else(not_found)?;
    }
    Ok(edges)
}

fn trace_side(scene: &Scene, lift: &LiftProfile, chart: &Chart) -> Option<TracedEdge> {
    let reach = REACH_MM.1 + 5.0;
    let strip = Strip::of_chart(scene.photo, scene.camera, scene.midline, lift, chart, reach);
    let middle = chart.point(chart.rays.len() / 2, 30.0, scene.midline, lift);
    let window_mm = WINDOW_MM.max(WINDOW_PX * scene.camera.mm_per_px(middle)?);
    let rises = rises(&strip, (window_mm / COLUMN_STEP_MM).round() as usize);
    let programme = programme(&rises, strip.rows, strip.columns);
    let traced = programme.run()?;
    let reach_mm: Vec<f64> = traced.path.iter().map(|&p| p as f64 * COLUMN_STEP_MM).collect();
    let shown: Vec<f32> =
        traced.path.iter().enumerate().map(|(row, &p)| rises[row * strip.columns + p]).collect();
    if shown.iter().filter(|e| **e >= LEAST_EVIDENCE).count() * 2 < shown.len() {
        return None;
    }
    let apart = (COMPETITOR_MM / COLUMN_STEP_MM) as usize;
    let beliefs: Vec<Belief> = (0..strip.rows).map(|row| traced.belief(row, apart, COLUMN_STEP_MM)).collect();
    let curve = Curve::from_reach(chart, &reach_mm, false);
    let mut edge = measure_limb(scene, lift, &curve, &beliefs);
    drop_hidden(&mut edge, &shown);
    Some(edge)
}

/// Half-length along the edge that one point is measured from, mm, and the window's reach over cord and ground.
const ALONG_MM: f64 = 3.0;
const LIMB_REACH_MM: (f64, f64) = (1.6, 3.2);
/// A point whose pixels do not show a cord is known to the trace's own windows only, mm.
const UNCONFIRMED_U_MM: f64 = 0.8;
/// Rows between measured points.
const ROWS_APART: usize = 2;

/// Measures the cord's silhouette at every second row of the traced curve.
fn measure_limb(scene: &Scene, lift: &LiftProfile, curve: &Curve, beliefs: &[Belief]) -> TracedEdge {
    let points = (0..curve.points.len())
        .into_par_iter()
        .step_by(ROWS_APART)
        .map(|row| {
            let pixel_at =
                |offset: f64| scene.camera.photo_from_card(curve.point(row, offset, scene.midline, lift));
            let middle = pixel_at(0.0)?.vector();
            // From the cord to the channel's floor is toward the midline, against the curve's normal.
            let inwards = pixel_at(-1.0)?.vector() - middle;
            let px_per_mm = inwards.norm();
            let outward = inwards / px_per_mm;
            let window =
                LimbWindow { middle, outward, px_per_mm, along_mm: ALONG_MM, reach_mm: LIMB_REACH_MM };
            let (offset, u_mm) = limb_offset(scene.photo, &window).unwrap_or((0.0, UNCONFIRMED_U_MM));
            let pixel = PhotoPoint::from(middle + outward * offset * px_per_mm);
            let belief = beliefs[row.min(beliefs.len() - 1)];
            let rival = Rival::of(belief, pixel_at);
            Some(EdgePoint { pixel, u_mm, confidence: belief.confidence, rival })
        })
        .collect();
    TracedEdge { points }
}

/// Evidence for light that rises outwards, at every place.
fn rises(strip: &Strip, length: usize) -> Vec<f32> {
    let sums: Vec<Vec<[f64; 2]>> = (0..strip.rows)
        .into_par_iter()
        .map(|row| {
            let mut total = [0.0; 2];
            let mut line = vec![total];
            for sample in strip.row(row) {
                let v = f64::from(sample[0]);
                total = [total[0] + v, total[1] + v * v];
                line.push(total);
            }
            line
        })
        .collect();
    let mut out = vec![0.0; strip.rows * strip.columns];
    out.par_chunks_mut(strip.columns).enumerate().for_each(|(row, line)| {
        let near = &sums[row.saturating_sub(ROWS_ALONG)..(row + ROWS_ALONG + 1).min(strip.rows)];
        for column in length..strip.columns - length {
            line[column] = rise(near, column, length);
        }
    });
    out
}

fn rise(rows: &[Vec<[f64; 2]>], column: usize, length: usize) -> f32 {
    let n = (length * rows.len()) as f64;
    let moments = |from: usize, to: usize| {
        let sum =
            rows.iter().fold([0.0; 2], |s, r| [s[0] + r[to][0] - r[from][0], s[1] + r[to][1] - r[from][1]]);
        let mean = sum[0] / n;
        (mean, (sum[1] / n - mean * mean).max(0.0))
    };
    let (inner, inner_variance) = moments(column - length, column);
    let (outer, outer_variance) = moments(column, column + length);
    let step = outer - inner;
    let t2 = step * step / (inner_variance + outer_variance + FLOOR * FLOOR);
    if step > 0.0 && t2.is_finite() { ((1.0 + t2).ln() as f32).min(SATURATION) } else { 0.0 }
}

fn programme(rises: &[f32], rows: usize, columns: usize) -> Programme {
    let column = |mm: f64| (mm / COLUMN_STEP_MM).round() as usize;
    let (near, far) = (column(INNER_MM.0), column(INNER_MM.1));
    let mut cost = vec![f32::INFINITY; rows * columns];
    for row in 0..rows {
        let line = &rises[row * columns..(row + 1) * columns];
        for place in column(REACH_MM.0)..column(REACH_MM.1).min(columns) {
            let inside = &line[place.saturating_sub(far)..place.saturating_sub(near)];
            let rival = inside.iter().copied().fold(0.0, f32::max);
            cost[row * columns + place] = rival - line[place];
        }
    }
    Programme { rows, places: columns, cost, max_slope: MAX_SLOPE, bend_cost: BEND_COST, step_costs: None }
}

/// Rows in which no edge is seen become untraced, with a margin for the window's length.
fn drop_hidden(edge: &mut TracedEdge, shown: &[f32]) {
    let count = edge.points.len();
    for (i, point) in edge.points.iter_mut().enumerate() {
        let row = i * shown.len() / count.max(1);
        let near = &shown[row.saturating_sub(ROWS_ALONG)..(row + ROWS_ALONG + 1).min(shown.len())];
        let seen = near.iter().filter(|e| **e >= LEAST_EVIDENCE).count();
        if seen * 2 < near.len() {
            *point = None;
        }
    }
}

fn not_found() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the edges of the channel could not be traced",
        "photograph the saddle's underside from straight above, with the channel free",
    )
}
