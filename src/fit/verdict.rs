//! From a value, its uncertainty and its limits to a verdict, as JCGM 106:2012 does it: the probability that the true
//! value conforms (7.3.3, 7.4, for a normal distribution and nothing known before), and a guard band about each limit
//! (8.3) so wide that a firm verdict is wrong at most as often as the confidence allows.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use super::quantity::Quantity;

/// The outcome of a rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// It conforms, with the confidence asked for.
    Meets,
    /// The rule has no limit: the value is stated.
    Stated,
    /// Nothing was measured, or something is not known.
    NotJudged,
    /// Neither is sure enough.
    Undecided,
    /// It does not conform, with the confidence asked for.
    FallsShort,
}

impl Verdict {
    /// Whether it says that something is so.
    pub fn is_firm(self) -> bool {
        matches!(self, Self::Meets | Self::FallsShort)
    }
}

/// The probabilities behind a verdict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conformity {
    /// That the value lies within the limits.
    pub within: f64,
    /// That it lies below the lower limit.
    pub below: f64,
    /// That it lies above the upper limit.
    pub above: f64,
}

/// Least confidence that makes sense: at even odds everything would be firm.
pub const LEAST_CONFIDENCE: f64 = 0.6;
/// Usual confidence.
pub const CONFIDENCE: f64 = 0.95;

/// Probability that a quantity is 0 or above.
pub fn above_zero(q: &Quantity) -> f64 {
    if q.u() > 0.0 { Normal::standard().cdf(q.value / q.u()) } else { f64::from(u8::from(q.value >= 0.0)) }
}

/// Probability that a quantity is below 0.
fn below_zero(q: &Quantity) -> f64 {
    if q.u() > 0.0 { Normal::standard().cdf(-q.value / q.u()) } else { f64::from(u8::from(q.value < 0.0)) }
}

impl Conformity {
    /// From how far the value lies inside each limit. Where limits are uncertain (a rider's fingers) that is in the margins;
    /// a value cannot be below one and above the other, so the probabilities outside add up.
    pub fn of(inside_lower: Option<&Quantity>, inside_upper: Option<&Quantity>) -> Self {
        let [below, above] = [inside_lower, inside_upper].map(|margin| margin.map_or(0.0, below_zero));
        Self { within: (1.0 - below - above).max(0.0), below, above }
    }

