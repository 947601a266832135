//! Lines on the saddle: its midline, its edges with their heights, and what may be wrong with them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::words::{LevelSource, LiftSource, MidlineSource, Part, Side};
use crate::numeric::words::NamedWidth;

/// The line from the front end of the seat form to its rear end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MidlineRecord {
    /// Front end (x, y), in pixels.
    pub front_px: [f64; 2],
    /// Rear end (x, y), in pixels.
    pub rear_px: [f64; 2],
    /// Length projected to the card's plane, in millimetres.
    pub length_mm: f64,
    /// Its source.
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
    /// Their source.
    pub source: LiftSource,
    /// Standard uncertainties of `seat`, in millimetres, one for each row; left out when not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seat_u: Option<Vec<f64>>,
    /// Standard uncertainties of `channel`, in millimetres, one for each row; left out when not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channel_u: Option<Vec<f64>>,
}

/// How level card and saddle are with each other. Heights are measured upwards from the card, so a card that is not level
/// with the saddle makes widths wrong.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Level {
    /// Source of what is known of it.
    pub source: LevelSource,
    /// Standard uncertainty of the card's slope against the saddle's horizontal in each direction, in degrees, as assumed or
    /// as several cards leave it.
    pub card_u_deg: f64,
    /// Standard uncertainty of the saddle's roll about its midline, in degrees, as assumed.
    pub saddle_u_deg: f64,
    /// Slope of the saddle over the card across the midline, its left side up, in degrees, where photos show it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lean_deg: Option<f64>,
    /// Its standard uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lean_u_deg: Option<f64>,
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

/// A point that a person has shown to lie on an edge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HintRecord {
    /// Of which pair of edges.
    pub part: Part,
    /// Where, in pixels of the first photo.
    pub px: [f64; 2],
}

/// A stretch of an edge that a person has struck out as hidden.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HiddenRecord {
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
    /// Distance of the competing boundary outwards (negative: inwards) from the traced one, in millimetres.
    pub apart_mm: f64,
    /// Probability that the competing boundary is the edge, 0 to 1.
    pub probability: f64,
}

/// A line that may be the edge instead of the one that was used.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RivalRecord {
    /// Which pair of edges.
    pub part: Part,
    /// Which of the two; null where both sides may follow another body.
    #[serde(deserialize_with = "Option::deserialize")]
    pub side: Option<Side>,
    /// First station of the stretch, without a unit.
    pub from: f64,
    /// Last station of the stretch, without a unit.
    pub to: f64,
    /// Mean distance outwards from the line that was used (negative: inwards), in millimetres.
    pub offset_mm: f64,
    /// Probability that it is the edge, 0 to 1; of lines on both sides, the smaller.
    pub probability: f64,
    /// Every named width that it would change by more than that width's expanded uncertainty.
    pub widths: Vec<RivalWidth>,
}

/// A named width as a rival line would give it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RivalWidth {
    /// Its name, such as `seat.widest`.
    pub name: NamedWidth,
    /// The width, in millimetres.
    pub mm: f64,
    /// Its expanded uncertainty, in millimetres.
    pub u95: f64,
    /// Its station, without a unit.
    pub at: f64,
}

impl HiddenRecord {
    /// The stretch in words, such as `seat left edge from 0.30 to 0.42`.
    pub fn in_words(&self) -> String {
        let (part, side) = (self.part.as_str(), self.side.as_str());
        format!("{part} {side} edge from {:.2} to {:.2}", self.from_at, self.to_at)
    }
}
