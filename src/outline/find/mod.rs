//! Finding the saddle: where it is, how it is seen and which end is its front, from the photo and the cards alone.
//!
//! A network maps the view of one plane from above: the inside of a form and its two ends. The form is examined about the
//! most likely pairs of ends, with the midline that bisects its own edges, until a saddle's edges are clearly visible; the
//! candidate with the most visible edges is traced.

pub mod places;
pub mod plane;

use nalgebra::Vector2;

use super::bisect::{Sides, bisecting_midline, half_widths_mm};
use super::channel::{CHANNEL_SEEN, NO_CHANNEL_SEEN};
use super::edge::TracedEdge;
use super::form::{FormPictures, LEAST_VISIBILITY};
use super::hint::Hint;
use super::lift::LiftProfile;
use super::midline::Midline;
use super::{GIVEN_END_TOLERANCE_MM, SIDES, Scene, Side, View, trace_seat};
use crate::camera::Camera;
use crate::card::FoundCard;
use crate::explain::Explanation;
use crate::instruction::{GIVE_ENDS, GIVE_VIEW};
use crate::numeric::frame::PhotoPoint;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use places::candidates;
use plane::PlaneView;

/// A photo with its cards, in which the saddle is searched.
#[derive(Debug, Clone, Copy)]
pub struct SearchScene<'a> {
    /// The photo.
    pub photo: &'a Photo,
    /// Its camera.
    pub camera: &'a Camera,
    /// The cards in it.
    pub cards: &'a [FoundCard],
    /// Points on edges, given by hand.
    pub hints: &'a [Hint],
    /// Collector of explanation pictures.
    pub explain: &'a Explanation,
}

