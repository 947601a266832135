//! Rulers: straight scales in millimetres or inches.

use super::{Anchor, Figure, SMALL_MM, TICK, Tone};
use crate::report::units::MM_PER_INCH;

/// Where a ruler lies and what it counts.
#[derive(Debug, Clone, Copy)]
pub struct Ruler {
    /// Where its zero is on the paper, mm.
    pub zero: [f64; 2],
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

/// Ticks in a ruler's own unit: every tick, and every how many of them a longer one with a figure.
fn steps(scale: f64, inches: bool) -> (f64, usize) {
    match (inches, scale > 0.5) {
        (false, true) => (1.0, 10),
        (false, false) => (10.0, 5),
        (true, true) => (0.125, 8),
        (true, false) => (0.5, 4),
    }
}

impl Ruler {
    /// Draws it.
    pub fn draw(&self, figure: &mut Figure) {
        let unit_mm = if self.inches { MM_PER_INCH } else { 1.0 };
        let (step, every) = steps(self.scale, self.inches);
        let [first, last] = self.range_mm.map(|mm| mm / unit_mm / step);
        self.stroke(figure, self.range_mm[0], self.range_mm[1]);
        for i in (first - 1e-9).ceil() as i64..=(last + 1e-9).floor() as i64 {
            let figured = i % every as i64 == 0;
            let half = every.is_multiple_of(2) && i % (every as i64 / 2) == 0;
            let length = if figured {
                1.8
            } else if half {
                1.3
            } else {
                0.8
            };
            let value = i as f64 * step;
            self.tick(figure, value * unit_mm, length);
            if figured {
                self.label(figure, value * unit_mm, &format!("{:.0}", value.abs()));
            }
        }
    }

    fn at(&self, mm: f64, off: f64) -> [f64; 2] {
        let (along, off) = (mm * self.scale, if self.after { off } else { -off });
        let [x, y] = self.zero;
        if self.down { [x + off, y + along] } else { [x + along, y + off] }
    }

    fn stroke(&self, figure: &mut Figure, from: f64, to: f64) {
        figure.line("ruler", vec![self.at(from, 0.0), self.at(to, 0.0)], TICK);
    }

    fn tick(&self, figure: &mut Figure, mm: f64, length: f64) {
        figure.line("tick", vec![self.at(mm, 0.0), self.at(mm, length)], TICK);
    }

    fn label(&self, figure: &mut Figure, mm: f64, text: &str) {
        let [x, y] = self.at(mm, 2.4);
        let (at, anchor) = match (self.down, self.after) {
            (true, true) => ([x, y + 0.9], Anchor::Start),
            (true, false) => ([x, y + 0.9], Anchor::End),
            (false, true) => ([x, y + 1.8], Anchor::Middle),
            (false, false) => ([x, y], Anchor::Middle),
        };
        figure.text(at, text, anchor, SMALL_MM, Tone::Soft);
    }

    /// Writes the unit: above the beginning of a ruler that runs down, behind the end of one that runs to the right,
    /// clear of a figure there.
    pub fn unit(&self, figure: &mut Figure) {
        let word = if self.inches { "in" } else { "mm" };
        let [x, y] = self.at(self.range_mm[if self.down { 0 } else { 1 }], 2.4);
        let (at, anchor) = match (self.down, self.after) {
            (true, true) => ([x, y - 2.6], Anchor::Start),
            (true, false) => ([x, y - 2.6], Anchor::End),
            (false, true) => ([x + 3.4, y + 1.8], Anchor::Start),
            (false, false) => ([x + 3.4, y], Anchor::Start),
        };
        figure.text(at, word, anchor, SMALL_MM, Tone::Soft);
    }
}
