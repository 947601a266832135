//! The channel's two edges, seen from below.

use super::curve::Curve;
use super::edge::TracedEdge;
use super::form::FormPictures;
use super::lift::LiftProfile;
use super::network::CHANNEL_RIM;
use super::rim;
use super::{Part, Scene, Side};
use crate::numeric::frame::CardPoint;
use crate::numeric::parallel;
use crate::refusal::{Refusal, RefusalCode};

/// From this visibility on there is a channel, and the saddle is upside down; up to the second value there is none. Of 14
/// saddles upside down, none of them trained on, the least had 0.56; of 11 the right way up the greatest 0.01.
pub const CHANNEL_SEEN: f64 = 0.3;
/// See [`CHANNEL_SEEN`].
pub const NO_CHANNEL_SEEN: f64 = 0.1;
/// The first trace's steps are rounded off over this, mm.
const SMOOTHING_MM: f64 = 5.0;

/// Traces the channel's two edges, first in the pictures of the form at the lift of these, then each in a band at its own.
///
/// # Errors
/// `edges-not-found` when no channel is seen.
pub fn trace_channel(
    scene: &Scene,
    pictures: &FormPictures,
    channel_lift: &LiftProfile,
) -> Result<[TracedEdge; 2], Refusal> {
    let posterior = pictures.channel().filter(|posterior| posterior.visibility() >= CHANNEL_SEEN);
    let posterior = posterior.ok_or_else(not_found)?;
    let trace = |i: usize| -> Option<TracedEdge> {
        let in_pictures = posterior.points(i, None)?;
        let points: Option<Vec<_>> = in_pictures
            .iter()
            .map(|p| {
                let (station, _) = scene.midline.station_and_offset(*p, Side::Left);
                let pixel =
                    scene.camera.photo_from_card(CardPoint::new(p.x, p.y, pictures.lift.at_mm(station)))?;
                Some(scene.camera.card_from_photo(pixel, channel_lift.at_mm(station))?.horizontal())
            })
            .collect();
        let first = Curve::of_side(&points?, &pictures.charts[i], SMOOTHING_MM, true);
        let rim = rim::follow(&CHANNEL_RIM, scene, Part::Channel, channel_lift, first)?;
        let mut traced = TracedEdge::of(scene, channel_lift, &rim);
        // The rim's outwards is toward the midline; a rival's is away from it.
        for point in traced.points.iter_mut().flatten() {
            point.rivals.iter_mut().flatten().for_each(|r| r.apart_mm = -r.apart_mm);
            point.rivals.reverse();
        }
        Some(traced)
    };
    let (left, right) = parallel::join(|| trace(0), || trace(1));
    Ok([left.ok_or_else(not_found)?, right.ok_or_else(not_found)?])
}

fn not_found() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the edges of the channel could not be traced",
        "photograph the saddle's underside from above, with the channel free",
    )
}
