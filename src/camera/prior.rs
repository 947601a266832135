//! Prior knowledge of a lens.

use nalgebra::SMatrix;

use super::lens::Lens;

/// Prior of a lens: mean and standard uncertainty of each part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensPrior {
    /// The mean.
    pub mean: Lens,
    /// Relative standard uncertainty of the focal length.
    pub focal_relative_u: f64,
    /// Standard uncertainty of each coordinate of the principal point, pixels.
    pub principal_u_px: f64,
    /// Standard uncertainties of `k1 k2 p1 p2 k3`.
    pub distortion_u: [f64; 5],
    /// Covariance of all parts where their errors are correlated, as those of a calibration are.
    pub covariance: Option<LensCovariance>,
}

/// Covariance of the logarithm of the focal length, the principal point (x, y; pixels) and `k1 k2 p1 p2 k3`.
pub type LensCovariance = SMatrix<f64, 8, 8>;

/// Standard uncertainty of `k1 k2 p1 p2 k3` of a phone's main camera whose own correction is unknown: the corner of the
/// picture (ideal radius 0.83 at 26 mm) moves by up to some 4 % either way (stated assumption).
pub(super) const PHONE_DISTORTION_U: [f64; 5] = [0.05, 0.02, 0.0007, 0.0007, 0.005];
/// Centring and image stabilisation leave a phone's principal point within about 0.5 % of the long side (stated
/// assumption).
pub(super) const PRINCIPAL_RELATIVE_U: f64 = 0.005;

/// Relative standard uncertainty of the focal length of one photo about that of its lens: focus breathing and
/// stabilisation change it by up to a percent between two photos (from memory), half of that either way, rectangular.
pub(super) const FOCAL_CHANGE_U: f64 = 0.003;

impl LensPrior {
    /// Prior of an uncalibrated camera with the given focal length.
    pub fn uncalibrated(width_px: usize, height_px: usize, focal_px: f64, focal_relative_u: f64) -> Self {
        let (w, h) = (width_px as f64, height_px as f64);
        Self {
            mean: Lens { focal_px, cx_px: (w - 1.0) / 2.0, cy_px: (h - 1.0) / 2.0, distortion: [0.0; 5] },
            focal_relative_u,
            principal_u_px: PRINCIPAL_RELATIVE_U * w.max(h),
            distortion_u: PHONE_DISTORTION_U,
            covariance: None,
        }
    }

    /// Prior from a calibration.
    pub fn calibrated(mean: Lens, covariance: LensCovariance) -> Self {
        let u = |i: usize| covariance[(i, i)].sqrt();
        Self {
            mean,
            focal_relative_u: u(0),
            principal_u_px: u(1).max(u(2)),
            distortion_u: [3, 4, 5, 6, 7].map(u),
            covariance: Some(covariance),
        }
    }

    /// The same with every uncertainty larger by a factor.
    pub fn widened(&self, by: f64) -> Self {
        Self {
            focal_relative_u: self.focal_relative_u * by,
            principal_u_px: self.principal_u_px * by,
            distortion_u: self.distortion_u.map(|u| u * by),
            covariance: self.covariance.map(|c| c * by.powi(2)),
            ..*self
        }
    }

    /// The uncertainties in a picture with `k` times as many pixels on a side.
    pub fn with_pixels_times(&self, k: f64) -> Self {
        let scale = LensCovariance::from_diagonal(&[1.0, k, k, 1.0, 1.0, 1.0, 1.0, 1.0].into());
        Self {
            principal_u_px: self.principal_u_px * k,
            covariance: self.covariance.map(|c| scale * c * scale),
            ..*self
        }
    }
}
