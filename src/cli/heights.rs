//! Heights over the card on the command line: `seat=0:44mm,0.5:1.1cm`, or as read downward from a straight-edge.

use super::values::{parse_number, parse_of_part};
use crate::fit::heights::{Reading, heights_mm};
use crate::instruction::HEIGHTS_EXAMPLE;
use crate::numeric::words::Part;
use crate::outline::lift::LiftProfile;

/// Heights over the card, `PART=STATION:HEIGHT,...`. With `card:READING` as the first pair, heights are readings downward
/// from a straight-edge to the card and to the edge.
///
/// # Errors
/// What is written wrong, or a question about heights that no saddle has.
pub fn parse_heights(text: &str) -> Result<(Part, LiftProfile), String> {
    let (part, written) = parse_of_part(text, &format!("seat={HEIGHTS_EXAMPLE}"))?;
    if has_decimal_comma(written) {
        return Err(format!(
            "'{written}' has a decimal comma: write a point as decimal sign, such as {HEIGHTS_EXAMPLE}"
        ));
    }
    let invalid = || {
        format!(
            "'{written}' gives no heights: write place:height pairs from front to rear, such as {HEIGHTS_EXAMPLE}"
        )
    };
    let mut pairs: Vec<(&str, &str)> =
        written.split(',').map(|pair| pair.split_once(':')).collect::<Option<_>>().ok_or_else(invalid)?;
    let to_card = pairs.first().filter(|pair| pair.0 == "card").map(|pair| Reading::from(pair.1));
    pairs.drain(..usize::from(to_card.is_some()));
    let row = |(at, reading): &(&str, &str)| Ok((parse_number(at)?, Reading::from(*reading)));
    let rows: Vec<(f64, Reading)> = pairs.iter().map(row).collect::<Result<_, String>>()?;
    let points = heights_mm(part, to_card.as_ref(), &rows)?;
    Ok((part, LiftProfile::measured(points).ok_or_else(invalid)?))
}

/// A piece between commas without a colon is the fraction of a number with a decimal comma.
fn has_decimal_comma(profile: &str) -> bool {
    let is_number = |t: &str| t.trim().parse::<f64>().is_ok();
    let pieces: Vec<&str> = profile.split(',').collect();
    pieces.len() > 1
        && pieces.iter().any(|p| !p.contains(':') && is_number(p))
        && pieces.iter().all(|p| p.split(':').all(is_number))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(text: &str) -> Vec<(f64, f64)> {
        parse_heights(text).unwrap().1.points().to_vec()
    }

    #[test]
    fn heights_in_any_unit_are_the_same() {
        let mm = points("seat=0:44.45,0.5:11,1:68");
        for text in ["seat=0:44.45mm,0.5:1.1cm,1:6.8 cm", "seat=0:1 3/4in,0.5:11,1:68mm"] {
            for (a, b) in points(text).iter().zip(&mm) {
                assert!(a.0 == b.0 && (a.1 - b.1).abs() < 1e-9, "{text}");
            }
        }
    }

    /// The straight-edge is 120 mm over the card and 76 mm over the front end, which is 44 mm over the card.
    #[test]
    fn readings_downward_from_a_straight_edge_are_subtracted() {
        assert_eq!(points("seat=card:12cm,0:76mm,0.5:109,1:5.2cm"), [(0.0, 44.0), (0.5, 11.0), (1.0, 68.0)]);
    }

    #[test]
    fn centimetres_and_inches_without_a_unit_are_questioned() {
        for text in [
            "seat=0:4.4,0.25:2.6,0.5:1.1,0.75:3.1,1:6.8",
            "seat=0:1.7,0.5:0.4,1:2.7",
            "channel=0.1:0.5,0.6:2.5,0.9:0.6",
        ] {
            assert!(parse_heights(text).unwrap_err().contains("are they centimetres"), "{text}");
        }
        // Given with a unit, or too few for a judgement.
        for text in ["seat=0:4.4mm,0.5:1.1mm,1:6.8mm", "seat=0.5:4.4", "seat=0.5:20,0.6:22,0.7:24"] {
            assert!(parse_heights(text).is_ok(), "{text}");
        }
    }

    #[test]
    fn a_decimal_comma_is_reported() {
        for text in ["seat=0,5:60", "seat=0:60,5", "seat=0:60,0,35:20,1:70"] {
            let error = parse_heights(text).unwrap_err();
            assert!(error.contains("point as decimal sign"), "{text}: {error}");
        }
    }

    #[test]
    fn heights_out_of_order_or_of_another_planet_are_refused() {
        for text in
            ["seat=", "seat=0.5", "seat=0.5:20,0.2:30", "seat=0:900", "seat=0:2 fingers", "seat=card:12cm"]
        {
            assert!(parse_heights(text).is_err(), "{text}");
        }
    }
}
