//! Uncertainty by the JCGM guides: effective degrees of freedom and coverage factors (JCGM 100:2008), and propagation of
//! distributions by sampling (JCGM 101:2008).

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// Effective degrees of freedom of a root sum of squares of `(u, degrees of freedom)` (Welch-Satterthwaite; JCGM 100:2008,
/// G.4.1, equation G.2b). Infinite where every part is known for certain, or nothing contributes.
pub fn effective_freedom(parts: &[(f64, f64)]) -> f64 {
    let total: f64 = parts.iter().map(|p| p.0 * p.0).sum();
    let doubt: f64 = parts.iter().filter(|p| p.1.is_finite()).map(|p| p.0.powi(4) / p.1).sum();
    if doubt > 0.0 { total * total / doubt } else { f64::INFINITY }
}

/// Coverage factor for a two-sided interval of probability `p`: Student's t with the degrees of freedom (JCGM 100:2008,
/// G.3.2), which are not rounded down to a whole number; the normal distribution's where they are infinite.
pub fn coverage_factor(freedom: f64, p: f64) -> f64 {
    let upper = 0.5 + 0.5 * p;
    let student = StudentsT::new(0.0, 1.0, freedom.max(1.0)).ok().filter(|_| freedom < 1e6);
    student.map_or_else(|| Normal::standard().inverse_cdf(upper), |t| t.inverse_cdf(upper))
}

/// Distribution of an input (JCGM 101:2008, 6.4).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distribution {
    /// Normal, with this mean and standard uncertainty.
    Normal(f64, f64),
    /// Rectangular between two limits.
    Rectangular(f64, f64),
}

/// Draws numbers that repeat with their seed.
#[derive(Debug, Clone)]
pub struct Sampler {
    random: fastrand::Rng,
}

impl Sampler {
    /// From a seed.
    pub fn new(seed: u64) -> Self {
        Self { random: fastrand::Rng::with_seed(seed) }
    }

    /// A number between 0 and 1, neither of them.
    pub fn unit(&mut self) -> f64 {
        (self.random.f64() + 0.5 * f64::EPSILON).min(1.0 - f64::EPSILON)
    }

    /// A standard normal number (G. E. P. Box, M. E. Muller 1958; JCGM 101:2008, C.4).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.unit().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// From a rectangular distribution about 0, by its standard uncertainty.
    pub fn rectangular(&mut self, u: f64) -> f64 {
        let half = 3f64.sqrt() * u;
        self.draw(Distribution::Rectangular(-half, half))
    }

    /// From a distribution.
    pub fn draw(&mut self, from: Distribution) -> f64 {
        match from {
            Distribution::Normal(mean, u) => mean + u * self.normal(),
            Distribution::Rectangular(low, high) => low + (high - low) * self.unit(),
        }
    }
}

/// What many draws of a quantity say of it (JCGM 101:2008, 7.6 and 7.7).
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// The draws in rising order; all finite.
    values: Vec<f64>,
}

impl Drawn {
    /// From draws. `None` for fewer than two, or one that is not finite.
    pub fn new(mut values: Vec<f64>) -> Option<Self> {
        let sound = values.len() >= 2 && values.iter().all(|v| v.is_finite());
        values.sort_by(f64::total_cmp);
        sound.then_some(Self { values })
    }

    /// How many.
    pub fn count(&self) -> usize {
        self.values.len()
    }

    /// Their mean.
    pub fn mean(&self) -> f64 {
        self.values.iter().sum::<f64>() / self.values.len() as f64
    }

    /// Their standard deviation: the standard uncertainty.
    pub fn u(&self) -> f64 {
        let mean = self.mean();
        let sum: f64 = self.values.iter().map(|v| (v - mean).powi(2)).sum();
        (sum / (self.values.len() - 1) as f64).sqrt()
    }

