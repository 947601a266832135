//! Finding the saddle: where it lies, how it is seen and which end is its front, from the photo and the cards alone.
//!
//! The view of one plane from straight above is searched for the plan of a saddle: boundaries along its outline that are
//! seen on both sides alike, and along a channel where the saddle lies upside down. The form is looked at about each of the
//! places that fit best, with the midline that bisects its own edges; the place where a saddle's edges are seen most surely is
//! traced.

pub mod body;
pub mod lines;
pub mod places;
pub mod plan;
pub mod plane;
pub mod pose;

use crate::numeric::parallel::*;
use nalgebra::Vector2;

use super::bisect::{Sides, bisecting, half_widths_mm};
use super::channel::{CHANNEL_SEEN, NO_CHANNEL_SEEN};
use super::edge::TracedEdge;
use super::form::{FormPictures, LEAST_SEEN};
use super::hint::Hint;
use super::lift::LiftProfile;
use super::midline::Midline;
use super::{GIVEN_END_TOLERANCE_MM, SIDES, Scene, Side, View, trace_seat};
use crate::camera::Camera;
use crate::card::FoundCard;
use crate::explain::Explanation;
use crate::numeric::frame::PhotoPoint;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use body::Body;
use lines::Lines;
use plane::PlaneView;
use pose::{Fit, Pose};

/// What the saddle is looked for in.
#[derive(Debug, Clone, Copy)]
pub struct Surroundings<'a> {
    /// The photo.
    pub photo: &'a Photo,
    /// Its camera.
    pub camera: &'a Camera,
    /// The cards in it.
    pub cards: &'a [FoundCard],
    /// Points that are known to lie on an edge.
    pub hints: &'a [Hint],
    /// Collector of explanation pictures.
    pub explain: &'a Explanation,
}

impl<'a> Surroundings<'a> {
    /// What the tracing works with about a midline.
    pub fn scene(&self, midline: &'a Midline, view: View) -> Scene<'a> {
        let Self { photo, camera, hints, explain, .. } = *self;
        Scene { photo, camera, midline, view, hints, explain }
    }
}

/// A saddle that was found and traced.
#[derive(Debug, Clone)]
pub struct FoundSaddle {
    /// How it is seen.
    pub view: View,
    /// The midline that bisects its edges.
    pub midline: Midline,
    /// Its traced left and right edge.
    pub seat: [TracedEdge; 2],
}

/// A place where a saddle may lie.
#[derive(Debug, Clone, Copy)]
struct Place {
    /// The plan laid there.
    pose: Pose,
    /// Front and rear end, mm in the card's horizontal.
    ends_mm: [Vector2<f64>; 2],
    /// Fit and body together: the order in which places are looked at.
    standing: f64,
}

/// Poses of the coarse search, those of them looked at closely, and places whose rim is looked at.
const COARSE: usize = 1500;
const CLOSE: usize = 64;
const GLANCED: usize = 12;
/// The coarse and the close search's plans may lie off by this, mm.
const COARSE_MM: f64 = 8.0;
const CLOSE_MM: f64 = 5.0;
/// What the inside's difference from the outside is worth beside the fit of lines.
const BODY_WEIGHT: f64 = 0.1;
/// No saddle lies under a card.
const MOST_COVERED: f64 = 0.1;
/// Places looked at again, from the midline that their rims have shown, and how often.
const SECOND_GLANCES: usize = 4;
const TURNS: usize = 2;
/// A found end may be off by this, mm: by the plan, by a first glance at the rim, and once the rim has settled.
const PLAN_TOLERANCE_MM: f64 = 25.0;
const GLANCE_TOLERANCE_MM: f64 = 12.0;
const SETTLED_TOLERANCE_MM: f64 = 6.0;
/// How much further out an end is then asked for, mm: with the plan's tolerance to either side it reaches from 10 to 60.
const LONGER_MM: f64 = 35.0;

/// Finds and traces the saddle, in the view given or in either. Where nobody knows the lift the saddle is looked for in the
/// card's plane, and then as high as a seat's edges mostly run: seen from the side, its two halves are alike only there.
///
/// # Errors
/// `no-saddle` where nothing looks like one, or `view-unclear`.
pub fn find_saddle(
    around: &Surroundings,
    lift: &LiftProfile,
    view: Option<View>,
) -> Result<FoundSaddle, Refusal> {
    let found = find_at(around, lift, view);
    if found.is_ok() || lift.is_known() || view == Some(View::Underside) {
        return found;
    }
    let usual = LiftProfile::usual_of_a_seat();
    find_at(around, &usual, view).ok().and_then(|f| f.at_lift(around, &usual, lift)).map_or(found, Ok)
}

fn find_at(around: &Surroundings, lift: &LiftProfile, view: Option<View>) -> Result<FoundSaddle, Refusal> {
    let plane = plane_of(around, lift).ok_or_else(no_saddle)?;
    let best = settled_glance(around, lift, &plane).filter(|g| g.seen >= LEAST_SEEN).ok_or_else(no_saddle)?;
    let traced = traced_at(around, lift, &best, view);
    if traced.as_ref().is_err_and(|refusal| refusal.code == RefusalCode::NoSaddle) {
        let longer = longer(around, lift, &plane, &best).filter(|g| g.seen >= LEAST_SEEN);
        return longer.map_or(traced, |longer| traced_at(around, lift, &longer, view));
    }
    traced
}

fn traced_at(
    around: &Surroundings,
    lift: &LiftProfile,
    glance: &Glance,
    view: Option<View>,
) -> Result<FoundSaddle, Refusal> {
    let view = view.map_or_else(|| view_between(around, &glance.midline, lift), Ok)?;
    let Midline { front_mm, rear_mm, .. } = glance.midline;
    trace(around, lift, &Midline::new(front_mm, rear_mm, view), view).ok_or_else(no_saddle)
}

/// Traces a saddle anew about a midline along which it was found before.
///
/// # Errors
/// `no-saddle` where no edges are seen there any more.
pub fn trace_near(
    around: &Surroundings,
    lift: &LiftProfile,
    midline: &Midline,
    view: View,
) -> Result<FoundSaddle, Refusal> {
    trace_about(around, lift, midline, view, SETTLED_TOLERANCE_MM).ok_or_else(no_saddle)
}

/// Floor that must be seen beyond a found edge, mm: without it the photo's border may have cut the saddle.
const FLOOR_BEYOND_MM: f64 = 6.0;
/// The piping along an edge is some 4 mm wide, and a line shows from two pixels on (the sampling theorem).
const COARSEST_MM_PER_PX: f64 = 2.0;
/// Points beyond the border that may be slips of the trace.
const BEYOND_ALLOWED: usize = 2;

impl FoundSaddle {
    /// The same edges, found at one lift, about the midline that bisects them at another.
    fn at_lift(self, around: &Surroundings, from: &LiftProfile, to: &LiftProfile) -> Option<Self> {
        let end = |station: f64| {
            let seen = self.midline.point(station, 0.0, Side::Left, from.at_mm(station));
            let pixel = around.camera.photo_from_card(seen)?;
            Some(around.camera.card_from_photo(pixel, to.at_mm(station))?.horizontal())
        };
        let about = self.midline.with_ends(end(0.0)?, end(1.0)?);
        let midline = bisecting(&about, &horizontal(around.camera, &about, to, &self.seat))?;
        Some(Self { midline, ..self })
    }

