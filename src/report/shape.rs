//! A saddle's lines in millimetres on paper, the front end of the midline at the top, the same way round as in the
//! photo: seen from above the rider's left is on the left, seen from below on the right.

use crate::numeric::words::{NamedWidth, Part, Side, View};
use crate::sheet::geometry::stretches;
use crate::sheet::{EdgePair, Sheet};

/// A stretch of an edge without a gap, front to rear.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapeLine {
    /// Which pair of edges.
    pub part: Part,
    /// Which of the two.
    pub side: Side,
    /// Points: to the right of the midline, and from its front end to the rear, mm.
    pub points: Vec<[f64; 2]>,
}

/// A named width, with the letter by which figures and tables refer to it.
#[derive(Debug, Clone, PartialEq)]
pub struct KeyedWidth {
    /// The letter.
    pub key: String,
    /// The width's name, such as `seat.widest`.
    pub name: NamedWidth,
    /// Station.
    pub at: f64,
    /// Width, mm.
    pub mm: f64,
    /// Its expanded uncertainty, mm.
    pub u95: f64,
    /// Its ends, where both edges were traced there.
    pub ends: Option<[[f64; 2]; 2]>,
}

/// The lines of one sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// How the saddle is seen.
    pub view: View,
    /// Length of the midline, mm.
    pub length_mm: f64,
    /// The edges.
    pub lines: Vec<ShapeLine>,
    /// The named widths.
    pub named: Vec<KeyedWidth>,
}

impl Shape {
    /// The lines of a measured sheet; none of a refused one.
    pub fn of(sheet: &Sheet) -> Option<Self> {
        let (view, length_mm) = (sheet.view?, sheet.midline.as_ref()?.length_mm);
        let edges = sheet.edges.as_ref()?;
        let mut lines = Vec::new();
        for (part, pair) in [(Part::Seat, &edges.seat), (Part::Channel, &edges.channel)] {
            for side in [Side::Left, Side::Right] {
                let rows = pair.as_ref().map_or(&[][..], |p| rows(p, side));
                let place = |r: &[f64; 3]| [sign(view, side) * r[1], r[0] * length_mm];
                let parts = stretches(rows).into_iter().map(|range| &rows[range]);
                lines.extend(parts.filter(|rows| rows.len() > 1).map(|rows| ShapeLine {
                    part,
                    side,
                    points: rows.iter().map(place).collect(),
                }));
            }
        }
        let named = sheet.widths.iter().zip('A'..='Z').map(|(w, key)| {
            let pair = if w.name.part() == Part::Channel { &edges.channel } else { &edges.seat };
            let end = |side| {
                let half = half_at(rows(pair.as_ref()?, side), w.at)?;
                Some([sign(view, side) * half, w.at * length_mm])
            };
            // The line through the traced points is rougher than the width that was fitted to them, by up to a tenth
            // of a millimetre: the drawn line has the stated length.
            let ends = end(Side::Left).zip(end(Side::Right)).map(|(a, b)| {
                let drawn_mm = (a[0] - b[0]).abs();
                let stretch = if drawn_mm > 0.0 { w.mm / drawn_mm } else { 1.0 };
                [a, b].map(|[across, along]| [across * stretch, along])
            });
            KeyedWidth { key: key.into(), name: w.name, at: w.at, mm: w.mm, u95: w.u95, ends }
        });
        let named = named.collect();
        Some(Self { view, length_mm, lines, named })
    }

    /// How far the lines reach to either side of the midline, mm.
    pub fn reach_mm(&self) -> f64 {
        self.lines.iter().flat_map(|l| &l.points).map(|p| p[0].abs()).fold(0.0, f64::max)
    }

    /// The rider's sides on the left and on the right of the paper.
    pub fn sides(&self) -> [Side; 2] {
        if self.view == View::Top { [Side::Left, Side::Right] } else { [Side::Right, Side::Left] }
    }
}

/// -1 for a side on the left of the paper, 1 on the right.
pub fn sign(view: View, side: Side) -> f64 {
    if (view == View::Top) == (side == Side::Left) { -1.0 } else { 1.0 }
}

fn rows(pair: &EdgePair, side: Side) -> &[[f64; 3]] {
    match side {
        Side::Left => &pair.left,
        Side::Right => &pair.right,
    }
}

/// Where an edge's drawn line passes a station, mm from the midline; none in a gap.
fn half_at(rows: &[[f64; 3]], at: f64) -> Option<f64> {
    let stretch = stretches(rows).into_iter().map(|range| &rows[range]).find(|r| {
        r.first().is_some_and(|a| a[0] <= at + 1e-4) && r.last().is_some_and(|b| b[0] >= at - 1e-4)
    })?;
    let after = stretch.partition_point(|r| r[0] < at).clamp(1, (stretch.len() - 1).max(1));
    let (a, b) = (stretch.get(after - 1)?, stretch.get(after)?);
    let share = ((at - a[0]) / (b[0] - a[0])).clamp(0.0, 1.0);
    let half = a[1] + share * (b[1] - a[1]);
    half.is_finite().then_some(half)
}
