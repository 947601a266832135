//! The plan: the traced outline to scale, between rulers in millimetres and inches.

use super::axis::Ruler;
use super::{Anchor, CHANNEL, Figure, HAIR, LETTERS_MM, MIDLINE, NAMED, SEAT, SMALL_MM, Tone};
use crate::numeric::words::{Part, View};
use crate::report::shape::Shape;

/// What is shown past the saddle, mm of the saddle: beside its widest place, before the front, behind the rear.
pub const AROUND_MM: f64 = 30.0;
/// Room for rulers around the drawing, mm: left, top, right, bottom.
pub const RULERS_MM: [f64; 4] = [9.0, 7.0, 9.0, 7.5];
/// Room for the named widths' letters to the right of the drawing, mm.
const KEYS_MM: f64 = 5.0;

/// The rectangle around a shape that figures show: left, top, width, height, mm of the saddle.
pub fn window_mm(reach_mm: f64, length_mm: f64) -> [f64; 4] {
    let half = ((reach_mm + AROUND_MM) / 10.0).ceil() * 10.0;
    let length = length_mm + 2.0 * AROUND_MM;
    [-half, -AROUND_MM, 2.0 * half, length]
}

/// From millimetres of the saddle to millimetres on the paper.
#[derive(Debug, Clone, Copy)]
pub struct OnPaper {
    /// Paper millimetres for one of the saddle.
    pub scale: f64,
    /// Where the midline's front end is on the paper.
    pub front: [f64; 2],
}

impl OnPaper {
    /// A point on the paper.
    pub fn at(&self, [across, along]: [f64; 2]) -> [f64; 2] {
        [self.front[0] + across * self.scale, self.front[1] + along * self.scale]
    }

    /// Points on the paper.
    pub fn all(&self, points: &[[f64; 2]]) -> Vec<[f64; 2]> {
        points.iter().map(|p| self.at(*p)).collect()
    }
}

/// The plan at 1 to `of` (5 gives 1:5).
pub fn plan(shape: &Shape, of: f64) -> Figure {
    let window = window_mm(shape.reach_mm(), shape.length_mm);
    let label = format!("Plan of the outline at 1:{of:.0}, {}", seen(shape.view));
    let (mut figure, paper) = ruled(window, of, label, KEYS_MM);
    stations(&mut figure, paper, shape, window);
    midline(&mut figure, paper, shape.length_mm);
    edges(&mut figure, paper, shape);
    named(&mut figure, paper, shape, window[0] + window[2]);
    words(&mut figure, paper, shape, window);
    figure
}

/// How the drawing is to be looked at.
pub fn seen(view: View) -> &'static str {
    match view {
        View::Top => "seen from above",
        View::Underside => "seen from below, as in the photo",
    }
}

/// An empty figure with rulers around a window, and where the saddle comes to lie.
pub fn ruled(window: [f64; 4], of: f64, label: String, more_right_mm: f64) -> (Figure, OnPaper) {
    let scale = 1.0 / of;
    let [left, top, right, bottom] = RULERS_MM;
    let [w, h] = [window[2] * scale, window[3] * scale];
    let mut figure = Figure::new(left + w + more_right_mm + right, top + h + bottom, label);
    let frame = [left, top, w + more_right_mm, h];
    figure.rect("frame", frame, None, Some(HAIR));
    let front = [left - window[0] * scale, top - window[1] * scale];
    let across = [window[0], window[0] + window[2]];
    let along = [window[1].max(0.0), window[1] + window[3]];
    let far = [left + w + more_right_mm, top + h];
    for (zero, down, after, inches) in [
        ([left, front[1]], true, false, false),
        ([far[0], front[1]], true, true, true),
        ([front[0], far[1]], false, true, false),
        ([front[0], top], false, false, true),
    ] {
        let range_mm = if down { along } else { across };
        let ruler = Ruler { zero, down, after, range_mm, scale, inches };
        ruler.draw(&mut figure);
        if down {
            ruler.unit(&mut figure);
        }
    }
    (figure, OnPaper { scale, front })
}

