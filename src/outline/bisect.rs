//! The midline that bisects two edges and ends where they meet.

use nalgebra::{DMatrix, Matrix2, Vector2};

use super::edge::{POINT_U_MM, edge_correlation};
use super::midline::{EndErrors, Midline};
use super::{SIDES, Side};
use crate::numeric::polynomial::{polynomial, polynomial_covariance};

/// Part of the length, from the front, over which the edges are bisected: at the ends they run across the midline.
pub const BISECTED: (f64, f64) = (0.15, 0.85);
/// Stations at which the edges are bisected.
const STATIONS: usize = 41;
/// The middle of one station is this far from a straight line, mm, before it loses its weight (Huber's function): flaws of
/// one side, and saddles that are not quite even.
const HUBER_MM: f64 = 2.0;
/// Iterations of the reweighted line, each from the last one's weights.
const ITERATIONS: usize = 8;
/// The edges' points this near to the midline show where they meet, mm.
const END_REACH_MM: f64 = 14.0;

/// Points of the left and the right edge, mm in the card's horizontal.
pub type Sides = [Vec<Vector2<f64>>; 2];

/// The midline, seen the same way as `about`, that is halfway between both edges and ends where its line cuts their ends.
/// `None` where the edges are not traced well enough.
pub fn bisecting_midline(about: &Midline, sides: &Sides) -> Option<Midline> {
    let length = about.length_mm();
    let toward_left = |p: &Vector2<f64>| {
        let (station, offset) = about.station_and_offset(*p, Side::Left);
        Vector2::new(station * length, offset)
    };
    let [left, right] = [0, 1].map(|i| sides[i].iter().map(toward_left).collect::<Vec<_>>());
    let middles: Vec<Vector2<f64>> = (0..STATIONS)
        .filter_map(|i| {
            let t = i as f64 / (STATIONS - 1) as f64;
            let along = length * (BISECTED.0 + (BISECTED.1 - BISECTED.0) * t);
            Some(Vector2::new(along, 0.5 * (crossing(&left, along)? + crossing(&right, along)?)))
        })
        .collect();
    if middles.len() < STATIONS / 2 {
        return None;
    }
    let line = robust_line(&middles)?;
    let end = |along: f64| {
        let start = Vector2::new(along, line.x + line.y * along);
        end_on(line, left.iter().chain(&right), start)
    };
    let back = |p: Vector2<f64>| about.front_mm + about.along() * p.x + about.toward(Side::Left) * p.y;
    let ((front, front_u_mm), (rear, rear_u_mm)) = (end(0.0)?, end(length)?);
    let errors = end_errors(line, &middles, [front.x, rear.x], [front_u_mm, rear_u_mm])?;
    Some(about.with_ends(back(front), back(rear)).with_end_errors(errors))
}

/// Errors of ends on a line through the middles of both edges, at places along it and with uncertainties along it, mm.
///
/// Across, both ends come from one line: its covariance follows from the noise of the edges, or from how far their middles
/// scatter about it where that is more, and is split along its principal axes.
fn end_errors(
    line: Vector2<f64>,
    middles: &[Vector2<f64>],
    ends_mm: [f64; 2],
    along_u_mm: [f64; 2],
) -> Option<EndErrors> {
    let off = |p: &Vector2<f64>| p.y - line.x - line.y * p.x;
    let weights: Vec<f64> = middles.iter().map(|p| HUBER_MM / off(p).abs().max(HUBER_MM)).collect();
    let squares: f64 = middles.iter().zip(&weights).map(|(p, w)| w * off(p).powi(2)).sum();
    let scatter_mm = (squares / (middles.len() - 2) as f64).sqrt();
    let u_mm = scatter_mm.max(POINT_U_MM * std::f64::consts::FRAC_1_SQRT_2);
    let noise = noise(middles.len(), u_mm, |i, j| (middles[i].x - middles[j].x).abs());
    let of_line = polynomial_covariance(middles, &weights, 1, &noise)?;
    let at_ends = Matrix2::new(1.0, ends_mm[0], 1.0, ends_mm[1]);
    let across = (at_ends * of_line.fixed_view::<2, 2>(0, 0) * at_ends.transpose()).symmetric_eigen();
    let mode = |k: usize| across.eigenvectors.column(k) * across.eigenvalues[k].max(0.0).sqrt();
    let (first, second) = (mode(0), mode(1));
    Some([
        [first[0], first[1], 0.0, 0.0],
        [second[0], second[1], 0.0, 0.0],
        [0.0, 0.0, along_u_mm[0], 0.0],
        [0.0, 0.0, 0.0, along_u_mm[1]],
    ])
}

/// Covariance of points along an edge, of one standard uncertainty.
fn noise(count: usize, u_mm: f64, apart_mm: impl Fn(usize, usize) -> f64) -> DMatrix<f64> {
    let correlation = |i, j| if i == j { 1.0 } else { edge_correlation(apart_mm(i, j)) };
    DMatrix::from_fn(count, count, |i, j| u_mm * u_mm * correlation(i, j))
}

/// Left and right half-width at a station, mm; `None` where an edge is not traced there.
pub fn half_widths_mm(midline: &Midline, sides: &Sides, station: f64) -> Option<[f64; 2]> {
    let length = midline.length_mm();
    let half = |i: usize| {
        let along = |p: &Vector2<f64>| {
            let (s, offset) = midline.station_and_offset(*p, SIDES[i]);
            Vector2::new(s * length, offset)
        };
        crossing(&sides[i].iter().map(along).collect::<Vec<_>>(), station * length)
    };
    Some([half(0)?, half(1)?])
}

