//! Smooth functions of the station.

/// A monotone cubic interpolant of `[station, mm]` knots, constant beyond the ends. The slope at a knot is the harmonic mean of
/// the neighbouring secants, so the curve does not overshoot.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    knots: Vec<[f64; 2]>,
    slopes: Vec<f64>,
}

impl Curve {
    /// A curve through `[station, mm]` knots in any order.
    pub fn through(knots: &[[f64; 2]]) -> Self {
        let mut knots = knots.to_vec();
        knots.sort_by(|a, b| a[0].total_cmp(&b[0]));
        knots.dedup_by(|a, b| a[0] == b[0]);
        let secants: Vec<f64> = knots.windows(2).map(|w| (w[1][1] - w[0][1]) / (w[1][0] - w[0][0])).collect();
        let slopes = (0..knots.len())
            .map(|i| match (i.checked_sub(1).and_then(|j| secants.get(j)), secants.get(i)) {
                (Some(&a), Some(&b)) if a * b > 0.0 => 2.0 * a * b / (a + b),
                (None, Some(&a)) | (Some(&a), None) => a,
                _ => 0.0,
            })
            .collect();
        Self { knots, slopes }
    }

    /// A constant, mm.
    pub fn constant(mm: f64) -> Self {
        Self::through(&[[0.0, mm]])
    }

    /// The value at a station, mm.
    #[inline]
    pub fn at(&self, station: f64) -> f64 {
        let last = self.knots.len() - 1;
        if station <= self.knots[0][0] {
            return self.knots[0][1];
        }
        if station >= self.knots[last][0] {
            return self.knots[last][1];
        }
        let i = (1..last).find(|&i| station < self.knots[i][0]).unwrap_or(last) - 1;
        let ([x0, y0], [x1, y1]) = (self.knots[i], self.knots[i + 1]);
        let h = x1 - x0;
        let t = (station - x0) / h;
        let (m0, m1) = (self.slopes[i] * h, self.slopes[i + 1] * h);
        let d = y1 - y0;
        y0 + t * (m0 + t * (3.0 * d - 2.0 * m0 - m1 + t * (m0 + m1 - 2.0 * d)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passes_through_its_knots_and_stays_between_them() {
        let knots = [[0.0, 60.0], [0.3, 40.0], [0.7, 105.0], [1.0, 100.0]];
        let curve = Curve::through(&knots);
        for [s, v] in knots {
            assert!((curve.at(s) - v).abs() < 1e-12);
        }
        for i in -10..=110 {
            assert!((40.0..=105.0).contains(&curve.at(f64::from(i) / 100.0)));
        }
        assert_eq!(Curve::constant(7.0).at(0.4), 7.0);
    }
}
