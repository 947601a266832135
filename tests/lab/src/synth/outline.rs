//! The exact shape of the form: its edge curves and the position of points relative to them.

use std::sync::Arc;

use nalgebra::{Vector2, Vector3};

use super::saddle::SaddleSet;
use seatspan::numeric::frame::CardPoint;
use seatspan::numeric::words::{Side, View};

/// 1 on the left, -1 on the right.
#[inline]
pub fn sign(side: Side) -> f64 {
    if side == Side::Left { 1.0 } else { -1.0 }
}

/// A form's pose and exact edge curves.
#[derive(Debug, Clone)]
pub struct Outline {
    set: SaddleSet,
    front: Vector2<f64>,
    along: Vector2<f64>,
    left: Vector2<f64>,
    /// Tangent of the saddle's roll.
    cant: f64,
    squares: Arc<Squares>,
}

/// Table of the squared half-width (without asymmetry) and its derivative by the station, for every viewing ray. Linear
/// interpolation is accurate to 0.005 mm near the edge.
#[derive(Debug)]
struct Squares(Vec<[f64; 2]>);

impl Squares {
    const FROM: f64 = -0.4;
    const STEP: f64 = 2.5e-4;
    const COUNT: usize = 7201;

    fn new(set: &SaddleSet) -> Self {
        let square = |i: usize| square_mm2(set, Self::FROM + Self::STEP * i as f64);
        let values: Vec<f64> = (0..Self::COUNT).map(square).collect();
        let slope = |i: usize| {
            let (low, high) = (i.saturating_sub(1), (i + 1).min(Self::COUNT - 1));
            (values[high] - values[low]) / ((high - low) as f64 * Self::STEP)
        };
        Self((0..Self::COUNT).map(|i| [values[i], slope(i)]).collect())
    }

    /// Square, mm2, and its derivative; `None` far from the form.
    #[inline]
    fn at(&self, station: f64) -> Option<[f64; 2]> {
        let place = (station - Self::FROM) / Self::STEP;
        let i = if place >= 0.0 { place as usize } else { return None };
        let (a, b) = (self.0.get(i)?, self.0.get(i + 1)?);
        let t = place - i as f64;
        Some([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])])
    }
}

/// The squared half-width, negative beyond the ends.
fn square_mm2(set: &SaddleSet, station: f64) -> f64 {
    let falloff = |u: f64| if u <= 0.0 { 1.0 } else { 1.0 - u.powf(ROUND_POWER) };
    let front = falloff(1.0 - station / set.front_round);
    let rear = falloff(1.0 - (1.0 - station) / set.rear_round);
    set.half_width.at(station).powi(2) * front.min(1.0) * rear.min(1.0)
}

/// Exponent p of the rounding of an end: half-width times `(1 - u^p)^(1/2)`, u from 1 at the end to 0 where the rounding begins.
/// A value a little above 2 joins the sides with continuous curvature.
const ROUND_POWER: f64 = 2.4;
/// Least width over which the height is interpolated between channel and outer edge, mm.
const LEAST_PANEL_MM: f64 = 12.0;

fn rounding(u: f64) -> f64 {
    if u <= 0.0 { 1.0 } else { (1.0 - u.min(1.0).powf(ROUND_POWER)).max(0.0).sqrt() }
}

impl Outline {
    /// The outline of a form.
    pub fn new(set: &SaddleSet) -> Self {
        let heading = set.heading_deg.to_radians();
        let along = Vector2::new(heading.cos(), heading.sin());
        let clockwise = Vector2::new(along.y, -along.x);
        let left = if set.view == View::Top { clockwise } else { -clockwise };
        let cant = set.roll_deg.to_radians().tan();
        let squares = Arc::new(Squares::new(set));
        Self { set: set.clone(), front: set.front_mm.into(), along, left, cant, squares }
    }

    /// Its parameters.
    pub fn set(&self) -> &SaddleSet {
        &self.set
    }

    /// Half-width at a station, mm; 0 outside 0 to 1.
    #[inline]
    pub fn half_mm(&self, side: Side, station: f64) -> f64 {
        if !(0.0..=1.0).contains(&station) {
            return 0.0;
        }
        let set = &self.set;
        let front = rounding(1.0 - station / set.front_round);
        let rear = rounding(1.0 - (1.0 - station) / set.rear_round);
        let skew = if side == Side::Left { set.asymmetry } else { -set.asymmetry } / 2.0;
        set.half_width.at(station) * front * rear * (1.0 + skew)
    }

    /// Half-width of the channel at a station, mm; `None` where there is none.
    #[inline]
    pub fn channel_half_mm(&self, station: f64) -> Option<f64> {
        let c = self.set.channel.as_ref().filter(|c| station > c.from && station < c.to)?;
        let end = (0.7 * c.half_width.at(0.5) / self.set.length_mm).max(1e-6);
        let near = (station - c.from).min(c.to - station);
        Some(c.half_width.at(station) * rounding(1.0 - near / end))
    }

    /// Station and distance to the left, mm, of a point of the plan.
    #[inline]
    pub fn place(&self, p: Vector2<f64>) -> (f64, f64) {
        let v = p - self.front;
        (v.dot(&self.along) / self.set.length_mm, v.dot(&self.left))
    }

    /// A direction of the plan from its components along the midline and to the left.
    pub fn direction(&self, along: f64, left: f64) -> Vector2<f64> {
        self.along * along + self.left * left
    }

    /// The point of the plan at a station and a distance to the left, mm.
    pub fn plan(&self, station: f64, left_mm: f64) -> Vector2<f64> {
        self.front + self.along * (station * self.set.length_mm) + self.left * left_mm
    }

    /// Side of a distance to the left.
    #[inline]
    pub fn side(left_mm: f64) -> Side {
        if left_mm >= 0.0 { Side::Left } else { Side::Right }
    }

