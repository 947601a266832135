//! What the user asked for, exactly as given: enough to measure the same photos in the same way again.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::lines::HiddenRecord;
use super::words::{Part, View};

/// The request behind a sheet. Nothing in it is rounded, found or derived.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Asked {
    /// The view; null where the program was to find it.
    pub view: Option<View>,
    /// Heights of the edges over the card.
    pub heights: AskedHeights,
    /// Source of the print scale.
    pub scale: AskedScale,
    /// What belongs to one photo, in the order of the sheet's photos.
    pub photos: Vec<AskedOfPhoto>,
}

/// Heights over the card as given, rows of station and millimetres.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct AskedHeights {
    /// Rows `[station, mm]` of the seat's edges; null where not given.
    pub seat: Option<Vec<[f64; 2]>>,
    /// Rows `[station, mm]` of the channel's edges; null where not given.
    pub channel: Option<Vec<[f64; 2]>>,
}

/// The source of the print scale that was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", tag = "by")]
pub enum AskedScale {
    /// Printed at actual size.
    #[default]
    Printer,
    /// The printed bar, measured with a ruler.
    Bar {
        /// Its length, in millimetres.
        mm: f64,
    },
    /// A bank card in the frame.
    BankCard,
}

/// The part of a request that belongs to one photo.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct AskedOfPhoto {
    /// Front and rear end of the midline, `[x, y]` in pixels; null where the program was to find them.
    pub ends_px: Option<[[f64; 2]; 2]>,
    /// Points shown to lie on an edge.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hints: Vec<AskedHint>,
    /// Stretches of edges struck out as hidden.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hidden: Vec<HiddenRecord>,
    /// SHA-256 of the lens file, in lower-case hexadecimal; null where none was given.
    pub lens_sha256: Option<String>,
}

/// A point shown to lie on an edge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AskedHint {
    /// The pair of edges.
    pub part: Part,
    /// The point, `[x, y]` in pixels of its photo.
    pub px: [f64; 2],
    /// Screen pixels a photo pixel when it was pointed at; null where not known.
    #[serde(default)]
    pub zoom: Option<f64>,
}
