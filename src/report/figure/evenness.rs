//! Left against right: how much wider one half of the seat is, station by station.

use super::chart::{Plot, step};
use super::{Anchor, Figure, SMALL_MM, Stroke, TICK, Tone};
use crate::sheet::{Sheet, StationWidth};

/// Half the width of a bar, mm.
const BAR_MM: f64 = 1.5;
/// The axis reaches at least this far, mm, so that small differences look small.
const LEAST_REACH_MM: f64 = 5.0;
/// Kept free of bars at the foot of the plot, for its words, mm on paper.
const FOOT_MM: f64 = 4.5;

/// The differences of the halves; a bar upward where the left half is wider.
pub fn evenness(sheet: &Sheet, width_mm: f64) -> Figure {
    let height = 46.0;
    let mut figure =
        Figure::new(width_mm, height, "How much wider the left or the right half is along the saddle");
    let differences: Vec<(f64, f64, bool)> = sheet
        .stations
        .iter()
        .flat_map(|s| [(s.at, s.seat.as_ref(), false), (s.at, s.channel.as_ref(), true)])
        .filter_map(|(at, width, channel)| Some((at, difference_mm(width?), channel)))
        .collect();
    let reach = differences.iter().map(|d| d.1.abs()).fold(LEAST_REACH_MM, f64::max) * 1.1;
    let area = [13.0, 7.0, width_mm - 26.0, height - 18.0];
    let foot = 2.0 * reach * FOOT_MM / (area[3] - FOOT_MM);
    let plot = Plot { area, range_mm: [-reach - foot, reach] };
    plot.mm_axis(&mut figure, step(2.0 * reach, 6.0), true, [-reach, reach]);
    plot.station_axis(&mut figure, None);
    let both = differences.iter().any(|d| d.2);
    for (at, mm, channel) in &differences {
        bar(&mut figure, &plot, (*at, *mm), *channel, both);
    }
    figure.line("even", vec![plot.at(0.0, 0.0), plot.at(1.0, 0.0)], TICK);
    let [x, y, w, h] = plot.area;
    figure.text([x + 2.0, y - 1.6], "left half wider, mm", Anchor::Start, SMALL_MM, Tone::Ink);
    figure.text([x + 2.0, y + h - 1.6], "right half wider, mm", Anchor::Start, SMALL_MM, Tone::Ink);
    if both {
        let words = "filled: seat    outlined: channel";
        figure.text([x + w, y - 1.6], words, Anchor::End, SMALL_MM, Tone::Ink);
    }
    figure
}

/// Left half less right half, mm.
fn difference_mm(width: &StationWidth) -> f64 {
    width.left_half - width.right_half
}

fn bar(figure: &mut Figure, plot: &Plot, (at, mm): (f64, f64), channel: bool, both: bool) {
    let off = match (both, channel) {
        (false, _) => 0.0,
        (true, false) => -BAR_MM / 2.0 - 0.2,
        (true, true) => BAR_MM / 2.0 + 0.2,
    };
    let half = if both { BAR_MM / 2.0 } else { BAR_MM };
    let [x, y0] = plot.at(at, 0.0);
    let y = plot.at(at, mm)[1];
    let rect = [x + off - half, y0.min(y), 2.0 * half, (y - y0).abs().max(0.15)];
    if channel {
        figure.rect("channel-bar", rect, Some(Tone::Paper), Some(Stroke::solid(Tone::Channel, 0.3)));
    } else {
        figure.rect("seat-bar", rect, Some(Tone::Seat), None);
    }
}
