//! Lens, pose, and the bundle adjustment that finds both from the cards' sides; from pixels to the card's plane and to
//! planes above it.

pub mod ambiguity;
pub mod bank_card;
pub mod bundle;
pub mod calibrate;
pub mod camera_fit;
pub mod fit;
pub mod fit_together;
pub mod lens;
pub mod lens_choice;
pub mod lens_file;
pub mod level;
pub mod paper;
pub mod parameter;
pub mod placement;
pub mod pose;
pub mod print_scale;
pub mod prior;
pub mod target;
#[cfg(test)]
mod tests;

use nalgebra::Vector3;

use crate::numeric::frame::{CardPoint, PhotoPoint};
use lens::Lens;
use pose::CameraPose;

/// Camera of a photo of the reference card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    /// The lens.
    pub lens: Lens,
    /// The camera's pose over the first card, which is the world.
    pub pose: CameraPose,
}

impl Camera {
    /// The pixel where a point of the card frame appears; `None` behind the camera.
    #[inline]
    pub fn photo_from_card(&self, p: CardPoint) -> Option<PhotoPoint> {
        Some(self.lens.photo_from_ideal(self.pose.ideal_from_card(p)?))
    }

    /// The point at height `lift_mm` over the card's plane that appears at a pixel: the pixel's viewing ray cut by
    /// the plane z = lift. `None` when the ray misses the plane or the lens model does not reach the pixel.
    pub fn card_from_photo(&self, pixel: PhotoPoint, lift_mm: f64) -> Option<CardPoint> {
        let ideal = self.lens.ideal_from_photo(pixel)?;
        let direction = self.pose.rotation.inverse() * Vector3::new(ideal.x, ideal.y, 1.0);
        let centre = self.pose.centre_in_card().vector();
        let along = (lift_mm - centre.z) / direction.z;
        let point = centre + along * direction;
        (along > 0.0 && point.iter().all(|v| v.is_finite())).then(|| CardPoint::from(point))
    }

    /// Height of the camera's centre over the card's plane, mm.
    pub fn height_mm(&self) -> f64 {
        self.pose.centre_in_card().z_mm
    }

    /// Millimetres on the plane at `p`'s lift that one pixel covers there (geometric mean of both directions).
    pub fn mm_per_px(&self, p: CardPoint) -> Option<f64> {
        let here = self.photo_from_card(p)?.vector();
        let right = self.photo_from_card(CardPoint::new(p.x_mm + 1.0, p.y_mm, p.z_mm))?.vector() - here;
        let up = self.photo_from_card(CardPoint::new(p.x_mm, p.y_mm + 1.0, p.z_mm))?.vector() - here;
        let area = (right.x * up.y - right.y * up.x).abs();
        (area > 0.0).then(|| 1.0 / area.sqrt())
    }
}
