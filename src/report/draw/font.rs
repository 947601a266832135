//! The letters of every picture: one typeface, shipped with the program.

use ab_glyph::{Font, FontRef, Glyph, GlyphId, OutlineCurve, PxScale, ScaleFont, point};
use std::sync::LazyLock;
use tiny_skia::PathBuilder;

/// The typeface's name, as an SVG asks for it.
pub const FAMILY: &str = "Open Sans";
/// Its weight, as an SVG asks for it.
pub const WEIGHT: u32 = 600;
/// Height of a capital letter over the size of the letters.
pub const CAP_HEIGHT: f64 = 0.714;

/// The semibold face as a font file.
pub const SEMIBOLD: &[u8] = include_bytes!("../fonts/OpenSans-Semibold.ttf");
/// The regular face as a font file, for running text.
pub const REGULAR: &[u8] = include_bytes!("../fonts/OpenSans-Regular.ttf");

fn face(file: &'static [u8]) -> FontRef<'static> {
    FontRef::try_from_slice(file).expect("the shipped font is whole")
}

static FACE: LazyLock<FontRef<'static>> = LazyLock::new(|| face(SEMIBOLD));
static REGULAR_FACE: LazyLock<FontRef<'static>> = LazyLock::new(|| face(REGULAR));

/// Whether both faces have a letter.
pub fn has(letter: char) -> bool {
    letter.is_control() || [&*FACE, &*REGULAR_FACE].iter().all(|face| face.glyph_id(letter) != GlyphId(0))
}

/// The scale at which one em is `size` long; the library scales by the height of the line instead.
fn scale(face: &FontRef, size: f64) -> PxScale {
    let em = face.units_per_em().unwrap_or(2048.0);
    PxScale::from(size as f32 * face.height_unscaled() / em)
}

/// The glyphs of a text and where each begins, in the unit of `size`; the last number is the whole width.
fn lay_out(face: &FontRef, text: &str, size: f64) -> (Vec<(GlyphId, f32)>, f32) {
    let face = face.as_scaled(scale(face, size));
    let (mut x, mut last) = (0.0, None);
    let mut glyphs = Vec::with_capacity(text.len());
    for c in text.chars() {
        let id = face.glyph_id(c);
        if let Some(last) = last {
            x += face.kern(last, id);
        }
        glyphs.push((id, x));
        x += face.h_advance(id);
        last = Some(id);
    }
    (glyphs, x)
}

/// How wide a text is, in the unit of `size`.
pub fn width(text: &str, size: f64) -> f64 {
    f64::from(lay_out(&FACE, text, size).1)
}

/// How wide a text in the regular face is, in the unit of `size`.
pub fn regular_width(text: &str, size: f64) -> f64 {
    f64::from(lay_out(&REGULAR_FACE, text, size).1)
}

/// Adds the outlines of a text to `path`; its base line begins at (x, y), y downward, all in the unit of `size`.
pub fn outline(text: &str, size: f64, x: f32, y: f32, path: &mut PathBuilder) {
    let scale = scale(&FACE, size);
    let factor = FACE.as_scaled(scale).scale_factor();
    for (id, dx) in lay_out(&FACE, text, size).0 {
        let glyph: Glyph = id.with_scale_and_position(scale, point(x + dx, y));
        let Some(outline) = FACE.outline(id) else { continue };
        let place = |p: ab_glyph::Point| {
            (glyph.position.x + p.x * factor.horizontal, glyph.position.y - p.y * factor.vertical)
        };
        curves(&outline.curves, place, path);
    }
}

/// Adds one glyph's curves; a contour ends where a curve does not begin at the end of the one before.
fn curves(curves: &[OutlineCurve], place: impl Fn(ab_glyph::Point) -> (f32, f32), path: &mut PathBuilder) {
    let mut pen = None;
    for curve in curves {
        let (start, end) = match *curve {
            OutlineCurve::Line(a, b) | OutlineCurve::Quad(a, _, b) | OutlineCurve::Cubic(a, _, _, b) => {
                (a, b)
            }
        };
        if pen != Some(start) {
            if pen.is_some() {
                path.close();
            }
            let (x, y) = place(start);
            path.move_to(x, y);
        }
        let (x, y) = place(end);
        match *curve {
            OutlineCurve::Line(..) => path.line_to(x, y),
            OutlineCurve::Quad(_, c, _) => path.quad_to(place(c).0, place(c).1, x, y),
            OutlineCurve::Cubic(_, c, d, _) => {
                path.cubic_to(place(c).0, place(c).1, place(d).0, place(d).1, x, y);
            }
        }
        pen = Some(end);
    }
    if pen.is_some() {
        path.close();
    }
}
