//! Several saddles laid over one another: outlines with their front ends and midlines together, and their widths.

use super::chart::{Plot, step};
use super::plan::{midline, ruled, window_mm, words};
use crate::canvas::{Anchor, Canvas, Point, Stroke};
use crate::numeric::words::Part;
use crate::report::palette::{AXIS, CHANNEL, INK, LABEL, SEAT, SOFT};
use crate::report::shape::Shape;
use crate::report::words::shortened;
use crate::sheet::{Sheet, Station};

/// The saddles' lines. They differ by dashes, weight and lightness, so that six stay distinct in grey.
const LINES: [Stroke; 6] = [
    Stroke::solid(INK, 0.55),
    Stroke::dashed(SEAT, 0.55, &[3.0, 1.2]),
    Stroke::dashed(CHANNEL, 0.55, &[0.9, 0.9]),
    Stroke::solid(SOFT, 0.25),
    Stroke::dashed(SEAT, 0.4, &[4.0, 0.9, 0.7, 0.9]),
    Stroke::dashed(INK, 0.3, &[0.35, 0.9]),
];

/// The most saddles whose lines are distinct.
pub const MOST: usize = LINES.len();

/// A saddle's number and name in all figures and tables of a comparison.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Numbered {
    /// Its number, from 1, which chooses its line.
    pub number: usize,
    /// Its name.
    pub name: String,
}

impl Numbered {
    fn stroke(&self) -> Stroke {
        LINES[(self.number - 1) % MOST]
    }
}

/// Height of a line of the legend, mm.
const LINE_MM: f64 = 5.2;

/// A sample of each saddle's line with its number and name, one below the other.
fn legend(canvas: &mut Canvas, saddles: &[Numbered], [x, mut y]: Point) {
    for saddle in saddles {
        canvas.line("swatch", [[x, y], [x + 11.0, y]], saddle.stroke());
        let name = format!("{} {}", saddle.number, shortened(&saddle.name, 26));
        canvas.text([x + 13.0, y + 1.0], Anchor::Start, name, LABEL);
        y += LINE_MM;
    }
}

/// Where the legend stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LegendPlace {
    /// To the right of the drawing.
    Beside,
    /// Under it, for a narrow screen.
    Below,
}

/// The outlines of one part's edges at 1 to `of`.
pub fn outlines(shapes: &[&Shape], saddles: &[Numbered], part: Part, of: f64, place: LegendPlace) -> Canvas {
    let window = window_mm(shapes);
    let label = format!("Outlines laid over one another at 1:{of:.0}");
    let (mut canvas, paper) = ruled(window, of, label, 0.0);
    let longest = shapes.iter().max_by(|a, b| a.length_mm.total_cmp(&b.length_mm));
    midline(&mut canvas, paper, longest.map_or(0.0, |s| s.length_mm));
    for (shape, saddle) in shapes.iter().zip(saddles) {
        for line in shape.lines.iter().filter(|l| l.part == part) {
            canvas.line("outline", paper.all(&line.points), saddle.stroke());
        }
    }
    if let Some(shape) = longest {
        words(&mut canvas, paper, shape, window);
    }
    let at = match place {
        LegendPlace::Beside => [canvas.width_mm + 4.0, 12.0],
        LegendPlace::Below => [9.0, canvas.height_mm + 3.0],
    };
    match place {
        LegendPlace::Beside => canvas.width_mm += 62.0,
        LegendPlace::Below => canvas.height_mm += LINE_MM * saddles.len() as f64 + 2.0,
    }
    legend(&mut canvas, saddles, at);
    canvas
}

/// Widths of a part along each saddle.
pub fn widths(sheets: &[&Sheet], saddles: &[Numbered], part: Part, line: &str, width_mm: f64) -> Canvas {
    let legend_mm = LINE_MM * saddles.len() as f64 + 3.0;
    let height = 60.0 + legend_mm;
    let label = format!("{line}: width along each saddle");
    let mut canvas = Canvas::new([width_mm, height], label);
    let width = |s: &Station| match part {
        Part::Seat => s.seat.as_ref().map(|w| w.mm),
        Part::Channel => s.channel.as_ref().map(|w| w.mm),
    };
    let all = sheets.iter().flat_map(|sheet| &sheet.stations).filter_map(width);
    let most = all.fold(60.0, f64::max) * 1.06;
    let tick = step(most, 6.0);
    let area = [13.0, 5.0 + legend_mm, width_mm - 26.0, height - legend_mm - 16.0];
    let plot = Plot { area, range_mm: [0.0, (most / tick).ceil() * tick] };
    plot.mm_axis(&mut canvas, tick, plot.range_mm);
    plot.station_axis(&mut canvas, None);
    for (sheet, saddle) in sheets.iter().zip(saddles) {
        for run in sheet.stations.split(|s| width(s).is_none()) {
            let points: Vec<Point> = run.iter().filter_map(|s| Some(plot.at(s.at, width(s)?))).collect();
            canvas.line("outline", points, saddle.stroke());
        }
    }
    canvas.text([11.4, area[1] - 2.6], Anchor::End, "mm", AXIS);
    legend(&mut canvas, saddles, [13.0, 2.5]);
    canvas
}
