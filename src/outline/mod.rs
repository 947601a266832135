//! The outline in the photo: midline, form, rim and edges.
//!
//! - *form*: the closed outline of the seat, traced first, in a *chart* for each side: rows round the side, columns outwards;
//! - *rim*: the same edge refined in a *band*, 25 mm to either side of that first trace;
//! - *strip*: the photo resampled along a chart or a band;
//! - *station*: a place along the midline, 0 at the front and 1 at the rear.

pub mod bisect;
pub mod channel;
pub mod chart;
pub mod curve;
pub mod edge;
pub mod find;
pub mod form;
pub mod hint;
pub mod lift;
pub mod midline;
pub mod network;
pub mod rim;
pub mod strip;
pub mod trace;

pub use crate::numeric::words::{Part, SIDES, Side, View};

use crate::camera::Camera;
use crate::explain::{Explanation, Picture};
use crate::instruction::GIVE_ENDS;
use crate::numeric::parallel;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use edge::TracedEdge;
use form::{FormPictures, LEAST_VISIBILITY};
use hint::Hint;
use lift::LiftProfile;
use midline::Midline;

/// The traced outline of a saddle.
#[derive(Debug, Clone)]
pub struct Outline {
    /// Left and right edge of the seat form (underside: the panels' outer edges).
    pub seat: [TracedEdge; 2],
    /// Left and right edge of the channel, underside only.
    pub channel: Option<[TracedEdge; 2]>,
}

/// A stretch of an edge that a person says is hidden.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HiddenStretch {
    /// Of which pair of edges.
    pub part: Part,
    /// Which of the two.
    pub side: Side,
    /// First station.
    pub from: f64,
    /// Last station.
    pub to: f64,
}

impl Outline {
    /// Removes the points along hidden stretches; nothing replaces them.
    pub fn hide(
        &mut self,
        scene: &Scene,
        seat_lift: &LiftProfile,
        channel_lift: &LiftProfile,
        stretches: &[HiddenStretch],
    ) {
        for stretch in stretches {
            let (pair, lift) = match stretch.part {
                Part::Seat => (Some(&mut self.seat), seat_lift),
                Part::Channel => (self.channel.as_mut(), channel_lift),
            };
            let Some(pair) = pair else { continue };
            let edge = &mut pair[usize::from(stretch.side == Side::Right)];
            for point in edge.points.iter_mut() {
                let station =
                    point.and_then(|p| scene.midline.locate(scene.camera, lift, stretch.side, p.pixel, 0.5));
                if station.is_some_and(|(s, _)| (stretch.from..=stretch.to).contains(&s)) {
                    *point = None;
                }
            }
        }
    }
}

/// A photo with the midline about which its edges are traced.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The photo.
    pub photo: &'a Photo,
    /// Its camera.
    pub camera: &'a Camera,
    /// The midline.
    pub midline: &'a Midline,
    /// Points on edges, given by hand.
    pub hints: &'a [Hint],
    /// Collector of explanation pictures.
    pub explain: &'a Explanation,
}

/// Ends given by hand are within this of the outline, mm.
pub const GIVEN_END_TOLERANCE_MM: f64 = 4.0;

/// Traces the seat form's two edges, from pictures about the scene's midline, whose ends are on the outline within a
/// tolerance, mm.
///
/// # Errors
/// `edges-not-found` when no boundary runs round the form.
pub fn trace_seat(
    scene: &Scene,
    pictures: &FormPictures,
    lift: &LiftProfile,
    end_tolerance_mm: f64,
) -> Result<[TracedEdge; 2], Refusal> {
    let form = pictures.edges();
    for (posterior, name) in form.posteriors.iter().zip(["form-left", "form-right"]) {
        scene.explain.add(|| {
            Picture::probabilities(name, [posterior.rows, posterior.columns], 4, |r, c| {
                posterior.row(r)[c].exp()
            })
        });
    }
    if !(form.visibility() >= LEAST_VISIBILITY) {
        return Err(not_found());
    }
    let [left, right] = form.curves(end_tolerance_mm).ok_or_else(not_found)?;
    let trace = |curve| {
        let rim = rim::follow(&network::RIM, scene, Part::Seat, lift, curve)?;
        Some(TracedEdge::of(scene, lift, &rim))
    };
    let (left, right) = parallel::join(|| trace(left), || trace(right));
    Ok([left.ok_or_else(not_found)?, right.ok_or_else(not_found)?])
}

fn not_found() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the edges of the seat form could not be traced",
        format!("photograph it against a plain floor, or {GIVE_ENDS}"),
    )
}
