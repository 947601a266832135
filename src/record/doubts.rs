//! Stretches of edges with a rival boundary.

use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Part, SIDES, Side};
use crate::outline::edge::{EdgePoint, Rival};
use crate::pipeline::Measured;
use crate::sheet;
use crate::sheet::geometry::DoubtLine;

/// Below this probability a traced point is doubtful.
const DOUBTFUL: f64 = 0.8;
/// Doubtful points whose rivals lie on one side belong to one stretch with up to this many others between them, about 20 mm.
const POINTS_BETWEEN: usize = 10;
/// Fewer points are no stretch.
const LEAST_POINTS: usize = 3;

/// A stretch of an edge along which another boundary competes.
struct Stretch {
    part: Part,
    side: Side,
    points: Vec<(f64, EdgePoint, Rival)>,
}

/// The doubtful stretches as the sheet has them.
pub fn entries(measured: &Measured) -> Vec<sheet::Doubt> {
    stretches(measured).iter().map(Stretch::entry).collect()
}

/// The doubtful stretches in the photo.
pub fn lines(measured: &Measured) -> Vec<DoubtLine> {
    stretches(measured).iter().map(Stretch::line).collect()
}

fn stretches(measured: &Measured) -> Vec<Stretch> {
    let outline = &measured.traced.outline;
    let seat = Some((&measured.widths.seat, &outline.seat));
    let channel = measured.widths.channel.as_ref().zip(outline.channel.as_ref());
    let mut stretches = Vec::new();
    for (part, pairs) in [(Part::Seat, seat), (Part::Channel, channel)] {
        let Some((located, edges)) = pairs else { continue };
        for (i, side) in SIDES.into_iter().enumerate() {
            let mut last = None;
            for (at, (located, point)) in located[i].iter().zip(&edges[i].points).enumerate() {
                let (Some(located), Some(point)) = (located, point) else { continue };
                let Some(rival) = point.rival.filter(|_| point.confidence < DOUBTFUL) else { continue };
                let outside = rival.apart_mm > 0.0;
                if last.is_none_or(|(last, side)| at > last + POINTS_BETWEEN || side != outside) {
                    stretches.push(Stretch { part, side, points: Vec::new() });
                }
                last = Some((at, outside));
                if let Some(stretch) = stretches.last_mut() {
                    stretch.points.push((located.station, *point, rival));
                }
            }
        }
    }
    stretches.retain(|s| s.points.len() >= LEAST_POINTS);
    stretches
}

impl Stretch {
    fn entry(&self) -> sheet::Doubt {
        let points = &self.points;
        let mean = |value: &dyn Fn(&(f64, EdgePoint, Rival)) -> f64| {
            points.iter().map(value).sum::<f64>() / points.len() as f64
        };
        sheet::Doubt {
            part: self.part,
            side: self.side,
            from_at: points[0].0.clamp(0.0, 1.0),
            to_at: points[points.len() - 1].0.clamp(0.0, 1.0),
            apart_mm: mean(&|p| p.2.apart_mm),
            probability: mean(&|p| 1.0 - p.1.confidence),
        }
    }

    fn line(&self) -> DoubtLine {
        let pixels =
            |pixel: &dyn Fn(&(f64, EdgePoint, Rival)) -> PhotoPoint| self.points.iter().map(pixel).collect();
        DoubtLine { traced: pixels(&|p| p.1.pixel), rival: pixels(&|p| p.2.pixel) }
    }
}
