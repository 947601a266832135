//! The one nonlinear least-squares entry: Levenberg-Marquardt on whitened residuals with Gaussian priors, giving
//! the maximum-a-posteriori estimate, its covariance, and which input each part of that covariance comes from.
//!
//! Minimised is `sum(r_i(p)^2) + sum(((p_j - mean_j)/u_j)^2)`, with residuals r already divided by their standard
//! uncertainties. Method: K. Levenberg 1944, D. Marquardt 1963; the covariance is the inverse of the normal
//! matrix at the minimum (JCGM 100:2008, 5.2 for its propagation).

use nalgebra::{DMatrix, DVector};

/// What is known of one parameter before the residuals are seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameter {
    /// Start value.
    pub start: f64,
    /// Step for numerical derivatives, in the parameter's unit; about its expected uncertainty is right.
    pub step: f64,
    /// Prior mean and standard uncertainty, or none for a parameter that the residuals alone determine.
    pub prior: Option<(f64, f64)>,
}

impl Parameter {
    /// A parameter without prior.
    pub fn free(start: f64, step: f64) -> Self {
        Self { start, step, prior: None }
    }

    /// A parameter known beforehand as `mean` with standard uncertainty `u`, started at `start`.
    pub fn known(start: f64, mean: f64, u: f64) -> Self {
        Self { start, step: u * 0.1, prior: Some((mean, u)) }
    }
}

/// What is known beforehand of neighbouring parameters whose errors are correlated: their means and covariance, kept
/// as the matrix that makes errors of unit variance of them, one of which belongs to no earlier parameter.
#[derive(Debug, Clone, PartialEq)]
pub struct JointPrior {
    /// Index of the first of the parameters.
    pub first: usize,
    mean: DVector<f64>,
    whitening: DMatrix<f64>,
}

impl JointPrior {
    /// The prior of the parameters from `first` on. `None` when the covariance is not positive definite.
    pub fn new(first: usize, mean: DVector<f64>, covariance: &DMatrix<f64>) -> Option<Self> {
        let scale = scaling(covariance)?;
        let lower = scaled(covariance, &scale).cholesky()?.unpack();
        let whitening = lower.try_inverse()? * DMatrix::from_diagonal(&scale);
        Some(Self { first, mean, whitening })
    }

    /// Errors of the parameters in units of unit variance.
    fn whitened(&self, values: &DVector<f64>) -> DVector<f64> {
        &self.whitening * (values.rows(self.first, self.mean.len()) - &self.mean)
    }

    fn add_to(&self, values: &DVector<f64>, normal: &mut DMatrix<f64>, gradient: &mut DVector<f64>) {
        let (at, n) = (self.first, self.mean.len());
        let mut block = normal.view_mut((at, at), (n, n));
        block += self.whitening.tr_mul(&self.whitening);
        let mut rows = gradient.rows_mut(at, n);
        rows += self.whitening.tr_mul(&self.whitened(values));
    }
}

/// Why the solver gave no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SolveError {
    /// The residuals could not be computed at the start value.
    #[error("the start values give no finite residuals")]
    BadStart,
    /// The normal matrix is singular: some parameter is determined by nothing.
    #[error("the data and priors do not determine every parameter")]
    Singular,
    /// The sum of squares still fell after the last iteration.
    #[error("the fit did not settle")]
    NotConverged,
}

/// The estimate and all that is needed to propagate it.
#[derive(Debug, Clone)]
pub struct Estimate {
    /// Parameter values at the minimum.
    pub values: DVector<f64>,
    /// Covariance of the values.
    pub covariance: DMatrix<f64>,
    /// Whitened residuals at the minimum, without the priors' own.
    pub residuals: DVector<f64>,
    /// Sum of squares of residuals and prior terms.
    pub cost: f64,
    /// Precision (1/u^2) of each parameter's prior, 0 where there is none.
    pub prior_precision: DVector<f64>,
    /// What is known of several parameters together.
    pub joint: Option<JointPrior>,
    /// Iterations taken.
    pub iterations: usize,
}

