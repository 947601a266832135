//! How the card looks in the photo: its light, what is burnt out, what is missing of it, and how its edges are blurred.

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::card::pattern::MODULES;
use crate::card::side::Side;
use crate::card::verify::photo_from_unit;
use crate::card::{FoundCard, FoundCards};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::homography::apply;
use crate::photo::Photo;

/// What became of a tag that was not measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Missing {
    /// It lies outside the photo.
    CutOff,
    /// Where it should be the photo is burnt out.
    Glare,
    /// Something else is there.
    Hidden,
}

/// How the first card looks.
#[derive(Debug, Clone, PartialEq)]
pub struct CardLook {
    /// Light of the white about its tags: median, linear, 0 to 1.
    pub white: f64,
    /// Part of that white which is burnt out.
    pub burnt_out: f64,
    /// Tags that were not measured.
    pub missing: Vec<Missing>,
    /// How much more blurred its edges are one way than the other.
    pub blur_ratio: f64,
    /// Median noise over contrast of its edges.
    pub noise: f64,
    /// Median side of its tags, px.
    pub side_px: f64,
}

/// A level of 8 bits from which on white is burnt out: the sensor, or the phone's curve, has no more to say.
pub(super) const BURNT_OUT_LEVEL: u8 = 253;
/// A place where that much is burnt out is glare.
const GLARE_PART: f64 = 0.5;

impl CardLook {
    /// Looks at the first card.
    pub fn of(photo: &Photo, found: &FoundCards) -> Self {
        let card = &found.cards[0];
        let whites: Vec<PhotoPoint> = card.tags.iter().flat_map(|tag| margin_of(card, tag.index)).collect();
        let light = |p: &PhotoPoint| photo.linear_at(*p).map(|rgb| f64::from(rgb[1]));
        let sides: Vec<&Side> = card.tags.iter().flat_map(|t| t.sides.iter().flatten()).collect();
        Self {
            white: median(whites.iter().filter_map(light).collect()),
            burnt_out: burnt_out_part(photo, &whites),
            missing: missing(photo, card),
            blur_ratio: blur_ratio(&sides),
            noise: median(sides.iter().map(|s| s.noise / s.contrast).collect()),
            side_px: median(sides.iter().map(|s| full_length_px(s)).collect()),
        }
    }

    /// How many tags are missing for a reason.
    pub fn missing_for(&self, why: Missing) -> usize {
        self.missing.iter().filter(|m| **m == why).count()
    }
}

/// Length of the whole side of a tag, px: what was measured and the gaps at its corners.
pub fn full_length_px(side: &Side) -> f64 {
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

fn missing(photo: &Photo, card: &FoundCard) -> Vec<Missing> {
    (0..card.pattern.tags.len())
        .filter(|index| card.tags.iter().all(|t| t.index != *index))
        .map(|index| {
            let (w, h) = (card.pattern.width_mm, card.pattern.height_mm);
            let map = photo_from_unit(&card.photo_from_plane, &card.pattern.tags[index], w, h);
            let grid = (0..64).map(|i| Vector2::new(f64::from(i % 8) + 0.5, f64::from(i / 8) + 0.5) / 8.0);
            let places: Vec<PhotoPoint> = grid.filter_map(|p| apply(&map, p).map(PhotoPoint::from)).collect();
            let inside = |p: &PhotoPoint| photo.linear_at(*p).is_some();
            if places.len() < 64 || !places.iter().all(inside) {
                Missing::CutOff
            } else if burnt_out_part(photo, &places) > GLARE_PART {
                Missing::Glare
            } else {
                Missing::Hidden
            }
        })
        .collect()
}

/// The blur's variance by the direction across the edge is taken as `a + b cos 2t + c sin 2t` (a Gaussian of two
/// widths); the ratio of its greatest to its least width.
fn blur_ratio(sides: &[&Side]) -> f64 {
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for side in sides {
        let t = 2.0 * side.outward.y.atan2(side.outward.x);
        let x = Vector3::new(1.0, t.cos(), t.sin());
        normal += x * x.transpose();
        right += x * side.blur_px.powi(2);
    }
    // Two directions at right angles leave one number open: a trace of a prior holds it at none.
    normal += Matrix3::from_diagonal(&Vector3::new(0.0, 1e-3, 1e-3));
    let Some(c) = normal.try_inverse().map(|m| m * right) else { return 1.0 };
    let swing = c.y.hypot(c.z);
    let (most, least) = (c.x + swing, (c.x - swing).max(0.05 * c.x));
    if least > 0.0 { (most / least).sqrt() } else { 1.0 }
}

/// Length of the window in which the steepness of an edge is looked at, the distance over which it is, px, and the
/// least step that counts, levels.
const WINDOW_PX: usize = 32;
const STEEP_OVER_PX: usize = 3;
const STRONG_STEP: u8 = 80;

/// How steep the steepest edges of a picture are: of the strong ones, the share of the step that is made within three
/// pixels, nineteen in twenty being less steep; the less steep of across and down, as a movement blurs one of them.
/// `None` where there are too few edges to say.
pub fn sharpness(photo: &Photo) -> Option<f64> {
    let view = photo.luma_upright(1);
    let (w, h) = (view.width, view.height);
    let across = steepness(h, w, &|y, x| view.data[y * w + x])?;
    let down = steepness(w, h, &|x, y| view.data[y * w + x])?;
    Some(across.min(down))
}

/// The same along every seventh line, given the level at a line and a place on it.
fn steepness(lines: usize, length: usize, level: &dyn Fn(usize, usize) -> u8) -> Option<f64> {
    let mut shares = Vec::new();
    for line in (0..lines).step_by(7) {
        for start in (0..length.saturating_sub(WINDOW_PX)).step_by(8) {
            let levels: [u8; WINDOW_PX] = std::array::from_fn(|i| level(line, start + i));
            let (low, high) = levels.iter().fold((255_u8, 0_u8), |(l, h), v| (l.min(*v), h.max(*v)));
            if high >= low && high - low >= STRONG_STEP {
                let steep =
                    levels.windows(STEEP_OVER_PX + 1).map(|v| v[0].abs_diff(v[STEEP_OVER_PX])).max()?;
                shares.push(f64::from(steep) / f64::from(high - low));
            }
        }
    }
    shares.sort_by(f64::total_cmp);
    (shares.len() >= 100).then(|| shares[shares.len() * 19 / 20])
}

/// The middle of a list; 0 for an empty one.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
