//! The record itself: every key of a sheet, with its unit.
//!
//! Keys end in their unit (`_mm`, `_px`, `_deg`); keys without one are lengths in millimetres where the part of
//! the sheet says so (`mm`, `u`, `u95`, `left_half`), or numbers without a unit (stations, probabilities).
//! `u` is a standard uncertainty, `u95` an expanded uncertainty for 95 % coverage. Stations run from 0 at the
//! front end of the midline to 1 at its rear end. Pixels are those of the upright photo, origin at the centre of
//! the top-left pixel, x right, y down; where a sheet has several photos they are those of the first.

use super::asked::Asked;
use super::words::{FocalSource, LiftSource, MidlineSource, Part, Side, View};
use crate::refusal::Refusal;
use crate::warning::Warning;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The name and version of the format that this program writes.
pub const SCHEMA: &str = "seatspan-sheet/1";

/// One saddle measured (or refused): what every report, comparison and assessment reads.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Sheet {
    /// Name and version of the format: `seatspan-sheet/1`.
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
    pub photos: Vec<Photo>,
    /// The reference cards found: sheets before strips, then by their copies.
    pub cards: Vec<Card>,
    /// The camera, fitted to the cards; null when the photo was refused before.
    #[serde(deserialize_with = "Option::deserialize")]
    pub camera: Option<Camera>,
    /// The line from the front end of the seat form to its rear end; null when refused before.
    #[serde(deserialize_with = "Option::deserialize")]
    pub midline: Option<Midline>,
    /// Heights of the edges over the card's plane; null when refused before.
    #[serde(deserialize_with = "Option::deserialize")]
    pub lift: Option<Lift>,
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
    /// Points that a person has shown to lie on an edge: it was traced through them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hints: Vec<EdgeHint>,
    /// Stretches of edges that a person has struck out as hidden: nothing was measured along them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hidden: Vec<HiddenStretch>,
    /// Stretches along which two boundaries compete for being the edge.
    #[serde(default)]
    pub doubts: Vec<Doubt>,
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

/// One photo.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Photo {
    /// File name without its folder.
    pub file: String,
    /// SHA-256 of the file, in lower-case hexadecimal.
    pub sha256: String,
    /// Width of the upright photo, in pixels (0 when the file could not be decoded).
    pub width_px: u32,
    /// Height of the upright photo, in pixels (0 when the file could not be decoded).
    pub height_px: u32,
    /// Local date and time at which it was taken, `YYYY-MM-DDThh:mm:ss`; null when the file does not say.
    #[serde(deserialize_with = "Option::deserialize")]
    pub taken: Option<String>,
    /// Maker and model of the camera; null when the file does not say.
    #[serde(deserialize_with = "Option::deserialize")]
    pub camera: Option<String>,
}

/// One reference card found in the photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Card {
    /// The card's pattern, such as `sheet` or `strip`.
    pub pattern: String,
    /// Which copy of the pattern, from 0.
    pub copy: u32,
    /// Number of its tags used.
    pub tags: u32,
    /// Root mean square distance of the points along its tags' sides from where the fitted camera puts them, in pixels.
    pub rms_px: f64,
    /// Printed length over nominal length, without a unit (1 when printed true).
    pub print_scale: f64,
    /// Its relative standard uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub print_scale_u: Option<f64>,
    /// What told it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub print_scale_by: Option<ScaleSource>,
}

/// What told the scale at which the card was printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ScaleSource {
    /// Nothing but that it was printed at actual size.
    Printer,
    /// The printed bar, measured with a ruler.
    Bar,
    /// A bank card in the frame.
    BankCard,
}

