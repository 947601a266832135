//! What the user should know about a valid result.

use super::{Found, doubts};
use crate::camera::placement::LensSource;
use crate::instruction::{GIVE_LENS, GIVE_UNDERSIDE, LOOK_AT_OVERLAY, give_heights, show_edge};
use crate::numeric::words::{NamedWidth, Part, View};
use crate::outline::lift::LiftProfile;
use crate::photo::PhotoNote;
use crate::pipeline::{Located, Measured, Request, Traced};
use crate::sheet;
use crate::together::LeftOut;
use crate::warning::{Warning, WarningCode};
use crate::width::influence::Influence;
use crate::width::joint::{EstimatedLift, Joint};
use crate::width::{COVERAGE, MeasuredWidth};

/// All warnings about one photo.
pub fn all(found: &Found, request: &Request) -> Vec<Warning> {
    let mut all = found.cards.map_or_else(Vec::new, |cards| cards.warnings.clone());
    let lens_known = found.photo.focal_hint().is_some() || request.lens.prior.is_some();
    all.extend(found.photo.history().iter().filter_map(|note| history(note, lens_known)));
    let (located, traced) = (found.located, found.traced);
    let measured = found.trusted();
    all.extend(measured.and_then(level_decides));
    all.extend(traced.and_then(|t| lift_unknown(found, request, t.view)));
    all.extend(traced.and_then(|t| channel_not_shown(request, t.view)));
    all.extend(measured.and_then(lift_sparse));
    all.extend(located.and_then(focal_length_assumed));
    all.extend(located.and_then(card_bent));
    all.extend(traced.and_then(card_far));
    all.extend(measured.map(untraced).unwrap_or_default());
    all.extend(measured.and_then(widths_missing));
    all.extend(found.single().map(which_line).unwrap_or_default());
    all.extend(measured.and_then(|m| halves_differ(found, request, m)));
    all.extend(request.lens.warning.clone());
    all
}

/// Lines that may be the edge instead, one warning each.
fn which_line(measured: &Measured) -> Vec<Warning> {
    let warning = |line: sheet::RivalRecord| {
        let part = line.part;
        let edge = match line.side {
            Some(side) => format!("the {part}'s {} edge", side.as_str()),
            None => format!("both edges of the {part}"),
        };
        let width = |w: &sheet::RivalWidth| format!("{} would be {:.0} mm", w.name, w.mm);
        let widths: Vec<String> = line.widths.iter().map(width).collect();
        let (away, mm) =
            (if line.offset_mm > 0.0 { "further out" } else { "further in" }, line.offset_mm.abs());
        Warning::new(
            WarningCode::WhichLine,
            format!(
                "{edge} may be another line between stations {:.2} and {:.2}, {mm:.0} mm {away}: {}",
                line.from,
                line.to,
                widths.join(", ")
            ),
            format!(
                "{LOOK_AT_OVERLAY}, which shows both lines; if the other one is the edge, {}",
                show_edge(part)
            ),
        )
    };
    doubts::rivals(measured).into_iter().map(warning).collect()
}

/// Damaged camera data matters only when the focal length is not known otherwise.
fn history(note: &PhotoNote, lens_known: bool) -> Option<Warning> {
    let silent = match note {
        PhotoNote::NoExif => true,
        PhotoNote::CorruptExif { .. } => lens_known,
        _ => false,
    };
    let hint = "send the photo as the phone made it, neither edited nor cropped";
    (!silent).then(|| Warning::new(note.code(), note.text(), hint))
}

fn lift_unknown(found: &Found, request: &Request, view: View) -> Option<Warning> {
    let shown: &[Part] = if view == View::Top { &[Part::Seat] } else { &[Part::Seat, Part::Channel] };
    let unknown = shown.iter().filter(|part| !found.knows_lift(request, **part));
    let missing: Vec<Part> = unknown.copied().collect();
    missing.first().map(|part| {
        Warning::new(
            WarningCode::LiftUnknown,
            format!(
                "the height of the edges over the card is not known ({}): the widths hold in the card's plane, and the \
                 uncertainty allows for some centimetres",
                missing.iter().map(|part| part.as_str()).collect::<Vec<_>>().join(" and ")
            ),
            format!(
                "measure it together with photos from the rider's left and right, or measure with a ruler and a straight-edge \
                 at five places and {}",
                give_heights(*part)
            ),
        )
    })
}

/// From this part of a width's variance on, how level card and saddle are decides its uncertainty.
const LEVEL_DECIDES: f64 = 0.5;

