//! Whether the views of a calibration agree with one another as well as their points do within each view.
//!
//! What is wrong in a whole view (its light, its focus, how the paper lay) does not show in the scatter of its points, and
//! the fit's covariance knows nothing of it. It shows when a view is left out: an estimate t from all views, efficient if
//! all noise is that of single points, and t' without one of them then differ with covariance C' - C (J. A. Hausman,
//! Econometrica 46, 1978); leaving out each in turn is the jackknife (J. W. Tukey, 1958).

use super::model::{INNER, Inner, Model, TargetView};
use super::{Calibration, calibrate};

/// What a view tells of a parameter must be more than this part of its variance, to be asked whether it agrees.
const TOLD: f64 = 0.01;

/// By what factor views differ more than their points' noise lets them; 1 where they do not, or where no view can be spared.
/// `start` is where the fit of all views began, about which its priors lie.
pub fn views_ratio(views: &[TargetView], start: Inner, fit: &Calibration, model: &Model) -> f64 {
    let shared = shared(&fit.inner);
    let (mut sum, mut count) = (0.0, 0.0);
    for left_out in 0..views.len() {
        let mut rest = views.to_vec();
        rest.remove(left_out);
        let Ok(without) = calibrate(&rest, start, model) else { continue };
        let noise = (fit.noise_ratio / without.noise_ratio).powi(2);
        for (j, moved) in self::shared(&without.inner).into_iter().zip(shared).map(|(a, b)| a - b).enumerate()
        {
            let own = fit.covariance[(j, j)];
            let expected = noise * without.covariance[(j, j)] - own;
            if expected > TOLD * own {
                (sum, count) = (sum + moved * moved / expected, count + 1.0);
            }
        }
    }
    if count > 0.0 { f64::sqrt(sum / count).max(1.0) } else { 1.0 }
}

/// Logarithm of the focal length, principal point and distortion: the first of the shared parameters, in their order.
fn shared(inner: &Inner) -> [f64; INNER - 3] {
    let d = inner.distortion;
    [inner.fx_px.ln(), inner.cx_px, inner.cy_px, d[0], d[1], d[2], d[3], d[4]]
}
