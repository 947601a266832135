//! Drawings in millimetres on paper. A [`Canvas`] holds lines, text and pictures; it is written as SVG
//! ([`Canvas::to_svg`]), as PNG ([`Canvas::to_png`]) or, with others, as the pages of a PDF ([`pdf()`]).

mod paper;
mod path;
mod pdf;
mod png;
mod svg;
mod text;

use std::sync::Arc;

use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;

pub use paper::Paper;
pub use path::{Path, Step};
pub use pdf::pdf;
pub use svg::{Letters, escaped};
pub use text::{Anchor, CAP_HEIGHT, Text, TextStyle, fitted, has_glyph, wrap};

/// A point, mm from the top-left corner: x to the right, y down.
pub type Point = [f64; 2];

/// Millimetres in an inch, by definition.
pub const MM_PER_INCH: f64 = 25.4;

/// A colour of sRGB with its opacity, 0 to 255. Greys are written to a PDF as device grey.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Colour {
    /// Red, green and blue.
    pub rgb: [u8; 3],
    /// 0 is transparent, 255 opaque.
    pub opacity: u8,
}

impl Colour {
    /// Black.
    pub const BLACK: Self = Self::grey(0);
    /// White.
    pub const WHITE: Self = Self::grey(255);

    /// An opaque colour.
    pub const fn rgb(red: u8, green: u8, blue: u8) -> Self {
        Self { rgb: [red, green, blue], opacity: 255 }
    }

    /// An opaque grey, 0 black to 255 white.
    pub const fn grey(level: u8) -> Self {
        Self::rgb(level, level, level)
    }

    /// The same colour with another opacity.
    pub const fn with_opacity(self, opacity: u8) -> Self {
        Self { opacity, ..self }
    }
}

/// The look of a line. Corners are mitred, ends are butt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// Colour.
    pub colour: Colour,
    /// Width, mm.
    pub width_mm: f64,
    /// Lengths of dashes and gaps in turn, mm; empty for a solid line.
    pub dash_mm: &'static [f64],
}

impl Stroke {
    /// A solid line.
    pub const fn solid(colour: Colour, width_mm: f64) -> Self {
        Self { colour, width_mm, dash_mm: &[] }
    }

    /// A dashed line.
    pub const fn dashed(colour: Colour, width_mm: f64, dash_mm: &'static [f64]) -> Self {
        Self { colour, width_mm, dash_mm }
    }
}

/// One thing on a canvas.
#[derive(Debug, Clone, PartialEq)]
pub enum Item {
    /// A line or an area.
    Path {
        /// What it shows: the `class` of its SVG element, by which tests count it. May be empty.
        class: &'static str,
        /// Its contours; filled by the even-odd rule.
        path: Path,
        /// Colour of the area.
        fill: Option<Colour>,
        /// Its line.
        stroke: Option<Stroke>,
    },
    /// One line of text.
    Text(Text),
    /// A picture.
    Picture {
        /// Its pixels, sRGB.
        image: Arc<RgbImage>,
        /// Left, top, width and height, mm.
        rect: [f64; 4],
    },
}

impl Item {
    /// Left, top, right and bottom, mm.
    pub fn bounds(&self) -> [f64; 4] {
        match self {
            Self::Path { path, stroke, .. } => path.bounds(stroke.map_or(0.0, |s| s.width_mm / 2.0)),
            Self::Text(text) => text.bounds(),
            Self::Picture { rect: [x, y, w, h], .. } => [*x, *y, x + w, y + h],
        }
    }

    fn moved(&self, by: Point) -> Self {
        match self.clone() {
            Self::Path { class, path, fill, stroke } => {
                Self::Path { class, path: path.moved(by), fill, stroke }
            }
            Self::Text(text) => Self::Text(Text { at: moved(text.at, by), ..text }),
            Self::Picture { image, rect: [x, y, w, h] } => {
                Self::Picture { image, rect: [x + by[0], y + by[1], w, h] }
            }
        }
    }
}

/// A point moved right and down, mm.
pub fn moved([x, y]: Point, [right, down]: Point) -> Point {
    [x + right, y + down]
}

/// A sheet of paper, or a figure to be placed on one.
#[derive(Debug, Clone, PartialEq)]
pub struct Canvas {
    /// Width, mm.
    pub width_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// What it shows, for those who cannot see it.
    pub label: String,
    /// What is drawn, from back to front.
    pub items: Vec<Item>,
}

impl Canvas {
    /// An empty canvas of a width and height, mm.
    pub fn new([width_mm, height_mm]: [f64; 2], label: impl Into<String>) -> Self {
        Self { width_mm, height_mm, label: label.into(), items: Vec::new() }
    }

    /// Adds a path with its area and its line.
    pub fn draw(&mut self, class: &'static str, path: Path, fill: Option<Colour>, stroke: Option<Stroke>) {
        self.items.push(Item::Path { class, path, fill, stroke });
    }

    /// Adds an area.
    pub fn fill(&mut self, class: &'static str, path: Path, colour: Colour) {
        self.draw(class, path, Some(colour), None);
    }

    /// Adds a line along a path.
    pub fn stroke(&mut self, class: &'static str, path: Path, stroke: Stroke) {
        self.draw(class, path, None, Some(stroke));
    }

    /// Adds a line through points; fewer than two draw nothing.
    pub fn line(&mut self, class: &'static str, points: impl IntoIterator<Item = Point>, stroke: Stroke) {
        let path = Path::line(points);
        if path.steps.len() > 1 {
            self.stroke(class, path, stroke);
        }
    }

