//! Number of terms of distortion that the views support.

use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::{Calibration, LensModel, calibrate};
use crate::camera::bundle::Known;
use crate::camera::lens::Intrinsics;
use crate::camera::target::TargetView;
use crate::numeric::solve::SolveError;

/// The terms in the order in which they are added; both decentring terms belong together.
pub const NAMES: [&str; 5] = ["k1", "k2", "p1", "p2", "k3"];
/// Numbers of terms that are tried.
const LADDER: [usize; 5] = [0, 1, 2, 4, 5];
/// A step is accepted where chance alone would make as large a gain in fewer than one of a hundred sets.
const SIGNIFICANCE: f64 = 0.01;

/// One step of the ladder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LadderStep {
    /// Number of terms.
    pub terms: usize,
    /// Root mean square of the residuals with them, pixels.
    pub rms_px: f64,
    /// Probability of as large a gain over the step before if its terms were zero (F test).
    pub by_chance: Option<f64>,
}

/// The model with the first `terms` of the distortion known as `within`, and the others as `otherwise`.
pub fn with_terms(model: &LensModel, terms: usize, within: [Known; 5], otherwise: [Known; 5]) -> LensModel {
    let distortion = std::array::from_fn(|i| if i < terms { within[i] } else { otherwise[i] });
    LensModel { distortion, ..*model }
}

/// Number of terms of the last step of the ladder that an F test of nested models supports, and all steps.
///
/// # Errors
/// As [`calibrate`].
pub fn supported(
    views: &[TargetView],
    start: Intrinsics,
    model: &LensModel,
    within: [Known; 5],
) -> Result<(usize, Vec<LadderStep>), SolveError> {
    let mut steps: Vec<LadderStep> = Vec::new();
    let (mut last, mut supported) = (None, 0);
    for terms in LADDER {
        let fit = calibrate(views, start, &with_terms(model, terms, within, [Known::Fixed; 5]))?;
        let by_chance = last.as_ref().map(|last| chance(last, &fit));
        if by_chance.is_some_and(|p| p < SIGNIFICANCE) {
            supported = terms;
        }
        steps.push(LadderStep { terms, rms_px: fit.rms_px, by_chance });
        last = Some(fit);
    }
    Ok((supported, steps))
}

/// F test: gain in the sum of squares per added term over the remaining one per degree of freedom.
fn chance(before: &Calibration, after: &Calibration) -> f64 {
    let squares = |fit: &Calibration| fit.cost * fit.noise_ratio.powi(2);
    let added = (after.counts.1 - before.counts.1) as f64;
    let freedom = after.counts.0.saturating_sub(after.counts.1).max(1) as f64;
    let gain = ((squares(before) - squares(after)) / added).max(0.0);
    let left = squares(after) / freedom;
    if gain == 0.0 {
        return 1.0;
    }
    FisherSnedecor::new(added, freedom).map_or(1.0, |f| f.sf(gain / left))
}
