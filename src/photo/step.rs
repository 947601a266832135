//! A straight blurred step fitted to the photo's own pixels.
//!
//! Model, on linear light (blur happens before the camera's tone curve): with d the distance outwards from a line and
//! t the place along it in half-lengths, `I(d, t) = B + b t + (A + a t) Phi((d - c - k t) / s)`; the level inside and
//! the step may change along the line (uneven light), s is the blur. Offset c and swing k come with the covariance of
//! the fit, which for white noise reaches the Cramer-Rao bound of a blurred edge, `var = 2 sqrt(pi) s sigma^2 / A^2`
//! for one scan line of pitch 1.

use nalgebra::{SMatrix, SVector};

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

/// Gauss-Newton on the step model with Tukey weights for what is not part of it (dirt, glare, a finger).
///
/// `reach` is the half-width of the window; a blur beyond `most_blur` or a step below `least_contrast` is no edge. The
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
    let mut p = SVector::<f64, PARAMETERS>::from([0.0, 0.0, 0.7f64.ln(), dark, 0.0, light - dark, 0.0]);
    let mut covariance = None;
    let mut noise = 0.0;
    for round in 0..12 {
        let (normal, gradient, square) = normal_equations(samples, &p);
        let inverse = normal.try_inverse()?;
        let mut step = inverse * gradient;
        // A step across the window or of many times the blur is a wild guess: go part of the way.
        step[0] = step[0].clamp(-0.5, 0.5);
        step[2] = step[2].clamp(-0.3, 0.3);
        p += step;
        p[2] = p[2].clamp(0.25f64.ln(), most_blur.ln());
        noise = (square / (weight_sum(samples) - PARAMETERS as f64).max(1.0)).sqrt();
        covariance = Some(inverse);
        let settled = step[0].abs() < 1e-4 && step[1].abs() < 1e-4;
        if settled && round >= 3 {
            break;
        }
        if round >= 2 {
            reweight(samples, &p);
        }
    }
    let covariance = covariance? * (noise * noise);
    let good = weight_sum(samples) / count;
    let contrast = p[5];
    let clean = contrast >= least_contrast
        && contrast > 6.0 * noise / count.sqrt()
        && good > 0.6
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

fn model(s: &StepSample, p: &SVector<f64, PARAMETERS>) -> (f64, f64, f64, f64) {
    let blur = p[2].exp();
    let z = (s.d - p[0] - p[1] * s.t) / blur;
    let phi = 0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2);
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let value = p[3] + p[4] * s.t + (p[5] + p[6] * s.t) * phi;
    (value, phi, density / blur, z)
}

type Normal = (SMatrix<f64, PARAMETERS, PARAMETERS>, SVector<f64, PARAMETERS>, f64);

fn normal_equations(samples: &[StepSample], p: &SVector<f64, PARAMETERS>) -> Normal {
    let (mut normal, mut gradient, mut square) = (SMatrix::zeros(), SVector::zeros(), 0.0);
    let blur = p[2].exp();
    for s in samples.iter().filter(|s| s.weight > 0.0) {
        let (value, phi, slope, z) = model(s, p);
        let step = p[5] + p[6] * s.t;
        let row = SVector::<f64, PARAMETERS>::from([
            -step * slope,
            -step * slope * s.t,
            -step * slope * z * blur,
            1.0,
            s.t,
            phi,
            phi * s.t,
        ]);
        let residual = s.light - value;
        normal += s.weight * row * row.transpose();
        gradient += s.weight * residual * row;
        square += s.weight * residual * residual;
    }
    (normal, gradient, square)
}

/// A middling step of 8-bit sRGB in linear light: in a picture without noise the residuals are of this size.
const QUANTISED: f64 = 1e-3;

/// Tukey's biweight at 4.685 robust standard deviations (95 % efficient for Gaussian noise).
fn reweight(samples: &mut [StepSample], p: &SVector<f64, PARAMETERS>) {
    let residuals: Vec<f64> = samples.iter().map(|s| s.light - model(s, p).0).collect();
    let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    let limit = 4.685 * 1.4826 * median.max(QUANTISED);
    for (s, r) in samples.iter_mut().zip(residuals) {
        let x = r / limit;
        s.weight = if x.abs() < 1.0 { (1.0 - x * x).powi(2) } else { 0.0 };
    }
}
