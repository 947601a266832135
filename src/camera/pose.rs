//! Where the camera stands: rigid maps, and the start pose from a planar homography.

use nalgebra::{Matrix3, Rotation3, SVD, Vector3};

use crate::numeric::frame::{CardPoint, IdealPoint};

/// A rigid map: `x_camera = rotation * x_card + translation_mm`; camera axes x right, y down, z forward.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// Rotation from the card frame to the camera's axes.
    pub rotation: Rotation3<f64>,
    /// The card's origin in the camera's axes, mm.
    pub translation_mm: Vector3<f64>,
}

impl Pose {
    /// The card point in the camera's axes, mm.
    #[inline]
    pub fn camera_from_card(&self, p: CardPoint) -> Vector3<f64> {
        self.rotation * p.vector() + self.translation_mm
    }

    /// The ideal picture of a card point; `None` behind the camera.
    #[inline]
    pub fn ideal_from_card(&self, p: CardPoint) -> Option<IdealPoint> {
        let c = self.camera_from_card(p);
        (c.z > 1.0).then(|| IdealPoint { x: c.x / c.z, y: c.y / c.z })
    }

    /// The camera's centre in the card frame.
    pub fn centre_in_card(&self) -> CardPoint {
        CardPoint::from(-(self.rotation.inverse() * self.translation_mm))
    }

    /// Angle between the optical axis and the card's normal, degrees: 0 looking straight down.
    pub fn tilt_deg(&self) -> f64 {
        (-self.rotation.matrix()[(2, 2)]).clamp(-1.0, 1.0).acos().to_degrees()
    }

    /// The pose whose card plane is mirrored about the line of sight to its origin: the second local minimum of
    /// a plane's pose (D. Oberkampf, D. F. DeMenthon, L. S. Davis 1996).
    pub fn mirrored(&self) -> Self {
        let sight = self.translation_mm.normalize();
        let normal = self.rotation * Vector3::z();
        let other_normal = 2.0 * sight * sight.dot(&normal) - normal;
        let turn = Rotation3::rotation_between(&normal, &other_normal).unwrap_or_else(Rotation3::identity);
        Self { rotation: turn * self.rotation, translation_mm: self.translation_mm }
    }
}

/// The pose that a homography from the card's plane (mm) to the ideal picture stands for. `None` when degenerate.
///
/// `H ~ [r1 r2 t]` (Z. Zhang 2000, section 3.1); the rotation is the nearest to the two columns by SVD.
pub fn pose_from_homography(ideal_from_plane: &Matrix3<f64>) -> Option<Pose> {
    let (h1, h2, h3) = (ideal_from_plane.column(0), ideal_from_plane.column(1), ideal_from_plane.column(2));
    let size = (h1.norm() * h2.norm()).sqrt();
    if !(size.is_finite() && size > 0.0) {
        return None;
    }
    let sign = if h3.z < 0.0 { -1.0 } else { 1.0 } / size;
    let (r1, r2) = (h1 * sign, h2 * sign);
    let svd = SVD::new(Matrix3::from_columns(&[r1, r2, r1.cross(&r2)]), true, true);
    let rotation = svd.u? * svd.v_t?;
    (rotation.determinant() > 0.0)
        .then(|| Pose { rotation: Rotation3::from_matrix_unchecked(rotation), translation_mm: h3 * sign })
}
