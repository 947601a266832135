//! The sheet's codes in the reader's words.

use crate::sheet::{Card, ScaleSource};
use crate::width::influence::Influence;

/// The scale at which a card was printed, where it was measured.
pub fn printed_at(card: &Card) -> String {
    let by = match card.print_scale_by {
        Some(ScaleSource::BankCard) => " by the bank card in its frame",
        Some(ScaleSource::Bar) => " by its bar",
        Some(ScaleSource::Printer) => return String::new(),
        None if card.print_scale == 1.0 => return String::new(),
        None => "",
    };
    let u95 = card.print_scale_u.map_or(String::new(), |u| format!(" ± {:.2}", 200.0 * u));
    format!(", printed at {:.2}{u95} %{by}", 100.0 * card.print_scale)
}

/// What would make an influence smaller, as an order; empty where nothing does.
pub fn better(influence: Influence) -> &'static str {
    match influence {
        Influence::TagCorners => "fill the photo with saddle and card, sharp and in good light",
        Influence::Height => "measure the heights at more places, or lay the card at the height of the edges",
        Influence::EdgeLocalisation => "use more and softer light, and a plain floor",
        Influence::CompetingBoundaries => "avoid shadows beside the edge, and cover what looks like an edge",
        Influence::MidlineDirection | Influence::StationPosition => {
            "mark the two ends of the midline more precisely"
        }
        Influence::CardTilt => {
            "level the card with a spirit level, close to the saddle, and photograph from straight above"
        }
        Influence::SaddleRoll => {
            "turn the saddle on its stand until both sides are at one height, and photograph from straight above"
        }
        Influence::PrintScale => "print the card at 100 %, and measure its bar with a steel ruler",
        Influence::HiddenStretch => "remove what covers the edge, or light it more evenly",
        Influence::UnevenHalves => "check both edges, and mark the ends of the midline",
        Influence::FocalLength | Influence::Distortion | Influence::PrincipalPoint => {
            "calibrate the camera and give its lens file with --lens"
        }
        Influence::CardBend => "glue the card to something flat and stiff",
        Influence::EdgeBloom => "avoid bright light behind the saddle",
        Influence::PipingDefinition | Influence::Other => "",
    }
}

/// A named width.
pub fn width(name: &str) -> String {
    match name {
        "seat.widest" => "Seat at its widest".into(),
        "seat.waist" => "Seat at its waist".into(),
        "channel.front" => "Channel, front".into(),
        "channel.middle" => "Channel, middle".into(),
        "channel.rear" => "Channel, rear".into(),
        "channel.narrowest" => "Channel at its narrowest".into(),
        other => other.replace('.', " "),
    }
}

/// A row of a comparison.
pub fn compared(of: &str) -> String {
    match of {
        "at(seat.widest)" => "Where it is widest (0 front, 1 rear)".into(),
        "taper" => "Front taper".into(),
        "panel_area" => "Area of the panels".into(),
        named => width(named),
    }
}

/// The direction of a front taper of `deg` degrees with the expanded uncertainty `u95`.
pub fn taper(deg: f64, u95: f64) -> &'static str {
    match deg {
        deg if deg.abs() <= u95 => "no clear taper",
        deg if deg > 0.0 => "widens toward the rear",
        _ => "narrows toward the rear",
    }
}

/// The text with no-break spaces between figures and their units and signs.
pub fn unbroken(text: &str) -> String {
    const BEFORE: [&str; 5] = ["within: ", "± ", "> ", "< ", "\u{2212} "];
    const AFTER: [&str; 5] = [" ±", " mm", " %", " deg", " kPa"];
    BEFORE
        .iter()
        .chain(&AFTER)
        .fold(text.to_owned(), |text, part| text.replace(part, &part.replace(' ', "\u{a0}")))
}

/// Text without control characters, which could control the terminal.
pub fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}

/// Text for a spreadsheet, with an apostrophe before what looks like a formula.
pub fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

/// The text with minus signs for hyphens before digits, but not within words and ranges.
pub fn with_minus(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut before = ' ';
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        let figure = chars.peek().is_some_and(char::is_ascii_digit);
        out.push(if c == '-' && figure && !before.is_alphanumeric() { '−' } else { c });
        before = c;
    }
    out
}

/// At most `most` characters of a text, with an ellipsis where it was cut.
pub fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// A text with a capital at the beginning.
pub fn capitalised(text: &str) -> String {
    let mut chars = text.trim().chars();
    let first: String = chars.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    first + chars.as_str()
}

/// A text with a capital at the beginning and a full stop at the end.
pub fn sentence(text: &str) -> String {
    let mut out = capitalised(text);
    if !out.is_empty() && !out.ends_with(['.', '!', '?']) {
        out.push('.');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hyphen_before_a_figure_becomes_a_minus_and_no_other() {
        assert_eq!(
            with_minus("at least -20.0 mm; 2026-05-02, well-lit, -x"),
            "at least −20.0 mm; 2026-05-02, well-lit, -x"
        );
    }

    #[test]
    fn a_figure_stays_with_its_unit() {
        assert_eq!(
            unbroken("63.2 ± 1.6 mm; within: < 0.1 %"),
            "63.2\u{a0}±\u{a0}1.6\u{a0}mm; within:\u{a0}<\u{a0}0.1\u{a0}%"
        );
    }

    #[test]
    fn a_formula_becomes_text() {
        assert_eq!([harmless("=1+1"), harmless("@x"), harmless("a=1")], ["'=1+1", "'@x", "a=1"]);
    }

    #[test]
    fn a_taper_within_its_uncertainty_has_no_direction() {
        assert_eq!(taper(-1.8, 1.9), "no clear taper");
        assert_eq!(
            [taper(3.0, 1.0), taper(-3.0, 1.0)],
            ["widens toward the rear", "narrows toward the rear"]
        );
    }
}
