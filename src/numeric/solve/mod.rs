//! Nonlinear least squares with Gaussian priors.
//!
//! [`minimise`] is Levenberg-Marquardt (K. Levenberg 1944, D. Marquardt 1963) on whitened residuals and gives the
//! maximum-a-posteriori estimate, its covariance (the inverse of the normal matrix at the minimum) and the sources of
//! that covariance. [`minimise_robustly`] is Gauss-Newton with reweighted residuals for fits of few parameters to many
//! samples, such as an edge in a photo.

mod estimate;
mod prior;
mod robust;
#[cfg(test)]
mod tests;

use nalgebra::{DMatrix, DVector};

pub use estimate::{Estimate, EstimateSource};
pub use prior::{JointPrior, Priors};
pub use robust::{Equations, ReweightedModel, RobustEstimate, minimise_robustly};

/// Residuals in units of their standard uncertainties, and their derivatives.
pub trait ResidualModel {
    /// Residuals; `None` where the model cannot be evaluated.
    fn residuals(&self, values: &DVector<f64>) -> Option<DVector<f64>>;

    /// Derivatives of the residuals in blocks of consecutive rows; `None` where the model cannot be evaluated.
    fn jacobian(&self, values: &DVector<f64>) -> Option<Vec<JacobianBlock>>;
}

/// Consecutive rows of a Jacobian that depend on the same parameters.
#[derive(Debug, Clone)]
pub struct JacobianBlock {
    /// Group of data to which the rows belong, counted from 0.
    pub group: usize,
    /// Parameter of each column.
    pub columns: Vec<usize>,
    /// The derivatives.
    pub rows: DMatrix<f64>,
}

/// Reason for which there is no estimate.
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

/// A long flat valley takes some hundred.
const MAX_ITERATIONS: usize = 400;
/// Relative fall of the cost below which the fit counts as settled: with some hundred residuals of size 1 the values
/// then move by less than a thousandth of their uncertainty.
pub const SETTLED: f64 = 1e-7;
/// With this much damping no value changes.
const MOST_DAMPING: f64 = 1e12;
/// A fall of the cost that moves no value by more than a tenth of its uncertainty.
const UNNOTICED: f64 = 0.01;

/// Minimises residuals and priors from `start`, until the cost falls by less than the part `settled` of itself.
///
/// # Errors
/// [`SolveError`] when the start is bad, a parameter is undetermined, or the fit does not settle.
pub fn minimise(
    model: &impl ResidualModel,
    priors: &Priors,
    start: &DVector<f64>,
    settled: f64,
) -> Result<Estimate, SolveError> {
    let cost_at = |values: &DVector<f64>| {
        let residuals = model.residuals(values).filter(|r| r.iter().all(|x| x.is_finite()))?;
        Some((residuals.norm_squared() + priors.cost(values), residuals))
    };
    let mut values = start.clone();
    let (mut cost, mut residuals) = cost_at(&values).ok_or(SolveError::BadStart)?;
    let mut damping = 1e-6;
    for iteration in 1..=MAX_ITERATIONS {
        let equations = NormalEquations::at(model, priors, &values, &residuals)?;
        let before = cost;
        loop {
            let trial = &values + equations.step(damping).ok_or(SolveError::Singular)?;
            match cost_at(&trial) {
                Some((c, r)) if c <= cost => {
                    (values, residuals, cost) = (trial, r, c);
                    damping = (damping * 0.2).max(1e-12);
                    break;
                }
                _ if damping > MOST_DAMPING => break,
                _ => damping *= 5.0,
            }
        }
        let little = settled * before.max(0.1);
        // Heavy damping may hold back a fit that has not settled.
        if before - cost <= little && equations.gain().is_some_and(|g| g <= little.max(UNNOTICED)) {
            let at_minimum = NormalEquations::at(model, priors, &values, &residuals)?;
            return at_minimum.estimate(priors, values, residuals, cost, iteration);
        }
        if damping > MOST_DAMPING {
            break;
        }
    }
    Err(SolveError::NotConverged)
}

/// The linearised problem at one place.
struct NormalEquations {
    matrix: DMatrix<f64>,
    gradient: DVector<f64>,
    /// Part of the matrix that each group of data contributes.
    information: Vec<DMatrix<f64>>,
}

impl NormalEquations {
    fn at(
        model: &impl ResidualModel,
        priors: &Priors,
        values: &DVector<f64>,
        residuals: &DVector<f64>,
    ) -> Result<Self, SolveError> {
        let blocks = model.jacobian(values).ok_or(SolveError::BadStart)?;
        let count = values.len();
        let groups = blocks.iter().map(|b| b.group + 1).max().unwrap_or(0);
        let mut information = vec![DMatrix::zeros(count, count); groups];
        let mut gradient = DVector::zeros(count);
        let mut row = 0;
        for JacobianBlock { group, columns, rows } in &blocks {
            let own = rows.tr_mul(rows);
            let falling = rows.tr_mul(&residuals.rows(row, rows.nrows()));
            for (a, &i) in columns.iter().enumerate() {
                gradient[i] += falling[a];
                for (b, &j) in columns.iter().enumerate() {
                    information[*group][(i, j)] += own[(a, b)];
                }
            }
            row += rows.nrows();
        }
        let mut matrix = DMatrix::zeros(count, count);
        information.iter().for_each(|group| matrix += group);
        priors.add_to(values, &mut matrix, &mut gradient);
        Ok(Self { matrix, gradient, information })
    }

    fn step(&self, damping: f64) -> Option<DVector<f64>> {
        let mut damped = self.matrix.clone();
        for j in 0..damped.nrows() {
            damped[(j, j)] *= 1.0 + damping;
        }
        let scale = scaling(&damped)?;
        let step = scaled(&damped, &scale).cholesky()?.solve(&(-&self.gradient).component_mul(&scale));
        Some(step.component_mul(&scale))
    }

    /// Fall of the cost by the undamped step if the model were linear.
    fn gain(&self) -> Option<f64> {
        self.step(0.0).map(|step| -step.dot(&self.gradient))
    }

    fn estimate(
        self,
        priors: &Priors,
        values: DVector<f64>,
        residuals: DVector<f64>,
        cost: f64,
        iterations: usize,
    ) -> Result<Estimate, SolveError> {
        let scale = scaling(&self.matrix).ok_or(SolveError::Singular)?;
        let inverse = scaled(&self.matrix, &scale).cholesky().ok_or(SolveError::Singular)?.inverse();
        let covariance = scaled(&inverse, &scale);
        let (information, priors) = (self.information, priors.clone());
        Ok(Estimate { values, covariance, residuals, cost, iterations, information, priors })
    }
}

/// One over the root of each diagonal element, which brings parameters of different units to one size.
fn scaling(matrix: &DMatrix<f64>) -> Option<DVector<f64>> {
    let diagonal = matrix.diagonal();
    diagonal.iter().all(|d| d.is_finite() && *d > 0.0).then(|| diagonal.map(|d| 1.0 / d.sqrt()))
}

fn scaled(matrix: &DMatrix<f64>, scale: &DVector<f64>) -> DMatrix<f64> {
    DMatrix::from_fn(matrix.nrows(), matrix.ncols(), |i, j| matrix[(i, j)] * scale[i] * scale[j])
}
