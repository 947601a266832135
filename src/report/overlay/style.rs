//! The lines of an overlay. Each has a casing of the opposite lightness, so that it reads on black and on pale leather;
//! dashes and widths carry the meaning too, so that it reads without colour. Lengths are mm on [`super::LONG_SIDE_MM`].

use crate::canvas::{Canvas, Colour, Path, Stroke};
use crate::report::palette::{CHANNEL, INK, SEAT};

/// The look of one kind of line.
#[derive(Debug, PartialEq)]
pub struct Style {
    /// Its class on the canvas.
    pub class: &'static str,
    /// Its words in the legend.
    pub legend: &'static str,
    core: Stroke,
    casing: Stroke,
}

const PALE: Colour = Colour::rgb(255, 253, 247);
/// The plate behind a label.
pub const PLATE: Colour = PALE.with_opacity(235);
/// The rim of a plate.
pub const RIM: Stroke = Stroke::solid(INK.with_opacity(150), 0.175);
/// The band below the photo.
pub const BAND: Colour = Colour::rgb(246, 243, 235);
const MARKER_RADIUS_MM: f64 = 0.75;

/// Straw, for the named widths.
const STRAW: Colour = Colour::rgb(255, 205, 72);
/// Plum, for doubt.
const PLUM: Colour = Colour::rgb(122, 22, 108);
/// Bottle green, for the card.
const GREEN: Colour = Colour::rgb(0, 92, 74);

const fn pale_cased(
    class: &'static str,
    legend: &'static str,
    colour: Colour,
    width_mm: f64,
    dash_mm: &'static [f64],
) -> Style {
    let core = Stroke::dashed(colour, width_mm, dash_mm);
    Style { class, legend, core, casing: Stroke::solid(PALE.with_opacity(225), width_mm + 0.55) }
}

pub const SEAT_EDGE: Style = pale_cased("seat-edge", "edge of the seat", SEAT, 0.425, &[]);
pub const CHANNEL_EDGE: Style =
    pale_cased("channel-edge", "edge of the channel", CHANNEL, 0.425, &[2.25, 1.0]);
pub const DOUBTFUL: Style = pale_cased("doubtful", "edge in doubt", PLUM, 0.6, &[0.6, 0.65]);
pub const RIVAL: Style = pale_cased("rival", "other possible edge", PLUM, 0.325, &[1.25, 0.75, 0.325, 0.75]);
pub const NAMED_WIDTH: Style = Style {
    class: "named-width",
    legend: "named width",
    core: Stroke::solid(STRAW, 0.5),
    casing: Stroke::solid(Colour::rgb(20, 24, 31).with_opacity(190), 1.15),
};
pub const MIDLINE: Style = pale_cased("midline", "midline", INK, 0.25, &[3.0, 0.75, 0.5, 0.75]);
pub const STATION: Style = Style {
    class: "station",
    legend: "station",
    core: Stroke::solid(PALE.with_opacity(170), 0.175),
    casing: Stroke::solid(Colour::rgb(20, 24, 31).with_opacity(90), 0.425),
};
pub const CARD: Style = pale_cased("card", "reference card", GREEN, 0.325, &[0.375, 0.625]);
pub const TAG: Style = pale_cased("tag", "tag used", GREEN, 0.3, &[]);
pub const LEADER: Style = pale_cased("leader", "", INK, 0.2, &[]);

/// The lines in the order of the legend.
pub const LEGEND: [&Style; 9] =
    [&SEAT_EDGE, &CHANNEL_EDGE, &NAMED_WIDTH, &DOUBTFUL, &RIVAL, &MIDLINE, &STATION, &CARD, &TAG];

impl Style {
    /// Draws a line.
    pub fn draw(&self, canvas: &mut Canvas, path: Path) {
        canvas.cased(self.class, path, self.core, self.casing);
    }

    /// Draws a sample of the line for the legend.
    pub fn swatch(&self, canvas: &mut Canvas, path: Path) {
        canvas.cased("swatch", path, self.core, self.casing);
    }

    /// Draws a point.
    pub fn marker(&self, canvas: &mut Canvas, at: [f64; 2]) {
        let rim = Stroke { width_mm: 0.55 + self.core.width_mm, ..self.casing };
        canvas.stroke("casing", Path::circle(at, MARKER_RADIUS_MM), rim);
        canvas.fill("marker", Path::circle(at, MARKER_RADIUS_MM), self.core.colour);
    }
}
