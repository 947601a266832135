//! The photo turned upright and to scale: seen square from above at the height of the seat's edges, the midline from
//! top to bottom, so that a length on it at the edges is a length on the saddle.

use std::sync::Arc;

use image::codecs::jpeg::JpegEncoder;
use nalgebra::{Matrix3, Rotation3, Vector3};

use super::figure::{Jpeg, Tone};
use crate::camera::Camera;
use crate::camera::lens::Lens;
use crate::camera::pose::Pose;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Side, View};
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;
use crate::photo::Photo;
use crate::photo::srgb::linear_to_srgb;
use crate::sheet::{self, Sheet};

/// Where each point of the straight picture lies in the photo.
#[derive(Debug, Clone)]
pub struct Straight {
    camera: Camera,
    midline: Midline,
    lift: LiftProfile,
    /// The rider's side on the right of the paper.
    right: Side,
}

/// Quality of the JPEG: a picture to look at.
const QUALITY: u8 = 84;

impl Straight {
    /// From a sheet that keeps its camera's place; `None` where it does not, or was refused.
    pub fn of(sheet: &Sheet) -> Option<Self> {
        let camera = camera(sheet.camera.as_ref()?)?;
        let view = sheet.view?;
        let photo = sheet.photos.first()?;
        let given = sheet.lift.as_ref().and_then(|l| l.seat.clone());
        let lift = match given {
            Some(rows) => LiftProfile::measured(rows.iter().map(|r| (r[0], r[1])).collect())?,
            None => LiftProfile::unknown(),
        };
        let ends =
            sheet.midline.as_ref().map(|m| [m.front_px, m.rear_px].map(|[x, y]| PhotoPoint::new(x, y)))?;
        let size_px = (photo.width_px as usize, photo.height_px as usize);
        let midline = Midline::from_photo(&camera, size_px, ends, &lift, view).ok()?;
        let right = if view == View::Top { Side::Right } else { Side::Left };
        Some(Self { camera, midline, lift, right })
    }

    /// Where a point (to the right of the midline, from its front end, mm) appears in the photo.
    pub fn pixel(&self, [across_mm, along_mm]: [f64; 2]) -> Option<PhotoPoint> {
        let station = along_mm / self.midline.length_mm();
        let at = self.midline.point(station, across_mm, self.right, self.lift.at_mm(station));
        self.camera.photo_from_card(at)
    }

    /// Where a pixel's place in the straight picture is, mm: the inverse of [`Straight::pixel`].
    pub fn place(&self, pixel: PhotoPoint) -> Option<[f64; 2]> {
        let mut station = 0.5;
        let mut across = 0.0;
        // The lift changes slowly along the midline, so each turn shrinks the error some tenfold.
        for _ in 0..8 {
            let at = self.camera.card_from_photo(pixel, self.lift.at_mm(station))?;
            (station, across) = self.midline.station_and_offset(at.horizontal(), self.right);
        }
        Some([across, station * self.midline.length_mm()])
    }

    /// The straight picture of a rectangle: left, top, width, height, mm.
    ///
    /// # Errors
    /// Where the JPEG cannot be made.
    pub fn picture(
        &self,
        photo: &Photo,
        rect_mm: [f64; 4],
        px_per_mm: f64,
    ) -> Result<Jpeg, image::ImageError> {
        let [left, top, w, h] = rect_mm;
        let size_px = [w, h].map(|mm| ((mm * px_per_mm).round() as u32).max(1));
        let picture = image::RgbImage::from_fn(size_px[0], size_px[1], |x, y| {
            let mm = [(x, left), (y, top)].map(|(i, from)| from + (f64::from(i) + 0.5) / px_per_mm);
            let light = self.pixel(mm).and_then(|p| photo.linear_at(p));
            image::Rgb(light.map_or(Tone::Wash.rgb(), |light| {
                light.map(|v| (255.0 * linear_to_srgb(f64::from(v))).round() as u8)
            }))
        });
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, QUALITY).encode_image(&picture)?;
        Ok(Jpeg { bytes: Arc::new(bytes), size_px })
    }
}

fn camera(kept: &sheet::Camera) -> Option<Camera> {
    let (rotation, translation_mm) = (kept.rotation?, kept.translation_mm?);
    let [cx_px, cy_px] = kept.principal_px?;
    let lens = Lens { focal_px: kept.focal_px, cx_px, cy_px, distortion: kept.distortion };
    let matrix = Matrix3::from_fn(|row, column| rotation[row][column]);
    // Written with nine digits: a rotation as far as anything can be seen of it, and nothing else is taken for one.
    let turns =
        (matrix * matrix.transpose() - Matrix3::identity()).norm() < 1e-6 && matrix.determinant() > 0.0;
    let pose = Pose {
        rotation: Rotation3::from_matrix_unchecked(matrix),
        translation_mm: Vector3::from(translation_mm),
    };
    turns.then_some(Camera { lens, pose })
}