/// Where an uncertainty comes from: the measured residuals or the prior of one parameter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// All measured residuals together.
    Data,
    /// The prior of the parameter with this index.
    Prior(usize),
}

impl Estimate {
    /// Standard uncertainty of one value.
    pub fn u(&self, index: usize) -> f64 {
        self.covariance[(index, index)].max(0.0).sqrt()
    }

    /// Variance of a quantity with the given gradient with respect to the values.
    pub fn variance_of(&self, gradient: &DVector<f64>) -> f64 {
        (gradient.transpose() * &self.covariance * gradient)[(0, 0)].max(0.0)
    }

    /// Splits the variance of a quantity by its sources: [`Self::responses`] squared.
    pub fn variance_by_source(&self, gradient: &DVector<f64>) -> Vec<(Source, f64)> {
        let (data, priors) = self.responses(gradient);
        let priors = priors.into_iter().map(|(j, response)| (Source::Prior(j), response * response));
        std::iter::once((Source::Data, data)).chain(priors).collect()
    }

    /// Changes of the values, one when a prior's mean is wrong by its standard uncertainty (as [`Self::responses`]) and
    /// others for the data, whose outer products add up to the covariance.
    pub fn parts(&self) -> Vec<(Source, DVector<f64>)> {
        let own = self.prior_precision.iter().enumerate().filter(|(_, p)| **p > 0.0);
        let mut parts: Vec<_> =
            own.map(|(j, p)| (Source::Prior(j), self.covariance.column(j) * p.sqrt())).collect();
        if let Some(joint) = &self.joint {
            let whitened = &joint.whitening * self.covariance.rows(joint.first, joint.mean.len());
            let rows = whitened.row_iter().enumerate();
            parts.extend(rows.map(|(j, row)| (Source::Prior(joint.first + j), row.transpose())));
        }
        let mut left = self.covariance.clone();
        parts.iter().for_each(|(_, part)| left.ger(-1.0, part, part, 1.0));
        // What the data leave, in units of each value's own uncertainty, so that no unit hides another.
        let u = self.covariance.diagonal().map(|v| v.max(0.0).sqrt().max(f64::MIN_POSITIVE));
        let eigen = scaled(&left, &u.map(|u| 1.0 / u)).symmetric_eigen();
        let kept = eigen
            .eigenvalues
            .iter()
            .zip(eigen.eigenvectors.column_iter())
            .filter(|(value, _)| **value > 1e-12);
        parts.extend(kept.map(|(value, vector)| (Source::Data, vector.component_mul(&u) * value.sqrt())));
        parts
    }

    /// How a quantity answers to its sources: the variance that the data give it, and for every prior by how much it
    /// moves, with its sign, when the prior's mean is wrong by its standard uncertainty. The estimate is, to first order,
    /// linear in the data and in every prior mean; with covariance C and prior uncertainty u_j the answer to prior j is
    /// (C g)_j / u_j, and the data's part is what remains of g' C g. Of parameters known together each is given what the
    /// earlier ones do not explain.
    pub fn responses(&self, gradient: &DVector<f64>) -> (f64, Vec<(usize, f64)>) {
        let answer = &self.covariance * gradient;
        let own = self.prior_precision.iter().enumerate().filter(|(_, p)| **p > 0.0);
        let mut priors: Vec<(usize, f64)> = own.map(|(j, p)| (j, answer[j] * p.sqrt())).collect();
        if let Some(joint) = &self.joint {
            let whitened = &joint.whitening * answer.rows(joint.first, joint.mean.len());
            priors.extend(whitened.iter().enumerate().map(|(j, w)| (joint.first + j, *w)));
        }
        let explained: f64 = priors.iter().map(|p| p.1 * p.1).sum();
        ((self.variance_of(gradient) - explained).max(0.0), priors)
    }
}

const MAX_ITERATIONS: usize = 100;
/// Relative fall of the cost below which the fit counts as settled: with some hundred residuals of size 1 the values
/// then move by less than a thousandth of their uncertainty.
pub const SETTLED: f64 = 1e-7;
/// With so much damping a step is nothing.
const MOST_DAMPING: f64 = 1e12;
/// A fall of the cost that moves no value by more than a tenth of its uncertainty.
const UNNOTICED: f64 = 0.01;

