//! A value with the lines of its uncertainty, carried through sums, differences, products and quotients to first order
//! (JCGM 100:2008, 5.1 and 5.2).
//!
//! A sheet says how large each influence on a width is, not how the same influence moves two widths together. What is
//! known about that is used and the rest bounded, line by line ([`Together`]).

use std::collections::BTreeMap;

pub use crate::width::COVERAGE;

/// How one line of the budget moves two values of the same sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Together {
    /// Each value has its own: root sum of squares.
    Apart,
    /// One error moves both, with known signs: summed with their signs.
    Signed,
    /// Not carried by the sheet: summed as if the signs were the worst.
    Worst,
}

/// Names of the lines of a sheet's budget, and of those that this room adds.
pub mod line {
    pub use crate::camera::fit::line::*;
    pub use crate::width::influence::line::*;

    /// How far beside the midline its front end was pointed at.
    pub const FRONT_END: &str = "midline front end";
    /// How far beside the midline its rear end was pointed at.
    pub const REAR_END: &str = "midline rear end";
    /// Where along the midline its front end was pointed at.
    pub const FRONT_ALONG: &str = "midline front end, along";
    /// Where along the midline its rear end was pointed at.
    pub const REAR_ALONG: &str = "midline rear end, along";
    /// Heights read with a ruler.
    pub const RULER: &str = "ruler";
    /// The spacing of the rider's seat bones.
    pub const SEAT_BONES: &str = "seat-bone spacing";
    /// Where along the seat the bones rest.
    pub const BONES_STATION: &str = "seat-bone station";
    /// The rider's finger.
    pub const FINGER: &str = "finger breadth";
    /// A limit that its source gives roughly.
    pub const LIMIT: &str = "rough limit";
    /// An uncertainty of which the sheet gives no lines.
    pub const WHOLE: &str = "not itemised";
    /// Where along the midline a width is largest or smallest.
    pub const EXTREME: &str = "flat extreme";
}

/// The sheet's lines as `width` writes them: points of two edges are traced apart; the print scale stretches all
/// widths alike, and what counts as the outer side of the piping shifts every edge the same way. The rest has signs that
/// a sheet does not carry.
pub fn together(line: &str) -> Together {
    match line {
        line::EDGE | line::COMPETING | line::RULER | line::EXTREME => Together::Apart,
        line::PRINT | line::PIPING => Together::Signed,
        line::FRONT_END | line::REAR_END | line::FRONT_ALONG | line::REAR_ALONG => Together::Signed,
        line::SEAT_BONES | line::BONES_STATION | line::FINGER | line::LIMIT => Together::Signed,
        _ => Together::Worst,
    }
}

/// What a term belongs to: which sheet (0 top, 1 underside, more for the rider), and which value on it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Origin {
    /// The sheet, or [`Origin::RIDER`].
    pub sheet: usize,
    /// The value, such as `seat.widest`.
    pub of: String,
}

impl Origin {
    /// Not from a sheet.
    pub const RIDER: usize = usize::MAX;

    /// An origin.
    pub fn new(sheet: usize, of: impl Into<String>) -> Self {
        Self { sheet, of: of.into() }
    }
}

/// A value with its uncertainty, line by line. Lengths in mm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Quantity {
    /// The value.
    pub value: f64,
    terms: BTreeMap<String, BTreeMap<Origin, f64>>,
    /// The largest coverage factor that a sheet gives for a part of it; [`COVERAGE`] where it is smaller.
    factor: f64,
}

impl Quantity {
    /// A number known exactly.
    pub fn exact(value: f64) -> Self {
        Self { value, ..Self::default() }
    }

    /// Adds a term: how far one standard uncertainty of this influence moves the value, with its sign.
    pub fn with(mut self, line: &str, origin: Origin, moves: f64) -> Self {
        if moves != 0.0 {
            *self.terms.entry(line.to_owned()).or_default().entry(origin).or_default() += moves;
        }
        self
    }

    /// As read from a sheet that expands its uncertainty by this factor, which is larger the fewer degrees of freedom it has.
    pub fn expanded_by(self, factor: f64) -> Self {
        Self { factor: self.factor.max(factor), ..self }
    }

    /// With the factors of two values that it is made of.
    pub fn expanded_as(self, x: &Self, y: &Self) -> Self {
        self.expanded_by(x.factor).expanded_by(y.factor)
    }