/// The camera as fitted to the cards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Camera {
    /// Focal length, in pixels.
    pub focal_px: f64,
    /// Its standard uncertainty, in pixels.
    pub focal_u_px: f64,
    /// Where its information came from.
    pub focal_source: FocalSource,
    /// Principal point (x, y), in pixels; null when not kept.
    #[serde(default)]
    pub principal_px: Option<[f64; 2]>,
    /// Its standard uncertainties (x, y), in pixels; null when not kept.
    #[serde(default)]
    pub principal_u_px: Option<[f64; 2]>,
    /// Brown-Conrady distortion k1, k2, p1, p2, k3, without a unit.
    pub distortion: [f64; 5],
    /// Height of the camera over the first card's plane, in millimetres.
    pub height_mm: f64,
    /// Angle between the optical axis and the card's normal, in degrees.
    pub tilt_deg: f64,
    /// Rotation from the first card's frame to the camera's axes (x right, y down, z forward), row by row; null when
    /// not kept.
    #[serde(default)]
    pub rotation: Option<[[f64; 3]; 3]>,
    /// The first card's origin in the camera's axes, in millimetres; null when not kept.
    #[serde(default)]
    pub translation_mm: Option<[f64; 3]>,
    /// Root mean square of all corner residuals, in pixels; null when not kept.
    #[serde(default)]
    pub reprojection_rms_px: Option<f64>,
    /// How far the first card bows out of its plane (positive toward the camera), in millimetres; null when
    /// not looked at.
    #[serde(default)]
    pub card_bend_mm: Option<f64>,
    /// Its standard uncertainty, in millimetres; null when not looked at.
    #[serde(default)]
    pub card_bend_u_mm: Option<f64>,
}

/// The line from the front end of the seat form to its rear end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Midline {
    /// Front end (x, y), in pixels.
    pub front_px: [f64; 2],
    /// Rear end (x, y), in pixels.
    pub rear_px: [f64; 2],
    /// Length projected to the card's plane, in millimetres.
    pub length_mm: f64,
    /// Where it came from.
    pub source: MidlineSource,
}

/// Heights of the edges over the card's plane, as rows of station and millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Lift {
    /// Rows `[station, mm]` of the seat's edges, front to rear; null when not known.
    #[serde(deserialize_with = "Option::deserialize")]
    pub seat: Option<Vec<[f64; 2]>>,
    /// Rows `[station, mm]` of the channel's edges, front to rear; null when not known or not in the view.
    #[serde(deserialize_with = "Option::deserialize")]
    pub channel: Option<Vec<[f64; 2]>>,
    /// Where they came from.
    pub source: LiftSource,
    /// Standard uncertainties of `seat`, in millimetres, one for each row; left out when not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seat_u: Option<Vec<f64>>,
    /// Standard uncertainties of `channel`, in millimetres, one for each row; left out when not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channel_u: Option<Vec<f64>>,
}

/// The traced edges in millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Edges {
    /// The seat's two edges; null when not traced.
    #[serde(deserialize_with = "Option::deserialize")]
    pub seat: Option<EdgePair>,
    /// The channel's two edges; null when not traced or not in the view.
    #[serde(deserialize_with = "Option::deserialize")]
    pub channel: Option<EdgePair>,
}

/// A left and a right edge: rows `[station, half-width mm, u mm]`, front to rear, one a traced point.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EdgePair {
    /// The rider's left.
    pub left: Vec<[f64; 3]>,
    /// The rider's right.
    pub right: Vec<[f64; 3]>,
}

/// The traced edges in pixels of the first photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EdgesPx {
    /// The seat's two edges; null when not traced.
    pub seat: Option<EdgePairPx>,
    /// The channel's two edges; null when not traced or not in the view.
    pub channel: Option<EdgePairPx>,
}

/// A left and a right edge: points `[x, y]` in pixels, one for each row of [`EdgePair`] in the same order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EdgePairPx {
    /// The rider's left.
    pub left: Vec<[f64; 2]>,
    /// The rider's right.
    pub right: Vec<[f64; 2]>,
}

/// The widths at one set station. A width that could not be traced is null, never interpolated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Station {
    /// The station, without a unit.
    pub at: f64,
    /// Width of the seat; null when it could not be traced here.
    #[serde(deserialize_with = "Option::deserialize")]
    pub seat: Option<StationWidth>,
    /// Width of the channel; null when it could not be traced here or is not in the view.
    #[serde(deserialize_with = "Option::deserialize")]
    pub channel: Option<StationWidth>,
}

