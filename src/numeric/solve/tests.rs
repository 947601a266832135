use approx::assert_relative_eq;
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

use super::*;

/// Residuals of one group, differentiated numerically.
struct Numeric<F>(F);

impl<F: Fn(&DVector<f64>) -> DVector<f64>> ResidualModel for Numeric<F> {
    fn residuals(&self, values: &DVector<f64>) -> Option<DVector<f64>> {
        Some(self.0(values))
    }

    fn jacobian(&self, values: &DVector<f64>) -> Option<Vec<JacobianBlock>> {
        let step = 1e-5;
        let columns: Vec<_> = (0..values.len())
            .map(|j| {
                let moved = |by: f64| {
                    let mut probe = values.clone();
                    probe[j] += by;
                    self.0(&probe)
                };
                (moved(step) - moved(-step)) / (2.0 * step)
            })
            .collect();
        let rows = DMatrix::from_columns(&columns);
        Some(vec![JacobianBlock { group: 0, columns: (0..values.len()).collect(), rows }])
    }
}

fn solve(
    u: &[Option<f64>],
    joint: Vec<JointPrior>,
    start: &[f64],
    residuals: impl Fn(&DVector<f64>) -> DVector<f64>,
) -> Result<Estimate, SolveError> {
    let priors = Priors { u: u.to_vec(), joint };
    minimise(&Numeric(residuals), &priors, &DVector::from_column_slice(start), SETTLED)
}

fn variance(fit: &Estimate, gradient: &DVector<f64>, source: EstimateSource) -> f64 {
    fit.parts().iter().filter(|(s, _)| *s == source).map(|(_, part)| part.dot(gradient).powi(2)).sum()
}

#[test]
fn straight_line_matches_the_closed_form() {
    // y = a + b x with unit noise: var(b) = 1/sum((x-mean)^2), a textbook result.
    let xs = [0.0, 1.0, 2.0, 3.0, 4.0];
    let ys = [1.1, 2.9, 5.2, 7.1, 8.8];
    let line =
        |p: &DVector<f64>| DVector::from_iterator(5, xs.iter().zip(ys).map(|(x, y)| y - p[0] - p[1] * x));
    let fit = solve(&[None, None], vec![], &[0.0, 0.0], line).unwrap();
    assert_relative_eq!(fit.values[1], 1.96, epsilon = 1e-9);
    assert_relative_eq!(fit.covariance[(1, 1)], 0.1, epsilon = 1e-9);
}

#[test]
fn prior_and_datum_of_equal_weight_meet_halfway_and_share_the_variance() {
    let fit = solve(&[Some(1.0)], vec![], &[0.0], |p| DVector::from_element(1, 2.0 - p[0])).unwrap();
    assert_relative_eq!(fit.values[0], 1.0, epsilon = 1e-9);
    let gradient = DVector::from_element(1, 1.0);
    assert_relative_eq!(variance(&fit, &gradient, EstimateSource::Data(0)), 0.25, epsilon = 1e-9);
    assert_relative_eq!(variance(&fit, &gradient, EstimateSource::Prior(0)), 0.25, epsilon = 1e-9);
}

#[test]
fn rosenbrock_reaches_its_published_minimum() {
    // H. H. Rosenbrock 1960: minimum 0 at (1, 1) from the start (-1.2, 1).
    let fit = solve(&[None, None], vec![], &[-1.2, 1.0], |p| {
        DVector::from_vec(vec![10.0 * (p[1] - p[0] * p[0]), 1.0 - p[0]])
    })
    .unwrap();
    assert_relative_eq!(fit.values[0], 1.0, epsilon = 1e-6);
    assert_relative_eq!(fit.values[1], 1.0, epsilon = 1e-6);
}

#[test]
fn undetermined_parameter_is_refused() {
    let fit = solve(&[None, None], vec![], &[0.0, 0.0], |p| DVector::from_element(2, 1.0 - p[0]));
    assert_eq!(fit.unwrap_err(), SolveError::Singular);
}

#[test]
fn joint_prior_meets_a_datum_as_conditioning_says() {
    // Prior of two parameters with variances 1 and 1 and covariance 0.5; a datum of the first, 2 with variance 1.
    // Conditioning a normal distribution: means 1 and 0.5, variances 0.5 and 1 - 0.25/2 = 0.875, covariance 0.25.
    let prior = JointPrior::new(vec![0, 1], &DMatrix::from_row_slice(2, 2, &[1.0, 0.5, 0.5, 1.0])).unwrap();
    let fit =
        solve(&[None, None], vec![prior], &[0.0, 0.0], |p| DVector::from_element(1, 2.0 - p[0])).unwrap();
    assert_relative_eq!(fit.values, DVector::from_vec(vec![1.0, 0.5]), epsilon = 1e-9);
    let expected = DMatrix::from_row_slice(2, 2, &[0.5, 0.25, 0.25, 0.875]);
    assert_relative_eq!(fit.covariance, expected, epsilon = 1e-9);
    // No datum touches the part of the second parameter that the first does not explain: 1 - 0.25.
    let second = DVector::from_vec(vec![0.0, 1.0]);
    assert_relative_eq!(variance(&fit, &second, EstimateSource::Prior(1)), 0.75, epsilon = 1e-9);
}

proptest! {
    #[test]
    fn parts_add_up_to_the_covariance(design in prop::collection::vec(-2.0..2.0f64, 12), u in 0.1..10.0f64,
                                      correlation in -0.9..0.9f64) {
        let rows = DMatrix::from_row_slice(4, 3, &design);
        let joint = JointPrior::new(vec![2, 1], &DMatrix::from_row_slice(2, 2, &[1.0, correlation, correlation, 1.0]));
        let fit = solve(&[Some(u), None, None], vec![joint.unwrap()], &[0.0; 3], |p| {
            &rows * p - DVector::from_element(4, 1.0)
        })
        .unwrap();
        let sum: DMatrix<f64> = fit.parts().iter().map(|(_, part)| part * part.transpose()).sum();
        prop_assert!((sum - &fit.covariance).norm() < 1e-6 * fit.covariance.norm());
    }
}