/// A width whose uncertainty is mostly how level card and saddle are with each other.
fn level_decides(measured: &Measured) -> Option<Warning> {
    let share = |(name, width): &(NamedWidth, MeasuredWidth)| {
        let level =
            width.budget.u_from(Influence::CardTilt).hypot(width.budget.u_from(Influence::SaddleRoll));
        (*name, (level / width.budget.u()).powi(2))
    };
    let shares = measured.widths.named.iter().map(share);
    let (name, share) =
        shares.max_by(|a, b| a.1.total_cmp(&b.1)).filter(|(_, share)| *share > LEVEL_DECIDES)?;
    Some(Warning::new(
        WarningCode::LevelDecides,
        format!(
            "the uncertainty of {name} is mostly ({:.0} %) how level card and saddle are with each other, which was assumed",
            100.0 * share
        ),
        "take one photo from the saddle's left and one from its right, or lay a second card on its other side",
    ))
}

fn channel_not_shown(request: &Request, view: View) -> Option<Warning> {
    let given = request.hints.iter().any(|h| h.part == Part::Channel)
        || request.hidden.iter().any(|h| h.part == Part::Channel)
        || request.channel_lift.is_some();
    (given && view == View::Top).then(|| {
        Warning::new(
            WarningCode::ChannelNotShown,
            "what was given for the channel was not used: this photo shows the saddle from above",
            format!("give it for a photo of the saddle upside down, or {GIVE_UNDERSIDE} if this is one"),
        )
    })
}

/// An edge that may lie a centimetre (95 %) off the heights given costs a width a millimetre.
const SPARSE_U_MM: f64 = 5.0;

/// Heights measured too far from a width.
fn lift_sparse(measured: &Measured) -> Option<Warning> {
    let off = |(name, width): &(NamedWidth, MeasuredWidth)| {
        let part = name.part();
        let lift = measured.traced.lift(part);
        let known = lift.is_known().then(|| lift.bow_u_mm(width.station));
        known.filter(|u_mm| *u_mm > SPARSE_U_MM).map(|u_mm| (part, width.station, u_mm))
    };
    let worst = measured.widths.named.iter().filter_map(off).max_by(|a, b| a.2.total_cmp(&b.2));
    worst.map(|(part, station, u_mm)| {
        Warning::new(
            WarningCode::LiftSparse,
            format!(
                "no height of the {part}'s edges was given near {station:.2}: they may lie {:.0} mm higher or lower, which \
                 the uncertainty of the width there includes",
                COVERAGE * u_mm
            ),
            format!("measure at five places and {}", give_heights(part)),
        )
    })
}

/// Photos that leave a height more uncertain than this part of what is assumed without any have hardly determined it.
const POORLY: f64 = 0.5;

/// Whether photos have hardly determined a height of this standard uncertainty.
pub fn is_poorly_known(u_mm: f64) -> bool {
    u_mm > POORLY * LiftProfile::unknown().common_u_mm
}

/// Heights that nobody measured and that several photos hardly determine.
pub fn lift_poorly_known(request: &Request, joint: &Joint) -> Option<Warning> {
    let seat = request.seat_lift.is_none().then_some((Part::Seat, &joint.seat_lift));
    let channel = joint.channel_lift.as_ref().filter(|_| request.channel_lift.is_none());
    let most = |(part, lift): (Part, &EstimatedLift)| {
        let worst = lift.u_mm.iter().copied().fold(0.0, f64::max);
        is_poorly_known(worst).then_some((part, worst))
    };
    let (part, u_mm) =
        [seat, channel.map(|lift| (Part::Channel, lift))].into_iter().flatten().filter_map(most).next()?;
    Some(Warning::new(
        WarningCode::LiftPoorlyKnown,
        format!(
            "in places the photos give the height of the {part}'s edges only to ± {:.0} mm, which the uncertainty of the \
             widths there includes",
            COVERAGE * u_mm
        ),
        format!(
            "take one photo from the saddle's left and one from its right, some 25 degrees from straight above, or \
             measure with a ruler and {}",
            give_heights(part)
        ),
    ))
}

/// A photo of a set that was not used.
pub fn left_out(photo: &LeftOut) -> Warning {
    let LeftOut { file, refusal, .. } = photo;
    Warning::new(
        WarningCode::PhotoLeftOut,
        format!("{file} was left out: {}", refusal.text),
        refusal.hint.clone(),
    )
}

/// Corrections of a photo other than the first, whose points the sheet does not keep.
pub fn corrected((photo, request): (usize, &Request)) -> Option<Warning> {
    let many = |n: usize, one, more| (n > 0).then(|| format!("{n} {}", if n == 1 { one } else { more }));
    let corrections = [
        request.ends.map(|_| "the midline's ends".to_owned()),
        many(request.hints.len(), "point of an edge", "points of edges"),
        many(request.hidden.len(), "hidden stretch", "hidden stretches"),
    ];
    let corrections: Vec<String> = corrections.into_iter().flatten().collect();
    (!corrections.is_empty()).then(|| {
        let text = format!("corrected by hand: {}", corrections.join(", "));
        let hint = "look at the lines drawn in that photo";
        Warning::new(WarningCode::CorrectedInAnotherPhoto, text, hint).in_photo(photo)
    })
}