    /// The interval of probability `p` with as much below as above it.
    pub fn symmetric(&self, p: f64) -> [f64; 2] {
        let at = |q: f64| {
            let place = q * (self.values.len() - 1) as f64;
            let (low, part) = (place as usize, place.fract());
            let next = self.values[(low + 1).min(self.values.len() - 1)];
            self.values[low] + part * (next - self.values[low])
        };
        [at(0.5 - 0.5 * p), at(0.5 + 0.5 * p)]
    }
}

/// Half of a unit of the last of two significant digits of a standard uncertainty: the tolerance within which two results
/// agree (JCGM 101:2008, 7.9.2).
pub fn tolerance(u: f64) -> f64 {
    0.5 * 10f64.powi(u.abs().max(f64::MIN_POSITIVE).log10().floor() as i32 - 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn root_sum_of_squares(parts: &[f64]) -> f64 {
        parts.iter().map(|part| part * part).sum::<f64>().sqrt()
    }

    /// JCGM 100:2008, annex H.1, the end gauge. Inputs and results as the R package propagate and the test files of the
    /// Python package suncal quote them: u = 32 nm, 16 effective degrees of freedom, U99 = 93 nm.
    #[test]
    fn the_end_gauge_of_annex_h1() {
        let nominal_nm = 50_000_623.0;
        // Sensitivities to l_s, d, the difference of expansion and of temperature (dalpha = dtheta = 0).
        let sensitivities = [1.0, 1.0, -nominal_nm * -0.1, -nominal_nm * 11.5e-6];
        let d = root_sum_of_squares(&[5.8, 3.9, 6.7]);
        assert_relative_eq!(d, 9.7, epsilon = 0.05);
        let u = [25.0, d, 0.58e-6, 0.029];
        let parts: Vec<f64> = sensitivities.iter().zip(u).map(|(c, u)| c * u).collect();
        let combined = root_sum_of_squares(&parts);
        assert_eq!(combined.round(), 32.0, "{combined} nm");
        let d_freedom = effective_freedom(&[(5.8, 24.0), (3.9, 5.0), (6.7, 8.0)]);
        assert_eq!(d_freedom.floor(), 25.0);
        // dalpha: 50 degrees of freedom, dtheta: 2 (from memory; with them the effective ones come to the 16 quoted).
        let parts: Vec<(f64, f64)> = parts.into_iter().zip([18.0, d_freedom.floor(), 50.0, 2.0]).collect();
        let freedom = effective_freedom(&parts);
        assert_eq!(freedom.floor(), 16.0, "{freedom}");
        let expanded = coverage_factor(freedom.floor(), 0.99) * combined;
        assert_eq!(expanded.round(), 93.0, "{expanded} nm");
    }

    /// u 0.57 with 9 degrees of freedom and 0.25 with none to doubt: 12.8 (a worked example in the test
    /// files of the Python package suncal).
    #[test]
    fn welch_satterthwaite_example() {
        let freedom = effective_freedom(&[(0.57, 9.0), (0.25, f64::INFINITY)]);
        assert_relative_eq!(freedom, 12.8, epsilon = 0.05);
        assert_eq!(effective_freedom(&[(1.0, f64::INFINITY)]), f64::INFINITY);
    }

    #[test]
    fn coverage_factors_are_the_tables() {
        // JCGM 100:2008, table G.2, 95 %: 12.71, 2.23, 2.09 for 1, 10, 20 degrees of freedom; 1.960 for infinitely many.
        for (freedom, factor) in [(1.0, 12.71), (10.0, 2.23), (20.0, 2.09)] {
            assert_relative_eq!(coverage_factor(freedom, 0.95), factor, epsilon = 0.005);
        }
        assert_relative_eq!(coverage_factor(f64::INFINITY, 0.95), 1.959_964, epsilon = 1e-5);
    }

    /// The shortest interval of probability `p`, in which guides state results that are not symmetric.
    fn shortest(drawn: &Drawn, p: f64) -> [f64; 2] {
        let within = (p * drawn.values.len() as f64).round() as usize;
        let ends = drawn.values.iter().zip(&drawn.values[within..]);
        let (low, high) = ends.min_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0))).unwrap();
        [*low, *high]
    }

    const DRAWS: usize = 1_000_000;

    fn draws(seed: u64, model: impl Fn(&mut Sampler) -> f64) -> Drawn {
        let mut sampler = Sampler::new(seed);
        Drawn::new((0..DRAWS).map(|_| model(&mut sampler)).collect()).unwrap()
    }

    /// JCGM 101:2008, 9.2.3: the sum of four rectangular quantities of mean 0 and standard deviation 1. By mathematics: the
    /// standard uncertainty is 2, and the sum of four such is 2 root(3) (X - 2) with X of the Irwin-Hall distribution of
    /// order 4, of which 2.5 % lie above x where (4 - x)^4 / 24 = 0.025, so the interval is +-2 root(3) (2 - 0.6^(1/4)) =
    /// +-3.8794. The uncertainty framework gives +-3.92.
    #[test]
    fn the_sum_of_four_rectangular_quantities() {
        let half = 3f64.sqrt();
        let sum = draws(1, |d| (0..4).map(|_| d.draw(Distribution::Rectangular(-half, half))).sum::<f64>());
        let exact = 2.0 * half * (2.0 - 0.6f64.powf(0.25));
        // Four standard errors of a million draws: 0.006 of the mean and u, 0.02 of a quantile.
        assert!(sum.mean().abs() < 0.008 && (sum.u() - 2.0).abs() < 0.006);
        let [low, high] = sum.symmetric(0.95);
        assert!((low + exact).abs() < 0.02 && (high - exact).abs() < 0.02, "{low} {high}");
        assert_relative_eq!(coverage_factor(f64::INFINITY, 0.95) * 2.0, 3.92, epsilon = 0.001);
    }

    /// JCGM 101:2008, 9.3: mass calibration. Inputs as the R package propagate quotes them; results of another
    /// program's simulation with them, not published: 1.23406 mg, u 0.07547 mg, shortest interval [1.0843, 1.3833] mg; the
    /// uncertainty framework's first order gives u 0.0539 mg.
    #[test]
    fn mass_calibration() {
        let model = |rc: f64, dm: f64, air: f64, weight: f64, reference: f64| {
            (rc + dm) * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / reference)) - 100_000.0
        };
        let drawn = draws(2, |d| {
            let rc = d.draw(Distribution::Normal(100_000.0, 0.050));
            let dm = d.draw(Distribution::Normal(1.234, 0.020));
            let air = d.draw(Distribution::Rectangular(1.10, 1.30));
            let weight = d.draw(Distribution::Rectangular(7000.0, 9000.0));
            model(rc, dm, air, weight, d.draw(Distribution::Rectangular(7950.0, 8050.0)))
        });
        let [low, high] = shortest(&drawn, 0.95);
        println!("{:.5} mg, u {:.5}, [{low:.4}, {high:.4}]", drawn.mean(), drawn.u());
        // Two of the last digits of two significant ones of u, which is what such a simulation settles.
        assert_relative_eq!(drawn.mean(), 1.23406, epsilon = 0.0005);
        assert_relative_eq!(drawn.u(), 0.07547, epsilon = 0.0005);
        assert_relative_eq!(low, 1.0843, epsilon = 0.002);
        assert_relative_eq!(high, 1.3833, epsilon = 0.002);
        // First order: at air density 1.2 neither density matters.
        let first = root_sum_of_squares(&[0.050, 0.020]);
        assert_relative_eq!(first, 0.0539, epsilon = 0.00005);
    }

    #[test]
    fn tolerances_are_half_a_unit_of_the_second_digit() {
        assert_relative_eq!(tolerance(0.0755), 0.0005);
        assert_relative_eq!(tolerance(2.0), 0.05);
        assert_relative_eq!(tolerance(31.7), 0.5);
    }
}
