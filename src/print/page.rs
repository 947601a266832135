//! A page before it is written: filled shapes, lines and texts in millimetres, the same for every renderer.
//!
//! The origin is the page's top-left corner, x runs right and y down. Only black and greys: a page must come out of
//! a printer without colours as it is meant.

use super::{Paper, Turned};
use crate::report::draw::font;
use crate::report::page::wrap::wrap;

/// A place on the page, mm from its top-left corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// To the right, mm.
    pub x_mm: f64,
    /// Down, mm.
    pub y_mm: f64,
}

/// A place from its coordinates, mm.
pub const fn at(x_mm: f64, y_mm: f64) -> Spot {
    Spot { x_mm, y_mm }
}

impl Spot {
    /// The place moved right and down, mm.
    pub fn moved(self, right_mm: f64, down_mm: f64) -> Self {
        at(self.x_mm + right_mm, self.y_mm + down_mm)
    }
}

/// One step of an outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// Begins a contour.
    Move(Spot),
    /// A straight line.
    Line(Spot),
    /// A cubic Bézier curve by its two handles and its end.
    Curve(Spot, Spot, Spot),
    /// Back to where the contour began.
    Close,
}

/// An outline of one or more contours; filled by the even-odd rule.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Outline {
    /// The steps.
    pub steps: Vec<Step>,
}

/// Handle of the cubic curve that stands for a quarter of a circle, in radii (off by less than 0.03 % of the radius).
const QUARTER: f64 = 0.552_284_749_8;

impl Outline {
    /// An upright rectangle.
    pub fn rect(corner: Spot, width_mm: f64, height_mm: f64) -> Self {
        let (a, b) = (corner, corner.moved(width_mm, height_mm));
        Self::polygon(&[a, at(b.x_mm, a.y_mm), b, at(a.x_mm, b.y_mm)])
    }

    /// A closed polygon.
    pub fn polygon(spots: &[Spot]) -> Self {
        let mut outline = Self::line(spots);
        outline.steps.push(Step::Close);
        outline
    }

    /// An open line through places.
    pub fn line(spots: &[Spot]) -> Self {
        let step = |(i, s): (usize, &Spot)| if i == 0 { Step::Move(*s) } else { Step::Line(*s) };
        Self { steps: spots.iter().enumerate().map(step).collect() }
    }

    /// A circle.
    pub fn circle(middle: Spot, radius_mm: f64) -> Self {
        Self::ellipse(middle, radius_mm, radius_mm)
    }

    /// An upright ellipse.
    pub fn ellipse(middle: Spot, across_mm: f64, down_mm: f64) -> Self {
        let p = |x: f64, y: f64| middle.moved(x * across_mm, y * down_mm);
        let k = QUARTER;
        let steps = vec![
            Step::Move(p(1.0, 0.0)),
            Step::Curve(p(1.0, k), p(k, 1.0), p(0.0, 1.0)),
            Step::Curve(p(-k, 1.0), p(-1.0, k), p(-1.0, 0.0)),
            Step::Curve(p(-1.0, -k), p(-k, -1.0), p(0.0, -1.0)),
            Step::Curve(p(k, -1.0), p(1.0, -k), p(1.0, 0.0)),
            Step::Close,
        ];
        Self { steps }
    }

    /// A smooth line through places (Catmull and Rom 1974); closed, or with its ends running out straight.
    pub fn smooth(spots: &[Spot], closed: bool) -> Self {
        let n = spots.len();
        let spot = |i: isize| {
            let last = n as isize - 1;
            spots[if closed { i.rem_euclid(n as isize) } else { i.clamp(0, last) } as usize]
        };
        let handle = |p: Spot, from: Spot, to: Spot, part: f64| {
            p.moved((to.x_mm - from.x_mm) * part / 6.0, (to.y_mm - from.y_mm) * part / 6.0)
        };
        let mut steps = vec![Step::Move(spots[0])];
        let pieces = if closed { n } else { n - 1 };
        for i in 0..pieces as isize {
            let (before, a, b, after) = (spot(i - 1), spot(i), spot(i + 1), spot(i + 2));
            steps.push(Step::Curve(handle(a, before, b, 1.0), handle(b, a, after, -1.0), b));
        }
        if closed {
            steps.push(Step::Close);
        }
        Self { steps }
    }

    /// Every place that the outline names, handles of curves included: the outline lies within their bounds.
    pub fn spots(&self) -> impl Iterator<Item = Spot> + '_ {
        self.steps.iter().flat_map(|step| match *step {
            Step::Move(p) | Step::Line(p) => vec![p],
            Step::Curve(a, b, p) => vec![a, b, p],
            Step::Close => Vec::new(),
        })
    }
}

/// Black, as a level of grey.
pub const BLACK: u8 = 0;