    /// `a x + b y` with `value` given by the caller: every nonlinear step comes down to this.
    fn linear(value: f64, a: f64, x: &Self, b: f64, y: &Self) -> Self {
        let mut sum = Self::exact(value).expanded_as(x, y);
        for (weight, part) in [(a, x), (b, y)] {
            for (line, terms) in &part.terms {
                for (origin, moves) in terms {
                    sum = sum.with(line, origin.clone(), weight * moves);
                }
            }
        }
        sum
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

    /// The same value, moved by what is not known of another one: `slope` is how it answers to that.
    pub fn following(&self, slope: f64, other: &Self) -> Self {
        Self::linear(self.value, 1.0, self, slope, other)
    }

    /// Standard uncertainty of each line, the largest first.
    pub fn lines(&self) -> Vec<(String, f64)> {
        let mut lines: Vec<(String, f64)> =
            self.terms.iter().map(|(line, terms)| (line.clone(), line_u(line, terms))).collect();
        lines.retain(|(_, u)| *u != 0.0);
        lines.sort_by(|a, b| b.1.total_cmp(&a.1));
        lines
    }

    /// Combined standard uncertainty.
    pub fn u(&self) -> f64 {
        self.terms.iter().map(|(line, terms)| line_u(line, terms).powi(2)).sum::<f64>().sqrt()
    }

    /// Expanded uncertainty (95 %). A sum has no fewer effective degrees of freedom than the part that has the fewest
    /// (JCGM 100:2008, G.4.1), so the largest factor of its parts is never too small.
    pub fn u95(&self) -> f64 {
        self.factor.max(COVERAGE) * self.u()
    }
}

fn line_u(line: &str, terms: &BTreeMap<Origin, f64>) -> f64 {
    match together(line) {
        Together::Apart => terms.values().map(|t| t * t).sum::<f64>().sqrt(),
        Together::Worst => terms.values().map(|t| t.abs()).sum(),
        Together::Signed => {
            let mut by_sheet: BTreeMap<usize, f64> = BTreeMap::new();
            for (origin, t) in terms {
                *by_sheet.entry(origin.sheet).or_default() += t;
            }
            by_sheet.values().map(|t| t.abs()).sum()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn width(of: &str, mm: f64, line: &str, u: f64) -> Quantity {
        Quantity::exact(mm).with(line, Origin::new(0, of), u)
    }

    #[test]
    fn traced_points_of_two_widths_are_apart() {
        let difference =
            width("a", 80.0, "edge localisation", 0.3).minus(&width("b", 70.0, "edge localisation", 0.4));
        approx::assert_relative_eq!(difference.u(), 0.5, epsilon = 1e-12);
    }

    /// 80 mm and 70 mm printed 0.2 % wrong: their difference of 10 mm is wrong by 0.2 % of itself.
    #[test]
    fn a_print_scale_stretches_a_difference_like_a_length() {
        let difference = width("a", 80.0, "print scale", 0.16).minus(&width("b", 70.0, "print scale", 0.14));
        approx::assert_relative_eq!(difference.u(), 0.02, epsilon = 1e-12);
    }

    #[test]
    fn what_the_sheet_does_not_say_is_taken_at_its_worst() {
        let difference = width("a", 80.0, "lift", 0.3).minus(&width("b", 70.0, "lift", 0.4));
        approx::assert_relative_eq!(difference.u(), 0.7, epsilon = 1e-12);
    }

    #[test]
    fn a_value_less_itself_is_known() {
        let a = width("a", 80.0, "lift", 0.3);
        assert_eq!(a.minus(&a).u(), 0.0);
    }

    #[test]
    fn a_width_is_as_sure_as_its_sheet_says_and_a_sum_no_surer() {
        let few = width("a", 80.0, "lift", 0.3).expanded_by(2.2);
        approx::assert_relative_eq!(few.u95(), 0.66, epsilon = 1e-12);
        let many = width("b", 70.0, "edge localisation", 0.4);
        approx::assert_relative_eq!(many.u95(), 1.96 * 0.4, epsilon = 1e-12);
        approx::assert_relative_eq!(few.plus(&many).u95(), 2.2 * 0.5, epsilon = 1e-12);
    }

    /// By hand: 76 / 19 = 4; relative uncertainties 1/76 and 0.5/19 give 4 hypot(0.01316, 0.02632) = 0.1177.
    #[test]
    fn a_quotient_has_the_relative_uncertainties_of_both() {
        let fingers = Quantity::exact(19.0).with(line::FINGER, Origin::new(Origin::RIDER, "finger"), 0.5);
        let q = width("a", 76.0, "edge localisation", 1.0).over(&fingers);
        approx::assert_relative_eq!(q.value, 4.0, epsilon = 1e-12);
        approx::assert_relative_eq!(q.u(), 0.1177, epsilon = 1e-4);
    }
}