    /// The saddle again, if the photo shows it whole and large enough.
    ///
    /// # Errors
    /// `saddle-cut-off`, `saddle-too-small`.
    pub fn within_photo(self, around: &Surroundings, lift: &LiftProfile) -> Result<Self, Refusal> {
        if is_cut_off(around, lift, &self) {
            return Err(cut_off());
        }
        let middle = self.midline.point(0.5, 0.0, Side::Left, lift.at_mm(0.5));
        let fine_enough = around.camera.mm_per_px(middle).is_some_and(|mm| mm <= COARSEST_MM_PER_PX);
        if fine_enough { Ok(self) } else { Err(too_small()) }
    }
}

/// Whether the photo ends where the saddle does.
fn is_cut_off(around: &Surroundings, lift: &LiftProfile, found: &FoundSaddle) -> bool {
    let (midline, camera) = (&found.midline, around.camera);
    let size_px = [around.photo.width_px(), around.photo.height_px()].map(|n| n as f64 - 1.0);
    let shown = |station: f64, offset_mm: f64, side: Side| {
        let pixel = camera.photo_from_card(midline.point(station, offset_mm, side, lift.at_mm(station)));
        pixel.is_some_and(|p| (0.0..=size_px[0]).contains(&p.x_px) && (0.0..=size_px[1]).contains(&p.y_px))
    };
    let beyond_end = FLOOR_BEYOND_MM / midline.length_mm();
    let ends_shown = [-beyond_end, 1.0 + beyond_end].iter().all(|&s| shown(s, 0.0, Side::Left));
    let beyond = [0, 1].iter().flat_map(|&i| {
        let points = found.seat[i].points.iter().flatten();
        points.filter_map(move |p| Some((midline.locate(camera, lift, SIDES[i], p.pixel, 0.5)?, SIDES[i])))
    });
    let cut =
        beyond.filter(|((station, offset), side)| !shown(*station, offset + FLOOR_BEYOND_MM, *side)).count();
    !ends_shown || cut > BEYOND_ALLOWED
}

/// Traces the edges about a settled midline, and again about the one that they have then.
fn trace(around: &Surroundings, lift: &LiftProfile, midline: &Midline, view: View) -> Option<FoundSaddle> {
    let first = trace_about(around, lift, midline, view, SETTLED_TOLERANCE_MM)?;
    trace_about(around, lift, &first.midline, view, GIVEN_END_TOLERANCE_MM)
}

/// Traces the edges about a midline, and moves that to where it bisects them.
fn trace_about(
    around: &Surroundings,
    lift: &LiftProfile,
    midline: &Midline,
    view: View,
    tolerance_mm: f64,
) -> Option<FoundSaddle> {
    let seat = trace_seat(&around.scene(midline, view), lift, tolerance_mm).ok()?;
    let midline = bisecting(midline, &horizontal(around.camera, midline, lift, &seat))?;
    Some(FoundSaddle { view, midline, seat })
}

/// What a place turns out to be when its rim is looked at.
#[derive(Debug, Clone, Copy)]
struct Glance {
    /// The midline that bisects the edges there.
    midline: Midline,
    /// How surely a saddle's edges are seen, from 0 to 1.
    seen: f64,
}

/// The place where a saddle's edges are seen most surely, with the midline settled.
fn settled_glance(around: &Surroundings, lift: &LiftProfile, plane: &PlaneView) -> Option<Glance> {
    let places = places(plane);
    let mut glances: Vec<Glance> = places[..places.len().min(GLANCED)]
        .par_iter()
        .filter_map(|place| glance(around, lift, plane, &place.midline(), PLAN_TOLERANCE_MM))
        .collect();
    glances.sort_by(by_seen);
    glances.truncate(SECOND_GLANCES);
    glances.iter().flat_map(|first| settling(around, lift, plane, first)).min_by(by_seen)
}

fn by_seen(a: &Glance, b: &Glance) -> std::cmp::Ordering {
    b.seen.total_cmp(&a.seen)
}

/// A glance, and those from the midlines that it and the next show.
fn settling(around: &Surroundings, lift: &LiftProfile, plane: &PlaneView, first: &Glance) -> Vec<Glance> {
    let again = (0..TURNS).scan(*first, |last, _| {
        *last = glance(around, lift, plane, &last.midline, GLANCE_TOLERANCE_MM)?;
        Some(*last)
    });
    again.chain([*first]).collect()
}

/// A plan that fits lines within the form, such as those of a broad pommel, is too short, and the network looks for ends where the
/// plan has them: ends further out are asked for as well, and the place that is then seen most surely is taken.
fn longer(around: &Surroundings, lift: &LiftProfile, plane: &PlaneView, best: &Glance) -> Option<Glance> {
    let about = [(LONGER_MM, 0.0), (0.0, LONGER_MM), (LONGER_MM, LONGER_MM)]
        .map(|(front_mm, rear_mm)| best.midline.shifted(true, true, -front_mm).shifted(false, true, rear_mm));
    let first = about.iter().filter_map(|about| glance(around, lift, plane, about, PLAN_TOLERANCE_MM));
    first.flat_map(|first| settling(around, lift, plane, &first)).min_by(by_seen)
}

/// Looks at the form about a midline whose ends may be off by a tolerance. `None` where no edge runs round anything, or where a
/// card or the photo's border lies within it.
fn glance(
    around: &Surroundings,
    lift: &LiftProfile,
    plane: &PlaneView,
    about: &Midline,
    tolerance_mm: f64,
) -> Option<Glance> {
    // A place that is wrong is not to be made right by hints.
    let scene = Scene { hints: &[], ..around.scene(about, View::Top) };
    let pictures = FormPictures::of(&scene, lift);
    let seen = pictures.edges()?;
    let sides = seen.curves(tolerance_mm)?.map(|c| c.points);
    let midline = bisecting(about, &sides)?;
    if covered(plane, &midline, &sides)? > MOST_COVERED {
        return None;
    }
    Some(Glance { midline, seen: seen.surely() })
}

/// Part of a traced form that a card covers or that the photo does not show.
fn covered(plane: &PlaneView, midline: &Midline, sides: &Sides) -> Option<f64> {
    let (mut all, mut closed) = (0, 0);
    for station in (1..20).map(|i| 0.05 * f64::from(i)) {
        let Some([left_mm, right_mm]) = half_widths_mm(midline, sides, station) else { continue };
        for part in [-0.9, -0.6, -0.3, 0.0, 0.3, 0.6, 0.9] {
            all += 1;
            let half_mm = if part > 0.0 { left_mm } else { right_mm };
            let at = midline.point(station, part * half_mm, Side::Left, 0.0);
            closed += usize::from(plane.open_sample(plane.place_of(at.horizontal())).is_none());
        }
    }
    (all > 0).then(|| closed as f64 / all as f64)
}

impl Place {
    /// The plan's midline, as if the saddle were seen from above.
    fn midline(&self) -> Midline {
        Midline::new(self.ends_mm[0], self.ends_mm[1], View::Top)
    }
}

/// Places where a saddle may lie, best first.
fn places(plane: &PlaneView) -> Vec<Place> {
    let lines = Lines::of(plane);
    let (coarse, close) = (lines.widened(COARSE_MM), lines.widened(CLOSE_MM));
    let mut first: Vec<(f64, Pose)> = pose::search(&lines, &coarse, (plane.columns, plane.rows), COARSE)
        .into_par_iter()
        .filter_map(|pose| Some((standing(plane, &pose, &pose.fit(&coarse))?, pose)))
        .collect();
    first.sort_by(|a, b| b.0.total_cmp(&a.0));
    first.truncate(CLOSE);
    let mut close: Vec<Place> = first
        .into_par_iter()
        .filter_map(|(_, pose)| {
            let (pose, fit) = pose.refined(&close);
            let ends_mm = pose.ends().map(|e| plane.point_of(e));
            let standing = standing(plane, &pose, &fit)?;
            Some(Place { pose, ends_mm, standing })
        })
        .collect();
    close.sort_by(|a, b| b.standing.total_cmp(&a.standing));
    let mut apart: Vec<Place> = Vec::new();
    for place in close {
        if !apart.iter().any(|p| p.pose.is_near(&place.pose)) {
            apart.push(place);
        }
    }
    apart
}

/// Whether a saddle between two ends shows a channel, and so its underside.
///
/// # Errors
/// `view-unclear` where that cannot be told.
pub fn view_between(around: &Surroundings, midline: &Midline, lift: &LiftProfile) -> Result<View, Refusal> {
    let scene = around.scene(midline, View::Top);
    let pictures = FormPictures::of(&scene, lift);
    let surely = pictures.channel(&scene).ok_or_else(view_unclear)?.surely();
    match surely {
        s if s >= CHANNEL_SEEN => Ok(View::Underside),
        s if s <= NO_CHANNEL_SEEN => Ok(View::Top),
        _ => Err(view_unclear()),
    }
}

/// The view of the plane at the lift's middle.
fn plane_of(around: &Surroundings, lift: &LiftProfile) -> Option<PlaneView> {
    let lift_mm = (1..10).map(|i| lift.at_mm(0.1 * f64::from(i))).sum::<f64>() / 9.0;
    PlaneView::of(around.photo, around.camera, around.cards, lift_mm)
}

/// Standing of a pose; `None` where a card lies under it.
fn standing(plane: &PlaneView, pose: &Pose, fit: &Fit) -> Option<f64> {
    let body = Body::of(plane, pose);
    (body.covered <= MOST_COVERED).then_some(fit.total() + BODY_WEIGHT * body.apart)
}

/// The traced points of both edges at their lift, mm in the horizontal.
fn horizontal(camera: &Camera, midline: &Midline, lift: &LiftProfile, seat: &[TracedEdge; 2]) -> Sides {
    let point = |side: Side, pixel: PhotoPoint| {
        let (station, offset) = midline.locate(camera, lift, side, pixel, 0.5)?;
        Some(midline.point(station, offset, side, 0.0).horizontal())
    };
    [0, 1].map(|i| {
        let points = seat[i].points.iter().flatten();
        points.filter_map(|p| point(SIDES[i], p.pixel)).collect()
    })
}

fn no_saddle() -> Refusal {
    Refusal::new(
        RefusalCode::NoSaddle,
        "no saddle was found in the photo",
        "photograph the whole saddle from above with the card beside it, or give its ends with --front and --rear",
    )
}

fn too_small() -> Refusal {
    Refusal::new(
        RefusalCode::SaddleTooSmall,
        format!(
            "the saddle is too small in the photo: a pixel covers more than {COARSEST_MM_PER_PX} mm of it"
        ),
        "send the photo as the phone made it, or zoom in until saddle and card fill the picture",
    )
}

fn cut_off() -> Refusal {
    Refusal::new(
        RefusalCode::SaddleCutOff,
        "the saddle reaches to the photo's border",
        "step back or hold the phone higher, so that some floor is seen all round the saddle",
    )
}

fn view_unclear() -> Refusal {
    Refusal::new(
        RefusalCode::ViewUnclear,
        "it cannot be told whether the saddle is seen from above or from below",
        "say so with --view top or --view underside",
    )
}
