//! Tag proposals from a detection library, checked against the photo.

use locus_core::config::TagFamily;
use locus_core::{Detector, DetectorConfig, ImageView};
use nalgebra::Vector2;

use super::verify::{CodeCheck, check_code};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::homography::homography;
use crate::numeric::parallel;
use crate::photo::{GrayView, Photo};

/// Proposed tag, good to a pixel or two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundTag {
    /// Identity in the family tag36h11.
    pub id: u32,
    /// Corners in the full photo, in the order top-left, top-right, bottom-right, bottom-left of the upright tag.
    pub corners: [PhotoPoint; 4],
}

impl FoundTag {
    /// The tag's modules as the photo shows them; `None` when part of the tag is outside the photo.
    pub fn shown_in(&self, photo: &Photo) -> Option<CodeCheck> {
        let unit = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)].map(|(x, y)| Vector2::new(x, y));
        let pairs: Vec<_> = unit.into_iter().zip(self.corners.map(PhotoPoint::vector)).collect();
        check_code(photo, &homography(&pairs)?, self.id)
    }
}

/// Tags of family tag36h11 with a one-bit border that are seen in a reduced view, with corners in the full photo's pixels: by
/// connected components, quads and decoding of `locus-core`. The setting `grid` uses the picture as it is and weaker edges too;
/// `standard` sharpens it first, which doubles the time and finds a few more of the smallest.
fn proposed(view: &GrayView, profile: &str) -> Vec<FoundTag> {
    let mut config = DetectorConfig::from_profile(profile);
    config.refinement_mode = locus_core::config::CornerRefinementMode::None;
    let mut detector = Detector::builder()
        .with_config(config)
        .with_family(TagFamily::AprilTag36h11)
        .with_threads(parallel::current_num_threads())
        .build();
    // A picture of a few pixels, with which the library does nothing, shows no tags.
    let Ok(image) = ImageView::new(&view.data, view.width, view.height, view.width) else {
        return Vec::new();
    };
    let Ok(batch) = detector.detect(&image, None, None, false) else {
        return Vec::new();
    };
    (0..batch.ids.len())
        .map(|i| FoundTag {
            id: batch.ids[i],
            corners: batch.corners[i].map(|c| full_from_reduced(view, f64::from(c.x), f64::from(c.y))),
        })
        .collect()
}

/// Views are reduced to about this many pixels on the long side for the first look, which costs a hundredth of a second.
const FIRST_LOOK_PX: f64 = 1400.0;
/// Of tags with this many pixels a side in a view the finder sees nine in ten, of larger ones nearly all (measured on
/// photos reduced step by step): of a card's five or more, two for sure, and the layout predicts the others.
pub const RELIABLY_FOUND_PX: f64 = 14.0;

/// One pass over a photo: reduced by a factor, with a setting of the detector.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    /// How many of the photo's pixels one of its pixels spans, across and down.
    pub factor: usize,
    profile: &'static str,
}

impl Look {
    /// Proposed tags whose code, border and margin the full photo confirms at their corners.
    pub fn find(&self, photo: &Photo) -> Vec<FoundTag> {
        let mut tags = proposed(&photo.luma_upright(self.factor), self.profile);
        tags.retain(|tag| tag.shown_in(photo).is_some_and(|check| check.passes()));
        tags
    }

    /// Adds the tags it finds that are not known yet.
    pub fn add_to(&self, known: &mut Vec<FoundTag>, photo: &Photo) {
        for tag in self.find(photo) {
            let side = tag.corners[0].distance_px(tag.corners[1]);
            let again =
                |t: &FoundTag| t.id == tag.id && t.corners[0].distance_px(tag.corners[0]) < side / 2.0;
            if !known.iter().any(again) {
                known.push(tag);
            }
        }
    }
}

/// Passes from quick to thorough.
pub fn looks(photo: &Photo) -> Vec<Look> {
    let long = photo.width_px().max(photo.height_px());
    let mut factor = ((long as f64 / FIRST_LOOK_PX).round() as usize).max(1);
    let mut looks = vec![Look { factor, profile: "grid" }, Look { factor, profile: "standard" }];
    while factor > 1 {
        factor = factor.div_ceil(2);
        looks.push(Look { factor, profile: "standard" });
    }
    looks
}

/// Every tag that any pass finds, of any card, each place once.
pub fn accepted_tags(photo: &Photo) -> Vec<FoundTag> {
    let mut accepted = Vec::new();
    looks(photo).iter().for_each(|look| look.add_to(&mut accepted, photo));
    accepted
}

/// The library puts the centre of the first pixel at 0.5; the project at 0. A reduced pixel covers factor x factor
/// of the photo's.
fn full_from_reduced(view: &GrayView, x: f64, y: f64) -> PhotoPoint {
    let k = view.factor as f64;
    PhotoPoint::new(x * k - 0.5, y * k - 0.5)
}