/// Minimises the residuals plus priors. `residuals` returns `None` where the model cannot be evaluated.
///
/// # Errors
/// [`SolveError`] when the start is bad, a parameter is undetermined, or the fit does not settle.
pub fn minimise(
    parameters: &[Parameter],
    residuals: impl Fn(&DVector<f64>) -> Option<DVector<f64>>,
) -> Result<Estimate, SolveError> {
    minimise_until(SETTLED, parameters, residuals)
}

/// As [`minimise`], done when the cost falls by less than the part `settled` of itself: for a question that a rough
/// answer settles.
///
/// # Errors
/// As [`minimise`].
pub fn minimise_until(
    settled: f64,
    parameters: &[Parameter],
    residuals: impl Fn(&DVector<f64>) -> Option<DVector<f64>>,
) -> Result<Estimate, SolveError> {
    minimise_knowing(settled, parameters, None, residuals)
}

/// As [`minimise_until`], with some of the parameters, which have no prior of their own, known together.
///
/// # Errors
/// As [`minimise`].
pub fn minimise_knowing(
    settled: f64,
    parameters: &[Parameter],
    joint: Option<&JointPrior>,
    residuals: impl Fn(&DVector<f64>) -> Option<DVector<f64>>,
) -> Result<Estimate, SolveError> {
    let mut values = DVector::from_iterator(parameters.len(), parameters.iter().map(|p| p.start));
    let mut current = finite(residuals(&values)).ok_or(SolveError::BadStart)?;
    let mut cost = total_cost(parameters, joint, &values, &current);
    let mut damping = 1e-6;
    for iteration in 1..=MAX_ITERATIONS {
        let jacobian = numeric_jacobian(parameters, &values, &residuals).ok_or(SolveError::BadStart)?;
        let (normal, gradient) = normal_equations(parameters, joint, &values, &jacobian, &current);
        let before = cost;
        loop {
            let step = damped_step(&normal, &gradient, damping).ok_or(SolveError::Singular)?;
            let trial = &values + &step;
            let trial_cost =
                finite(residuals(&trial)).map(|r| (total_cost(parameters, joint, &trial, &r), r));
            match trial_cost {
                Some((c, r)) if c <= cost => {
                    (values, current, cost) = (trial, r, c);
                    damping = (damping * 0.2).max(1e-12);
                    break;
                }
                _ if damping > MOST_DAMPING => break,
                _ => damping *= 5.0,
            }
        }
        let little = settled * before.max(0.1);
        // What heavy damping holds back has not settled.
        if before - cost <= little && to_gain(&normal, &gradient).is_some_and(|g| g <= little.max(UNNOTICED))
        {
            let stand = Stand { values, residuals: current, cost, iterations: iteration };
            return finish(parameters, joint, stand, &residuals);
        }
        if damping > MOST_DAMPING {
            // No step that can be told from none makes it better: the next turn would try the same.
            break;
        }
    }
    Err(SolveError::NotConverged)
}

fn finite(residuals: Option<DVector<f64>>) -> Option<DVector<f64>> {
    residuals.filter(|r| r.iter().all(|x| x.is_finite()))
}

fn total_cost(
    parameters: &[Parameter],
    joint: Option<&JointPrior>,
    values: &DVector<f64>,
    residuals: &DVector<f64>,
) -> f64 {
    let priors: f64 = parameters
        .iter()
        .zip(values.iter())
        .filter_map(|(p, v)| p.prior.map(|(mean, u)| ((v - mean) / u).powi(2)))
        .sum();
    residuals.norm_squared() + priors + joint.map_or(0.0, |j| j.whitened(values).norm_squared())
}