/// One thing on the page.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A filled outline.
    Fill {
        /// The outline.
        outline: Outline,
        /// Level of grey, 0 black to 255 white.
        grey: u8,
    },
    /// A drawn line.
    Line {
        /// The outline.
        outline: Outline,
        /// Width of the line, mm.
        width_mm: f64,
        /// Length of dashes and of the gaps between them, mm; none for a whole line.
        dash_mm: Option<[f64; 2]>,
        /// Level of grey.
        grey: u8,
    },
    /// A line of text.
    Text {
        /// What it says.
        text: String,
        /// Left end of its base line.
        at: Spot,
        /// Size of its letters (the em), mm.
        size_mm: f64,
        /// Level of grey.
        grey: u8,
    },
}

impl Mark {
    /// Left, top, right and bottom of what the mark covers, mm.
    pub fn bounds(&self) -> [f64; 4] {
        match self {
            Self::Fill { outline, .. } => bounds(outline, 0.0),
            Self::Line { outline, width_mm, .. } => bounds(outline, width_mm / 2.0),
            Self::Text { text, at, size_mm, .. } => {
                [at.x_mm, at.y_mm - size_mm, at.x_mm + font::width(text, *size_mm), at.y_mm + 0.25 * size_mm]
            }
        }
    }
}

fn bounds(outline: &Outline, grown_mm: f64) -> [f64; 4] {
    let start = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
    let [l, t, r, b] = outline
        .spots()
        .fold(start, |[l, t, r, b], p| [l.min(p.x_mm), t.min(p.y_mm), r.max(p.x_mm), b.max(p.y_mm)]);
    [l - grown_mm, t - grown_mm, r + grown_mm, b + grown_mm]
}

/// A page to be printed.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// Width, mm.
    pub width_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// What it is.
    pub title: String,
    /// What stands on it, from below to above.
    pub marks: Vec<Mark>,
}

impl Page {
    /// An empty page.
    pub fn new(paper: Paper, turned: Turned, title: impl Into<String>) -> Self {
        let [width_mm, height_mm] = turned.size_mm(paper);
        Self { width_mm, height_mm, title: title.into(), marks: Vec::new() }
    }

    /// Adds a filled outline.
    pub fn fill(&mut self, outline: Outline, grey: u8) {
        self.marks.push(Mark::Fill { outline, grey });
    }

    /// Adds a black line.
    pub fn line(&mut self, outline: Outline, width_mm: f64) {
        self.marks.push(Mark::Line { outline, width_mm, dash_mm: None, grey: BLACK });
    }

    /// Adds a dashed black line.
    pub fn dashed(&mut self, outline: Outline, width_mm: f64, dash_mm: [f64; 2]) {
        self.marks.push(Mark::Line { outline, width_mm, dash_mm: Some(dash_mm), grey: BLACK });
    }

    /// Adds a line of text whose base line begins at a place.
    pub fn text(&mut self, text: impl Into<String>, at: Spot, size_mm: f64) {
        self.marks.push(Mark::Text { text: text.into(), at, size_mm, grey: BLACK });
    }

    /// Adds a line of text with its middle over a place.
    pub fn text_about(&mut self, text: &str, middle: Spot, size_mm: f64) {
        self.text(text, middle.moved(-font::width(text, size_mm) / 2.0, 0.0), size_mm);
    }

    /// Adds a line of text that ends at a place.
    pub fn text_up_to(&mut self, text: &str, end: Spot, size_mm: f64) {
        self.text(text, end.moved(-font::width(text, size_mm), 0.0), size_mm);
    }

    /// Adds a paragraph broken into lines; gives the base line of the line that would follow.
    pub fn paragraph(&mut self, text: &str, from: Spot, width_mm: f64, size_mm: f64) -> Spot {
        let mut pen = from;
        for line in wrap(text, size_mm, true, width_mm) {
            self.text(line, pen, size_mm);
            pen = pen.moved(0.0, LINE_HEIGHT * size_mm);
        }
        pen
    }

    /// Adds a thin rule to write on.
    pub fn write_in(&mut self, label: &str, from: Spot, width_mm: f64, size_mm: f64) {
        self.text(label, from, size_mm);
        let start = from.moved(font::width(label, size_mm) + 1.2, 0.6);
        self.line(Outline::line(&[start, at(from.x_mm + width_mm, start.y_mm)]), 0.2);
    }
}

/// From base line to base line, in sizes of the letters.
pub const LINE_HEIGHT: f64 = 1.38;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_circle_of_curves_keeps_its_radius() {
        // At the middle of a quarter the curve lies where its four control points weigh 1, 3, 3, 1 over 8.
        let Outline { steps } = Outline::circle(at(0.0, 0.0), 10.0);
        let (Step::Move(p), Step::Curve(a, b, q)) = (steps[0], steps[1]) else {
            panic!("a move and a curve")
        };
        let mid = |f: fn(Spot) -> f64| (f(p) + 3.0 * f(a) + 3.0 * f(b) + f(q)) / 8.0;
        let radius = mid(|s| s.x_mm).hypot(mid(|s| s.y_mm));
        assert!((radius - 10.0).abs() < 0.003, "{radius} mm");
    }
}
