//! Room 4: midline, the straightened strip, boundary tracing, and edges measured in the photo.

pub mod band;
pub mod bisect;
pub mod channel;
pub mod chart;
pub mod dome;
pub mod edge;
pub mod find;
pub mod guide;
pub mod lift;
pub mod limb;
pub mod midline;
pub mod novelty;
pub mod rim;
pub mod search;
pub mod sight;
pub mod silhouette;
pub mod strip;
pub mod trace;
pub mod welt;

pub use crate::ground::words::{SIDES, Side, View};

use crate::camera::Camera;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use band::Curve;
use chart::Chart;
use edge::TracedEdge;
use lift::LiftProfile;
use midline::Midline;
use strip::{Evidence, Strip, Windows};

/// The traced outline of a saddle.
#[derive(Debug, Clone)]
pub struct Outline {
    /// Left and right edge of the seat form (underside: the panels' outer edges).
    pub seat: [TracedEdge; 2],
    /// Left and right edge of the channel, underside only.
    pub channel: Option<[TracedEdge; 2]>,
}

/// What the tracing works with.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The photo.
    pub photo: &'a Photo,
    /// Its camera.
    pub camera: &'a Camera,
    /// The midline.
    pub midline: &'a Midline,
    /// How the saddle is seen.
    pub view: View,
    /// Blur of the photo as the card shows it (standard deviation of the edge spread), pixels.
    pub blur_px: f64,
}

/// Reach of the outline's strip, mm: no seat form is wider than twice this.
const SEAT_REACH_MM: f64 = 160.0;
/// Windows of the first evidence: 2 mm on either side, 5 mm along.
const FIRST_WINDOWS: Windows = Windows { length: 8, gap: 1, rows: 2 };

/// The seat form as traced.
#[derive(Debug, Clone)]
pub struct TracedSeat {
    /// Left and right edge.
    pub edges: [TracedEdge; 2],
    /// How well a saddle's rim is seen along them, as [`welt::Followed::score`].
    pub score: f64,
}

/// Ends pointed at by hand lie within this of the outline, mm.
pub const GIVEN_END_TOLERANCE_MM: f64 = 4.0;

/// A first trace of the seat form's two edges, along some of the lines of its rim, through the midline's ends give or take a
/// tolerance. `None` when no line runs round the form.
pub fn first_curves(scene: &Scene, lift: &LiftProfile, end_tolerance_mm: f64) -> Option<[Curve; 2]> {
    let charts = SIDES.map(|side| Chart::closed(scene.midline, side));
    let evidence = charts.each_ref().map(|chart| {
        let strip = Strip::of_chart(scene.photo, scene.camera, scene.midline, lift, chart, SEAT_REACH_MM);
        Evidence::of(&strip, FIRST_WINDOWS)
    });
    let expected = |row: usize| {
        let station = charts[0].station_of(row, scene.midline)?;
        Some(guide::expected_half_width_mm(scene.view, station))
    };
    let traces = guide::first_trace(evidence.each_ref(), charts.each_ref(), expected, end_tolerance_mm)?;
    Some([0, 1].map(|i| Curve::from_reach(&charts[i], &traces[i], false)))
}

/// Traces the seat form's two edges from a first trace of them.
///
/// # Errors
/// `edges-not-found` when no boundary runs round the form.
pub fn trace_seat(
    scene: &Scene,
    lift: &LiftProfile,
    first: Option<[Curve; 2]>,
) -> Result<TracedSeat, Refusal> {
    let found = first
        .and_then(|first| search::find_welt(scene, lift, first, search::THOROUGH))
        .ok_or_else(not_found)?;
    let [left, right] = found.curves;
    let follow = |curve, i: usize| edge::follow(scene, lift, curve, &found.beliefs[i], found.width_mm);
    let [Some(left), Some(right)] = [follow(left, 0), follow(right, 1)] else { return Err(not_found()) };
    Ok(TracedSeat { edges: [left, right], score: found.score })
}

fn not_found() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the edges of the seat form could not be traced",
        "photograph it against a plain floor, or give its two ends with --front and --rear",
    )
}
