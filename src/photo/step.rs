//! Robust fit of a straight blurred step to the photo's own pixels.
//!
//! Model, on linear light (blur happens before the camera's tone curve): with d the distance outwards from a line and
//! t the place along it in half-lengths, `I(d, t) = B + b t + (A + a t) Phi((d - c - k t) / s)`; the level inside and
//! the step may change along the line (uneven light), s is the blur. Offset c and swing k come with the covariance of
//! the fit, which for white noise reaches the Cramer-Rao bound of a blurred edge, `var = 2 sqrt(pi) s sigma^2 / A^2`
//! for one scan line of pitch 1.

use nalgebra::{SMatrix, SVector};

use crate::numeric::normal::Normal;
use crate::numeric::solve::{Equations, ReweightedModel, RobustEstimate, minimise_robustly};

const PARAMETERS: usize = 7;

/// One pixel: distance outwards (px), place along the side (in half-lengths, -1 to 1), light and weight.
#[derive(Debug, Clone, Copy)]
pub struct StepSample {
    /// Distance outwards, pixels.
    pub d: f64,
    /// Place along the line, half-lengths.
    pub t: f64,
    /// Linear light.
    pub light: f64,
    /// Weight, 1 to begin with.
    pub weight: f64,
}

/// A fitted step; lengths in pixels, light linear from 0 to 1.
#[derive(Debug, Clone, Copy)]
pub struct StepFit {
    /// Offset outwards at the middle.
    pub offset: f64,
    /// Change of the offset over one half-length.
    pub swing: f64,
    /// Standard uncertainty of the offset.
    pub u_offset: f64,
    /// Standard uncertainty of the swing.
    pub u_swing: f64,
    /// Blur: standard deviation of the edge spread.
    pub blur: f64,
    /// Step from inside to outside, positive.
    pub contrast: f64,
    /// Noise of one pixel.
    pub noise: f64,
}

/// Largest change of the edge's place and of the logarithm of its blur in one iteration.
const MOST_STEP_PX: f64 = 0.5;
const MOST_BLUR_STEP: f64 = 0.3;
/// Pixels do not resolve a sharper edge than this.
const LEAST_BLUR_PX: f64 = 0.25;
/// The edge has settled where it moves by no more than this, a hundredth of its uncertainty at best.
const SETTLED_PX: f64 = 1e-4;
/// A step is one where it stands out of the noise of a mean by so many standard deviations, and so much of the window is part of it.
const CLEAR_OF_NOISE: f64 = 6.0;
const LEAST_GOOD: f64 = 0.6;

/// Gauss-Newton on the step model with Tukey weights for what is not part of it (dirt, glare, a finger).
///
/// `reach` is how far the samples reach to either side, or to the nearer one; a blur beyond `most_blur` or a step below `least_contrast` is no edge. The
/// light must rise outwards. `None` when there is no clean step.
pub fn fit_step(
    samples: &mut [StepSample],
    reach: f64,
    most_blur: f64,
    least_contrast: f64,
) -> Option<StepFit> {
    if samples.len() < 4 * PARAMETERS {
        return None;
    }
    let count = samples.len() as f64;
    let (dark, light) = levels(samples, reach).filter(|(dark, light)| light - dark >= least_contrast)?;
    // Order: c, k (per half-length), ln s, B, b, A, a.
    let p = SVector::<f64, PARAMETERS>::from([0.0, 0.0, 0.7f64.ln(), dark, 0.0, light - dark, 0.0]);
    let mut model = StepModel { samples, seen: Vec::new(), most_ln_blur: most_blur.ln() };
    let RobustEstimate { values: p, inverse, .. } = minimise_robustly(&mut model, p)?;
    let StepModel { samples, seen, .. } = model;
    let Scatter { noise, of_normal } = Scatter::of(samples, &seen);
    let covariance = inverse * of_normal;
    let good = weight_sum(samples) / count;
    let contrast = p[5];
    let clean = contrast >= least_contrast
        && contrast > CLEAR_OF_NOISE * noise / count.sqrt()
        && good > LEAST_GOOD
        && p[0].abs() < reach
        && p.iter().all(|v| v.is_finite());
    clean.then(|| StepFit {
        offset: p[0],
        swing: p[1],
        u_offset: covariance[(0, 0)].max(0.0).sqrt(),
        u_swing: covariance[(1, 1)].max(0.0).sqrt(),
        blur: p[2].exp(),
        contrast,
        noise,
    })
}

fn weight_sum(samples: &[StepSample]) -> f64 {
    samples.iter().map(|s| s.weight).sum()
}

/// Mean light in the innermost and outermost quarter of the window.
fn levels(samples: &[StepSample], reach: f64) -> Option<(f64, f64)> {
    let mean = |keep: &dyn Fn(f64) -> bool| {
        let (sum, n) =
            samples.iter().filter(|s| keep(s.d)).fold((0.0, 0u32), |(sum, n), s| (sum + s.light, n + 1));
        (n > 0).then(|| sum / f64::from(n))
    };
    Some((mean(&|d| d < -reach / 2.0)?, mean(&|d| d > reach / 2.0)?))
}

