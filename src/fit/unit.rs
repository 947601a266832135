//! Units of the trade and how amounts are written. Within the module lengths are mm, masses kg, angles degrees.

/// Powers of mm, kg and degree of a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Dim {
    /// Power of mm.
    pub mm: i8,
    /// Power of kg.
    pub kg: i8,
    /// Power of degree.
    pub deg: i8,
}

impl Dim {
    /// A number without a unit, such as a station.
    pub const NONE: Self = Self { mm: 0, kg: 0, deg: 0 };
    /// A length.
    pub const LENGTH: Self = Self { mm: 1, kg: 0, deg: 0 };
    /// An area.
    pub const AREA: Self = Self { mm: 2, kg: 0, deg: 0 };
    /// A mass.
    pub const MASS: Self = Self { mm: 0, kg: 1, deg: 0 };
    /// An angle.
    pub const ANGLE: Self = Self { mm: 0, kg: 0, deg: 1 };
    /// A weight on an area.
    pub const PRESSURE: Self = Self { mm: -2, kg: 1, deg: 0 };

    /// The dimension of a product.
    pub fn times(self, other: Self) -> Self {
        Self { mm: self.mm + other.mm, kg: self.kg + other.kg, deg: self.deg + other.deg }
    }

    /// The dimension of a quotient.
    pub fn over(self, other: Self) -> Self {
        Self { mm: self.mm - other.mm, kg: self.kg - other.kg, deg: self.deg - other.deg }
    }

    /// In words, for messages.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::NONE => "a number without a unit",
            Self::LENGTH => "a length",
            Self::AREA => "an area",
            Self::MASS => "a mass",
            Self::ANGLE => "an angle",
            Self::PRESSURE => "a pressure",
            _ => "a quantity of mixed units",
        }
    }
}

/// Standard gravity, mm/s² (conventional value, exact by definition): a kilogram on a mm² is 9806.65 kPa.
const KPA_PER_KG_PER_MM2: f64 = 9806.65;

/// A unit that amounts are written and shown in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Its name, as written.
    pub name: &'static str,
    /// Its dimension.
    pub dim: Dim,
    /// One of it in mm, kg and degrees.
    pub size: f64,
    /// Decimals that are shown.
    pub decimals: usize,
}

impl Unit {
    /// So many of it in mm, kg and degrees. Inches go by 254 tenths, so that 7 in is 177.8 mm to the last bit.
    pub fn times(self, value: f64) -> f64 {
        if self.name == "in" { value * 254.0 / 10.0 } else { value * self.size }
    }
}

/// Millimetres, what lengths are shown in.
pub const MM: Unit = unit("mm", Dim::LENGTH, 1.0, 1);
/// No unit.
pub const NO_UNIT: Unit = unit("", Dim::NONE, 1.0, 2);

const fn unit(name: &'static str, dim: Dim, size: f64, decimals: usize) -> Unit {
    Unit { name, dim, size, decimals }
}

/// Every unit with its names; an inch is 25.4 mm by definition.
const UNITS: [(&[&str], Unit); 9] = [
    (&["mm"], MM),
    (&["cm"], unit("cm", Dim::LENGTH, 10.0, 1)),
    (&["in", "inch", "inches", "\"", "″"], unit("in", Dim::LENGTH, 25.4, 2)),
    (&["deg", "degrees"], unit("deg", Dim::ANGLE, 1.0, 1)),
    (&["kg"], unit("kg", Dim::MASS, 1.0, 1)),
    (&["lb"], unit("lb", Dim::MASS, 0.453_592_37, 1)),
    (&["cm2"], unit("cm2", Dim::AREA, 100.0, 0)),
    (&["kPa"], unit("kPa", Dim::PRESSURE, 1.0 / KPA_PER_KG_PER_MM2, 1)),
    (&["percent"], unit("%", Dim::NONE, 0.01, 0)),
];

/// Names by which the rider's fingers are a unit.
pub const FINGERS: [&str; 2] = ["fingers", "finger"];

/// The unit of a name.
pub fn unit_named(name: &str) -> Option<Unit> {
    UNITS.iter().find(|(names, _)| names.contains(&name)).map(|(_, unit)| *unit)
}

/// Names of all units, for messages.
pub fn unit_names() -> impl Iterator<Item = &'static str> {
    UNITS.iter().flat_map(|(names, _)| names.iter().copied()).chain(FINGERS)
}

