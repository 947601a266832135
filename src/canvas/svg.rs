//! A canvas as SVG.

use std::fmt::Write;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;

use super::{Anchor, Canvas, CanvasError, Colour, Item, Path, Step, Stroke, Text, jpeg};

/// How the letters of an SVG are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Letters {
    /// As outlines, so that no typeface needs to be installed to print them true.
    Drawn,
    /// As text, which can be searched. It keeps its width where another typeface stands in.
    Typed,
}

impl Canvas {
    /// The canvas as an `svg` element that needs nothing beside it.
    ///
    /// # Errors
    /// A size or coordinate that is not finite.
    pub fn to_svg(&self, letters: Letters) -> Result<String, CanvasError> {
        self.check()?;
        let ([w, h], label) = ([self.width_mm, self.height_mm].map(number), escaped(&self.label));
        let mut out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\" \
             role=\"img\" aria-label=\"{label}\" fill=\"none\" fill-rule=\"evenodd\" \
             font-family=\"Open Sans, Noto Sans, Segoe UI, Arial, sans-serif\">\n<title>{label}</title>\n\
             <rect width=\"{w}\" height=\"{h}\" fill=\"#ffffff\"/>\n"
        );
        for item in &self.items {
            let _ = match item {
                Item::Path { class, path, fill, stroke } => {
                    let class = if class.is_empty() { String::new() } else { format!("class=\"{class}\" ") };
                    let fill = fill.map_or_else(String::new, |c| paint("fill", c));
                    let stroke = stroke.map_or_else(String::new, line);
                    writeln!(out, "<path {class}d=\"{}\"{fill}{stroke}/>", data(path))
                }
                Item::Text(text) if letters == Letters::Drawn => {
                    let (outline, fill) = (data(&text.outline()), paint("fill", text.style.colour));
                    let label = escaped(&text.text);
                    writeln!(
                        out,
                        "<path d=\"{outline}\" fill-rule=\"nonzero\"{fill} aria-label=\"{label}\"/>"
                    )
                }
                Item::Text(text) => writeln!(out, "{}", typed(text)),
                Item::Picture { image, rect } => {
                    let [x, y, w, h] = rect.map(number);
                    let jpeg = BASE64.encode(jpeg(image)?);
                    writeln!(
                        out,
                        "<image x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" preserveAspectRatio=\"none\" \
                         href=\"data:image/jpeg;base64,{jpeg}\"/>"
                    )
                }
            };
        }
        out.push_str("</svg>\n");
        Ok(out)
    }
}

fn typed(text: &Text) -> String {
    let [x, y] = text.at.map(number);
    let anchor = match text.anchor {
        Anchor::Start => "",
        Anchor::Middle => " text-anchor=\"middle\"",
        Anchor::End => " text-anchor=\"end\"",
    };
    let weight = if text.style.bold { " font-weight=\"600\"" } else { "" };
    let [size, width] = [text.style.size_mm, text.style.width_mm(&text.text)].map(number);
    let (fill, words) = (paint("fill", text.style.colour), escaped(&text.text));
    format!(
        "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\"{fill}{anchor}{weight} textLength=\"{width}\" \
         lengthAdjust=\"spacingAndGlyphs\">{words}</text>"
    )
}

fn data(path: &Path) -> String {
    let mut out = String::new();
    let at = |p: [f64; 2]| format!("{} {}", number(p[0]), number(p[1]));
    for step in &path.steps {
        let _ = match *step {
            Step::Move(p) => write!(out, "M{}", at(p)),
            Step::Line(p) => write!(out, "L{}", at(p)),
            Step::Curve(a, b, p) => write!(out, "C{} {} {}", at(a), at(b), at(p)),
            Step::Close => write!(out, "Z"),
        };
    }
    out
}

fn paint(what: &str, Colour { rgb: [red, green, blue], opacity }: Colour) -> String {
    let opacity = match opacity {
        255 => String::new(),
        part => format!(" {what}-opacity=\"{}\"", number(f64::from(part) / 255.0)),
    };
    format!(" {what}=\"#{red:02x}{green:02x}{blue:02x}\"{opacity}")
}

fn line(stroke: Stroke) -> String {
    let dash: Vec<String> = stroke.dash_mm.iter().map(|d| number(*d)).collect();
    let dash =
        if dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{}\"", dash.join(" ")) };
    format!("{} stroke-width=\"{}\"{dash}", paint("stroke", stroke.colour), number(stroke.width_mm))
}

/// A number to a thousandth of a millimetre.
fn number(x: f64) -> String {
    let mut text = format!("{x:.3}");
    text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    if text == "-0" { "0".into() } else { text }
}

/// Text for XML and HTML, without the characters that XML does not allow.
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
