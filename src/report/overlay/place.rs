//! Where labels go: beside what they name, inside the photo, never over one another.

use crate::canvas::Point;

/// An upright rectangle, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    pub left: f64,
    pub top: f64,
    pub width: f64,
    pub height: f64,
}

impl Rect {
    fn right(&self) -> f64 {
        self.left + self.width
    }

    fn bottom(&self) -> f64 {
        self.top + self.height
    }

    /// True when the two share more than a border.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right()
            && other.left < self.right()
            && self.top < other.bottom()
            && other.top < self.bottom()
    }

    /// True when it holds `other`.
    pub fn holds(&self, other: &Self) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && other.right() <= self.right()
            && other.bottom() <= self.bottom()
    }

    /// True when a point is inside or on the border.
    fn has(&self, [x, y]: Point) -> bool {
        self.left <= x && x <= self.right() && self.top <= y && y <= self.bottom()
    }

    /// The rectangle grown by a margin on every side.
    pub fn grown(&self, margin: f64) -> Self {
        Self {
            left: self.left - margin,
            top: self.top - margin,
            width: self.width + 2.0 * margin,
            height: self.height + 2.0 * margin,
        }
    }

    /// The point of the rectangle nearest to another.
    fn nearest(&self, [x, y]: Point) -> Point {
        [x.clamp(self.left, self.right()), y.clamp(self.top, self.bottom())]
    }
}

/// A label that needs a place.
#[derive(Debug, Clone)]
pub struct LabelRequest {
    /// Width and height of its plate, mm.
    pub size: [f64; 2],
    /// What it may point at, each with the direction (of any length) in which it should rather lie.
    pub anchors: Vec<(Point, [f64; 2])>,
    /// Distances from the anchor to be tried, mm.
    pub distances: &'static [f64],
}

/// A place found for a label.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LabelPlace {
    /// The plate.
    pub plate: Rect,
    /// From what the label names to the plate.
    pub leader: [Point; 2],
}

/// An area that a plate should rather not hide.
#[derive(Debug, Clone, PartialEq)]
pub struct Area {
    polygon: Vec<Point>,
    bounds: Rect,
}

/// What is in the photo already.
#[derive(Debug, Clone)]
pub struct Layout {
    /// The part of the photo that labels keep to.
    pub bounds: Rect,
    /// Plates placed so far.
    pub plates: Vec<Rect>,
    /// Leaders placed so far.
    pub leaders: Vec<[Point; 2]>,
    /// Points of lines that a plate should not hide.
    pub points: Vec<Point>,
    /// Areas that a plate should rather not hide.
    pub areas: Vec<Area>,
}

/// Directions tried, in degrees away from the wished one.
const TURNS: [f64; 13] =
    [0.0, 15.0, -15.0, 30.0, -30.0, 45.0, -45.0, 60.0, -60.0, 80.0, -80.0, 100.0, -100.0];
/// White around a plate, mm.
const MARGIN_MM: f64 = 1.0;
/// Shares of its width by which a plate may be moved sideways from above or below its anchor.
const SLIDES: [f64; 3] = [0.0, 0.44, -0.44];
/// A leader that passes nearer than this to a point of a line hides it, mm.
const BESIDE_MM: f64 = 1.0;
/// Orders tried for one set of labels; more hardly find better places and take a millisecond each.
const ORDERS: usize = 6;

// Costs, in millimetres of leader. They are judgement, from looking at overlays.
/// A plate moved sideways.
const SLIDE: f64 = 0.75;
/// Each point hidden by a leader; the first few millimetres, where it leaves its own line, are free.
const HIDDEN_BY_LEADER: f64 = 3.0;
/// A label without a place.
const UNPLACED: f64 = 2500.0;
/// Hiding a point of a line.
const HIDDEN_POINT: f64 = 15.0;
/// Each of nine points of the plate in an area: a whole plate in one costs more than any leader.
const HIDDEN_AREA: f64 = 15.0;
/// Crossing another leader.
const CROSSING: f64 = 100.0;
/// A degree away from the wished direction.
const TURN: f64 = 0.0875;

impl Layout {
    /// Places all labels, in the one of several orders that costs least. For each its plate and leader, or none when no
    /// place was free.
    pub fn place_all(&mut self, wishes: &[LabelRequest]) -> Vec<Option<LabelPlace>> {
        let mut order: Vec<usize> = (0..wishes.len()).collect();
        let difficulty = |i: usize| self.cheapest(&wishes[i]).map_or(UNPLACED, |(cost, _)| cost);
        let alone: Vec<f64> = order.iter().map(|i| difficulty(*i)).collect();
        let least: f64 = alone.iter().sum();
        order.sort_by(|a, b| alone[*b].total_cmp(&alone[*a]));
        let mut best: Option<(f64, Self, Vec<Option<LabelPlace>>)> = None;
        for trial in 0..ORDERS.min(2 * wishes.len()) {
            let (cost, layout, places) = self.placed(wishes, &order);
            if best.as_ref().is_none_or(|b| cost < b.0) {
                best = Some((cost, layout, places));
            }
            if best.as_ref().is_some_and(|b| b.0 <= least) {
                break;
            }
            if trial % 2 == 0 { order.reverse() } else { order.rotate_left(1) }
        }
        let Some((_, layout, places)) = best else { return Vec::new() };
        *self = layout;
        places
    }

