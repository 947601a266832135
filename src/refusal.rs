//! Refusals: why a photo cannot be measured, and what to do next.
//!
//! A stage of the pipeline returns a value with its uncertainty, or a [`Refusal`]: a statement about the photo (exit status
//! 1). What goes wrong with the machine or with the arguments is an error (exit status 2).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Why a photo was refused: the reason, and what helps, as in `docs/refusals.md`. The names are part of the sheet's format and
/// never change their meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RefusalCode {
    /// The file is not a photo that can be decoded. Send the original file as the phone made it.
    PhotoUnreadable,
    /// The photo has too many pixels. Save a copy of 12 megapixels.
    PhotoTooLarge,
    /// The photo has too few pixels. Send the original, not a preview.
    PhotoTooSmall,
    /// No reference card was found. Photograph the whole printed card, flat, in focus and in even light.
    NoCard,
    /// The tags belong to no known card. Print the card again with `seatspan card`.
    PatternUnknown,
    /// Too few tags agree with the card's layout. Print the card again, and keep it whole, flat and unfolded.
    CardInconsistent,
    /// The card is too small in the photo. Zoom in until saddle and card fill the picture.
    CardTooSmall,
    /// The card is blurred. Focus on it, hold still, and use more light.
    CardBlurred,
    /// The card is seen too obliquely. Photograph from nearer to straight above.
    TooOblique,
    /// No bank card was found in the card's frame. Lay a dark one flat into the frame, in even light, or give `--bar`.
    BankCardNotSeen,
    /// The camera's pose could not be determined. Photograph from straight above, with the whole card in the picture.
    PoseFailed,
    /// An end of the midline is outside the photo, or the ends make no sensible line. Set both ends again.
    MidlineOutside,
    /// The saddle is cut off by the photo's border. Photograph the whole saddle.
    SaddleCutOff,
    /// A pixel covers more than 2 mm of the saddle. Use the original photo, or zoom in.
    SaddleTooSmall,
    /// The edges of the seat could not be traced. Photograph the whole saddle on a plain floor in even light.
    EdgesNotFound,
    /// No saddle was found. Photograph the whole saddle on a plain floor, or give its ends with `--front` and `--rear`.
    NoSaddle,
    /// It is unclear whether the saddle is upright or upside down. Give `--view`.
    ViewUnclear,
    /// Photos to be measured together have no card in common. Leave saddle and card in place between the photos.
    CardsDiffer,
    /// Photos to be measured together do not show one saddle in one place. Leave saddle and card in place between the photos.
    PhotosDisagree,
}

impl RefusalCode {
    /// The code as it stands in the sheet, such as `no-card`.
    pub fn as_str(self) -> String {
        serde_json::to_value(self).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
    }
}

/// A refusal: the code, one plain sentence, and what the user can do about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema, thiserror::Error)]
#[error("{text}")]
pub struct Refusal {
    /// Machine-readable reason.
    pub code: RefusalCode,
    /// What is wrong, in one plain sentence.
    pub text: String,
    /// What to do next.
    pub hint: String,
}

impl Refusal {
    /// A refusal from its three parts.
    pub fn new(code: RefusalCode, text: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { code, text: text.into(), hint: hint.into() }
    }
}
