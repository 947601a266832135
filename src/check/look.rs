//! Appearance of the card in the photo: light, glare, missing tags, and blur of its edges.

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::card::pattern::MODULES;
use crate::card::side::TagSide;
use crate::card::unread::BURNT_OUT_LEVEL;
use crate::card::verify::photo_from_unit;
use crate::card::{FoundCard, FoundCards};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::homography::apply;
use crate::photo::Photo;

/// Why a tag was not measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TagLoss {
    /// Outside the photo.
    CutOff,
    /// Burnt out.
    Glare,
    /// Covered, or too dark.
    Hidden,
}

/// Appearance of the first card.
#[derive(Debug, Clone, PartialEq)]
pub struct CardLook {
    /// Light of the white around its tags: median, linear, 0 to 1.
    pub white: f64,
    /// Part of that white which is burnt out.
    pub burnt_out: f64,
    /// Tags that were not measured.
    pub missing: Vec<TagLoss>,
    /// Ratio of the blur across the most and the least blurred direction.
    pub blur_ratio: f64,
    /// Median noise over contrast of its edges.
    pub noise: f64,
    /// Median side of its tags, px.
    pub side_px: f64,
}

/// A tag burnt out to this part is lost to glare.
const GLARE_PART: f64 = 0.5;

impl CardLook {
    /// Measures the first card's appearance.
    pub fn of(photo: &Photo, found: &FoundCards) -> Self {
        let card = &found.cards[0];
        let whites: Vec<PhotoPoint> = card.tags.iter().flat_map(|tag| margin_of(card, tag.index)).collect();
        let light = |p: &PhotoPoint| photo.linear_at(*p).map(|rgb| f64::from(rgb[1]));
        let sides: Vec<&TagSide> = card.tags.iter().flat_map(|t| t.sides.iter().flatten()).collect();
        Self {
            white: median(whites.iter().filter_map(light).collect()),
            burnt_out: burnt_out_part(photo, &whites),
            missing: missing(photo, card),
            blur_ratio: blur_ratio(&sides),
            noise: median(sides.iter().map(|s| s.noise / s.contrast).collect()),
            side_px: median(sides.iter().map(|s| full_length_px(s)).collect()),
        }
    }

    /// Number of tags missing for a reason.
    pub fn missing_for(&self, why: TagLoss) -> usize {
        self.missing.iter().filter(|m| **m == why).count()
    }
}

/// Length of the whole side of a tag, px: the measured part and the gaps at its corners.
pub fn full_length_px(side: &TagSide) -> f64 {
    2.0 * side.half_length_px * MODULES as f64 / (MODULES as f64 - 0.8)
}

/// Places in the white margin of a tag, half a module out.
fn margin_of(card: &FoundCard, index: usize) -> Vec<PhotoPoint> {
    let (w, h) = (card.pattern.width_mm, card.pattern.height_mm);
    let map = photo_from_unit(&card.photo_from_plane, &card.pattern.tags[index], w, h);
    let half = 0.5 / MODULES as f64;
    let along = (0..MODULES).map(|i| (i as f64 + 0.5) / MODULES as f64);
    along
        .flat_map(|t| [(t, -half), (t, 1.0 + half), (-half, t), (1.0 + half, t)])
        .filter_map(|(x, y)| apply(&map, Vector2::new(x, y)).map(PhotoPoint::from))
        .collect()
}

fn burnt_out_part(photo: &Photo, places: &[PhotoPoint]) -> f64 {
    let level = |p: &PhotoPoint| {
        let (x, y) = (p.x_px.round(), p.y_px.round());
        let inside = x >= 0.0 && y >= 0.0 && x < photo.width_px() as f64 && y < photo.height_px() as f64;
        inside.then(|| photo.pixel(x as usize, y as usize))
    };
    let levels: Vec<[u8; 3]> = places.iter().filter_map(level).collect();
    let burnt = levels.iter().filter(|l| l.iter().all(|v| *v >= BURNT_OUT_LEVEL)).count();
    burnt as f64 / levels.len().max(1) as f64
}

fn missing(photo: &Photo, card: &FoundCard) -> Vec<TagLoss> {
    (0..card.pattern.tags.len())
        .filter(|index| card.tags.iter().all(|t| t.index != *index))
        .map(|index| {
            let (w, h) = (card.pattern.width_mm, card.pattern.height_mm);
            let map = photo_from_unit(&card.photo_from_plane, &card.pattern.tags[index], w, h);
            let grid = (0..64).map(|i| Vector2::new(f64::from(i % 8) + 0.5, f64::from(i / 8) + 0.5) / 8.0);
            let places: Vec<PhotoPoint> = grid.filter_map(|p| apply(&map, p).map(PhotoPoint::from)).collect();
            let inside = |p: &PhotoPoint| photo.linear_at(*p).is_some();
            if places.len() < 64 || !places.iter().all(inside) {
                TagLoss::CutOff
            } else if burnt_out_part(photo, &places) > GLARE_PART {
                TagLoss::Glare
            } else {
                TagLoss::Hidden
            }
        })
        .collect()
}

/// Ratio of the greatest to the least width of an anisotropic Gaussian blur, whose variance across an edge of direction `t` is
/// `a + b cos 2t + c sin 2t`.
fn blur_ratio(sides: &[&TagSide]) -> f64 {
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for side in sides {
        let t = 2.0 * side.outward.y.atan2(side.outward.x);
        let x = Vector3::new(1.0, t.cos(), t.sin());
        normal += x * x.transpose();
        right += x * side.blur_px.powi(2);
    }
    // Two perpendicular directions leave one coefficient open: a weak prior holds it at zero.
    normal += Matrix3::from_diagonal(&Vector3::new(0.0, 1e-3, 1e-3));
    let Some(c) = normal.try_inverse().map(|m| m * right) else { return 1.0 };
    let swing = c.y.hypot(c.z);
    let (most, least) = (c.x + swing, (c.x - swing).max(0.05 * c.x));
    if least > 0.0 { (most / least).sqrt() } else { 1.0 }
}

/// The median; 0 of an empty list.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
