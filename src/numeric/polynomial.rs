//! Polynomials through points.

use nalgebra::{DMatrix, DVector, Vector2};

/// Coefficients, constant first, of the polynomial of a degree in x that fits y best: weighted least squares. `None` where
/// the points do not determine it.
pub fn polynomial(points: &[Vector2<f64>], weights: &[f64], degree: usize) -> Option<DVector<f64>> {
    if points.len() <= degree {
        return None;
    }
    let rows =
        DMatrix::from_fn(points.len(), degree + 1, |i, j| weights[i].sqrt() * points[i].x.powi(j as i32));
    let values = DVector::from_fn(points.len(), |i, _| weights[i].sqrt() * points[i].y);
    let fit = rows.svd(true, true);
    let determined = fit.singular_values.min() > RELATIVE_RANK * fit.singular_values.max();
    determined.then(|| fit.solve(&values, 0.0).ok()).flatten()
}

/// Covariance of the coefficients of [`polynomial`] when the values have a covariance that need not be that of the weights.
/// `None` where the points do not determine them.
pub fn polynomial_covariance(
    points: &[Vector2<f64>],
    weights: &[f64],
    degree: usize,
    covariance: &DMatrix<f64>,
) -> Option<DMatrix<f64>> {
    let design = DMatrix::from_fn(points.len(), degree + 1, |i, j| points[i].x.powi(j as i32));
    let weighted = DMatrix::from_fn(degree + 1, points.len(), |j, i| weights[i] * design[(i, j)]);
    let gain = (&weighted * &design).try_inverse()? * weighted;
    Some(&gain * covariance * gain.transpose())
}

/// Least singular value over the greatest, below which rounding decides.
const RELATIVE_RANK: f64 = 1e-9;

#[cfg(test)]
mod tests {
    use super::*;

    /// Of independent values with one variance, and weights alike, the constant's variance is that of their mean where x is
    /// centred, and the slope's is it over the sum of squares of x.
    #[test]
    fn covariance_of_a_straight_line_is_the_textbooks() {
        let points: Vec<_> = [-3.0, -1.0, 1.0, 3.0].map(|x| Vector2::new(x, 0.0)).to_vec();
        let own = DMatrix::identity(4, 4) * 0.04;
        let found = polynomial_covariance(&points, &[2.0; 4], 1, &own).unwrap();
        let expected = DMatrix::from_diagonal(&DVector::from_vec(vec![0.04 / 4.0, 0.04 / 20.0]));
        assert!((found - expected).norm() < 1e-12);
    }

    #[test]
    fn a_parabola_is_found_from_its_points_and_not_from_too_few() {
        let points: Vec<_> =
            [-2.0, -0.5, 1.0, 3.0].iter().map(|&x| Vector2::new(x, 4.0 - 3.0 * x + 0.5 * x * x)).collect();
        let found = polynomial(&points, &[1.0, 2.0, 0.5, 1.0], 2).unwrap();
        // Exact but for rounding: the points lie on it.
        assert!((found - DVector::from_vec(vec![4.0, -3.0, 0.5])).norm() < 1e-12);
        assert_eq!(polynomial(&points[..2], &[1.0; 2], 2), None);
        assert_eq!(polynomial(&[points[0]; 4], &[1.0; 4], 1), None);
    }
}
