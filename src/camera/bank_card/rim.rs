//! Edge of a thin object on paper. Under a wide sky its wall shades the paper beside it, and a plain step would be placed
//! too far outwards, by up to half of the wall's height.
//!
//! A point of the paper at a distance x from a long wall of height h that sends no light loses `(1 - x / sqrt(x^2 + h^2)) / 2`
//! of what an even sky sends it (the view factor of a strip at right angles; from memory). A lamp straight above, or a white wall,
//! lets it lose less. With d the distance outwards, blurred by s, the light is
//!
//! ```text
//! I(d) = B + b t + A Phi((d - c - k t) / s) - q (B + A) L(d - c - k t),     L the blurred loss
//! ```

use nalgebra::{SMatrix, SVector};

use crate::card::side::TagSide;
use crate::numeric::normal::Normal;
use crate::numeric::solve::{Equations, ReweightedModel, minimise_robustly};
use crate::photo::Photo;
use crate::photo::step::{QUANTISED, StepSample, TUKEY, robust_spread};

/// Place of the rim.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rim {
    /// Outwards of the side's line, pixels.
    pub outward_px: f64,
    /// Standard uncertainty from the pixels' noise.
    pub u_px: f64,
    /// Standard uncertainty from what is not known of the light, alike on all sides.
    pub u_shade_px: f64,
}

const PARAMETERS: usize = 6;
/// The order of the parameters.
const OFFSET: usize = 0;
const SWING: usize = 1;
const SHADE: usize = 5;
/// Part of the loss under an even sky that there may be: from none, under a lamp, to all of it.
const SHADE_MEAN: f64 = 0.5;
const SHADE_U: f64 = 0.3;
/// The window reaches so many blurs to either side, and outwards so many heights of the wall more.
const BLURS: f64 = 3.0;
const HEIGHTS: f64 = 4.0;
/// The rim has settled where it moves by no more than this, pixels: a hundredth of its uncertainty.
const SETTLED_PX: f64 = 1e-4;

type Vector = SVector<f64, PARAMETERS>;

/// What is known of the step before it is fitted, pixels.
struct Step {
    blur: f64,
    wall: f64,
}

/// The rim along a side that a plain step has placed, with the blur of the photo and the height of the wall, pixels. `None` where
/// the fit does not settle.
pub(super) fn rim(photo: &Photo, side: &TagSide, blur_px: f64, wall_px: f64) -> Option<Rim> {
    let step = Step { blur: blur_px, wall: wall_px };
    let samples = side.samples(photo, step.reach())?;
    if samples.len() <= 8 * PARAMETERS {
        return None;
    }
    let start = start(&samples)?;
    let mut model = RimModel { step, samples, noise: side.noise.max(QUANTISED) };
    let fit = minimise_robustly(&mut model, start).filter(|fit| fit.settled)?;
    let (p, covariance) = (fit.values, fit.inverse);
    let u_shade_px = covariance[(OFFSET, SHADE)].abs() / SHADE_U;
    let variance = covariance[(OFFSET, OFFSET)] - u_shade_px * u_shade_px;
    let inside = p[OFFSET].abs() < BLURS * blur_px + wall_px && p.iter().all(|v| v.is_finite());
    inside.then(|| Rim { outward_px: p[OFFSET], u_px: variance.max(0.0).sqrt(), u_shade_px })
}

/// The levels inside and outside, no offset, the middling shade.
fn start(samples: &[StepSample]) -> Option<Vector> {
    let mean = |inside: bool| {
        let chosen = samples.iter().filter(|s| if inside { s.d < -1.0 } else { s.d > 2.0 });
        let (sum, count) = chosen.fold((0.0, 0.0), |(sum, n), s| (sum + s.light, n + 1.0));
        (count > 0.0).then(|| sum / count)
    };
    let (dark, white) = (mean(true)?, mean(false)?);
    (white > dark).then(|| Vector::from([0.0, 0.0, dark, 0.0, white - dark, SHADE_MEAN]))
}

impl Step {
    /// How far the window reaches inwards and outwards, pixels.
    fn reach(&self) -> [f64; 2] {
        [BLURS * self.blur + 1.0, BLURS * self.blur + HEIGHTS * self.wall]
    }

