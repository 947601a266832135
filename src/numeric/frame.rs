//! Points with their frame in the type, so that a pixel never passes for a millimetre.
//!
//! Frames of the project:
//! - [`PhotoPoint`]: pixels of the upright photo (EXIF orientation applied), origin at the centre of the
//!   top-left pixel, x right, y down.
//! - [`IdealPoint`]: the picture of an ideal camera of focal length 1: x = X/Z, y = Y/Z, no distortion, no unit.
//! - [`CardPoint`]: millimetres in the frame of the reference card: origin at the pattern's centre, x to the
//!   right of the printed sheet, y to its top, z out of the paper toward the viewer (the *lift*).

use nalgebra::{Vector2, Vector3};

/// A point in the upright photo, in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PhotoPoint {
    /// Pixels to the right of the centre of the top-left pixel.
    pub x_px: f64,
    /// Pixels below the centre of the top-left pixel.
    pub y_px: f64,
}

impl PhotoPoint {
    /// A photo point from its coordinates in pixels.
    pub const fn new(x_px: f64, y_px: f64) -> Self {
        Self { x_px, y_px }
    }

    /// Distance to another photo point, in pixels.
    pub fn distance_px(self, other: Self) -> f64 {
        (self.x_px - other.x_px).hypot(self.y_px - other.y_px)
    }

    /// The point at a part of the way to another.
    pub fn toward(self, other: Self, part: f64) -> Self {
        Self::new(self.x_px + (other.x_px - self.x_px) * part, self.y_px + (other.y_px - self.y_px) * part)
    }

    /// True when both coordinates are finite.
    pub fn is_finite(self) -> bool {
        self.x_px.is_finite() && self.y_px.is_finite()
    }

    /// The coordinates as a vector, in pixels.
    pub fn vector(self) -> Vector2<f64> {
        Vector2::new(self.x_px, self.y_px)
    }
}

impl From<Vector2<f64>> for PhotoPoint {
    fn from(v: Vector2<f64>) -> Self {
        Self::new(v.x, v.y)
    }
}

/// A point in the picture of an ideal camera of focal length 1 (no unit).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IdealPoint {
    /// X/Z in the camera's axes.
    pub x: f64,
    /// Y/Z in the camera's axes.
    pub y: f64,
}

/// A point in the card frame, in millimetres. On the card's plane `z_mm` is 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CardPoint {
    /// To the right of the printed sheet.
    pub x_mm: f64,
    /// To the top of the printed sheet.
    pub y_mm: f64,
    /// Out of the paper: the lift.
    pub z_mm: f64,
}

impl CardPoint {
    /// A point from its coordinates in millimetres.
    pub const fn new(x_mm: f64, y_mm: f64, z_mm: f64) -> Self {
        Self { x_mm, y_mm, z_mm }
    }

    /// The coordinates as a vector, in millimetres.
    pub fn vector(self) -> Vector3<f64> {
        Vector3::new(self.x_mm, self.y_mm, self.z_mm)
    }

    /// The horizontal part (x, y) as a vector, in millimetres.
    pub fn horizontal(self) -> Vector2<f64> {
        Vector2::new(self.x_mm, self.y_mm)
    }
}

impl From<Vector3<f64>> for CardPoint {
    fn from(v: Vector3<f64>) -> Self {
        Self::new(v.x, v.y, v.z)
    }
}
