//! Faults of a photo: each with what to do and what it costs.

use super::Reason;
use super::look::{CardLook, TagLoss};
use super::view::{PhotoView, good};
use crate::card::FoundCards;
use crate::card::unread::Obstacle;
use crate::photo::focal::FILM_DIAGONAL_MM;
use crate::photo::{Photo, PhotoNote};
use crate::refusal::{Refusal, RefusalCode};

/// Smaller costs are not mentioned, mm: the sheet is rounded to a tenth.
const LEAST_COST_MM: f64 = 0.1;
/// Beyond this blur, px, the card's edges fill the window in which they are measured, and its direction is unknown.
const DIRECTION_KNOWN_PX: f64 = 3.0;
/// Edges blurred this much more in one direction than in the other were moved, not out of focus: near the border of its picture
/// a lens reaches about one and a half.
const MOVED_RATIO: f64 = 1.6;
/// Paper below this linear level is dark: two thirds of the levels stay unused.
const DARK_WHITE: f64 = 0.12;
/// Lenses below this (in 35 mm terms) are wide-angle lenses beside the main one (common practice, no source), mm.
const WIDE_ANGLE_F35_MM: f64 = 20.0;
/// A bend of the card that is mentioned even where it costs little, mm: it can be seen and flattened.
const BEND_TO_MENTION_MM: f64 = 2.0;
/// A mean step of a JPEG's quantisation of brightness above this is heavy compression: that of quality 75 and below in
/// the tables of ITU-T T.81, annex K.
const COARSE_STEP: f64 = 29.0;

/// What makes a photo worse than it could be, the most expensive first.
pub fn reasons_of_loss(photo: &Photo, found: &FoundCards, view: &PhotoView, look: &CardLook) -> Vec<Reason> {
    let now = view.simulated_u95_mm();
    let cost = |other: Option<PhotoView>| {
        let gain = now? - other?.simulated_u95_mm()?;
        gain.is_finite().then_some(gain.max(0.0))
    };
    let mut all: Vec<Reason> = [
        oblique(view, cost(view.seen_from_above())),
        near(photo, view, &cost),
        small(photo, view, cost(view.enlarged(good::MM_PER_PX))),
        blurred(view, look, cost(Some(view.sharp()))),
        unclear(photo, look, cost(Some(view.clean()))),
        incomplete(found, look, cost(Some(view.whole_card()))),
        lens_unknown(photo, cost(Some(view.lens_known()))),
        bent(view, cost(Some(view.flat_card()))),
    ]
    .into_iter()
    .flatten()
    .collect();
    all.sort_by(|a, b| b.costs_mm.unwrap_or(0.0).total_cmp(&a.costs_mm.unwrap_or(0.0)));
    all
}

fn reason(code: &str, text: impl Into<String>, hint: &str, costs_mm: Option<f64>) -> Reason {
    Reason { code: code.into(), text: text.into(), hint: hint.into(), costs_mm }
}

/// A reason, unless its cost is too small to mention.
fn costly(code: &str, text: impl Into<String>, hint: &str, cost_mm: Option<f64>) -> Option<Reason> {
    cost_mm.filter(|c| *c >= LEAST_COST_MM).map(|_| reason(code, text, hint, cost_mm))
}

fn oblique(view: &PhotoView, cost: Option<f64>) -> Option<Reason> {
    let tilt = view.camera.pose.tilt_deg();
    let text = format!("alone, a photo from the side is less exact ({tilt:.0} degrees off straight above)");
    let hint = "take one from above and one from the other side as well, without moving saddle or card, and measure them \
                together";
    costly("too-oblique", text, hint, cost)
}

fn near(photo: &Photo, view: &PhotoView, cost: &dyn Fn(Option<PhotoView>) -> Option<f64>) -> Option<Reason> {
    let distance = view.distance_mm()?;
    let diagonal = (photo.width_px() as f64).hypot(photo.height_px() as f64);
    let f35_mm = view.camera.lens.focal_px / diagonal * FILM_DIAGONAL_MM;
    if distance >= good::DISTANCE_MM {
        return None;
    }
    let cost = cost(view.seen_from_afar(good::DISTANCE_MM));
    if f35_mm < WIDE_ANGLE_F35_MM {
        let hint = "use the phone's main camera (1x) and step back until saddle and card fill the picture";
        return costly("wide-angle", "the photo was taken with a wide-angle lens", hint, cost);
    }
    let text = format!("the phone was too near ({:.1} m): higher parts look too large", distance / 1000.0);
    let hint =
        "go as far away as practical, 1.5 m or more, and zoom in until saddle and card fill the picture";
    costly("too-near", text, hint, cost)
}

fn small(photo: &Photo, view: &PhotoView, cost: Option<f64>) -> Option<Reason> {
    let mm = view.mm_per_px()?;
    let resized = photo.history().iter().any(|n| matches!(n, PhotoNote::Resized { .. }));
    let long = photo.width_px().max(photo.height_px());
    if resized || long < FULL_SIZE_PX {
        let text = format!("the photo has few pixels ({} x {})", photo.width_px(), photo.height_px());
        let hint =
            "send the photo as a file, as the phone made it, not through a messenger, which makes it smaller";
        return costly("photo-small", text, hint, cost);
    }
    let text = format!("saddle and card are small in the photo (a pixel is {mm:.1} mm)");
    costly("card-small", text, "zoom in until saddle and card fill the picture", cost)
}

