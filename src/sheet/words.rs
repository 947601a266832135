//! Fixed words of the sheet for the sources of what it says.

pub use crate::numeric::words::{Part, Side, View};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Source of the focal length's information.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FocalSource {
    /// Written in the photo.
    Exif,
    /// Determined by the card's perspective.
    Card,
    /// A calibrated lens.
    LensFile,
    /// A usual phone.
    Assumed,
}

impl FocalSource {
    /// The source in words.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Exif => "from the photo's EXIF",
            Self::Card => "from the card's perspective",
            Self::LensFile => "from a lens file",
            Self::Assumed => "assumed, a usual phone's",
        }
    }
}

/// Source of the midline.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MidlineSource {
    /// The user gave its ends.
    Given,
    /// The program found it: the straight line that bisects the seat, between the ends of the outline. Unevenness that runs
    /// along the whole seat does not show against it.
    Found,
}

/// Source of what is known of how level card and saddle are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LevelSource {
    /// Assumed: the card to 1 degree, the saddle to 1.3 degrees.
    Assumed,
    /// Several cards, each laid by itself: the level that they agree on.
    Cards,
    /// Several photos, which show how the saddle leans over the card.
    Photos,
}

/// Source of the heights over the card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum LiftSource {
    /// Measured by the user.
    Given,
    /// Computed from several photos.
    Photos,
    /// Not known.
    Assumed,
}
