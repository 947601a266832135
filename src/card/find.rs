//! Finding tags: a library proposes them behind a small trait, so that it can be exchanged and cross-checked.

use locus_core::config::TagFamily;
use locus_core::{Detector, DetectorConfig, ImageView};

use crate::ground::frame::PhotoPoint;
use crate::photo::GrayView;

/// A tag as a finder proposes it: good to a pixel or two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundTag {
    /// Identity in the family tag36h11.
    pub id: u32,
    /// Corners in the full photo, in the order top-left, top-right, bottom-right, bottom-left of the upright tag.
    pub corners: [PhotoPoint; 4],
}

/// Something that proposes tags of family tag36h11 with a one-bit border.
pub trait TagFinder {
    /// The tags seen in a reduced view, with corners in the full photo's pixels.
    fn find(&self, view: &GrayView) -> Vec<FoundTag>;
}

/// The finder in use: connected components, quads and decoding by `locus-core`. The slower setting threshold each
/// pixel against its own neighbourhood and finds what the first misses in uneven light.
#[derive(Debug, Clone, Copy)]
pub struct LocusFinder {
    /// Setting of the library: `standard` or `grid`.
    pub profile: &'static str,
}

impl TagFinder for LocusFinder {
    fn find(&self, view: &GrayView) -> Vec<FoundTag> {
        let mut config = DetectorConfig::from_profile(self.profile);
        config.refinement_mode = locus_core::config::CornerRefinementMode::None;
        let mut detector = Detector::builder()
            .with_config(config)
            .with_family(TagFamily::AprilTag36h11)
            .with_threads(rayon::current_num_threads())
            .build();
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
}

/// The library puts the centre of the first pixel at 0.5; the project at 0. A reduced pixel covers factor x factor
/// of the photo's.
fn full_from_reduced(view: &GrayView, x: f64, y: f64) -> PhotoPoint {
    let k = view.factor as f64;
    PhotoPoint::new(x * k - 0.5, y * k - 0.5)
}
