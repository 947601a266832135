//! Viewing rays, and pixel bounds of objects.

use nalgebra::{Vector2, Vector3};

use seatspan::camera::Camera;
use seatspan::numeric::frame::{CardPoint, PhotoPoint};

/// A viewing ray in the frame of the first card.
#[derive(Debug, Clone, Copy)]
pub struct Ray {
    /// The camera's centre, mm.
    pub from: Vector3<f64>,
    /// The direction, of any length.
    pub along: Vector3<f64>,
}

impl Ray {
    /// The point at a parameter.
    #[inline]
    pub fn at(&self, t: f64) -> Vector3<f64> {
        self.from + self.along * t
    }

    /// The parameter at which the ray reaches a height, mm.
    #[inline]
    pub fn t_at_height(&self, z_mm: f64) -> f64 {
        (z_mm - self.from.z) / self.along.z
    }
}

/// A rectangle of pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PixelBox {
    low: Vector2<f64>,
    high: Vector2<f64>,
}

impl PixelBox {
    /// The bounds of projected points; everything where a point has no projection.
    pub fn around(camera: &Camera, points: impl IntoIterator<Item = Vector3<f64>>) -> Self {
        let (mut low, mut high) = (Vector2::repeat(f64::INFINITY), Vector2::repeat(f64::NEG_INFINITY));
        for point in points {
            let Some(p) = camera.photo_from_card(CardPoint::from(point)) else {
                return Self {
                    low: Vector2::repeat(f64::NEG_INFINITY),
                    high: Vector2::repeat(f64::INFINITY),
                };
            };
            low = low.inf(&p.vector());
            high = high.sup(&p.vector());
        }
        // Distortion bends the lines between the points.
        let spare = (high - low) * 0.04 + Vector2::repeat(3.0);
        Self { low: low - spare, high: high + spare }
    }

    /// Whether it contains a pixel.
    #[inline]
    pub fn covers(&self, x: f64, y: f64) -> bool {
        x >= self.low.x && x <= self.high.x && y >= self.low.y && y <= self.high.y
    }
}

/// Spacing of the lattice on which rays are exact; interpolation between its nodes is accurate to a thousandth of a pixel for the
/// distortion of a phone.
const LATTICE_PX: usize = 4;

/// The viewing rays of a picture.
pub struct Rays {
    from: Vector3<f64>,
    columns: usize,
    nodes: Vec<Vector3<f64>>,
}

impl Rays {
    /// The rays of a picture of the given size, pixels. Beyond the range of the lens model they are those of the undistorted
    /// lens.
    pub fn new(camera: &Camera, width: usize, height: usize) -> Self {
        let (columns, rows) = (width / LATTICE_PX + 3, height / LATTICE_PX + 3);
        let turn = camera.pose.rotation.inverse();
        let lens = camera.lens;
        let node = |i: usize| {
            let at = |k: usize| ((k * LATTICE_PX) as f64) - LATTICE_PX as f64;
            let (x, y) = (at(i % columns), at(i / columns));
            let plain = ((x - lens.cx_px) / lens.focal_px, (y - lens.cy_px) / lens.focal_px);
            let (x, y) = lens.ideal_from_photo(PhotoPoint::new(x, y)).map_or(plain, |p| (p.x, p.y));
            turn * Vector3::new(x, y, 1.0)
        };
        let nodes = (0..columns * rows).map(node).collect();
        Self { from: camera.pose.centre_in_card().vector(), columns, nodes }
    }

    /// The ray through a point of the picture, pixels.
    #[inline]
    pub fn through(&self, x_px: f64, y_px: f64) -> Ray {
        let step = LATTICE_PX as f64;
        let (u, v) = (x_px / step + 1.0, y_px / step + 1.0);
        let (i, j) = (u as usize, v as usize);
        let (fu, fv) = (u - i as f64, v - j as f64);
        let at = j * self.columns + i;
        let top = self.nodes[at] * (1.0 - fu) + self.nodes[at + 1] * fu;
        let bottom = self.nodes[at + self.columns] * (1.0 - fu) + self.nodes[at + self.columns + 1] * fu;
        Ray { from: self.from, along: top * (1.0 - fv) + bottom * fv }
    }
}
