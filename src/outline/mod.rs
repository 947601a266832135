//! Room 4: midline, the straightened strip, boundary tracing, and edges measured in the photo.

pub mod band;
pub mod channel;
pub mod chart;
pub mod edge;
pub mod guide;
pub mod lift;
pub mod limb;
pub mod midline;
pub mod rim;
pub mod strip;
pub mod trace;

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
}

/// Reach of the outline's strip, mm: no seat form is wider than twice this.
const SEAT_REACH_MM: f64 = 160.0;
/// Windows of the first evidence: 2 mm on either side, 5 mm along.
const FIRST_WINDOWS: Windows = Windows { length: 8, gap: 1, rows: 2 };
/// The line is straightened and followed anew this many times.
const STRAIGHTENINGS: usize = 3;

/// Traces the seat form's two edges.
///
/// # Errors
/// `edges-not-found` when no boundary runs round the form.
pub fn trace_seat(scene: &Scene, lift: &LiftProfile) -> Result<[TracedEdge; 2], Refusal> {
    let charts = SIDES.map(|side| Chart::closed(scene.midline, side));
    let evidence = charts.each_ref().map(|chart| {
        let strip = Strip::of_chart(scene.photo, scene.camera, scene.midline, lift, chart, SEAT_REACH_MM);
        Evidence::of(&strip, FIRST_WINDOWS)
    });
    let expected = |row: usize| {
        let station = charts[0].station_of(row, scene.midline)?;
        Some(guide::expected_half_width_mm(scene.view, station))
    };
    let traces =
        guide::first_trace(evidence.each_ref(), charts.each_ref(), expected, guide::LEAST_OUTLINE_MM)
            .ok_or_else(not_found)?;
    let curves = [0, 1].map(|i| straightened(scene, lift, Curve::from_reach(&charts[i], &traces[i], false)));
    let [Some(left), Some(right)] = curves else { return Err(not_found()) };
    decide(scene, lift, [left, right]).ok_or_else(not_found)
}

/// Straightens the photo along a first trace until its lines run straight.
fn straightened(scene: &Scene, lift: &LiftProfile, first: Curve) -> Option<Curve> {
    let mut curve = first;
    for _ in 0..STRAIGHTENINGS {
        let strip = band::sample(scene.photo, scene.camera, scene.midline, lift, &curve);
        let aligned = band::align(&strip)?;
        curve = curve.moved(&aligned.shifts_mm, 2.0);
    }
    Some(curve)
}

/// Picks the edge among the lines of both straightened sides, follows it row by row and measures it.
fn decide(scene: &Scene, lift: &LiftProfile, mut curves: [Curve; 2]) -> Option<[TracedEdge; 2]> {
    let sample = |curve: &Curve| band::sample(scene.photo, scene.camera, scene.midline, lift, curve);
    let middle = curves[0].point(curves[0].points.len() / 2, 0.0, scene.midline, lift);
    let mm_per_px = scene.camera.mm_per_px(middle)?;
    let mut confidences: [Vec<f64>; 2] = Default::default();
    for (nearness_mm, search_mm, looseness) in ROUNDS_MM {
        let strips = curves.each_ref().map(sample);
        let offsets = rim::edge_offsets(strips.each_ref(), mm_per_px, nearness_mm)?;
        for i in 0..2 {
            let curve = curves[i].moved(&vec![offsets[i]; curves[i].points.len()], 0.0);
            let strip = sample(&curve);
            let evidence = band::evidence(&strip, mm_per_px);
            let likeness = band::likeness_to_mean(&strip, search_mm, mm_per_px);
            let ends = ends(scene.midline, &curve);
            let (along, confidence) = edge::path(&evidence, &likeness, search_mm, |row| {
                edge::Expected::between(Some(ends), row, strip.rows, looseness)
            })?;
            curves[i] = curve.moved(&along, 1.0);
            confidences[i] = confidence;
        }
    }
    Some(
        [0, 1].map(|i| {
            edge::measure(scene.photo, scene.camera, scene.midline, lift, &curves[i], &confidences[i])
        }),
    )
}

/// How far from the middle of the band the edge is looked for, first among the lines, then row by row, mm; and how
/// loosely expectations are held.
const ROUNDS_MM: [(f64, f64, f64); 2] = [(11.0, 14.0, 2.0), (2.0, 3.0, 1.0)];

/// Offsets at which the midline's ends lie off a curve's ends.
fn ends(midline: &Midline, curve: &Curve) -> [f64; 2] {
    let last = curve.points.len() - 1;
    [(0, midline.front_mm), (last, midline.rear_mm)]
        .map(|(row, end)| (end - curve.points[row]).dot(&curve.normals[row]))
}

fn not_found() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the edges of the seat form could not be traced",
        "see that --front and --rear stand at the two ends of the seat form, and photograph it against a plain floor",
    )
}
