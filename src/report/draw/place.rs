//! Where labels go: beside what they name, inside the picture, never over one another.

use super::Rect;
use crate::numeric::frame::PhotoPoint;

/// A label looking for its place.
#[derive(Debug, Clone)]
pub struct Wish {
    /// Width and height of its plate, in photo pixels.
    pub size: (f64, f64),
    /// What it may point at, each with the direction (of any length) in which it should rather lie.
    pub anchors: Vec<(PhotoPoint, (f64, f64))>,
    /// Distances from the anchor to be tried, in units.
    pub distances: &'static [f64],
}

/// A place found for a label.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The plate.
    pub plate: Rect,
    /// From what the label names to the plate.
    pub leader: [PhotoPoint; 2],
}

/// An area that a plate should rather not hide.
#[derive(Debug, Clone, PartialEq)]
pub struct Area {
    polygon: Vec<PhotoPoint>,
    bounds: Rect,
}

/// What is in the picture already. All costs are in units of leader length.
#[derive(Debug, Clone)]
pub struct Ground {
    /// The part of the picture that labels must keep to.
    pub bounds: Rect,
    /// The unit, in photo pixels.
    pub unit_px: f64,
    /// Plates placed so far.
    pub plates: Vec<Rect>,
    /// Leaders placed so far.
    pub leaders: Vec<[PhotoPoint; 2]>,
    /// Points of lines that a plate should not hide.
    pub points: Vec<PhotoPoint>,
    /// Areas that a plate should rather not hide.
    pub areas: Vec<Area>,
}

/// Directions tried, in degrees away from the wished one.
const TURNS: [f64; 13] =
    [0.0, 15.0, -15.0, 30.0, -30.0, 45.0, -45.0, 60.0, -60.0, 80.0, -80.0, 100.0, -100.0];
/// Free room around a plate, in units.
const MARGIN: f64 = 4.0;
/// Shares of its width by which a plate may be moved sideways from above or below its anchor.
const SLIDES: [f64; 3] = [0.0, 0.44, -0.44];
/// Cost of a plate moved sideways.
const SLIDE: f64 = 3.0;
/// A leader that runs nearer than this to a point of a line hides it, in units.
const BESIDE: f64 = 4.0;
/// Cost of each point hidden by a leader; the first few units, where it leaves its own line, are free.
const HIDDEN_BY_LEADER: f64 = 12.0;
/// Cost of a label without a place.
const UNPLACED: f64 = 1e4;
/// Orders tried for one set of labels; more hardly find better places and take a millisecond each.
const ORDERS: usize = 6;
/// Cost of hiding a point of a line.
const HIDDEN_POINT: f64 = 60.0;
/// Cost of each of nine points of the plate in an area: a whole plate in one is dearer than any leader.
const HIDDEN_AREA: f64 = 60.0;
/// Cost of crossing another leader.
const CROSSING: f64 = 400.0;
/// Cost of a degree away from the wished direction.
const TURN: f64 = 0.35;

impl Ground {
    /// Takes places for all wishes: of several orders of placing them the one that costs least in all. For each
    /// wish its plate and leader, or none when no place was free.
    pub fn place_all(&mut self, wishes: &[Wish]) -> Vec<Option<Place>> {
        let mut order: Vec<usize> = (0..wishes.len()).collect();
        let difficulty = |i: usize| self.cheapest(&wishes[i]).map_or(UNPLACED, |(cost, _)| cost);
        let alone: Vec<f64> = order.iter().map(|i| difficulty(*i)).collect();
        let least: f64 = alone.iter().sum();
        order.sort_by(|a, b| alone[*b].total_cmp(&alone[*a]));
        let mut best: Option<(f64, Self, Vec<Option<Place>>)> = None;
        for trial in 0..ORDERS.min(2 * wishes.len()) {
            let (cost, ground, places) = self.placed(wishes, &order);
            if best.as_ref().is_none_or(|b| cost < b.0) {
                best = Some((cost, ground, places));
            }
            if best.as_ref().is_some_and(|b| b.0 <= least) {
                break;
            }
            if trial % 2 == 0 { order.reverse() } else { order.rotate_left(1) }
        }
        let Some((_, ground, places)) = best else { return Vec::new() };
        *self = ground;
        places
    }

