//! Plane-to-plane homographies by the normalised direct linear transform (R. Hartley, A. Zisserman, Multiple View
//! Geometry, 2nd ed., algorithm 4.2).

use nalgebra::{DMatrix, Matrix3, Vector2, Vector3};

/// The homography that takes `from` to `to` in the least algebraic squares of the normalised points; scaled so that
/// its last element is 1 when that is not near 0. `None` for fewer than four pairs or a degenerate set.
pub fn homography(pairs: &[(Vector2<f64>, Vector2<f64>)]) -> Option<Matrix3<f64>> {
    if pairs.len() < 4 {
        return None;
    }
    let from_normal = normaliser(pairs.iter().map(|p| p.0))?;
    let to_normal = normaliser(pairs.iter().map(|p| p.1))?;
    let mut rows = DMatrix::zeros((2 * pairs.len()).max(9), 9);
    for (i, (from, to)) in pairs.iter().enumerate() {
        let a = from_normal * from.push(1.0);
        let b = to_normal * to.push(1.0);
        for k in 0..3 {
            rows[(2 * i, 3 + k)] = -a[k];
            rows[(2 * i, 6 + k)] = b.y * a[k];
            rows[(2 * i + 1, k)] = a[k];
            rows[(2 * i + 1, 6 + k)] = -b.x * a[k];
        }
    }
    let svd = rows.svd(false, true);
    let order = {
        let mut order: Vec<usize> = (0..9).collect();
        order.sort_by(|&i, &j| svd.singular_values[i].total_cmp(&svd.singular_values[j]));
        order
    };
    // Four points in general position leave a one-dimensional null space; a second small value is degenerate.
    if svd.singular_values[order[1]] < 1e-9 * svd.singular_values[order[8]] {
        return None;
    }
    let h = svd.v_t?.row(order[0]).transpose();
    let h = Matrix3::from_row_slice(h.as_slice());
    let h = to_normal.try_inverse()? * h * from_normal;
    let scale = if h[(2, 2)].abs() > 1e-12 * h.norm() { h[(2, 2)] } else { h.norm() };
    Some(h / scale)
}

/// The image of a point under a homography; `None` at infinity.
pub fn apply(h: &Matrix3<f64>, p: Vector2<f64>) -> Option<Vector2<f64>> {
    let q = h * Vector3::new(p.x, p.y, 1.0);
    (q.z.abs() > f64::EPSILON).then(|| q.xy() / q.z)
}

/// Moves the points' centroid to the origin and their mean distance from it to the root of 2.
fn normaliser(points: impl Iterator<Item = Vector2<f64>> + Clone) -> Option<Matrix3<f64>> {
    let n = points.clone().count() as f64;
    let centre = points.clone().sum::<Vector2<f64>>() / n;
    let spread = points.map(|p| (p - centre).norm()).sum::<f64>() / n;
    let s = 2f64.sqrt() / spread;
    s.is_finite().then(|| Matrix3::new(s, 0.0, -s * centre.x, 0.0, s, -s * centre.y, 0.0, 0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn exact_pairs_give_the_homography_back(a in -0.3..0.3f64, b in -0.3..0.3f64, g in -1e-3..1e-3f64,
                                                h in -1e-3..1e-3f64, tx in -500.0..500.0f64) {
            let truth = Matrix3::new(2.0, a, tx, b, 1.5, 40.0, g, h, 1.0);
            let pairs: Vec<_> = [(-100.0, -80.0), (110.0, -75.0), (95.0, 90.0), (-90.0, 85.0), (3.0, 5.0)]
                .map(|(x, y)| (Vector2::new(x, y), apply(&truth, Vector2::new(x, y)).unwrap()))
                .to_vec();
            let found = homography(&pairs).unwrap();
            prop_assert!((found - truth).norm() < 1e-8 * truth.norm());
        }
    }

    #[test]
    fn points_on_one_line_are_refused() {
        let pairs: Vec<_> =
            (0..6).map(|i| (Vector2::new(f64::from(i), 2.0), Vector2::new(f64::from(i), 1.0))).collect();
        assert!(homography(&pairs).is_none());
    }
}
