//! Where a plan fits the view: all places coarsely, the best of them closely.

use std::collections::BTreeMap;

use crate::numeric::parallel::*;
use nalgebra::Vector2;

use super::lines::{Lines, MOST};
use super::plan::Shape;
use super::plane::CELL_MM;
use crate::numeric::words::View;

/// A plan laid over the view.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    /// The plan.
    pub shape: Shape,
    /// Middle of the midline, cells.
    pub middle: Vector2<f64>,
    /// Direction from front to rear, radians from the columns' direction toward the rows'.
    pub heading: f64,
}

/// What speaks for a pose, each from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Boundaries along the outline, seen on both sides alike.
    pub outline: f64,
    /// A pair of lines along the midline, as a channel has.
    pub channel: f64,
    /// How far the plan is from an ordinary one, as a penalty.
    pub oddness: f64,
}

/// Pairs of points along the outline, and along the channel.
const OUTLINE_PAIRS: usize = 15;
const CHANNEL_PAIRS: usize = 10;
/// Stations over which a channel is looked for: the seat's waist and ends have lines of their own.
const CHANNEL_STATIONS: (f64, f64) = (0.32, 0.76);
/// Half-widths of a channel, mm (common practice, no source: two fingers to four wide, and the rolls beside it).
const CHANNEL_MM: (f64, f64) = (15.0, 45.0);

/// Without a channel this part of the lines along the midline is owed to chance, quilting or a seam; with one, this part is
/// seen at least.
const CHANNEL_RANGE: (f64, f64) = (0.5, 0.85);
/// What a saddle without a channel has for it, so that saddles seen from above and from below compete alike.
const NO_CHANNEL: f64 = 0.5;

impl Fit {
    /// All of it as one number.
    pub fn total(&self) -> f64 {
        let seen = (self.channel - CHANNEL_RANGE.0) / (CHANNEL_RANGE.1 - CHANNEL_RANGE.0);
        let (outline, lines) = (OUTLINE_PAIRS as f64, CHANNEL_PAIRS as f64);
        (outline * self.outline + lines * seen.clamp(NO_CHANNEL, 1.0)) / (outline + lines) - self.oddness
    }
}

/// Plans, directions and places of the coarse search.
const LENGTHS_MM: [f64; 2] = [400.0, 450.0];
const SCALES: [f64; 3] = [0.85, 1.0, 1.15];
const HEADINGS: usize = 60;
const ROWS_APART: usize = 3;
/// Of each plan and heading the best places of so many fields are kept, each so many cells across: 200 mm.
const FIELD: usize = 40;
const FIELDS_KEPT: usize = 8;
/// Places nearer than this and turned by less are one place.
const APART_MM: f64 = 30.0;
const APART_RAD: f64 = 0.14;

/// The best poses of the coarse search, best first, at most `count`: outlines in `outline`, lines widened by what a coarse plan
/// may lie off, and channels in `lines` themselves.
pub fn search(lines: &Lines, outline: &Lines, size: (usize, usize), count: usize) -> Vec<Pose> {
    let channel = lines.widened(0.5 * (CHANNEL_MM.1 - CHANNEL_MM.0) - 5.0);
    let mut shapes = Vec::new();
    for plan in [View::Top, View::Underside] {
        for length_mm in LENGTHS_MM {
            shapes.extend(SCALES.map(|s| Shape { plan, length_mm, front: s, rear: s }));
        }
    }
    let mut found: Vec<(u16, Pose)> = (0..HEADINGS)
        .into_par_iter()
        .flat_map_iter(|h| {
            let heading = 2.0 * std::f64::consts::PI * h as f64 / HEADINGS as f64;
            let channel = &channel;
            shapes.iter().flat_map(move |&shape| best_places(outline, channel, size, shape, heading))
        })
        .collect();
    found.sort_by_key(|f| std::cmp::Reverse(f.0));
    let mut kept: Vec<Pose> = Vec::new();
    for (_, pose) in found {
        if kept.len() == count {
            break;
        }
        if !kept.iter().any(|k| k.is_near(&pose)) {
            kept.push(pose);
        }
    }
    kept
}

/// A place of the outline or channel: map, and cells from the middle.
type Tap = (usize, isize, isize);

