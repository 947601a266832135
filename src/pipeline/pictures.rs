//! Explanation pictures of the stages: the photo rectified to the card's plane.

use image::{Rgb, RgbImage};
use nalgebra::Vector2;

use super::{Located, Traced};
use crate::camera::Camera;
use crate::explain::{Picture, colour};
use crate::numeric::frame::{CardPoint, PhotoPoint};
use crate::photo::Photo;
use crate::photo::srgb::linear_to_srgb;

/// Pixel size of the whole plane, and what is shown around the middle of the photo, mm.
const PLANE_MM_PER_PX: f64 = 1.0;
const PLANE_REACH_MM: f64 = 600.0;
/// Pixel size about a traced saddle, and what is shown around its midline, mm.
const SADDLE_MM_PER_PX: f64 = 0.5;
const SADDLE_MARGIN_MM: f64 = 200.0;

/// The card's plane with the outlines of the cards.
pub fn plane(located: &Located) -> Picture {
    let camera = &located.fit.camera;
    let [w, h] = [located.photo.width_px(), located.photo.height_px()].map(|n| (n - 1) as f64 / 2.0);
    let centre =
        camera.card_from_photo(PhotoPoint::new(w, h), 0.0).map_or(Vector2::zeros(), |p| p.horizontal());
    let corner = centre + Vector2::new(-PLANE_REACH_MM, PLANE_REACH_MM);
    let frame = Frame { corner, right: Vector2::x(), mm_per_px: PLANE_MM_PER_PX };
    let mut picture = frame.picture("plane", &located.photo, camera, [2.0 * PLANE_REACH_MM; 2]);
    let first = located.fit.card_poses[0];
    for (card, pose) in located.found.cards.iter().zip(&located.fit.card_poses) {
        let place = |p: CardPoint| {
            let in_camera = pose.rotation * card.printed(p).vector() + pose.translation_mm;
            frame.place((first.rotation.inverse() * (in_camera - first.translation_mm)).xy())
        };
        let mut outline: Vec<_> = card.pattern.outline().into_iter().map(place).collect();
        outline.extend(outline.first().copied());
        picture = picture.line(&outline, colour::ACCEPTED);
    }
    picture
}

/// The saddle with its midline, edges and their rivals, the front at the top.
pub fn edges(traced: &Traced) -> Picture {
    let (midline, located) = (&traced.midline, &traced.located);
    let along = midline.along();
    let right = Vector2::new(-along.y, along.x);
    let corner = midline.front_mm - along * SADDLE_MARGIN_MM / 2.0 - right * SADDLE_MARGIN_MM;
    let frame = Frame { corner, right, mm_per_px: SADDLE_MM_PER_PX };
    let size_mm = [2.0 * SADDLE_MARGIN_MM, midline.length_mm() + SADDLE_MARGIN_MM];
    let camera = &located.fit.camera;
    let place = |p: PhotoPoint| Some(frame.place(camera.card_from_photo(p, 0.0)?.horizontal()));
    let ends: Vec<_> = traced.midline_ends_px().into_iter().flatten().filter_map(place).collect();
    let picture = frame.picture("edges", &located.photo, camera, size_mm).line(&ends, colour::ACCEPTED);
    let edges = traced.outline.seat.iter().chain(traced.outline.channel.iter().flatten());
    edges.flat_map(|edge| edge.points.iter().flatten()).fold(picture, |picture, point| {
        let rivals: Vec<_> = point.rivals.iter().flatten().filter_map(|rival| place(rival.pixel)).collect();
        let own = place(point.pixel);
        picture.crosses(&rivals, colour::RIVAL).crosses(own.as_slice(), colour::EDGE)
    })
}

/// A rectified picture of the card's plane.
struct Frame {
    /// Its top-left corner, mm.
    corner: Vector2<f64>,
    /// Unit vector along its rows.
    right: Vector2<f64>,
    mm_per_px: f64,
}

impl Frame {
    /// Unit vector down its columns: the picture is not mirrored.
    fn down(&self) -> Vector2<f64> {
        Vector2::new(self.right.y, -self.right.x)
    }

    /// Column and row of a point of the plane.
    fn place(&self, point_mm: Vector2<f64>) -> [f64; 2] {
        let from_corner = (point_mm - self.corner) / self.mm_per_px;
        [from_corner.dot(&self.right), from_corner.dot(&self.down())]
    }

    /// What the photo shows of the plane, black outside of it.
    fn picture(&self, name: &'static str, photo: &Photo, camera: &Camera, size_mm: [f64; 2]) -> Picture {
        let [columns, rows] = size_mm.map(|mm| (mm / self.mm_per_px) as u32);
        let colour = |x: u32, y: u32| {
            let across = self.right * f64::from(x) + self.down() * f64::from(y);
            let at = self.corner + across * self.mm_per_px;
            let pixel = camera.photo_from_card(CardPoint::new(at.x, at.y, 0.0));
            let light = pixel.and_then(|p| photo.linear_at(p)).unwrap_or([0.0; 3]);
            Rgb(light.map(|v| (255.0 * linear_to_srgb(f64::from(v))).round() as u8))
        };
        Picture::new(name, RgbImage::from_fn(columns, rows, colour))
    }
}
