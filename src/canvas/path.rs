//! Contours of straight and curved lines.

use super::{Point, moved};

/// One step of a contour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// Begins a contour.
    Move(Point),
    /// A straight line.
    Line(Point),
    /// A cubic Bézier curve: its two handles and its end.
    Curve(Point, Point, Point),
    /// Back to the beginning of the contour.
    Close,
}

/// One or more contours.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Path {
    /// Their steps.
    pub steps: Vec<Step>,
}

/// Handle of the cubic curve for a quarter of a circle, in radii (off by less than 0.03 % of the radius).
const QUARTER: f64 = 0.552_284_749_8;

impl Path {
    /// An open line through points.
    pub fn line(points: impl IntoIterator<Item = Point>) -> Self {
        let step = |(i, p)| if i == 0 { Step::Move(p) } else { Step::Line(p) };
        Self { steps: points.into_iter().enumerate().map(step).collect() }
    }

    /// A closed polygon.
    pub fn polygon(points: impl IntoIterator<Item = Point>) -> Self {
        let mut path = Self::line(points);
        path.steps.push(Step::Close);
        path
    }

    /// An upright rectangle: left, top, width, height.
    pub fn rect([x, y, w, h]: [f64; 4]) -> Self {
        Self::polygon([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
    }

    /// A circle.
    pub fn circle(centre: Point, radius_mm: f64) -> Self {
        let at = |x: f64, y: f64| moved(centre, [x * radius_mm, y * radius_mm]);
        let k = QUARTER;
        let steps = vec![
            Step::Move(at(1.0, 0.0)),
            Step::Curve(at(1.0, k), at(k, 1.0), at(0.0, 1.0)),
            Step::Curve(at(-k, 1.0), at(-1.0, k), at(-1.0, 0.0)),
            Step::Curve(at(-1.0, -k), at(-k, -1.0), at(0.0, -1.0)),
            Step::Curve(at(k, -1.0), at(1.0, -k), at(1.0, 0.0)),
            Step::Close,
        ];
        Self { steps }
    }

    /// A smooth closed line through points (Catmull and Rom 1974).
    pub fn smooth(points: &[Point]) -> Self {
        let n = points.len();
        let handle = |at: Point, from: Point, to: Point, part: f64| {
            moved(at, [(to[0] - from[0]) * part / 6.0, (to[1] - from[1]) * part / 6.0])
        };
        let mut steps = vec![Step::Move(points[0])];
        steps.extend((0..n).map(|i| {
            let [before, a, b, after] = [n - 1, 0, 1, 2].map(|k| points[(i + k) % n]);
            Step::Curve(handle(a, before, b, 1.0), handle(b, a, after, -1.0), b)
        }));
        steps.push(Step::Close);
        Self { steps }
    }

    /// The contours of both.
    pub fn and(mut self, other: Self) -> Self {
        self.steps.extend(other.steps);
        self
    }

    /// The path moved right and down, mm.
    pub fn moved(mut self, by: Point) -> Self {
        for step in &mut self.steps {
            *step = match *step {
                Step::Move(p) => Step::Move(moved(p, by)),
                Step::Line(p) => Step::Line(moved(p, by)),
                Step::Curve(a, b, p) => Step::Curve(moved(a, by), moved(b, by), moved(p, by)),
                Step::Close => Step::Close,
            };
        }
        self
    }

    /// Left, top, right and bottom of a rectangle that holds the path, grown by a margin, mm. Handles of curves count.
    pub fn bounds(&self, margin_mm: f64) -> [f64; 4] {
        let points = self.steps.iter().flat_map(|step| match *step {
            Step::Move(p) | Step::Line(p) => vec![p],
            Step::Curve(a, b, p) => vec![a, b, p],
            Step::Close => Vec::new(),
        });
        let mut bounds = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
        for [x, y] in points {
            if !(x.is_finite() && y.is_finite()) {
                return [f64::NAN; 4];
            }
            let [l, t, r, b] = bounds;
            bounds = [l.min(x), t.min(y), r.max(x), b.max(y)];
        }
        let [l, t, r, b] = bounds;
        [l - margin_mm, t - margin_mm, r + margin_mm, b + margin_mm]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_circle_of_curves_keeps_its_radius() {
        // At the middle of a quarter the curve is where its four control points weigh 1, 3, 3, 1 over 8.
        let Path { steps } = Path::circle([0.0, 0.0], 10.0);
        let (Step::Move(p), Step::Curve(a, b, q)) = (steps[0], steps[1]) else {
            panic!("a move and a curve")
        };
        let mid = |i: usize| (p[i] + 3.0 * a[i] + 3.0 * b[i] + q[i]) / 8.0;
        let radius = mid(0).hypot(mid(1));
        assert!((radius - 10.0).abs() < 0.003, "{radius} mm");
    }
}
