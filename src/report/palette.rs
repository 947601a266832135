//! The colours of reports and overlays. Each pair that meets differs in lightness, and lines differ in dashes too, so
//! that a drawing reads in grey.

use crate::canvas::{Colour, Stroke, TextStyle};

/// Text and named widths.
pub const INK: Colour = Colour::rgb(27, 31, 38);
/// Lesser text, ticks.
pub const SOFT: Colour = Colour::rgb(88, 94, 104);
/// Grids and frames.
pub const HAIR: Colour = Colour::rgb(199, 196, 186);
/// A pale ground.
pub const WASH: Colour = Colour::rgb(244, 241, 233);
/// The seat, and its uncertainty.
pub const SEAT: Colour = Colour::rgb(12, 62, 128);
/// See [`SEAT`].
pub const SEAT_WASH: Colour = Colour::rgb(196, 211, 231);
/// The channel, and its uncertainty.
pub const CHANNEL: Colour = Colour::rgb(150, 58, 10);
/// See [`CHANNEL`].
pub const CHANNEL_WASH: Colour = Colour::rgb(240, 214, 196);
/// Paper.
pub const PAPER: Colour = Colour::WHITE;

/// Grid lines and frames.
pub const HAIRLINE: Stroke = Stroke::solid(HAIR, 0.15);
/// Ticks of rulers and axes.
pub const TICK: Stroke = Stroke::solid(SOFT, 0.18);
/// The seat's edge.
pub const SEAT_EDGE: Stroke = Stroke::solid(SEAT, 0.5);
/// The channel's edge.
pub const CHANNEL_EDGE: Stroke = Stroke::dashed(CHANNEL, 0.5, &[2.2, 1.0]);
/// The midline.
pub const MIDLINE: Stroke = Stroke::dashed(INK, 0.22, &[3.0, 0.9, 0.6, 0.9]);
/// A named width.
pub const NAMED: Stroke = Stroke::solid(INK, 0.35);

/// Words in figures: some 8 points.
pub const LABEL: TextStyle = TextStyle::regular(2.8, INK);
/// Lesser words in figures: some 7 points.
pub const SMALL: TextStyle = TextStyle::regular(2.5, INK);
/// Figures at axes and rulers.
pub const AXIS: TextStyle = TextStyle::regular(2.5, SOFT);
