//! Straight scales in millimetres or inches.

use crate::canvas::{Anchor, Canvas, MM_PER_INCH, Point};
use crate::report::palette::{AXIS, TICK};

/// A ruler.
#[derive(Debug, Clone, Copy)]
pub struct Ruler {
    /// Its zero on the paper, mm.
    pub zero: Point,
    /// Whether it runs down the paper (else to the right).
    pub down: bool,
    /// Ticks and figures to the right of it or below it (else to the left or above).
    pub after: bool,
    /// First and last millimetre of the object.
    pub range_mm: [f64; 2],
    /// Paper millimetres for one of the object.
    pub scale: f64,
    /// In inches.
    pub inches: bool,
}

impl Ruler {
    /// Draws it.
    pub fn draw(&self, canvas: &mut Canvas) {
        let unit_mm = if self.inches { MM_PER_INCH } else { 1.0 };
        // Between ticks, in the ruler's unit, and how many of them to a figure.
        let (step, every) = match (self.inches, self.scale > 0.5) {
            (false, true) => (1.0, 10),
            (false, false) => (10.0, 5),
            (true, true) => (0.125, 8),
            (true, false) => (0.5, 4),
        };
        let [first, last] = self.range_mm.map(|mm| mm / unit_mm / step);
        canvas.line("ruler", self.range_mm.map(|mm| self.at(mm, 0.0)), TICK);
        for i in (first - 1e-9).ceil() as i64..=(last + 1e-9).floor() as i64 {
            let value = i as f64 * step;
            let mm = value * unit_mm;
            let length = match i {
                i if i % every == 0 => 1.8,
                i if every % 2 == 0 && i % (every / 2) == 0 => 1.3,
                _ => 0.8,
            };
            canvas.line("tick", [self.at(mm, 0.0), self.at(mm, length)], TICK);
            if i % every == 0 {
                self.figure(canvas, mm, &format!("{:.0}", value.abs()));
            }
        }
    }

    fn at(&self, mm: f64, off: f64) -> Point {
        let (along, off) = (mm * self.scale, if self.after { off } else { -off });
        let [x, y] = self.zero;
        if self.down { [x + off, y + along] } else { [x + along, y + off] }
    }

    fn figure(&self, canvas: &mut Canvas, mm: f64, text: &str) {
        let [x, y] = self.at(mm, 2.4);
        let (y, anchor) = match (self.down, self.after) {
            (true, true) => (y + 0.9, Anchor::Start),
            (true, false) => (y + 0.9, Anchor::End),
            (false, true) => (y + 1.8, Anchor::Middle),
            (false, false) => (y, Anchor::Middle),
        };
        canvas.text([x, y], anchor, text, AXIS);
    }

    /// Writes the unit: above the beginning of a ruler that runs down, behind the end of one that runs to the right.
    pub fn unit(&self, canvas: &mut Canvas) {
        let [x, y] = self.at(self.range_mm[if self.down { 0 } else { 1 }], 2.4);
        let (at, anchor) = match (self.down, self.after) {
            (true, true) => ([x, y - 2.6], Anchor::Start),
            (true, false) => ([x, y - 2.6], Anchor::End),
            (false, true) => ([x + 3.4, y + 1.8], Anchor::Start),
            (false, false) => ([x + 3.4, y], Anchor::Start),
        };
        canvas.text(at, anchor, if self.inches { "in" } else { "mm" }, AXIS);
    }
}
