//! A value with the independent errors behind it, carried through sums, differences, products and quotients to first
//! order (JCGM 100:2008, 5.1 and 5.2). An error that two values share is one and the same in both, so it cancels or adds
//! up with its signs.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::numeric::uncertain::{coverage_factor, effective_freedom};
use crate::numeric::words::{Part, Side};
use crate::width::influence::Influence;

/// A cause of uncertainty in an assessment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cause {
    /// An influence on a measured width.
    Photo(Influence),
    /// Heights read with a ruler.
    Ruler,
    /// Which of two lines is the edge.
    OtherLine,
    /// Place of a width that is about the same over a stretch.
    FlatExtreme,
    /// An uncertainty of which the sheet gives no influences.
    NotItemised,
    /// Spacing of the rider's seat bones.
    SeatBones,
    /// Place along the seat where the bones rest.
    BonesStation,
    /// The rider's finger.
    Finger,
    /// How far from its edge the seat begins to fall away.
    FallAway,
    /// A length of the saddle taken by hand.
    ByHand,
    /// A limit that its source gives roughly.
    Limit,
}

impl Cause {
    /// Machine word, as in an assessment.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Photo(influence) => influence.as_str(),
            Self::Ruler => "ruler",
            Self::OtherLine => "other line",
            Self::FlatExtreme => "flat extreme",
            Self::NotItemised => "not itemised",
            Self::SeatBones => "seat-bone spacing",
            Self::BonesStation => "seat-bone station",
            Self::Finger => "finger breadth",
            Self::FallAway => "bearing width",
            Self::ByHand => "taken by hand",
            Self::Limit => "rough limit",
        }
    }

    /// The cause in the fitter's words.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Photo(influence) => influence.in_words(),
            Self::Ruler => "heights read with a ruler",
            Self::OtherLine => "which of two lines is the edge",
            Self::FlatExtreme => "a width that stays about the same over a stretch",
            Self::NotItemised => "the measurement as a whole",
            Self::SeatBones => "spacing of the seat bones",
            Self::BonesStation => "place where the seat bones rest",
            Self::Finger => "breadth of the rider's finger",
            Self::FallAway => "how far from its edge the seat begins to fall away",
            Self::ByHand => "a length taken by hand",
            Self::Limit => "a limit that is only roughly known",
        }
    }

    fn freedom(self) -> f64 {
        if let Self::Photo(influence) = self { influence.freedom() } else { f64::INFINITY }
    }
}

/// Identity of an independent error of one standard uncertainty.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct ErrorId {
    /// What has the error: a photo, a lens, a print of the card, the rider. Equal names are one and the same thing.
    pub of: Arc<str>,
    /// Its cause.
    pub cause: Cause,
    /// The edge, where it belongs to one.
    pub edge: Option<(Part, Side)>,
    /// Number among the errors of the same kind.
    pub number: u32,
}

impl ErrorId {
    /// The only error of its kind.
    pub fn new(of: impl Into<Arc<str>>, cause: Cause) -> Self {
        Self { of: of.into(), cause, edge: None, number: 0 }
    }
}

/// A value with its errors. Lengths in mm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Quantity {
    /// The value.
    pub value: f64,
    /// What one standard uncertainty of each error adds.
    errors: BTreeMap<ErrorId, f64>,
}

impl Quantity {
    /// A number known exactly.
    pub fn exact(value: f64) -> Self {
        Self { value, ..Self::default() }
    }

    /// Adds an error: what one standard uncertainty of it adds to the value, with its sign.
    pub fn with(mut self, error: ErrorId, moves: f64) -> Self {
        if moves != 0.0 {
            *self.errors.entry(error).or_default() += moves;
        }
        self
    }

    /// Adds errors.
    pub fn with_all(self, errors: impl IntoIterator<Item = (ErrorId, f64)>) -> Self {
        errors.into_iter().fold(self, |sum, (error, moves)| sum.with(error, moves))
    }

    /// `a x + b y` with `value` given by the caller: every nonlinear step comes down to this.
    fn linear(value: f64, a: f64, x: &Self, b: f64, y: &Self) -> Self {
        let of = |weight: f64, part: &Self| {
            part.errors.iter().map(|(id, moves)| (id.clone(), weight * moves)).collect::<Vec<_>>()
        };
        Self::exact(value).with_all(of(a, x)).with_all(of(b, y))
    }

    /// Sum.
    pub fn plus(&self, other: &Self) -> Self {
        Self::linear(self.value + other.value, 1.0, self, 1.0, other)
    }

    /// Difference.
    pub fn minus(&self, other: &Self) -> Self {
        Self::linear(self.value - other.value, 1.0, self, -1.0, other)
    }

    /// Product.
    pub fn times(&self, other: &Self) -> Self {
        Self::linear(self.value * other.value, other.value, self, self.value, other)
    }

    /// Quotient; not finite where `other` is 0, which the caller refuses.
    pub fn over(&self, other: &Self) -> Self {
        let q = self.value / other.value;
        Self::linear(q, 1.0 / other.value, self, -q / other.value, other)
    }

    /// The value times an exact number.
    pub fn scaled(&self, by: f64) -> Self {
        Self::linear(by * self.value, by, self, 0.0, &Self::default())
    }

    /// The same value with the errors of another one, on which it depends with a slope.
    pub fn following(&self, slope: f64, other: &Self) -> Self {
        Self::linear(self.value, 1.0, self, slope, other)
    }