impl<'a> SearchScene<'a> {
    /// The scene about a midline.
    pub fn scene(&self, midline: &'a Midline) -> Scene<'a> {
        let Self { photo, camera, hints, explain, .. } = *self;
        Scene { photo, camera, midline, hints, explain }
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
    /// The pictures of the form in which they were traced.
    pub pictures: FormPictures,
}

/// Candidates that are examined at most.
const EXAMINED: usize = 4;
/// No candidate is examined after one whose edges are visible in nine rows of ten: two saddles in one photo are not expected.
const CLEAR: f64 = 0.9;
/// Most of a form that cards may cover: no saddle is under a card.
const MOST_COVERED: f64 = 0.1;
/// A form is examined again about the midline that its edges have shown, until both ends stay within this, mm, or so often.
const SETTLED_MM: f64 = 2.0;
const MOST_ITERATIONS: usize = 6;
/// A found end may be off by this, mm: on the map, by a first look at the form, and once the form has settled.
const MAP_TOLERANCE_MM: f64 = 25.0;
const GLANCE_TOLERANCE_MM: f64 = 12.0;
const SETTLED_TOLERANCE_MM: f64 = 6.0;

/// Finds and traces the saddle, in the view given or in either. Where the lift is unknown it is searched in
/// the card's plane, and then at the usual height of a seat's edges: seen from the side, its two halves are alike only there.
///
/// # Errors
/// `no-saddle` where nothing looks like one, or `view-unclear`.
pub fn find_saddle(
    search: &SearchScene,
    lift: &LiftProfile,
    view: Option<View>,
) -> Result<FoundSaddle, Refusal> {
    let found = find_at(search, lift, view);
    if found.is_ok() || lift.is_known() || view == Some(View::Underside) {
        return found;
    }
    let usual = LiftProfile::usual_of_a_seat();
    find_at(search, &usual, view).ok().and_then(|f| f.at_lift(search, &usual, lift)).map_or(found, Ok)
}

fn find_at(search: &SearchScene, lift: &LiftProfile, view: Option<View>) -> Result<FoundSaddle, Refusal> {
    let plane = plane_of(search, lift).ok_or_else(no_saddle)?;
    let best = best_glance(search, lift, &plane)
        .filter(|g| g.visibility >= LEAST_VISIBILITY)
        .ok_or_else(no_saddle)?;
    trace_glance(search, lift, &best, view)
}

fn trace_glance(
    search: &SearchScene,
    lift: &LiftProfile,
    glance: &Glance,
    view: Option<View>,
) -> Result<FoundSaddle, Refusal> {
    let (view, pictures) = form_in_view(search, lift, &glance.midline, view)?;
    trace_settled(search, lift, pictures, view).ok_or_else(no_saddle)
}

/// Traces a saddle between ends given by hand, in the view given or in the one that it shows.
///
/// # Errors
/// `view-unclear`, or as [`trace_seat`].
pub fn trace_between(
    search: &SearchScene,
    lift: &LiftProfile,
    midline: &Midline,
    view: Option<View>,
) -> Result<FoundSaddle, Refusal> {
    let (view, pictures) = form_in_view(search, lift, midline, view)?;
    let midline = pictures.midline;
    let seat = trace_seat(&search.scene(&midline), &pictures, lift, GIVEN_END_TOLERANCE_MM)?;
    Ok(FoundSaddle { view, midline, seat, pictures })
}

/// Traces a saddle again about a midline along which it was found before.
///
/// # Errors
/// `no-saddle` where no edges are seen there any more.
pub fn trace_near(
    search: &SearchScene,
    lift: &LiftProfile,
    midline: &Midline,
    view: View,
) -> Result<FoundSaddle, Refusal> {
    let pictures = FormPictures::of(&search.scene(midline), lift);
    trace_pictures(search, lift, pictures, view, SETTLED_TOLERANCE_MM).ok_or_else(no_saddle)
}

/// Where other photos show the saddle.
#[derive(Debug, Clone)]
pub struct ShownElsewhere {
    /// How it is seen.
    pub view: View,
    /// Ends of its midline, mm in the card's horizontal, each at a lift that it may have.
    pub places: Vec<([Vector2<f64>; 2], LiftProfile)>,
}

/// Finds and traces a saddle at the place of several, known from other photos, where its edges are the most visible.
///
/// # Errors
/// `no-saddle` where no edges are seen at any.
pub fn trace_shown(
    search: &SearchScene,
    lift: &LiftProfile,
    shown: &ShownElsewhere,
) -> Result<FoundSaddle, Refusal> {
    let glance = |(ends_mm, at): &([Vector2<f64>; 2], LiftProfile)| {
        let plane = plane_of(search, at)?;
        let glance = settle(search, at, &plane, *ends_mm).filter(|g| g.visibility >= LEAST_VISIBILITY);
        glance.map(|glance| (glance, at.clone()))
    };
    let best =
        shown.places.iter().filter_map(glance).max_by(|a, b| a.0.visibility.total_cmp(&b.0.visibility));
    let (best, at) = best.ok_or_else(no_saddle)?;
    let found = trace_glance(search, &at, &best, Some(shown.view))?;
    found.at_lift(search, &at, lift).ok_or_else(no_saddle)
}

/// Floor that must be seen beyond a found edge, mm: without it the photo's border may have cut the saddle.
const FLOOR_BEYOND_MM: f64 = 6.0;
/// The piping along an edge is some 4 mm wide, and a line shows from two pixels on (the sampling theorem).
const COARSEST_MM_PER_PX: f64 = 2.0;
/// Points beyond the border that may be slips of the trace.
const BEYOND_ALLOWED: usize = 2;

impl FoundSaddle {
    /// The same edges, found at one lift, about the midline that bisects them at another.
    fn at_lift(self, search: &SearchScene, from: &LiftProfile, to: &LiftProfile) -> Option<Self> {
        let midline = midline_at_lift(search.camera, &self.midline, &self.seat, from, to)?;
        Some(Self { midline, ..self })
    }

    /// The saddle again, if the photo shows it whole and large enough.
    ///
    /// # Errors
    /// `saddle-cut-off`, `saddle-too-small`.
    pub fn within_photo(self, search: &SearchScene, lift: &LiftProfile) -> Result<Self, Refusal> {
        if is_cut_off(search, lift, &self) {
            return Err(cut_off());
        }
        let middle = self.midline.point(0.5, 0.0, Side::Left, lift.at_mm(0.5));
        let fine_enough = search.camera.mm_per_px(middle).is_some_and(|mm| mm <= COARSEST_MM_PER_PX);
        if fine_enough { Ok(self) } else { Err(too_small()) }
    }
}

/// The midline that bisects edges traced at one lift, at another.
pub fn midline_at_lift(
    camera: &Camera,
    midline: &Midline,
    seat: &[TracedEdge; 2],
    from: &LiftProfile,
    to: &LiftProfile,
) -> Option<Midline> {
    let end = |station: f64| {
        let seen = midline.point(station, 0.0, Side::Left, from.at_mm(station));
        let pixel = camera.photo_from_card(seen)?;
        Some(camera.card_from_photo(pixel, to.at_mm(station))?.horizontal())
    };
    let about = midline.with_ends(end(0.0)?, end(1.0)?);
    bisecting_midline(&about, &edges_in_horizontal(camera, &about, to, seat))
}

/// Whether the photo ends where the saddle does.
fn is_cut_off(search: &SearchScene, lift: &LiftProfile, found: &FoundSaddle) -> bool {
    let (midline, camera) = (&found.midline, search.camera);
    let size_px = [search.photo.width_px(), search.photo.height_px()].map(|n| n as f64 - 1.0);
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

/// Traces the edges in pictures about a settled midline, and again about the one that bisects them.
fn trace_settled(
    search: &SearchScene,
    lift: &LiftProfile,
    pictures: FormPictures,
    view: View,
) -> Option<FoundSaddle> {
    let first = trace_pictures(search, lift, pictures, view, SETTLED_TOLERANCE_MM)?;
    let again = FormPictures::of(&search.scene(&first.midline), lift);
    trace_pictures(search, lift, again, view, GIVEN_END_TOLERANCE_MM)
}

/// Traces the edges in pictures about a midline, and moves that to where it bisects them.
fn trace_pictures(
    search: &SearchScene,
    lift: &LiftProfile,
    pictures: FormPictures,
    view: View,
    tolerance_mm: f64,
) -> Option<FoundSaddle> {
    let about = &pictures.midline;
    let seat = trace_seat(&search.scene(about), &pictures, lift, tolerance_mm).ok()?;
    let midline = bisecting_midline(about, &edges_in_horizontal(search.camera, about, lift, &seat))?;
    Some(FoundSaddle { view, midline, seat, pictures })
}

/// A candidate's form, examined once.
#[derive(Debug, Clone, Copy)]
struct Glance {
    /// The midline that bisects the edges there.
    midline: Midline,
    /// Visibility of the edges there, 0 to 1.
    visibility: f64,
}

/// The candidate with the most visible edges, with its midline settled.
fn best_glance(search: &SearchScene, lift: &LiftProfile, plane: &PlaneView) -> Option<Glance> {
    let mut best: Option<Glance> = None;
    for candidate in candidates(plane).iter().take(EXAMINED) {
        let settled = settle(search, lift, plane, candidate.ends_mm);
        best = settled.filter(|g| best.is_none_or(|best| g.visibility > best.visibility)).or(best);
        if best.is_some_and(|best| best.visibility >= CLEAR) {
            break;
        }
    }
    best
}

/// The last of several glances at a candidate, from its ends, each about the midline that bisects the edges of the one before.
fn settle(
    search: &SearchScene,
    lift: &LiftProfile,
    plane: &PlaneView,
    [front_mm, rear_mm]: [Vector2<f64>; 2],
) -> Option<Glance> {
    let first = Midline::new(front_mm, rear_mm, View::Top);
    let mut last = examine(search, lift, plane, &first, MAP_TOLERANCE_MM)?;
    for _ in 0..MOST_ITERATIONS {
        let next = examine(search, lift, plane, &last.midline, GLANCE_TOLERANCE_MM)?;
        let [front, rear] =
            [next.midline.front_mm - last.midline.front_mm, next.midline.rear_mm - last.midline.rear_mm];
        last = next;
        if front.norm().max(rear.norm()) <= SETTLED_MM {
            break;
        }
    }
    Some(last)
}

/// Looks at the form about a midline whose ends may be off by a tolerance. `None` where no edge runs round anything, or where a
/// card or the photo's border is within it.
fn examine(
    search: &SearchScene,
    lift: &LiftProfile,
    plane: &PlaneView,
    about: &Midline,
    tolerance_mm: f64,
) -> Option<Glance> {
    // Hints must not make a wrong candidate right.
    let scene = Scene { hints: &[], ..search.scene(about) };
    let pictures = FormPictures::of(&scene, lift);
    let form = pictures.edges();
    let sides = form.curves(tolerance_mm)?.map(|c| c.points);
    let midline = bisecting_midline(about, &sides)?;
    if covered(plane, &midline, &sides)? > MOST_COVERED {
        return None;
    }
    Some(Glance { midline, visibility: form.visibility() })
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

/// Pictures of the form between a midline's ends in the view given, or in the one that it shows.
///
/// # Errors
/// `view-unclear` where it is not certain whether there is a channel.
fn form_in_view(
    search: &SearchScene,
    lift: &LiftProfile,
    midline: &Midline,
    view: Option<View>,
) -> Result<(View, FormPictures), Refusal> {
    let from_above = Midline::new(midline.front_mm, midline.rear_mm, View::Top);
    let pictures = FormPictures::of(&search.scene(&from_above), lift);
    let view = view.map_or_else(|| view_of(&pictures), Ok)?;
    Ok((view, if view == View::Top { pictures } else { pictures.mirrored() }))
}

/// The underside where a form shows a channel, else the top.
fn view_of(pictures: &FormPictures) -> Result<View, Refusal> {
    match pictures.channel().ok_or_else(view_unclear)?.visibility() {
        v if v >= CHANNEL_SEEN => Ok(View::Underside),
        v if v <= NO_CHANNEL_SEEN => Ok(View::Top),
        _ => Err(view_unclear()),
    }
}

/// The view of the plane at the lift's middle.
fn plane_of(search: &SearchScene, lift: &LiftProfile) -> Option<PlaneView> {
    let lift_mm = (1..10).map(|i| lift.at_mm(0.1 * f64::from(i))).sum::<f64>() / 9.0;
    PlaneView::of(search.photo, search.camera, search.cards, lift_mm)
}

/// The traced points of both edges at their lift, mm in the horizontal.
pub fn edges_in_horizontal(
    camera: &Camera,
    midline: &Midline,
    lift: &LiftProfile,
    seat: &[TracedEdge; 2],
) -> Sides {
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
        format!("photograph the whole saddle from above with the card beside it, or {GIVE_ENDS}"),
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
        "it is not certain whether the saddle is seen from above or from below",
        GIVE_VIEW.to_string(),
    )
}
