//! Text in the typeface that is built into the program.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, GlyphId, OutlineCurve, PxScale, ScaleFont};

use super::{Colour, Path, Point, Step, moved};

/// Height of a capital letter, in sizes of the letters.
pub const CAP_HEIGHT: f64 = 0.714;

pub(super) const SEMIBOLD: &[u8] = include_bytes!("fonts/OpenSans-Semibold.ttf");
pub(super) const REGULAR: &[u8] = include_bytes!("fonts/OpenSans-Regular.ttf");

static FACES: LazyLock<[FontRef<'static>; 2]> = LazyLock::new(|| {
    [REGULAR, SEMIBOLD].map(|file| FontRef::try_from_slice(file).expect("the built-in font is whole"))
});

/// The look of a text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TextStyle {
    /// Size of the letters (the em), mm.
    pub size_mm: f64,
    /// Semibold instead of regular.
    pub bold: bool,
    /// Colour.
    pub colour: Colour,
}

impl TextStyle {
    /// Regular letters.
    pub const fn regular(size_mm: f64, colour: Colour) -> Self {
        Self { size_mm, bold: false, colour }
    }

    /// Semibold letters.
    pub const fn bold(size_mm: f64, colour: Colour) -> Self {
        Self { size_mm, bold: true, colour }
    }

    /// Width of a text, mm.
    pub fn width_mm(self, text: &str) -> f64 {
        self.lay_out(text).1
    }

    fn face(self) -> &'static FontRef<'static> {
        &FACES[usize::from(self.bold)]
    }

    /// Millimetres for a unit of the font.
    fn mm_per_unit(self) -> f64 {
        self.size_mm / f64::from(self.face().units_per_em().unwrap_or(2048.0))
    }

    /// The glyphs of a text with their places, and its whole width, mm.
    fn lay_out(self, text: &str) -> (Vec<(GlyphId, f64)>, f64) {
        let face = self.face();
        let font = face.as_scaled(PxScale::from(face.height_unscaled()));
        let (mut x, mut last) = (0.0, None);
        let mut glyphs = Vec::with_capacity(text.len());
        for letter in text.chars() {
            let id = font.glyph_id(letter);
            x += last.map_or(0.0, |last| font.kern(last, id));
            glyphs.push((id, f64::from(x) * self.mm_per_unit()));
            x += font.h_advance(id);
            last = Some(id);
        }
        (glyphs, f64::from(x) * self.mm_per_unit())
    }
}

/// Which part of a text is at its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Its left end.
    Start,
    /// Its middle.
    Middle,
    /// Its right end.
    End,
}

/// One line of text.
#[derive(Debug, Clone, PartialEq)]
pub struct Text {
    /// A point of its base line.
    pub at: Point,
    /// Which part of the text is there.
    pub anchor: Anchor,
    /// What it says.
    pub text: String,
    /// Its look.
    pub style: TextStyle,
}

impl Text {
    /// The left end of its base line.
    pub fn start(&self) -> Point {
        let width = self.style.width_mm(&self.text);
        match self.anchor {
            Anchor::Start => self.at,
            Anchor::Middle => moved(self.at, [-width / 2.0, 0.0]),
            Anchor::End => moved(self.at, [-width, 0.0]),
        }
    }

    /// Left, top, right and bottom, mm.
    pub fn bounds(&self) -> [f64; 4] {
        let ([x, y], size) = (self.start(), self.style.size_mm);
        [x, y - 0.75 * size, x + self.style.width_mm(&self.text), y + 0.25 * size]
    }

    /// The outlines of its letters, to be filled by the non-zero rule.
    pub(super) fn outline(&self) -> Path {
        let (face, scale, start) = (self.style.face(), self.style.mm_per_unit(), self.start());
        let mut path = Path::default();
        for (id, x) in self.style.lay_out(&self.text).0 {
            let Some(outline) = face.outline(id) else { continue };
            let place =
                |p: ab_glyph::Point| moved(start, [x + f64::from(p.x) * scale, -f64::from(p.y) * scale]);
            glyph(&outline.curves, place, &mut path.steps);
        }
        path
    }
}

/// One glyph's curves; a contour ends where a curve does not begin at the end of the one before.
fn glyph(curves: &[OutlineCurve], place: impl Fn(ab_glyph::Point) -> Point, steps: &mut Vec<Step>) {
    // A quadratic curve as a cubic one.
    let handle = |end: Point, middle: Point| [0, 1].map(|i| end[i] + 2.0 / 3.0 * (middle[i] - end[i]));
    let mut pen = None;
    for curve in curves {
        let (start, end, step) = match *curve {
            OutlineCurve::Line(a, b) => (a, b, Step::Line(place(b))),
            OutlineCurve::Quad(a, m, b) => {
                let [from, middle, to] = [a, m, b].map(&place);
                (a, b, Step::Curve(handle(from, middle), handle(to, middle), to))
            }
            OutlineCurve::Cubic(a, c, d, b) => (a, b, Step::Curve(place(c), place(d), place(b))),
        };
        if pen != Some(start) {
            steps.extend(pen.map(|_| Step::Close));
            steps.push(Step::Move(place(start)));
        }
        steps.push(step);
        pen = Some(end);
    }
    steps.extend(pen.map(|_| Step::Close));
}

/// Whether the built-in typeface has a letter.
pub fn has_glyph(letter: char) -> bool {
    letter.is_control() || FACES.iter().all(|face| face.glyph_id(letter) != GlyphId(0))
}

/// The words of a text in lines at most `width_mm` wide. A word that is longer than a line is broken where it must; a
/// no-break space is kept.
pub fn wrap(text: &str, style: TextStyle, width_mm: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    let breaks = |c: char| c.is_whitespace() && !matches!(c, '\u{a0}' | '\u{202f}');
    for word in text.split(breaks).filter(|word| !word.is_empty()) {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if style.width_mm(&longer) <= width_mm {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            line.push(letter);
            if style.width_mm(&line) > width_mm && line.chars().count() > 1 {
                line.pop();
                lines.push(std::mem::take(&mut line));
                line.push(letter);
            }
        }
    }
    lines.extend(Some(line).filter(|line| !line.is_empty()));
    lines
}

/// The text, cut with an ellipsis where it is wider than `width_mm`.
pub fn fitted(text: &str, style: TextStyle, width_mm: f64) -> String {
    let (mut kept, mut shown) = (text.to_owned(), text.to_owned());
    while style.width_mm(&shown) > width_mm && kept.pop().is_some() {
        shown = format!("{}…", kept.trim_end());
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    const STYLE: TextStyle = TextStyle::regular(3.5, Colour::BLACK);

    #[test]
    fn every_line_fits_and_no_word_is_lost() {
        let text = "A photo does not replace a qualified saddle fitter aabbccddeeffaabbccddeeffaabbccddeeff.";
        let lines = wrap(text, STYLE, 30.0);
        assert!(lines.iter().all(|l| STYLE.width_mm(l) <= 30.0), "{lines:?}");
        assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
    }

    #[test]
    fn a_figure_stays_with_its_unit() {
        let lines = wrap("about 150\u{a0}mm", STYLE, STYLE.width_mm("about 150") + 0.1);
        assert_eq!(lines, ["about", "150\u{a0}mm"]);
    }

    #[test]
    fn a_text_that_is_too_wide_ends_in_an_ellipsis() {
        assert_eq!(fitted("short", STYLE, 30.0), "short");
        let cut = fitted("a name that goes on and on", STYLE, 30.0);
        assert!(cut.ends_with('…') && STYLE.width_mm(&cut) <= 30.0, "{cut}");
    }
}
