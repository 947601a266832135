//! The sheet's machine words as a reader says them.

use crate::camera::fit::line as lens;
use crate::sheet::{Card, ScaleSource};
use crate::width::influence::line;

/// At which scale a card was printed, where that was measured.
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

/// An influence of the budget: what it is, and what would make it smaller. A name this program does not know is said
/// as it stands.
pub fn influence(from: &str) -> (String, &'static str) {
    let (is, better) = match from {
        line::CORNERS => {
            ("the card’s place in the photo", "come nearer, in focus, with more light on the card")
        }
        line::LIFT => (
            "height of the edges (lift)",
            "measure the lift at more places, or lay the card at the height of the edges",
        ),
        line::EDGE => ("where the edge lies in the photo", "use more and more even light, and a plain floor"),
        line::PIPING => ("which point of a round piping is the edge", ""),
        line::COMPETING => {
            ("other lines that may be the edge", "see that no shadow or seam runs beside the edge")
        }
        line::DIRECTION => ("direction of the midline", "mark the two ends of the midline more exactly"),
        line::STATION => ("place along the midline", "mark the two ends of the midline more exactly"),
        line::LEVEL => (
            "how level the card lies with the saddle",
            "lay the card close to the saddle, level by a spirit level, and photograph from straight above",
        ),
        line::ROLL => (
            "how level the saddle stands",
            "turn the saddle on its stand until both sides are equally high, and photograph from straight above",
        ),
        line::PRINT => (
            "true size of the printed card",
            "measure the printed card with a steel ruler, and print it at 100 %",
        ),
        line::HIDDEN => (
            "what an untraced stretch may hide",
            "take away what lies across the edge, or light it more evenly",
        ),
        line::UNEVEN => {
            ("halves that differ more than a saddle’s", "look at both edges, and mark the two ends")
        }
        lens::FOCAL | lens::DISTORTION | lens::PRINCIPAL => {
            return (format!("the lens: {from}"), "calibrate the camera and give its lens file with --lens");
        }
        lens::BEND => ("a bend of the card", "glue the card to something flat and stiff"),
        lens::BLOOM => ("light that spreads over an edge", "avoid bright light from behind the saddle"),
        other => return (other.to_owned(), ""),
    };
    (is.to_owned(), better)
}

/// A named width as a reader says it.
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

/// A row of a comparison as a reader says it.
pub fn compared(of: &str) -> String {
    match of {
        "at(seat.widest)" => "Where it is widest (0 front, 1 rear)".into(),
        "taper" => "Front taper".into(),
        "panel_area" => "Area of the panels".into(),
        named => width(named),
    }
}

/// How a front taper of `deg` degrees with the expanded uncertainty `u95` runs.
pub fn taper(deg: f64, u95: f64) -> &'static str {
    match deg {
        deg if deg.abs() <= u95 => "neither widens nor narrows for sure",
        deg if deg > 0.0 => "widens toward the rear",
        _ => "narrows toward the rear",
    }
}

/// Figures that stay together where a line is broken: with their units, and with what stands before them.
pub fn unbroken(text: &str) -> String {
    const BEFORE: [&str; 5] = ["within: ", "± ", "> ", "< ", "\u{2212} "];
    const AFTER: [&str; 5] = [" ±", " mm", " %", " deg", " kPa"];
    BEFORE
        .iter()
        .chain(&AFTER)
        .fold(text.to_owned(), |text, part| text.replace(part, &part.replace(' ', "\u{a0}")))
}

/// Text from outside without control characters, which could drive the terminal.
pub fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect()
}

/// Text for a spreadsheet, which takes what begins like a formula for one; an apostrophe keeps it text.
pub fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

/// Figures with a minus sign where a hyphen stands for one: before a digit, and not within a word or a range.
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

/// A text of at most `most` characters; what is left out at its end is marked.
pub fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// A text with a capital at its beginning.
pub fn capitalised(text: &str) -> String {
    let mut chars = text.trim().chars();
    let first: String = chars.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    first + chars.as_str()
}

/// A text as a sentence: a capital at its beginning and a full stop at its end.
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
    fn a_taper_within_its_uncertainty_is_none_for_sure() {
        assert_eq!(taper(-1.8, 1.9), "neither widens nor narrows for sure");
        assert_eq!(
            [taper(3.0, 1.0), taper(-3.0, 1.0)],
            ["widens toward the rear", "narrows toward the rear"]
        );
    }
}
