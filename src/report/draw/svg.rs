//! The drawing as one self-contained SVG over the reduced photo; its coordinates are photo pixels.

use super::picture::{Picture, RenderError};
use super::style::{self, Colour, Style};
use super::{Drawing, Rect, Shape, Text, font};
use crate::numeric::frame::PhotoPoint;
use base64::Engine;
use image::ExtendedColorType::Rgb8;
use image::codecs::jpeg::JpegEncoder;
use std::fmt::Write;

/// The longer side of the photo in the SVG, in pixels; a larger picture is reduced to it.
pub const LONG_SIDE: u32 = 1600;

/// Quality of the embedded JPEG: a backdrop on which nothing is measured any more.
const QUALITY: u8 = 80;

/// The drawing over the picture, as SVG text. The picture is the whole upright photo at any size.
pub fn render(drawing: &Drawing, picture: Picture) -> Result<String, RenderError> {
    let photo = base64::engine::general_purpose::STANDARD.encode(jpeg(picture)?);
    let whole = drawing.whole_rect();
    let title = escaped(&drawing.title);
    let mut out = String::with_capacity(photo.len() + 100_000);
    let _ = writeln!(
        out,
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="{}" role="img" aria-label="{title}">"#,
        numbers(&[whole.left, whole.top, whole.width, whole.height])
    );
    let _ = writeln!(out, "<title>{title}</title>");
    let band = Rect { top: drawing.photo_rect().bottom(), height: drawing.band_px, ..whole };
    let _ = writeln!(out, r#"<rect class="band" {} {}/>"#, rect(&band), fill(style::BAND));
    let _ = writeln!(
        out,
        r#"<image {} preserveAspectRatio="none" href="data:image/jpeg;base64,{photo}"/>"#,
        rect(&drawing.photo_rect())
    );
    let families = format!("{}, Noto Sans, Arial, sans-serif", font::FAMILY);
    let _ = writeln!(
        out,
        r#"<g fill="none" stroke-linejoin="round" font-family="{families}" font-weight="{}">"#,
        font::WEIGHT
    );
    for one in &drawing.shapes {
        shape(one, drawing.unit_px(), &mut out)?;
    }
    out.push_str("</g>\n</svg>\n");
    Ok(out)
}

fn jpeg(picture: Picture) -> Result<Vec<u8>, RenderError> {
    let small = picture.reduced(LONG_SIDE);
    let (rgb, width, height) = match &small {
        Some(image) => (image.as_raw().as_slice(), image.width(), image.height()),
        None => (picture.rgb(), picture.width(), picture.height()),
    };
    let mut bytes = Vec::with_capacity(rgb.len() / 8);
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, QUALITY);
    encoder.encode(rgb, width, height, Rgb8).map_err(|e| RenderError::Encoding(e.to_string()))?;
    Ok(bytes)
}

/// Text for XML, without the characters that XML does not allow.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c if c.is_control() => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// A number with at most two decimals, some hundredth of a pixel.
pub(in crate::report) fn number(x: f64) -> String {
    let mut text = format!("{x:.2}");
    text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    if text == "-0" { "0".into() } else { text }
}

fn numbers(values: &[f64]) -> String {
    values.iter().map(|v| number(*v)).collect::<Vec<_>>().join(" ")
}

fn rect(r: &Rect) -> String {
    let [x, y, width, height] = [r.left, r.top, r.width, r.height].map(number);
    format!(r#"x="{x}" y="{y}" width="{width}" height="{height}""#)
}

fn fill([red, green, blue, opacity]: Colour) -> String {
    let opacity = number(f64::from(opacity) / 255.0);
    format!(r##"fill="#{red:02x}{green:02x}{blue:02x}" fill-opacity="{opacity}""##)
}

fn stroke([red, green, blue, opacity]: Colour, width: f64, dash: &[f64], unit: f64) -> String {
    let opacity = number(f64::from(opacity) / 255.0);
    let width = number(width * unit);
    let dash = match dash {
        [] => String::new(),
        dash => {
            let dash = dash.iter().map(|d| d * unit).collect::<Vec<_>>();
            format!(r#" stroke-dasharray="{}""#, numbers(&dash))
        }
    };
    format!(
        r##"stroke="#{red:02x}{green:02x}{blue:02x}" stroke-opacity="{opacity}" stroke-width="{width}"{dash}"##
    )
}

fn shape(shape: &Shape, unit: f64, out: &mut String) -> Result<(), RenderError> {
    match shape {
        Shape::Line { role, points, closed } => line(points, *closed, &style::style(*role), "", unit, out),
        Shape::Swatch { role, ends } => line(ends, false, &style::style(*role), "legend ", unit, out),
        Shape::Marker { role, at } => {
            let s = style::style(*role);
            let (x, y) = place(*at)?;
            let rim = stroke(s.casing, s.casing_out, &[], unit);
            let radius = number(style::MARKER_RADIUS * unit);
            let _ = writeln!(
                out,
                r#"<circle class="{}" cx="{x}" cy="{y}" r="{radius}" {} {rim}/>"#,
                s.class,
                fill(s.core)
            );
            Ok(())
        }
        Shape::Label { text, plate, leader } => {
            out.push_str("<g class=\"label\">\n");
            if let Some(leader) = leader {
                line(leader, false, &style::LEADER, "", unit, out)?;
            }
            let rim = stroke(style::RIM, style::RIM_WIDTH, &[], unit);
            let _ = writeln!(out, r#"<rect class="plate" {} {} {rim}/>"#, rect(plate), fill(style::PLATE));
            write_text(text, unit, out)?;
            out.push_str("</g>\n");
            Ok(())
        }
        Shape::Caption(text) => write_text(text, unit, out),
    }
}

fn place(p: PhotoPoint) -> Result<(String, String), RenderError> {
    if !p.is_finite() {
        return Err(RenderError::NotFinite);
    }
    Ok((number(p.x_px), number(p.y_px)))
}

/// One group a line: its casing, then its core.
fn line(
    points: &[PhotoPoint],
    closed: bool,
    style: &Style,
    kind: &str,
    unit: f64,
    out: &mut String,
) -> Result<(), RenderError> {
    let mut list = String::new();
    for p in points {
        let (x, y) = place(*p)?;
        let _ = write!(list, "{}{x},{y}", if list.is_empty() { "" } else { " " });
    }
    let element = if closed { "polygon" } else { "polyline" };
    let casing = stroke(style.casing, style.width + 2.0 * style.casing_out, &[], unit);
    let core = stroke(style.core, style.width, style.dash, unit);
    let _ = writeln!(out, r#"<g class="{kind}{}">"#, style.class);
    let _ = writeln!(out, r#"<{element} class="casing" points="{list}" {casing}/>"#);
    let _ = writeln!(out, r#"<{element} class="core" points="{list}" {core}/>"#);
    out.push_str("</g>\n");
    Ok(())
}

/// The width is said too, so that the letters keep to their plate where the typeface is not installed.
fn write_text(text: &Text, unit: f64, out: &mut String) -> Result<(), RenderError> {
    let (x, y) = place(text.at)?;
    let size = text.size * unit;
    let length = number(font::width(&text.text, size));
    let _ = writeln!(
        out,
        r#"<text x="{x}" y="{y}" font-size="{}" textLength="{length}" lengthAdjust="spacingAndGlyphs" {}>{}</text>"#,
        number(size),
        fill(style::LETTERS),
        escaped(&text.text)
    );
    Ok(())
}