/// Offset of the outermost crossing of an edge with a square line.
fn crossing(edge: &[Vector2<f64>], along: f64) -> Option<f64> {
    edge.windows(2)
        .filter(|w| (w[0].x - along) * (w[1].x - along) <= 0.0 && (w[1] - w[0]).norm() < 5.0)
        .map(|w| {
            let t = if w[1].x == w[0].x { 0.5 } else { (along - w[0].x) / (w[1].x - w[0].x) };
            w[0].y + (w[1].y - w[0].y) * t
        })
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))
}

/// Offset at 0 and slope of the straight line through points, by least squares with Huber's weights (P. J. Huber, Robust
/// Statistics, 1981, chapter 7). `None` where they show none.
pub fn robust_line(points: &[Vector2<f64>]) -> Option<Vector2<f64>> {
    let mut line = Vector2::zeros();
    let mut weights = vec![1.0; points.len()];
    for _ in 0..ITERATIONS {
        line = polynomial(points, &weights, 1)?.fixed_rows::<2>(0).into();
        for (w, p) in weights.iter_mut().zip(points) {
            *w = HUBER_MM / (p.y - line.x - line.y * p.x).abs().max(HUBER_MM);
        }
    }
    Some(line)
}

/// Where the edges' points near the line cross it, by a parabola through them over the distance from the line, with its
/// standard uncertainty along the line, mm.
fn end_on<'a>(
    line: Vector2<f64>,
    points: impl Iterator<Item = &'a Vector2<f64>>,
    start: Vector2<f64>,
) -> Option<(Vector2<f64>, f64)> {
    let along = Vector2::new(1.0, line.y).normalize();
    let across = Vector2::new(-along.y, along.x);
    let near: Vec<Vector2<f64>> = points
        .map(|p| p - start)
        .map(|v| Vector2::new(v.dot(&across), v.dot(&along)))
        .filter(|v| v.x.abs() < END_REACH_MM && v.y.abs() < 4.0 * END_REACH_MM)
        .collect();
    let both_sides = near.iter().any(|v| v.x < 0.0) && near.iter().any(|v| v.x > 0.0);
    if near.len() < 5 || !both_sides {
        return None;
    }
    let weights = vec![1.0; near.len()];
    let curve = polynomial(&near, &weights, 2)?;
    let off = |v: &Vector2<f64>| v.y - curve[0] - curve[1] * v.x - curve[2] * v.x * v.x;
    let scatter_mm = (near.iter().map(|v| off(v).powi(2)).sum::<f64>() / (near.len() - 3) as f64).sqrt();
    let noise = noise(near.len(), scatter_mm.max(POINT_U_MM), |i, j| near[i].metric_distance(&near[j]));
    let covariance = polynomial_covariance(&near, &weights, 2, &noise)?;
    Some((start + along * curve[0], covariance[(0, 0)].max(0.0).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::words::View;

    /// Both edges of an ellipse 440 x 200 mm about (220, 0) turned by an angle and moved, as seen along the x axis.
    fn ellipse(turn: f64, by: Vector2<f64>) -> Sides {
        let side = |sign: f64| {
            (0..=400)
                .map(|i| std::f64::consts::PI * f64::from(i) / 400.0)
                .map(|a| Vector2::new(-220.0 * a.cos(), sign * 100.0 * a.sin()))
                .map(|p| nalgebra::Rotation2::new(turn) * p + Vector2::new(220.0, 0.0) + by)
                .collect()
        };
        let about = Midline::new(Vector2::zeros(), Vector2::new(440.0, 0.0), View::Top);
        let left = about.toward(Side::Left).y;
        [side(left), side(-left)]
    }

    #[test]
    fn the_midline_of_a_turned_ellipse_is_its_long_axis() {
        let about = Midline::new(Vector2::zeros(), Vector2::new(440.0, 0.0), View::Top);
        for (turn, by) in
            [(0.0, Vector2::zeros()), (0.03, Vector2::new(6.0, -9.0)), (-0.04, Vector2::new(-8.0, 4.0))]
        {
            let mut midline = about;
            for _ in 0..4 {
                midline = bisecting_midline(&midline, &ellipse(turn, by)).unwrap();
            }
            let axis = nalgebra::Rotation2::new(turn) * Vector2::new(220.0, 0.0);
            let expected = [Vector2::new(220.0, 0.0) + by - axis, Vector2::new(220.0, 0.0) + by + axis];
            // Points 1.7 mm apart and a parabola in place of an ellipse's end: some hundredths of a millimetre.
            assert!((midline.front_mm - expected[0]).norm() < 0.3, "{midline:?}, expected {expected:?}");
            assert!((midline.rear_mm - expected[1]).norm() < 0.3, "{midline:?}, expected {expected:?}");
        }
    }

    #[test]
    fn edges_that_are_not_there_have_no_midline() {
        let about = Midline::new(Vector2::zeros(), Vector2::new(440.0, 0.0), View::Top);
        assert_eq!(bisecting_midline(&about, &[Vec::new(), Vec::new()]), None);
    }
}
