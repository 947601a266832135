//! The plan: the traced outline to scale, between rulers in millimetres and inches.

use super::key;
use super::ruler::Ruler;
use crate::canvas::{Anchor, Canvas, Path, Point, Stroke, TextStyle};
use crate::numeric::words::Part;
use crate::report::palette::{CHANNEL_EDGE, HAIRLINE, INK, LABEL, MIDLINE, NAMED, SEAT_EDGE, SMALL, SOFT};
use crate::report::shape::Shape;
use crate::report::words::seen;

/// What is shown around the saddle, mm of the saddle.
const AROUND_MM: f64 = 30.0;
/// Margin for rulers around the drawing, mm: left, top, right, bottom.
pub const RULERS_MM: [f64; 4] = [9.0, 7.0, 9.0, 7.5];
/// Width of the column of letters to the right of the drawing, mm.
const KEYS_MM: f64 = 5.0;
/// From a named width to its letter.
const LEADER: Stroke = Stroke::dashed(SOFT, 0.15, &[0.5, 0.5]);

/// The rectangle around shapes that figures show: left, top, width, height, mm of the saddle.
pub fn window_mm(shapes: &[&Shape]) -> [f64; 4] {
    let most = |of: fn(&Shape) -> f64| shapes.iter().map(|s| of(s)).fold(0.0, f64::max);
    let half = ((most(Shape::reach_mm) + AROUND_MM) / 10.0).ceil() * 10.0;
    [-half, -AROUND_MM, 2.0 * half, most(|s| s.length_mm) + 2.0 * AROUND_MM]
}

/// From millimetres of the saddle to millimetres on the paper.
#[derive(Debug, Clone, Copy)]
pub struct OnPaper {
    /// Paper millimetres for one of the saddle.
    pub scale: f64,
    /// The midline's front end on the paper.
    pub front: Point,
}

impl OnPaper {
    /// A point on the paper.
    pub fn at(&self, [across, along]: [f64; 2]) -> Point {
        [self.front[0] + across * self.scale, self.front[1] + along * self.scale]
    }

    /// Points on the paper.
    pub fn all(&self, points: &[[f64; 2]]) -> Vec<Point> {
        points.iter().map(|p| self.at(*p)).collect()
    }
}

/// The plan at 1 to `of` (5 gives 1:5).
pub fn plan(shape: &Shape, of: f64) -> Canvas {
    let window = window_mm(&[shape]);
    let label = format!("Plan of the outline at 1:{of:.0}, seen {}", seen(shape.view));
    let (mut canvas, paper) = ruled(window, of, label, KEYS_MM);
    for i in 1..20 {
        let (at, half) = (f64::from(i) / 20.0, shape.reach_mm() + 6.0);
        let y = at * shape.length_mm;
        canvas.line("station", paper.all(&[[-half, y], [half, y]]), HAIRLINE);
        if i % 5 == 0 {
            let [x, y] = paper.at([window[0], y]);
            let style = TextStyle::regular(2.1, SOFT);
            canvas.text([x + 0.8, y + 0.8], Anchor::Start, format!("{at:.2}"), style);
        }
    }
    midline(&mut canvas, paper, shape.length_mm);
    for line in &shape.lines {
        let (class, stroke) = edge_look(line.part);
        canvas.line(class, paper.all(&line.points), stroke);
    }
    named(&mut canvas, paper, shape, window[0] + window[2]);
    words(&mut canvas, paper, shape, window);
    canvas
}

/// How a part's edge is drawn.
pub fn edge_look(part: Part) -> (&'static str, Stroke) {
    match part {
        Part::Seat => ("seat-edge", SEAT_EDGE),
        Part::Channel => ("channel-edge", CHANNEL_EDGE),
    }
}

