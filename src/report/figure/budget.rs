//! Where the uncertainty of each named width comes from, as bars.

use super::chart::step;
use super::{Anchor, Figure, HAIR, SMALL_MM, Tone};
use crate::report::shape::{Keyed, Shape};
use crate::report::words::influence;
use crate::sheet::Sheet;

/// Height of a line, mm.
const LINE_MM: f64 = 4.6;
/// Room for the words before the bars, mm.
const WORDS_MM: f64 = 50.0;

/// Least width of a column of bars with its figures, mm.
const COLUMN_MM: f64 = 19.0;
/// Room for a figure below a grid line, mm.
const TICK_MM: f64 = 6.0;
/// Above and below the bars of a block, mm.
const ABOVE_MM: f64 = 6.0;
const BELOW_MM: f64 = 8.0;

/// The influences, from the largest on, and for each the named widths' contributions in columns of bars; where the
/// figure is too narrow for all columns, in blocks below one another.
pub fn budget(sheet: &Sheet, shape: &Shape, width_mm: f64) -> Figure {
    let influences = influences(sheet);
    let most = (((width_mm - WORDS_MM) / COLUMN_MM).floor() as usize).max(1);
    let blocks: Vec<&[Keyed]> = shape.named.chunks(most).collect();
    let block_mm = ABOVE_MM + LINE_MM * influences.len() as f64 + BELOW_MM;
    let height = block_mm * blocks.len().max(1) as f64;
    let mut figure = Figure::new(width_mm, height, "Contributions to each width's standard uncertainty, mm");
    let columns = blocks.first().map_or(1, |b| b.len());
    let column_mm = ((width_mm - WORDS_MM) / columns as f64).min(60.0);
    let largest = sheet.budget.iter().map(|l| l.u).fold(0.1, f64::max);
    // As many grid lines as their figures have room for.
    // A scale with nothing but its nought tells nothing.
    let tick = step(largest, ((column_mm - 11.0) / TICK_MM).clamp(1.0, 5.0)).min(round_below(largest));
    let bars = Bars { column_mm, largest, tick, scale: (column_mm - 11.0) / largest };
    for (i, widths) in blocks.into_iter().enumerate() {
        block(&mut figure, sheet, widths, &influences, &bars, block_mm * i as f64);
    }
    figure
}

/// The largest of 1, 2 or 5 times a power of ten that is at most as large.
fn round_below(value: f64) -> f64 {
    let power = 10f64.powf(value.log10().floor());
    [5.0, 2.0, 1.0].map(|m| m * power).into_iter().find(|round| *round <= value).unwrap_or(power)
}

/// How long bars are.
struct Bars {
    column_mm: f64,
    /// The largest contribution, mm.
    largest: f64,
    /// Between grid lines, mm of contribution.
    tick: f64,
    /// Paper millimetres for one of contribution.
    scale: f64,
}

fn block(figure: &mut Figure, sheet: &Sheet, widths: &[Keyed], influences: &[String], bars: &Bars, top: f64) {
    let bottom = top + ABOVE_MM + LINE_MM * influences.len() as f64;
    for (i, width) in widths.iter().enumerate() {
        let x = WORDS_MM + i as f64 * bars.column_mm;
        figure.key([x + 1.9, top + 2.2], &width.key);
        for k in 0..=(bars.largest / bars.tick + 1e-9).floor() as u32 {
            let value = f64::from(k) * bars.tick;
            let at = x + value * bars.scale;
            figure.line("grid", vec![[at, top + 5.0], [at, bottom]], HAIR);
            let label = if k == 0 { "0".into() } else { decimals(value, bars.tick) };
            figure.text([at, bottom + 3.6], label, Anchor::Middle, 2.2, Tone::Soft);
        }
    }
    for (row, from) in influences.iter().enumerate() {
        let y = top + ABOVE_MM + LINE_MM * row as f64;
        figure.text([0.0, y + 3.0], influence(from).0, Anchor::Start, SMALL_MM, Tone::Ink);
        for (i, width) in widths.iter().enumerate() {
            let x = WORDS_MM + i as f64 * bars.column_mm;
            let line = sheet.budget.iter().find(|l| l.of == width.name && l.from == *from);
            let Some(line) = line else { continue };
            let length = line.u * bars.scale;
            figure.rect("budget-bar", [x, y + 0.6, length.max(0.2), 3.0], Some(Tone::Seat), None);
            let said = if line.u < 0.005 { "<0.01".into() } else { format!("{:.2}", line.u) };
            // A ground for the figure, so that no grid line runs through it.
            let room = [x + length + 0.5, y + 0.6, 1.25 * said.chars().count() as f64 + 0.4, 3.0];
            figure.rect("ground", room, Some(Tone::Paper), None);
            figure.text([x + length + 0.9, y + 2.9], said, Anchor::Start, 2.2, Tone::Soft);
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::fit::line as lens;
    use crate::report::draw::font;
    use crate::width::influence::line;

    #[test]
    fn a_scale_has_a_line_beside_its_nought() {
        assert_eq!([0.8, 0.32, 1.0, 4.79, 50.0].map(round_below), [0.5, 0.2, 1.0, 2.0, 50.0]);
    }

    #[test]
    fn every_influence_is_said_before_its_bars() {
        let all = [
            line::CORNERS,
            line::LIFT,
            line::EDGE,
            line::PIPING,
            line::COMPETING,
            line::HIDDEN,
            line::UNEVEN,
            line::DIRECTION,
            line::STATION,
            line::LEVEL,
            line::ROLL,
            line::PRINT,
            lens::FOCAL,
            lens::PRINCIPAL,
            lens::DISTORTION,
            lens::BLOOM,
            lens::BEND,
        ];
        for from in all {
            let said = influence(from).0;
            let wide_mm = font::regular_width(&said, SMALL_MM);
            assert!(wide_mm < WORDS_MM, "{said}: {wide_mm:.1} mm");
            assert!(said != from, "{from} has no words of its own");
        }
    }
}
