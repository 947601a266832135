//! A saddle's widths against the rider's and the horse's own measures, all at one scale.

use super::chart::CHART_MM;
use crate::canvas::{Anchor, Canvas, Path, Stroke, TextStyle};
use crate::report::palette::{CHANNEL, CHANNEL_WASH, INK, PAPER, SEAT, SEAT_WASH, SOFT};

/// What a width is compared with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OwnMeasure {
    /// Seat bones, so far apart between their centres.
    SeatBones(f64),
    /// Fingers of this breadth side by side.
    Fingers(f64),
    /// A channel from a least to a largest width.
    Channel(f64, Option<f64>),
}

/// A width with the measure that belongs to it.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasureRow {
    /// The width in words, with its figures.
    pub title: String,
    /// The measure in words.
    pub own: String,
    /// The width, mm.
    pub mm: f64,
    /// The measure.
    pub measure: OwnMeasure,
}

const TITLE: TextStyle = TextStyle::bold(3.5, INK);
const OWN: TextStyle = TextStyle::regular(3.2, SOFT);
/// Height of a row, and of the bar in it, mm.
const ROW_MM: f64 = 26.0;
const BAR_MM: f64 = 7.0;
/// The widest saddle for which the scale stays the same from client to client, mm.
const WIDEST_MM: f64 = 270.0;

/// The rows below one another, each with the width as a bar and the measure under it.
pub fn measures(rows: &[MeasureRow], width_mm: f64) -> Canvas {
    let widest = rows.iter().map(|r| r.mm).fold(WIDEST_MM, f64::max);
    let scale = (width_mm - 8.0) / widest;
    let mut canvas =
        Canvas::new([width_mm, ROW_MM * rows.len() as f64], "Widths of the saddle against your own measures");
    for (i, row) in rows.iter().enumerate() {
        draw(&mut canvas, row, ROW_MM * i as f64, scale);
    }
    canvas
}

fn draw(canvas: &mut Canvas, row: &MeasureRow, top: f64, scale: f64) {
    let middle = canvas.width_mm / 2.0;
    let (ink, wash) = match row.measure {
        OwnMeasure::Channel(..) => (CHANNEL, CHANNEL_WASH),
        _ => (SEAT, SEAT_WASH),
    };
    canvas.text([0.0, top + 3.6], Anchor::Start, row.title.clone(), TITLE);
    let (y, half) = (top + 5.4, row.mm * scale / 2.0);
    let bar = Path::rect([middle - half, y, 2.0 * half, BAR_MM]);
    canvas.draw("own-width", bar, Some(wash), Some(Stroke::solid(ink, 0.5)));
    let below = y + BAR_MM + 1.6;
    match row.measure {
        OwnMeasure::SeatBones(apart) => {
            for at in [middle - apart * scale / 2.0, middle + apart * scale / 2.0] {
                canvas.line("own-measure", [[at, y], [at, below + 3.0]], Stroke::solid(INK, 0.3));
                canvas.fill("own-measure", Path::circle([at, y + BAR_MM / 2.0], 1.7), INK);
            }
        }
        OwnMeasure::Fingers(breadth) => {
            let wide = breadth * scale;
            for i in 0..4 {
                let finger = Path::rect([middle + wide * (f64::from(i) - 2.0), below, wide, 4.4]);
                let stroke =
                    Stroke { dash_mm: if i < 3 { &[] } else { &[1.0, 0.8] }, ..Stroke::solid(INK, 0.35) };
                canvas.draw("own-measure", finger, Some(PAPER), Some(stroke));
            }
        }
        OwnMeasure::Channel(least, most) => {
            let ends = [Some((least, &[][..])), most.map(|most| (most, &[1.0, 0.8][..]))];
            for (wide, dash_mm) in ends.into_iter().flatten() {
                for at in [middle - wide * scale / 2.0, middle + wide * scale / 2.0] {
                    let stroke = Stroke { dash_mm, ..Stroke::solid(INK, 0.45) };
                    canvas.line("own-measure", [[at, y], [at, below + 3.0]], stroke);
                }
            }
        }
    }
    canvas.text([0.0, below + 8.4], Anchor::Start, row.own.clone(), OWN);
}

/// Width of the figure on paper, mm.
pub const MEASURES_MM: f64 = CHART_MM;