/// The set stations as hairs across the saddle, every second one with its number.
fn stations(figure: &mut Figure, paper: OnPaper, shape: &Shape, window: [f64; 4]) {
    for i in 1..20 {
        let at = f64::from(i) / 20.0;
        let y = at * shape.length_mm;
        let half = shape.reach_mm() + 6.0;
        figure.line("station", paper.all(&[[-half, y], [half, y]]), HAIR);
        if i % 5 == 0 {
            let [x, y] = paper.at([window[0], y]);
            figure.text([x + 0.8, y + 0.8], format!("{at:.2}"), Anchor::Start, 2.1, Tone::Soft);
        }
    }
}

/// The midline from end to end.
pub fn midline(figure: &mut Figure, paper: OnPaper, length_mm: f64) {
    figure.line("midline", paper.all(&[[0.0, 0.0], [0.0, length_mm]]), MIDLINE);
    for along in [0.0, length_mm] {
        figure.line("midline-end", paper.all(&[[-7.0, along], [7.0, along]]), MIDLINE_END);
    }
}

const MIDLINE_END: super::Stroke = super::Stroke::solid(Tone::Ink, 0.3);

/// The traced edges.
pub fn edges(figure: &mut Figure, paper: OnPaper, shape: &Shape) {
    for line in &shape.lines {
        let (class, stroke) = match line.part {
            Part::Seat => ("seat-edge", SEAT),
            Part::Channel => ("channel-edge", CHANNEL),
        };
        figure.line(class, paper.all(&line.points), stroke);
    }
}

/// The named widths as lines with a bar across each end, and their letters in a column at the right.
fn named(figure: &mut Figure, paper: OnPaper, shape: &Shape, right_mm: f64) {
    let x = paper.at([right_mm, 0.0])[0] + KEYS_MM / 2.0;
    let wanted: Vec<f64> = shape.named.iter().map(|w| paper.at([0.0, w.at * shape.length_mm])[1]).collect();
    let heights = apart(&wanted, 4.0);
    for (width, y) in shape.named.iter().zip(heights) {
        if let Some(ends) = width.ends {
            let [a, b] = ends.map(|p| paper.at(p));
            caliper(figure, a, b);
            let from = if a[0] > b[0] { a } else { b };
            figure.line("leader", vec![from, [x - 4.5, from[1]], [x - 1.9, y]], HAIR_DARK);
        }
        figure.key([x, y], &width.key);
    }
}

const HAIR_DARK: super::Stroke = super::Stroke::dashed(Tone::Soft, 0.15, &[0.5, 0.5]);

/// A width's line with a bar across each end.
pub fn caliper(figure: &mut Figure, a: [f64; 2], b: [f64; 2]) {
    for end in [a, b] {
        figure.line("named-end", vec![[end[0], end[1] - 1.6], [end[0], end[1] + 1.6]], NAMED);
    }
    figure.line("named-width", vec![a, b], NAMED);
}

/// The heights moved as little as needed to lie `gap` apart, in their order.
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

/// Which end is the front, and which side the rider's left.
pub fn words(figure: &mut Figure, paper: OnPaper, shape: &Shape, window: [f64; 4]) {
    let [x, y] = paper.at([0.0, 0.0]);
    figure.text([x, y - 1.8], "front", Anchor::Middle, SMALL_MM, Tone::Ink);
    let [x, y] = paper.at([0.0, shape.length_mm]);
    figure.text([x, y + 3.6], "rear", Anchor::Middle, SMALL_MM, Tone::Ink);
    let y = paper.at([0.0, window[1] + window[3]])[1] - 1.8;
    let [left, right] = shape.sides();
    let x = paper.at([window[0], 0.0])[0] + 1.2;
    figure.text([x, y], format!("rider’s {}", left.as_str()), Anchor::Start, LETTERS_MM, Tone::Ink);
    let x = paper.at([window[0] + window[2], 0.0])[0] - 1.2;
    figure.text([x, y], format!("rider’s {}", right.as_str()), Anchor::End, LETTERS_MM, Tone::Ink);
}
