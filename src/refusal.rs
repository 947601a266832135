//! Refusals: why a photo cannot be measured, and what to do next.
//!
//! A stage of the pipeline returns a value with its uncertainty, or a [`Refusal`]: a statement about the photo (exit status
//! 1). What goes wrong with the machine or with the arguments is an error (exit status 2).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Why a photo was refused. The names are part of the sheet's format and never change their meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum RefusalCode {
    /// The file is not a photo that can be decoded.
    PhotoUnreadable,
    /// The photo declares more pixels than the program is ready to decode.
    PhotoTooLarge,
    /// The photo has too few pixels to measure anything in.
    PhotoTooSmall,
    /// No reference card was found.
    NoCard,
    /// Tags were found, but they belong to no pattern of the reference card.
    PatternUnknown,
    /// A card was found, but too few of its tags agree with its layout.
    CardInconsistent,
    /// The card's tags are too small in the photo to be located well enough.
    CardTooSmall,
    /// The card's edges are too blurred.
    CardBlurred,
    /// The card is seen too much from the side.
    TooOblique,
    /// No bank card is seen in the frame of the reference card, where one was said to lie.
    BankCardNotSeen,
    /// The card's pose could not be computed.
    PoseFailed,
    /// The midline's ends lie outside the photo or make no sensible line.
    MidlineOutside,
    /// The saddle is cut off by the photo's border.
    SaddleCutOff,
    /// The saddle is so small in the photo that its edges cannot be told from what lies beside them.
    SaddleTooSmall,
    /// The edges of the seat form could not be traced.
    EdgesNotFound,
    /// No saddle was found.
    NoSaddle,
    /// The view (top or underside) could not be told.
    ViewUnclear,
    /// Of several photos of one saddle no card is seen in all.
    CardsDiffer,
    /// Several photos do not show one saddle in one place.
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
