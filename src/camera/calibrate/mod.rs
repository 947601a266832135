//! Calibrating a lens from several views of a flat target: Zhang's closed form for the start, then least squares over
//! all views, with as many terms of distortion as the views support.

pub mod advice;
pub mod agreement;
pub mod closed_form;
pub mod coverage;
pub mod model;
pub mod phone;
pub mod terms;

use nalgebra::{DMatrix, DVector};

use super::pose::Pose;
use crate::numeric::solve::{Estimate, SolveError, minimise_until};
use model::{Bundle, INNER};
pub use model::{Inner, Known, Model, Observation, TargetView};

/// A fitted camera: the inner parameters and every view's pose.
#[derive(Debug, Clone)]
pub struct Calibration {
    /// The inner parameters.
    pub inner: Inner,
    /// Pose of the target in each view.
    pub poses: Vec<Pose>,
    /// Covariance of logarithm of the focal length, principal point (x, y), `k1 k2 p1 p2 k3`, logarithm of the ratio
    /// of the focal lengths, skew and logarithm of the printed scales' ratio; rows of what is not fitted are zero.
    pub covariance: DMatrix<f64>,
    /// Logarithm of the ratio of the target's printed scales, down over across.
    pub print_aspect: f64,
    /// Root mean square of the residuals along their directions, pixels.
    pub rms_px: f64,
    /// Sum of squares of the residuals in pixels.
    pub sum_of_squares_px2: f64,
    /// By what factor the residuals exceed their stated uncertainties; the covariance has it in it.
    pub noise_ratio: f64,
    /// Number of residuals and of fitted parameters.
    pub counts: (usize, usize),
    /// Sum of squares of residuals and priors at the noise found.
    pub cost: f64,
}

/// The fit is settled when the cost falls by no more than this part: with some thousand residuals the values then
/// move by less than a ten-thousandth of their uncertainty.
const SETTLED: f64 = 1e-12;
/// With priors that hold what the views leave open there may be a long flat valley, in which a hundredth of an uncertainty
/// is near enough.
const SETTLED_PRINTED: f64 = 1e-8;
/// Turns in which the noise is found, and the change at which it is.
const NOISE_TURNS: usize = 12;
const NOISE_SETTLED: f64 = 0.003;

/// Fits all views at once, from the given inner parameters.
///
/// # Errors
/// [`SolveError`] when the views do not determine what the model asks for, or the fit does not settle.
pub fn calibrate(views: &[TargetView], start: Inner, model: &Model) -> Result<Calibration, SolveError> {
    let bundle = Bundle::new(views, start, model).ok_or(SolveError::BadStart)?;
    let mut from = bundle.start();
    // From above: small residuals beside a large noise leave the priors their say while the fit is far off.
    let mut ratio = 10.0;
    let mut solved = None;
    for _ in 0..NOISE_TURNS {
        let parameters = bundle.parameters(&from);
        let settled = if model.printed { SETTLED_PRINTED } else { SETTLED };
        let estimate = minimise_until(settled, &parameters, |v| bundle.whitened(v, ratio))?;
        from = bundle.full(&estimate.values);
        let found = ratio * reduced(&estimate);
        let settled = (found / ratio - 1.0).abs() < NOISE_SETTLED;
        solved = Some((estimate, ratio));
        if settled {
            break;
        }
        ratio = found.max(LEAST_NOISE_RATIO);
    }
    let (estimate, ratio) = solved.ok_or(SolveError::NotConverged)?;
    Calibration::of(&bundle, &estimate, ratio).ok_or(SolveError::BadStart)
}

/// Exact points have no noise; the ratio must stay a number to divide by.
const LEAST_NOISE_RATIO: f64 = 1e-6;

/// Root of the reduced sum of squares: priors count as data, so each parameter with one takes no freedom.
fn reduced(estimate: &Estimate) -> f64 {
    let free = estimate.prior_precision.iter().filter(|&&p| p == 0.0).count();
    let freedom = estimate.residuals.len().saturating_sub(free).max(1) as f64;
    (estimate.cost / freedom).sqrt()
}

impl Calibration {
    fn of(bundle: &Bundle, estimate: &Estimate, ratio: f64) -> Option<Self> {
        let full = bundle.full(&estimate.values);
        let inner = bundle.inner(&full);
        let residuals = bundle.residuals_px(&full)?;
        let sum: f64 = residuals.iter().map(|r| r * r).sum();
        let mut covariance = DMatrix::zeros(INNER, INNER);
        for (a, &i) in bundle.fitted.iter().enumerate().filter(|(_, i)| **i < INNER) {
            for (b, &j) in bundle.fitted.iter().enumerate().filter(|(_, j)| **j < INNER) {
                covariance[(i, j)] = estimate.covariance[(a, b)];
            }
        }
        Some(Self {
            inner,
            poses: (0..bundle.views.len()).map(|v| bundle.pose(v, &full, &inner)).collect(),
            covariance,
            print_aspect: full[10],
            rms_px: (sum / residuals.len().max(1) as f64).sqrt(),
            sum_of_squares_px2: sum,
            noise_ratio: ratio,
            counts: (residuals.len(), estimate.values.len()),
            cost: estimate.cost,
        })
    }

    /// The same with every uncertainty larger by a factor.
    pub fn widened(self, by: f64) -> Self {
        Self { covariance: self.covariance * by.powi(2), ..self }
    }

    /// Standard uncertainty of one of the shared parameters, in the order of [`Self::covariance`].
    pub fn u(&self, index: usize) -> f64 {
        self.covariance[(index, index)].max(0.0).sqrt()
    }

    /// Standard uncertainty of the focal length across, pixels.
    pub fn focal_u_px(&self) -> f64 {
        self.inner.fx_px * self.u(0)
    }
}

/// Information that views give on the shared parameters, with the noise that their points state: the normal matrix with
/// everything else eliminated.
fn information(bundle: &Bundle, full: &[f64]) -> Option<DMatrix<f64>> {
    let values = DVector::from_iterator(bundle.fitted.len(), bundle.fitted.iter().map(|&i| full[i]));
    let parameters = bundle.parameters(full);
    let mut columns = Vec::with_capacity(values.len());
    for (j, parameter) in parameters.iter().enumerate() {
        let moved = |by: f64| {
            let mut probe = values.clone();
            probe[j] += by;
            bundle.whitened(&probe, 1.0)
        };
        columns.push((moved(parameter.step)? - moved(-parameter.step)?) / (2.0 * parameter.step));
    }
    let jacobian = DMatrix::from_columns(&columns);
    let mut normal = jacobian.tr_mul(&jacobian);
    let shared = bundle.fitted.iter().filter(|&&i| i < INNER).count();
    for (j, parameter) in parameters.iter().enumerate().skip(shared) {
        normal[(j, j)] += parameter.prior.map_or(0.0, |(_, u)| 1.0 / (u * u));
    }
    let rest = values.len() - shared;
    let across = normal.view((0, shared), (shared, rest)).into_owned();
    let own = normal.view((shared, shared), (rest, rest)).into_owned().try_inverse()?;
    Some(normal.view((0, 0), (shared, shared)).into_owned() - &across * own * across.transpose())
}