    /// The labels placed one after another in an order, and what this costs in all.
    fn placed(&self, wishes: &[LabelRequest], order: &[usize]) -> (f64, Self, Vec<Option<LabelPlace>>) {
        let (mut total, mut layout, mut places) = (0.0, self.clone(), vec![None; wishes.len()]);
        for &i in order {
            let found = layout.cheapest(&wishes[i]);
            total += found.map_or(UNPLACED, |(cost, _)| cost);
            if let Some((_, place)) = found {
                layout.plates.push(place.plate);
                layout.leaders.push(place.leader);
                places[i] = Some(place);
            }
        }
        (total, layout, places)
    }

    fn cheapest(&self, wish: &LabelRequest) -> Option<(f64, LabelPlace)> {
        let mut best: Option<(f64, LabelPlace)> = None;
        for &distance in wish.distances {
            for &(anchor, direction) in &wish.anchors {
                for (turn, slide) in TURNS.into_iter().flat_map(|t| SLIDES.map(|s| (t, s))) {
                    let slid = if slide == 0.0 { 0.0 } else { SLIDE };
                    let base = distance + TURN * f64::abs(turn) + slid;
                    let limit = best.map_or(f64::INFINITY, |b| b.0) - base;
                    if limit <= 0.0 {
                        continue;
                    }
                    let way = direction[1].atan2(direction[0]) + f64::to_radians(turn);
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

    fn candidate(&self, size: [f64; 2], anchor: Point, way: f64, distance: f64, slide: f64) -> LabelPlace {
        let [width, height] = size;
        let (sin, cos) = way.sin_cos();
        let reach = sin.abs().max(cos.abs());
        let (half_x, half_y) = (width / 2.0 * cos / reach, height / 2.0 * sin / reach);
        let aside = if sin.abs() > cos.abs() { slide * width - half_x } else { 0.0 };
        let x = anchor[0] + cos * distance + half_x + aside;
        let y = anchor[1] + sin * distance + half_y;
        let plate = Rect { left: x - width / 2.0, top: y - height / 2.0, width, height };
        LabelPlace { plate, leader: [anchor, plate.nearest(anchor)] }
    }

    /// What the place costs besides its distance; none when it is not free, or costs `limit` or more.
    fn cost(&self, LabelPlace { plate, leader }: &LabelPlace, limit: f64) -> Option<f64> {
        let clear = plate.grown(MARGIN_MM);
        let free = self.bounds.holds(plate)
            && !self.plates.iter().any(|p| p.overlaps(&clear))
            && !self.leaders.iter().any(|l| crosses(l, &clear))
            && !self.plates.iter().any(|p| crosses(leader, p));
        if !free {
            return None;
        }
        let crossings = self.leaders.iter().filter(|l| cross(l, leader)).count() as f64;
        let mut cost = CROSSING * crossings;
        for p in &self.points {
            cost += if clear.has(*p) { HIDDEN_POINT } else { 0.0 };
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
            let hidden = self.points.iter().filter(|p| near(leader, **p)).count();
            cost += HIDDEN_BY_LEADER * hidden as f64;
        }
        Some(cost).filter(|cost| *cost < limit)
    }
}

impl Area {
    /// The area inside a polygon.
    pub fn new(polygon: Vec<Point>) -> Self {
        let range = |axis: usize| {
            let values = polygon.iter().map(|p| p[axis]);
            (values.clone().fold(f64::INFINITY, f64::min), values.fold(f64::NEG_INFINITY, f64::max))
        };
        let ((left, right), (top, bottom)) = (range(0), range(1));
        Self { bounds: Rect { left, top, width: right - left, height: bottom - top }, polygon }
    }

    /// How many of nine points spread over a plate lie in it.
    fn hidden_by(&self, plate: &Rect) -> usize {
        if !self.bounds.overlaps(plate) {
            return 0;
        }
        let Rect { left, top, width, height } = *plate;
        let steps = [0.0, 0.5, 1.0];
        let spread = steps.into_iter().flat_map(|u| steps.map(|v| [left + u * width, top + v * height]));
        spread.filter(|p| inside(*p, &self.polygon)).count()
    }
}

/// Whether a point is beside a leader, past the part where the leader leaves its own line.
fn near([from, to]: &[Point; 2], p: Point) -> bool {
    let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
    let length = dx.hypot(dy);
    let (ux, uy, px, py) = (dx / length, dy / length, p[0] - from[0], p[1] - from[1]);
    let along = px * ux + py * uy;
    along > 2.0 * BESIDE_MM && along < length && (px * uy - py * ux).abs() < BESIDE_MM
}

/// Whether `p` is inside the polygon (even-odd rule).
fn inside(p: Point, polygon: &[Point]) -> bool {
    let mut odd = false;
    for (i, a) in polygon.iter().enumerate() {
        let b = polygon[(i + 1) % polygon.len()];
        if (a[1] > p[1]) != (b[1] > p[1]) {
            odd ^= p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
        }
    }
    odd
}

/// Whether two segments cross.
fn cross(a: &[Point; 2], b: &[Point; 2]) -> bool {
    let side = |l: &[Point; 2], p: Point| {
        (l[1][0] - l[0][0]) * (p[1] - l[0][1]) - (l[1][1] - l[0][1]) * (p[0] - l[0][0])
    };
    side(a, b[0]) * side(a, b[1]) < 0.0 && side(b, a[0]) * side(b, a[1]) < 0.0
}

/// Whether a segment enters a rectangle.
fn crosses(l: &[Point; 2], r: &Rect) -> bool {
    let diagonals = [[[r.left, r.top], [r.right(), r.bottom()]], [[r.right(), r.top], [r.left, r.bottom()]]];
    let within = |p: &Point| r.left < p[0] && p[0] < r.right() && r.top < p[1] && p[1] < r.bottom();
    l.iter().any(within) || diagonals.iter().any(|d| cross(d, l))
}
