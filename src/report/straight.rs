//! The straightened photo: seen square from above at the height of the seat's edges, the midline from top to bottom, so
//! that a length on it at the edges is a length on the saddle.

use image::{Rgb, RgbImage};
use imageproc::geometric_transformations::{Border, Interpolation, warp_into_with};
use nalgebra::{Matrix3, Rotation3, Vector3};

use super::palette::WASH;
use crate::camera::Camera;
use crate::camera::lens::Lens;
use crate::camera::pose::CameraPose;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Side, View};
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;
use crate::photo::Photo;
use crate::sheet::{self, Sheet};

/// The mapping between the straightened picture and the photo.
#[derive(Debug, Clone)]
pub struct Straight {
    camera: Camera,
    midline: Midline,
    lift: LiftProfile,
    /// The rider's side on the right of the paper.
    right: Side,
}

/// A place that no photo shows.
const OUTSIDE: (f32, f32) = (-1e6, -1e6);
/// Pixels of the picture for a millimetre of the saddle: about those of a phone's photo.
const PX_PER_MM: f64 = 2.5;

impl Straight {
    /// From a sheet that keeps its camera's pose; `None` where it does not, or was refused.
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

    /// The place of a pixel in the straightened picture, mm: the inverse of [`Straight::pixel`].
    pub fn place(&self, pixel: PhotoPoint) -> Option<[f64; 2]> {
        let mut station = 0.5;
        let mut across = 0.0;
        // The height changes slowly along the midline, so each iteration shrinks the error some tenfold.
        for _ in 0..8 {
            let at = self.camera.card_from_photo(pixel, self.lift.at_mm(station))?;
            (station, across) = self.midline.station_and_offset(at.horizontal(), self.right);
        }
        Some([across, station * self.midline.length_mm()])
    }

    /// The straightened picture of a rectangle: left, top, width, height, mm. What the photo does not show is pale.
    pub fn picture(&self, photo: &Photo, rect_mm: [f64; 4]) -> RgbImage {
        let [left, top, w, h] = rect_mm;
        let [width, height] = [w, h].map(|mm| ((mm * PX_PER_MM).round() as u32).max(1));
        let shrink = (PX_PER_MM / self.photo_px_per_mm()).min(1.0);
        let long = photo.width_px().max(photo.height_px()) as f64;
        let (rgb, columns, rows) = photo.thumbnail_rgb((long * shrink).ceil() as usize);
        let source = RgbImage::from_raw(columns as u32, rows as u32, rgb).unwrap_or_default();
        let scale = [columns as f64 / photo.width_px() as f64, rows as f64 / photo.height_px() as f64];
        let place = |x: f32, y: f32| {
            let mm = [(x, left), (y, top)].map(|(px, from)| from + (f64::from(px) + 0.5) / PX_PER_MM);
            let Some(p) = self.pixel(mm) else { return OUTSIDE };
            let [x, y] = [(p.x_px, scale[0]), (p.y_px, scale[1])].map(|(px, s)| s * (px + 0.5) - 0.5);
            (x as f32, y as f32)
        };
        let mut picture = RgbImage::new(width, height);
        let border = Border::Constant(Rgb(WASH.rgb));
        warp_into_with(&source, place, Interpolation::Bilinear, border, &mut picture);
        picture
    }

    /// Scale of the photo at the middle of the midline.
    fn photo_px_per_mm(&self) -> f64 {
        let middle = self.midline.length_mm() / 2.0;
        let ends = [middle - 5.0, middle + 5.0].map(|along| self.pixel([0.0, along]));
        match ends {
            [Some(a), Some(b)] => a.distance_px(b) / 10.0,
            _ => PX_PER_MM,
        }
    }
}

fn camera(kept: &sheet::CameraRecord) -> Option<Camera> {
    let (rotation, translation_mm) = (kept.rotation?, kept.translation_mm?);
    let [cx_px, cy_px] = kept.principal_px?;
    let lens = Lens { focal_px: kept.focal_px, cx_px, cy_px, distortion: kept.distortion };
    let matrix = Matrix3::from_fn(|row, column| rotation[row][column]);
    // Nine digits are written, so a rotation is orthogonal to within this; nothing else is accepted.
    let is_rotation =
        (matrix * matrix.transpose() - Matrix3::identity()).norm() < 1e-6 && matrix.determinant() > 0.0;
    let pose = CameraPose {
        rotation: Rotation3::from_matrix_unchecked(matrix),
        translation_mm: Vector3::from(translation_mm),
    };
    is_rotation.then_some(Camera { lens, pose })
}
