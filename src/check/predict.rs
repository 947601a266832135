//! Predicted uncertainty of a width of 230 mm in the middle of the frame, from the same budget as a measured width: camera,
//! heights, print, piping. The edge itself is not traced here; its uncertainty is predicted from the blur of the card's edges.

use nalgebra::Vector2;

use crate::camera::fit::CameraFit;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Pair, Part, View as Seen};
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;
use crate::width::influence::Budget;
use crate::width::response::{Cut, CutSide, Inputs};

/// The predicted width, mm: about that of a seat.
pub const WIDTH_MM: f64 = 230.0;
/// Length of its midline, mm.
const LENGTH_MM: f64 = 430.0;
/// Height of the edges over a card that was laid as the guide asks, mm: the rest of their wave (a stated assumption).
pub const USUAL_LIFT_MM: f64 = 25.0;

/// Whether the heights of the edges are known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heights {
    /// Measured with a ruler.
    Measured,
    /// Unknown.
    Unknown,
}

/// Budget of the width around the point of the card's plane seen at `middle`, along the less certain of the sheet's two
/// directions. `None` where the camera does not see that plane there.
pub fn budget(
    fit: &CameraFit,
    middle: PhotoPoint,
    edge_u_mm: f64,
    print_scale_u: f64,
    heights: Heights,
) -> Option<Budget> {
    let lift = match heights {
        Heights::Measured => LiftProfile::measured([0.0, 0.5, 1.0].map(|s| (s, USUAL_LIFT_MM)).to_vec())?,
        Heights::Unknown => LiftProfile::unknown(),
    };
    let centre = fit.camera.card_from_photo(middle, lift.at_mm(0.5))?.horizontal();
    [Vector2::x(), Vector2::y()]
        .into_iter()
        .map(|along| budget_along(fit, centre, along, [edge_u_mm, print_scale_u], &lift))
        .collect::<Option<Vec<_>>>()?
        .into_iter()
        .max_by(|a, b| a.u().total_cmp(&b.u()))
}

fn budget_along(
    fit: &CameraFit,
    centre: Vector2<f64>,
    along: Vector2<f64>,
    [edge_u_mm, print_scale_u]: [f64; 2],
    lift: &LiftProfile,
) -> Option<Budget> {
    let half = along * (LENGTH_MM / 2.0);
    let midline = Midline::new(centre - half, centre + half, Seen::Top);
    let side = |side| {
        let at = midline.point(0.5, WIDTH_MM / 2.0, side, lift.at_mm(0.5));
        let pixel = fit.camera.photo_from_card(at)?;
        Some(CutSide { pixel, slope: 0.0, u_mm: edge_u_mm, doubt_mm: 0.0 })
    };
    let cut = Cut { part: Part::Seat, station: 0.5, sides: Pair::try_of(side)? };
    let inputs = Inputs { fit, midline: &midline, seat_lift: lift, channel_lift: lift, print_scale_u };
    inputs.width_budget(cut)
}
