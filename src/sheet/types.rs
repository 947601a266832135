//! The record itself: every key of a sheet, with its unit.
//!
//! Keys end in their unit (`_mm`, `_px`, `_deg`); keys without one are lengths in millimetres where the part of
//! the sheet says so (`mm`, `u`, `u95`, `left_half`), or numbers without a unit (stations, probabilities).
//! `u` is a standard uncertainty, `u95` an expanded uncertainty for 95 % coverage. Stations run from 0 at the
//! front end of the midline to 1 at its rear end. Pixels are those of the upright photo, origin at the centre of
//! the top-left pixel, x right, y down; where a sheet has several photos they are those of the first.

use super::asked::Asked;
use super::capture::{CameraRecord, Card, PhotoRecord};
use super::lines::{
    Doubt, Edges, EdgesPx, HiddenRecord, HintRecord, Level, Lift, MidlineRecord, RivalRecord,
};
use super::widths::{BudgetLine, Station, Taper, Width};
use super::words::View;
use crate::numeric::words::NamedWidth;
use crate::refusal::Refusal;
use crate::warning::Warning;
use crate::width::influences::Influences;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The name and version of the format that this program writes.
pub const SCHEMA: &str = "seatspan-sheet/2";
/// The version before, which is read as well.
pub const VERSION_1: &str = "seatspan-sheet/1";

/// One saddle measured (or refused): what every report, comparison and assessment reads.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sheet {
    /// Name and version of the format: `seatspan-sheet/2`.
    pub schema: String,
    /// The program that wrote the sheet; null in sheets of other writers.
    #[serde(default)]
    pub software: Option<Software>,
    /// Which saddle this is.
    pub saddle: Saddle,
    /// What the user asked for; null in sheets that did not keep it.
    #[serde(default)]
    pub asked: Option<Asked>,
    /// From where the saddle was photographed; null when a refused photo did not show it.
    #[serde(deserialize_with = "Option::deserialize")]
    pub view: Option<View>,
    /// The photos measured, at least one.
    pub photos: Vec<PhotoRecord>,
    /// The reference cards found, of a refused photo as well: sheets before strips, then by their copies.
    pub cards: Vec<Card>,
    /// The camera, fitted to the cards, of a refused photo as well; null when the photo was refused before.
    #[serde(deserialize_with = "Option::deserialize")]
    pub camera: Option<CameraRecord>,
    /// The line from the front end of the seat form to its rear end; null when refused before.
    #[serde(deserialize_with = "Option::deserialize")]
    pub midline: Option<MidlineRecord>,
    /// Heights of the edges over the card's plane; null when refused before.
    #[serde(deserialize_with = "Option::deserialize")]
    pub lift: Option<Lift>,
    /// How level card and saddle are with each other; left out by programs that did not say it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<Level>,
    /// The traced edges in millimetres; null when refused before.
    #[serde(deserialize_with = "Option::deserialize")]
    pub edges: Option<Edges>,
    /// The traced edges in pixels of the first photo, for drawing; null when not kept.
    #[serde(default)]
    pub edges_px: Option<EdgesPx>,
    /// The widths at the set stations, front to rear; empty when refused.
    pub stations: Vec<Station>,
    /// The named widths that the view shows; empty when refused.
    pub widths: Vec<Width>,
    /// Full angle between the edges at the front; null when it could not be measured.
    #[serde(deserialize_with = "Option::deserialize")]
    pub front_taper: Option<Taper>,
    /// Every contribution to every named width's uncertainty. The root sum of squares of the lines of one width
    /// is its standard uncertainty.
    pub budget: Vec<BudgetLine>,
    /// Every influence on the half-widths with sign and scope, of which the budget is made; null when refused.
    #[serde(default)]
    pub influences: Option<Influences>,
    /// Points that a person has shown to lie on an edge: it was traced through them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hints: Vec<HintRecord>,
    /// Stretches of edges that a person has struck out as hidden: nothing was measured along them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hidden: Vec<HiddenRecord>,
    /// Stretches along which another line has a probability of 20 % or more of being the edge.
    #[serde(default)]
    pub doubts: Vec<Doubt>,
    /// Other lines, of a probability of 5 % or more, that would change a named width by more than its expanded uncertainty.
    #[serde(default)]
    pub rivals: Vec<RivalRecord>,
    /// What the user should know although the result stands.
    pub warnings: Vec<Warning>,
    /// Why there is no measurement; null when there is one.
    #[serde(deserialize_with = "Option::deserialize")]
    pub refused: Option<Refusal>,
}

/// The program that wrote a sheet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Software {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

impl Software {
    /// This program.
    pub fn this() -> Self {
        Self { name: env!("CARGO_PKG_NAME").into(), version: env!("CARGO_PKG_VERSION").into() }
    }
}

/// Which saddle was measured.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Saddle {
    /// The user's name for it.
    pub name: String,
    /// The user's remark.
    #[serde(deserialize_with = "Option::deserialize")]
    pub note: Option<String>,
}

impl Sheet {
    /// The sheet of a refused photo: it says why, and has no width.
    pub fn refused(saddle: Saddle, view: Option<View>, photos: Vec<PhotoRecord>, refusal: Refusal) -> Self {
        Self {
            schema: SCHEMA.into(),
            software: Some(Software::this()),
            saddle,
            asked: None,
            view,
            photos,
            cards: Vec::new(),
            camera: None,
            midline: None,
            lift: None,
            level: None,
            edges: None,
            edges_px: None,
            stations: Vec::new(),
            widths: Vec::new(),
            front_taper: None,
            budget: Vec::new(),
            influences: None,
            hints: Vec::new(),
            hidden: Vec::new(),
            doubts: Vec::new(),
            rivals: Vec::new(),
            warnings: Vec::new(),
            refused: Some(refusal),
        }
    }

    /// What a warning says, after the file of the photo that it concerns.
    pub fn warning_text(&self, warning: &Warning) -> String {
        match warning.photo.and_then(|index| self.photos.get(index)) {
            Some(photo) => format!("{}: {}", photo.file, warning.text),
            None => warning.text.clone(),
        }
    }

    /// Day of the first photo, `2026-05-02`.
    pub fn day(&self) -> Option<&str> {
        self.photos.first()?.taken.as_deref()?.get(..10)
    }

    /// The named width of that name, if it was measured.
    pub fn width(&self, name: NamedWidth) -> Option<&Width> {
        self.widths.iter().find(|w| w.name == name)
    }
}