    /// Light above the model, and how the model moves with each parameter.
    fn look(&self, s: &StepSample, p: &Vector) -> (f64, Vector) {
        let d = s.d - p[OFFSET] - p[SWING] * s.t;
        let paper = p[2] + p[4];
        let [phi, slope] = Normal::table().at(d / self.blur);
        let loss = self.loss(d);
        let loss_slope = (self.loss(d + 0.05) - self.loss(d - 0.05)) / 0.1;
        let moved = -p[4] * slope / self.blur + p[SHADE] * paper * loss_slope;
        let shaded = p[SHADE] * loss;
        let row = Vector::from([moved, moved * s.t, 1.0 - shaded, s.t, phi - shaded, -paper * loss]);
        let model = p[2] + p[3] * s.t + p[4] * phi - p[SHADE] * paper * loss;
        (s.light - model, row)
    }

    /// The blurred loss at a distance outwards of the wall, by the trapezoidal rule.
    fn loss(&self, d: f64) -> f64 {
        const STEPS: usize = 32;
        let (from, to) = ((d - 5.0 * self.blur).max(0.0), d + 5.0 * self.blur);
        if to <= 0.0 {
            return 0.0;
        }
        let pitch = (to - from) / STEPS as f64;
        let at = |i: usize| {
            let x = from + i as f64 * pitch;
            let lost = 0.5 * (1.0 - x / x.hypot(self.wall));
            let z = (d - x) / self.blur;
            let part = if i == 0 || i == STEPS { 0.5 } else { 1.0 };
            part * lost * (-0.5 * z * z).exp()
        };
        let spread = self.blur * (2.0 * std::f64::consts::PI).sqrt();
        (0..=STEPS).map(at).sum::<f64>() * pitch / spread
    }
}

/// The rim beside its samples, with the noise of one of them.
struct RimModel {
    step: Step,
    samples: Vec<StepSample>,
    noise: f64,
}

impl ReweightedModel<PARAMETERS> for RimModel {
    const UNWEIGHTED: usize = 1;
    const MOST: usize = 30;

    fn equations(&mut self, p: &Vector, reweigh: bool) -> Equations<PARAMETERS> {
        let seen: Vec<(f64, Vector)> = self.samples.iter().map(|s| self.step.look(s, p)).collect();
        if reweigh {
            self.reweigh(&seen);
        }
        let (mut normal, mut downhill) = (SMatrix::zeros(), SVector::zeros());
        for (s, (above, row)) in self.samples.iter().zip(&seen) {
            let weighted = row * (s.weight / (self.noise * self.noise));
            normal += weighted * row.transpose();
            downhill += weighted * *above;
        }
        normal[(SHADE, SHADE)] += 1.0 / (SHADE_U * SHADE_U);
        downhill[SHADE] += (SHADE_MEAN - p[SHADE]) / (SHADE_U * SHADE_U);
        (normal, downhill)
    }

    fn apply(&self, mut step: Vector, p: &mut Vector) {
        step[OFFSET] = step[OFFSET].clamp(-0.5, 0.5);
        *p += step;
    }

    fn is_settled(&self, step: &Vector) -> bool {
        step[OFFSET].abs() < SETTLED_PX && step[SWING].abs() < SETTLED_PX
    }
}

impl RimModel {
    /// Tukey's biweight about the robust spread, which becomes the noise of one sample.
    fn reweigh(&mut self, seen: &[(f64, Vector)]) {
        let mut sizes: Vec<f64> = seen.iter().map(|(above, _)| above.abs()).collect();
        self.noise = robust_spread(&mut sizes);
        for (s, (above, _)) in self.samples.iter_mut().zip(seen) {
            s.weight = (1.0 - (above / (TUKEY * self.noise)).powi(2)).max(0.0).powi(2);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_loss_is_that_of_a_wall_where_nothing_is_blurred_and_sums_to_half_its_height() {
        let sharp = Step { blur: 0.01, wall: 2.0 };
        for x in [0.5, 1.0, 4.0] {
            let wanted = 0.5 * (1.0 - x / f64::hypot(x, 2.0));
            assert!((sharp.loss(x) - wanted).abs() < 1e-4, "{x}: {}", sharp.loss(x));
        }
        // The integral of (1 - x / sqrt(x^2 + h^2)) / 2 over all x is h / 2; beyond 200 h there are h / 800.
        let blurred = Step { blur: 1.0, wall: 2.0 };
        let sum: f64 = (-100..4000).map(|i| blurred.loss(0.1 * f64::from(i)) * 0.1).sum();
        assert!((sum - 1.0).abs() < 0.01, "{sum}");
    }
}
