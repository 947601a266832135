//! Two poses between which the photo cannot decide.

use nalgebra::DVector;

use super::bundle::Layout;
use crate::numeric::solve::Estimate;

/// The mirrored pose of the first card beside the one used. Seen nearly from straight above the two are close, and what
/// they differ by is an uncertainty like any other.
#[derive(Debug, Clone)]
pub struct Ambiguity {
    /// Probability of the mirrored pose.
    pub probability: f64,
    /// Angle between the planes of the card in both poses, degrees.
    pub apart_deg: f64,
    /// The mirrored pose less the one used, in the parameters of the estimate.
    difference: DVector<f64>,
}

/// Solutions whose costs differ by less have ended in one minimum.
pub(super) const ONE_MINIMUM: f64 = 1e-3;
/// A pose this improbable is none: one in a million by chance.
const LEAST_PROBABILITY: f64 = 1e-6;

impl Ambiguity {
    /// Of the layout and estimate in use beside a rival's; `None` where both are one, or the rival is no match.
    pub(super) fn between(layout: &Layout, used: &Estimate, rival: (&Layout, &Estimate)) -> Option<Self> {
        let gap = (rival.1.cost - used.cost).abs();
        let probability = 1.0 / (1.0 + (0.5 * gap).exp());
        if gap < ONE_MINIMUM || probability < LEAST_PROBABILITY {
            return None;
        }
        let (other, values) = rival;
        let mut difference = &values.values - &used.values;
        for view in 0..layout.views.len() {
            let apart = layout.pose_apart(view, &used.values, (other, &values.values));
            difference.rows_range_mut(layout.pose_places(view)).copy_from_slice(&apart);
        }
        let normal =
            |layout: &Layout, values| layout.pose(0, values).rotation.matrix().column(2).into_owned();
        let cosine = normal(layout, &used.values).dot(&normal(other, &values.values));
        Some(Self { probability, apart_deg: cosine.clamp(-1.0, 1.0).acos().to_degrees(), difference })
    }

    /// The same in other parameters: `places` has the place of each of this one's.
    pub(super) fn in_parameters(&self, places: &[Option<usize>], count: usize) -> Self {
        let mut difference = DVector::zeros(count);
        for (place, by) in places.iter().zip(self.difference.iter()) {
            place.iter().for_each(|place| difference[*place] += by);
        }
        Self { difference, ..self.clone() }
    }

    /// Change of the parameters by one standard uncertainty of the choice.
    pub(super) fn part(&self) -> DVector<f64> {
        &self.difference * (self.probability * (1.0 - self.probability)).sqrt()
    }
}
