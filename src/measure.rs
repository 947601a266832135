//! The walk: one photo to its widths, a line a room.

use crate::camera::fit::{CameraFit, LensPrior};
use crate::camera::placement::{LensSource, camera_over_cards, lens_prior};
use crate::camera::print_scale::{PrintScale, ScaleBy, print_scale};
use crate::card::{FoundCards, find_cards};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Side, View};
use crate::outline::channel::trace_channel;
use crate::outline::find::{FoundSaddle, Surroundings, find_saddle, trace_near, view_between};
use crate::outline::hint::Hint;
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;
use crate::outline::{GIVEN_END_TOLERANCE_MM, HiddenStretch, Outline, trace_seat};
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use crate::width::{GIVEN_END_U_MM, Subject, Widths, measure_widths};

/// What the user says about a photo.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// Name of the saddle.
    pub name: String,
    /// How the saddle is seen; found where not given.
    pub view: Option<View>,
    /// Front and rear end of the seat form, in the photo; found where not given.
    pub ends: Option<[PhotoPoint; 2]>,
    /// Points that are known to lie on an edge.
    pub hints: Vec<Hint>,
    /// Stretches of edges that something hides: nothing traced there counts.
    pub hidden: Vec<HiddenStretch>,
    /// Front and rear end as an earlier walk of this photo has found them: with a view given and no ends, the saddle is
    /// traced there anew and not looked for.
    pub near: Option<[PhotoPoint; 2]>,
    /// Lift of the seat's edges.
    pub seat_lift: Option<LiftProfile>,
    /// Lift of the channel's edges.
    pub channel_lift: Option<LiftProfile>,
    /// A calibrated lens, scaled to the photo.
    pub lens: Option<LensPrior>,
    /// What tells at which scale the cards were printed.
    pub scale_by: ScaleBy,
}

/// Everything that the walk found, for the sheet and for drawing.
#[derive(Debug, Clone)]
pub struct Walk {
    /// The cards.
    pub found: FoundCards,
    /// The scale at which they were printed.
    pub print_scale: PrintScale,
    /// The camera.
    pub fit: CameraFit,
    /// Where the focal length came from.
    pub lens_known: LensSource,
    /// How the saddle is seen.
    pub view: View,
    /// Points that were known to lie on an edge.
    pub hints: Vec<Hint>,
    /// The midline.
    pub midline: Midline,
    /// The traced edges.
    pub outline: Outline,
    /// Lift of the seat's edges as used.
    pub seat_lift: LiftProfile,
    /// Lift of the channel's edges as used.
    pub channel_lift: LiftProfile,
    /// The widths.
    pub widths: Widths,
}

impl Walk {
    /// The midline's ends in the photo, each at its own lift.
    pub fn midline_ends_px(&self) -> Option<[PhotoPoint; 2]> {
        let end = |station: f64| {
            let at = self.midline.point(station, 0.0, Side::Left, self.seat_lift.at_mm(station));
            self.fit.camera.photo_from_card(at)
        };
        Some([end(0.0)?, end(1.0)?])
    }
}

/// The rooms in order.
///
/// # Errors
/// The refusal of the first room that cannot do its part.
pub fn walk(photo: &Photo, request: &Request) -> Result<Walk, Refusal> {
    walk_from(photo, request, find_cards(photo)?)
}

/// The rooms after the second, from the cards found; the first of them is the world.
///
/// # Errors
/// As [`walk`].
pub fn walk_from(photo: &Photo, request: &Request, found: FoundCards) -> Result<Walk, Refusal> {
    walk_placed(photo, request, place(photo, request, found)?)
}

/// The camera over a photo's cards: what stays when edges are traced anew.
#[derive(Debug, Clone)]
pub struct Placed {
    /// The cards.
    pub found: FoundCards,
    /// The scale at which they were printed.
    pub print_scale: PrintScale,
    /// The camera.
    pub fit: CameraFit,
    /// Where the focal length came from.
    pub lens_known: LensSource,
}

/// The third room: the camera over the cards found, at the scale they were printed.
///
/// # Errors
/// As [`camera_over_cards`] and [`print_scale`].
pub fn place(photo: &Photo, request: &Request, found: FoundCards) -> Result<Placed, Refusal> {
    let scale = print_scale(photo, &found, request.scale_by, &lens_prior(photo, request.lens).0)?;
    place_at(photo, request, found, scale)
}

/// The third room, with the scale of the print known.
///
/// # Errors
/// As [`camera_over_cards`].
pub fn place_at(
    photo: &Photo,
    request: &Request,
    mut found: FoundCards,
    print_scale: PrintScale,
) -> Result<Placed, Refusal> {
    found.cards.iter_mut().for_each(|card| card.print_scale = print_scale.value);
    let (prior, lens_known) = lens_prior(photo, request.lens);
    let fit = camera_over_cards(&found, &prior)?;
    Ok(Placed { found, print_scale, fit, lens_known })
}

