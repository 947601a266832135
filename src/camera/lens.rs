//! Lens models: from the ideal picture (focal length 1, no distortion) to photo pixels and back.
//!
//! Brown-Conrady distortion, in the usual order and sign:
//! `x_d = x (1 + k1 r2 + k2 r4 + k3 r6) + 2 p1 x y + p2 (r2 + 2 x2)`,
//! `y_d = y (1 + k1 r2 + k2 r4 + k3 r6) + p1 (r2 + 2 y2) + 2 p2 x y`, with `r2 = x2 + y2`.

use nalgebra::{Matrix3, Vector2, Vector3};

use super::parameter::LensParameter;
use crate::numeric::frame::{IdealPoint, PhotoPoint};

/// Lens with square pixels: `u = f x_d + cx`, `v = f y_d + cy`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    /// Focal length, pixels.
    pub focal_px: f64,
    /// Principal point: x, pixels.
    pub cx_px: f64,
    /// Principal point: y, pixels.
    pub cy_px: f64,
    /// `k1 k2 p1 p2 k3`, no unit.
    pub distortion: [f64; 5],
}

impl Lens {
    /// The pixel where a point of the ideal picture appears.
    #[inline]
    pub fn photo_from_ideal(&self, p: IdealPoint) -> PhotoPoint {
        let d = distorted(&self.distortion, p.x, p.y);
        PhotoPoint::new(self.focal_px * d.x + self.cx_px, self.focal_px * d.y + self.cy_px)
    }

    /// The point of the ideal picture that appears at a pixel, by Newton's method. `None` where the distortion
    /// model folds over and no single point does.
    pub fn ideal_from_photo(&self, pixel: PhotoPoint) -> Option<IdealPoint> {
        let target = ((pixel.x_px - self.cx_px) / self.focal_px, (pixel.y_px - self.cy_px) / self.focal_px);
        let (mut x, mut y) = target;
        for _ in 0..20 {
            let (d, [dxx, dxy, dyy]) =
                (distorted(&self.distortion, x, y), derivatives(&self.distortion, x, y));
            let (ex, ey) = (d.x - target.0, d.y - target.1);
            let determinant = dxx * dyy - dxy * dxy;
            // The map must stay one to one, so its determinant positive, from the axis outwards.
            if determinant.is_nan() || determinant <= 0.05 {
                return None;
            }
            let (sx, sy) = ((dyy * ex - dxy * ey) / determinant, (dxx * ey - dxy * ex) / determinant);
            (x, y) = (x - sx, y - sy);
            if sx.abs() + sy.abs() < 1e-13 {
                return Some(IdealPoint { x, y });
            }
        }
        None
    }
}

#[inline]
fn radial(distortion: &[f64; 5], r2: f64) -> f64 {
    let [k1, k2, _, _, k3] = distortion;
    1.0 + r2 * (k1 + r2 * (k2 + r2 * k3))
}

/// The distorted picture of an ideal point.
#[inline]
fn distorted(distortion: &[f64; 5], x: f64, y: f64) -> Vector2<f64> {
    let [_, _, p1, p2, _] = distortion;
    let r2 = x * x + y * y;
    let radial = radial(distortion, r2);
    Vector2::new(
        x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
        y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
    )
}

/// Derivatives of the distorted x by x, of x by y (and of y by x), and of y by y.
#[inline]
fn derivatives(distortion: &[f64; 5], x: f64, y: f64) -> [f64; 3] {
    let [k1, k2, p1, p2, k3] = distortion;
    let r2 = x * x + y * y;
    let radial = radial(distortion, r2);
    let slope = k1 + r2 * (2.0 * k2 + 3.0 * r2 * k3);
    [
        radial + 2.0 * x * x * slope + 2.0 * p1 * y + 6.0 * p2 * x,
        2.0 * x * y * slope + 2.0 * p1 * x + 2.0 * p2 * y,
        radial + 2.0 * y * y * slope + 6.0 * p1 * y + 2.0 * p2 * x,
    ]
}

/// Lens with pixels of any shape: `u = fx x_d + skew y_d + cx`, `v = fy y_d + cy`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Intrinsics {
    /// Focal length across, pixels.
    pub fx_px: f64,
    /// Focal length down, pixels.
    pub fy_px: f64,
    /// Skew, pixels.
    pub skew_px: f64,
    /// Principal point: x, pixels.
    pub cx_px: f64,
    /// Principal point: y, pixels.
    pub cy_px: f64,
    /// `k1 k2 p1 p2 k3`.
    pub distortion: [f64; 5],
}

