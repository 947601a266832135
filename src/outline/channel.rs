//! The channel's two edges, seen from below.

use super::band::Curve;
use super::chart::Chart;
use super::edge::{self, EdgePoint, TracedEdge};
use super::form::FormPictures;
use super::learnt::CHANNEL_RIM;
use super::lift::LiftProfile;
use super::limb::{LimbWindow, limb_offset};
use super::rim::{self, FollowedRim};
use super::{Part, SIDES, Scene, Side};
use crate::ground::frame::{CardPoint, PhotoPoint};
use crate::refusal::{Refusal, RefusalCode};

/// A channel seen as surely as this is one, and the saddle lies upside down; seen less surely than the second value there is
/// none. Of 14 saddles upside down, none learnt from, the least sure had 0.56; of 11 the right way up the surest 0.01.
pub const CHANNEL_SEEN: f64 = 0.3;
/// See [`CHANNEL_SEEN`].
pub const NO_CHANNEL_SEEN: f64 = 0.1;
/// The first trace's steps are rounded off over this, mm.
const SMOOTHING_MM: f64 = 5.0;

/// Traces the channel's two edges, first seen with the whole form at the seat's lift, then each at its own.
///
/// # Errors
/// `edges-not-found` when no channel is seen.
pub fn trace_channel(
    scene: &Scene,
    seat_lift: &LiftProfile,
    lift: &LiftProfile,
) -> Result<[TracedEdge; 2], Refusal> {
    let pictures = FormPictures::of(scene, seat_lift);
    let seen = pictures.channel(scene).filter(|seen| seen.surely() >= CHANNEL_SEEN);
    let seen = seen.ok_or_else(not_found)?;
    let net = CHANNEL_RIM.as_ref().ok_or_else(not_found)?;
    let trace = |i: usize| -> Option<TracedEdge> {
        let at_seat = seen.points(i, None)?;
        let points: Option<Vec<_>> = at_seat
            .iter()
            .map(|p| {
                let (station, _) = scene.midline.station_and_offset(*p, Side::Left);
                let pixel =
                    scene.camera.photo_from_card(CardPoint::new(p.x, p.y, seat_lift.at_mm(station)))?;
                Some(scene.camera.card_from_photo(pixel, lift.at_mm(station))?.horizontal())
            })
            .collect();
        let chart = Chart::closed(scene.midline, SIDES[i]);
        let first = Curve::of_side(&points?, &chart, SMOOTHING_MM, true);
        let rim = rim::follow(net, scene, Part::Channel, lift, first)?;
        let mut traced =
            if rim.is_fine(scene, lift) { measure_limb(scene, lift, &rim) } else { rim.as_told(scene, lift) };
        // The rim's outwards is toward the midline; a rival's is away from it.
        traced.points.iter_mut().flatten().flat_map(|p| &mut p.rival).for_each(|r| r.apart_mm = -r.apart_mm);
        Some(traced)
    };
    let (left, right) = rayon::join(|| trace(0), || trace(1));
    Ok([left.ok_or_else(not_found)?, right.ok_or_else(not_found)?])
}

/// Half-length along the edge that one point is measured from, mm, and the window's reach over cord and ground.
const ALONG_MM: f64 = 3.0;
const LIMB_REACH_MM: (f64, f64) = (1.6, 3.2);
/// A point whose pixels do not show a cord is known to the trace's own windows only, mm.
const UNCONFIRMED_U_MM: f64 = 0.8;
/// Measures the cord's silhouette at every second row of the rim.
fn measure_limb(scene: &Scene, lift: &LiftProfile, rim: &FollowedRim) -> TracedEdge {
    let FollowedRim { curve, beliefs } = rim;
    edge::points_along(curve, beliefs, |row, belief| {
        let pixel_at =
            |offset: f64| scene.camera.photo_from_card(curve.point(row, offset, scene.midline, lift));
        let middle = pixel_at(0.0)?.vector();
        let step = pixel_at(1.0)?.vector() - middle;
        let px_per_mm = step.norm();
        let outward = step / px_per_mm;
        let window = LimbWindow { middle, outward, px_per_mm, along_mm: ALONG_MM, reach_mm: LIMB_REACH_MM };
        let (offset, u_mm) = limb_offset(scene.photo, &window).unwrap_or((0.0, UNCONFIRMED_U_MM));
        EdgePoint::of(belief, u_mm, PhotoPoint::from(middle + outward * offset * px_per_mm), pixel_at)
    })
}

fn not_found() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the edges of the channel could not be traced",
        "photograph the saddle's underside from straight above, with the channel free",
    )
}