/// Central differences; `None` where the model fails on either side.
fn numeric_jacobian(
    parameters: &[Parameter],
    values: &DVector<f64>,
    residuals: &impl Fn(&DVector<f64>) -> Option<DVector<f64>>,
) -> Option<DMatrix<f64>> {
    let mut columns = Vec::with_capacity(parameters.len());
    let mut probe = values.clone();
    for (j, parameter) in parameters.iter().enumerate() {
        probe[j] = values[j] + parameter.step;
        let above = finite(residuals(&probe))?;
        probe[j] = values[j] - parameter.step;
        let below = finite(residuals(&probe))?;
        probe[j] = values[j];
        columns.push((above - below) / (2.0 * parameter.step));
    }
    Some(DMatrix::from_columns(&columns))
}

fn normal_equations(
    parameters: &[Parameter],
    joint: Option<&JointPrior>,
    values: &DVector<f64>,
    jacobian: &DMatrix<f64>,
    residuals: &DVector<f64>,
) -> (DMatrix<f64>, DVector<f64>) {
    let mut normal = jacobian.tr_mul(jacobian);
    let mut gradient = jacobian.tr_mul(residuals);
    for (j, parameter) in parameters.iter().enumerate() {
        if let Some((mean, u)) = parameter.prior {
            normal[(j, j)] += 1.0 / (u * u);
            gradient[j] += (values[j] - mean) / (u * u);
        }
    }
    if let Some(joint) = joint {
        joint.add_to(values, &mut normal, &mut gradient);
    }
    (normal, gradient)
}

fn damped_step(normal: &DMatrix<f64>, gradient: &DVector<f64>, damping: f64) -> Option<DVector<f64>> {
    let mut damped = normal.clone();
    for j in 0..damped.nrows() {
        damped[(j, j)] *= 1.0 + damping;
    }
    let scale = scaling(&damped)?;
    let step = scaled(&damped, &scale).cholesky()?.solve(&(-gradient).component_mul(&scale));
    Some(step.component_mul(&scale))
}

/// By how much the cost would fall by the undamped step, were the model linear.
fn to_gain(normal: &DMatrix<f64>, gradient: &DVector<f64>) -> Option<f64> {
    damped_step(normal, gradient, 0.0).map(|step| -step.dot(gradient))
}

/// One over the root of each diagonal element: brings parameters of different units to one size.
fn scaling(matrix: &DMatrix<f64>) -> Option<DVector<f64>> {
    let diagonal = matrix.diagonal();
    diagonal.iter().all(|d| d.is_finite() && *d > 0.0).then(|| diagonal.map(|d| 1.0 / d.sqrt()))
}

fn scaled(matrix: &DMatrix<f64>, scale: &DVector<f64>) -> DMatrix<f64> {
    DMatrix::from_fn(matrix.nrows(), matrix.ncols(), |i, j| matrix[(i, j)] * scale[i] * scale[j])
}

/// Where the search has come to.
struct Stand {
    values: DVector<f64>,
    residuals: DVector<f64>,
    cost: f64,
    iterations: usize,
}

