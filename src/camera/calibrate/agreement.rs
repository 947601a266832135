//! Whether the views of a calibration agree with one another as well as the points within each view.
//!
//! An error of a whole view (its light, its focus, its paper) does not show in the scatter of its points and is not in the
//! fit's covariance. It shows when a view is left out: an estimate t from all views, efficient if all noise is that of
//! single points, and t' without one of them differ with covariance C' - C (J. A. Hausman, Econometrica 46, 1978);
//! leaving out each in turn is the jackknife (J. W. Tukey, 1958).

use super::{Calibration, LensModel, calibrate};
use crate::camera::lens::Intrinsics;
use crate::camera::target::TargetView;

/// A view is compared where it contributes more than this part of a parameter's variance.
const CONTRIBUTES: f64 = 0.01;

/// Factor by which views differ more than the noise of their points explains; 1 where they do not, or where no view can
/// be spared. `start` is the start of the fit of all views, which is the mean of its priors.
pub fn views_ratio(views: &[TargetView], start: Intrinsics, fit: &Calibration, model: &LensModel) -> f64 {
    let all = shared(&fit.intrinsics);
    let (mut sum, mut count) = (0.0, 0.0);
    for left_out in 0..views.len() {
        let mut rest = views.to_vec();
        rest.remove(left_out);
        let Ok(without) = calibrate(&rest, start, model) else { continue };
        let noise = (fit.noise_ratio / without.noise_ratio).powi(2);
        for (j, (part, whole)) in shared(&without.intrinsics).into_iter().zip(all).enumerate() {
            let moved = part - whole;
            let own = fit.covariance[(j, j)];
            let expected = noise * without.covariance[(j, j)] - own;
            if expected > CONTRIBUTES * own {
                (sum, count) = (sum + moved * moved / expected, count + 1.0);
            }
        }
    }
    if count > 0.0 { f64::sqrt(sum / count).max(1.0) } else { 1.0 }
}

/// The first of the shared parameters, in their order: logarithm of the focal length, principal point, distortion.
fn shared(lens: &Intrinsics) -> [f64; 8] {
    let [k1, k2, p1, p2, k3] = lens.distortion;
    [lens.fx_px.ln(), lens.cx_px, lens.cy_px, k1, k2, p1, p2, k3]
}
