//! Fixed terms of the trade that all modules share: views, parts, sides, named widths.

use std::fmt;
use std::ops::{Index, IndexMut};
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// From where a saddle was photographed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum View {
    /// Standing upright, seen from above: the seat form's outline is traced.
    Top,
    /// Lying upside down: the outer outline and the two inner edges of the panels are traced.
    Underside,
}

impl View {
    /// The view's word, as in the sheet.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Top => "top",
            Self::Underside => "underside",
        }
    }

    /// The named widths that this view shows, in the order of the sheet.
    pub fn named_widths(self) -> &'static [NamedWidth] {
        match self {
            Self::Top => &NamedWidth::ALL[..2],
            Self::Underside => &NamedWidth::ALL,
        }
    }
}

/// A width with a name of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
pub enum NamedWidth {
    /// The seat (from below: the outer outline) at its widest.
    #[serde(rename = "seat.widest")]
    SeatWidest,
    /// The seat at its waist.
    #[serde(rename = "seat.waist")]
    SeatWaist,
    /// The channel at station 0.15.
    #[serde(rename = "channel.front")]
    ChannelFront,
    /// The channel at station 0.50.
    #[serde(rename = "channel.middle")]
    ChannelMiddle,
    /// The channel at station 0.85.
    #[serde(rename = "channel.rear")]
    ChannelRear,
    /// The channel at its narrowest.
    #[serde(rename = "channel.narrowest")]
    ChannelNarrowest,
}

impl NamedWidth {
    /// All of them, the seat's two first.
    pub const ALL: [Self; 6] = [
        Self::SeatWidest,
        Self::SeatWaist,
        Self::ChannelFront,
        Self::ChannelMiddle,
        Self::ChannelRear,
        Self::ChannelNarrowest,
    ];

    /// The name, as in the sheet.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::SeatWidest => "seat.widest",
            Self::SeatWaist => "seat.waist",
            Self::ChannelFront => "channel.front",
            Self::ChannelMiddle => "channel.middle",
            Self::ChannelRear => "channel.rear",
            Self::ChannelNarrowest => "channel.narrowest",
        }
    }

    /// The pair of edges that it is taken between.
    pub fn part(self) -> Part {
        match self {
            Self::SeatWidest | Self::SeatWaist => Part::Seat,
            _ => Part::Channel,
        }
    }
}

impl fmt::Display for NamedWidth {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// A text that is no [`NamedWidth`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NotNamed;

impl FromStr for NamedWidth {
    type Err = NotNamed;

    fn from_str(text: &str) -> Result<Self, NotNamed> {
        Self::ALL.into_iter().find(|name| name.as_str() == text).ok_or(NotNamed)
    }
}

/// Which pair of edges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// The outline of the seat form.
    Seat,
    /// The inner edges of the panels.
    Channel,
}

impl Part {
    /// The part's word, as in the sheet.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Seat => "seat",
            Self::Channel => "channel",
        }
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// The rider's left or right when seated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The rider's left.
    Left,
    /// The rider's right.
    Right,
}

impl Side {
    /// The side's word, as in the sheet.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

/// Both sides, left first.
pub const SIDES: [Side; 2] = [Side::Left, Side::Right];

/// One of a thing on each side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Pair<T> {
    /// The rider's left.
    pub left: T,
    /// The rider's right.
    pub right: T,
}

impl<T> Pair<T> {
    /// A pair by side.
    pub fn of(mut each: impl FnMut(Side) -> T) -> Self {
        Self { left: each(Side::Left), right: each(Side::Right) }
    }

    /// A pair by side, where both are there.
    pub fn try_of(mut each: impl FnMut(Side) -> Option<T>) -> Option<Self> {
        Some(Self { left: each(Side::Left)?, right: each(Side::Right)? })
    }

    /// Both, left first.
    pub fn iter(&self) -> impl Iterator<Item = &T> {
        [&self.left, &self.right].into_iter()
    }
}

impl Pair<f64> {
    /// The same number on both sides.
    pub const fn both(value: f64) -> Self {
        Self { left: value, right: value }
    }

    /// Left and right together, such as a width of its halves.
    pub fn sum(self) -> f64 {
        self.left + self.right
    }

    /// Left less right.
    pub fn difference(self) -> f64 {
        self.left - self.right
    }

    /// Both times a number.
    pub fn times(self, by: f64) -> Self {
        Self { left: self.left * by, right: self.right * by }
    }

    /// Side by side less another.
    pub fn minus(self, other: Self) -> Self {
        Self { left: self.left - other.left, right: self.right - other.right }
    }

    /// Sum of the products side by side.
    pub fn dot(self, other: Self) -> f64 {
        self.left * other.left + self.right * other.right
    }
}

impl<T> Index<Side> for Pair<T> {
    type Output = T;

    fn index(&self, side: Side) -> &T {
        match side {
            Side::Left => &self.left,
            Side::Right => &self.right,
        }
    }
}

impl<T> IndexMut<Side> for Pair<T> {
    fn index_mut(&mut self, side: Side) -> &mut T {
        match side {
            Side::Left => &mut self.left,
            Side::Right => &mut self.right,
        }
    }
}
