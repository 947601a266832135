//! The sheet's codes in the reader's words.

use crate::numeric::words::{NamedWidth, View};
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
        Influence::Height => {
            "photograph from the rider's left and right, or lay the card at the height of the edges"
        }
        Influence::EdgeLocalisation => "use more and softer light, and a plain floor",
        Influence::CompetingBoundaries => "avoid shadows beside the edge, and cover what looks like an edge",
        Influence::MidlineDirection | Influence::StationPosition => {
            "mark the two ends of the midline more precisely"
        }
        Influence::CardTilt => {
            "level the card with a spirit level, close to the saddle, and photograph from the rider's left and right"
        }
        Influence::SaddleRoll => {
            "turn the saddle on its stand until both sides are at one height, and photograph from the rider's left and right"
        }
        Influence::PrintScale => "print the card at 100 %, and measure its bar with a steel ruler",
        Influence::HiddenStretch => "remove what covers the edge, or light it more evenly",
        Influence::UnevenHalves => "check both edges, and mark the ends of the midline",
        Influence::FocalLength | Influence::Distortion | Influence::PrincipalPoint => {
            "calibrate the camera and measure with its lens file"
        }
        Influence::CardBend => "glue the card to something flat and stiff",
        Influence::EdgeBloom => "avoid bright light behind the saddle",
        Influence::PipingDefinition | Influence::Other => "",
    }
}

/// From where a saddle is seen.
pub fn seen(view: View) -> &'static str {
    match view {
        View::Top => "from above",
        View::Underside => "from below",
    }
}

/// A named width as a view shows it: the outer line seen from below is that of the panels, not of the seat.
pub fn width(view: Option<View>, name: NamedWidth) -> &'static str {
    let below = view == Some(View::Underside);
    match name {
        NamedWidth::SeatWidest if below => "Panels, outside, at their widest",
        NamedWidth::SeatWaist if below => "Panels, outside, at the waist",
        NamedWidth::SeatWidest => "Seat at its widest",
        NamedWidth::SeatWaist => "Seat at its waist",
        NamedWidth::ChannelFront => "Channel, front",
        NamedWidth::ChannelMiddle => "Channel, middle",
        NamedWidth::ChannelRear => "Channel, rear",
        NamedWidth::ChannelNarrowest => "Channel at its narrowest",
    }
}

/// The outer line of a view.
pub fn outer_line(view: View) -> &'static str {
    match view {
        View::Top => "edge of the seat",
        View::Underside => "outer edge of the panels",
    }
}

/// A named width as the terminal and spreadsheets call it.
pub fn code(view: Option<View>, name: NamedWidth) -> &'static str {
    match (view, name) {
        (Some(View::Underside), NamedWidth::SeatWidest) => "panels.widest",
        (Some(View::Underside), NamedWidth::SeatWaist) => "panels.waist",
        _ => name.as_str(),
    }
}

/// A row of a comparison.
pub fn compared(of: &str) -> String {
    match of {
        "at(seat.widest)" => "Where it is widest (0 front, 1 rear)".into(),
        "taper" => "Front taper".into(),
        "panel_area" => "Area of the panels".into(),
        named => named.parse().map_or_else(|_| named.into(), |name| width(None, name).into()),
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

/// A probability as people say it.
pub fn likely(p: f64) -> &'static str {
    const SAYINGS: [(f64, &str); 19] = [
        (0.0, "almost certainly not"),
        (1.0 / 50.0, "about 1 in 50"),
        (1.0 / 20.0, "about 1 in 20"),
        (1.0 / 10.0, "about 1 in 10"),
        (1.0 / 6.0, "about 1 in 6"),
        (1.0 / 5.0, "about 1 in 5"),
        (1.0 / 4.0, "about 1 in 4"),
        (1.0 / 3.0, "about 1 in 3"),
        (2.0 / 5.0, "about 2 in 5"),
        (1.0 / 2.0, "about even"),
        (3.0 / 5.0, "about 3 in 5"),
        (2.0 / 3.0, "about 2 in 3"),
        (3.0 / 4.0, "about 3 in 4"),
        (4.0 / 5.0, "about 4 in 5"),
        (5.0 / 6.0, "about 5 in 6"),
        (9.0 / 10.0, "about 9 in 10"),
        (19.0 / 20.0, "about 19 in 20"),
        (49.0 / 50.0, "about 49 in 50"),
        (1.0, "almost certainly"),
    ];
    let nearest = SAYINGS.iter().min_by(|a, b| (a.0 - p).abs().total_cmp(&(b.0 - p).abs()));
    nearest.map_or("", |saying| saying.1)
}

/// The text with no-break spaces between figures and their units and signs.
pub fn unbroken(text: &str) -> String {
    const BEFORE: [&str; 2] = ["± ", "\u{2212} "];
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
            unbroken("63.2 ± 1.6 mm; at least 80.0 mm"),
            "63.2\u{a0}±\u{a0}1.6\u{a0}mm; at least 80.0\u{a0}mm"
        );
    }

    #[test]
    fn a_probability_is_said_in_words() {
        assert_eq!(likely(0.17), "about 1 in 6");
        assert_eq!(
            [likely(0.0), likely(0.52), likely(0.999)],
            ["almost certainly not", "about even", "almost certainly"]
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
