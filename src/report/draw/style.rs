//! How each role looks. Every line has a core and a casing of the opposite lightness, so that it reads on black
//! and on pale leather; dashes and widths carry the meaning too, so that it reads without colour.

use super::Role;

/// Red, green, blue and opacity, 0 to 255.
pub type Colour = [u8; 4];

/// How a line is drawn; lengths in units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Style {
    /// Colour of the core.
    pub core: Colour,
    /// Width of the core.
    pub width: f64,
    /// Colour of the casing.
    pub casing: Colour,
    /// How far the casing reaches out on each side of the core.
    pub casing_out: f64,
    /// Lengths of dashes and gaps in turn; empty for a solid line.
    pub dash: &'static [f64],
    /// The role's word for a style sheet.
    pub class: &'static str,
    /// What the legend says.
    pub legend: &'static str,
}

const PAPER: Colour = [255, 253, 247, 225];
const SHADE: Colour = [20, 24, 31, 190];
/// Deep blue: the seat.
const BLUE: Colour = [12, 62, 128, 255];
/// Rust: the channel.
const RUST: Colour = [150, 58, 10, 255];
/// Straw: the named widths.
const STRAW: Colour = [255, 205, 72, 255];
/// Plum: doubt.
const PLUM: Colour = [122, 22, 108, 255];
/// Ink: the midline, letters.
const INK: Colour = [27, 31, 38, 255];
/// Bottle green: the card.
const GREEN: Colour = [0, 92, 74, 255];

/// The letters on a plate and in the band.
pub const LETTERS: Colour = INK;
/// The plate behind a label.
pub const PLATE: Colour = [255, 253, 247, 235];
/// The rim of a plate.
pub const RIM: Colour = [27, 31, 38, 150];
/// Width of the rim, in units.
pub const RIM_WIDTH: f64 = 0.7;
/// Radius of a marker, in units.
pub const MARKER_RADIUS: f64 = 3.0;
/// The band below the photo.
pub const BAND: Colour = [246, 243, 235, 255];
/// The thin line from a label to what it names.
pub const LEADER: Style =
    Style { core: INK, width: 0.8, casing: PAPER, casing_out: 0.8, dash: &[], class: "leader", legend: "" };

/// How a role is drawn.
pub fn style(role: Role) -> Style {
    let line = |class, legend, core, width, dash| Style {
        core,
        width,
        casing: PAPER,
        casing_out: 1.1,
        dash,
        class,
        legend,
    };
    match role {
        Role::SeatEdge => line("seat-edge", "seat edge", BLUE, 1.7, &[]),
        Role::ChannelEdge => line("channel-edge", "channel edge", RUST, 1.7, &[9.0, 4.0]),
        Role::Doubtful => line("doubtful", "edge in doubt", PLUM, 2.4, &[2.4, 2.6]),
        Role::Rival => line("rival", "other boundary", PLUM, 1.3, &[5.0, 3.0, 1.3, 3.0]),
        Role::NamedWidth => Style {
            core: STRAW,
            width: 2.0,
            casing: SHADE,
            casing_out: 1.3,
            ..line("named-width", "named width", STRAW, 2.0, &[])
        },
        Role::Midline => line("midline", "midline", INK, 1.0, &[12.0, 3.0, 2.0, 3.0]),
        Role::StationLine => Style {
            core: [255, 253, 247, 170],
            width: 0.7,
            casing: [20, 24, 31, 90],
            casing_out: 0.5,
            ..line("station", "set station", PAPER, 0.7, &[])
        },
        Role::Card => line("card", "reference card", GREEN, 1.3, &[1.5, 2.5]),
        Role::Tag => Style { casing_out: 0.8, ..line("tag", "tag used", GREEN, 1.2, &[]) },
    }
}

/// The roles in the order of the legend.
pub const LEGEND: [Role; 9] = [
    Role::SeatEdge,
    Role::ChannelEdge,
    Role::NamedWidth,
    Role::Doubtful,
    Role::Rival,
    Role::Midline,
    Role::StationLine,
    Role::Card,
    Role::Tag,
];