impl From<Lens> for Intrinsics {
    fn from(lens: Lens) -> Self {
        let Lens { focal_px, cx_px, cy_px, distortion } = lens;
        Self { fx_px: focal_px, fy_px: focal_px, skew_px: 0.0, cx_px, cy_px, distortion }
    }
}

impl Intrinsics {
    /// The lens with square pixels of the focal length across.
    pub fn with_square_pixels(&self) -> Lens {
        let Self { fx_px, cx_px, cy_px, distortion, .. } = *self;
        Lens { focal_px: fx_px, cx_px, cy_px, distortion }
    }

    /// The pixel where a point of the ideal picture appears.
    pub fn photo_from_ideal(&self, p: IdealPoint) -> PhotoPoint {
        PhotoPoint::from(self.pixel(&distorted(&self.distortion, p.x, p.y)))
    }

    fn pixel(&self, d: &Vector2<f64>) -> Vector2<f64> {
        Vector2::new(self.fx_px * d.x + self.skew_px * d.y + self.cx_px, self.fy_px * d.y + self.cy_px)
    }

    /// Map from the undistorted ideal picture to the photo.
    pub fn matrix(&self) -> Matrix3<f64> {
        Matrix3::new(self.fx_px, self.skew_px, self.cx_px, 0.0, self.fy_px, self.cy_px, 0.0, 0.0, 1.0)
    }

    /// Line of sight of a pixel when there is no distortion.
    pub fn undistorted_sight(&self, pixel: Vector2<f64>) -> Vector3<f64> {
        let y = (pixel.y - self.cy_px) / self.fy_px;
        Vector3::new((pixel.x - self.cx_px - self.skew_px * y) / self.fx_px, y, 1.0)
    }

    /// The lens with one parameter changed.
    pub fn moved(mut self, parameter: LensParameter, by: f64) -> Self {
        match parameter {
            LensParameter::Focal => {
                self.fx_px *= by.exp();
                self.fy_px *= by.exp();
            }
            LensParameter::PixelAspect => self.fy_px *= by.exp(),
            LensParameter::Skew => self.skew_px += by,
            LensParameter::PrincipalX => self.cx_px += by,
            LensParameter::PrincipalY => self.cy_px += by,
            LensParameter::K1 => self.distortion[0] += by,
            LensParameter::K2 => self.distortion[1] += by,
            LensParameter::P1 => self.distortion[2] += by,
            LensParameter::P2 => self.distortion[3] += by,
            LensParameter::K3 => self.distortion[4] += by,
        }
        self
    }
}

/// Focal length of square pixels that makes an orthonormal frame of a homography from a plane, by least squares of the
/// two conditions on it (Z. Zhang 2000, section 2.3). `None` for a plane seen from straight above, which has any.
pub fn focal_from_homography(photo_from_plane: &Matrix3<f64>, centre_px: [f64; 2]) -> Option<f64> {
    let centred =
        Matrix3::new(1.0, 0.0, -centre_px[0], 0.0, 1.0, -centre_px[1], 0.0, 0.0, 1.0) * photo_from_plane;
    let (a, b) = (centred.column(0), centred.column(1));
    let (in_plane_a, in_plane_b) = (a.xy(), b.xy());
    let across = [a.z * b.z, -in_plane_a.dot(&in_plane_b)];
    let length = [a.z * a.z - b.z * b.z, in_plane_b.norm_squared() - in_plane_a.norm_squared()];
    let square = (across[0] * across[1] + length[0] * length[1]) / (across[0].powi(2) + length[0].powi(2));
    (square.is_finite() && square > 0.0).then(|| square.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn there_and_back_is_the_same_point(x in -0.6..0.6f64, y in -0.5..0.5f64, k1 in -0.1..0.1f64,
                                            k2 in -0.03..0.03f64, p1 in -0.002..0.002f64) {
            let lens = Lens { focal_px: 3000.0, cx_px: 2015.5, cy_px: 1511.5, distortion: [k1, k2, p1, -p1, 0.0] };
            let back = lens.ideal_from_photo(lens.photo_from_ideal(IdealPoint { x, y })).unwrap();
            // 1e-10 of the focal length is 3e-7 px: far below any noise.
            prop_assert!((back.x - x).abs() < 1e-10 && (back.y - y).abs() < 1e-10);
        }
    }
}