fn focal_length_assumed(located: &Located) -> Option<Warning> {
    (located.lens_source == LensSource::Assumed).then(|| {
        Warning::new(
            WarningCode::FocalLengthAssumed,
            "the photo does not say its focal length: a usual one was assumed and fitted to the card",
            format!("send the photo as the phone made it, or {GIVE_LENS}"),
        )
    })
}

/// A bend of this many standard uncertainties, and of this many mm, is one.
const BEND_IS_SEEN: f64 = 4.0;
const BEND_MATTERS_MM: f64 = 0.5;

fn card_bent(located: &Located) -> Option<Warning> {
    let (bend, _) = located
        .fit
        .bend_mm(0)
        .into_iter()
        .filter(|(b, u)| b.abs() > BEND_IS_SEEN * u && b.abs() > BEND_MATTERS_MM)
        .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
    Some(Warning::new(
        WarningCode::CardBent,
        format!("the card looks bent by {:.1} mm; this was allowed for", bend.abs()),
        "glue the card to something flat and stiff",
    ))
}

/// Edges further from the card than this many of its widths are measured by extrapolation.
const FAR_IN_CARD_WIDTHS: f64 = 2.5;

fn card_far(traced: &Traced) -> Option<Warning> {
    let Located { found, fit, .. } = &traced.located;
    let centre = (traced.midline.front_mm + traced.midline.rear_mm) / 2.0;
    let first = &fit.card_poses[0];
    let distance_mm = |pose: &crate::camera::pose::CameraPose| {
        let origin = first.rotation.inverse() * (pose.translation_mm - first.translation_mm);
        (origin.xy() - centre).norm()
    };
    let nearest_mm = fit.card_poses.iter().map(distance_mm).fold(f64::INFINITY, f64::min);
    (nearest_mm > FAR_IN_CARD_WIDTHS * found.cards[0].pattern.width_mm).then(|| {
        Warning::new(
            WarningCode::CardFarFromEdge,
            format!("the card is {nearest_mm:.0} mm from the middle of the saddle"),
            "lay the card close beside the saddle, or a second one on its other side",
        )
    })
}

fn untraced(measured: &Measured) -> Vec<Warning> {
    let stations = &measured.widths.stations;
    let seat: Vec<f64> = stations.iter().filter(|(_, seat, _)| seat.is_none()).map(|s| s.0).collect();
    let channel: Vec<f64> = match measured.traced.view {
        View::Top => Vec::new(),
        View::Underside => stations.iter().filter(|(.., channel)| channel.is_none()).map(|s| s.0).collect(),
    };
    let warning = |(part, at): (Part, Vec<f64>)| {
        let word = if at.len() == 1 { "station" } else { "stations" };
        let at: Vec<String> = at.iter().map(|at| format!("{at:.2}")).collect();
        Warning::new(
            WarningCode::StationsUntraced,
            format!("the {}'s edges could not be traced at {word} {}", part.as_str(), at.join(", ")),
            format!("{LOOK_AT_OVERLAY}: remove what covers the edge, or light it more evenly"),
        )
    };
    let parts = [(Part::Seat, seat), (Part::Channel, channel)].into_iter();
    parts.filter(|(_, at)| !at.is_empty()).map(warning).collect()
}

fn widths_missing(measured: &Measured) -> Option<Warning> {
    let missing = measured.widths.missing(measured.traced.view);
    (!missing.is_empty()).then(|| {
        Warning::new(
            WarningCode::WidthsMissing,
            format!(
                "not measured: {}",
                missing.iter().map(|name| name.as_str()).collect::<Vec<_>>().join(", ")
            ),
            format!("{LOOK_AT_OVERLAY} for where the edge was lost and photograph again"),
        )
    })
}

/// Halves that differ by more than this deserve a look at the overlay, mm.
const UNEVEN_MM: f64 = 3.0;

/// An unknown height shifts both edges to one side, so only known ones say anything about the halves.
fn halves_differ(found: &Found, request: &Request, measured: &Measured) -> Option<Warning> {
    let named = measured.widths.named.iter();
    let known = named.filter(|(name, _)| found.knows_lift(request, name.part()));
    let differences = known.map(|(name, w)| (*name, w.halves_mm.difference()));
    let (name, difference) = differences.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let wider = if difference > 0.0 { "left" } else { "right" };
    (difference.abs() > UNEVEN_MM).then(|| {
        Warning::new(
            WarningCode::HalvesDiffer,
            format!("at {name} the {wider} half is {:.1} mm wider than the other", difference.abs()),
            format!(
                "{LOOK_AT_OVERLAY}: the saddle is uneven, the midline is beside its middle, or one side was traced along a seam \
                 or shadow"
            ),
        )
    })
}
