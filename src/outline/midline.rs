//! The midline, from the front end of the seat form to its rear end, in the card's horizontal.

use nalgebra::Vector2;

use crate::camera::Camera;
use crate::instruction::GIVE_ENDS_AGAIN;
use crate::numeric::frame::{CardPoint, PhotoPoint};
use crate::numeric::words::{Side, View};
use crate::refusal::{Refusal, RefusalCode};

use super::lift::LiftProfile;

/// Standard uncertainty of an end of the midline given by hand, along and across, mm.
pub const GIVEN_END_U_MM: f64 = 1.5;

/// Independent errors of a midline's ends, two across and two along it. Each moves the ends by so much, mm: the front end
/// across (leftwards), the rear end across, the front end along (rearwards), the rear end along.
pub type EndErrors = [[f64; 4]; 4];

/// Errors of ends given by hand.
pub const GIVEN_ENDS: EndErrors = {
    let mut errors = [[0.0; 4]; 4];
    let mut i = 0;
    while i < 4 {
        errors[i][i] = GIVEN_END_U_MM;
        i += 1;
    }
    errors
};

/// The midline: both ends projected to z = 0, and which way the rider's left is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Midline {
    /// Front end (pommel side), mm in the card's horizontal.
    pub front_mm: Vector2<f64>,
    /// Rear end (cantle side).
    pub rear_mm: Vector2<f64>,
    left: Vector2<f64>,
    end_errors: EndErrors,
}

/// Shortest and longest midline that a saddle can have, mm; what is outside is a wrong pair of points.
const LENGTH_RANGE_MM: (f64, f64) = (200.0, 750.0);

impl Midline {
    /// The midline between two points of the card's horizontal, with the errors of ends given by hand. Seen from above, the
    /// rider's left is a quarter turn counter-clockwise of the front; seen from below, clockwise.
    pub fn new(front_mm: Vector2<f64>, rear_mm: Vector2<f64>, view: View) -> Self {
        let d = (rear_mm - front_mm).normalize();
        let left = match view {
            View::Top => Vector2::new(d.y, -d.x),
            View::Underside => Vector2::new(-d.y, d.x),
        };
        Self { front_mm, rear_mm, left, end_errors: GIVEN_ENDS }
    }

    /// The midline whose ends appear at two pixels, each taken at the lift of its own end.
    ///
    /// # Errors
    /// `midline-outside` when a point is outside the photo, cannot be taken to the plane, or the length is none
    /// that a saddle has.
    pub fn from_photo(
        camera: &Camera,
        photo_size_px: (usize, usize),
        ends: [PhotoPoint; 2],
        lift: &LiftProfile,
        view: View,
    ) -> Result<Self, Refusal> {
        let [front, rear] = [(ends[0], 0.0), (ends[1], 1.0)].map(|(pixel, station)| {
            let inside = pixel.x_px >= 0.0
                && pixel.y_px >= 0.0
                && pixel.x_px <= (photo_size_px.0 - 1) as f64
                && pixel.y_px <= (photo_size_px.1 - 1) as f64;
            if inside { camera.card_from_photo(pixel, lift.at_mm(station)) } else { None }
        });
        let (Some(front), Some(rear)) = (front, rear) else {
            return Err(outside("an end of the midline lies outside the photo"));
        };
        let midline = Self::new(front.horizontal(), rear.horizontal(), view);
        let length = midline.length_mm();
        if !(LENGTH_RANGE_MM.0..=LENGTH_RANGE_MM.1).contains(&length) {
            return Err(outside(&format!("the midline given is {length:.0} mm long, which no saddle is")));
        }
        Ok(midline)
    }

    /// The midline between other ends, seen the same way.
    pub fn with_ends(&self, front_mm: Vector2<f64>, rear_mm: Vector2<f64>) -> Self {
        let d = (rear_mm - front_mm).normalize();
        let left = Vector2::new(d.y, -d.x);
        let same_way = left.dot(&self.left) > 0.0;
        Self { front_mm, rear_mm, left: if same_way { left } else { -left }, ..*self }
    }

    /// The same midline in the other view.
    pub fn mirrored(self) -> Self {
        Self { left: -self.left, ..self }
    }

    /// The same midline with other errors of its ends.
    pub fn with_end_errors(self, end_errors: EndErrors) -> Self {
        Self { end_errors, ..self }
    }

    /// Errors of its ends.
    pub fn end_errors(&self) -> EndErrors {
        self.end_errors
    }

    /// The midline with its ends moved by so much, mm, in the order of [`EndErrors`].
    pub fn moved(&self, by_mm: [f64; 4]) -> Self {
        let end = |across: f64, along: f64| self.left * across + self.along() * along;
        self.with_ends(self.front_mm + end(by_mm[0], by_mm[2]), self.rear_mm + end(by_mm[1], by_mm[3]))
    }

    /// Displacement of another midline's ends from its own, mm, in the order of [`EndErrors`].
    pub fn ends_of(&self, other: &Self) -> [f64; 4] {
        let (front, rear) = (other.front_mm - self.front_mm, other.rear_mm - self.rear_mm);
        let along = self.along();
        [front.dot(&self.left), rear.dot(&self.left), front.dot(&along), rear.dot(&along)]
    }

    /// Length in the horizontal, mm.
    pub fn length_mm(&self) -> f64 {
        (self.rear_mm - self.front_mm).norm()
    }

    /// Unit vector from front to rear.
    pub fn along(&self) -> Vector2<f64> {
        (self.rear_mm - self.front_mm) / self.length_mm()
    }

    /// Unit vector to the given side of the rider.
    pub fn toward(&self, side: Side) -> Vector2<f64> {
        match side {
            Side::Left => self.left,
            Side::Right => -self.left,
        }
    }

    /// Station (0 front, 1 rear) and distance toward `side`, mm, of a point.
    pub fn station_and_offset(&self, p: Vector2<f64>, side: Side) -> (f64, f64) {
        let v = p - self.front_mm;
        (v.dot(&self.along()) / self.length_mm(), v.dot(&self.toward(side)))
    }

    /// Station and distance toward `side`, mm, of what a pixel shows of the lifted edge: its ray is cut with the plane at the
    /// lift of its own station, which depends on the cut. Lift changes by a fraction of a millimetre per millimetre, so three
    /// iterations from any guess settle it.
    pub fn locate(
        &self,
        camera: &Camera,
        lift: &LiftProfile,
        side: Side,
        pixel: PhotoPoint,
        station_guess: f64,
    ) -> Option<(f64, f64)> {
        let mut station = station_guess;
        let mut found = None;
        for _ in 0..3 {
            let point = camera.card_from_photo(pixel, lift.at_mm(station))?;
            let (s, offset) = self.station_and_offset(point.horizontal(), side);
            station = s;
            found = Some((s, offset));
        }
        found.filter(|(s, o)| s.is_finite() && o.is_finite())
    }

    /// The point at a station and a distance toward `side`, mm, at the given lift.
    pub fn point(&self, station: f64, offset_mm: f64, side: Side, lift_mm: f64) -> CardPoint {
        let p = self.front_mm + self.along() * (station * self.length_mm()) + self.toward(side) * offset_mm;
        CardPoint::new(p.x, p.y, lift_mm)
    }
}

fn outside(text: &str) -> Refusal {
    Refusal::new(RefusalCode::MidlineOutside, text, GIVE_ENDS_AGAIN.to_string())
}
