//! Several saddles laid over one another: outlines with their front ends and midlines together, and their widths.

use super::chart::{Plot, step};
use super::plan::{midline, ruled, window_mm, words};
use super::{Anchor, Figure, LETTERS_MM, Stroke, Tone};
use crate::numeric::words::Part;
use crate::report::shape::Shape;
use crate::report::words::shortened;
use crate::sheet::Sheet;

/// How the saddles' lines differ: by dashes, weight and lightness, so that six can be told apart in grey.
const LINES: [Stroke; 6] = [
    Stroke::solid(Tone::Ink, 0.55),
    Stroke::dashed(Tone::Seat, 0.55, &[3.0, 1.2]),
    Stroke::dashed(Tone::Channel, 0.55, &[0.9, 0.9]),
    Stroke::solid(Tone::Soft, 0.25),
    Stroke::dashed(Tone::Seat, 0.4, &[4.0, 0.9, 0.7, 0.9]),
    Stroke::dashed(Tone::Ink, 0.3, &[0.35, 0.9]),
];

/// The most saddles whose lines can be told apart.
pub const MOST: usize = LINES.len();

/// What a saddle is called in all figures and tables of a comparison.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Called {
    /// Its number, from 1, which tells its line.
    pub number: usize,
    /// Its name.
    pub name: String,
}

impl Called {
    fn stroke(&self) -> Stroke {
        LINES[(self.number - 1) % MOST]
    }
}

/// A sample of a saddle's line with its number and name, one a line.
fn legend(figure: &mut Figure, names: &[Called], mut at: [f64; 2]) {
    for called in names {
        figure.line("swatch", vec![[at[0], at[1]], [at[0] + 11.0, at[1]]], called.stroke());
        let said = format!("{} {}", called.number, shortened(&called.name, 26));
        figure.text([at[0] + 13.0, at[1] + 1.0], said, Anchor::Start, LETTERS_MM, Tone::Ink);
        at[1] += 5.2;
    }
}

/// Where the names of the saddles stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Names {
    /// To the right of the drawing.
    Beside,
    /// Under it, for a narrow screen.
    Below,
}

/// The outlines of one view at 1 to `of`; `part` says whose edges.
pub fn outlines(shapes: &[&Shape], names: &[Called], part: Part, of: f64, place: Names) -> Figure {
    let reach = shapes.iter().map(|s| s.reach_mm()).fold(0.0, f64::max);
    let length = shapes.iter().map(|s| s.length_mm).fold(0.0, f64::max);
    let window = window_mm(reach, length);
    let label = format!("Outlines laid over one another at 1:{of:.0}");
    let (mut figure, paper) = ruled(window, of, label, 0.0);
    midline(&mut figure, paper, length);
    for (shape, called) in shapes.iter().zip(names) {
        for line in shape.lines.iter().filter(|l| l.part == part) {
            figure.line("outline", paper.all(&line.points), called.stroke());
        }
    }
    if let Some(shape) = shapes.iter().max_by(|a, b| a.length_mm.total_cmp(&b.length_mm)) {
        words(&mut figure, paper, shape, window);
    }
    let at = match place {
        Names::Beside => [figure.width_mm + 4.0, 12.0],
        Names::Below => [9.0, figure.height_mm + 3.0],
    };
    match place {
        Names::Beside => figure.width_mm += 62.0,
        Names::Below => figure.height_mm += 5.2 * names.len() as f64 + 2.0,
    }
    legend(&mut figure, names, at);
    figure
}

/// Widths of a part along each saddle.
pub fn widths(sheets: &[&Sheet], names: &[Called], part: Part, width_mm: f64) -> Figure {
    let legend_mm = 5.2 * names.len() as f64 + 3.0;
    let height = 60.0 + legend_mm;
    let word = part.as_str();
    let mut figure = Figure::new(width_mm, height, format!("Widths of the {word} along each saddle"));
    let of = |sheet: &Sheet| -> Vec<(f64, Option<f64>)> {
        let width = |s: &crate::sheet::Station| match part {
            Part::Seat => s.seat.as_ref().map(|w| w.mm),
            Part::Channel => s.channel.as_ref().map(|w| w.mm),
        };
        sheet.stations.iter().map(|s| (s.at, width(s))).collect()
    };
    let most = sheets.iter().flat_map(|s| of(s)).filter_map(|(_, mm)| mm).fold(60.0, f64::max) * 1.06;
    let tick = step(most, 6.0);
    let area = [13.0, 5.0 + legend_mm, width_mm - 26.0, height - legend_mm - 16.0];
    let plot = Plot { area, range_mm: [0.0, (most / tick).ceil() * tick] };
    plot.mm_axis(&mut figure, tick, false, plot.range_mm);
    plot.station_axis(&mut figure, None);
    for (sheet, called) in sheets.iter().zip(names) {
        let rows = of(sheet);
        for run in rows.split(|r| r.1.is_none()) {
            let points = run.iter().filter_map(|(at, mm)| Some(plot.at(*at, (*mm)?))).collect();
            figure.line("outline", points, called.stroke());
        }
    }
    figure.text([11.4, area[1] - 2.6], "mm", Anchor::End, super::SMALL_MM, Tone::Soft);
    legend(&mut figure, names, [13.0, 2.5]);
    figure
}
