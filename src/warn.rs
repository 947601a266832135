//! What the user should know about a result that stands all the same.

use crate::camera::placement::LensSource;
use crate::measure::{Request, Walk};
use crate::numeric::words::{Part, View};
use crate::outline::lift::{EXAMPLE, LiftProfile};
use crate::photo::{Photo, PhotoNote};
use crate::warning::{Warning, WarningCode};
use crate::width::joint::{Joint, ToldLift};
use crate::width::{COVERAGE, MeasuredWidth};

/// All warnings of a walk.
pub fn warnings(photo: &Photo, request: &Request, walk: &Walk) -> Vec<Warning> {
    let mut all = walk.found.warnings.clone();
    let lens_known = photo.focal_hint().is_some() || walk.lens_known == LensSource::File;
    all.extend(photo.history().iter().filter_map(|note| photo_warning(note, lens_known)));
    all.extend(lift_warning(request, walk.view));
    all.extend(no_channel_warning(request, walk.view));
    all.extend(sparse_lift_warning(walk));
    all.extend(lens_warning(walk));
    all.extend(bend_warning(walk));
    all.extend(distance_warning(walk));
    all.extend(untraced_warning(walk));
    all.extend(uneven_warning(request, walk));
    all
}

/// The photo's history is told as far as it bears on the result: damaged camera data does not when the focal length
/// could be read all the same, or a lens file was given.
fn photo_warning(note: &PhotoNote, lens_known: bool) -> Option<Warning> {
    let silent = match note {
        PhotoNote::NoExif => true,
        PhotoNote::CorruptExif { .. } => lens_known,
        _ => false,
    };
    (!silent).then(|| {
        Warning::new(
            note.code(),
            note.text(),
            "send the photo as the phone made it, neither edited nor cropped",
        )
    })
}

fn lift_warning(request: &Request, view: View) -> Option<Warning> {
    let missing: Vec<&str> = [
        (request.seat_lift.is_none()).then_some("seat"),
        (view == View::Underside && request.channel_lift.is_none()).then_some("channel"),
    ]
    .into_iter()
    .flatten()
    .collect();
    missing.first().map(|part| {
        Warning::new(
            WarningCode::LiftUnknown,
            format!(
                "how high the edges lie over the card is not known ({}): the widths are those in the card's plane, \
                 and the uncertainty allows for some centimetres",
                missing.join(" and ")
            ),
            format!("measure with a ruler and a straight-edge at five places and give --lift {part}={EXAMPLE}"),
        )
    })
}

/// What was said of the channel of a saddle that is seen from above.
fn no_channel_warning(request: &Request, view: View) -> Option<Warning> {
    let hinted = request.hints.iter().any(|h| h.part == Part::Channel);
    let hidden = request.hidden.iter().any(|h| h.part == Part::Channel);
    let said = hinted || hidden || request.channel_lift.is_some();
    (said && view == View::Top).then(|| {
        Warning::new(
            WarningCode::ChannelNotShown,
            "something was said of the channel, and this photo shows the saddle from above: it was not used",
            "say it of a photo of the saddle upside down, or give --view underside if this is one",
        )
    })
}

/// An edge that may lie a centimetre off the heights given, in 95 of 100 cases, costs a width a millimetre.
const SPARSE_U_MM: f64 = 5.0;

/// Heights that were measured too far from where a width is taken.
fn sparse_lift_warning(walk: &Walk) -> Option<Warning> {
    let off = |(name, width): &(&'static str, MeasuredWidth)| {
        let (part, lift) = match name.starts_with("seat") {
            true => ("seat", &walk.seat_lift),
            false => ("channel", &walk.channel_lift),
        };
        let known = lift.is_known().then(|| lift.bow_u_mm(width.station));
        known.filter(|u_mm| *u_mm > SPARSE_U_MM).map(|u_mm| (part, width.station, u_mm))
    };
    let worst = walk.widths.named.iter().filter_map(off).max_by(|a, b| a.2.total_cmp(&b.2));
    worst.map(|(part, station, u_mm)| {
        Warning::new(
            WarningCode::LiftSparse,
            format!(
                "no height of the {part}'s edges was given near {station:.2}, where they may lie {:.0} mm higher or lower: \
                 the width there carries that",
                COVERAGE * u_mm
            ),
            format!("measure at five places and give --lift {part}={EXAMPLE}"),
        )
    })
}

/// Photos that leave a lift more uncertain than this part of what is assumed without any have told little of it.
const POORLY: f64 = 0.5;

/// Whether a lift of this standard uncertainty was told poorly.
pub fn told_poorly(u_mm: f64) -> bool {
    u_mm > POORLY * LiftProfile::unknown().common_u_mm
}

