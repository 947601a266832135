//! A figure as inline SVG.

use std::fmt::Write;

use base64::Engine as _;

use super::{Anchor, Figure, Item, Letters, Stroke};
use crate::report::draw::font;
use crate::report::draw::svg::{escaped, number};

/// The figure as an `svg` element. Its width on paper stands in `--w`, in mm, for the style sheet.
pub fn svg(figure: &Figure) -> String {
    let (w, h) = (number(figure.width_mm), number(figure.height_mm));
    let label = escaped(&figure.label);
    let mut out =
        format!("<svg viewBox=\"0 0 {w} {h}\" style=\"--w:{w}\" role=\"img\" aria-label=\"{label}\">\n");
    for item in &figure.items {
        match item {
            Item::Path { class, points, closed, stroke, fill } => {
                let element = if *closed { "polygon" } else { "polyline" };
                let list: Vec<_> =
                    points.iter().map(|[x, y]| format!("{},{}", number(*x), number(*y))).collect();
                let fill = fill.map_or_else(|| "none".into(), |tone| tone.css());
                let stroke = stroke.map_or_else(String::new, |s| line_style(&s));
                let list = list.join(" ");
                let _ =
                    writeln!(out, "<{element} class=\"{class}\" points=\"{list}\" fill=\"{fill}\"{stroke}/>");
            }
            Item::Letters(letters) => text(letters, &mut out),
            Item::Picture { jpeg, rect } => {
                let [x, y, w, h] = rect.map(number);
                let data = base64::engine::general_purpose::STANDARD.encode(jpeg.bytes.as_slice());
                let _ = writeln!(
                    out,
                    "<image x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" preserveAspectRatio=\"none\" \
                     href=\"data:image/jpeg;base64,{data}\"/>"
                );
            }
        }
    }
    out.push_str("</svg>");
    out
}

fn line_style(stroke: &Stroke) -> String {
    let dash = match stroke.dash {
        [] => String::new(),
        dash => {
            let list: Vec<_> = dash.iter().map(|d| number(*d)).collect();
            format!(" stroke-dasharray=\"{}\"", list.join(" "))
        }
    };
    format!(" stroke=\"{}\" stroke-width=\"{}\"{dash}", stroke.tone.css(), number(stroke.width_mm))
}

/// A text that is longer than this keeps the length that the figure was laid out for, mm, also where the reader's machine
/// puts a wider typeface in the place of the built-in one: beside it stands something else.
const KEEPS_LENGTH_MM: f64 = 25.0;

fn text(letters: &Letters, out: &mut String) {
    let [x, y] = letters.at.map(number);
    let anchor = match letters.anchor {
        Anchor::Start => "",
        Anchor::Middle => " text-anchor=\"middle\"",
        Anchor::End => " text-anchor=\"end\"",
    };
    let weight = if letters.bold { " font-weight=\"600\"" } else { "" };
    let long_mm =
        if letters.bold { font::width } else { font::regular_width }(&letters.text, letters.size_mm);
    let length = match long_mm {
        mm if mm > KEEPS_LENGTH_MM => {
            format!(" textLength=\"{}\" lengthAdjust=\"spacingAndGlyphs\"", number(mm))
        }
        _ => String::new(),
    };
    let (size, fill, said) = (number(letters.size_mm), letters.tone.css(), escaped(&letters.text));
    let _ = writeln!(
        out,
        "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" fill=\"{fill}\"{anchor}{weight}{length}>{said}</text>"
    );
}
