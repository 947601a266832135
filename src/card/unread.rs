//! Why no card could be read in a photo.

use nalgebra::Vector2;

use super::assemble::LEAST_SIDE_PX;
use super::find::FoundTag;
use super::pattern::owner_of;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::homography::{apply, homography};
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};

/// The refusal of a photo in which tags were proposed, but no card was put together.
pub fn refusal(photo: &Photo, proposed: &[FoundTag]) -> Refusal {
    let known = proposed.iter().filter(|t| owner_of(t.id).is_some()).count();
    let sides_px = proposed.iter().map(|t| t.corners[0].distance_px(t.corners[1]));
    if proposed.is_empty() {
        let (cause, hint) = Obstacle::of(photo).map_or(
            (String::new(), "lay the printed card flat beside the saddle, whole, in even light and in focus"),
            |obstacle| (format!(": {}", obstacle.text()), obstacle.hint()),
        );
        Refusal::new(RefusalCode::NoCard, format!("no reference card was found{cause}"), hint)
    } else if known == 0 {
        Refusal::new(
            RefusalCode::PatternUnknown,
            "the tags in the photo belong to no reference card",
            "print the card with seatspan card and use that",
        )
    } else if sides_px.fold(0.0, f64::max) < LEAST_SIDE_PX {
        Refusal::new(
            RefusalCode::CardTooSmall,
            "the reference card is too small in the photo",
            "go closer or zoom in, or send the photo in its full size",
        )
    } else if proposed.iter().any(|tag| card_leaves(photo, tag)) {
        Refusal::new(
            RefusalCode::CardInconsistent,
            "the reference card is cut off by the photo's border",
            "take the whole card into the picture",
        )
    } else {
        let text = match known {
            1 => "only one tag of the reference card can be read".to_owned(),
            _ => format!("{known} tags were found, but too few of them agree with the card's layout"),
        };
        Refusal::new(
            RefusalCode::CardInconsistent,
            text,
            "use one whole card, flat and with nothing lying on it",
        )
    }
}

/// Whether the card that a tag belongs to reaches beyond the photo's border.
fn card_leaves(photo: &Photo, tag: &FoundTag) -> bool {
    let Some((pattern, _, index)) = owner_of(tag.id) else { return false };
    let corners = pattern.corners(index).map(|corner| corner.horizontal());
    let pairs: Vec<(Vector2<f64>, Vector2<f64>)> =
        corners.into_iter().zip(tag.corners.map(PhotoPoint::vector)).collect();
    let Some(photo_from_plane) = homography(&pairs) else { return false };
    let size_px = Vector2::new(photo.width_px() as f64 - 1.0, photo.height_px() as f64 - 1.0);
    let outside = |p: Vector2<f64>| p.x < 0.0 || p.y < 0.0 || p.x > size_px.x || p.y > size_px.y;
    let outline = pattern.outline();
    outline.iter().any(|corner| apply(&photo_from_plane, corner.horizontal()).is_some_and(outside))
}

/// A fault of the whole photo that hides the card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Obstacle {
    /// Nearly everything is dark.
    Dark,
    /// A third is burnt out: white paper does not stand out.
    Overexposed,
    /// Out of focus, or moved.
    Blurred,
}

/// A sharp edge makes nearly all of its step within three pixels; one blurred with a standard deviation of 3.5 px makes a
/// third, noise adds a little, and a tag of the size that the card needs is then lost.
const LEAST_SHARPNESS: f64 = 0.4;
/// A level of 8 bits below which a pixel is dark: a twentieth of full light by the sRGB curve.
const DARK_LEVEL: u8 = 64;
/// A level of 8 bits from which on white is burnt out: the sensor, or the phone's curve, holds no more.
pub const BURNT_OUT_LEVEL: u8 = 253;
/// Parts of a photo that make it dark, or burnt out (stated assumptions).
const DARK_PART: f64 = 0.9;
const BURNT_OUT_PART: f64 = 1.0 / 3.0;

impl Obstacle {
    /// The worst of them, if any.
    pub fn of(photo: &Photo) -> Option<Self> {
        let (rgb, w, h) = photo.thumbnail_rgb(256);
        let brightest = rgb.chunks_exact(3).map(|p| p.iter().copied().max().unwrap_or(0));
        let part = |test: fn(u8) -> bool| {
            brightest.clone().filter(|v| test(*v)).count() as f64 / (w * h).max(1) as f64
        };
        if part(|v| v < DARK_LEVEL) > DARK_PART {
            Some(Self::Dark)
        // The mean of pixels at the end may be a level below it.
        } else if part(|v| v >= BURNT_OUT_LEVEL - 1) > BURNT_OUT_PART {
            Some(Self::Overexposed)
        } else if sharpness(photo).is_some_and(|s| s < LEAST_SHARPNESS) {
            Some(Self::Blurred)
        } else {
            None
        }
    }

    /// Its name in judgements.
    pub fn code(self) -> &'static str {
        match self {
            Self::Dark => "too-dark",
            Self::Overexposed => "overexposed",
            Self::Blurred => "blurred",
        }
    }

    /// What is wrong.
    pub fn text(self) -> &'static str {
        match self {
            Self::Dark => "the photo is too dark",
            Self::Overexposed => "the photo is overexposed",
            Self::Blurred => "the photo is blurred: out of focus, or the phone moved",
        }
    }

    /// What to do about it.
    pub fn hint(self) -> &'static str {
        match self {
            Self::Dark => "use more light: by a window, or outdoors",
            Self::Overexposed => {
                "no flash and no sun on the card; tap on the card so that the phone exposes for it"
            }
            Self::Blurred => "tap on the card to focus, prop the phone up, and use more light",
        }
    }
}

/// Length of the window in which the steepness of an edge is measured, the distance over which it is, px, and the least
/// step that counts, levels.
const WINDOW_PX: usize = 32;
const STEEP_OVER_PX: usize = 3;
const STRONG_STEP: u8 = 80;

/// Steepness of the steepest edges of a picture: of the strong ones, the share of the step that is made within three
/// pixels, at the 95th percentile; the less steep of across and down, as a movement blurs one of them. `None` where
/// there are too few edges.
fn sharpness(photo: &Photo) -> Option<f64> {
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
