//! Rigid pose of a card in the camera's axes, and its start from a planar homography.

use nalgebra::{Matrix3, Rotation3, SVD, Vector2, Vector3};

use super::lens::Intrinsics;
use crate::numeric::frame::{CardPoint, IdealPoint};

/// Rigid map from a card to the camera: `x_camera = rotation * x_card + translation_mm`; camera axes x right, y down,
/// z forward.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CameraPose {
    /// Rotation from the card frame to the camera's axes.
    pub rotation: Rotation3<f64>,
    /// The card's origin in the camera's axes, mm.
    pub translation_mm: Vector3<f64>,
}

impl CameraPose {
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

/// The pose of a homography from the card's plane (mm) to the ideal picture. `None` when degenerate.
///
/// `H ~ [r1 r2 t]` (Z. Zhang 2000, section 3.1); the rotation is the nearest to the two columns by SVD.
pub fn pose_from_homography(ideal_from_plane: &Matrix3<f64>) -> Option<CameraPose> {
    let (h1, h2, h3) = (ideal_from_plane.column(0), ideal_from_plane.column(1), ideal_from_plane.column(2));
    let size = (h1.norm() * h2.norm()).sqrt();
    if !(size.is_finite() && size > 0.0) {
        return None;
    }
    let sign = if h3.z < 0.0 { -1.0 } else { 1.0 } / size;
    let (r1, r2) = (h1 * sign, h2 * sign);
    let svd = SVD::new(Matrix3::from_columns(&[r1, r2, r1.cross(&r2)]), true, true);
    let rotation = svd.u? * svd.v_t?;
    (rotation.determinant() > 0.0).then(|| CameraPose {
        rotation: Rotation3::from_matrix_unchecked(rotation),
        translation_mm: h3 * sign,
    })
}

/// A pose together with the lens it was found with, about which poses are parametrised.
///
/// The parameters are what the photo shows of the card: its turn against the line of sight, the place of its origin
/// and its size. Each is measured to a fraction of a pixel whatever the lens is. The translation in millimetres
/// instead follows the focal length along a curved valley, in which a Gauss-Newton step cannot stay.
#[derive(Debug, Clone, Copy)]
pub(super) struct PoseStart {
    pub pose: CameraPose,
    origin_px: Vector2<f64>,
    focal_px: f64,
}

impl PoseStart {
    pub fn new(pose: CameraPose, lens: &Intrinsics) -> Self {
        let seen = lens.matrix() * (pose.translation_mm / pose.translation_mm.z);
        Self { pose, origin_px: seen.xy(), focal_px: lens.fx_px }
    }

    /// `None` when the homography from the card's plane (mm) to the photo is degenerate.
    pub fn from_homography(photo_from_plane: &Matrix3<f64>, lens: &Intrinsics) -> Option<Self> {
        Some(Self::new(pose_from_homography(&(lens.matrix().try_inverse()? * photo_from_plane))?, lens))
    }

    /// The pose that shows the card in the same place, in the same size and from the same side through another lens,
    /// then changed by the parameters: turn (camera axes, radians), shift in the photo (px), logarithm of the distance.
    pub fn through(&self, lens: &Intrinsics, parameters: &[f64; 6]) -> CameraPose {
        let [turn_x, turn_y, turn_z, shift_x, shift_y, distance] = *parameters;
        let sight = lens.undistorted_sight(self.origin_px + Vector2::new(shift_x, shift_y));
        let was = self.pose.translation_mm;
        let turn = Rotation3::new(Vector3::new(turn_x, turn_y, turn_z));
        CameraPose {
            rotation: turn * least_turn(&was, &sight) * self.pose.rotation,
            translation_mm: sight * (was.z * lens.fx_px / self.focal_px * distance.exp()),
        }
    }
}

/// The least rotation from one direction to another less than a right angle away. By the cross product alone: the arc
/// cosine would round turns below 1e-8 rad away, and derivatives with them.
fn least_turn(from: &Vector3<f64>, to: &Vector3<f64>) -> Rotation3<f64> {
    let (from, to) = (from.normalize(), to.normalize());
    let cross = from.cross(&to).cross_matrix();
    let turn = Matrix3::identity() + cross + cross * cross / (1.0 + from.dot(&to));
    Rotation3::from_matrix_unchecked(turn)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::lens::Lens;
    use proptest::prelude::*;

    fn lens(focal_px: f64) -> Intrinsics {
        Lens { focal_px, cx_px: 2015.5, cy_px: 1511.5, distortion: [0.0; 5] }.into()
    }

    fn pose(tilt: f64, heading: f64, x: f64, y: f64) -> CameraPose {
        let down = Rotation3::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI);
        let rotation = Rotation3::new(Vector3::new(tilt * heading.cos(), tilt * heading.sin(), 0.0)) * down;
        CameraPose { rotation, translation_mm: Vector3::new(x, y, 1200.0) }
    }

    proptest! {
        #[test]
        fn homography_gives_its_pose_back(tilt in 0.0..1.0f64, heading in 0.0..6.0f64, x in -300.0..300.0f64,
                                          y in -200.0..200.0f64) {
            let truth = pose(tilt, heading, x, y);
            let m = truth.rotation.matrix();
            let h = Matrix3::from_columns(&[m.column(0).into(), m.column(1).into(), truth.translation_mm]);
            let found = pose_from_homography(&(h * 0.7)).unwrap();
            prop_assert!((found.rotation.matrix() - m).norm() < 1e-9);
            prop_assert!((found.translation_mm - truth.translation_mm).norm() < 1e-6);
        }

        #[test]
        fn mirroring_twice_changes_nothing(tilt in 0.01..1.0f64, heading in 0.0..6.0f64, x in -300.0..300.0f64) {
            let truth = pose(tilt, heading, x, 50.0);
            let back = truth.mirrored().mirrored();
            prop_assert!((back.rotation.matrix() - truth.rotation.matrix()).norm() < 1e-9);
        }

        #[test]
        fn another_lens_shows_the_card_in_the_same_place_and_size(focal in 1500.0..6000.0f64, tilt in 0.0..0.8f64,
                                                                  x in -300.0..300.0f64) {
            let (one, other) = (lens(3000.0), lens(focal));
            let start = PoseStart::new(pose(tilt, 1.0, x, 80.0), &one);
            let seen = |pose: CameraPose, lens: &Intrinsics| {
                let at = pose.translation_mm;
                (lens.matrix() * (at / at.z), lens.fx_px / at.z)
            };
            let (place, size) = seen(start.pose, &one);
            let (other_place, other_size) = seen(start.through(&other, &[0.0; 6]), &other);
            prop_assert!((place - other_place).norm() < 1e-8 && (size / other_size - 1.0).abs() < 1e-12);
        }
    }
}
