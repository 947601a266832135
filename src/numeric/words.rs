//! Enumerations of the trade that all modules share: views, parts and sides.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Side from which a saddle was photographed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum View {
    /// Standing upright, seen from above: the seat form's outline is traced.
    Top,
    /// Lying upside down: the outer outline and the two inner edges of the panels are traced.
    Underside,
}

impl View {
    /// Name in the sheet.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Top => "top",
            Self::Underside => "underside",
        }
    }

    /// The named widths of this view, in the order of the sheet.
    pub fn named_widths(self) -> &'static [&'static str] {
        match self {
            Self::Top => &NAMED_WIDTHS[..2],
            Self::Underside => &NAMED_WIDTHS,
        }
    }
}

/// The named widths, the seat's two first.
pub const NAMED_WIDTHS: [&str; 6] =
    ["seat.widest", "seat.waist", "channel.front", "channel.middle", "channel.rear", "channel.narrowest"];

/// Pair of edges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// The outline of the seat form.
    Seat,
    /// The inner edges of the panels.
    Channel,
}

impl Part {
    /// Name in the sheet.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Seat => "seat",
            Self::Channel => "channel",
        }
    }
}

/// The rider's left or right when seated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The rider's left.
    Left,
    /// The rider's right.
    Right,
}

impl Side {
    /// Name in the sheet.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

/// Both sides, left first.
pub const SIDES: [Side; 2] = [Side::Left, Side::Right];
