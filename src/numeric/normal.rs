//! Tabulated distribution function of the standard normal, for fits to pixels, which call it millions of times.

use std::f64::consts::{FRAC_1_SQRT_2, PI};
use std::sync::LazyLock;

/// Beyond this it is 0 or 1 to fifteen digits.
const REACH: f64 = 8.0;
/// Entries a unit. Between them a cubic through values and slopes is good to 2e-9 (its fourth derivative is at most 0.55).
const PER_UNIT: f64 = 32.0;

/// Value and slope (per entry) at each entry.
static TABLE: LazyLock<Vec<[f64; 2]>> = LazyLock::new(|| {
    let last = (2.0 * REACH * PER_UNIT) as usize;
    let z = |i: usize| i as f64 / PER_UNIT - REACH;
    (0..=last).map(|i| [0.5 * libm::erfc(-z(i) * FRAC_1_SQRT_2), density(z(i)) / PER_UNIT]).collect()
});

fn density(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / (2.0 * PI).sqrt()
}

/// The table, fetched once for many calls.
#[derive(Debug, Clone, Copy)]
pub struct Normal {
    table: &'static [[f64; 2]],
}

impl Normal {
    /// The table; the first call fills it.
    pub fn table() -> Self {
        Self { table: &TABLE }
    }

    /// The distribution function at `z` and its derivative there, the density; both to 1e-6 and better.
    #[inline]
    pub fn at(self, z: f64) -> [f64; 2] {
        let place = (z + REACH) * PER_UNIT;
        if place.is_nan() {
            return [f64::NAN; 2];
        }
        let last = self.table.len() - 1;
        if place <= 0.0 || place >= last as f64 {
            return [f64::from(u8::from(place > 0.0)), 0.0];
        }
        let i = place as usize;
        let t = place - i as f64;
        let ([a, slope_a], [b, slope_b]) = (self.table[i], self.table[i + 1]);
        // The cubic a + t (slope_a + t (c + t d)).
        let c = 3.0 * (b - a) - 2.0 * slope_a - slope_b;
        let d = slope_a + slope_b - 2.0 * (b - a);
        [a + t * (slope_a + t * (c + t * d)), (slope_a + t * (2.0 * c + t * 3.0 * d)) * PER_UNIT]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_those_of_the_error_function() {
        let normal = Normal::table();
        for i in -90_000..=90_000 {
            let z = f64::from(i) * 1e-4;
            let [value, slope] = normal.at(z);
            assert!((value - 0.5 * libm::erfc(-z * FRAC_1_SQRT_2)).abs() < 2e-9, "{z}");
            assert!((slope - density(z)).abs() < 1e-6, "{z}");
        }
    }

    #[test]
    fn far_out_it_is_0_or_1_and_what_is_no_number_stays_none() {
        let normal = Normal::table();
        assert_eq!(normal.at(f64::NEG_INFINITY), [0.0, 0.0]);
        assert_eq!(normal.at(f64::INFINITY), [1.0, 0.0]);
        assert!(normal.at(f64::NAN)[0].is_nan());
    }
}
