//! The sheet's machine words as a reader says them.

use crate::width::influence::line;

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
        line::PRINT => (
            "true size of the printed card",
            "measure the printed card with a steel ruler, and print it at 100 %",
        ),
        "focal length" | "distortion" | "principal point" => {
            return (format!("the lens: {from}"), "calibrate the camera and give its lens file with --lens");
        }
        "card bend" => ("a bend of the card", "glue the card to something flat and stiff"),
        "edge bloom" => ("light that spreads over an edge", "avoid bright light from behind the saddle"),
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

/// A text as a sentence: a capital at its beginning and a full stop at its end.
pub fn sentence(text: &str) -> String {
    let mut chars = text.trim().chars();
    let mut out: String = chars.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    out.extend(chars);
    if !out.is_empty() && !out.ends_with(['.', '!', '?']) {
        out.push('.');
    }
    out
}
