//! The edge itself: its path through the aligned band, and each of its points measured in the photo's own pixels.

use nalgebra::Vector2;
use rayon::prelude::*;

use super::band::{Curve, STEP_MM, columns};
use super::lift::LiftProfile;
use super::midline::Midline;
use super::strip::Evidence;
use super::trace::Programme;
use crate::camera::Camera;
use crate::ground::frame::PhotoPoint;
use crate::photo::Photo;
use crate::photo::step::{StepSample, fit_step};

/// One traced point of an edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgePoint {
    /// Where it is seen.
    pub pixel: PhotoPoint,
    /// Standard uncertainty across the edge, mm, of this point alone.
    pub u_mm: f64,
    /// Probability that the edge is here and not at a competing place more than 2 mm away.
    pub confidence: f64,
}

/// One side's edge; `None` for a row in which it could not be traced.
#[derive(Debug, Clone, Default)]
pub struct TracedEdge {
    /// Points in order along the edge, one a row.
    pub points: Vec<Option<EdgePoint>>,
}

/// The likeness to the rim's common look runs from -1 to 1; the evidence for a boundary from 0 to 4.
const LOOK_WEIGHT: f32 = 10.0;
const MAX_SLOPE: usize = 3;
const BEND_COST: f32 = 1.0;
/// An expectation costs no more than this.
const MOST_PRIOR: f64 = 200.0;

/// Where a row's edge is expected before the row itself has been looked at.
#[derive(Debug, Clone, Copy)]
pub struct Expected {
    /// Offset from the band's middle, mm.
    pub offset_mm: f64,
    /// Standard uncertainty of that, mm.
    pub u_mm: f64,
}

impl Expected {
    /// What the common line and the given ends say of row `row` of `rows`. Along most of the outline the common line is
    /// the edge; toward the ends, where the inside looks different, it may have slid onto another line, but comes to
    /// lie on the given end at last.
    pub fn between(ends_mm: Option<[f64; 2]>, row: usize, rows: usize, looseness: f64) -> Self {
        let along = [row as f64, (rows - 1 - row) as f64];
        let Some(ends_mm) = ends_mm else { return Self { offset_mm: 0.0, u_mm: COMMON_U_MM * looseness } };
        let near = if along[0] < along[1] { 0 } else { 1 };
        let t = (along[near] / END_REACH_MM).min(1.0);
        let share = (0.5 * std::f64::consts::PI * t).cos().powi(2);
        // Free between both, pinned at the end.
        let free = COMMON_U_MM + looseness * END_U_MM * (std::f64::consts::PI * t).sin();
        Self { offset_mm: ends_mm[near] * share, u_mm: if t < 1.0 { free } else { COMMON_U_MM * looseness } }
    }
}

/// The edge lies off the common line by this much (standard deviation), mm; a given end off the edge likewise.
const COMMON_U_MM: f64 = 1.0;
/// So far from its ends the outline may be on another line, mm: about the length of a pommel or a cantle.
const END_REACH_MM: f64 = 90.0;
/// And then by this much, mm.
const END_U_MM: f64 = 1.5;

/// The edge's offset in each row of a band whose middle is the common line, mm, and its confidence. A row's edge is
/// where a boundary is seen and the rim looks as it does elsewhere. the path stays within `search_mm` of the common line.
pub fn path(
    evidence: &Evidence,
    likeness: &[f32],
    search_mm: f64,
    expected: impl Fn(usize) -> Expected,
) -> Option<(Vec<f64>, Vec<f64>)> {
    let half = (search_mm / STEP_MM).round() as usize;
    let places = 2 * half + 1;
    let first = columns() / 2 - half;
    let offset = |place: usize| (place as f64 - half as f64) * STEP_MM;
    let mut cost = Vec::with_capacity(evidence.rows * places);
    for row in 0..evidence.rows {
        let line = evidence.row(row);
        let expected = expected(row);
        for place in 0..places {
            let off = (offset(place) - expected.offset_mm) / expected.u_mm;
            let prior = (0.5 * off * off).min(MOST_PRIOR) as f32;
            cost.push(prior - line[first + place] - LOOK_WEIGHT * likeness[row * places + place]);
        }
    }
    let programme =
        Programme { rows: evidence.rows, places, cost, max_slope: MAX_SLOPE, bend_cost: BEND_COST };
    let traced = programme.run()?;
    let offsets = traced.path.iter().map(|&p| offset(p)).collect();
    let confidences = (0..evidence.rows)
        .map(|row| {
            let seen = likeness[row * places + traced.path[row]] >= LEAST_LIKENESS;
            if seen { traced.confidence(row, (COMPETITOR_MM / STEP_MM) as usize) } else { 0.0 }
        })
        .collect();
    Some((offsets, confidences))
}

/// A row less like the welt than this shows something else there, such as a strap across the edge.
const LEAST_LIKENESS: f32 = 0.25;
/// A place this far from the path, mm, is another boundary and not the same one less sharply seen.
pub const COMPETITOR_MM: f64 = 2.0;