/// A width at a station, in millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StationWidth {
    /// The width, in millimetres.
    pub mm: f64,
    /// Its expanded uncertainty, in millimetres.
    pub u95: f64,
    /// From the midline to the left edge, in millimetres.
    pub left_half: f64,
    /// From the midline to the right edge, in millimetres.
    pub right_half: f64,
}

/// A named width, in millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Width {
    /// Its name, such as `seat.widest`.
    pub name: String,
    /// The station where it was taken, without a unit.
    pub at: f64,
    /// The width, in millimetres.
    pub mm: f64,
    /// Its expanded uncertainty, in millimetres.
    pub u95: f64,
    /// Its standard uncertainty, in millimetres; left out when not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// The standard uncertainty of the station where it lies, from the traced edges alone (the ends of the midline come on
    /// top), without a unit; left out where the station is set or the edges do not place it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_u: Option<f64>,
    /// Where several cards were measured: the expanded uncertainty that the first of them alone would have given, in
    /// millimetres; left out otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub one_card_u95: Option<f64>,
    /// Where several photos were measured together: the expanded uncertainty that the first of them alone would have given, in
    /// millimetres; left out otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub one_photo_u95: Option<f64>,
}

/// The full angle between the left and the right edge at the front, positive when the seat widens rearwards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Taper {
    /// The angle, in degrees.
    pub deg: f64,
    /// Its expanded uncertainty, in degrees.
    pub u95: f64,
}

/// One contribution to the uncertainty of one named width.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BudgetLine {
    /// The named width.
    pub of: String,
    /// What contributes, such as `lift`.
    pub from: String,
    /// Its standard uncertainty, in millimetres of the width.
    pub u: f64,
}

/// A point that a person has shown to lie on an edge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EdgeHint {
    /// Of which pair of edges.
    pub part: Part,
    /// Where, in pixels of the first photo.
    pub px: [f64; 2],
}

/// A stretch of an edge that a person has struck out as hidden.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HiddenStretch {
    /// Of which pair of edges.
    pub part: Part,
    /// Which of the two.
    pub side: Side,
    /// First station of the stretch, without a unit.
    pub from_at: f64,
    /// Last station of the stretch, without a unit.
    pub to_at: f64,
}

/// A stretch along which another boundary competes with the traced one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Doubt {
    /// Which pair of edges.
    pub part: Part,
    /// Which of the two.
    pub side: Side,
    /// First station of the stretch, without a unit.
    pub from_at: f64,
    /// Last station of the stretch, without a unit.
    pub to_at: f64,
    /// How far the competing boundary lies outside (negative: inside) the traced one, in millimetres.
    pub apart_mm: f64,
    /// Probability that the competing boundary is the edge, 0 to 1.
    pub probability: f64,
}

impl HiddenStretch {
    /// The stretch in words, such as `seat left edge from 0.30 to 0.42`.
    pub fn in_words(&self) -> String {
        let (part, side) = (self.part.as_str(), self.side.as_str());
        format!("{part} {side} edge from {:.2} to {:.2}", self.from_at, self.to_at)
    }
}

impl Sheet {
    /// The sheet of a refused photo: it says why, and has no width.
    pub fn refused(saddle: Saddle, view: Option<View>, photos: Vec<Photo>, refusal: Refusal) -> Self {
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
            edges: None,
            edges_px: None,
            stations: Vec::new(),
            widths: Vec::new(),
            front_taper: None,
            budget: Vec::new(),
            hints: Vec::new(),
            hidden: Vec::new(),
            doubts: Vec::new(),
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

    /// The named width of that name, if it was measured.
    pub fn width(&self, name: &str) -> Option<&Width> {
        self.widths.iter().find(|w| w.name == name)
    }
}
