//! The side of a tag measured to a small part of a pixel: a straight blurred step fitted to the photo's own pixels.
//!
//! Model, on linear light (blur happens before the camera's tone curve): with d the distance outwards from the
//! side and t the place along it, `I(d, t) = B + b t + (A + a t) Phi((d - c - k t) / s)`; black level and step may
//! change along the side (uneven light), s is the blur. Offsets c and slopes k come with the covariance of the
//! fit, which for white noise reaches the Cramer-Rao bound of a blurred edge, `var = 2 sqrt(pi) s sigma^2 / A^2`
//! for one scan line of pitch 1.

use nalgebra::{SMatrix, SVector, Vector2};

use crate::ground::frame::{CardPoint, PhotoPoint};
use crate::photo::Photo;

/// A measured side.
#[derive(Debug, Clone, Copy)]
pub struct Side {
    /// The line's point in the middle of the measured stretch.
    pub middle: PhotoPoint,
    /// Unit vector along the side.
    pub along: Vector2<f64>,
    /// Unit vector across it, from black to white.
    pub outward: Vector2<f64>,
    /// Half-length of the measured stretch, pixels.
    pub half_length_px: f64,
    /// Standard uncertainty of the offset at the middle, pixels.
    pub u_offset_px: f64,
    /// Standard uncertainty of the slope, pixels per pixel.
    pub u_slope: f64,
    /// Blur: standard deviation of the edge spread, pixels.
    pub blur_px: f64,
    /// Step from black to white, linear light (0 to 1).
    pub contrast: f64,
    /// Noise of one pixel, linear light.
    pub noise: f64,
}

impl Side {
    /// The two points where the fitted line is to be compared with a model that may be slightly curved, with the
    /// standard uncertainty across the side, pixels.
    pub fn gauss_points(&self) -> [(PhotoPoint, f64); 2] {
        let t = self.half_length_px / 3f64.sqrt();
        let u = self.u_offset_px.hypot(self.u_slope * t);
        [-t, t].map(|t| (PhotoPoint::from(self.middle.vector() + self.along * t), u))
    }

    /// Where this side's line meets another's; `None` when they are parallel.
    pub fn meet(&self, other: &Side) -> Option<PhotoPoint> {
        let cross = self.along.perp(&other.along);
        let gap = other.middle.vector() - self.middle.vector();
        (cross.abs() > 1e-3).then(|| {
            PhotoPoint::from(self.middle.vector() + self.along * (gap.perp(&other.along) / cross))
        })
    }

    /// Variance of the line's place across itself at distance t along it, pixels squared.
    pub fn variance_at(&self, t_px: f64) -> f64 {
        self.u_offset_px.powi(2) + (self.u_slope * t_px).powi(2)
    }
}

/// One measured point on a tag's side.
#[derive(Debug, Clone, Copy)]
pub struct SidePoint {
    /// Index of the card in the fit.
    pub card: usize,
    /// The tag's index on its pattern and which of its sides, to name what disagrees.
    pub tag: usize,
    /// The point on the printed side, in its card's frame (flat paper).
    pub on_card: CardPoint,
    /// Where the side was seen.
    pub measured: PhotoPoint,
    /// Unit normal of the side in the photo, from black to white.
    pub outward: Vector2<f64>,
    /// Standard uncertainty across the side, pixels.
    pub u_px: f64,
}

/// Part of a side left out at each corner, in modules: there the blur of the neighbouring side shows.
const CORNER_GAP_MODULES: f64 = 0.4;
/// Reach of the window across the side, in modules and pixels. The border is one module wide, and the white margin
/// at least as much.
const REACH_MODULES: f64 = 0.75;
const REACH_PX: f64 = 5.0;
/// A step below this part of full scale is not a black square on white paper.
const LEAST_CONTRAST: f64 = 0.02;
const PARAMETERS: usize = 7;

/// One pixel: distance outwards (px), place along the side (in half-lengths, -1 to 1), light and weight.
struct Sample {
    d: f64,
    t: f64,
    light: f64,
    weight: f64,
}

/// Measures the side that runs from `start` to `end` (approximately, to a pixel or two), with the tag's inside on
/// the right of that direction (corners given clockwise in the picture). `None` when there is no clean step.
pub fn measure_side(photo: &Photo, start: PhotoPoint, end: PhotoPoint) -> Option<Side> {
    let chord = end.vector() - start.vector();
    let length = chord.norm();
    let module = length / super::pattern::MODULES as f64;
    if !(module.is_finite() && module >= 1.5) {
        return None;
    }
    let mut frame = Frame {
        middle: (start.vector() + end.vector()) / 2.0,
        along: chord / length,
        half: length / 2.0 - (CORNER_GAP_MODULES * module).max(1.0),
        reach: (REACH_MODULES * module).min(REACH_PX),
    };
    // The finder's corners may be a pixel or two off: the window follows the fit once.
    let mut fit = None;
    for _ in 0..3 {
        let mut samples = frame.samples(photo)?;
        let f = fit_step(&mut samples, frame.reach, module)?;
        let moved = f.offset.abs().max(f.swing.abs());
        frame.follow(f.offset, f.swing / frame.half);
        fit = Some(f);
        if moved < 0.25 {
            break;
        }
    }
    let f = fit?;
    Some(Side {
        middle: frame.middle.into(),
        along: frame.along,
        outward: frame.outward(),
        half_length_px: frame.half,
        u_offset_px: f.u_offset,
        u_slope: f.u_swing / frame.half,
        blur_px: f.blur,
        contrast: f.contrast,
        noise: f.noise,
    })
}

