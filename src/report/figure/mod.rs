//! The figures of reports.

pub mod budget;
pub mod chart;
pub mod comparison;
pub mod measures;
pub mod photo;
pub mod plan;
pub mod ruler;
pub mod symmetry;

use crate::canvas::{Anchor, Canvas, Path, Point, Stroke, TextStyle};
use crate::report::palette::{INK, PAPER};

/// Draws the letter by which a named width is known in all figures: on a plate, its middle at a point.
pub fn key(canvas: &mut Canvas, [x, y]: Point, key: &str) {
    let plate = Path::rect([x - 1.9, y - 1.75, 3.8, 3.5]);
    canvas.draw("key", plate, Some(INK), Some(Stroke::solid(PAPER, 0.25)));
    canvas.text([x, y + 0.98], Anchor::Middle, key, TextStyle::bold(2.7, PAPER));
}
