//! The photo to scale, with what was found drawn on it.

use std::sync::Arc;

use super::key;
use super::plan::{OnPaper, RULERS_MM, caliper, edge_look, key_heights, window_mm};
use crate::canvas::{Canvas, Item, Path, Stroke};
use crate::numeric::words::{Part, View};
use crate::photo::Photo;
use crate::report::palette::{MIDLINE, NAMED, PAPER};
use crate::report::shape::Shape;
use crate::report::straight::Straight;
use crate::sheet::Sheet;
use crate::sheet::geometry::edge_lines;

/// The photo at 1 to `of`. `None` where the sheet does not keep the camera's pose.
pub fn straightened(photo: &Photo, sheet: &Sheet, shape: &Shape, of: f64) -> Option<Canvas> {
    let straight = Straight::of(sheet)?;
    let window = window_mm(&[shape]);
    let scale = 1.0 / of;
    let [_, top, _, bottom] = RULERS_MM;
    let [w, h] = [window[2] * scale, window[3] * scale];
    let label = format!("The photo at 1:{of:.0}, seen square from above, with the traced edges");
    let mut canvas = Canvas::new([w, top + h + bottom], label);
    let image = Arc::new(straight.picture(photo, window));
    canvas.items.push(Item::Picture { image, rect: [0.0, top, w, h] });
    let paper = OnPaper { scale, front: [-window[0] * scale, top - window[1] * scale] };
    let half = shape.reach_mm() + 6.0;
    for i in 1..20 {
        let y = f64::from(i) / 20.0 * shape.length_mm;
        canvas.line("station", paper.all(&[[-half, y], [half, y]]), Stroke::solid(PAPER, 0.1));
    }
    let mut cased = |class, path, stroke: Stroke| {
        canvas.cased(class, path, stroke, Stroke::solid(PAPER, stroke.width_mm + 0.5));
    };
    cased("midline", Path::line(paper.all(&[[0.0, 0.0], [0.0, shape.length_mm]])), MIDLINE);
    // Edges where they appear in the photo: those of the channel, at another height, a little beside their true place.
    for line in edge_lines(sheet) {
        let points: Vec<_> = line.points.iter().filter_map(|p| straight.place(*p)).collect();
        let (class, stroke) = edge_look(line.part);
        cased(class, Path::line(paper.all(&points)), stroke);
    }
    // For the same reason the channel's widths are not drawn.
    for width in shape.named.iter().filter(|w| shape.view == View::Top || w.name.part() == Part::Seat) {
        if let Some(ends) = width.ends {
            cased("named-width", caliper(ends.map(|p| paper.at(p))), NAMED);
        }
    }
    for (width, y) in shape.named.iter().zip(key_heights(paper, shape)).filter(|(w, _)| w.ends.is_some()) {
        key(&mut canvas, [w - 2.8, y], &width.key);
    }
    Some(canvas)
}
