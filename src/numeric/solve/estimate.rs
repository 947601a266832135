use nalgebra::{DMatrix, DVector};

use super::{Priors, scaled};

/// Estimate with everything that is needed to propagate it.
#[derive(Debug, Clone)]
pub struct Estimate {
    /// Parameter values at the minimum, counted from the prior means.
    pub values: DVector<f64>,
    /// Covariance of the values.
    pub covariance: DMatrix<f64>,
    /// Whitened residuals at the minimum, without those of the priors.
    pub residuals: DVector<f64>,
    /// Sum of squares of residuals and priors.
    pub cost: f64,
    /// Iterations used.
    pub iterations: usize,
    /// The priors of the fit.
    pub priors: Priors,
    pub(super) information: Vec<DMatrix<f64>>,
}

/// Source of the uncertainty of an estimate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EstimateSource {
    /// The residuals of one group of data.
    Data(usize),
    /// The prior of the parameter with this index.
    Prior(usize),
}

/// Variance below this part of a parameter's own is rounding.
const RELATIVE_VARIANCE: f64 = 1e-12;

impl Estimate {
    /// Standard uncertainty of one value.
    pub fn u(&self, index: usize) -> f64 {
        self.covariance[(index, index)].max(0.0).sqrt()
    }

    /// Variance of a quantity with the given gradient with respect to the values.
    pub fn variance_of(&self, gradient: &DVector<f64>) -> f64 {
        (gradient.transpose() * &self.covariance * gradient)[(0, 0)].max(0.0)
    }

    /// Degrees of freedom of a group of data that the estimate uses: of a parameter that its prior holds, next to none.
    pub fn freedom_used(&self, group: usize) -> f64 {
        self.information.get(group).map_or(0.0, |information| information.dot(&self.covariance))
    }

    /// Independent changes of the values, each by one standard uncertainty of its source, whose outer products add up
    /// to the covariance.
    ///
    /// To first order the estimate is linear in the data and in every prior mean. With covariance C, a prior of
    /// uncertainty u changes it by column j of C over u; data with information matrix I contribute C I C, which is
    /// split along its principal axes.
    pub fn parts(&self) -> Vec<(EstimateSource, DVector<f64>)> {
        let c = &self.covariance;
        let own = self.priors.u.iter().enumerate();
        let own = own.filter_map(|(j, u)| u.map(|u| (EstimateSource::Prior(j), c.column(j) / u)));
        let joint = self.priors.joint.iter().flat_map(|joint| {
            let whitened = &joint.whitening * c.select_rows(&joint.indices);
            let rows = joint.indices.iter().enumerate();
            rows.map(|(k, &j)| (EstimateSource::Prior(j), whitened.row(k).transpose())).collect::<Vec<_>>()
        });
        let data = self.information.iter().enumerate().flat_map(|(group, information)| {
            let axes = principal_parts(&(c * information * c), &c.diagonal());
            axes.into_iter().map(move |part| (EstimateSource::Data(group), part))
        });
        own.chain(joint).chain(data).collect()
    }
}

/// Vectors whose outer products add up to a covariance, in units of the given variances so that no unit hides another.
fn principal_parts(covariance: &DMatrix<f64>, variances: &DVector<f64>) -> Vec<DVector<f64>> {
    let u = variances.map(|v| v.max(0.0).sqrt().max(f64::MIN_POSITIVE));
    let eigen = scaled(covariance, &u.map(|u| 1.0 / u)).symmetric_eigen();
    let axes = eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter());
    axes.filter(|(value, _)| **value > RELATIVE_VARIANCE)
        .map(|(value, axis)| axis.component_mul(&u) * value.sqrt())
        .collect()
}