    /// The wishes placed one after another in that order, and what this costs in all.
    fn placed(&self, wishes: &[Wish], order: &[usize]) -> (f64, Self, Vec<Option<Place>>) {
        let (mut total, mut ground, mut places) = (0.0, self.clone(), vec![None; wishes.len()]);
        for &i in order {
            let found = ground.cheapest(&wishes[i]);
            total += found.map_or(UNPLACED, |(cost, _)| cost);
            if let Some((_, place)) = found {
                ground.plates.push(place.plate);
                ground.leaders.push(place.leader);
                places[i] = Some(place);
            }
        }
        (total, ground, places)
    }

    fn cheapest(&self, wish: &Wish) -> Option<(f64, Place)> {
        let mut best: Option<(f64, Place)> = None;
        for &distance in wish.distances {
            for &(anchor, direction) in &wish.anchors {
                for (turn, slide) in TURNS.into_iter().flat_map(|t| SLIDES.map(|s| (t, s))) {
                    let slid = if slide == 0.0 { 0.0 } else { SLIDE };
                    let base = distance + TURN * f64::abs(turn) + slid;
                    let limit = best.map_or(f64::INFINITY, |b| b.0) - base;
                    if limit <= 0.0 {
                        continue;
                    }
                    let way = direction.1.atan2(direction.0) + f64::to_radians(turn);
                    if slide != 0.0 && way.sin().abs() <= way.cos().abs() {
                        continue;
                    }
                    let place = self.candidate(wish.size, anchor, way, distance, slide);
                    if let Some(cost) = self.cost(&place, limit) {
                        best = Some((base + cost, place));
                    }
                }
            }
        }
        best
    }

    fn candidate(
        &self,
        (width, height): (f64, f64),
        anchor: PhotoPoint,
        way: f64,
        distance: f64,
        slide: f64,
    ) -> Place {
        let (sin, cos) = way.sin_cos();
        let reach = sin.abs().max(cos.abs());
        let (half_x, half_y) = (width / 2.0 * cos / reach, height / 2.0 * sin / reach);
        let aside = if sin.abs() > cos.abs() { slide * width - half_x } else { 0.0 };
        let x = anchor.x_px + cos * distance * self.unit_px + half_x + aside;
        let y = anchor.y_px + sin * distance * self.unit_px + half_y;
        let plate = Rect { left: x - width / 2.0, top: y - height / 2.0, width, height };
        Place { plate, leader: [anchor, plate.nearest(anchor)] }
    }

    /// What the place costs besides its distance; none when it is not free, or costs `limit` or more.
    fn cost(&self, Place { plate, leader }: &Place, limit: f64) -> Option<f64> {
        let roomy = plate.grown(MARGIN * self.unit_px);
        let free = self.bounds.holds(plate)
            && !self.plates.iter().any(|p| p.overlaps(&roomy))
            && !self.leaders.iter().any(|l| crosses(l, &roomy))
            && !self.plates.iter().any(|p| crosses(leader, p));
        if !free {
            return None;
        }
        let dot = |p: &PhotoPoint| Rect { left: p.x_px, top: p.y_px, width: 0.0, height: 0.0 };
        let crossings = self.leaders.iter().filter(|l| cross(l, leader)).count() as f64;
        let mut cost = CROSSING * crossings;
        for p in &self.points {
            cost += if roomy.holds(&dot(p)) { HIDDEN_POINT } else { 0.0 };
            if cost >= limit {
                return None;
            }
        }
        for area in &self.areas {
            if cost >= limit {
                return None;
            }
            cost += HIDDEN_AREA * area.hidden_by(plate) as f64;
        }
        if cost < limit {
            let beside = BESIDE * self.unit_px;
            let hidden = self.points.iter().filter(|p| near(leader, **p, beside)).count();
            cost += HIDDEN_BY_LEADER * hidden as f64;
        }
        Some(cost).filter(|cost| *cost < limit)
    }
}

