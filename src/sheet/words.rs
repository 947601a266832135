//! The sheet's fixed words for where things came from.

pub use crate::numeric::words::{Part, Side, View};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where the focal length's information came from.
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

/// Where the midline came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MidlineSource {
    /// The user gave its ends.
    Given,
    /// The program found the saddle.
    Found,
}

/// Where the lifts came from.
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
