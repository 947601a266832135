//! Room 4: midline, the straightened strip, boundary tracing, and edges measured in the photo.

pub mod chart;
pub mod lift;
pub mod midline;
pub mod strip;
pub mod trace;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Which way the saddle is seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum View {
    /// Upright, from above: the seat form.
    Top,
    /// Upside down: outer outline, panels and channel.
    Underside,
}

/// A side of the rider when seated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The rider's left.
    Left,
    /// The rider's right.
    Right,
}