impl Area {
    /// The area inside a polygon.
    pub fn new(polygon: Vec<PhotoPoint>) -> Self {
        let range = |of: fn(&PhotoPoint) -> f64| {
            let values = polygon.iter().map(of);
            (values.clone().fold(f64::INFINITY, f64::min), values.fold(f64::NEG_INFINITY, f64::max))
        };
        let ((left, right), (top, bottom)) = (range(|p| p.x_px), range(|p| p.y_px));
        Self { bounds: Rect { left, top, width: right - left, height: bottom - top }, polygon }
    }

    /// How many of nine points spread over a plate lie in it.
    fn hidden_by(&self, plate: &Rect) -> usize {
        if !self.bounds.overlaps(plate) {
            return 0;
        }
        samples(plate).filter(|p| inside(*p, &self.polygon)).count()
    }
}

/// Whether a point lies beside a leader, past the part where the leader leaves its own line.
fn near([from, to]: &[PhotoPoint; 2], p: PhotoPoint, beside: f64) -> bool {
    let length = from.distance_px(*to);
    let (ux, uy) = ((to.x_px - from.x_px) / length, (to.y_px - from.y_px) / length);
    let (dx, dy) = (p.x_px - from.x_px, p.y_px - from.y_px);
    let along = dx * ux + dy * uy;
    along > 2.0 * beside && along < length && (dx * uy - dy * ux).abs() < beside
}

/// Nine points spread over a plate.
fn samples(plate: &Rect) -> impl Iterator<Item = PhotoPoint> {
    let steps = [0.0, 0.5, 1.0];
    let (left, top, width, height) = (plate.left, plate.top, plate.width, plate.height);
    steps.into_iter().flat_map(move |u| steps.map(|v| PhotoPoint::new(left + u * width, top + v * height)))
}

/// Whether `p` lies in the polygon (even-odd rule).
fn inside(p: PhotoPoint, polygon: &[PhotoPoint]) -> bool {
    let mut odd = false;
    for (i, a) in polygon.iter().enumerate() {
        let b = polygon[(i + 1) % polygon.len()];
        if (a.y_px > p.y_px) != (b.y_px > p.y_px) {
            let x = a.x_px + (p.y_px - a.y_px) / (b.y_px - a.y_px) * (b.x_px - a.x_px);
            odd ^= p.x_px < x;
        }
    }
    odd
}

/// Whether two segments cross.
fn cross(a: &[PhotoPoint; 2], b: &[PhotoPoint; 2]) -> bool {
    let side = |l: &[PhotoPoint; 2], p: PhotoPoint| {
        (l[1].x_px - l[0].x_px) * (p.y_px - l[0].y_px) - (l[1].y_px - l[0].y_px) * (p.x_px - l[0].x_px)
    };
    side(a, b[0]) * side(a, b[1]) < 0.0 && side(b, a[0]) * side(b, a[1]) < 0.0
}

/// Whether a segment enters a rectangle.
fn crosses(l: &[PhotoPoint; 2], r: &Rect) -> bool {
    let corner = PhotoPoint::new;
    let diagonals = [
        [corner(r.left, r.top), corner(r.right(), r.bottom())],
        [corner(r.right(), r.top), corner(r.left, r.bottom())],
    ];
    let within =
        |p: PhotoPoint| r.left < p.x_px && p.x_px < r.right() && r.top < p.y_px && p.y_px < r.bottom();
    l.iter().any(|p| within(*p)) || diagonals.iter().any(|d| cross(d, l))
}
