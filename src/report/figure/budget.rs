//! Where the uncertainty of each named width comes from, as bars.

use super::chart::step;
use super::key;
use crate::canvas::{Anchor, Canvas, Path, TextStyle};
use crate::report::palette::{HAIRLINE, PAPER, SEAT, SMALL, SOFT};
use crate::report::shape::{KeyedWidth, Shape};
use crate::sheet::Sheet;
use crate::width::influence::Influence;

/// Height of a line, mm.
const LINE_MM: f64 = 4.6;
/// Width of the words before the bars, mm.
const WORDS_MM: f64 = 52.0;
/// Least width of a column of bars with its figures, mm.
const COLUMN_MM: f64 = 19.0;
/// Least distance of figures below grid lines, mm.
const TICK_MM: f64 = 6.0;
/// Above and below the bars of a block, mm.
const ABOVE_MM: f64 = 6.0;
const BELOW_MM: f64 = 8.0;
/// Figures at the bars.
const FIGURES: TextStyle = TextStyle::regular(2.2, SOFT);

/// The influences, from the largest on, and for each the named widths' contributions in columns of bars; where the
/// figure is too narrow for all columns, in blocks below one another.
pub fn budget(sheet: &Sheet, shape: &Shape, width_mm: f64) -> Canvas {
    let influences = influences(sheet);
    let most = (((width_mm - WORDS_MM) / COLUMN_MM).floor() as usize).max(1);
    let blocks: Vec<&[KeyedWidth]> = shape.named.chunks(most).collect();
    let block_mm = ABOVE_MM + LINE_MM * influences.len() as f64 + BELOW_MM;
    let height = block_mm * blocks.len().max(1) as f64;
    let label = "Contributions to each width's standard uncertainty, mm";
    let mut canvas = Canvas::new([width_mm, height], label);
    let columns = blocks.first().map_or(1, |b| b.len());
    let column_mm = ((width_mm - WORDS_MM) / columns as f64).min(60.0);
    let largest = sheet.budget.iter().map(|l| l.u).fold(0.1, f64::max);
    // As many grid lines as their figures leave space for, and at least one beside the zero.
    let tick = step(largest, ((column_mm - 11.0) / TICK_MM).clamp(1.0, 5.0)).min(round_below(largest));
    let bars = Bars { column_mm, largest, tick, scale: (column_mm - 11.0) / largest };
    for (i, widths) in blocks.into_iter().enumerate() {
        block(&mut canvas, sheet, widths, &influences, &bars, block_mm * i as f64);
    }
    canvas
}

/// The largest of 1, 2 or 5 times a power of ten that is at most as large.
fn round_below(value: f64) -> f64 {
    let power = 10f64.powf(value.log10().floor());
    [5.0, 2.0, 1.0].map(|m| m * power).into_iter().find(|round| *round <= value).unwrap_or(power)
}

/// The scale of the bars.
struct Bars {
    column_mm: f64,
    /// The largest contribution, mm.
    largest: f64,
    /// Between grid lines, mm of contribution.
    tick: f64,
    /// Paper millimetres for one of contribution.
    scale: f64,
}

fn block(
    canvas: &mut Canvas,
    sheet: &Sheet,
    widths: &[KeyedWidth],
    influences: &[Influence],
    bars: &Bars,
    top: f64,
) {
    let bottom = top + ABOVE_MM + LINE_MM * influences.len() as f64;
    let column = |i: usize| WORDS_MM + i as f64 * bars.column_mm;
    let places = (-bars.tick.log10().floor()).max(0.0) as usize;
    for (i, width) in widths.iter().enumerate() {
        key(canvas, [column(i) + 1.9, top + 2.2], &width.key);
        for k in 0..=(bars.largest / bars.tick + 1e-9).floor() as u32 {
            let value = f64::from(k) * bars.tick;
            let x = column(i) + value * bars.scale;
            canvas.line("grid", [[x, top + 5.0], [x, bottom]], HAIRLINE);
            let label = if k == 0 { "0".into() } else { format!("{value:.places$}") };
            canvas.text([x, bottom + 3.6], Anchor::Middle, label, FIGURES);
        }
    }
    for (row, from) in influences.iter().enumerate() {
        let y = top + ABOVE_MM + LINE_MM * row as f64;
        canvas.text([0.0, y + 3.0], Anchor::Start, from.in_words(), SMALL);
        for (i, width) in widths.iter().enumerate() {
            let Some(line) = sheet.budget.iter().find(|l| l.of == width.name && l.from == *from) else {
                continue;
            };
            let end = column(i) + line.u * bars.scale;
            let bar = [column(i), y + 0.6, (line.u * bars.scale).max(0.2), 3.0];
            canvas.fill("budget-bar", Path::rect(bar), SEAT);
            let figure = if line.u < 0.005 { "<0.01".into() } else { format!("{:.2}", line.u) };
            // White behind the figure, so that no grid line runs through it.
            let ground = [end + 0.5, y + 0.6, FIGURES.width_mm(&figure) + 0.8, 3.0];
            canvas.fill("ground", Path::rect(ground), PAPER);
            canvas.text([end + 0.9, y + 2.9], Anchor::Start, figure, FIGURES);
        }
    }
}

/// The influences, the largest contribution first.
pub fn influences(sheet: &Sheet) -> Vec<Influence> {
    let mut all: Vec<(Influence, f64)> = Vec::new();
    for line in &sheet.budget {
        match all.iter_mut().find(|(name, _)| *name == line.from) {
            Some((_, largest)) => *largest = largest.max(line.u),
            None => all.push((line.from, line.u)),
        }
    }
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all.into_iter().map(|(name, _)| name).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_has_a_line_beside_its_zero() {
        assert_eq!([0.8, 0.32, 1.0, 4.79, 50.0].map(round_below), [0.5, 0.2, 1.0, 2.0, 50.0]);
    }

    #[test]
    fn every_influence_has_words_that_fit() {
        for influence in Influence::ALL {
            let words = influence.in_words();
            let wide_mm = SMALL.width_mm(words);
            assert!(wide_mm < WORDS_MM, "{words}: {wide_mm:.1} mm");
            assert!(words != influence.as_str(), "{words} has no words of its own");
        }
    }
}
