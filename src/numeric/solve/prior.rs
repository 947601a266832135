use nalgebra::{DMatrix, DVector};

use super::{scaled, scaling};

/// Prior knowledge of all parameters, each of which is counted from its prior mean.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Priors {
    /// Standard uncertainty of each parameter; `None` where the residuals alone determine it, or a joint prior does.
    pub u: Vec<Option<f64>>,
    /// Priors with correlated errors.
    pub joint: Vec<JointPrior>,
}

impl Priors {
    /// Variance of a parameter before the data; `None` where it has no prior.
    pub fn variance(&self, index: usize) -> Option<f64> {
        let own = self.u.get(index).copied().flatten().map(|u| u * u);
        own.or_else(|| self.joint.iter().find_map(|joint| joint.variance(index)))
    }

    pub(super) fn cost(&self, values: &DVector<f64>) -> f64 {
        let own = self.u.iter().zip(values.iter()).filter_map(|(u, v)| u.map(|u| (v / u).powi(2)));
        own.sum::<f64>() + self.joint.iter().map(|j| j.whitened(values).norm_squared()).sum::<f64>()
    }

    pub(super) fn add_to(
        &self,
        values: &DVector<f64>,
        normal: &mut DMatrix<f64>,
        gradient: &mut DVector<f64>,
    ) {
        for (j, u) in self.u.iter().enumerate() {
            if let Some(u) = u {
                normal[(j, j)] += 1.0 / (u * u);
                gradient[j] += values[j] / (u * u);
            }
        }
        self.joint.iter().for_each(|joint| joint.add_to(values, normal, gradient));
    }
}

/// Prior of parameters with correlated errors, kept as the matrix that turns them into independent errors of unit
/// variance, each of which is the part of one parameter's error that no earlier one explains.
#[derive(Debug, Clone, PartialEq)]
pub struct JointPrior {
    pub(super) indices: Vec<usize>,
    pub(super) whitening: DMatrix<f64>,
}

impl JointPrior {
    /// `None` when the covariance is not positive definite.
    pub fn new(indices: Vec<usize>, covariance: &DMatrix<f64>) -> Option<Self> {
        let scale = scaling(covariance)?;
        let lower = scaled(covariance, &scale).cholesky()?.unpack();
        let whitening = lower.try_inverse()? * DMatrix::from_diagonal(&scale);
        Some(Self { indices, whitening })
    }

    fn variance(&self, index: usize) -> Option<f64> {
        let at = self.indices.iter().position(|i| *i == index)?;
        let covariance = self.whitening.tr_mul(&self.whitening).try_inverse()?;
        Some(covariance[(at, at)])
    }

    fn whitened(&self, values: &DVector<f64>) -> DVector<f64> {
        &self.whitening * values.select_rows(&self.indices)
    }

    fn add_to(&self, values: &DVector<f64>, normal: &mut DMatrix<f64>, gradient: &mut DVector<f64>) {
        let block = self.whitening.tr_mul(&self.whitening);
        let rising = self.whitening.tr_mul(&self.whitened(values));
        for (a, &i) in self.indices.iter().enumerate() {
            gradient[i] += rising[a];
            for (b, &j) in self.indices.iter().enumerate() {
                normal[(i, j)] += block[(a, b)];
            }
        }
    }
}
