//! Closed-form intrinsics from the homographies of one flat target in several views
//! (Z. Zhang, A flexible new technique for camera calibration, IEEE TPAMI 22(11), 2000, section 3.1 and appendix B).

use nalgebra::{DMatrix, Matrix3, SVector};

use crate::camera::lens::Intrinsics;

/// Focal lengths, skew and principal point without distortion, px, in the frame in which the homographies end. `None`
/// where the views do not determine them: fewer than three, or all from one direction.
///
/// Every homography gives two equations in the image of the absolute conic, `B = A^-T A^-1`; its six numbers are the
/// vector of least algebraic squares. Pixels are moved by `middle` and divided by `size_px`.
pub fn intrinsics_from_homographies(
    photo_from_target: &[Matrix3<f64>],
    middle: [f64; 2],
    size_px: f64,
) -> Option<Intrinsics> {
    if photo_from_target.len() < 3 {
        return None;
    }
    let normal = Matrix3::new(1.0, 0.0, -middle[0], 0.0, 1.0, -middle[1], 0.0, 0.0, size_px) / size_px;
    let mut rows = DMatrix::zeros((2 * photo_from_target.len()).max(6), 6);
    for (i, h) in photo_from_target.iter().enumerate() {
        let h = normal * h;
        let h = h / h.norm();
        rows.set_row(2 * i, &equation(&h, 0, 1).transpose());
        rows.set_row(2 * i + 1, &(equation(&h, 0, 0) - equation(&h, 1, 1)).transpose());
    }
    let svd = rows.svd(false, true);
    let mut order: Vec<usize> = (0..6).collect();
    order.sort_by(|&a, &b| svd.singular_values[a].total_cmp(&svd.singular_values[b]));
    if svd.singular_values[order[1]] < LEAST_RELATIVE_SINGULAR * svd.singular_values[order[5]] {
        return None;
    }
    let b = svd.v_t?.row(order[0]).transpose();
    let found = intrinsics_of_conic(&[b[0], b[1], b[2], b[3], b[4], b[5]])?;
    Some(Intrinsics {
        fx_px: found.fx_px * size_px,
        fy_px: found.fy_px * size_px,
        skew_px: found.skew_px * size_px,
        cx_px: found.cx_px * size_px + middle[0],
        cy_px: found.cy_px * size_px + middle[1],
        distortion: [0.0; 5],
    })
}

/// A second singular value below this part of the greatest is rounding: the views are as good as one.
const LEAST_RELATIVE_SINGULAR: f64 = 1e-9;

/// The vector `v_ij` with `h_i' B h_j = v_ij . b` for `b = (B11, B12, B22, B13, B23, B33)`.
fn equation(h: &Matrix3<f64>, i: usize, j: usize) -> SVector<f64, 6> {
    let (a, b) = (h.column(i), h.column(j));
    SVector::from([
        a[0] * b[0],
        a[0] * b[1] + a[1] * b[0],
        a[1] * b[1],
        a[2] * b[0] + a[0] * b[2],
        a[2] * b[1] + a[1] * b[2],
        a[2] * b[2],
    ])
}

/// Appendix B of the paper. `None` when no camera has the conic.
fn intrinsics_of_conic(b: &[f64; 6]) -> Option<Intrinsics> {
    let [b11, b12, b22, b13, b23, b33] = *b;
    let minor = b11 * b22 - b12 * b12;
    let cy = (b12 * b13 - b11 * b23) / minor;
    let lambda = b33 - (b13 * b13 + cy * (b12 * b13 - b11 * b23)) / b11;
    let (fx2, fy2) = (lambda / b11, lambda * b11 / minor);
    if !(fx2 > 0.0 && fy2 > 0.0 && fx2.is_finite() && fy2.is_finite()) {
        return None;
    }
    let (fx, fy) = (fx2.sqrt(), fy2.sqrt());
    let skew = -b12 * fx2 * fy / lambda;
    let cx = skew * cy / fy - b13 * fx2 / lambda;
    Some(Intrinsics { fx_px: fx, fy_px: fy, skew_px: skew, cx_px: cx, cy_px: cy, distortion: [0.0; 5] })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use nalgebra::{Rotation3, Vector3};

    fn view(turn: [f64; 3]) -> Matrix3<f64> {
        let k = Matrix3::new(1500.0, 2.0, 1010.0, 0.0, 1480.0, 750.0, 0.0, 0.0, 1.0);
        let r = Rotation3::new(Vector3::from(turn));
        let m = r.matrix();
        k * Matrix3::from_columns(&[m.column(0).into(), m.column(1).into(), Vector3::new(10.0, -20.0, 500.0)])
    }

    #[test]
    fn exact_homographies_give_the_camera_back() {
        let views = [[0.5, 0.1, 0.2], [-0.3, 0.4, 1.0], [0.1, -0.6, -0.4]].map(view);
        let found = intrinsics_from_homographies(&views, [1007.5, 755.5], 2016.0).unwrap();
        // Exact but for rounding, which the division by a small minor magnifies.
        assert_relative_eq!(found.fx_px, 1500.0, max_relative = 1e-8);
        assert_relative_eq!(found.fy_px, 1480.0, max_relative = 1e-8);
        assert_relative_eq!(found.skew_px, 2.0, epsilon = 1e-5);
        assert_relative_eq!(found.cx_px, 1010.0, max_relative = 1e-8);
        assert_relative_eq!(found.cy_px, 750.0, max_relative = 1e-8);
    }

    #[test]
    fn views_of_one_direction_determine_nothing() {
        let alike = [[0.4, 0.0, 0.0]; 4].map(view);
        assert!(intrinsics_from_homographies(&alike, [1007.5, 755.5], 2016.0).is_none());
    }
}
