//! Left against right: how much wider one half is, station by station.

use super::chart::{Plot, step};
use crate::canvas::{Anchor, Canvas, Path, Stroke};
use crate::report::palette::{CHANNEL, PAPER, SEAT, SMALL, TICK};
use crate::sheet::Sheet;

/// Half the width of a bar, mm.
const BAR_MM: f64 = 1.5;
/// The axis reaches at least this far, mm, so that small differences look small.
const LEAST_REACH_MM: f64 = 5.0;
/// Kept free of bars at the foot of the plot, for its words, mm on paper.
const FOOT_MM: f64 = 4.5;

/// The differences of the halves; a bar upward where the left half is wider.
pub fn symmetry(sheet: &Sheet, width_mm: f64) -> Canvas {
    let height = 46.0;
    let label = "How much wider the left or the right half is along the saddle";
    let mut canvas = Canvas::new([width_mm, height], label);
    let stations = sheet.stations.iter();
    let both = stations.clone().any(|s| s.channel.is_some());
    let halves = stations.flat_map(|s| [(s.at, &s.seat, false), (s.at, &s.channel, true)]);
    let bars: Vec<(f64, f64, bool)> = halves
        .filter_map(|(at, w, channel)| w.as_ref().map(|w| (at, w.left_half - w.right_half, channel)))
        .collect();
    let reach = bars.iter().map(|b| b.1.abs()).fold(LEAST_REACH_MM, f64::max) * 1.1;
    let area = [13.0, 7.0, width_mm - 26.0, height - 18.0];
    let foot = 2.0 * reach * FOOT_MM / (area[3] - FOOT_MM);
    let plot = Plot { area, range_mm: [-reach - foot, reach] };
    plot.mm_axis(&mut canvas, step(2.0 * reach, 6.0), [-reach, reach]);
    plot.station_axis(&mut canvas, None);
    for (at, mm, channel) in bars {
        let half = if both { BAR_MM / 2.0 } else { BAR_MM };
        let off = match (both, channel) {
            (false, _) => 0.0,
            (true, false) => -half - 0.2,
            (true, true) => half + 0.2,
        };
        let [[x, zero], [_, y]] = [0.0, mm].map(|mm| plot.at(at, mm));
        let rect = Path::rect([x + off - half, zero.min(y), 2.0 * half, (y - zero).abs().max(0.15)]);
        if channel {
            canvas.draw("channel-bar", rect, Some(PAPER), Some(Stroke::solid(CHANNEL, 0.3)));
        } else {
            canvas.fill("seat-bar", rect, SEAT);
        }
    }
    canvas.line("even", [plot.at(0.0, 0.0), plot.at(1.0, 0.0)], TICK);
    let [x, y, w, h] = plot.area;
    canvas.text([x + 2.0, y - 1.6], Anchor::Start, "left half wider, mm", SMALL);
    canvas.text([x + 2.0, y + h - 1.6], Anchor::Start, "right half wider, mm", SMALL);
    if both {
        canvas.text([x + w, y - 1.6], Anchor::End, "filled: seat    outlined: channel", SMALL);
    }
    canvas
}
