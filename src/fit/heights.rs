//! Heights over the card as a fitter reads them: in any unit, upward from the card or downward from a straight-edge.

use serde::{Deserialize, Serialize};

use super::unit::parse_length_mm;
use crate::numeric::words::Part;

/// The least difference between the highest and the lowest place of a seat's edge, mm: 18 mm on the flattest saddle of the
/// tests, and ten times less where centimetres are taken for millimetres.
const FLATTEST_SEAT_MM: f64 = 11.0;
/// The same of a channel's edges: 13 mm on the flattest.
const FLATTEST_CHANNEL_MM: f64 = 5.0;
/// A stretch of the midline, over which every saddle rises and falls.
const LONG: f64 = 0.5;

/// A length as read from a ruler.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Reading {
    /// Millimetres.
    Mm(f64),
    /// As written, such as `4.4 cm` or `1 3/4 in`; without a unit in mm.
    Written(String),
}

impl From<f64> for Reading {
    fn from(mm: f64) -> Self {
        Self::Mm(mm)
    }
}

impl From<&str> for Reading {
    fn from(text: &str) -> Self {
        Self::Written(text.to_owned())
    }
}

impl Reading {
    fn mm(&self) -> Result<f64, String> {
        match self {
            Self::Mm(mm) => Ok(*mm),
            Self::Written(text) => parse_length_mm(text),
        }
    }

    fn has_unit(&self) -> bool {
        matches!(self, Self::Written(text) if text.contains(|c: char| c.is_alphabetic() || "\"″".contains(c)))
    }
}

/// Heights over the card, mm, by station. With a reading down from a straight-edge to the card, the others are readings down
/// from it to the edge.
///
/// # Errors
/// What is written wrong, or a question about heights that no saddle has.
pub fn heights_mm(
    part: Part,
    to_card: Option<&Reading>,
    rows: &[(f64, Reading)],
) -> Result<Vec<(f64, f64)>, String> {
    let card_mm = to_card.map(Reading::mm).transpose()?;
    let height = |mm: f64| card_mm.map_or(mm, |card_mm| card_mm - mm);
    let point = |(at, reading): &(f64, Reading)| Ok((*at, height(reading.mm()?)));
    let points: Vec<(f64, f64)> = rows.iter().map(point).collect::<Result<_, String>>()?;
    if !rows.iter().any(|(_, reading)| reading.has_unit()) {
        question_flat(part, &points)?;
    }
    Ok(points)
}

/// Asks about numbers without a unit that would make the saddle flat.
fn question_flat(part: Part, points: &[(f64, f64)]) -> Result<(), String> {
    let spread = |of: fn(&(f64, f64)) -> f64| {
        let all = points.iter().map(of);
        all.clone().fold(f64::MIN, f64::max) - all.fold(f64::MAX, f64::min)
    };
    let flattest_mm = if part == Part::Seat { FLATTEST_SEAT_MM } else { FLATTEST_CHANNEL_MM };
    if points.len() < 3 || spread(|p| p.0) < LONG || spread(|p| p.1) >= flattest_mm {
        return Ok(());
    }
    Err(format!(
        "these heights differ by {:.1} mm over the whole saddle, and no saddle is so flat: are they centimetres or inches? \
         write the unit, such as 4.4cm, 1 3/4in or 44mm",
        spread(|p| p.1)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(readings: [&str; 3]) -> Vec<(f64, Reading)> {
        [0.0, 0.5, 1.0].into_iter().zip(readings.map(Reading::from)).collect()
    }

    /// The straight-edge is 120 mm over the card and 76 mm over the front end, which is 44 mm over the card.
    #[test]
    fn readings_downward_are_subtracted() {
        let heights = heights_mm(Part::Seat, Some(&"12cm".into()), &rows(["76mm", "109", "5.2cm"]));
        assert_eq!(heights, Ok(vec![(0.0, 44.0), (0.5, 11.0), (1.0, 68.0)]));
    }

    #[test]
    fn centimetres_without_their_unit_are_questioned() {
        let heights = |readings| heights_mm(Part::Seat, None, &rows(readings));
        assert!(heights(["4.4", "1.1", "6.8"]).unwrap_err().contains("are they centimetres"));
        assert!(heights(["4.4", "1.1 cm", "6.8"]).is_ok());
    }
}
