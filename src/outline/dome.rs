//! The light over a round cord: it rises from the crease and falls again toward the silhouette.

use super::band::STEP_MM;

/// The profile of light over a round cord lit from above, without its level and slope, of norm 1.
#[derive(Debug, Clone)]
pub struct Dome {
    profile: Vec<f32>,
}

/// Noise of an averaged sample (square root of light).
const NOISE: f32 = 0.003;
/// A cord in slanting light, of which only one half falls off, speaks against itself by this part.
const SLANTING: f32 = 0.6;

impl Dome {
    /// The profile over so many columns, blurred by so much (a standard deviation).
    pub fn new(length: usize, blur_mm: f64) -> Self {
        let half = length as f64 / 2.0;
        let round = |x: f64| (1.0 - (x / half).powi(2)).max(0.0).sqrt();
        let blur = (blur_mm / STEP_MM).max(0.2);
        let blurred = |x: f64| {
            let nodes = (-12..=12).map(|i| f64::from(i) / 4.0);
            let (sum, weights) = nodes.fold((0.0, 0.0), |(s, w), z| {
                let g = (-0.5 * z * z).exp();
                (s + g * round(x - z * blur), w + g)
            });
            sum / weights
        };
        let raw: Vec<f64> = (0..=length).map(|i| blurred(i as f64 - half)).collect();
        let mean = raw.iter().sum::<f64>() / raw.len() as f64;
        let norm = raw.iter().map(|v| (v - mean).powi(2)).sum::<f64>().sqrt();
        Self { profile: raw.iter().map(|v| ((v - mean) / norm) as f32).collect() }
    }

    /// Columns from crease to silhouette.
    pub fn length(&self) -> usize {
        self.profile.len() - 1
    }

    /// How round the light is over samples: the lesser of its likeness to the profile's rise over the inner half and to its
    /// fall over the outer, the less the more unequal both are. A step has only one of both, and a cord in slanting light too:
    /// that says nothing. Light that falls and rises again speaks against a cord.
    pub fn likeness(&self, samples: &[f32]) -> f32 {
        let middle = samples.len() / 2;
        let half = |range: std::ops::RangeInclusive<usize>| {
            regression(&samples[range.clone()], &self.profile[range])
        };
        let (rise, fall) = (half(0..=middle), half(middle..=samples.len() - 1));
        let evenness = rise.0.min(fall.0) / rise.0.max(fall.0).max(1e-6);
        let (lesser, greater) = (rise.1.min(fall.1), rise.1.max(fall.1));
        if lesser > 0.0 { lesser * evenness.max(0.0) } else { greater.min(0.0).min(SLANTING * lesser) }
    }
}

/// Slope of the regression of `a` on `b`, and their correlation.
fn regression(a: &[f32], b: &[f32]) -> (f32, f32) {
    let n = a.len() as f32;
    let (mean_a, mean_b) = (a.iter().sum::<f32>() / n, b.iter().sum::<f32>() / n);
    let (mut aa, mut bb, mut ab) = (NOISE * NOISE * n, 1e-9, 0.0);
    for (a, b) in a.iter().zip(b) {
        let (a, b) = (a - mean_a, b - mean_b);
        aa += a * a;
        bb += b * b;
        ab += a * b;
    }
    let r = ab / (aa * bb).sqrt();
    if r.is_finite() { (ab / bb, r) } else { (0.0, 0.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cord_is_round_and_a_step_is_not() {
        let dome = Dome::new(20, 0.2);
        let cord: Vec<f32> =
            (0..=20).map(|i| 0.2 + 0.1 * (1.0 - ((i as f32 - 10.0) / 10.0).powi(2)).sqrt()).collect();
        let step: Vec<f32> = (0..=20).map(|i| if i < 4 { 0.1 } else { 0.3 }).collect();
        let valley: Vec<f32> = cord.iter().map(|v| 0.5 - v).collect();
        assert!(dome.likeness(&cord) > 0.9, "{}", dome.likeness(&cord));
        assert!(dome.likeness(&step) < 0.1, "{}", dome.likeness(&step));
        assert!(dome.likeness(&valley) < -0.5, "{}", dome.likeness(&valley));
    }
}