/// Phones take at least 8 megapixels, 3264 px on the long side (common practice, no source).
const FULL_SIZE_PX: usize = 3000;

fn blurred(view: &PhotoView, look: &CardLook, cost: Option<f64>) -> Option<Reason> {
    let blur = view.blur_px;
    if blur > DIRECTION_KNOWN_PX {
        let text =
            format!("the photo is blurred: out of focus, or the phone moved (edges over {blur:.1} px)");
        return costly(
            "blurred",
            text,
            "tap on the card to focus, prop the phone up, and use more light",
            cost,
        );
    }
    if look.blur_ratio > MOVED_RATIO {
        let text = format!("the phone moved during the exposure (edges blurred over {blur:.1} px)");
        return costly("moved", text, "prop the phone up or use its timer, and use more light", cost);
    }
    let text = format!("the photo is out of focus (edges blurred over {blur:.1} px)");
    costly("out-of-focus", text, "wipe the lens, tap on the card to focus, and hold still", cost)
}

fn unclear(photo: &Photo, look: &CardLook, cost: Option<f64>) -> Option<Reason> {
    let coarse = photo.quantisation_step().is_some_and(|step| step > COARSE_STEP);
    if look.white < DARK_WHITE {
        return costly("too-dark", "the photo is too dark", "use more light: by a window, or outdoors", cost);
    }
    if coarse {
        let hint = "send the photo as a file, as the phone made it, not through a messenger";
        return costly("compressed", "the photo is heavily compressed", hint, cost);
    }
    costly("noisy", "the photo is grainy or its contrast is low", "use more, and more even, light", cost)
}

fn incomplete(found: &FoundCards, look: &CardLook, cost: Option<f64>) -> Option<Reason> {
    let all = found.cards[0].pattern.tags.len();
    let [cut_off, glare, hidden] =
        [TagLoss::CutOff, TagLoss::Glare, TagLoss::Hidden].map(|why| look.missing_for(why));
    let of = |n: usize| format!("{n} of its {all} squares");
    let most = cut_off.max(glare).max(hidden);
    let (code, text, hint) = if most == 0 {
        return None;
    } else if most == cut_off {
        let text = format!("the card is cut off ({} lie outside the photo)", of(cut_off));
        ("card-cut-off", text, "take the whole card into the picture")
    } else if most == glare {
        let text = format!("light glares on the card ({} are burnt out)", of(glare));
        ("glare", text, "no flash; turn or move the card until it does not shine, or shade it")
    } else {
        let text = format!("part of the card cannot be read ({})", of(hidden));
        ("card-hidden", text, "nothing may lie on the card or shade it, and it must not shine")
    };
    // Mentioned whatever it costs, as the easiest fault to avoid.
    Some(reason(code, text, hint, cost))
}

fn lens_unknown(photo: &Photo, cost: Option<f64>) -> Option<Reason> {
    let note = |wanted: fn(&PhotoNote) -> bool| photo.history().iter().any(wanted);
    let hint = "send the photo as a file, as the phone made it, neither edited nor cropped";
    let (code, text) = if note(|n| matches!(n, PhotoNote::Cropped { .. })) {
        ("cropped", "the photo was cropped, so its lens is unknown")
    } else if note(|n| matches!(n, PhotoNote::StaleExif { .. })) {
        ("edited", "the photo was edited, so its lens is unknown")
    } else if note(|n| matches!(n, PhotoNote::DigitalZoom { .. })) {
        ("digital-zoom", "the camera zoomed digitally, so its lens is known less well")
    } else if photo.is_export_format() {
        ("screenshot", "a screenshot or an exported picture does not say which lens took it")
    } else {
        (
            "camera-data-missing",
            "the photo has lost its camera data, as in a messenger, so its lens is unknown",
        )
    };
    costly(code, text, hint, cost)
}

fn bent(view: &PhotoView, cost: Option<f64>) -> Option<Reason> {
    let cost = cost.filter(|c| *c >= LEAST_COST_MM || view.bend_mm >= BEND_TO_MENTION_MM)?;
    let text = format!("the card is bent by {:.1} mm", view.bend_mm);
    Some(reason("card-bent", text, "glue the card to something flat and stiff", Some(cost)))
}

/// A refusal as a reason.
pub fn plain(refusal: &Refusal) -> Reason {
    reason(&refusal.code.as_str(), refusal.text.clone(), &refusal.hint, None)
}

/// Why a photo cannot be measured: faults of the whole picture that explain the refusal, then the refusal itself.
pub fn reasons_of_refusal(photo: &Photo, refusal: &Refusal) -> Vec<Reason> {
    let mut all = vec![plain(refusal)];
    if matches!(refusal.code, RefusalCode::NoCard | RefusalCode::CardInconsistent | RefusalCode::CardBlurred)
    {
        let obstacle = Obstacle::of(photo);
        all.splice(0..0, obstacle.map(|o| reason(o.code(), o.text(), o.hint(), None)));
    }
    let long = photo.width_px().max(photo.height_px());
    if long < FULL_SIZE_PX / 2 {
        let text = format!("the photo has few pixels ({} x {})", photo.width_px(), photo.height_px());
        let hint = "send the photo as a file, as the phone made it";
        all.push(reason("photo-small", text, hint, None));
    }
    all
}
