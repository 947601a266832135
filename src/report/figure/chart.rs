//! Widths along the saddle, with their uncertainty as a band.

use super::plan::apart;
use super::{Anchor, CHANNEL, Figure, HAIR, LETTERS_MM, SEAT, SMALL_MM, Stroke, TICK, Tone};
use crate::report::draw::font;
use crate::report::shape::Shape;
use crate::report::units::MM_PER_INCH;
use crate::sheet::{Sheet, Station, StationWidth};

/// Width of the charts on paper, mm: the text's on the narrower of A4 and Letter.
pub const CHART_MM: f64 = 170.0;
/// Width of the charts for a narrow screen, mm.
pub const NARROW_MM: f64 = 96.0;
/// Room left and right of the plotting area, mm.
const SIDES_MM: [f64; 2] = [13.0, 13.0];
const TOP_MM: f64 = 9.0;
const BOTTOM_MM: f64 = 11.0;

/// A range of widths that a rule asks for along a stretch of the midline.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// First and last station.
    pub stations: [f64; 2],
    /// The narrowest width, mm; none without a lower limit.
    pub least_mm: Option<f64>,
    /// The widest width, mm; none without an upper limit.
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
    pub fn at(&self, station: f64, mm: f64) -> [f64; 2] {
        let [x, y, w, h] = self.area;
        let [least, most] = self.range_mm;
        [x + station * w, y + h * (most - mm) / (most - least)]
    }

    /// Vertical hairs with their stations below, and what the axis is.
    pub fn station_axis(&self, figure: &mut Figure, length_mm: Option<f64>) {
        let [x, y, w, h] = self.area;
        for i in 0..=20 {
            let at = f64::from(i) / 20.0;
            let x = x + at * w;
            if i % 5 == 0 {
                figure.line("grid", vec![[x, y], [x, y + h]], HAIR);
                let label = match (i, length_mm) {
                    (0, _) => "front 0".into(),
                    (20, Some(mm)) => format!("1 rear ({mm:.0} mm)"),
                    (20, None) => "1 rear".into(),
                    _ => format!("{at:.2}"),
                };
                let (anchor, x) = match i {
                    0 => (Anchor::Start, x - 9.0),
                    20 if length_mm.is_some() => (Anchor::End, self.area[0] + self.area[2] + 12.0),
                    _ => (Anchor::Middle, x),
                };
                figure.text([x, y + h + 4.6], label, anchor, SMALL_MM, Tone::Soft);
            }
            figure.line("tick", vec![[x, y + h], [x, y + h + 1.2]], TICK);
        }
        let at = [self.area[0] + self.area[2] / 2.0, y + h + 8.6];
        figure.text(at, "station along the midline", Anchor::Middle, SMALL_MM, Tone::Soft);
    }

    /// Horizontal hairs with millimetres at the left, every `step_mm` of the part of the range that is in use.
    pub fn mm_axis(&self, figure: &mut Figure, step_mm: f64, signed: bool, in_use_mm: [f64; 2]) {
        let [x, _, w, _] = self.area;
        let [least, most] = in_use_mm.map(|mm| mm / step_mm);
        for i in (least - 1e-9).ceil() as i64..=(most + 1e-9).floor() as i64 {
            let mm = i as f64 * step_mm;
            let y = self.at(0.0, mm)[1];
            figure.line("grid", vec![[x, y], [x + w, y]], HAIR);
            let label = if signed { format!("{:.0}", mm.abs()) } else { format!("{mm:.0}") };
            figure.text([x - 1.6, y + 0.9], label, Anchor::End, SMALL_MM, Tone::Soft);
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
pub fn widths(sheet: &Sheet, shape: &Shape, limits: &[Limit], width_mm: f64) -> Figure {
    let channel = sheet.stations.iter().any(|s| s.channel.is_some());
    let entries = entries(channel, !limits.is_empty());
    let places = legend_places(&entries, width_mm);
    let top = TOP_MM + places.last().map_or(0.0, |p| p[1]);
    let height = top + 57.0;
    let label = "Widths along the saddle from front to rear, with their 95 % uncertainty";
    let mut figure = Figure::new(width_mm, height, label);
    let plot = Plot {
        area: [SIDES_MM[0], top, width_mm - SIDES_MM[0] - SIDES_MM[1], height - top - BOTTOM_MM],
        range_mm: range(sheet, limits),
    };
    let step_mm = step(plot.range_mm[1], 6.0);
    plot.mm_axis(&mut figure, step_mm, false, plot.range_mm);
    plot.station_axis(&mut figure, Some(shape.length_mm));
    inches(&mut figure, &plot);
    for limit in limits {
        draw_limit(&mut figure, &plot, limit);
    }
    curve(&mut figure, &plot, &sheet.stations, |s| s.seat.as_ref(), Look::SEAT);
    curve(&mut figure, &plot, &sheet.stations, |s| s.channel.as_ref(), Look::CHANNEL);
    keys(&mut figure, &plot, shape);
    legend(&mut figure, &entries, &places);
    figure
}

fn range(sheet: &Sheet, limits: &[Limit]) -> [f64; 2] {
    let widths = sheet.stations.iter().flat_map(|s| [&s.seat, &s.channel]).flatten().map(|w| w.mm + w.u95);
    let limits = limits.iter().flat_map(|l| [l.least_mm, l.most_mm]).flatten();
    let named = sheet.widths.iter().map(|w| w.mm + w.u95);
    let most = widths.chain(limits).chain(named).fold(60.0, f64::max) * 1.06;
    let step_mm = step(most, 6.0);
    [0.0, (most / step_mm).ceil() * step_mm]
}

fn inches(figure: &mut Figure, plot: &Plot) {
    let [x, y, w, _] = plot.area;
    let right = x + w;
    for inch in 0..=(plot.range_mm[1] / MM_PER_INCH).floor() as u32 {
        let y = plot.at(0.0, f64::from(inch) * MM_PER_INCH)[1];
        figure.line("tick", vec![[right, y], [right + 1.2, y]], TICK);
        if inch % 2 == 0 {
            figure.text([right + 2.0, y + 0.9], inch.to_string(), Anchor::Start, SMALL_MM, Tone::Soft);
        }
    }
    figure.text([x - 1.6, y - 2.6], "mm", Anchor::End, SMALL_MM, Tone::Soft);
    figure.text([right + 2.0, y - 2.6], "in", Anchor::Start, SMALL_MM, Tone::Soft);
}

/// How a part's curve is drawn.
#[derive(Debug, Clone, Copy)]
struct Look {
    band: &'static str,
    line: &'static str,
    wash: Tone,
    stroke: Stroke,
}

impl Look {
    const SEAT: Self = Self { band: "seat-band", line: "seat-curve", wash: Tone::SeatWash, stroke: SEAT };
    const CHANNEL: Self =
        Self { band: "channel-band", line: "channel-curve", wash: Tone::ChannelWash, stroke: CHANNEL };
}

/// A curve with its band, parted where stations were not traced.
fn curve(
    figure: &mut Figure,
    plot: &Plot,
    stations: &[Station],
    of: impl Fn(&Station) -> Option<&StationWidth>,
    look: Look,
) {
    for run in stations.split(|s| of(s).is_none()) {
        let run: Vec<_> = run.iter().filter_map(|s| Some((s.at, of(s)?))).collect();
        let side = |sign: f64| run.iter().map(move |(at, w)| plot.at(*at, w.mm + sign * w.u95));
        let band: Vec<_> = side(1.0).chain(side(-1.0).rev()).collect();
        figure.area(look.band, band, Some(look.wash), None);
        let line: Vec<_> = run.iter().map(|(at, w)| plot.at(*at, w.mm)).collect();
        for [x, y] in &line {
            dot(figure, [*x, *y], look.stroke.tone);
        }
        figure.line(look.line, line, look.stroke);
    }
}

fn dot(figure: &mut Figure, [x, y]: [f64; 2], tone: Tone) {
    let r = 0.55;
    let corners = (0..8).map(|i| f64::from(i) * std::f64::consts::FRAC_PI_4);
    figure.area("dot", corners.map(|a| [x + r * a.cos(), y + r * a.sin()]).collect(), Some(tone), None);
}

/// The named widths' letters above the curve, joined to it.
fn keys(figure: &mut Figure, plot: &Plot, shape: &Shape) {
    let wanted: Vec<f64> = shape.named.iter().map(|w| plot.at(w.at, 0.0)[0]).collect();
    for (width, x) in shape.named.iter().zip(apart(&wanted, 4.4)) {
        let [x0, y] = plot.at(width.at, width.mm);
        let above = plot.at(width.at, width.mm + width.u95)[1] - 5.2;
        figure.line("leader", vec![[x, above], [x0, y]], Stroke::solid(Tone::Ink, 0.2));
        figure.key([x, above], &width.key);
    }
}

/// From one line of small words to the next, mm.
const WORDS_APART_MM: f64 = 3.4;

/// A rule's limits: a pale field between them with dashed lines, hatched outside by short strokes.
fn draw_limit(figure: &mut Figure, plot: &Plot, limit: &Limit) {
    let [from, to] = limit.stations;
    // The words of two limits that lie near one another are drawn apart.
    let between =
        limit.least_mm.zip(limit.most_mm).map(|(least, most)| plot.at(to, least)[1] - plot.at(to, most)[1]);
    let aside = between.map_or(0.0, |mm| (WORDS_APART_MM - mm).max(0.0) / 2.0);
    for (mm, outward) in [(limit.least_mm, 1.0), (limit.most_mm, -1.0)] {
        let Some(mm) = mm else { continue };
        let (a, b) = (plot.at(from, mm), plot.at(to, mm));
        figure.line("limit", vec![a, b], Stroke::solid(Tone::Ink, 0.4));
        let count = ((b[0] - a[0]) / 1.8).floor().max(1.0) as u32;
        for i in 0..=count {
            let x = a[0] + (b[0] - a[0]) * f64::from(i) / f64::from(count);
            let end = [x - 1.0, a[1] + outward * 1.4];
            figure.line("limit-hatch", vec![[x, a[1]], end], Stroke::solid(Tone::Ink, 0.18));
        }
        let words = if outward > 0.0 { "at least" } else { "at most" };
        let y = b[1] + 0.8 + outward * aside;
        limit_words(figure, plot, &format!("{words} {} mm", plain_mm(mm)), [a[0], b[0]], y);
    }
}

/// A length with the tenths that it has.
fn plain_mm(mm: f64) -> String {
    let tenths = format!("{mm:.1}");
    tenths.strip_suffix(".0").map_or(tenths.clone(), str::to_owned)
}

/// A limit's words beyond its end, where neither the curve nor a letter is, or before its beginning where there is no room:
/// which width it is of tells its place. No grid line runs through them.
fn limit_words(figure: &mut Figure, plot: &Plot, words: &str, [from, to]: [f64; 2], y: f64) {
    let wide = font::regular_width(words, SMALL_MM);
    let right = plot.area[0] + plot.area[2];
    let beyond = to + 1.4 + WIDER * wide < right;
    let (anchor, x, left) = match beyond {
        true => (Anchor::Start, to + 1.4, to + 1.4),
        false => (Anchor::End, from - 2.4, from - 2.4 - wide),
    };
    figure.rect("ground", [left - 0.4, y - 2.2, wide + 0.8, 2.9], Some(Tone::Paper), None);
    figure.text([x, y], words, anchor, SMALL_MM, Tone::Ink);
}

/// What the chart's lines are.
fn entries(channel: bool, limits: bool) -> Vec<(Stroke, Option<Tone>, &'static str)> {
    let mut entries = vec![(SEAT, Some(Tone::SeatWash), "seat, with its 95 % uncertainty")];
    if channel {
        entries.push((CHANNEL, Some(Tone::ChannelWash), "channel"));
    }
    if limits {
        entries.push((Stroke::solid(Tone::Ink, 0.4), None, "limit, hatched outside"));
    }
    entries
}

/// Where each entry of the legend begins, mm: beside one another as far as they fit, with room for a wider typeface than
/// the one that is built in.
fn legend_places(entries: &[(Stroke, Option<Tone>, &'static str)], width_mm: f64) -> Vec<[f64; 2]> {
    let [mut x, mut y] = [SIDES_MM[0], 0.0];
    let mut places = Vec::new();
    for (_, _, word) in entries {
        let wide = 9.4 + WIDER * font::regular_width(word, LETTERS_MM);
        if x > SIDES_MM[0] && x + wide > width_mm {
            (x, y) = (SIDES_MM[0], y + LEGEND_MM);
        }
        places.push([x, y]);
        x += wide + 4.0;
    }
    places
}

/// Height of a line of the legend, mm.
const LEGEND_MM: f64 = 4.4;
/// How much wider than the built-in typeface another that a reader's machine puts in its place may run.
const WIDER: f64 = 1.18;

fn legend(figure: &mut Figure, entries: &[(Stroke, Option<Tone>, &'static str)], places: &[[f64; 2]]) {
    for ((stroke, wash, word), [x, y]) in entries.iter().zip(places) {
        if wash.is_some() {
            figure.rect("swatch", [*x, y + 1.6, 8.0, 2.6], *wash, None);
        }
        figure.line("swatch", vec![[*x, y + 2.9], [x + 8.0, y + 2.9]], *stroke);
        figure.text([x + 9.4, y + 3.9], *word, Anchor::Start, LETTERS_MM, Tone::Ink);
    }
}
