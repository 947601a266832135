//! The chart in which an edge is a function: rows go round one side of the saddle from its front end to its rear
//! end, and the reach is the distance outwards.
//!
//! Between two pivots on the midline the rows stand at right angles to it, one a millimetre; before the front pivot
//! and behind the rear one they fan out, so that the rounded ends are crossed squarely too.

use nalgebra::Vector2;

use super::midline::Midline;
use super::{Side, lift::LiftProfile};
use crate::numeric::frame::CardPoint;

/// One row: where it starts on the midline and which way it goes.
#[derive(Debug, Clone, Copy)]
pub struct Ray {
    /// Start, mm in the card's horizontal.
    pub start_mm: Vector2<f64>,
    /// Unit vector outwards.
    pub direction: Vector2<f64>,
}

/// The rows of one side.
#[derive(Debug, Clone)]
pub struct Chart {
    /// The rows from front to rear.
    pub rays: Vec<Ray>,
    /// Reach of the outline at the first and last row, where the midline's ends are.
    pub end_reach_mm: [f64; 2],
}

/// Rows stand this far apart along the midline, mm.
const ROW_STEP_MM: f64 = 1.0;
/// Distance of the front pivot from the front end, in lengths of the midline: about half the width of a pommel.
const FRONT_PIVOT: f64 = 0.10;
/// The same at the rear, about half the width of a cantle.
const REAR_PIVOT: f64 = 0.20;

impl Chart {
    /// The chart of a closed outline's side.
    pub fn closed(midline: &Midline, side: Side) -> Self {
        let length = midline.length_mm();
        let (front, rear) = (FRONT_PIVOT * length, REAR_PIVOT * length);
        let (along, out) = (midline.along(), midline.toward(side));
        let fan = |pivot_mm: f64, radius: f64, end: f64| {
            let start_mm = midline.front_mm + along * pivot_mm;
            let steps = (radius * std::f64::consts::FRAC_PI_2 / ROW_STEP_MM).round().max(4.0) as usize;
            (0..steps).map(move |i| {
                let angle = std::f64::consts::FRAC_PI_2 * i as f64 / steps as f64;
                Ray { start_mm, direction: along * (end * angle.cos()) + out * angle.sin() }
            })
        };
        let steps = ((length - front - rear) / ROW_STEP_MM).round() as usize;
        let straight = (0..=steps).map(|i| Ray {
            start_mm: midline.front_mm + along * (front + (length - front - rear) * i as f64 / steps as f64),
            direction: out,
        });
        let mut rear_rays: Vec<Ray> = fan(length - rear, rear, 1.0).collect();
        rear_rays.reverse();
        let rays = fan(front, front, -1.0).chain(straight).chain(rear_rays).collect();
        Self { rays, end_reach_mm: [front, rear] }
    }

    /// The place of a reach between two rows, mm in the card's horizontal.
    pub fn plan_point(&self, row: f64, reach_mm: f64) -> Vector2<f64> {
        let low = (row as usize).min(self.rays.len() - 2);
        let t = row - low as f64;
        let (a, b) = (&self.rays[low], &self.rays[low + 1]);
        let start_mm = a.start_mm * (1.0 - t) + b.start_mm * t;
        start_mm + (a.direction * (1.0 - t) + b.direction * t).normalize() * reach_mm
    }

    /// The row, with a fraction, that crosses a place of the card's horizontal, and its reach there, mm; `None` for a place on
    /// the other side.
    pub fn place_of(&self, p: Vector2<f64>) -> Option<(f64, f64)> {
        let beside = |ray: &Ray| ray.direction.perp(&(p - ray.start_mm));
        self.rays.windows(2).enumerate().find_map(|(row, pair)| {
            let (a, b) = (beside(&pair[0]), beside(&pair[1]));
            let reach_mm = (p - pair[0].start_mm).dot(&pair[0].direction);
            (a * b <= 0.0 && a != b && reach_mm > 0.0).then(|| (row as f64 + a / (a - b), reach_mm))
        })
    }

    /// The point of a reach between two rows, at the profile's lift there.
    pub fn point_between(&self, row: f64, reach_mm: f64, midline: &Midline, lift: &LiftProfile) -> CardPoint {
        let p = self.plan_point(row, reach_mm);
        let (station, _) = midline.station_and_offset(p, Side::Left);
        CardPoint::new(p.x, p.y, lift.at_mm(station))
    }
}
