//! Warnings: what the user should know about a result that stands all the same.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Kind of a warning. The names are part of the sheet's format and never change their meaning.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum WarningCode {
    /// The file carries no camera data.
    ExifMissing,
    /// The camera data cannot be read.
    ExifCorrupt,
    /// The camera data names an orientation that does not exist.
    ExifOrientationInvalid,
    /// The camera data holds a date that does not exist.
    ExifDateInvalid,
    /// The camera data does not belong to these pixels.
    ExifStale,
    /// The focal length in the camera data is none that a camera has.
    ExifFocalImplausible,
    /// The photo was made smaller.
    PhotoResized,
    /// The photo was cropped.
    PhotoCropped,
    /// The photo has transparent parts.
    PhotoTransparent,
    /// The photo is grey.
    PhotoGrey,
    /// The photo has a tone curve of high dynamic range.
    PhotoHdr,
    /// The camera zoomed digitally.
    DigitalZoom,
    /// Tags of a card disagree with its layout and were not used.
    TagDropped,
    /// The card is bent.
    CardBent,
    /// The saddle is far from the card.
    CardFarFromEdge,
    /// The focal length is that of a typical phone.
    FocalLengthAssumed,
    /// The card contradicts the focal length in the camera data, which was not used.
    FocalContradicted,
    /// The card contradicts the lens file, whose uncertainties were increased.
    LensContradicted,
    /// Photos measured together contradict one shape of the card, which each then has of its own.
    CardChanged,
    /// Photos measured together contradict one lens, which each then has of its own.
    LensChanged,
    /// No lens file of the folder is of the photo's camera.
    LensNotFound,
    /// No lens file could be chosen.
    LensNotPicked,
    /// How level card and saddle are with each other makes up most of a width's uncertainty.
    LevelDecides,
    /// The heights of the edges are not known.
    LiftUnknown,
    /// The heights were measured too far apart.
    LiftSparse,
    /// The photos determine the heights poorly.
    #[serde(rename = "lift-poorly-told")]
    LiftPoorlyKnown,
    /// Something was given for the channel of a saddle seen from above.
    ChannelNotShown,
    /// Edges could not be traced at some stations.
    StationsUntraced,
    /// Named widths could not be measured.
    WidthsMissing,
    /// Another line may be the edge, and a named width would be another.
    WhichLine,
    /// The two halves of a width differ.
    HalvesDiffer,
    /// A photo given with others cannot be used or contradicts them, and was left out.
    PhotoLeftOut,
    /// A photo other than the first was corrected by hand.
    CorrectedInAnotherPhoto,
    /// A kind that this version does not know.
    #[serde(untagged)]
    Other(String),
}

impl WarningCode {
    /// The code as it stands in the sheet, such as `lift-unknown`.
    pub fn as_str(&self) -> String {
        serde_json::to_value(self).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
    }
}

/// A warning: its kind, one plain sentence, and what the user can do about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Warning {
    /// Machine-readable kind, such as `lift-unknown`.
    pub code: WarningCode,
    /// What was noticed, in one plain sentence.
    pub text: String,
    /// What to do about it.
    pub hint: String,
    /// Index in `photos` of the photo that it concerns, where there are several; left out where it concerns all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<usize>,
}

impl Warning {
    /// A warning about the result as a whole.
    pub fn new(code: WarningCode, text: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { code, text: text.into(), hint: hint.into(), photo: None }
    }

    /// The same warning about one of several photos.
    pub fn in_photo(self, index: usize) -> Self {
        Self { photo: Some(index), ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_of_other_versions_survive() {
        for text in ["lift-unknown", "photo-hdr", "from-the-future"] {
            let code: WarningCode = serde_json::from_value(text.into()).unwrap();
            assert_eq!(code.as_str(), text);
        }
        let known: WarningCode = serde_json::from_value("halves-differ".into()).unwrap();
        assert_eq!(known, WarningCode::HalvesDiffer);
    }
}
