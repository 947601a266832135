//! What would decide an undecided verdict: the line that weighs most, and what makes it smaller.

use super::quantity::{Quantity, line};
use super::verdict::{Conformity, Verdict};

/// What makes a line of the budget smaller, as an order.
pub fn remedy(from: &str) -> &'static str {
    match from {
        line::LIFT => {
            "measure the height of the edges over the card with a ruler at more places, or lay the card at their height"
        }
        line::CORNERS | line::BEND | line::PRINCIPAL => {
            "lay a larger, flat card closer to the saddle and hold the phone still"
        }
        line::FOCAL | line::DISTORTION => {
            "calibrate the lens, or move the card closer and photograph from further away"
        }
        line::EDGE | line::BLOOM => "take a second, sharper photo in even light and measure that too",
        line::COMPETING => "look at the overlay where edges compete, and light that edge more evenly",
        line::PIPING => {
            "put a caliper across the piping there: a photo cannot tell better where round piping ends"
        }
        line::PRINT => "check the printed card with a steel ruler and print it anew where it is off",
        line::LEVEL => "level card and saddle with a spirit level, and photograph from straight above",
        line::ROLL => {
            "turn the saddle on its stand until both sides are equally high, and photograph from straight above"
        }
        line::HIDDEN => {
            "take away what lies across the edge there, or light it more evenly, and photograph anew"
        }
        line::UNEVEN => "look at the overlay on both sides, and point out the two ends of the midline",
        line::DIRECTION
        | line::STATION
        | line::FRONT_END
        | line::REAR_END
        | line::FRONT_ALONG
        | line::REAR_ALONG => {
            "point out the two ends of the midline more carefully, or measure from the gullet's line on the saddle"
        }
        line::RULER => "read the heights anew, at the front end and at the narrowest place",
        line::SEAT_BONES => "take the spacing of the seat bones anew, as an imprint, twice",
        line::BONES_STATION => "see where on the saddle this rider's seat bones rest, and give their station",
        line::FINGER => "measure the rider's own fingers and give them in the rider file",
        line::LIMIT => "the limit itself is rough: the fitter's judgement decides",
        line::EXTREME => {
            "the seat is about equally wide over a stretch there: look where the bones rest on it"
        }
        _ => "measure from a second photo taken from another place, or with a caliper",
    }
}

/// What decides, for the margin that is nearer to its limit; the conformity is judged anew without that line's part.
pub fn what_decides(margins: [Option<&Quantity>; 2], confidence: f64) -> Option<String> {
    let near = |m: &Quantity| (m.value / m.u()).abs();
    let margin = margins.into_iter().flatten().min_by(|a, b| near(a).total_cmp(&near(b)))?;
    let lines = margin.lines();
    let (from, part) = lines.first()?;
    let share = 100.0 * (part / margin.u()).powi(2);
    let without = Quantity::exact(margin.value).with(
        line::WHOLE,
        super::quantity::Origin::new(0, "rest"),
        (margin.u().powi(2) - part * part).max(0.0).sqrt(),
    );
    let settled = Conformity::of(Some(&without), None).verdict(confidence) != Verdict::Undecided;
    let enough = if settled { "" } else { "; that alone may not be enough, so near is it to the limit" };
    Some(format!("{} ({from} makes {share:.0} % of the variance{enough})", remedy(from)))
}
