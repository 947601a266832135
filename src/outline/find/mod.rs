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

use super::bisect::{Sides, bisecting};
use super::lift::LiftProfile;
use super::midline::Midline;
use super::{SIDES, Scene, Side, TracedSeat, View, first_curves, trace_seat};
use crate::camera::Camera;
use crate::card::FoundCard;
use crate::ground::frame::PhotoPoint;
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
    /// Fit and body together.
    pub standing: f64,
}

/// Poses of the coarse search, those of them looked at closely, and places traced to the end.
const COARSE: usize = 200;
const CLOSE: usize = 32;
const TRACED: usize = 3;
/// The coarse and the close search's plans may lie off by this, mm.
const COARSE_MM: f64 = 8.0;
const CLOSE_MM: f64 = 5.0;
/// What the inside's difference from the outside is worth beside the fit of lines.
const BODY_WEIGHT: f64 = 0.15;
/// No saddle lies under a card.
const MOST_COVERED: f64 = 0.1;
/// Places that stand lower than the best by more than this are not traced: a third of all lines of an outline.
const WORTH_TRACING: f64 = 0.2;
/// A found end may be off by this in the first trace and in the second, mm.
const END_TOLERANCES_MM: [f64; 2] = [30.0, 14.0];

/// Finds and traces the saddle, in the view given or in either.
///
/// # Errors
/// `no-saddle` where nothing looks like one, or the refusal of the tracing.
pub fn find_saddle(
    around: &Surroundings,
    lift: &LiftProfile,
    view: Option<View>,
) -> Result<FoundSaddle, Refusal> {
    let places = places(around, lift, view).ok_or_else(no_saddle)?;
    let best = places.first().ok_or_else(no_saddle)?.standing;
    let mut traced: Vec<FoundSaddle> = places
        .iter()
        .take(TRACED)
        .take_while(|p| p.standing > best - WORTH_TRACING)
        .filter_map(|place| settle(around, lift, place))
        .collect();
    traced.sort_by(|a, b| b.seat.score.total_cmp(&a.seat.score));
    traced.into_iter().next().ok_or_else(no_saddle)
}

/// Places where a saddle may lie, best first.
pub fn places(around: &Surroundings, lift: &LiftProfile, view: Option<View>) -> Option<Vec<Place>> {
    let plane = plane_of(around, lift)?;
    let lines = Lines::of(&plane);
    let (coarse, close) = (lines.widened(COARSE_MM), lines.widened(CLOSE_MM));
    let views = view.map_or(vec![View::Top, View::Underside], |v| vec![v]);
    let mut first: Vec<(f64, Pose)> = pose::search(&lines, (plane.columns, plane.rows), &views, COARSE)
        .into_par_iter()
        .filter_map(|pose| Some((standing(&plane, &pose, &pose.fit(&coarse))?, pose)))
        .collect();
    first.sort_by(|a, b| b.0.total_cmp(&a.0));
    first.truncate(CLOSE);
    let mut close: Vec<Place> = first
        .into_par_iter()
        .filter_map(|(_, pose)| {
            let (pose, fit) = pose.refined(&close);
            let ends_mm = pose.ends().map(|e| plane.point_of(e.x, e.y)).map(|(x, y)| Vector2::new(x, y));
            Some(Place { pose, fit, ends_mm, standing: standing(&plane, &pose, &fit)? })
        })
        .collect();
    close.sort_by(|a, b| b.standing.total_cmp(&a.standing));
    let mut apart: Vec<Place> = Vec::new();
    for place in close {
        if !apart.iter().any(|p| p.pose.is_near(&place.pose)) {
            apart.push(place);
        }
    }
    Some(apart)
}

/// Whether a saddle between two ends shows a channel, and so its underside.
///
/// # Errors
/// `view-unclear` where that cannot be told.
pub fn view_between(around: &Surroundings, midline: &Midline, lift: &LiftProfile) -> Result<View, Refusal> {
    let plane = plane_of(around, lift).ok_or_else(view_unclear)?;
    let close = Lines::of(&plane).widened(CLOSE_MM);
    let channel = Pose::between(&plane, midline).fit(&close).channel;
    if (channel - CHANNEL_SEEN.0).abs() < CHANNEL_SEEN.1 {
        return Err(view_unclear());
    }
    Ok(if channel > CHANNEL_SEEN.0 { View::Underside } else { View::Top })
}

/// A channel is seen along more than this part of it, a seat without one shows such pairs of lines along less; near it
/// neither can be said.
const CHANNEL_SEEN: (f64, f64) = (0.62, 0.08);

fn plane_of(around: &Surroundings, lift: &LiftProfile) -> Option<PlaneView> {
    let lift_mm = (1..10).map(|i| lift.at_mm(0.1 * f64::from(i))).sum::<f64>() / 9.0;
    PlaneView::of(around.photo, around.camera, around.cards, lift_mm)
}

fn standing(plane: &PlaneView, pose: &Pose, fit: &Fit) -> Option<f64> {
    let body = Body::of(plane, pose);
    (body.covered <= MOST_COVERED).then_some(fit.total(pose.shape.view) + BODY_WEIGHT * body.apart)
}

/// Traces a place, with the midline moved to where the traces have their middle and ends.
pub fn settle(around: &Surroundings, lift: &LiftProfile, place: &Place) -> Option<FoundSaddle> {
    let view = place.pose.shape.view;
    let mut midline = Midline::new(place.ends_mm[0], place.ends_mm[1], view);
    for tolerance_mm in END_TOLERANCES_MM {
        let curves = first_curves(&around.scene(&midline, view), lift, tolerance_mm)?;
        midline = bisecting(&midline, &curves.map(|c| c.points))?;
    }
    let scene = around.scene(&midline, view);
    let seat = trace_seat(&scene, lift, first_curves(&scene, lift, END_TOLERANCES_MM[1])).ok()?;
    let midline = bisecting(&midline, &horizontal(around.camera, &midline, lift, &seat))?;
    Some(FoundSaddle { view, midline, seat })
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

fn view_unclear() -> Refusal {
    Refusal::new(
        RefusalCode::ViewUnclear,
        "it cannot be told whether the saddle is seen from above or from below",
        "say so with --view top or --view underside",
    )
}