struct Frame {
    middle: Vector2<f64>,
    along: Vector2<f64>,
    half: f64,
    reach: f64,
}

impl Frame {
    fn outward(&self) -> Vector2<f64> {
        Vector2::new(self.along.y, -self.along.x)
    }

    fn follow(&mut self, offset: f64, slope: f64) {
        self.middle += self.outward() * offset;
        self.along = (self.along + self.outward() * slope).normalize();
    }

    /// Every pixel whose centre lies in the window; `None` when the window leaves the photo.
    fn samples(&self, photo: &Photo) -> Option<Vec<Sample>> {
        let out = self.outward();
        let ext = self.along.abs() * self.half + out.abs() * self.reach;
        let (low, high) = (self.middle - ext, self.middle + ext);
        let inside = low.x >= 0.0
            && low.y >= 0.0
            && high.x <= (photo.width_px() - 1) as f64
            && high.y <= (photo.height_px() - 1) as f64;
        if !inside {
            return None;
        }
        let mut samples = Vec::with_capacity((4.0 * self.half * self.reach) as usize + 16);
        for y in low.y.ceil() as usize..=high.y.floor() as usize {
            for x in low.x.ceil() as usize..=high.x.floor() as usize {
                let p = Vector2::new(x as f64, y as f64) - self.middle;
                let (d, t) = (p.dot(&out), p.dot(&self.along));
                if d.abs() <= self.reach && t.abs() <= self.half {
                    let light = f64::from(photo.linear_luma_pixel(x, y));
                    samples.push(Sample { d, t: t / self.half, light, weight: 1.0 });
                }
            }
        }
        (samples.len() >= 4 * PARAMETERS).then_some(samples)
    }
}

/// `swing` is the change of the offset over one half-length.
struct StepFit {
    offset: f64,
    swing: f64,
    u_offset: f64,
    u_swing: f64,
    blur: f64,
    contrast: f64,
    noise: f64,
}

/// Gauss-Newton on the step model with Tukey weights for what is not part of it (dirt, glare, a finger).
fn fit_step(samples: &mut [Sample], reach: f64, module: f64) -> Option<StepFit> {
    let count = samples.len() as f64;
    let (dark, light) = levels(samples, reach)?;
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
        p[2] = p[2].clamp(0.25f64.ln(), (0.6 * module).max(0.6).ln());
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
    let clean = contrast >= LEAST_CONTRAST
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

fn weight_sum(samples: &[Sample]) -> f64 {
    samples.iter().map(|s| s.weight).sum()
}

/// Mean light in the innermost and outermost quarter of the window.
fn levels(samples: &[Sample], reach: f64) -> Option<(f64, f64)> {
    let mean = |keep: &dyn Fn(f64) -> bool| {
        let (sum, n) =
            samples.iter().filter(|s| keep(s.d)).fold((0.0, 0u32), |(sum, n), s| (sum + s.light, n + 1));
        (n > 0).then(|| sum / f64::from(n))
    };
    let (dark, light) = (mean(&|d| d < -reach / 2.0)?, mean(&|d| d > reach / 2.0)?);
    (light - dark >= LEAST_CONTRAST).then_some((dark, light))
}

fn model(s: &Sample, p: &SVector<f64, PARAMETERS>) -> (f64, f64, f64, f64) {
    let blur = p[2].exp();
    let z = (s.d - p[0] - p[1] * s.t) / blur;
    let phi = 0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2);
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let value = p[3] + p[4] * s.t + (p[5] + p[6] * s.t) * phi;
    (value, phi, density / blur, z)
}

type Normal = (SMatrix<f64, PARAMETERS, PARAMETERS>, SVector<f64, PARAMETERS>, f64);

fn normal_equations(samples: &[Sample], p: &SVector<f64, PARAMETERS>) -> Normal {
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

/// Tukey's biweight at 4.685 robust standard deviations (95 % efficient for Gaussian noise).
fn reweight(samples: &mut [Sample], p: &SVector<f64, PARAMETERS>) {
    let residuals: Vec<f64> = samples.iter().map(|s| s.light - model(s, p).0).collect();
    let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    let limit = 4.685 * 1.4826 * median.max(1e-6);
    for (s, r) in samples.iter_mut().zip(residuals) {
        let x = r / limit;
        s.weight = if x.abs() < 1.0 { (1.0 - x * x).powi(2) } else { 0.0 };
    }
}