    /// Height of the form without its padding, mm: interpolated between channel and outer edge, constant beyond them, and rolled
    /// about the midline.
    #[inline]
    pub fn height_mm(&self, station: f64, left_mm: f64) -> f64 {
        self.level_mm(station, left_mm) + self.canted_mm(station, left_mm)
    }

    fn level_mm(&self, station: f64, left_mm: f64) -> f64 {
        let outer = self.set.lift.at(station);
        let Some((channel, half)) = self.set.channel.as_ref().zip(self.channel_half_mm(station)) else {
            return outer;
        };
        let inner = channel.lift.at(station);
        let width = (self.half_mm(Self::side(left_mm), station) - half).max(LEAST_PANEL_MM);
        let share = ((left_mm.abs() - half) / width).clamp(0.0, 1.0);
        inner + (outer - inner) * share
    }

    #[inline]
    fn canted_mm(&self, station: f64, left_mm: f64) -> f64 {
        if self.cant == 0.0 {
            return 0.0;
        }
        let half = self.half_mm(Self::side(left_mm), station);
        self.cant * left_mm.clamp(-half, half)
    }

    /// Lift of the outer edge, mm.
    #[inline]
    pub fn edge_lift_mm(&self, side: Side, station: f64) -> f64 {
        let canted =
            if self.cant == 0.0 { 0.0 } else { self.cant * sign(side) * self.half_mm(side, station) };
        self.set.lift.at(station) + canted
    }

    /// Lift of the channel's edge, mm.
    #[inline]
    pub fn channel_lift_mm(&self, side: Side, station: f64) -> Option<f64> {
        let half = self.channel_half_mm(station)?;
        Some(self.set.channel.as_ref()?.lift.at(station) + self.cant * sign(side) * half)
    }

    /// Mean lift of both outer edges, mm, as a straight-edge across them shows it.
    pub fn mean_lift_mm(&self, station: f64) -> f64 {
        (self.edge_lift_mm(Side::Left, station) + self.edge_lift_mm(Side::Right, station)) / 2.0
    }

    /// A point of the outer edge, mm.
    pub fn edge(&self, side: Side, station: f64) -> CardPoint {
        self.lifted(side, station, self.half_mm(side, station), self.edge_lift_mm(side, station))
    }

    /// A point of the channel's edge, mm.
    pub fn channel_edge(&self, side: Side, station: f64) -> Option<CardPoint> {
        let lift = self.channel_lift_mm(side, station)?;
        Some(self.lifted(side, station, self.channel_half_mm(station)?, lift))
    }

    fn lifted(&self, side: Side, station: f64, half: f64, lift: f64) -> CardPoint {
        let p = self.plan(station, if side == Side::Left { half } else { -half });
        CardPoint::new(p.x, p.y, lift)
    }

    /// Signed distance inside the outer edge, mm: exact on the edge, within a few percent near it, rough far away.
    #[inline]
    pub fn inside_mm(&self, station: f64, left_mm: f64) -> f64 {
        let length = self.set.length_mm;
        let Some([square, slope]) = self.squares.at(station) else {
            let beyond = (-station).max(station - 1.0) * length;
            return -(beyond * beyond + 0.25 * left_mm * left_mm).sqrt();
        };
        let skew = 1.0 + sign(Self::side(left_mm)) * self.set.asymmetry / 2.0;
        let (square, slope) = (square * skew * skew, slope * skew * skew / (2.0 * length));
        let y = left_mm.abs();
        let middle = (square.max(0.0).sqrt() + y) / 2.0;
        (square - y * y) / (2.0 * (slope * slope + middle * middle).sqrt()).max(1e-9)
    }

    /// Signed distance outside the channel, mm; large where there is none.
    #[inline]
    pub fn beside_channel_mm(&self, station: f64, left_mm: f64) -> f64 {
        let Some(half) = self.channel_half_mm(station) else { return 1e3 };
        let step = 0.5 / self.set.length_mm;
        let near = |s: f64| self.channel_half_mm(s).unwrap_or(0.0);
        let slope = (near(station + step) - near(station - step)) / (2.0 * step * self.set.length_mm);
        (left_mm.abs() - half) / (1.0 + slope * slope).sqrt()
    }

    /// Approximate length along the edge from the front, mm, for spacing stitches.
    #[inline]
    pub fn run_mm(&self, station: f64, left_mm: f64) -> f64 {
        let (set, length) = (&self.set, self.set.length_mm);
        let quarter = std::f64::consts::FRAC_PI_2;
        let corner = |round: f64, s: f64| left_mm.abs().atan2((round - s) * length) * round * length;
        if station < set.front_round {
            corner(set.front_round, station)
        } else if station > 1.0 - set.rear_round {
            let turned = quarter * set.rear_round * length - corner(set.rear_round, 1.0 - station);
            quarter * set.front_round * length + (1.0 - set.front_round - set.rear_round) * length + turned
        } else {
            quarter * set.front_round * length + (station - set.front_round) * length
        }
    }

    /// Points around the form, for its pixel bounds: the outer edge widened by `spare_mm`.
    pub fn hull(&self, spare_mm: f64) -> Vec<Vector3<f64>> {
        let at = |i: usize, side: Side, sign: f64| {
            let s = i as f64 / 40.0;
            let widened = s + (s - 0.5) * 2.0 * spare_mm / self.set.length_mm;
            let p = self.plan(widened, sign * (self.half_mm(side, s) + spare_mm));
            Vector3::new(p.x, p.y, self.edge_lift_mm(side, s))
        };
        (0..=40).flat_map(|i| [at(i, Side::Left, 1.0), at(i, Side::Right, -1.0)]).collect()
    }
}
