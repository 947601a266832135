//! Bank card and its frame on the printed sheet; its known size gives the print scale.

use nalgebra::Vector2;

use super::pattern::Pattern;

/// Width and height of a bank card, mm (ISO/IEC 7810:2019, ID-1).
pub const ID1_MM: [f64; 2] = [85.60, 53.98];
/// Its thickness, mm (the same).
pub const ID1_THICK_MM: f64 = 0.76;
/// Left and top of the frame's white from the pattern's top-left corner, mm.
pub const FRAME_AT_MM: [f64; 2] = [46.8, 70.0];
/// Width of the frame's line, outside of the white, mm.
pub const FRAME_LINE_MM: f64 = 0.25;
/// The frame is drawn at its corners, so far along each side, mm: the middle of a bank card's sides is in front of white
/// paper, where a photo shows it clearly.
pub const BRACKET_MM: f64 = 10.0;

/// The frame's middle in the card's frame, mm.
pub fn frame_middle_mm(pattern: &Pattern) -> Vector2<f64> {
    let from_left = FRAME_AT_MM[0] + ID1_MM[0] / 2.0;
    let from_top = FRAME_AT_MM[1] + ID1_MM[1] / 2.0;
    Vector2::new(from_left - pattern.width_mm / 2.0, pattern.height_mm / 2.0 - from_top)
}
