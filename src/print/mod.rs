//! Pages to print: the reference cards and the guide for clients. All in black and greys, for any printer.

pub mod card;
pub mod guide;
mod sketch;
mod strip;
mod tag;

use crate::canvas::{Colour, Stroke, TextStyle};

const BLACK: Colour = Colour::BLACK;

/// Semibold black letters.
const fn letters(size_mm: f64) -> TextStyle {
    TextStyle::bold(size_mm, BLACK)
}

/// A solid black line.
const fn black(width_mm: f64) -> Stroke {
    Stroke::solid(BLACK, width_mm)
}
