//! Flat target in a photo.

use nalgebra::{Matrix3, Vector3};

use crate::card::FoundCard;
use crate::card::side::Observation;

/// Flat target as one photo shows it.
#[derive(Debug, Clone)]
pub struct TargetView {
    /// Half-width and half-height of the target, mm, for its bend.
    pub halves_mm: [f64; 2],
    /// Homography from the target (mm) to photo pixels, for the start.
    pub photo_from_target: Matrix3<f64>,
    /// The measured points.
    pub observations: Vec<Observation>,
}

impl From<&FoundCard> for TargetView {
    fn from(card: &FoundCard) -> Self {
        let scale = card.print_scale;
        let nominal_from_true = Matrix3::from_diagonal(&Vector3::new(1.0 / scale, 1.0 / scale, 1.0));
        Self {
            halves_mm: [card.pattern.width_mm, card.pattern.height_mm].map(|mm| scale * mm / 2.0),
            photo_from_target: card.photo_from_plane * nominal_from_true,
            observations: card.observations(),
        }
    }
}

impl TargetView {
    /// The view in a picture that is turned or mirrored.
    pub fn turned(&self, turned_from_photo: &Matrix3<f64>) -> Self {
        let turn = turned_from_photo.fixed_view::<2, 2>(0, 0).into_owned();
        let moved = |o: &Observation| Observation {
            measured: (turned_from_photo * o.measured.vector().push(1.0)).xy().into(),
            across: turn * o.across,
            ..*o
        };
        Self {
            photo_from_target: turned_from_photo * self.photo_from_target,
            observations: self.observations.iter().map(moved).collect(),
            ..*self
        }
    }
}
