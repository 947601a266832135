//! Parsers of option values. The decimal sign is a point; a decimal comma is an error that says so.

use crate::camera::print_scale::is_bar;
use crate::canvas::Paper;
use crate::card::pattern::BAR_MM;
use crate::fit::unit::parse_length_mm;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Part, SIDES, Side, View};
use crate::outline::HiddenStretch;
use crate::outline::hint::Hint;
use crate::report::page::Purpose;
use crate::report::units::Units;

fn one_of<T: Copy, const N: usize>(text: &str, words: [(&str, T); N]) -> Result<T, String> {
    let found = words.into_iter().find(|(word, _)| word.eq_ignore_ascii_case(text));
    found.map(|(_, value)| value).ok_or_else(|| format!("write {}", words.map(|w| w.0).join(" or ")))
}

/// `top` or `underside`.
pub fn parse_view(text: &str) -> Result<View, String> {
    one_of(text, [("top", View::Top), ("underside", View::Underside)])
}

/// `mm` or `in`.
pub fn parse_units(text: &str) -> Result<Units, String> {
    one_of(text, [("mm", Units::Millimetres), ("in", Units::Inches)])
}

/// `a4` or `letter`.
pub fn parse_paper(text: &str) -> Result<Paper, String> {
    one_of(text, [("a4", Paper::A4), ("letter", Paper::Letter)])
}

/// `fitter`, `client` or `sale`.
pub fn parse_purpose(text: &str) -> Result<Purpose, String> {
    one_of(text, [("fitter", Purpose::Fitter), ("client", Purpose::Client), ("sale", Purpose::Sale)])
}

/// A point of the photo, `X,Y`.
pub fn parse_point(text: &str) -> Result<PhotoPoint, String> {
    let numbers: Option<Vec<f64>> = text.split(',').map(|t| t.trim().parse().ok()).collect();
    match numbers.as_deref() {
        Some(&[x, y]) if x.is_finite() && y.is_finite() => Ok(PhotoPoint::new(x, y)),
        _ => {
            Err("write two numbers separated by a comma, with a point as decimal sign, such as 812.5,440"
                .into())
        }
    }
}

/// Splits `PART=...`.
pub fn parse_of_part<'a>(text: &'a str, example: &str) -> Result<(Part, &'a str), String> {
    let (word, rest) =
        text.split_once('=').ok_or_else(|| format!("begin with seat= or channel=, such as {example}"))?;
    let part = [Part::Seat, Part::Channel].into_iter().find(|part| part.as_str() == word);
    let part =
        part.ok_or_else(|| format!("'{word}' is neither seat nor channel; write, for example, {example}"))?;
    Ok((part, rest))
}

/// A point on an edge, `seat=X,Y`.
pub fn parse_hint(text: &str) -> Result<Hint, String> {
    let (part, point) = parse_of_part(text, "seat=812.5,440")?;
    Ok(Hint { part, pixel: parse_point(point)? })
}

/// A hidden stretch of an edge, `seat.left=FROM..TO`.
pub fn parse_hidden(text: &str) -> Result<HiddenStretch, String> {
    const EXAMPLE: &str = "such as seat.left=0.30..0.42";
    let of = || -> Option<(Part, Side, &str, &str)> {
        let (edge, range) = text.split_once('=')?;
        let (part, side) = edge.split_once('.')?;
        let part = [Part::Seat, Part::Channel].into_iter().find(|p| p.as_str() == part)?;
        let side = SIDES.into_iter().find(|s| s.as_str() == side)?;
        let (from, to) = range.split_once("..")?;
        Some((part, side, from, to))
    };
    let (part, side, from, to) = of().ok_or_else(|| format!("write an edge and two places, {EXAMPLE}"))?;
    let (from, to) = (parse_number(from)?, parse_number(to)?);
    if !(from < to) {
        return Err(format!("write the smaller place first, {EXAMPLE}"));
    }
    Ok(HiddenStretch { part, side, from, to })
}

/// A number with a point as decimal sign.
pub fn parse_number(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(number),
        _ if text.contains(',') => {
            let point = text.replace(',', ".");
            Err(format!("'{text}' has a decimal comma: write a point, {point}"))
        }
        _ => Err(format!("'{text}' is not a number")),
    }
}

/// Length of the card's bar, mm: within 10 % of what it should be.
pub fn parse_bar(text: &str) -> Result<f64, String> {
    let bar_mm = parse_length_mm(text)?;
    if is_bar(bar_mm) {
        Ok(bar_mm)
    } else {
        Err(format!("the bar is {BAR_MM:.0} mm long at true scale; give its length, such as 149.5mm"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decimal_comma_is_reported() {
        assert!(parse_number("200,5").unwrap_err().contains("200.5"));
    }

    #[test]
    fn words_may_be_capitalised() {
        assert_eq!([parse_paper("A4"), parse_paper("Letter")], [Ok(Paper::A4), Ok(Paper::Letter)]);
        assert!(parse_paper("a5").is_err());
    }

    #[test]
    fn valid_values_are_accepted() {
        assert_eq!(parse_bar("14.95cm"), Ok(149.5));
        assert_eq!(parse_number("-200.5"), Ok(-200.5));
    }
}