/// The rooms after the third, from the camera's place.
///
/// # Errors
/// As [`walk`].
pub fn walk_placed(photo: &Photo, request: &Request, placed: Placed) -> Result<Walk, Refusal> {
    let walk = walk_uneven(photo, request, placed)?;
    if walk.widths.most_uneven_mm() <= MOST_UNEVEN_MM {
        Ok(walk)
    } else {
        Err(told_otherwise(request, uneven()))
    }
}

/// As [`walk_placed`], however the halves differ: seen from the side at an unknown lift they differ in every saddle.
///
/// # Errors
/// As [`walk`].
pub fn walk_uneven(photo: &Photo, request: &Request, placed: Placed) -> Result<Walk, Refusal> {
    hints_within(photo, request)?;
    walked(photo, request, placed).map_err(|refusal| told_otherwise(request, refusal))
}

/// Points that are said to lie on an edge lie in the photo.
fn hints_within(photo: &Photo, request: &Request) -> Result<(), Refusal> {
    let (w, h) = (photo.width_px(), photo.height_px());
    let within =
        |p: PhotoPoint| (0.0..=w as f64 - 1.0).contains(&p.x_px) && (0.0..=h as f64 - 1.0).contains(&p.y_px);
    match request.hints.iter().find(|hint| !within(hint.pixel)) {
        None => Ok(()),
        Some(Hint { pixel, .. }) => Err(Refusal::new(
            RefusalCode::EdgesNotFound,
            format!(
                "the point {},{} of an edge lies outside the photo of {w} x {h} pixels",
                pixel.x_px, pixel.y_px
            ),
            "give a point of the upright photo, its top-left pixel being 0,0",
        )),
    }
}

/// A refusal asks for what may help: not for what was given already.
fn told_otherwise(request: &Request, refusal: Refusal) -> Refusal {
    let hint = match refusal.code {
        RefusalCode::EdgesNotFound | RefusalCode::NoSaddle if !request.hints.is_empty() => {
            "look whether an edge does run through the point shown by hand, or leave it out"
        }
        RefusalCode::EdgesNotFound if request.ends.is_some() => {
            "look whether both ends lie on the seat form and whether front and rear are exchanged, or leave them out"
        }
        _ => return refusal,
    };
    Refusal { hint: hint.into(), ..refusal }
}

fn walked(photo: &Photo, request: &Request, placed: Placed) -> Result<Walk, Refusal> {
    let Placed { found, print_scale, fit, lens_known } = placed;
    let seat_lift = request.seat_lift.clone().unwrap_or_else(LiftProfile::unknown);
    let channel_lift = request.channel_lift.clone().unwrap_or_else(LiftProfile::unknown);
    let around = Surroundings { photo, camera: &fit.camera, cards: &found.cards, hints: &request.hints };
    let FoundSaddle { view, midline, seat } = seat_of(&around, &seat_lift, request)?;
    let scene = around.scene(&midline, view);
    let channel = match view {
        View::Top => None,
        View::Underside => trace_channel(&scene, &seat_lift, &channel_lift).ok(),
    };
    let mut outline = Outline { seat, channel };
    outline.hide(&scene, &seat_lift, &channel_lift, &request.hidden);
    let subject = Subject {
        fit: &fit,
        midline: &midline,
        outline: &outline,
        seat_lift: &seat_lift,
        channel_lift: &channel_lift,
        end_u_mm: GIVEN_END_U_MM,
        print_scale_u: print_scale.relative_u,
    };
    let widths = measure_widths(&subject).filter(|w| !w.named.is_empty()).ok_or_else(no_width)?;
    let hints = request.hints.clone();
    Ok(Walk {
        found,
        print_scale,
        fit,
        lens_known,
        view,
        hints,
        midline,
        outline,
        seat_lift,
        channel_lift,
        widths,
    })
}

/// The seat traced between the ends given, or found; whole in the photo, and large enough.
fn seat_of(around: &Surroundings, lift: &LiftProfile, request: &Request) -> Result<FoundSaddle, Refusal> {
    let size_px = (around.photo.width_px(), around.photo.height_px());
    let between = |ends, view| Midline::from_photo(around.camera, size_px, ends, lift, view);
    let seat = match (request.ends, request.near, request.view) {
        (Some(ends), _, view) => {
            let view = match view {
                Some(view) => view,
                None => view_between(around, &between(ends, View::Top)?, lift)?,
            };
            let midline = between(ends, view)?;
            let seat = trace_seat(&around.scene(&midline, view), lift, GIVEN_END_TOLERANCE_MM)?;
            FoundSaddle { view, midline, seat }
        }
        (None, Some(near), Some(view)) => trace_near(around, lift, &between(near, view)?, view)?,
        (None, _, view) => find_saddle(around, lift, view)?,
    };
    seat.within_photo(around, lift)
}

/// Halves of a named width never differ by this in one saddle, mm (common practice, no source): one side of what was traced is
/// something else, or the ends are those of another thing.
const MOST_UNEVEN_MM: f64 = 18.0;

fn uneven() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the left and the right edge of what was traced do not agree",
        "give the two ends of the seat form exactly with --front and --rear, or photograph it against a plain floor",
    )
}

fn no_width() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "no width could be taken: the edges were traced in too few places",
        "photograph the saddle whole and against a plain floor, with nothing lying across it",
    )
}