fn finish(
    parameters: &[Parameter],
    joint: Option<&JointPrior>,
    stand: Stand,
    residuals: &impl Fn(&DVector<f64>) -> Option<DVector<f64>>,
) -> Result<Estimate, SolveError> {
    let Stand { values, residuals: at_minimum, cost, iterations } = stand;
    let jacobian = numeric_jacobian(parameters, &values, residuals).ok_or(SolveError::BadStart)?;
    let (normal, _) = normal_equations(parameters, joint, &values, &jacobian, &at_minimum);
    let scale = scaling(&normal).ok_or(SolveError::Singular)?;
    let inverse = scaled(&normal, &scale).cholesky().ok_or(SolveError::Singular)?.inverse();
    let prior_precision = DVector::from_iterator(
        parameters.len(),
        parameters.iter().map(|p| p.prior.map_or(0.0, |(_, u)| 1.0 / (u * u))),
    );
    Ok(Estimate {
        values,
        covariance: scaled(&inverse, &scale),
        residuals: at_minimum,
        cost,
        prior_precision,
        joint: joint.cloned(),
        iterations,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn straight_line_matches_the_closed_form() {
        // y = a + b x with unit noise: var(b) = 1/sum((x-mean)^2), a textbook result.
        let xs = [0.0, 1.0, 2.0, 3.0, 4.0];
        let ys = [1.1, 2.9, 5.2, 7.1, 8.8];
        let fit = minimise(&[Parameter::free(0.0, 0.1), Parameter::free(0.0, 0.1)], |p| {
            Some(DVector::from_iterator(5, xs.iter().zip(ys).map(|(x, y)| y - p[0] - p[1] * x)))
        })
        .unwrap();
        assert_relative_eq!(fit.values[1], 1.96, epsilon = 1e-9);
        assert_relative_eq!(fit.covariance[(1, 1)], 0.1, epsilon = 1e-9);
    }

    #[test]
    fn a_prior_and_a_datum_of_equal_weight_meet_halfway_and_share_the_variance() {
        let fit =
            minimise(&[Parameter::known(0.0, 0.0, 1.0)], |p| Some(DVector::from_element(1, 2.0 - p[0])))
                .unwrap();
        assert_relative_eq!(fit.values[0], 1.0, epsilon = 1e-9);
        let parts = fit.variance_by_source(&DVector::from_element(1, 1.0));
        assert_relative_eq!(parts[0].1, 0.25, epsilon = 1e-9);
        assert_relative_eq!(parts[1].1, 0.25, epsilon = 1e-9);
    }

    #[test]
    fn rosenbrock_reaches_its_published_minimum() {
        // H. H. Rosenbrock 1960: minimum 0 at (1, 1) from the start (-1.2, 1).
        let fit = minimise(&[Parameter::free(-1.2, 1e-4), Parameter::free(1.0, 1e-4)], |p| {
            Some(DVector::from_vec(vec![10.0 * (p[1] - p[0] * p[0]), 1.0 - p[0]]))
        })
        .unwrap();
        assert_relative_eq!(fit.values[0], 1.0, epsilon = 1e-6);
        assert_relative_eq!(fit.values[1], 1.0, epsilon = 1e-6);
    }

    #[test]
    fn an_undetermined_parameter_is_refused() {
        let fit = minimise(&[Parameter::free(0.0, 0.1), Parameter::free(0.0, 0.1)], |p| {
            Some(DVector::from_element(2, 1.0 - p[0]))
        });
        assert_eq!(fit.unwrap_err(), SolveError::Singular);
    }

    #[test]
    fn parameters_known_together_meet_a_datum_as_conditioning_says() {
        // Prior of two parameters with variances 1 and 1 and covariance 0.5; a datum of the first, 2 with variance 1.
        // Conditioning a normal distribution: means 1 and 0.5, variances 0.5 and 1 - 0.25/2 = 0.875, covariance 0.25.
        let prior =
            JointPrior::new(0, DVector::zeros(2), &DMatrix::from_row_slice(2, 2, &[1.0, 0.5, 0.5, 1.0]))
                .unwrap();
        let free = [Parameter::free(0.0, 0.1), Parameter::free(0.0, 0.1)];
        let fit =
            minimise_knowing(SETTLED, &free, Some(&prior), |p| Some(DVector::from_element(1, 2.0 - p[0])))
                .unwrap();
        assert_relative_eq!(fit.values, DVector::from_vec(vec![1.0, 0.5]), epsilon = 1e-9);
        let expected = DMatrix::from_row_slice(2, 2, &[0.5, 0.25, 0.25, 0.875]);
        assert_relative_eq!(fit.covariance, expected, epsilon = 1e-9);
        let parts = fit.variance_by_source(&DVector::from_vec(vec![0.0, 1.0]));
        assert_relative_eq!(parts.iter().map(|p| p.1).sum::<f64>(), 0.875, epsilon = 1e-9);
        let products = fit.parts().iter().map(|(_, part)| part * part.transpose()).sum::<DMatrix<f64>>();
        assert_relative_eq!(products, expected, epsilon = 1e-9);
        // What the second parameter has beyond the first, 1 - 0.25, no datum has touched.
        assert_relative_eq!(parts[2].1, 0.75, epsilon = 1e-9);
    }
}
