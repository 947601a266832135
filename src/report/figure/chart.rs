//! Widths along the saddle, with their uncertainty as a band.

use super::key;
use super::plan::apart;
use crate::canvas::{Anchor, Canvas, Colour, MM_PER_INCH, Path, Point, Stroke};
use crate::numeric::words::View;
use crate::report::palette::{
    AXIS, CHANNEL_EDGE, CHANNEL_WASH, HAIRLINE, INK, LABEL, PAPER, SEAT_EDGE, SEAT_WASH, SMALL, TICK,
};
use crate::report::shape::Shape;
use crate::sheet::{Sheet, Station, StationWidth};

/// Width of the charts on paper, mm: that of the text on the narrower of A4 and Letter.
pub const CHART_MM: f64 = 170.0;
/// Width of the charts for a narrow screen, mm.
pub const NARROW_MM: f64 = 96.0;
/// Left and right of the plotting area, mm.
const SIDE_MM: f64 = 13.0;
const TOP_MM: f64 = 9.0;
const BOTTOM_MM: f64 = 11.0;
/// Height of a line of the legend, mm.
const LEGEND_MM: f64 = 4.4;
/// From one line of small words to the next, mm.
const WORDS_APART_MM: f64 = 3.4;
const LIMIT: Stroke = Stroke::solid(INK, 0.4);

/// A range of widths that a rule asks for along a stretch of the midline.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitRange {
    /// First and last station.
    pub stations: [f64; 2],
    /// The least width, mm.
    pub least_mm: Option<f64>,
    /// The largest width, mm.
    pub most_mm: Option<f64>,
}

/// A plotting area: stations to the right, millimetres upward.
#[derive(Debug, Clone, Copy)]
pub struct Plot {
    /// Left, top, width, height on the paper, mm.
    pub area: [f64; 4],
    /// Smallest and largest value, mm.
    pub range_mm: [f64; 2],
}

impl Plot {
    /// A point.
    pub fn at(&self, station: f64, mm: f64) -> Point {
        let [x, y, w, h] = self.area;
        let [least, most] = self.range_mm;
        [x + station * w, y + h * (most - mm) / (most - least)]
    }

    /// Draws vertical grid lines with their stations below, and the axis's name.
    pub fn station_axis(&self, canvas: &mut Canvas, length_mm: Option<f64>) {
        let [left, y, w, h] = self.area;
        for i in 0..=20 {
            let at = f64::from(i) / 20.0;
            let x = left + at * w;
            canvas.line("tick", [[x, y + h], [x, y + h + 1.2]], TICK);
            if i % 5 != 0 {
                continue;
            }
            canvas.line("grid", [[x, y], [x, y + h]], HAIRLINE);
            let (label, anchor, x) = match (i, length_mm) {
                (0, _) => ("front 0".into(), Anchor::Start, x - 9.0),
                (20, Some(mm)) => (format!("1 rear ({mm:.0} mm)"), Anchor::End, x + 12.0),
                (20, None) => ("1 rear".into(), Anchor::Middle, x),
                _ => (format!("{at:.2}"), Anchor::Middle, x),
            };
            canvas.text([x, y + h + 4.6], anchor, label, AXIS);
        }
        canvas.text([left + w / 2.0, y + h + 8.6], Anchor::Middle, "place along the midline", AXIS);
    }

    /// Draws horizontal grid lines with millimetres at the left, every `step_mm` of the part of the range that is in use.
    pub fn mm_axis(&self, canvas: &mut Canvas, step_mm: f64, in_use_mm: [f64; 2]) {
        let [x, _, w, _] = self.area;
        let [least, most] = in_use_mm.map(|mm| mm / step_mm);
        for i in (least - 1e-9).ceil() as i64..=(most + 1e-9).floor() as i64 {
            let mm = i as f64 * step_mm;
            let y = self.at(0.0, mm)[1];
            canvas.line("grid", [[x, y], [x + w, y]], HAIRLINE);
            canvas.text([x - 1.6, y + 0.9], Anchor::End, format!("{:.0}", mm.abs()), AXIS);
        }
    }
}

