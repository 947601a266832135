//! How level the cards lie with the saddle.

use nalgebra::{DVector, Rotation3, Vector2, Vector3};

use super::bundle::Layout;
use super::pose::CameraPose;
use crate::numeric::solve::Estimate;

/// A card laid level by eye is within a degree of the saddle's horizontal, either way (a stated assumption): a
/// rectangular distribution, radians. Heights are measured upwards from the card; at the saddle its plane is off
/// by that much of the distance.
pub const LEVEL_U: f64 = 0.0101;

/// The level that several cards agree on, each laid by itself: the first one's plane, turned towards those of the others.
#[derive(Debug, Clone, PartialEq)]
pub struct CommonLevel {
    /// Views of the cards beside the first.
    others: Vec<usize>,
    /// Part of the turn from the first card to each of them.
    parts: Vec<f64>,
    /// Standard uncertainty that is left of the level's slope in each direction, but for the noise of the poses.
    pub u: f64,
}

impl CommonLevel {
    /// The most probable level, every card being off by [`LEVEL_U`], from how well each card's slope against the first is
    /// measured. `None` of a single card.
    pub(super) fn of(layout: &Layout, views: &[usize], estimate: &Estimate) -> Option<Self> {
        let (first, others) = views.split_first().filter(|(_, others)| !others.is_empty())?;
        let prior = LEVEL_U.powi(2);
        let weight = |view: &usize| 1.0 / (prior + turn_variance(layout, [*first, *view], estimate));
        let weights: Vec<f64> = others.iter().map(weight).collect();
        let all = 1.0 / prior + weights.iter().sum::<f64>();
        let parts: Vec<f64> = weights.iter().map(|w| w / all).collect();
        let first_part = 1.0 - parts.iter().sum::<f64>();
        let left = parts.iter().chain([&first_part]).map(|part| part * part).sum::<f64>();
        Some(Self { others: others.to_vec(), parts, u: LEVEL_U * left.sqrt() })
    }

    /// A pose over the first card as one over the level, about the card's origin.
    pub(super) fn pose(&self, layout: &Layout, first: CameraPose, values: &DVector<f64>) -> CameraPose {
        let turn = |(view, part): (&usize, &f64)| slope(&first, &layout.pose(*view, values)) * *part;
        let slope: Vector2<f64> = self.others.iter().zip(&self.parts).map(turn).sum();
        CameraPose { rotation: first.rotation * Rotation3::new(slope.push(0.0)), ..first }
    }
}

/// Turn of another card's plane against the first one's, about the first one's x and y axes.
fn slope(first: &CameraPose, other: &CameraPose) -> Vector2<f64> {
    let normal = first.rotation.inverse() * (other.rotation * Vector3::z());
    Vector2::new(-normal.y, normal.x) / normal.z
}

/// Variance of the slope between two cards by the noise of their poses, the mean of both directions.
fn turn_variance(layout: &Layout, views: [usize; 2], estimate: &Estimate) -> f64 {
    let at = |values: &DVector<f64>| {
        let [first, other] = views.map(|view| layout.pose(view, values));
        slope(&first, &other)
    };
    let mut gradients = [0, 1].map(|_| DVector::zeros(estimate.values.len()));
    for i in views.iter().flat_map(|view| layout.views[*view].columns.iter().copied()) {
        let step = 0.1 * estimate.u(i);
        let moved = |by: f64| {
            let mut values = estimate.values.clone();
            values[i] += by;
            at(&values)
        };
        let by = (moved(step) - moved(-step)) / (2.0 * step);
        (0..2).for_each(|axis| gradients[axis][i] = by[axis]);
    }
    gradients.iter().map(|gradient| estimate.variance_of(gradient)).sum::<f64>() / 2.0
}
