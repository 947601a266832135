use nalgebra::{SMatrix, SVector};

/// Weighted residuals of many samples with few parameters.
pub trait ReweightedModel<const N: usize> {
    /// Iterations before the weights follow the residuals: until then the fit is still far off.
    const UNWEIGHTED: usize;
    /// Most iterations.
    const MOST: usize;

    /// Normal matrix and downhill direction at the given values; with `reweigh`, after new weights by the residuals.
    fn equations(&mut self, values: &SVector<f64, N>, reweigh: bool) -> Equations<N>;

    /// Applies a step, within the limits of the model.
    fn apply(&self, step: SVector<f64, N>, values: &mut SVector<f64, N>);

    /// True when a step is too small to matter.
    fn is_settled(&self, step: &SVector<f64, N>) -> bool;
}

/// Normal matrix and downhill direction.
pub type Equations<const N: usize> = (SMatrix<f64, N, N>, SVector<f64, N>);

/// Estimate of a reweighted fit.
#[derive(Debug, Clone, Copy)]
pub struct RobustEstimate<const N: usize> {
    /// Values of the parameters.
    pub values: SVector<f64, N>,
    /// Inverse of the last normal matrix.
    pub inverse: SMatrix<f64, N, N>,
    /// True when the last step was too small to matter.
    pub settled: bool,
}

/// Gauss-Newton with weights by the residuals of each iteration. `None` where the samples do not determine the
/// parameters.
pub fn minimise_robustly<const N: usize, M: ReweightedModel<N>>(
    model: &mut M,
    start: SVector<f64, N>,
) -> Option<RobustEstimate<N>> {
    let mut estimate = RobustEstimate { values: start, inverse: SMatrix::identity(), settled: false };
    for iteration in 0..M::MOST {
        let (normal, downhill) = model.equations(&estimate.values, iteration >= M::UNWEIGHTED);
        estimate.inverse = normal.try_inverse()?;
        let step = estimate.inverse * downhill;
        model.apply(step, &mut estimate.values);
        estimate.settled = model.is_settled(&step);
        if estimate.settled && iteration >= M::UNWEIGHTED {
            break;
        }
    }
    Some(estimate)
}