/// A step of 1, 2 or 5 times a power of ten that gives at most `most` steps.
pub fn step(span: f64, most: f64) -> f64 {
    let rough = span / most;
    let power = 10f64.powf(rough.log10().floor());
    [1.0, 2.0, 5.0, 10.0].map(|m| m * power).into_iter().find(|s| *s >= rough).unwrap_or(rough)
}

/// The chart of one sheet; `limits` are those of a rider's rules.
pub fn widths(sheet: &Sheet, shape: &Shape, limits: &[LimitRange], width_mm: f64) -> Canvas {
    let channel = sheet.stations.iter().any(|s| s.channel.is_some());
    let legend = legend(shape.view, channel, !limits.is_empty(), width_mm);
    let top = TOP_MM + legend.height_mm;
    let height = top + 57.0;
    let label = "Widths along the saddle from front to rear, with their 95 % uncertainty";
    let mut canvas = Canvas::new([width_mm, height], label);
    let area = [SIDE_MM, top, width_mm - 2.0 * SIDE_MM, height - top - BOTTOM_MM];
    let plot = Plot { area, range_mm: range(sheet, limits) };
    plot.mm_axis(&mut canvas, step(plot.range_mm[1], 6.0), plot.range_mm);
    plot.station_axis(&mut canvas, Some(shape.length_mm));
    inches(&mut canvas, &plot);
    for limit in limits {
        draw_limit(&mut canvas, &plot, limit);
    }
    let classes = ["seat-band", "seat-curve"];
    curve(&mut canvas, &plot, &sheet.stations, |s| s.seat.as_ref(), classes, SEAT_WASH, SEAT_EDGE);
    let classes = ["channel-band", "channel-curve"];
    curve(&mut canvas, &plot, &sheet.stations, |s| s.channel.as_ref(), classes, CHANNEL_WASH, CHANNEL_EDGE);
    keys(&mut canvas, &plot, shape);
    canvas.place(&legend, [SIDE_MM, 0.0]);
    canvas
}

fn range(sheet: &Sheet, limits: &[LimitRange]) -> [f64; 2] {
    let widths = sheet.stations.iter().flat_map(|s| [&s.seat, &s.channel]).flatten().map(|w| w.mm + w.u95);
    let limits = limits.iter().flat_map(|l| [l.least_mm, l.most_mm]).flatten();
    let named = sheet.widths.iter().map(|w| w.mm + w.u95);
    let most = widths.chain(limits).chain(named).fold(60.0, f64::max) * 1.06;
    let step_mm = step(most, 6.0);
    [0.0, (most / step_mm).ceil() * step_mm]
}

fn inches(canvas: &mut Canvas, plot: &Plot) {
    let [x, y, w, _] = plot.area;
    let right = x + w;
    for inch in 0..=(plot.range_mm[1] / MM_PER_INCH).floor() as u32 {
        let y = plot.at(0.0, f64::from(inch) * MM_PER_INCH)[1];
        canvas.line("tick", [[right, y], [right + 1.2, y]], TICK);
        if inch % 2 == 0 {
            canvas.text([right + 2.0, y + 0.9], Anchor::Start, inch.to_string(), AXIS);
        }
    }
    canvas.text([x - 1.6, y - 2.6], Anchor::End, "mm", AXIS);
    canvas.text([right + 2.0, y - 2.6], Anchor::Start, "in", AXIS);
}

