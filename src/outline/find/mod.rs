//! Finding the saddle: where it lies, how it is seen and which end is its front, from the photo and the cards alone.
//!
//! The view of one plane from straight above is searched for the plan of a saddle: boundaries along its outline that are
//! seen on both sides alike, and along a channel where the saddle lies upside down. The places that fit best are traced,
//! each with the midline that bisects its own edges; the trace that looks most like a saddle's rim is taken.

pub mod body;
pub mod lines;
pub mod plan;
pub mod plane;
pub mod pose;

use nalgebra::Vector2;
use rayon::prelude::*;

use super::bisect::{Sides, bisecting, half_widths_mm};
use super::lift::LiftProfile;
use super::midline::Midline;
use super::search::{GLANCE, find_welt};
use super::{GIVEN_END_TOLERANCE_MM, SIDES, Scene, Side, TracedSeat, View, first_curves, trace_seat};
use crate::camera::Camera;
use crate::card::FoundCard;
use crate::ground::frame::PhotoPoint;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use body::Body;
use lines::Lines;
use plane::PlaneView;
use pose::{Fit, Pose, USUAL_LENGTH_MM};

/// What the saddle is looked for in.
#[derive(Debug, Clone, Copy)]
pub struct Surroundings<'a> {
    /// The photo.
    pub photo: &'a Photo,
    /// Its camera.
    pub camera: &'a Camera,
    /// The cards in it.
    pub cards: &'a [FoundCard],
    /// Blur of the photo, pixels.
    pub blur_px: f64,
}

impl<'a> Surroundings<'a> {
    /// What the tracing works with about a midline.
    pub fn scene(&self, midline: &'a Midline, view: View) -> Scene<'a> {
        Scene { photo: self.photo, camera: self.camera, midline, view, blur_px: self.blur_px }
    }
}

/// A saddle that was found and traced.
#[derive(Debug, Clone)]
pub struct FoundSaddle {
    /// How it is seen.
    pub view: View,
    /// The midline that bisects its edges.
    pub midline: Midline,
    /// Its traced edges.
    pub seat: TracedSeat,
}

/// A place where a saddle may lie.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    /// The plan laid there.
    pub pose: Pose,
    /// How well it fits.
    pub fit: Fit,
    /// Front and rear end, mm in the card's horizontal.
    pub ends_mm: [Vector2<f64>; 2],
    /// Fit and body together, with what a channel says: the order in which places are looked at.
    pub standing: f64,
    /// The same without the channel, which other things than saddles have.
    pub merit: f64,
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
/// Settled places that are traced, where their totals differ by no more than a wrong line on one stretch would cost.
const TRACED: usize = 2;
const CLEARLY_WORSE: f64 = 6.0;
/// A found end may be off by this, mm: by the plan, by a first glance at the rim, and once the rim has settled.
const PLAN_TOLERANCE_MM: f64 = 25.0;
const GLANCE_TOLERANCE_MM: f64 = 12.0;
const SETTLED_TOLERANCE_MM: f64 = 6.0;
/// What a place's merit is worth beside the score of its rim. Among places of one saddle, right and wrong ones differ by
/// about 0.1 +- 0.05 in merit and 10 +- 6 in score (judgement, from rendered and drawn photos).
const MERIT_WEIGHT: f64 = 40.0;
/// What a saddle reaches at least of all this together: the least of ten rendered ones had 43, cards and clutter on a floor
/// reach 40 where they lie in rows.
const LEAST_LIKENESS: f64 = 40.0;
/// A saddle is wider behind than in front by this half-width at least, mm, between the stations given (common practice, no
/// source), and what that is worth in units of the score.
const WIDER_BEHIND_MM: f64 = 12.0;
const DIRECTION_WEIGHT: f64 = 5.0;
/// Halves of one saddle differ by this, mm; what differs by far more is traced wrongly on one side, which costs so much at most.
const LOPSIDED_MM: f64 = 5.0;
const MOST_LOPSIDED: f64 = 10.0;
/// A seat goes from two to four fingers and its rims in front to a rider's width behind; panels widen less (common practice, no
/// source): the least difference of half-widths, mm.
const SEAT_WIDER_MM: f64 = 25.0;
const PANELS_WIDER_MM: f64 = 5.0;
const FRONT_STATIONS: [f64; 3] = [0.2, 0.3, 0.4];
const REAR_STATIONS: [f64; 3] = [0.6, 0.7, 0.8];

/// Finds and traces the saddle, in the view given or in either.
///
/// # Errors
/// `no-saddle` where nothing looks like one, `view-unclear`, or `saddle-cut-off`.
pub fn find_saddle(
    around: &Surroundings,
    lift: &LiftProfile,
    view: Option<View>,
) -> Result<FoundSaddle, Refusal> {
    let glances = settled_glances(around, lift, view);
    let best = glances.first().filter(|g| g.likeness() >= LEAST_LIKENESS).ok_or_else(no_saddle)?;
    let worth = glances.iter().take(TRACED).filter(|g| g.total() >= best.total() - CLEARLY_WORSE);
    let mut traced: Vec<(f64, FoundSaddle)> = worth.filter_map(|g| trace(around, lift, g)).collect();
    traced.sort_by(|a, b| b.0.total_cmp(&a.0));
    if best.view.is_none() {
        return Err(view_unclear());
    }
    let found = traced.into_iter().next().map(|t| t.1).ok_or_else(no_saddle)?;
    if is_cut_off(around, lift, &found) { Err(cut_off()) } else { Ok(found) }
}

/// Floor that must be seen beyond a found edge, mm: without it the photo's border may have cut the saddle.
const FLOOR_BEYOND_MM: f64 = 6.0;
/// Points beyond the border that may be slips of the trace.
const BEYOND_ALLOWED: usize = 2;

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
        let points = found.seat.edges[i].points.iter().flatten();
        points.filter_map(move |p| Some((midline.locate(camera, lift, SIDES[i], p.pixel, 0.5)?, SIDES[i])))
    });
    let cut =
        beyond.filter(|((station, offset), side)| !shown(*station, offset + FLOOR_BEYOND_MM, *side)).count();
    !ends_shown || cut > BEYOND_ALLOWED
}

