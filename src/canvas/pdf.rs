//! Canvases as the pages of a PDF: vectors, text in an embedded subset of the typeface, and true lengths at 100 %.

use krilla::color::{luma, rgb};
use krilla::geom::{Path as PdfPath, PathBuilder, Point as PdfPoint, Size, Transform};
use krilla::image::Image;
use krilla::metadata::{Metadata, TextDirection as Reading};
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, Stroke as PdfStroke, StrokeDash};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};
use krilla::{Document, SerializeSettings};

use super::text::{REGULAR, SEMIBOLD};
use super::{Canvas, CanvasError, Colour, Item, MM_PER_INCH, Path, Step, Stroke, jpeg};

/// A length in points, 72 to the inch (ISO 32000-1, 8.3.2.3).
fn pt(mm: f64) -> f32 {
    (mm * 72.0 / MM_PER_INCH) as f32
}

/// The pages as one file, whose viewer is asked not to scale it to the printer's margins. The same pages give the same
/// bytes.
///
/// # Errors
/// A size or coordinate that is not finite, or a document that the library refuses.
pub fn pdf(pages: &[Canvas], title: &str) -> Result<Vec<u8>, CanvasError> {
    let failed = |what: &str| CanvasError::Pdf(what.to_owned());
    let font = |file: &'static [u8]| Font::new(file.into(), 0).ok_or_else(|| failed("a font is damaged"));
    let fonts = [font(REGULAR)?, font(SEMIBOLD)?];
    // Readable output, in which `without_scaling` finds its place.
    let mut document = Document::new_with(SerializeSettings { pretty: true, ..SerializeSettings::default() });
    let creator = format!("seatspan {}", env!("CARGO_PKG_VERSION"));
    let metadata = Metadata::new().title(title.into()).language("en".into()).creator(creator);
    document.set_metadata(metadata.text_direction(Reading::LeftToRight));
    for page in pages {
        page.check()?;
        let settings =
            PageSettings::from_wh(pt(page.width_mm), pt(page.height_mm)).ok_or(CanvasError::Geometry)?;
        let mut paper = document.start_page_with(settings);
        let mut surface = paper.surface();
        for item in &page.items {
            draw(item, &fonts, &mut surface)?;
        }
        surface.finish();
        paper.finish();
    }
    let bytes = document.finish().map_err(|e| CanvasError::Pdf(format!("{e:?}")))?;
    without_scaling(bytes).ok_or_else(|| failed("it has no place for the print scaling"))
}

fn draw(item: &Item, [regular, semibold]: &[Font; 2], surface: &mut Surface) -> Result<(), CanvasError> {
    match item {
        Item::Path { path, fill, stroke, .. } => {
            let Some(path) = outline(path) else { return Ok(()) };
            surface.set_fill(fill.map(area));
            surface.set_stroke(stroke.map(line));
            surface.draw_path(&path);
        }
        Item::Text(text) => {
            let font = if text.style.bold { semibold } else { regular };
            let [x, y] = text.start().map(pt);
            surface.set_fill(Some(area(text.style.colour)));
            surface.set_stroke(None);
            let (at, size) = (PdfPoint::from_xy(x, y), pt(text.style.size_mm));
            surface.draw_text(at, font.clone(), size, &text.text, false, TextDirection::Auto);
        }
        Item::Picture { image, rect } => {
            let [x, y, w, h] = rect.map(pt);
            let image = Image::from_jpeg(jpeg(image)?.into(), true).map_err(CanvasError::Pdf)?;
            surface.push_transform(&Transform::from_translate(x, y));
            surface.draw_image(image, Size::from_wh(w, h).ok_or(CanvasError::Geometry)?);
            surface.pop();
        }
    }
    Ok(())
}

fn outline(path: &Path) -> Option<PdfPath> {
    let mut out = PathBuilder::new();
    for step in &path.steps {
        match *step {
            Step::Move([x, y]) => out.move_to(pt(x), pt(y)),
            Step::Line([x, y]) => out.line_to(pt(x), pt(y)),
            Step::Curve(a, b, p) => out.cubic_to(pt(a[0]), pt(a[1]), pt(b[0]), pt(b[1]), pt(p[0]), pt(p[1])),
            Step::Close => out.close(),
        }
    }
    out.finish()
}

fn area(colour: Colour) -> Fill {
    Fill { paint: paint(colour), opacity: opacity(colour), rule: FillRule::EvenOdd }
}

fn line(stroke: Stroke) -> PdfStroke {
    let array: Vec<f32> = stroke.dash_mm.iter().map(|d| pt(*d)).collect();
    PdfStroke {
        paint: paint(stroke.colour),
        width: pt(stroke.width_mm),
        miter_limit: 4.0,
        opacity: opacity(stroke.colour),
        dash: (!array.is_empty()).then_some(StrokeDash { array, offset: 0.0 }),
        ..PdfStroke::default()
    }
}

fn paint(Colour { rgb: [red, green, blue], .. }: Colour) -> krilla::paint::Paint {
    if red == green && green == blue {
        luma::Color::new(red).into()
    } else {
        rgb::Color::new(red, green, blue).into()
    }
}

fn opacity(colour: Colour) -> NormalizedF32 {
    NormalizedF32::new(f32::from(colour.opacity) / 255.0).unwrap_or(NormalizedF32::ONE)
}

/// Asks for printing without scaling (ISO 32000-1:2008, table 150, `PrintScaling`). The library cannot write that entry,
/// so it replaces the reading direction, which the library can write and which is the default anyway. Both are of one
/// length, so no offset in the file moves. The catalogue is the last object.
fn without_scaling(mut bytes: Vec<u8>) -> Option<Vec<u8>> {
    const DIRECTION: &[u8; 19] = b"    /Direction /L2R";
    let at = bytes.windows(DIRECTION.len()).rposition(|part| part == DIRECTION)?;
    bytes[at..at + DIRECTION.len()].copy_from_slice(b"/PrintScaling /None");
    Some(bytes)
}
