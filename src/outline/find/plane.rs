//! The whole photo seen from straight above in one horizontal plane: coarse, for finding the saddle in it.

use crate::numeric::parallel::*;
use nalgebra::Vector2;

use crate::camera::Camera;
use crate::card::FoundCard;
use crate::numeric::frame::{CardPoint, PhotoPoint};
use crate::numeric::homography::apply;
use crate::outline::strip::{CHANNELS, opponent};
use crate::photo::Photo;
use crate::photo::srgb::LINEAR;

/// Size of a cell, mm: fine enough for piping to show, coarse enough that a photo is some 30 000 cells.
pub const CELL_MM: f64 = 8.0;
/// The photo is reduced to this long side first, so that a cell is a mean and no single pixel.
const REDUCED_PX: usize = 320;
/// More cells than this along a side are a photo of a hall, not of a saddle.
const MOST_CELLS: usize = 304;
/// Paper round the pattern of a card, mm.
const PAPER_MARGIN_MM: f64 = 15.0;

/// The plane's cells, row by row from the top (greatest y) down.
#[derive(Debug, Clone)]
pub struct PlaneView {
    /// Cells across.
    pub columns: usize,
    /// Cells down.
    pub rows: usize,
    /// Light of each cell as in a strip.
    pub samples: Vec<[f32; CHANNELS]>,
    /// Whether the photo shows the cell and no card is there.
    pub open: Vec<bool>,
    left_mm: f64,
    top_mm: f64,
}

impl PlaneView {
    /// What the photo shows of the plane at a lift. `None` where the plane is not seen.
    pub fn of(photo: &Photo, camera: &Camera, cards: &[FoundCard], lift_mm: f64) -> Option<Self> {
        let (w, h) = (photo.width_px() as f64 - 1.0, photo.height_px() as f64 - 1.0);
        // A wide photo taken at a slant shows floor far away; a saddle's place is near the cards.
        let centre = camera.card_from_photo(PhotoPoint::new(0.5 * w, 0.5 * h), lift_mm)?;
        let most = 0.5 * MOST_CELLS as f64 * CELL_MM;
        let seen: Vec<CardPoint> = [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)]
            .iter()
            .filter_map(|&(x, y)| camera.card_from_photo(PhotoPoint::new(x, y), lift_mm))
            .collect();
        let span = |value: fn(&CardPoint) -> f64, middle: f64| {
            let all = seen.iter().map(value);
            let (low, high) = match seen.len() {
                4 => all.fold((middle, middle), |(a, b), v| (a.min(v), b.max(v))),
                // A corner over the horizon shows floor without end.
                _ => (f64::NEG_INFINITY, f64::INFINITY),
            };
            (low.max(middle - most), high.min(middle + most))
        };
        let (left, right) = span(|p| p.x_mm, centre.x_mm);
        let (bottom, top) = span(|p| p.y_mm, centre.y_mm);
        let (columns, rows) = (((right - left) / CELL_MM) as usize, ((top - bottom) / CELL_MM) as usize);
        let (rgb, width, height) = photo.thumbnail_rgb(REDUCED_PX);
        let reduced = Reduced { rgb: &rgb, width, height, scale: width as f64 / photo.width_px() as f64 };
        let to_planes: Vec<_> =
            cards.iter().filter_map(|c| Some((c, c.photo_from_plane.try_inverse()?))).collect();
        let on_card = |pixel: PhotoPoint| {
            to_planes.iter().any(|(card, plane)| {
                apply(plane, pixel.vector()).is_some_and(|p| {
                    p.x.abs() < 0.5 * card.pattern.width_mm + PAPER_MARGIN_MM
                        && p.y.abs() < 0.5 * card.pattern.height_mm + PAPER_MARGIN_MM
                })
            })
        };
        let cell = |i: usize| {
            let (x, y) = (left + (i % columns) as f64 * CELL_MM, top - (i / columns) as f64 * CELL_MM);
            let pixel = camera.photo_from_card(CardPoint::new(x, y, lift_mm));
            match pixel.and_then(|p| Some((p, reduced.at(p)?))) {
                Some((p, light)) => (opponent(light), !on_card(p)),
                None => ([0.0; CHANNELS], false),
            }
        };
        let (samples, open) = (0..columns * rows).into_par_iter().map(cell).unzip();
        Some(Self { columns, rows, samples, open, left_mm: left, top_mm: top })
    }

    /// The sample at a place, mm from the view's corner along columns and rows; `None` where it is not open.
    pub fn open_sample(&self, at_mm: Vector2<f64>) -> Option<[f32; CHANNELS]> {
        let (c, r) = ((at_mm.x / CELL_MM).round(), (at_mm.y / CELL_MM).round());
        if !(c >= 0.0 && r >= 0.0 && c < self.columns as f64 && r < self.rows as f64) {
            return None;
        }
        let index = r as usize * self.columns + c as usize;
        self.open[index].then(|| self.samples[index])
    }

    /// The cell at a point of the horizontal, mm: column and row.
    pub fn cell_of(&self, point_mm: Vector2<f64>) -> Vector2<f64> {
        self.place_of(point_mm) / CELL_MM
    }

    /// A point of the horizontal, mm, as mm from the view's corner along columns and rows.
    pub fn place_of(&self, point_mm: Vector2<f64>) -> Vector2<f64> {
        Vector2::new(point_mm.x - self.left_mm, self.top_mm - point_mm.y)
    }

    /// The point of the horizontal, mm, at a cell.
    pub fn point_of(&self, cell: Vector2<f64>) -> Vector2<f64> {
        Vector2::new(self.left_mm + cell.x * CELL_MM, self.top_mm - cell.y * CELL_MM)
    }
}

/// The reduced photo in linear light.
struct Reduced<'a> {
    rgb: &'a [u8],
    width: usize,
    height: usize,
    scale: f64,
}

impl Reduced<'_> {
    /// The light between the four pixels about a pixel of the full photo; `None` outside.
    fn at(&self, p: PhotoPoint) -> Option<[f32; 3]> {
        let (x, y) = ((p.x_px + 0.5) * self.scale - 0.5, (p.y_px + 0.5) * self.scale - 0.5);
        let inside = x >= 0.0 && y >= 0.0 && x < (self.width - 1) as f64 && y < (self.height - 1) as f64;
        if !inside {
            return None;
        }
        let (c, r) = (x as usize, y as usize);
        let (fx, fy) = ((x - c as f64) as f32, (y - r as f64) as f32);
        let pixel =
            |c: usize, r: usize, k: usize| LINEAR[usize::from(self.rgb[3 * (r * self.width + c) + k])];
        Some(std::array::from_fn(|k| {
            let upper = pixel(c, r, k) * (1.0 - fx) + pixel(c + 1, r, k) * fx;
            let lower = pixel(c, r + 1, k) * (1.0 - fx) + pixel(c + 1, r + 1, k) * fx;
            upper * (1.0 - fy) + lower * fy
        }))
    }
}