/// Traces the edges about a settled midline, and again about the one that they have then: the saddle of the better trace, and
/// its glance's total with the score of the whole search.
fn trace(around: &Surroundings, lift: &LiftProfile, glance: &Glance) -> Option<(f64, FoundSaddle)> {
    let view = glance.view?;
    let turns =
        [SETTLED_TOLERANCE_MM, GIVEN_END_TOLERANCE_MM].iter().scan(*glance, |about, &tolerance_mm| {
            let scene = around.scene(&about.midline, view);
            let seat = trace_seat(&scene, lift, first_curves(&scene, lift, tolerance_mm)).ok()?;
            let edges = horizontal(around.camera, &about.midline, lift, &seat);
            let midline = bisecting(&about.midline, &edges)?;
            *about = Glance { midline, score: seat.score, ..*about }.with_halves(&edges)?;
            Some((about.total(), FoundSaddle { view, midline, seat }))
        });
    turns.max_by(|a, b| a.0.total_cmp(&b.0))
}

/// What a place turns out to be when its rim is looked at.
#[derive(Debug, Clone, Copy)]
pub struct Glance {
    /// How the saddle is seen, where that is given or can be told.
    pub view: Option<View>,
    /// The midline that bisects the edges there.
    pub midline: Midline,
    /// How much like a rim the edges look.
    pub score: f64,
    /// How well the plan fitted there.
    pub merit: f64,
    /// Half-width of the rear part less that of the front part, mm.
    pub wider_behind_mm: f64,
    /// By how much the left and the right half differ, mm (root mean square).
    pub lopsided_mm: f64,
}

impl Glance {
    /// How much like a saddle it is: its rim, its plan, its length, and that it is wider behind than in front.
    fn likeness(&self) -> f64 {
        let right_way_round = (self.wider_behind_mm / WIDER_BEHIND_MM).clamp(-1.0, 1.0);
        let odd_length = (self.midline.length_mm() - USUAL_LENGTH_MM.0) / USUAL_LENGTH_MM.1;
        self.score + MERIT_WEIGHT * self.merit + DIRECTION_WEIGHT * right_way_round - odd_length.powi(2)
    }

    /// The same, less what speaks for a slip of the trace on one side.
    fn total(&self) -> f64 {
        self.likeness() - (self.lopsided_mm / LOPSIDED_MM).powi(2).min(MOST_LOPSIDED)
    }

    /// With what the sides' half-widths are like where they were traced. `None` where the front or the rear part was not.
    fn with_halves(self, sides: &Sides) -> Option<Self> {
        let halves = |stations: [f64; 3]| -> Option<Vec<[f64; 2]>> {
            let traced: Vec<_> =
                stations.iter().filter_map(|&s| half_widths_mm(&self.midline, sides, s)).collect();
            (!traced.is_empty()).then_some(traced)
        };
        let (front, rear) = (halves(FRONT_STATIONS)?, halves(REAR_STATIONS)?);
        let mean = |halves: &[[f64; 2]]| halves.iter().flatten().sum::<f64>() / (2 * halves.len()) as f64;
        let wider_behind_mm = mean(&rear) - mean(&front);
        let uneven: Vec<f64> = front.iter().chain(&rear).map(|h| (h[0] - h[1]).powi(2)).collect();
        let lopsided_mm = (uneven.iter().sum::<f64>() / uneven.len() as f64).sqrt();
        Some(Self { wider_behind_mm, lopsided_mm, ..self })
    }

    /// Whether the form is as much wider behind than in front as a saddle is, seen that way: boards, boxes and cushions are not.
    fn has_a_saddles_plan(&self) -> bool {
        let least_mm = if self.view == Some(View::Underside) { PANELS_WIDER_MM } else { SEAT_WIDER_MM };
        self.wider_behind_mm >= least_mm
    }
}

