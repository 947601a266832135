//! Lines that may be the edge instead of the traced ones, and the widths between them.

use super::{MeasuredWidth, Subject, Widths, measure_widths};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{NamedWidth, Part, SIDES, Side};
use crate::outline::Outline;
use crate::outline::edge::{EdgePoint, LEAST_RIVAL, Rival};

/// Points with a rival on the same side of them belong to one stretch with up to this many others between them, about 20 mm.
const POINTS_BETWEEN: usize = 10;
/// Fewer points are no stretch.
const LEAST_POINTS: usize = 3;
/// Stretches of either side follow one body where they lie this much alike beside the traced edges, mm.
const ALIKE_MM: f64 = 4.0;

/// A stretch of an edge along which another line competes with the traced one.
#[derive(Debug, Clone)]
pub struct Stretch {
    /// Which pair of edges.
    pub part: Part,
    /// Which of the two.
    pub side: Side,
    points: Vec<Doubted>,
}

/// A traced point with its rival.
#[derive(Debug, Clone, Copy)]
struct Doubted {
    row: usize,
    station: f64,
    point: EdgePoint,
    rival: Rival,
}

impl Stretch {
    /// First and last station.
    pub fn stations(&self) -> (f64, f64) {
        (self.points[0].station.clamp(0.0, 1.0), self.points[self.points.len() - 1].station.clamp(0.0, 1.0))
    }

    /// Mean distance of the competing line outwards from the traced one, mm.
    pub fn apart_mm(&self) -> f64 {
        self.mean(|p| p.rival.apart_mm)
    }

    /// Mean probability of the competing line.
    pub fn probability(&self) -> f64 {
        self.mean(|p| p.rival.probability)
    }

    /// The traced line in the photo.
    pub fn traced(&self) -> Vec<PhotoPoint> {
        self.points.iter().map(|p| p.point.pixel).collect()
    }

    /// The competing line in the photo.
    pub fn rival(&self) -> Vec<PhotoPoint> {
        self.points.iter().map(|p| p.rival.pixel).collect()
    }

    fn mean(&self, value: impl Fn(&Doubted) -> f64) -> f64 {
        self.points.iter().map(value).sum::<f64>() / self.points.len() as f64
    }

    /// Whether a stretch of the other side may follow the same body.
    fn is_like(&self, other: &Self) -> bool {
        let ((a, b), (c, d)) = (self.stations(), other.stations());
        let apart_mm = (self.apart_mm(), other.apart_mm());
        self.part == other.part
            && self.side != other.side
            && a.max(c) < b.min(d)
            && apart_mm.0 * apart_mm.1 > 0.0
            && (apart_mm.0 - apart_mm.1).abs() < ALIKE_MM
    }
}

/// The stretches along which a competing line has at least a given probability.
pub fn stretches(outline: &Outline, widths: &Widths, least_probability: f64) -> Vec<Stretch> {
    let seat = Some((&widths.seat, &outline.seat));
    let channel = widths.channel.as_ref().zip(outline.channel.as_ref());
    let mut stretches: Vec<Stretch> = Vec::new();
    for (part, pairs) in [(Part::Seat, seat), (Part::Channel, channel)] {
        let Some((located, edges)) = pairs else { continue };
        for (i, side) in SIDES.into_iter().enumerate() {
            for way in [0, 1] {
                let mut last = None;
                for (row, (located, point)) in located[i].iter().zip(&edges[i].points).enumerate() {
                    let (Some(located), Some(point)) = (located, point) else { continue };
                    let likely = |rival: &Rival| rival.probability >= least_probability;
                    let Some(rival) = point.rivals[way].filter(likely) else { continue };
                    if last.is_none_or(|last| row > last + POINTS_BETWEEN) {
                        stretches.push(Stretch { part, side, points: Vec::new() });
                    }
                    last = Some(row);
                    let doubted = Doubted { row, station: located.station, point: *point, rival };
                    stretches.last_mut().into_iter().for_each(|s| s.points.push(doubted));
                }
            }
        }
    }
    stretches.retain(|s| s.points.len() >= LEAST_POINTS);
    stretches
}

/// A line that may be the edge instead.
#[derive(Debug, Clone)]
pub struct RivalLine {
    /// One stretch, or one of either side where both may follow another body.
    pub stretches: Vec<Stretch>,
    /// Every named width that the line would change by more than that width's expanded uncertainty.
    pub widths: Vec<(NamedWidth, MeasuredWidth)>,
}

/// The lines that would change a named width, each side by itself and both together, the most probable first; of lines that
/// give the same widths only that one.
pub fn rival_lines(subject: &Subject, widths: &Widths) -> Vec<RivalLine> {
    let stretches = stretches(subject.outline, widths, LEAST_RIVAL);
    let alone = stretches.iter().map(|s| vec![s.clone()]);
    let left = stretches.iter().filter(|s| s.side == Side::Left);
    let both =
        left.flat_map(|l| stretches.iter().filter(|r| l.is_like(r)).map(|r| vec![l.clone(), r.clone()]));
    let line = |stretches: Vec<Stretch>| {
        let outline = along(subject.outline, &stretches);
        let other = measure_widths(&Subject { outline: &outline, ..*subject })?;
        let changed = |(name, width): &(NamedWidth, MeasuredWidth)| {
            let own = widths.named.iter().find(|(own, _)| own == name);
            own.is_some_and(|(_, own)| (width.mm - own.mm).abs() > own.budget.u95())
        };
        Some(RivalLine { stretches, widths: other.named.into_iter().filter(changed).collect() })
    };
    let mut lines: Vec<RivalLine> = alone.chain(both).filter_map(line).collect();
    lines.sort_by(|a, b| b.probability().total_cmp(&a.probability()));
    let mut kept: Vec<RivalLine> = Vec::new();
    for line in lines {
        let known = |(name, width): &(NamedWidth, MeasuredWidth)| {
            let same = |(other, known): &(NamedWidth, MeasuredWidth)| {
                other == name && (width.mm - known.mm).abs() <= width.budget.u95()
            };
            kept.iter().flat_map(|k| &k.widths).any(same)
        };
        if !line.widths.iter().all(known) {
            kept.push(line);
        }
    }
    kept
}

impl RivalLine {
    /// Probability that it is the edge; of lines on both sides, the smaller.
    pub fn probability(&self) -> f64 {
        self.stretches.iter().map(Stretch::probability).fold(1.0, f64::min)
    }
}

/// The outline with other lines in place of the traced stretches.
fn along(outline: &Outline, stretches: &[Stretch]) -> Outline {
    let mut other = outline.clone();
    for stretch in stretches {
        let pair = if stretch.part == Part::Seat { Some(&mut other.seat) } else { other.channel.as_mut() };
        let Some(pair) = pair else { continue };
        let points = &mut pair[usize::from(stretch.side == Side::Right)].points;
        points[stretch.points[0].row..=stretch.points[stretch.points.len() - 1].row].fill(None);
        for Doubted { row, point, rival, .. } in &stretch.points {
            points[*row] = Some(EdgePoint {
                pixel: rival.pixel,
                confidence: 1.0,
                doubt_mm: 0.0,
                rivals: [None; 2],
                ..*point
            });
        }
    }
    other
}
