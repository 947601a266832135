//! Where the contents of a sheet lie in a photo, for drawing them over it.

use std::ops::Range;

use super::{EdgePair, EdgePairPx, Part, Sheet, Side};
use crate::numeric::frame::PhotoPoint;

/// A reference card in the photo.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CardOutline {
    /// The corners of its pattern, in turn; more points where the lens bends its sides.
    pub outline: Vec<PhotoPoint>,
    /// The corners of each tag used, in turn.
    pub tags: Vec<Vec<PhotoPoint>>,
}

/// A set station in the photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationLine {
    /// The station, without a unit.
    pub at: f64,
    /// Its two ends, left and right.
    pub ends: [PhotoPoint; 2],
}

/// A named width in the photo. The figures are the sheet's.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedLine {
    /// Its name, such as `seat.widest`.
    pub name: String,
    /// Where it touches the left and the right edge.
    pub ends: [PhotoPoint; 2],
    /// The width, in millimetres.
    pub mm: f64,
    /// Its expanded uncertainty, in millimetres.
    pub u95: f64,
}

/// A stretch of a traced edge without a gap, front to rear.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeLine {
    /// Which pair of edges.
    pub part: Part,
    /// Which of the two.
    pub side: Side,
    /// Its points.
    pub points: Vec<PhotoPoint>,
}

/// A stretch of an edge with a rival boundary.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DoubtLine {
    /// The traced edge along the stretch.
    pub traced: Vec<PhotoPoint>,
    /// The rival boundary.
    pub rival: Vec<PhotoPoint>,
}

/// The contents of a sheet in pixels of one of its photos.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OverlayGeometry {
    /// The cards.
    pub cards: Vec<CardOutline>,
    /// Front and rear end of the midline.
    pub midline: Option<[PhotoPoint; 2]>,
    /// The set stations.
    pub stations: Vec<StationLine>,
    /// The named widths.
    pub named: Vec<NamedLine>,
    /// The traced edges, one entry per stretch without a gap.
    pub edges: Vec<EdgeLine>,
    /// The doubtful stretches, and those of rival lines.
    pub doubts: Vec<DoubtLine>,
    /// Points given by hand through which the edges run.
    pub hints: Vec<(Part, PhotoPoint)>,
    /// Index of that photo in the sheet.
    pub photo: usize,
}

/// A step along an edge of this many times the median step is a gap, which is not drawn.
const GAP: f64 = 2.5;

/// The traced edges of a sheet, split at gaps. Empty when the sheet keeps no pixels.
pub fn edge_lines(sheet: &Sheet) -> Vec<EdgeLine> {
    let (Some(mm), Some(px)) = (&sheet.edges, &sheet.edges_px) else { return Vec::new() };
    let mut lines = Vec::new();
    for (part, mm, px) in [(Part::Seat, &mm.seat, &px.seat), (Part::Channel, &mm.channel, &px.channel)] {
        if let (Some(EdgePair { left, right }), Some(EdgePairPx { left: left_px, right: right_px })) =
            (mm, px)
        {
            split(part, Side::Left, left, left_px, &mut lines);
            split(part, Side::Right, right, right_px, &mut lines);
        }
    }
    lines
}

fn split(part: Part, side: Side, rows: &[[f64; 3]], px: &[[f64; 2]], lines: &mut Vec<EdgeLine>) {
    let stretches = stretches(rows).into_iter().filter_map(|r| px.get(r.start..r.end.min(px.len())));
    lines.extend(stretches.filter(|stretch| stretch.len() > 1).map(|stretch| {
        let points = stretch.iter().map(|p| PhotoPoint::new(p[0], p[1])).collect();
        EdgeLine { part, side, points }
    }));
}

/// The stretches without a gap of an edge's rows, front to rear.
pub fn stretches(rows: &[[f64; 3]]) -> Vec<Range<usize>> {
    let mut steps: Vec<f64> = rows.windows(2).map(|w| w[1][0] - w[0][0]).collect();
    steps.sort_by(f64::total_cmp);
    let median = steps.get(steps.len() / 2).copied().unwrap_or(f64::INFINITY);
    let gaps = rows.windows(2).enumerate().filter(|(_, w)| w[1][0] - w[0][0] > GAP * median);
    let starts: Vec<usize> = gaps.map(|(i, _)| i + 1).collect();
    let ends = starts.iter().copied().chain([rows.len()]);
    [0].into_iter().chain(starts.iter().copied()).zip(ends).map(|(a, b)| a..b).collect()
}
