//! The lens: from the ideal picture (focal length 1, no distortion) to photo pixels and back.
//!
//! Brown-Conrady distortion, in the usual order and sign:
//! `x_d = x (1 + k1 r2 + k2 r4 + k3 r6) + 2 p1 x y + p2 (r2 + 2 x2)`,
//! `y_d = y (1 + k1 r2 + k2 r4 + k3 r6) + p1 (r2 + 2 y2) + 2 p2 x y`, with `r2 = x2 + y2`;
//! then `u = f x_d + cx`, `v = f y_d + cy`. Pixels are square.

use crate::numeric::frame::{IdealPoint, PhotoPoint};

/// Focal length, principal point and distortion.
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
        let [k1, k2, p1, p2, k3] = self.distortion;
        let r2 = p.x * p.x + p.y * p.y;
        let radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        let x = p.x * radial + 2.0 * p1 * p.x * p.y + p2 * (r2 + 2.0 * p.x * p.x);
        let y = p.y * radial + p1 * (r2 + 2.0 * p.y * p.y) + 2.0 * p2 * p.x * p.y;
        PhotoPoint::new(self.focal_px * x + self.cx_px, self.focal_px * y + self.cy_px)
    }

    /// The point of the ideal picture that appears at a pixel, by Newton's method. `None` where the distortion
    /// model folds over and no single point does.
    pub fn ideal_from_photo(&self, pixel: PhotoPoint) -> Option<IdealPoint> {
        let target = ((pixel.x_px - self.cx_px) / self.focal_px, (pixel.y_px - self.cy_px) / self.focal_px);
        let [k1, k2, p1, p2, k3] = self.distortion;
        let (mut x, mut y) = target;
        for _ in 0..20 {
            let r2 = x * x + y * y;
            let radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
            let slope = k1 + r2 * (2.0 * k2 + 3.0 * r2 * k3);
            let ex = x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x) - target.0;
            let ey = y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y - target.1;
            let dxx = radial + 2.0 * x * x * slope + 2.0 * p1 * y + 6.0 * p2 * x;
            let dxy = 2.0 * x * y * slope + 2.0 * p1 * x + 2.0 * p2 * y;
            let dyy = radial + 2.0 * y * y * slope + 6.0 * p1 * y + 2.0 * p2 * x;
            let determinant = dxx * dyy - dxy * dxy;
            // The map must stay one to one, so its determinant positive, on the way from the axis outwards.
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
