//! What would decide an undecided verdict: the cause that weighs most, and what makes it smaller.

use super::quantity::{Cause, ErrorId, Quantity};
use super::verdict::{Conformity, Verdict};
use crate::width::influence::Influence;

/// What makes a cause of uncertainty smaller, as an order.
fn remedy(cause: Cause) -> &'static str {
    match cause {
        Cause::Photo(influence) => remedy_in_photo(influence),
        Cause::Ruler => "read the heights again, at the front end and at the narrowest place",
        Cause::SeatBones => "take the spacing of the seat bones again, as an imprint, twice",
        Cause::BonesStation => "see where on the saddle this rider's seat bones rest, and enter it",
        Cause::Finger => "measure the rider's own fingers and enter them",
        Cause::FallAway => {
            "feel where the seat begins to fall away beside the seat bones, measure from the outer edge, and enter it"
        }
        Cause::ByHand => "take that length on the saddle again, twice",
        Cause::Limit => "the limit itself is rough: the fitter's judgement decides",
        Cause::OtherLine => "look at the overlay, which shows both lines, and show the right one",
        Cause::FlatExtreme => {
            "the seat is about equally wide over a stretch there: look where the bones rest on it"
        }
        Cause::NotItemised => SECOND_PHOTO,
    }
}

const SECOND_PHOTO: &str = "measure from a second photo from another place, or with a caliper";

fn remedy_in_photo(influence: Influence) -> &'static str {
    match influence {
        Influence::Height => {
            "photograph it from the rider's left and right as well, or measure the heights of the edges with a ruler at more places"
        }
        Influence::TagCorners | Influence::CardBend | Influence::PrincipalPoint => {
            "lay a larger, flat card closer to the saddle and hold the phone still"
        }
        Influence::FocalLength | Influence::Distortion => {
            "calibrate the lens, or move the card closer and photograph from further away"
        }
        Influence::EdgeLocalisation | Influence::EdgeBloom => {
            "take a second, sharper photo in even light and measure that too"
        }
        Influence::CompetingBoundaries => {
            "look at the overlay where edges compete, and light that edge more evenly"
        }
        Influence::PipingDefinition => {
            "put a caliper across the piping there: a photo cannot show better where rounded piping ends"
        }
        Influence::PrintScale => "check the printed card with a steel ruler, and print it again if it is off",
        Influence::CardTilt => {
            "level card and saddle with a spirit level, and photograph from the rider's left and right"
        }
        Influence::SaddleRoll => {
            "turn the saddle on its stand until both sides are equally high, and photograph from the rider's left and right"
        }
        Influence::HiddenStretch => "clear the edge there, or light it more evenly, and photograph again",
        Influence::UnevenHalves => {
            "look at the overlay on both sides, and point out the two ends of the midline"
        }
        Influence::MidlineDirection | Influence::StationPosition => {
            "point out the two ends of the midline more carefully, or measure from the gullet's line on the saddle"
        }
        Influence::Other => SECOND_PHOTO,
    }
}

/// What decides, for the margin that is nearer to its limit; the conformity is judged again without that cause's part.
pub fn what_decides(margins: [Option<&Quantity>; 2], confidence: f64) -> Option<String> {
    let near = |m: &Quantity| (m.value / m.u()).abs();
    let margin = margins.into_iter().flatten().min_by(|a, b| near(a).total_cmp(&near(b)))?;
    let (cause, part) = *margin.lines().first()?;
    let rest = (margin.u().powi(2) - part * part).max(0.0).sqrt();
    let without = Quantity::exact(margin.value).with(ErrorId::new("rest", Cause::NotItemised), rest);
    let settled = Conformity::of(Some(&without), None).verdict(confidence) != Verdict::Undecided;
    let enough = if settled { "" } else { "; that alone may not be enough" };
    Some(format!("{}{enough} (least certain: {})", remedy(cause), cause.in_words()))
}
