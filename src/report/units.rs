//! How lengths are written: millimetres with inches beside, or the other way round.

pub use crate::canvas::MM_PER_INCH;

/// Which unit comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// Millimetres, with inches in brackets.
    #[default]
    Millimetres,
    /// Inches, with millimetres in brackets.
    Inches,
}

impl Units {
    /// A length with its expanded uncertainty in the first unit, such as `231.4 ± 1.8 mm`.
    pub fn first(self, mm: f64, u95: f64) -> String {
        match self {
            Self::Millimetres => format!("{mm:.1} ± {} mm", half_width(u95, 1)),
            Self::Inches => format!("{:.2} ± {} in", mm / MM_PER_INCH, half_width(u95 / MM_PER_INCH, 2)),
        }
    }

    /// A length in the first unit, such as `231.4 mm`.
    pub fn plain(self, mm: f64) -> String {
        match self {
            Self::Millimetres => format!("{mm:.1} mm"),
            Self::Inches => format!("{:.2} in", mm / MM_PER_INCH),
        }
    }

    /// A length in the first unit where tenths do not matter, such as `324 mm`.
    pub fn whole(self, mm: f64) -> String {
        match self {
            Self::Millimetres => format!("{mm:.0} mm"),
            Self::Inches => format!("{:.1} in", mm / MM_PER_INCH),
        }
    }

    /// A difference of lengths in the first unit, with its sign, such as `+3.2 mm`.
    pub fn signed(self, mm: f64) -> String {
        let sign = if mm < 0.0 { "−" } else { "+" };
        format!("{sign}{}", self.plain(mm.abs()))
    }

    /// An expanded uncertainty in the first unit, such as `± 1.8 mm`.
    pub fn plus_minus(self, u95: f64) -> String {
        match self {
            Self::Millimetres => format!("± {} mm", half_width(u95, 1)),
            Self::Inches => format!("± {} in", half_width(u95 / MM_PER_INCH, 2)),
        }
    }

    /// The same length in the other unit, without its uncertainty, such as `9.11 in`.
    pub fn second(self, mm: f64) -> String {
        match self {
            Self::Millimetres => format!("{:.2} in", mm / MM_PER_INCH),
            Self::Inches => format!("{mm:.1} mm"),
        }
    }

    /// Both, such as `231.4 ± 1.8 mm (9.11 in)`.
    pub fn both(self, mm: f64, u95: f64) -> String {
        format!("{} ({})", self.first(mm, u95), self.second(mm))
    }
}

/// An uncertainty with `decimals` digits, never rounded down to nothing.
pub fn half_width(u95: f64, decimals: usize) -> String {
    let least = 10_f64.powi(-(decimals as i32));
    format!("{:.decimals$}", u95.max(least))
}

#[cfg(test)]
mod tests {
    use super::Units;

    #[test]
    fn millimetres_come_first_with_inches_beside() {
        assert_eq!(Units::Millimetres.both(231.4, 1.8), "231.4 ± 1.8 mm (9.11 in)");
    }

    #[test]
    fn inches_can_come_first() {
        assert_eq!(Units::Inches.both(231.4, 1.8), "9.11 ± 0.07 in (231.4 mm)");
    }

    #[test]
    fn an_uncertainty_is_never_shown_as_nothing() {
        assert_eq!(Units::Millimetres.first(50.0, 0.02), "50.0 ± 0.1 mm");
    }
}
