//! Every reason to say no: a code, what is wrong, and what to do next.
//!
//! A stage of the walk gives a value with its uncertainty, or a [`Refusal`]. A refusal is an answer about the
//! photo (exit status 1); what goes wrong with the machine or with the arguments is an error (exit status 2)
//! and travels as `anyhow::Error` at the front door.

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

/// Something the user should know about a result that stands all the same.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Warning {
    /// Machine-readable kind, such as `lift-unknown`.
    pub code: String,
    /// What was noticed, in one plain sentence.
    pub text: String,
    /// What to do about it.
    pub hint: String,
}

impl Warning {
    /// A warning from its three parts.
    pub fn new(code: impl Into<String>, text: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { code: code.into(), text: text.into(), hint: hint.into() }
    }

    /// The same said of one of several photos, by its file.
    pub fn in_photo(self, file: &str) -> Self {
        Self { text: format!("{file}: {}", self.text), ..self }
    }

    /// The same where that photo is called otherwise; a warning of another photo stays as it is.
    pub fn in_photo_renamed(&self, from: &str, to: &str) -> Self {
        let rest = self.text.strip_prefix(from).and_then(|rest| rest.strip_prefix(": "));
        rest.map_or_else(|| self.clone(), |rest| Self { text: rest.to_owned(), ..self.clone() }.in_photo(to))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_of_a_photo_follows_its_name() {
        let said = Warning::new("a", "the light is poor", "wait").in_photo("right.jpg");
        assert_eq!(said.text, "right.jpg: the light is poor");
        assert_eq!(
            said.in_photo_renamed("right.jpg", "willow-2.jpg").text,
            "willow-2.jpg: the light is poor"
        );
        assert_eq!(said.in_photo_renamed("left.jpg", "willow.jpg"), said);
    }
}