/// A part's curve with its band, broken where stations were not traced.
fn curve(
    canvas: &mut Canvas,
    plot: &Plot,
    stations: &[Station],
    of: impl Fn(&Station) -> Option<&StationWidth>,
    [band_class, line_class]: [&'static str; 2],
    wash: Colour,
    stroke: Stroke,
) {
    for run in stations.split(|s| of(s).is_none()) {
        let run: Vec<_> = run.iter().filter_map(|s| Some((s.at, of(s)?))).collect();
        let side = |sign: f64| run.iter().map(move |(at, w)| plot.at(*at, w.mm + sign * w.u95));
        if run.len() > 1 {
            canvas.fill(band_class, Path::polygon(side(1.0).chain(side(-1.0).rev())), wash);
        }
        for at in side(0.0) {
            canvas.fill("dot", Path::circle(at, 0.55), stroke.colour);
        }
        canvas.line(line_class, side(0.0), stroke);
    }
}

/// The named widths' letters above the curve, joined to it.
fn keys(canvas: &mut Canvas, plot: &Plot, shape: &Shape) {
    let wanted: Vec<f64> = shape.named.iter().map(|w| plot.at(w.at, 0.0)[0]).collect();
    for (width, x) in shape.named.iter().zip(apart(&wanted, 4.4)) {
        let above = plot.at(width.at, width.mm + width.u95)[1] - 5.2;
        canvas.line("leader", [[x, above], plot.at(width.at, width.mm)], Stroke::solid(INK, 0.2));
        key(canvas, [x, above], &width.key);
    }
}

/// A rule's limits: lines with short strokes on the side that is out of bounds.
fn draw_limit(canvas: &mut Canvas, plot: &Plot, limit: &LimitRange) {
    let [from, to] = limit.stations;
    // The words of two limits that lie near one another are drawn apart.
    let between =
        limit.least_mm.zip(limit.most_mm).map(|(least, most)| plot.at(to, least)[1] - plot.at(to, most)[1]);
    let aside = between.map_or(0.0, |mm| (WORDS_APART_MM - mm).max(0.0) / 2.0);
    for (mm, outward, words) in [(limit.least_mm, 1.0, "at least"), (limit.most_mm, -1.0, "at most")] {
        let Some(mm) = mm else { continue };
        let (a, b) = (plot.at(from, mm), plot.at(to, mm));
        canvas.line("limit", [a, b], LIMIT);
        let count = ((b[0] - a[0]) / 1.8).floor().max(1.0) as u32;
        for i in 0..=count {
            let x = a[0] + (b[0] - a[0]) * f64::from(i) / f64::from(count);
            let ends = [[x, a[1]], [x - 1.0, a[1] + outward * 1.4]];
            canvas.line("limit-hatch", ends, Stroke::solid(INK, 0.18));
        }
        let tenths = format!("{mm:.1}");
        let words = format!("{words} {} mm", tenths.strip_suffix(".0").unwrap_or(&tenths));
        limit_words(canvas, plot, &words, [a[0], b[0]], b[1] + 0.8 + outward * aside);
    }
}

/// A limit's words behind its end, where neither the curve nor a letter is, or before its beginning where they do not fit.
fn limit_words(canvas: &mut Canvas, plot: &Plot, words: &str, [from, to]: [f64; 2], y: f64) {
    let wide = SMALL.width_mm(words);
    let fits = to + 1.4 + wide < plot.area[0] + plot.area[2];
    let left = if fits { to + 1.4 } else { from - 2.4 - wide };
    canvas.fill("ground", Path::rect([left - 0.4, y - 2.2, wide + 0.8, 2.9]), PAPER);
    canvas.text([left, y], Anchor::Start, words, SMALL);
}

/// What the chart's lines are, beside one another as far as they fit. Its height is what it adds to a chart with one line.
fn legend(view: View, channel: bool, limits: bool, width_mm: f64) -> Canvas {
    let outer = match view {
        View::Top => "seat, with its 95 % uncertainty",
        View::Underside => "panels, outside, with their 95 % uncertainty",
    };
    let mut entries = vec![(SEAT_EDGE, Some(SEAT_WASH), outer)];
    if channel {
        entries.push((CHANNEL_EDGE, Some(CHANNEL_WASH), "channel"));
    }
    if limits {
        entries.push((LIMIT, None, "limit, hatched outside"));
    }
    let mut legend = Canvas::new([width_mm - SIDE_MM, 0.0], "");
    let mut x = 0.0;
    for (stroke, wash, words) in entries {
        let wide = 9.4 + LABEL.width_mm(words);
        if x > 0.0 && x + wide > legend.width_mm {
            (x, legend.height_mm) = (0.0, legend.height_mm + LEGEND_MM);
        }
        let y = legend.height_mm;
        if let Some(wash) = wash {
            legend.fill("swatch", Path::rect([x, y + 1.6, 8.0, 2.6]), wash);
        }
        legend.line("swatch", [[x, y + 2.9], [x + 8.0, y + 2.9]], stroke);
        legend.text([x + 9.4, y + 3.9], Anchor::Start, words, LABEL);
        x += wide + 4.0;
    }
    legend
}