fn best_places(
    outline: &Lines,
    channel: &Lines,
    (columns, rows): (usize, usize),
    shape: Shape,
    heading: f64,
) -> Vec<(u16, Pose)> {
    let pose = Pose { shape, middle: Vector2::zeros(), heading };
    let round = |(direction, at): (usize, Vector2<f64>)| -> Tap {
        (direction, at.x.round() as isize, at.y.round() as isize)
    };
    let pairs: Vec<[Tap; 2]> = pose.outline_pairs(OUTLINE_PAIRS).map(|p| p.map(round)).collect();
    let lines: Vec<[Tap; 2]> =
        pose.channel_pairs(0.5 * (CHANNEL_MM.0 + CHANNEL_MM.1)).map(|p| p.map(round)).collect();
    let mut best: BTreeMap<(usize, usize), (u16, Vector2<f64>)> = BTreeMap::new();
    let [mut sums, mut channels] = [vec![0u16; columns], vec![0u16; columns]];
    let no_channel = (NO_CHANNEL * f64::from(MOST) * CHANNEL_PAIRS as f64) as u16;
    for row in (0..rows).step_by(ROWS_APART) {
        sums.fill(0);
        channels.fill(0);
        pairs.iter().for_each(|pair| add_pair(&mut sums, outline, pair, row));
        lines.iter().for_each(|pair| add_pair(&mut channels, channel, pair, row));
        sums.iter_mut().zip(&channels).for_each(|(sum, &c)| *sum += c.max(no_channel));
        for (field, part) in sums.chunks(FIELD).enumerate() {
            let (column, &sum) = part.iter().enumerate().max_by_key(|s| s.1).expect("chunks are not empty");
            let middle = Vector2::new((field * FIELD + column) as f64, row as f64);
            let kept = best.entry((field, row / FIELD)).or_insert((0, middle));
            if sum > kept.0 {
                *kept = (sum, middle);
            }
        }
    }
    let mut best: Vec<_> = best.into_values().collect();
    best.sort_by_key(|b| std::cmp::Reverse(b.0));
    best.truncate(FIELDS_KEPT);
    best.into_iter().map(|(sum, middle)| (sum, Pose { middle, ..pose })).collect()
}

/// Adds the lesser evidence of both places of a pair for every middle in a row.
fn add_pair(sums: &mut [u16], lines: &Lines, pair: &[Tap; 2], row: usize) {
    let seen = pair.map(|(direction, c, r)| lines.row(direction, c, row as isize + r, sums.len()));
    let [Some(a), Some(b)] = seen else { return };
    for ((sum, &a), &b) in sums.iter_mut().zip(a).zip(b) {
        *sum += u16::from(a.min(b));
    }
}

impl Pose {
    /// Whether another pose is of the same saddle seen the same way round.
    pub fn is_near(&self, other: &Self) -> bool {
        let turn = (self.heading - other.heading + std::f64::consts::PI)
            .rem_euclid(2.0 * std::f64::consts::PI)
            - std::f64::consts::PI;
        (self.middle - other.middle).norm() * CELL_MM < APART_MM && turn.abs() < APART_RAD
    }

    /// Unit vectors along the midline and across it, in cells.
    pub fn axes(&self) -> (Vector2<f64>, Vector2<f64>) {
        let (sin, cos) = self.heading.sin_cos();
        (Vector2::new(cos, sin), Vector2::new(-sin, cos))
    }

    /// Front and rear end of the midline, cells.
    pub fn ends(&self) -> [Vector2<f64>; 2] {
        let half = self.axes().0 * (0.5 * self.shape.length_mm / CELL_MM);
        [self.middle - half, self.middle + half]
    }

    /// Direction of the map and cell of every pair of points of the outline.
    fn outline_pairs(&self, count: usize) -> impl Iterator<Item = [(usize, Vector2<f64>); 2]> {
        let (along, across) = self.axes();
        let middle = self.middle;
        self.shape.outline(count).into_iter().map(move |p| {
            [1.0, -1.0].map(|side| {
                let normal = along * p.normal.x + across * (side * p.normal.y);
                let at = middle + (along * p.at_mm.x + across * (side * p.at_mm.y)) / CELL_MM;
                (Lines::direction(normal.y.atan2(normal.x)), at)
            })
        })
    }

