//! Where the uncertainty of each named width comes from, as bars.

use super::chart::step;
use super::{Anchor, Figure, HAIR, SMALL_MM, Tone};
use crate::report::shape::Shape;
use crate::report::words::influence;
use crate::sheet::Sheet;

/// Height of a line, mm.
const LINE_MM: f64 = 4.6;
/// Room for the words before the bars, mm.
const WORDS_MM: f64 = 50.0;

/// The influences, from the largest on, and for each the named widths' contributions in columns of bars.
pub fn budget(sheet: &Sheet, shape: &Shape, width_mm: f64) -> Figure {
    let influences = influences(sheet);
    let columns = shape.named.len().max(1) as f64;
    let height = 8.0 + LINE_MM * influences.len() as f64 + 6.0;
    let mut figure = Figure::new(width_mm, height, "Contributions to each width's standard uncertainty, mm");
    let gap = 3.0;
    let column_mm = ((width_mm - WORDS_MM) / columns).min(60.0);
    let largest = sheet.budget.iter().map(|l| l.u).fold(0.1, f64::max);
    let tick = step(largest, if columns > 3.0 { 2.0 } else { 4.0 });
    let scale = (column_mm - gap - 8.0) / largest;
    let bottom = 6.0 + LINE_MM * influences.len() as f64;
    for (i, width) in shape.named.iter().enumerate() {
        let x = WORDS_MM + i as f64 * column_mm;
        figure.key([x + 1.9, 2.2], &width.key);
        for k in 0..=(largest / tick + 1e-9).floor() as u32 {
            let at = x + f64::from(k) * tick * scale;
            figure.line("grid", vec![[at, 5.0], [at, bottom]], HAIR);
            let label = if k == 0 { "0".into() } else { decimals(f64::from(k) * tick, tick) };
            figure.text([at, bottom + 3.6], label, Anchor::Middle, 2.2, Tone::Soft);
        }
    }
    for (row, from) in influences.iter().enumerate() {
        let y = 6.0 + LINE_MM * row as f64;
        figure.text([0.0, y + 3.0], influence(from).0, Anchor::Start, SMALL_MM, Tone::Ink);
        for (i, width) in shape.named.iter().enumerate() {
            let x = WORDS_MM + i as f64 * column_mm;
            let line = sheet.budget.iter().find(|l| l.of == width.name && l.from == *from);
            let Some(line) = line else { continue };
            figure.rect("budget-bar", [x, y + 0.6, (line.u * scale).max(0.2), 3.0], Some(Tone::Seat), None);
            let said = if line.u < 0.005 { "<0.01".into() } else { format!("{:.2}", line.u) };
            figure.text([x + line.u * scale + 0.9, y + 2.9], said, Anchor::Start, 2.2, Tone::Soft);
        }
    }
    figure
}

fn decimals(value: f64, step: f64) -> String {
    let places = (-step.log10().floor()).max(0.0) as usize;
    format!("{value:.places$}")
}

/// The names of the influences, the largest contribution first.
pub fn influences(sheet: &Sheet) -> Vec<String> {
    let mut all: Vec<(String, f64)> = Vec::new();
    for line in &sheet.budget {
        match all.iter_mut().find(|(name, _)| *name == line.from) {
            Some((_, largest)) => *largest = largest.max(line.u),
            None => all.push((line.from.clone(), line.u)),
        }
    }
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all.into_iter().map(|(name, _)| name).collect()
}