/// A number with its unit, as written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    /// In mm, kg, degrees, with the dimension.
    Plain(f64, Dim),
    /// So many of the rider's own fingers.
    Fingers(f64),
}

/// Reads `128 mm`, `5 in`, `1 3/4 in`, `4 fingers` or `0.65`.
///
/// # Errors
/// What is wrong, in words.
pub fn parse_amount(text: &str) -> Result<Amount, String> {
    let text = text.trim();
    let split = text.find(|c: char| !(c.is_ascii_digit() || "+-./ ".contains(c))).unwrap_or(text.len());
    let (number, name) = (text[..split].trim(), text[split..].trim());
    if name.starts_with(',') {
        return Err(format!(
            "'{text}' has a decimal comma; write a point, such as \"{}\"",
            text.replacen(',', ".", 1)
        ));
    }
    let value = parse_value(number).ok_or_else(|| {
        format!("'{text}' is no amount; write a number and its unit, with a point as decimal sign, such as \"128 mm\"")
    })?;
    if !value.is_finite() {
        return Err(format!("'{text}' is not finite"));
    }
    if FINGERS.contains(&name) {
        return Ok(Amount::Fingers(value));
    }
    if name.is_empty() {
        return Ok(Amount::Plain(value, Dim::NONE));
    }
    match unit_named(name) {
        Some(unit) => Ok(Amount::Plain(unit.times(value), unit.dim)),
        None => Err(format!("'{name}' is no unit; {}", super::hint::did_you_mean(name, unit_names()))),
    }
}

/// A number, a fraction `3/4`, or both: `1 3/4`.
fn parse_value(text: &str) -> Option<f64> {
    let (whole, fraction) = match text.rsplit_once(' ') {
        Some((whole, fraction)) if fraction.contains('/') => (whole.trim(), fraction),
        None if text.contains('/') => ("", text),
        _ => return text.parse().ok(),
    };
    let (above, below) = fraction.split_once('/')?;
    let part = above.parse::<u32>().ok().map(f64::from)? / below.parse::<u32>().ok().map(f64::from)?;
    let (sign, whole) = whole.strip_prefix('-').map_or((1.0, whole), |rest| (-1.0, rest));
    let whole = if whole.is_empty() { 0 } else { whole.parse::<u32>().ok()? };
    Some(sign * (f64::from(whole) + part))
}

/// Reads a length, mm; a number without a unit is in millimetres.
///
/// # Errors
/// What is wrong, in words.
pub fn parse_length_mm(text: &str) -> Result<f64, String> {
    match parse_amount(text)? {
        Amount::Plain(mm, Dim::LENGTH | Dim::NONE) => Ok(mm),
        _ => Err(format!("'{text}' is no length; write it such as 44mm, 4.4cm or 1 3/4in")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_may_have_any_unit_and_fractions() {
        for text in ["44.45", "44.45mm", "4.445 cm", "1 3/4in", "1 3/4 \"", "7/4 in"] {
            approx::assert_relative_eq!(parse_length_mm(text).unwrap(), 44.45, epsilon = 1e-9);
        }
        assert_eq!(parse_length_mm("-1 1/2 in"), Ok(-38.1));
        for text in ["1/0 in", "4 kg", "2 fingers", "1 2 in", "/ in"] {
            assert!(parse_length_mm(text).is_err(), "{text}");
        }
    }

    /// The international inch is 25.4 mm by definition (1959 agreement), so the trade's two limits are exact.
    #[test]
    fn seven_and_nine_inches_are_exact() {
        assert_eq!(parse_amount("7 in"), Ok(Amount::Plain(177.8, Dim::LENGTH)));
        assert_eq!(parse_amount("9 in"), Ok(Amount::Plain(228.6, Dim::LENGTH)));
        assert_eq!(parse_amount("9in"), parse_amount("228.6 mm"));
        assert_eq!(parse_amount("8 cm"), parse_amount("80 mm"));
    }

    #[test]
    fn slips_are_told() {
        assert!(parse_amount("12 inc").unwrap_err().contains("did you mean `inch`?"));
        assert!(parse_amount("12,5 mm").unwrap_err().contains("write a point, such as \"12.5 mm\""));
        assert!(parse_amount("wide").unwrap_err().contains("no amount"));
    }
}