    /// Adds a line over a wider one, so that it reads on dark and on pale ground.
    pub fn cased(&mut self, class: &'static str, path: Path, stroke: Stroke, casing: Stroke) {
        if path.steps.len() > 1 {
            self.stroke("casing", path.clone(), casing);
            self.stroke(class, path, stroke);
        }
    }

    /// Adds a line of text.
    pub fn text(&mut self, at: Point, anchor: Anchor, text: impl Into<String>, style: TextStyle) {
        self.items.push(Item::Text(Text { at, anchor, text: text.into(), style }));
    }

    /// Adds a paragraph, its first base line at a point; returns where the next line would begin.
    pub fn paragraph(&mut self, from: Point, text: &str, style: TextStyle, width_mm: f64) -> Point {
        let mut at = from;
        for line in wrap(text, style, width_mm) {
            self.text(at, Anchor::Start, line, style);
            at[1] += LINE_HEIGHT * style.size_mm;
        }
        at
    }

    /// Adds the items of another canvas, its top-left corner at a point.
    pub fn place(&mut self, other: &Self, at: Point) {
        self.items.extend(other.items.iter().map(|item| item.moved(at)));
    }

    /// Its texts.
    pub fn texts(&self) -> impl Iterator<Item = &Text> {
        self.items.iter().filter_map(|item| if let Item::Text(text) = item { Some(text) } else { None })
    }

    /// Refuses sizes and coordinates that no writer can write.
    fn check(&self) -> Result<(), CanvasError> {
        let sized = self.width_mm > 0.0 && self.height_mm > 0.0;
        let finite = |item: &Item| item.bounds().iter().all(|v| v.is_finite());
        if sized && self.width_mm.is_finite() && self.height_mm.is_finite() && self.items.iter().all(finite) {
            Ok(())
        } else {
            Err(CanvasError::Geometry)
        }
    }
}

/// From base line to base line of a paragraph, in sizes of its letters.
const LINE_HEIGHT: f64 = 1.38;

/// A drawing that cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum CanvasError {
    /// A size or a coordinate that is not finite, or no size at all.
    #[error("the drawing has a size or a coordinate that cannot be drawn")]
    Geometry,
    /// The picture's file format could not be written.
    #[error("the picture could not be encoded: {0}")]
    Picture(#[from] image::ImageError),
    /// The library refused the document.
    #[error("the PDF could not be written: {0}")]
    Pdf(String),
}

/// JPEG quality of embedded pictures: a backdrop on which nothing is measured any more.
const QUALITY: u8 = 84;

fn jpeg(image: &RgbImage) -> Result<Vec<u8>, CanvasError> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, QUALITY).encode_image(image)?;
    Ok(bytes)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// Fails where two texts overlap.
    pub(crate) fn assert_texts_apart(canvas: &Canvas) {
        let texts: Vec<&Text> = canvas.texts().collect();
        for (i, a) in texts.iter().enumerate() {
            for b in &texts[i + 1..] {
                let (p, q) = (a.bounds(), b.bounds());
                let apart = p[0] >= q[2] || q[0] >= p[2] || p[1] >= q[3] || q[1] >= p[3];
                assert!(apart, "{}: {a:?} and {b:?}", canvas.label);
            }
        }
    }

    fn picture() -> Canvas {
        let mut canvas = Canvas::new([40.0, 30.0], "a <drawing>");
        let image = Arc::new(RgbImage::from_pixel(80, 40, image::Rgb([90; 3])));
        canvas.items.push(Item::Picture { image, rect: [0.0, 0.0, 40.0, 20.0] });
        canvas.line("edge", [[10.0, 0.0], [10.0, 20.0]], Stroke::solid(Colour::rgb(0, 0, 200), 1.0));
        canvas.text([2.0, 28.0], Anchor::Start, "a & b", TextStyle::bold(4.0, Colour::BLACK));
        canvas
    }

    #[test]
    fn a_png_has_the_pixels_of_its_picture() {
        let png = image::load_from_memory(&picture().to_png().unwrap()).unwrap().to_rgb8();
        assert_eq!(png.dimensions(), (80, 60));
        assert_eq!(png.get_pixel(70, 10).0, [90; 3], "the picture is untouched where nothing is drawn");
        assert_eq!(png.get_pixel(20, 20).0, [0, 0, 200]);
        assert_eq!(png.get_pixel(70, 50).0, [255; 3], "paper");
    }

    #[test]
    fn an_svg_escapes_its_texts_and_embeds_its_picture() {
        let svg = picture().to_svg(Letters::Typed).unwrap();
        assert!(svg.contains(r#"viewBox="0 0 40 30""#) && svg.contains("a &lt;drawing&gt;"), "{svg}");
        assert!(
            svg.contains(r#"class="edge" d="M10 0L10 20""#) && svg.contains(">a &amp; b</text>"),
            "{svg}"
        );
        assert!(svg.contains(r#"href="data:image/jpeg;base64,"#));
        assert!(!picture().to_svg(Letters::Drawn).unwrap().contains("<text"));
    }

    #[test]
    fn what_cannot_be_drawn_is_an_error() {
        let mut canvas = picture();
        canvas.line("edge", [[0.0, 0.0], [f64::NAN, 1.0]], Stroke::solid(Colour::BLACK, 0.2));
        assert!(canvas.to_png().is_err() && canvas.to_svg(Letters::Typed).is_err());
        assert!(pdf(&[canvas], "t").is_err() && pdf(&[Canvas::new([0.0, 10.0], "")], "t").is_err());
    }
}
