//! A page as SVG, in millimetres, its letters as outlines: nothing needs to be installed to print it true.

use std::fmt::Write;

use tiny_skia::{PathBuilder, PathSegment};

use super::page::{Mark, Outline, Page, Spot, Step};
use crate::report::draw::font;
use crate::report::draw::svg::escaped;

/// The page as SVG text.
pub fn render(page: &Page) -> String {
    let [w, h] = [page.width_mm, page.height_mm].map(number);
    let title = escaped(&page.title);
    let mut out = String::new();
    let _ = writeln!(
        out,
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}" role="img" aria-label="{title}">"#
    );
    let _ = writeln!(out, "<title>{title}</title>");
    let _ = writeln!(out, r##"<rect width="{w}" height="{h}" fill="#ffffff"/>"##);
    for mark in &page.marks {
        let _ = writeln!(out, "{}", element(mark));
    }
    out.push_str("</svg>\n");
    out
}

fn element(mark: &Mark) -> String {
    match mark {
        Mark::Fill { outline, grey } => {
            format!(r#"<path d="{}" fill="{}" fill-rule="evenodd"/>"#, data(outline), colour(*grey))
        }
        Mark::Line { outline, width_mm, dash_mm, grey } => {
            let dash = dash_mm.map_or_else(String::new, |[on, off]| {
                format!(r#" stroke-dasharray="{} {}""#, number(on), number(off))
            });
            format!(
                r#"<path d="{}" fill="none" stroke="{}" stroke-width="{}"{dash}/>"#,
                data(outline),
                colour(*grey),
                number(*width_mm)
            )
        }
        Mark::Text { text, at, size_mm, grey } => {
            let data = letters(text, *at, *size_mm);
            format!(r#"<path d="{data}" fill="{}" aria-label="{}"/>"#, colour(*grey), escaped(text))
        }
    }
}

fn data(outline: &Outline) -> String {
    let mut out = String::new();
    for step in &outline.steps {
        let _ = match *step {
            Step::Move(p) => write!(out, "M{}", place(p)),
            Step::Line(p) => write!(out, "L{}", place(p)),
            Step::Curve(a, b, p) => write!(out, "C{} {} {}", place(a), place(b), place(p)),
            Step::Close => write!(out, "Z"),
        };
    }
    out
}

/// The letters of a text as path data, to be filled by the non-zero rule as typefaces are.
fn letters(text: &str, at: Spot, size_mm: f64) -> String {
    let mut path = PathBuilder::new();
    font::outline(text, size_mm, at.x_mm as f32, at.y_mm as f32, &mut path);
    let mut out = String::new();
    let Some(path) = path.finish() else { return out };
    let p = |p: tiny_skia::Point| format!("{} {}", number(f64::from(p.x)), number(f64::from(p.y)));
    for segment in path.segments() {
        let _ = match segment {
            PathSegment::MoveTo(a) => write!(out, "M{}", p(a)),
            PathSegment::LineTo(a) => write!(out, "L{}", p(a)),
            PathSegment::QuadTo(a, b) => write!(out, "Q{} {}", p(a), p(b)),
            PathSegment::CubicTo(a, b, c) => write!(out, "C{} {} {}", p(a), p(b), p(c)),
            PathSegment::Close => write!(out, "Z"),
        };
    }
    out
}

fn place(p: Spot) -> String {
    format!("{} {}", number(p.x_mm), number(p.y_mm))
}

fn colour(grey: u8) -> String {
    format!("#{grey:02x}{grey:02x}{grey:02x}")
}

/// A number to a ten-thousandth of a millimetre.
fn number(x: f64) -> String {
    let mut text = format!("{x:.4}");
    text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    if text == "-0" { "0".into() } else { text }
}
