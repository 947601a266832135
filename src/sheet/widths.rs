//! Widths with their uncertainty.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::numeric::words::NamedWidth;
use crate::width::influence::Influence;

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
    pub name: NamedWidth,
    /// Its station, without a unit.
    pub at: f64,
    /// The width, in millimetres.
    pub mm: f64,
    /// Its expanded uncertainty, in millimetres.
    pub u95: f64,
    /// From the midline to the left edge, in millimetres; left out when not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_half: Option<f64>,
    /// From the midline to the right edge, in millimetres; left out when not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub right_half: Option<f64>,
    /// Its standard uncertainty, in millimetres; left out when not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// The standard uncertainty of its station, from the traced edges alone (the ends of the midline come on
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
    pub of: NamedWidth,
    /// What contributes, such as `lift`.
    pub from: Influence,
    /// Its standard uncertainty, in millimetres of the width.
    pub u: f64,
}