/// The places whose rims look most like a saddle's, with the midline settled, best first.
fn settled_glances(around: &Surroundings, lift: &LiftProfile, view: Option<View>) -> Vec<Glance> {
    let by_total = |a: &Glance, b: &Glance| b.total().total_cmp(&a.total());
    let Some(plane) = plane_of(around, lift) else { return Vec::new() };
    let places = places(&plane);
    let mut glances: Vec<Glance> = places[..places.len().min(GLANCED)]
        .par_iter()
        .filter_map(|place| glance(around, lift, &plane, &place.unseen(view), PLAN_TOLERANCE_MM))
        .collect();
    glances.sort_by(by_total);
    glances.truncate(SECOND_GLANCES);
    let settled = glances.par_iter().map(|first| {
        let again = (0..TURNS).scan(*first, |last, _| {
            *last = glance(around, lift, &plane, last, GLANCE_TOLERANCE_MM)?;
            Some(*last)
        });
        again.chain([*first]).min_by(by_total).expect("the first is one")
    });
    let mut settled: Vec<Glance> = settled.filter(Glance::has_a_saddles_plan).collect();
    settled.sort_by(by_total);
    settled
}

/// Looks at the rim about a midline whose ends may be off by a tolerance. `None` where no rim runs round anything, or where a
/// card or the photo's border lies within it.
pub fn glance(
    around: &Surroundings,
    lift: &LiftProfile,
    plane: &PlaneView,
    about: &Glance,
    tolerance_mm: f64,
) -> Option<Glance> {
    let scene = around.scene(&about.midline, about.view.unwrap_or(View::Top));
    let first = first_curves(&scene, lift, tolerance_mm)?;
    let found = find_welt(&scene, lift, first, GLANCE)?;
    let sides = found.curves.map(|c| c.points);
    let midline = bisecting(&about.midline, &sides)?;
    if covered(plane, &midline, &sides)? > MOST_COVERED {
        return None;
    }
    Glance { midline, score: found.score, ..*about }.with_halves(&sides)
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
    /// The place before its rim is looked at.
    pub fn unseen(&self, view: Option<View>) -> Glance {
        let view = view.or(self.fit.view());
        let midline = Midline::new(self.ends_mm[0], self.ends_mm[1], view.unwrap_or(View::Top));
        let merit = self.merit;
        Glance { view, midline, score: f64::NEG_INFINITY, merit, wider_behind_mm: 0.0, lopsided_mm: 0.0 }
    }
}

/// Places where a saddle may lie, best first.
pub fn places(plane: &PlaneView) -> Vec<Place> {
    let lines = Lines::of(plane);
    let (coarse, close) = (lines.widened(COARSE_MM), lines.widened(CLOSE_MM));
    let mut first: Vec<(f64, Pose)> = pose::search(&lines, &coarse, (plane.columns, plane.rows), COARSE)
        .into_par_iter()
        .filter_map(|pose| Some((standing(plane, &pose, &pose.fit(&coarse))?.0, pose)))
        .collect();
    first.sort_by(|a, b| b.0.total_cmp(&a.0));
    first.truncate(CLOSE);
    let mut close: Vec<Place> = first
        .into_par_iter()
        .filter_map(|(_, pose)| {
            let (pose, fit) = pose.refined(&close);
            let ends_mm = pose.ends().map(|e| plane.point_of(e));
            let (standing, merit) = standing(plane, &pose, &fit)?;
            Some(Place { pose, fit, ends_mm, standing, merit })
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
    let plane = plane_of(around, lift).ok_or_else(view_unclear)?;
    let close = Lines::of(&plane).widened(CLOSE_MM);
    Pose::between(&plane, midline).fit(&close).view().ok_or_else(view_unclear)
}

/// The view of the plane at the lift's middle.
pub fn plane_of(around: &Surroundings, lift: &LiftProfile) -> Option<PlaneView> {
    let lift_mm = (1..10).map(|i| lift.at_mm(0.1 * f64::from(i))).sum::<f64>() / 9.0;
    PlaneView::of(around.photo, around.camera, around.cards, lift_mm)
}

/// Standing and merit of a pose; `None` where a card lies under it.
fn standing(plane: &PlaneView, pose: &Pose, fit: &Fit) -> Option<(f64, f64)> {
    let body = Body::of(plane, pose);
    let more = BODY_WEIGHT * body.apart;
    (body.covered <= MOST_COVERED).then_some((fit.total() + more, fit.without_channel() + more))
}

/// The traced points of both edges at their lift, mm in the horizontal.
fn horizontal(camera: &Camera, midline: &Midline, lift: &LiftProfile, seat: &TracedSeat) -> Sides {
    let point = |side: Side, pixel: PhotoPoint| {
        let (station, offset) = midline.locate(camera, lift, side, pixel, 0.5)?;
        Some(midline.point(station, offset, side, 0.0).horizontal())
    };
    [0, 1].map(|i| {
        let points = seat.edges[i].points.iter().flatten();
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