    /// The same of a channel of a half-width.
    fn channel_pairs(&self, half_mm: f64) -> impl Iterator<Item = [(usize, Vector2<f64>); 2]> {
        let (along, across) = self.axes();
        let (middle, length_mm) = (self.middle, self.shape.length_mm);
        let direction = Lines::direction(across.y.atan2(across.x));
        (0..CHANNEL_PAIRS).map(move |i| {
            let t = i as f64 / (CHANNEL_PAIRS - 1) as f64;
            let station = CHANNEL_STATIONS.0 + (CHANNEL_STATIONS.1 - CHANNEL_STATIONS.0) * t;
            [1.0, -1.0].map(|side| {
                let at = along * ((station - 0.5) * length_mm) + across * (side * half_mm);
                (direction, middle + at / CELL_MM)
            })
        })
    }

    /// How well the pose fits lines that are widened a little.
    pub fn fit(&self, lines: &Lines) -> Fit {
        let seen = |(direction, at): (usize, Vector2<f64>)| {
            let row = lines.row(direction, at.x.round() as isize, at.y.round() as isize, 1);
            row.map_or(0.0, |r| f64::from(r[0]) / f64::from(MOST))
        };
        let pair = |p: [(usize, Vector2<f64>); 2]| (seen(p[0]) * seen(p[1])).sqrt();
        let count = 2 * OUTLINE_PAIRS;
        let outline = self.outline_pairs(count).map(pair).sum::<f64>() / count as f64;
        let halves = ((CHANNEL_MM.1 - CHANNEL_MM.0) / CELL_MM) as usize;
        let channel = (0..=halves)
            .map(|i| CHANNEL_MM.0 + i as f64 * CELL_MM)
            .map(|half| self.channel_pairs(half).map(pair).sum::<f64>() / CHANNEL_PAIRS as f64)
            .fold(0.0, f64::max);
        Fit { outline, channel, oddness: self.oddness() }
    }

    fn oddness(&self) -> f64 {
        let Shape { length_mm, front, rear, .. } = self.shape;
        let off = |value: f64, mean: f64, u: f64| ((value - mean) / u).powi(2);
        ODDNESS
            * (off(length_mm, USUAL_LENGTH_MM.0, USUAL_LENGTH_MM.1)
                + off(front, 1.0, USUAL_FRONT_U)
                + off(rear, 1.0, USUAL_REAR_U))
    }

    /// The pose nearby that fits best: each of its six numbers in turn, by steps that get smaller.
    pub fn refined(mut self, lines: &Lines) -> (Self, Fit) {
        let mut fit = self.fit(lines);
        for scale in [1.0, 0.5, 0.25, 0.125, 0.0625] {
            while let Some((pose, better)) = self.improved(lines, scale, fit.total()) {
                (self, fit) = (pose, better);
            }
        }
        (self, fit)
    }

    fn improved(&self, lines: &Lines, scale: f64, total: f64) -> Option<(Self, Fit)> {
        let steps: [fn(&mut Self, f64); 6] = [
            |p, s| p.middle.x += 2.0 * s,
            |p, s| p.middle.y += 2.0 * s,
            |p, s| p.heading += 0.07 * s,
            |p, s| p.shape.length_mm += 15.0 * s,
            |p, s| p.shape.front += 0.08 * s,
            |p, s| p.shape.rear += 0.08 * s,
        ];
        let moved = steps.iter().flat_map(|step| {
            [scale, -scale].map(|s| {
                let mut pose = *self;
                step(&mut pose, s);
                (pose, pose.fit(lines))
            })
        });
        let best = moved.max_by(|a, b| a.1.total().total_cmp(&b.1.total()))?;
        (best.1.total() > total + 1e-9).then_some(best)
    }
}

/// Usual length of the seat form and its spread, mm (common practice, no source: seats of 16 to 18 in measured in the trade's
/// way are some 400 to 460 mm long).
pub const USUAL_LENGTH_MM: (f64, f64) = (430.0, 30.0);
/// How far half-widths lie from the expected ones, as a part of them.
const USUAL_FRONT_U: f64 = 0.15;
const USUAL_REAR_U: f64 = 0.12;
/// What a standard deviation's square costs: a plan two of them off in one number must be paid for by one pair in fourteen.
const ODDNESS: f64 = 0.011;