/// An empty figure with rulers around a window, and the position of the saddle in it.
pub fn ruled(window: [f64; 4], of: f64, label: String, more_right_mm: f64) -> (Canvas, OnPaper) {
    let scale = 1.0 / of;
    let [left, top, right, bottom] = RULERS_MM;
    let [w, h] = [window[2] * scale + more_right_mm, window[3] * scale];
    let mut canvas = Canvas::new([left + w + right, top + h + bottom], label);
    canvas.stroke("frame", Path::rect([left, top, w, h]), HAIRLINE);
    let front = [left - window[0] * scale, top - window[1] * scale];
    let across = [window[0], window[0] + window[2]];
    let along = [window[1].max(0.0), window[1] + window[3]];
    for (zero, down, after, inches) in [
        ([left, front[1]], true, false, false),
        ([left + w, front[1]], true, true, true),
        ([front[0], top + h], false, true, false),
        ([front[0], top], false, false, true),
    ] {
        let range_mm = if down { along } else { across };
        let ruler = Ruler { zero, down, after, range_mm, scale, inches };
        ruler.draw(&mut canvas);
        if down {
            ruler.unit(&mut canvas);
        }
    }
    (canvas, OnPaper { scale, front })
}

/// Draws the midline from end to end.
pub fn midline(canvas: &mut Canvas, paper: OnPaper, length_mm: f64) {
    canvas.line("midline", paper.all(&[[0.0, 0.0], [0.0, length_mm]]), MIDLINE);
    for along in [0.0, length_mm] {
        let ends = paper.all(&[[-7.0, along], [7.0, along]]);
        canvas.line("midline-end", ends, Stroke::solid(INK, 0.3));
    }
}

/// The named widths as lines with a bar across each end, and their letters in a column at the right.
fn named(canvas: &mut Canvas, paper: OnPaper, shape: &Shape, right_mm: f64) {
    let x = paper.at([right_mm, 0.0])[0] + KEYS_MM / 2.0;
    for (width, y) in shape.named.iter().zip(key_heights(paper, shape)) {
        if let Some(ends) = width.ends {
            let [a, b] = ends.map(|p| paper.at(p));
            canvas.stroke("named-width", caliper([a, b]), NAMED);
            let from = if a[0] > b[0] { a } else { b };
            canvas.line("leader", [from, [x - 4.5, from[1]], [x - 1.9, y]], LEADER);
        }
        key(canvas, [x, y], &width.key);
    }
}

/// A width's line with a bar across each end.
pub fn caliper([a, b]: [Point; 2]) -> Path {
    let bar = |[x, y]: Point| Path::line([[x, y - 1.6], [x, y + 1.6]]);
    Path::line([a, b]).and(bar(a)).and(bar(b))
}

/// The heights on the paper at which the named widths' letters stand: beside their widths and clear of one another.
pub fn key_heights(paper: OnPaper, shape: &Shape) -> Vec<f64> {
    let wanted: Vec<f64> = shape.named.iter().map(|w| paper.at([0.0, w.at * shape.length_mm])[1]).collect();
    apart(&wanted, 4.0)
}

/// Values moved as little as needed to lie `gap` apart, in their order.
pub fn apart(wanted: &[f64], gap: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|&i, &j| wanted[i].total_cmp(&wanted[j]));
    let mut placed = wanted.to_vec();
    // Pushing pairs apart from their middle settles in a few turns; there are at most six.
    for _ in 0..50 {
        for pair in order.windows(2) {
            let overlap = gap - (placed[pair[1]] - placed[pair[0]]);
            if overlap > 0.0 {
                placed[pair[0]] -= overlap / 2.0;
                placed[pair[1]] += overlap / 2.0;
            }
        }
    }
    placed
}

/// Writes which end is the front, and which side the rider's left.
pub fn words(canvas: &mut Canvas, paper: OnPaper, shape: &Shape, window: [f64; 4]) {
    let [[x, front], [_, rear]] = [0.0, shape.length_mm].map(|along| paper.at([0.0, along]));
    canvas.text([x, front - 1.8], Anchor::Middle, "front", SMALL);
    canvas.text([x, rear + 3.6], Anchor::Middle, "rear", SMALL);
    let [left, bottom] = paper.at([window[0], window[1] + window[3]]);
    let right = paper.at([window[0] + window[2], 0.0])[0];
    let ends = [(left + 1.2, Anchor::Start), (right - 1.2, Anchor::End)];
    for ((x, anchor), side) in ends.into_iter().zip(shape.sides()) {
        canvas.text([x, bottom - 1.8], anchor, format!("rider’s {}", side.as_str()), LABEL);
    }
}