/// Lifts that several photos told poorly, where nobody measured them.
pub fn poorly_told(request: &Request, joint: &Joint) -> Option<Warning> {
    let seat = request.seat_lift.is_none().then_some(("seat", &joint.seat_lift));
    let channel = joint.channel_lift.as_ref().filter(|_| request.channel_lift.is_none());
    let most = |(part, told): (&'static str, &ToldLift)| {
        let worst = told.u_mm.iter().copied().fold(0.0, f64::max);
        told_poorly(worst).then_some((part, worst))
    };
    let (part, u_mm) =
        [seat, channel.map(|told| ("channel", told))].into_iter().flatten().filter_map(most).next()?;
    Some(Warning::new(
        WarningCode::LiftPoorlyTold,
        format!(
            "in places the photos tell the height of the {part}'s edges only to ± {:.0} mm, and the widths there carry that",
            COVERAGE * u_mm
        ),
        format!(
            "take one photo from the saddle's left and one from its right, some thirty degrees from straight above, or \
             measure with a ruler and give --lift {part}={EXAMPLE}"
        ),
    ))
}

fn lens_warning(walk: &Walk) -> Option<Warning> {
    (walk.lens_known == LensSource::Assumed).then(|| {
        Warning::new(
            WarningCode::FocalLengthAssumed,
            "the photo does not say its focal length: it was assumed and then fitted to the card",
            "send the photo as the phone made it, or give a lens file with --lens",
        )
    })
}

/// A bend of this many standard uncertainties, and of this many mm, is one.
const BEND_IS_SEEN: f64 = 4.0;
const BEND_MATTERS_MM: f64 = 0.5;

fn bend_warning(walk: &Walk) -> Option<Warning> {
    let (bend, _) = walk
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

fn distance_warning(walk: &Walk) -> Option<Warning> {
    let card_mm = walk.found.cards[0].pattern.width_mm;
    let centre = (walk.midline.front_mm + walk.midline.rear_mm) / 2.0;
    let far = walk
        .fit
        .card_poses
        .iter()
        .map(|pose| {
            let first = &walk.fit.card_poses[0];
            let origin = first.rotation.inverse() * (pose.translation_mm - first.translation_mm);
            (origin.xy() - centre).norm()
        })
        .fold(f64::INFINITY, f64::min);
    (far > FAR_IN_CARD_WIDTHS * card_mm).then(|| {
        Warning::new(
            WarningCode::CardFarFromEdge,
            format!("the card lies {far:.0} mm from the middle of the saddle"),
            "lay the card close beside the saddle, or a second one on its other side",
        )
    })
}

fn untraced_warning(walk: &Walk) -> Vec<Warning> {
    let mut all = Vec::new();
    let list = |part: Part| -> Vec<String> {
        walk.widths
            .stations
            .iter()
            .filter(|(_, seat, channel)| match part {
                Part::Seat => seat.is_none(),
                Part::Channel => channel.is_none(),
            })
            .map(|(at, _, _)| format!("{at:.2}"))
            .collect()
    };
    let parts: &[Part] = if walk.view == View::Top { &[Part::Seat] } else { &[Part::Seat, Part::Channel] };
    for part in parts {
        let stations = list(*part);
        if !stations.is_empty() {
            let word = if stations.len() == 1 { "station" } else { "stations" };
            let (part, at) = (part.as_str(), stations.join(", "));
            all.push(Warning::new(
                WarningCode::StationsUntraced,
                format!("the {part}'s edges could not be traced at {word} {at}"),
                "look at the overlay: take away what lies across the edge, or light it more evenly",
            ));
        }
    }
    let missing = walk.widths.missing(walk.view);
    if !missing.is_empty() {
        all.push(Warning::new(
            WarningCode::WidthsMissing,
            format!("not measured: {}", missing.join(", ")),
            "look at the overlay for where the edge was lost and photograph again",
        ));
    }
    all
}

/// Halves that differ by more than this deserve a look at the overlay, mm.
const UNEVEN_MM: f64 = 3.0;

/// An unknown lift shifts both edges to one side, so it says nothing of the halves.
fn uneven_warning(request: &Request, walk: &Walk) -> Option<Warning> {
    let known = |name: &str| match name.starts_with(Part::Channel.as_str()) {
        true => request.channel_lift.is_some(),
        false => request.seat_lift.is_some(),
    };
    let named = walk.widths.named.iter().filter(|(name, _)| known(name));
    let differences = named.map(|(name, w)| (*name, w.halves_mm[0] - w.halves_mm[1]));
    let (name, difference) = differences.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let wider = if difference > 0.0 { "left" } else { "right" };
    (difference.abs() > UNEVEN_MM).then(|| {
        Warning::new(
            WarningCode::HalvesDiffer,
            format!("at {name} the {wider} half is {:.1} mm wider than the other", difference.abs()),
            "look at the overlay: the saddle is uneven, the midline lies beside its middle, or one side was traced along a seam or shadow",
        )
    })
}