    /// Standard uncertainty by cause, the largest first.
    pub fn lines(&self) -> Vec<(Cause, f64)> {
        let mut variances: BTreeMap<Cause, f64> = BTreeMap::new();
        for (id, moves) in &self.errors {
            *variances.entry(id.cause).or_default() += moves * moves;
        }
        let mut lines: Vec<_> = variances.into_iter().map(|(cause, v)| (cause, v.sqrt())).collect();
        lines.retain(|(_, u)| *u != 0.0);
        lines.sort_by(|a, b| b.1.total_cmp(&a.1));
        lines
    }

    /// Combined standard uncertainty.
    pub fn u(&self) -> f64 {
        self.errors.values().map(|moves| moves * moves).sum::<f64>().sqrt()
    }

    /// Expanded uncertainty (95 %), by the effective degrees of freedom.
    pub fn u95(&self) -> f64 {
        let parts: Vec<(f64, f64)> =
            self.lines().into_iter().map(|(cause, u)| (u, cause.freedom())).collect();
        coverage_factor(effective_freedom(&parts), 0.95) * self.u()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Matrix3;

    fn width(of: &str, mm: f64, cause: Influence, u: f64) -> Quantity {
        Quantity::exact(mm).with(ErrorId::new(of, Cause::Photo(cause)), u)
    }

    #[test]
    fn errors_of_two_photos_are_independent() {
        let [a, b] = [("a", 80.0, 0.3), ("b", 70.0, 0.4)]
            .map(|(of, mm, u)| width(of, mm, Influence::EdgeLocalisation, u));
        approx::assert_relative_eq!(a.minus(&b).u(), 0.5, epsilon = 1e-12);
    }

    /// 80 mm and 70 mm printed 0.2 % wrong: their difference of 10 mm is wrong by 0.2 % of itself.
    #[test]
    fn one_print_stretches_a_difference_like_a_length() {
        let [a, b] = [(80.0, 0.16), (70.0, 0.14)].map(|(mm, u)| width("print", mm, Influence::PrintScale, u));
        approx::assert_relative_eq!(a.minus(&b).u(), 0.02, epsilon = 1e-12);
    }

    #[test]
    fn a_value_less_itself_is_known() {
        let a = width("a", 80.0, Influence::Height, 0.3);
        assert_eq!(a.minus(&a).u(), 0.0);
    }

    /// JCGM 100:2008, table G.2: 2.18 for 12 degrees of freedom.
    #[test]
    fn scatter_of_few_points_widens_the_interval() {
        let few = width("a", 80.0, Influence::EdgeLocalisation, 0.3);
        approx::assert_relative_eq!(few.u95(), 2.18 * 0.3, epsilon = 0.002);
        approx::assert_relative_eq!(
            width("b", 70.0, Influence::Height, 0.4).u95(),
            1.96 * 0.4,
            epsilon = 1e-4
        );
    }

    /// By hand: 76 / 19 = 4; relative uncertainties 1/76 and 0.5/19 give 4 hypot(0.01316, 0.02632) = 0.1177.
    #[test]
    fn a_quotient_has_the_relative_uncertainties_of_both() {
        let fingers = Quantity::exact(19.0).with(ErrorId::new("rider", Cause::Finger), 0.5);
        let q = width("a", 76.0, Influence::EdgeLocalisation, 1.0).over(&fingers);
        approx::assert_relative_eq!(q.value, 4.0, epsilon = 1e-12);
        approx::assert_relative_eq!(q.u(), 0.1177, epsilon = 1e-4);
    }

    /// JCGM 100:2008, annex H.2: resistance, reactance and impedance from simultaneous readings, whose errors are
    /// correlated. Data and results (R 127.732, 0.071; X 219.847, 0.295; Z 254.260, 0.236 ohm) as the test files of the
    /// Python package suncal quote them. The published u(X) comes of rounded intermediates: 0.001 ohm is allowed.
    #[test]
    fn the_impedance_of_annex_h2() {
        let voltage = [5.007, 4.994, 5.005, 4.990, 4.999];
        let current = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3];
        let phase = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
        let series = [voltage, current, phase];
        let mean = series.map(|s| s.iter().sum::<f64>() / 5.0);
        let cov = |a: usize, b: usize| {
            let sum: f64 = (0..5).map(|k| (series[a][k] - mean[a]) * (series[b][k] - mean[b])).sum();
            sum / 20.0
        };
        // Correlated readings as sums of independent errors, by the covariance's Cholesky factor.
        let factor = Matrix3::from_fn(cov).cholesky().unwrap().l();
        let number = ["a", "b", "c"];
        let reading = |k: usize| {
            let errors = (0..3).map(|e| (ErrorId::new(number[e], Cause::NotItemised), factor[(k, e)]));
            Quantity::exact(mean[k]).with_all(errors)
        };
        let [v, i, phi] = mean;
        let z = v / i;
        let cases = [
            ("R", z * phi.cos(), [phi.cos() / i, -z * phi.cos() / i, -z * phi.sin()], 127.732, 0.071),
            ("X", z * phi.sin(), [phi.sin() / i, -z * phi.sin() / i, z * phi.cos()], 219.847, 0.295),
            ("Z", z, [1.0 / i, -z / i, 0.0], 254.260, 0.236),
        ];
        for (name, value, by, published, published_u) in cases {
            let linear =
                (0..3).map(|k| reading(k).scaled(by[k])).reduce(|sum, part| sum.plus(&part)).unwrap();
            let got = linear.u();
            println!("{name} {value:.4} ohm, u {got:.4}");
            assert!((value - published).abs() <= 0.0006 && (got - published_u).abs() <= 0.001, "{name}");
        }
    }
}
