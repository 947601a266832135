//! The photo to scale, with what was found drawn on it.

use super::plan::{OnPaper, apart, window_mm};
use super::{Figure, Item, Stroke, Tone};
use crate::numeric::words::{Part, View};
use crate::photo::Photo;
use crate::report::shape::Shape;
use crate::report::straight::Straight;
use crate::sheet::Sheet;
use crate::sheet::geometry::edge_lines;

/// Pixels of the picture for a millimetre of the saddle: about those of a phone's photo.
const PX_PER_MM: f64 = 2.5;
/// Under every line on the photo, so that it reads on dark and on pale leather.
const CASING: Stroke = Stroke::solid(Tone::Paper, 1.0);

/// The photo at 1 to `of`. `None` where the sheet does not keep the camera's place.
///
/// # Errors
/// Where the picture cannot be made.
pub fn straightened(
    photo: &Photo,
    sheet: &Sheet,
    shape: &Shape,
    of: f64,
) -> Result<Option<Figure>, image::ImageError> {
    let Some(straight) = Straight::of(sheet) else { return Ok(None) };
    let window = window_mm(shape.reach_mm(), shape.length_mm);
    let scale = 1.0 / of;
    let top = super::plan::RULERS_MM[1];
    let size = [window[2] * scale, window[3] * scale];
    let label = format!("The photo at 1:{of:.0}, seen square from above, with the traced edges");
    let mut figure = Figure::new(size[0], top + size[1] + super::plan::RULERS_MM[3], label);
    let rect = [0.0, top, size[0], size[1]];
    figure.items.push(Item::Picture { jpeg: straight.picture(photo, window, PX_PER_MM)?, rect });
    let paper = OnPaper { scale, front: [-window[0] * scale, top - window[1] * scale] };
    stations(&mut figure, paper, shape);
    cased(&mut figure, "midline", paper.all(&[[0.0, 0.0], [0.0, shape.length_mm]]), super::MIDLINE);
    edges(&mut figure, paper, sheet, &straight);
    named(&mut figure, paper, shape, size[0]);
    Ok(Some(figure))
}

fn cased(figure: &mut Figure, class: &'static str, points: Vec<[f64; 2]>, stroke: Stroke) {
    figure.line("casing", points.clone(), Stroke { width_mm: stroke.width_mm + 0.5, ..CASING });
    figure.line(class, points, stroke);
}

fn stations(figure: &mut Figure, paper: OnPaper, shape: &Shape) {
    let half = shape.reach_mm() + 6.0;
    for i in 1..20 {
        let y = f64::from(i) / 20.0 * shape.length_mm;
        figure.line("station", paper.all(&[[-half, y], [half, y]]), Stroke::solid(Tone::Paper, 0.1));
    }
}

/// The edges where they appear in the photo: an edge that lies at another height than the seat's (the channel's) is
/// seen a little beside its true place.
fn edges(figure: &mut Figure, paper: OnPaper, sheet: &Sheet, straight: &Straight) {
    for line in edge_lines(sheet) {
        let points: Vec<_> = line.points.iter().filter_map(|p| straight.place(*p)).collect();
        let (class, stroke) = match line.part {
            Part::Seat => ("seat-edge", super::SEAT),
            Part::Channel => ("channel-edge", super::CHANNEL),
        };
        cased(figure, class, paper.all(&points), stroke);
    }
}

/// The seat's named widths as lines; those of the channel by their letters alone where the view is from below, since
/// the channel's edges lie at another height.
fn named(figure: &mut Figure, paper: OnPaper, shape: &Shape, width_mm: f64) {
    let wanted: Vec<f64> = shape.named.iter().map(|w| paper.at([0.0, w.at * shape.length_mm])[1]).collect();
    for (width, y) in shape.named.iter().zip(apart(&wanted, 4.0)) {
        let Some(ends) = width.ends else { continue };
        if shape.view == View::Top || width.name.starts_with("seat") {
            let [a, b] = ends.map(|p| paper.at(p));
            for end in [a, b] {
                cased(
                    figure,
                    "named-end",
                    vec![[end[0], end[1] - 1.6], [end[0], end[1] + 1.6]],
                    super::NAMED,
                );
            }
            cased(figure, "named-width", vec![a, b], super::NAMED);
        }
        figure.key([width_mm - 2.8, y], &width.key);
    }
}
