//! A page as PDF: vectors only, letters as an embedded subset of the typeface that the program ships, device grey.

use krilla::Document;
use krilla::SerializeSettings;
use krilla::color::luma;
use krilla::geom::{Path, PathBuilder, Point, Rect};
use krilla::metadata::{Metadata, TextDirection as Reading};
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, LineCap, LineJoin, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};

use super::page::{Mark, Outline, Page, Spot, Step};
use crate::report::draw::font;
use crate::report::page::pdf::points as pt;

/// Why a page could not be written as PDF; none of these is the user's fault.
#[derive(Debug, thiserror::Error)]
pub enum PdfError {
    /// A size or an outline that no page can have.
    #[error("the page cannot be drawn: {0}")]
    Page(&'static str),
    /// The library refused the document.
    #[error("the PDF could not be written: {0}")]
    Library(String),
}

/// The pages as the bytes of one PDF file. Its viewer is asked not to scale it to the printer's margins.
///
/// # Errors
/// [`PdfError`], where a page holds what no PDF can show.
pub fn render(title: &str, pages: &[Page]) -> Result<Vec<u8>, PdfError> {
    let font =
        Font::new(font::SEMIBOLD.into(), 0).ok_or(PdfError::Page("the shipped typeface is not whole"))?;
    let settings = SerializeSettings { pretty: true, xmp_metadata: false, ..SerializeSettings::default() };
    let mut document = Document::new_with(settings);
    document.set_metadata(
        Metadata::new()
            .title(title.to_owned())
            .creator(format!("{} {}", env!("CARGO_PKG_NAME"), env!("CARGO_PKG_VERSION")))
            .language("en".into())
            .text_direction(Reading::LeftToRight),
    );
    for page in pages {
        draw_page(&mut document, page, &font)?;
    }
    let bytes = document.finish().map_err(|e| PdfError::Library(format!("{e:?}")))?;
    unscaled(bytes).ok_or(PdfError::Page("its catalogue has no place for the print scaling"))
}

fn draw_page(document: &mut Document, page: &Page, font: &Font) -> Result<(), PdfError> {
    let no_size = PdfError::Page("its size is none");
    let (w, h) = (pt(page.width_mm), pt(page.height_mm));
    let whole = Rect::from_xywh(0.0, 0.0, w, h);
    let settings = PageSettings::from_wh(w, h)
        .ok_or(no_size)?
        .with_media_box(whole)
        .with_crop_box(whole)
        .with_trim_box(whole);
    let mut sheet = document.start_page_with(settings);
    let mut surface = sheet.surface();
    for mark in &page.marks {
        draw(&mut surface, mark, font)?;
    }
    surface.finish();
    sheet.finish();
    Ok(())
}

fn draw(surface: &mut Surface, mark: &Mark, font: &Font) -> Result<(), PdfError> {
    match mark {
        Mark::Fill { outline, grey } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*grey)));
            surface.draw_path(&path(outline)?);
        }
        Mark::Line { outline, width_mm, dash_mm, grey } => {
            surface.set_fill(None);
            surface.set_stroke(Some(stroke(*width_mm, *dash_mm, *grey)));
            surface.draw_path(&path(outline)?);
        }
        Mark::Text { text, at, size_mm, grey } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*grey)));
            let start = Point::from_xy(pt(at.x_mm), pt(at.y_mm));
            surface.draw_text(start, font.clone(), pt(*size_mm), text, false, TextDirection::LeftToRight);
        }
    }
    Ok(())
}

fn fill(grey: u8) -> Fill {
    Fill { paint: luma::Color::new(grey).into(), opacity: NormalizedF32::ONE, rule: FillRule::EvenOdd }
}

fn stroke(width_mm: f64, dash_mm: Option<[f64; 2]>, grey: u8) -> Stroke {
    Stroke {
        paint: luma::Color::new(grey).into(),
        width: pt(width_mm),
        line_cap: LineCap::Butt,
        line_join: LineJoin::Miter,
        dash: dash_mm.map(|d| StrokeDash { array: d.map(pt).to_vec(), offset: 0.0 }),
        ..Stroke::default()
    }
}

fn path(outline: &Outline) -> Result<Path, PdfError> {
    let mut out = PathBuilder::new();
    let xy = |p: Spot| (pt(p.x_mm), pt(p.y_mm));
    for step in &outline.steps {
        match *step {
            Step::Move(p) => out.move_to(xy(p).0, xy(p).1),
            Step::Line(p) => out.line_to(xy(p).0, xy(p).1),
            Step::Curve(a, b, p) => out.cubic_to(xy(a).0, xy(a).1, xy(b).0, xy(b).1, xy(p).0, xy(p).1),
            Step::Close => out.close(),
        }
    }
    out.finish().ok_or(PdfError::Page("an outline is empty or not finite"))
}

/// Asks for printing without scaling (ISO 32000-1:2008, table 150, `PrintScaling`). The library cannot be asked to
/// write that entry, so it takes the place of the reading direction, which it can; both are of one length with the
/// spaces about them, so that no offset in the file moves. `None` where that place is not found once.
fn unscaled(mut bytes: Vec<u8>) -> Option<Vec<u8>> {
    const WANTED: &[u8] = b"/PrintScaling /None";
    const KEY: &[u8] = b"/Direction /L2R";
    let find = |bytes: &[u8], from: usize| {
        bytes.get(from..)?.windows(KEY.len()).position(|w| w == KEY).map(|i| from + i)
    };
    let found = find(&bytes, 0)?;
    if find(&bytes, found + 1).is_some() {
        return None;
    }
    let blank = |b: &u8| b.is_ascii_whitespace();
    let before = bytes[..found].iter().rev().take_while(|b| blank(b)).count();
    let after = bytes[found + KEY.len()..].iter().take_while(|b| blank(b)).count();
    let place = found - before..found + KEY.len() + after;
    let spare = place.len().checked_sub(WANTED.len())?;
    if spare < 2 {
        return None;
    }
    let text = [b" ", WANTED, &b" ".repeat(spare - 1)].concat();
    bytes[place].copy_from_slice(&text);
    Some(bytes)
}