/// Half-length of the stretch along the edge that one point is measured from, mm.
const ALONG_MM: f64 = 2.0;
/// Reach of the window across it: mm, but at least so many pixels.
const REACH_MM: f64 = 1.3;
const REACH_PX: f64 = 2.4;
/// The measured edge is the traced one only within this, mm.
const MOST_MOVE_MM: f64 = 1.0;
/// A traced point that the photo's pixels do not confirm is known to a column's neighbourhood only, mm.
const UNCONFIRMED_U_MM: f64 = 0.6;
/// Least step of an edge, linear light.
const LEAST_CONTRAST: f64 = 0.001;

/// Measures every second row's point in the photo; a row without confidence is left untraced.
pub fn measure(
    photo: &Photo,
    camera: &Camera,
    midline: &Midline,
    lift: &LiftProfile,
    curve: &Curve,
    confidences: &[f64],
) -> TracedEdge {
    let points = (0..curve.points.len())
        .into_par_iter()
        .step_by(ROWS_APART)
        .map(|row| {
            let confidence = confidences[row.min(confidences.len() - 1)];
            if confidence > 0.0 { point(photo, camera, midline, lift, curve, row, confidence) } else { None }
        })
        .collect();
    TracedEdge { points }
}

/// Rows between measured points: neighbours share most of their pixels anyway.
const ROWS_APART: usize = 2;

fn point(
    photo: &Photo,
    camera: &Camera,
    midline: &Midline,
    lift: &LiftProfile,
    curve: &Curve,
    row: usize,
    confidence: f64,
) -> Option<EdgePoint> {
    let at = camera.photo_from_card(curve.point(row, 0.0, midline, lift))?.vector();
    let out = camera.photo_from_card(curve.point(row, 1.0, midline, lift))?.vector() - at;
    let px_per_mm = out.norm();
    let outward = out / px_per_mm;
    let reach = (REACH_MM * px_per_mm).max(REACH_PX);
    let window = Window { middle: at, outward, half: ALONG_MM * px_per_mm, reach };
    let fit = window.samples(photo).and_then(|mut samples| {
        fit_step(&mut samples, reach, reach / 2.0, LEAST_CONTRAST)
            .filter(|f| f.offset.abs() <= MOST_MOVE_MM * px_per_mm && f.u_offset < reach / 2.0)
    });
    let (offset_px, u_mm) = match fit {
        Some(f) => (f.offset, (f.u_offset / px_per_mm).max(0.02)),
        None => (0.0, UNCONFIRMED_U_MM),
    };
    let pixel = PhotoPoint::from(at + outward * offset_px);
    let inside = pixel.x_px >= 0.0
        && pixel.y_px >= 0.0
        && pixel.x_px < photo.width_px() as f64
        && pixel.y_px < photo.height_px() as f64;
    inside.then_some(EdgePoint { pixel, u_mm, confidence })
}

struct Window {
    middle: Vector2<f64>,
    outward: Vector2<f64>,
    half: f64,
    reach: f64,
}

impl Window {
    /// The window's pixels, their colour turned into one light that rises from inside to outside.
    fn samples(&self, photo: &Photo) -> Option<Vec<StepSample>> {
        let along = Vector2::new(-self.outward.y, self.outward.x);
        let ext = along.abs() * self.half + self.outward.abs() * self.reach;
        let (low, high) = (self.middle - ext, self.middle + ext);
        if low.x < 0.0
            || low.y < 0.0
            || high.x > (photo.width_px() - 1) as f64
            || high.y > (photo.height_px() - 1) as f64
        {
            return None;
        }
        let mut places = Vec::new();
        for y in low.y.ceil() as usize..=high.y.floor() as usize {
            for x in low.x.ceil() as usize..=high.x.floor() as usize {
                let p = Vector2::new(x as f64, y as f64) - self.middle;
                let (d, t) = (p.dot(&self.outward), p.dot(&along));
                if d.abs() <= self.reach && t.abs() <= self.half {
                    places.push((d, t / self.half, photo.linear_pixel(x, y)));
                }
            }
        }
        let weights = colour_step(&places, self.reach)?;
        Some(
            places
                .into_iter()
                .map(|(d, t, rgb)| {
                    let light = (0..3).map(|k| f64::from(rgb[k]) * weights[k]).sum();
                    StepSample { d, t, light, weight: 1.0 }
                })
                .collect(),
        )
    }
}

/// The colour in which both halves of the window differ most: the difference of their means, brought to length 1.
fn colour_step(places: &[(f64, f64, [f32; 3])], reach: f64) -> Option<[f64; 3]> {
    let mut difference = [0.0; 3];
    for outside in [false, true] {
        let mut sum = [0.0; 3];
        let mut n = 0.0;
        for (_, _, rgb) in places.iter().filter(|p| (p.0 > 0.0) == outside && p.0.abs() > 0.3 * reach) {
            sum.iter_mut().zip(rgb).for_each(|(s, v)| *s += f64::from(*v));
            n += 1.0;
        }
        if n == 0.0 {
            return None;
        }
        let sign = if outside { 1.0 } else { -1.0 };
        difference.iter_mut().zip(sum).for_each(|(d, s)| *d += sign * s / n);
    }
    let norm = difference.iter().map(|d| d * d).sum::<f64>().sqrt();
    (norm > 1e-6).then(|| difference.map(|d| d / norm))
}
