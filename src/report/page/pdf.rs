//! Pages as a PDF: every item of every page as it stands, in true millimetres.

use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point, Size, Transform};
use krilla::image::Image;
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, LineCap, LineJoin, Stroke as PdfStroke, StrokeDash};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};

use crate::report::draw::font;
use crate::report::figure::{Anchor, Figure, Item, Jpeg, Letters, Stroke, Tone};
use crate::report::units::MM_PER_INCH;

/// Why a PDF could not be made.
#[derive(Debug, thiserror::Error)]
#[error("the PDF could not be made: {0}")]
pub struct PdfError(String);

/// A length on paper in the points of a PDF, 72 to the inch (ISO 32000-1, 8.3.2.3).
pub fn points(mm: f64) -> f32 {
    (mm * 72.0 / MM_PER_INCH) as f32
}

/// The two faces.
struct Faces {
    regular: Font,
    semibold: Font,
}

/// The pages as one file. The same pages give the same bytes.
///
/// # Errors
/// Where a picture is no JPEG, or a length no number.
pub fn pdf(pages: &[Figure], title: &str) -> Result<Vec<u8>, PdfError> {
    let face =
        |file: &'static [u8]| Font::new(file.into(), 0).ok_or_else(|| PdfError("a font is damaged".into()));
    let faces = Faces { regular: face(font::REGULAR)?, semibold: face(font::SEMIBOLD)? };
    let mut document = Document::new();
    let creator = format!("seatspan {}", env!("CARGO_PKG_VERSION"));
    document.set_metadata(Metadata::new().title(title.into()).language("en".into()).creator(creator));
    for page in pages {
        let settings = PageSettings::from_wh(points(page.width_mm), points(page.height_mm))
            .ok_or_else(|| PdfError("a page has no size".into()))?;
        let mut on_paper = document.start_page_with(settings);
        let mut surface = on_paper.surface();
        for item in &page.items {
            draw(item, &faces, &mut surface)?;
        }
        surface.finish();
        on_paper.finish();
    }
    document.finish().map_err(|e| PdfError(format!("{e:?}")))
}

fn draw(item: &Item, faces: &Faces, surface: &mut Surface) -> Result<(), PdfError> {
    match item {
        Item::Path { points, closed, stroke, fill, .. } => {
            let Some(path) = path(points, *closed)? else { return Ok(()) };
            surface.set_fill(fill.map(area));
            surface.set_stroke(stroke.map(|s| line(&s)));
            surface.draw_path(&path);
        }
        Item::Letters(letters) => text(letters, faces, surface),
        Item::Picture { jpeg, rect } => picture(jpeg, *rect, surface)?,
    }
    Ok(())
}

fn path(corners: &[[f64; 2]], closed: bool) -> Result<Option<Path>, PdfError> {
    if corners.iter().flatten().any(|v| !v.is_finite()) {
        return Err(PdfError("a point is not finite".into()));
    }
    let mut builder = PathBuilder::new();
    for (i, [x, y]) in corners.iter().enumerate() {
        let (x, y) = (points(*x), points(*y));
        if i == 0 { builder.move_to(x, y) } else { builder.line_to(x, y) }
    }
    if closed {
        builder.close();
    }
    Ok(builder.finish())
}

fn colour(tone: Tone) -> rgb::Color {
    let [red, green, blue] = tone.rgb();
    rgb::Color::new(red, green, blue)
}

fn area(tone: Tone) -> Fill {
    Fill { paint: colour(tone).into(), opacity: NormalizedF32::ONE, rule: FillRule::NonZero }
}

fn line(stroke: &Stroke) -> PdfStroke {
    let array: Vec<f32> = stroke.dash.iter().map(|d| points(*d)).collect();
    PdfStroke {
        paint: colour(stroke.tone).into(),
        width: points(stroke.width_mm),
        miter_limit: 4.0,
        line_cap: LineCap::Butt,
        line_join: LineJoin::Round,
        opacity: NormalizedF32::ONE,
        dash: (!array.is_empty()).then_some(StrokeDash { array, offset: 0.0 }),
    }
}

fn text(letters: &Letters, faces: &Faces, surface: &mut Surface) {
    let width = width_mm(&letters.text, letters.size_mm, letters.bold);
    let back = match letters.anchor {
        Anchor::Start => 0.0,
        Anchor::Middle => width / 2.0,
        Anchor::End => width,
    };
    let face = if letters.bold { &faces.semibold } else { &faces.regular };
    let at = Point::from_xy(points(letters.at[0] - back), points(letters.at[1]));
    surface.set_fill(Some(area(letters.tone)));
    surface.set_stroke(None);
    let size = points(letters.size_mm);
    surface.draw_text(at, face.clone(), size, &letters.text, false, TextDirection::Auto);
}

/// How wide letters are, mm.
pub fn width_mm(text: &str, size_mm: f64, bold: bool) -> f64 {
    if bold { font::width(text, size_mm) } else { font::regular_width(text, size_mm) }
}

fn picture(jpeg: &Jpeg, [x, y, w, h]: [f64; 4], surface: &mut Surface) -> Result<(), PdfError> {
    let image = Image::from_jpeg(jpeg.bytes.as_ref().clone().into(), true).map_err(PdfError)?;
    let size = Size::from_wh(points(w), points(h)).ok_or_else(|| PdfError("a picture has no size".into()))?;
    surface.push_transform(&Transform::from_translate(points(x), points(y)));
    surface.draw_image(image, size);
    surface.pop();
    Ok(())
}
