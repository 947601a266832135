//! What a plan encloses, against what lies round it.

use nalgebra::Vector2;

use super::plane::PlaneView;
use super::pose::Pose;
use crate::outline::strip::CHANNELS;

/// What lies within a pose's outline and beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Body {
    /// How well light and colours tell the inside from the outside beside the rear half, from 0 to 1: in front, flaps of
    /// the same leather may lie outside.
    pub apart: f64,
    /// Part of the inside that the photo does not show, or that a card covers.
    pub covered: f64,
}

/// Distances from the outline at which the inside and the outside are sampled, mm: beyond the rim on either side.
const INSIDE_MM: [f64; 3] = [-32.0, -24.0, -16.0];
const OUTSIDE_MM: [f64; 3] = [14.0, 22.0, 30.0];
/// Points along the outline.
const POINTS: usize = 24;
/// Spread of samples that no texture explains, square root of light.
const FLOOR: f32 = 0.006;
/// Means this many variances apart, squared, tell two things apart without doubt.
const CLEAR: f32 = 2.0;

impl Body {
    /// Of a pose in the view.
    pub fn of(view: &PlaneView, pose: &Pose) -> Self {
        let inside = samples(view, pose, &INSIDE_MM);
        let outside = samples(view, pose, &OUTSIDE_MM);
        let covered = inside.iter().filter(|s| s.1.is_none()).count() as f64 / inside.len().max(1) as f64;
        let rear = |all: &[(bool, Option<[f32; CHANNELS]>)]| -> Vec<[f32; CHANNELS]> {
            all.iter().filter(|s| s.0).filter_map(|s| s.1).collect()
        };
        Self { apart: apart(&rear(&inside), &rear(&outside)), covered }
    }
}

/// Samples along the outline at distances from it, and whether they lie beside the rear half.
fn samples(view: &PlaneView, pose: &Pose, distances_mm: &[f64]) -> Vec<(bool, Option<[f32; CHANNELS]>)> {
    let points = pose.outline_points(POINTS);
    let around = distances_mm.iter().flat_map(|&d| points.iter().map(move |p| (p.0, p.1 + p.2 * d)));
    around.map(|(rear, at)| (rear, view.open_sample(at))).collect()
}

/// Means against standard deviations, on a logarithmic scale: what takes in a floor and a box has a spread of its own.
fn apart(inside: &[[f32; CHANNELS]], outside: &[[f32; CHANNELS]]) -> f64 {
    if inside.len().min(outside.len()) < POINTS / 2 {
        return 0.0;
    }
    let ratio: f32 = (0..CHANNELS)
        .map(|k| {
            let (a, b) = (mean_and_variance(inside, k), mean_and_variance(outside, k));
            (a.0 - b.0).powi(2) / (a.1 + b.1 + 2.0 * FLOOR * FLOOR)
        })
        .sum();
    f64::from((ratio.ln_1p() / CLEAR.ln_1p()).min(1.0))
}

fn mean_and_variance(samples: &[[f32; CHANNELS]], channel: usize) -> (f32, f32) {
    let n = samples.len() as f32;
    let mean = samples.iter().map(|s| s[channel]).sum::<f32>() / n;
    (mean, samples.iter().map(|s| (s[channel] - mean).powi(2)).sum::<f32>() / n)
}

impl Pose {
    /// Points of both sides' outlines: whether beside the rear half, the place in mm from the view's corner, the normal.
    fn outline_points(&self, count: usize) -> Vec<(bool, Vector2<f64>, Vector2<f64>)> {
        let (along, across) = self.axes();
        let middle_mm = self.middle * super::plane::CELL_MM;
        let side = |sign: f64| {
            self.shape.outline(count).into_iter().map(move |p| {
                let at = middle_mm + along * p.at_mm.x + across * (sign * p.at_mm.y);
                (p.at_mm.x > 0.0, at, along * p.normal.x + across * (sign * p.normal.y))
            })
        };
        side(1.0).chain(side(-1.0)).collect()
    }
}
