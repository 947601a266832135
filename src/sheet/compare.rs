//! How far two measured widths differ, and whether the difference is more than their uncertainty.

use super::types::Width;

/// A difference with its expanded uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// The second width less the first, mm.
    pub mm: f64,
    /// Its expanded uncertainty, mm.
    pub u95: f64,
}

impl Difference {
    /// Between two widths, taken as independent: the root sum of squares (JCGM 100:2008, 5.1.2). Photos with the same
    /// camera and card share a part of their errors, which then cancels, so this is on the safe side.
    pub fn between(first: &Width, second: &Width) -> Self {
        Self { mm: second.mm - first.mm, u95: first.u95.hypot(second.u95) }
    }

    /// Whether the widths differ for sure: by more than the uncertainty.
    pub fn is_sure(&self) -> bool {
        self.mm.abs() > self.u95
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn width(mm: f64, u95: f64) -> Width {
        Width {
            name: "seat.widest".into(),
            at: 0.7,
            mm,
            u95,
            u: None,
            at_u: None,
            one_card_u95: None,
            one_photo_u95: None,
        }
    }

    #[test]
    fn uncertainties_add_by_their_squares() {
        let d = Difference::between(&width(200.0, 3.0), &width(206.0, 4.0));
        assert_eq!((d.mm, d.u95, d.is_sure()), (6.0, 5.0, true));
        assert!(!Difference::between(&width(200.0, 3.0), &width(204.9, 4.0)).is_sure());
    }

    #[test]
    fn what_is_no_number_is_never_sure() {
        assert!(!Difference::between(&width(f64::NAN, 3.0), &width(204.9, 4.0)).is_sure());
    }
}