/// A sample beside the model: its distance from the line in blurs, the blurred step of height 1 there, the step's slope
/// a blur, what the light is above the model, and how the weighted residual grows with the residual.
struct Seen {
    z: f64,
    phi: f64,
    slope: f64,
    residual: f64,
    growth: f64,
}

/// The step model beside its samples.
struct StepModel<'a> {
    samples: &'a mut [StepSample],
    seen: Vec<Seen>,
    most_ln_blur: f64,
}

impl ReweightedModel<PARAMETERS> for StepModel<'_> {
    const UNWEIGHTED: usize = 3;
    const MOST: usize = 12;

    fn equations(&mut self, p: &SVector<f64, PARAMETERS>, reweigh: bool) -> Equations<PARAMETERS> {
        compare(self.samples, p, &mut self.seen);
        if reweigh {
            reweight(self.samples, &mut self.seen);
        }
        let (mut normal, mut downhill) = (SMatrix::zeros(), SVector::zeros());
        let sharpness = 1.0 / p[2].exp();
        for (s, Seen { z, phi, slope, residual, .. }) in self.samples.iter().zip(&self.seen) {
            let step = p[5] + p[6] * s.t;
            let moved = -step * slope * sharpness;
            let blurred = -step * slope * z;
            let row = SVector::from([moved, moved * s.t, blurred, 1.0, s.t, *phi, phi * s.t]);
            let weighted: SVector<f64, PARAMETERS> = row * s.weight;
            normal += weighted * row.transpose();
            downhill += weighted * *residual;
        }
        (normal, downhill)
    }

    /// A step across the window or of many times the blur is a wild guess: part of it is enough.
    fn apply(&self, mut step: SVector<f64, PARAMETERS>, p: &mut SVector<f64, PARAMETERS>) {
        step[0] = step[0].clamp(-MOST_STEP_PX, MOST_STEP_PX);
        step[2] = step[2].clamp(-MOST_BLUR_STEP, MOST_BLUR_STEP);
        *p += step;
        p[2] = p[2].clamp(LEAST_BLUR_PX.ln(), self.most_ln_blur);
    }

    fn is_settled(&self, step: &SVector<f64, PARAMETERS>) -> bool {
        step[0].abs() < SETTLED_PX && step[1].abs() < SETTLED_PX
    }
}

fn compare(samples: &[StepSample], p: &SVector<f64, PARAMETERS>, seen: &mut Vec<Seen>) {
    let normal = Normal::table();
    let sharpness = 1.0 / p[2].exp();
    seen.clear();
    seen.extend(samples.iter().map(|s| {
        let z = (s.d - p[0] - p[1] * s.t) * sharpness;
        let [phi, slope] = normal.at(z);
        let residual = s.light - (p[3] + p[4] * s.t + (p[5] + p[6] * s.t) * phi);
        Seen { z, phi, slope, residual, growth: 1.0 }
    }));
}

/// Noise by the residuals.
struct Scatter {
    /// Noise of one pixel.
    noise: f64,
    /// Times the inverse of the weighted normal equations it is the covariance of the parameters.
    of_normal: f64,
}

impl Scatter {
    /// The asymptotic covariance of an M-estimate (P. J. Huber, Robust Statistics, 1981): with psi the weighted residual,
    /// `mean(psi^2) / mean(psi')^2` in place of the noise's variance.
    fn of(samples: &[StepSample], seen: &[Seen]) -> Self {
        let count = samples.len() as f64;
        let (mut square, mut growth, mut weight) = (0.0, 0.0, 0.0);
        for (s, seen) in samples.iter().zip(seen) {
            square += (s.weight * seen.residual).powi(2);
            growth += seen.growth;
            weight += s.weight;
        }
        let variance = square / (count - PARAMETERS as f64) / (growth / count).powi(2);
        Self { noise: variance.sqrt(), of_normal: variance * weight / count }
    }
}

/// A middling step of 8-bit sRGB in linear light: in a picture without noise the residuals are of this size.
pub const QUANTISED: f64 = 1e-3;
/// Tukey's biweight ends at so many robust standard deviations (95 % efficient for Gaussian noise).
pub const TUKEY: f64 = 4.685;

/// Robust standard deviation of residuals, by the median of their sizes, which are put in another order; as for a Gaussian
/// distribution, and no less than the steps of light.
pub fn robust_spread(sizes: &mut [f64]) -> f64 {
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    1.4826 * median.max(QUANTISED)
}

/// Weighs the samples by Tukey's biweight.
fn reweight(samples: &mut [StepSample], seen: &mut [Seen]) {
    let mut sizes: Vec<f64> = seen.iter().map(|s| s.residual.abs()).collect();
    let limit = TUKEY * robust_spread(&mut sizes);
    for (s, seen) in samples.iter_mut().zip(seen) {
        let inside = (1.0 - (seen.residual / limit).powi(2)).max(0.0);
        s.weight = inside * inside;
        seen.growth = if inside > 0.0 { inside * (5.0 * inside - 4.0) } else { 0.0 };
    }
}