    /// The verdict. A miss is firm only where its side is: between two limits near to one another a poor measurement
    /// makes conformity unlikely without showing anything, and that stays undecided.
    pub fn verdict(&self, confidence: f64) -> Verdict {
        if self.within >= confidence {
            Verdict::Meets
        } else if self.below >= confidence || self.above >= confidence {
            Verdict::FallsShort
        } else {
            Verdict::Undecided
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::quantity::{Cause, ErrorId};
    use proptest::prelude::*;

    fn value(v: f64, u: f64) -> Quantity {
        Quantity::exact(v).with(ErrorId::new("v", Cause::NotItemised), u)
    }

    fn judge(v: f64, u: f64, lower: Option<f64>, upper: Option<f64>) -> Conformity {
        let q = value(v, u);
        let lower = lower.map(|l| q.minus(&Quantity::exact(l)));
        let upper = upper.map(|l| Quantity::exact(l).minus(&q));
        Conformity::of(lower.as_ref(), upper.as_ref())
    }

    /// JCGM 106:2012, 7.3.3, example 2: a burst strength of 509.7 kPa with u = 8.6 kPa against a lower limit of
    /// 490 kPa conforms with 0.99 (read in a secondary source that follows the example); the same with 495.2 kPa: 0.73.
    #[test]
    fn a_single_lower_limit_as_in_jcgm_106() {
        approx::assert_abs_diff_eq!(judge(509.7, 8.6, Some(490.0), None).within, 0.99, epsilon = 0.005);
        approx::assert_abs_diff_eq!(judge(495.2, 8.6, Some(490.0), None).within, 0.73, epsilon = 0.005);
    }

    /// The form of JCGM 106:2012, 7.3.3 (one upper limit) and 7.4 (two limits), with inputs that are only remembered
    /// (from memory): the expected values were computed with another program's normal distribution, not published.
    #[test]
    fn upper_and_two_sided_limits_as_computed_elsewhere() {
        approx::assert_abs_diff_eq!(judge(-5.47, 0.05, None, Some(-5.40)).within, 0.9192, epsilon = 5e-5);
        approx::assert_abs_diff_eq!(judge(13.6, 1.8, Some(12.5), Some(16.3)).within, 0.6626, epsilon = 5e-5);
    }

    /// JCGM 106:2012, table of one-sided guard bands: normal quantiles 1.64 at 0.95 and 2.33 at 0.99.
    #[test]
    fn the_guard_band_is_the_normal_quantile() {
        for (confidence, z) in [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)] {
            let at = |k: f64| judge(100.0 + k, 1.0, Some(100.0), None).verdict(confidence);
            assert_eq!(at(z + 0.01), Verdict::Meets, "{confidence}");
            assert_eq!(at(z - 0.01), Verdict::Undecided, "{confidence}");
            assert_eq!(at(-z - 0.01), Verdict::FallsShort, "{confidence}");
        }
    }

    #[test]
    fn a_value_at_an_exact_limit_conforms() {
        assert_eq!(judge(177.8, 0.0, Some(177.8), Some(177.8)).verdict(0.95), Verdict::Meets);
        assert_eq!(judge(177.7, 0.0, Some(177.8), None).verdict(0.95), Verdict::FallsShort);
    }

    /// True values near each limit, measured with the stated uncertainty: firm wrong verdicts are at most 5 %.
    #[test]
    fn of_ten_thousand_draws_near_a_limit_at_most_five_per_cent_are_firm_and_wrong() {
        let mut random = fastrand::Rng::with_seed(106);
        let mut normal = move || {
            let (a, b) = (random.f64().max(1e-300), random.f64());
            (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
        };
        for (name, lower, upper, u) in [
            ("9 in and up", Some(228.6), None, 1.0),
            ("under 7 in", None, Some(177.8), 1.0),
            ("3 to 4 fingers", Some(54.0), Some(72.0), 0.9),
            ("3 to 4 fingers, poor photo", Some(54.0), Some(72.0), 9.0),
            ("halves within 10 mm", Some(-10.0), Some(10.0), 2.6),
            ("channel 8 cm", Some(80.0), None, 0.8),
        ] {
            for limit in [lower, upper].into_iter().flatten() {
                let mut wrong = 0;
                for i in 0..10_000 {
                    // Evenly over three uncertainties to either side.
                    let truth = limit + 3.0 * u * (f64::from(i) / 5000.0 - 1.0);
                    let is = lower.is_none_or(|l| truth >= l) && upper.is_none_or(|l| truth <= l);
                    let said = judge(truth + u * normal(), u, lower, upper).verdict(0.95);
                    wrong += i32::from(said == if is { Verdict::FallsShort } else { Verdict::Meets });
                }
                println!("{name}, at {limit}: {:.2} % firm and wrong", f64::from(wrong) / 100.0);
                assert!(wrong <= 500, "{name} at {limit}: {wrong} of 10000");
            }
        }
    }

    proptest! {
        #[test]
        fn widening_never_turns_a_lower_limit_from_met_to_missed(v in 0.0..400.0, u in 0.0..20.0, by in 0.0..50.0, l in 50.0..300.0) {
            let (before, after) = (judge(v, u, Some(l), None), judge(v + by, u, Some(l), None));
            prop_assert!(after.within >= before.within);
            if before.verdict(0.95) == Verdict::Meets {
                prop_assert_eq!(after.verdict(0.95), Verdict::Meets);
            }
        }

        #[test]
        fn more_uncertainty_never_makes_undecided_firm(v in 0.0..400.0, u in 0.01..20.0, more in 1.0..10.0, l in 50.0..300.0, wide in 0.1..100.0) {
            for (lower, upper) in [(Some(l), None), (None, Some(l)), (Some(l), Some(l + wide))] {
                let (before, after) = (judge(v, u, lower, upper).verdict(0.95), judge(v, u * more, lower, upper).verdict(0.95));
                prop_assert!(before.is_firm() || !after.is_firm(), "{before:?} {after:?}");
            }
        }

        #[test]
        fn verdicts_are_the_same_in_millimetres_and_inches(v in 0.0..400.0, u in 0.01..20.0, l in 50.0..300.0, wide in 0.1..100.0) {
            let mm = judge(v, u, Some(l), Some(l + wide));
            let inches = judge(v / 25.4, u / 25.4, Some(l / 25.4), Some((l + wide) / 25.4));
            prop_assert!((mm.within - inches.within).abs() < 1e-9);
        }

        #[test]
        fn probabilities_add_up(v in 0.0..400.0, u in 0.01..20.0, l in 50.0..300.0, wide in 0.1..100.0) {
            let c = judge(v, u, Some(l), Some(l + wide));
            prop_assert!((c.within + c.below + c.above - 1.0).abs() < 1e-9);
        }
    }
}
