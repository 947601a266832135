//! A curve along an edge, with the band of the photo to its either side, in which every line that runs round the form is
//! straight.

use nalgebra::Vector2;

use super::chart::Chart;
use super::lift::LiftProfile;
use super::midline::Midline;
use crate::camera::Camera;
use crate::numeric::frame::CardPoint;

/// Rows of a band stand this far apart along the line, mm.
pub const ROW_MM: f64 = 1.0;

/// A line in the card's horizontal with its outward normals, one point a millimetre.
#[derive(Debug, Clone)]
pub struct Curve {
    /// The points, mm.
    pub points: Vec<Vector2<f64>>,
    /// Unit normals, outwards: away from the form.
    pub normals: Vec<Vector2<f64>>,
    /// 1 when outwards is to the right of the direction of travel (x right, y up), -1 when it is to the left.
    outwards: f64,
}

impl Curve {
    /// A smooth curve through points along the side of a chart, in its order. Outwards is away from the midline, or toward
    /// it for the edge of a channel.
    pub fn of_side(points: &[Vector2<f64>], chart: &Chart, smoothing_mm: f64, toward_midline: bool) -> Self {
        let middle = chart.rays[chart.rays.len() / 2].direction;
        let travel = points[points.len() - 1] - points[0];
        let right = if travel.perp(&middle) < 0.0 { 1.0 } else { -1.0 };
        Self::through(points, smoothing_mm, if toward_midline { -right } else { right })
    }

    /// A smooth curve through points in order, resampled to one a millimetre; outwards is to the right of the direction
    /// of travel when `outwards` is 1, to the left when it is -1.
    pub fn through(points: &[Vector2<f64>], smoothing_mm: f64, outwards: f64) -> Self {
        let even = resampled(points);
        let smooth = resampled(&smoothed(&even, smoothing_mm));
        let n = smooth.len();
        let normals = (0..n)
            .map(|i| (smooth[(i + 1).min(n - 1)] - smooth[i.saturating_sub(1)]).normalize())
            .map(|t| Vector2::new(t.y, -t.x) * outwards)
            .collect();
        Self { points: smooth, normals, outwards }
    }

    /// The curve moved along its normals by an offset of each point, mm, and smoothed again.
    pub fn moved(&self, offsets_mm: &[f64], smoothing_mm: f64) -> Self {
        let points: Vec<_> =
            self.points.iter().zip(&self.normals).zip(offsets_mm).map(|((p, n), o)| p + n * *o).collect();
        Self::through(&points, smoothing_mm, self.outwards)
    }

    /// Slope of the line of sight across the curve: how far it runs outwards for each millimetre that it rises to the camera.
    /// Positive when the curve is seen from outside.
    pub fn slope_of_sight(&self, row: usize, camera: &Camera, midline: &Midline, lift: &LiftProfile) -> f64 {
        let up = camera.pose.centre_in_card().vector() - self.point(row, 0.0, midline, lift).vector();
        up.xy().dot(&self.normals[row]) / up.z
    }

    /// The row nearest to a place of the card's horizontal, and the place's offset outwards there, mm; `None` for a place beyond
    /// the curve's ends.
    pub fn place_of(&self, p: Vector2<f64>) -> Option<(usize, f64)> {
        let away = |i: &usize| (p - self.points[*i]).norm_squared();
        let row = (0..self.points.len()).min_by(|a, b| away(a).total_cmp(&away(b)))?;
        let off = p - self.points[row];
        (off.perp(&self.normals[row]).abs() <= 2.0 * ROW_MM).then(|| (row, off.dot(&self.normals[row])))
    }

    /// The point at an offset from the curve, at the profile's lift there.
    pub fn point(&self, row: usize, offset_mm: f64, midline: &Midline, lift: &LiftProfile) -> CardPoint {
        let p = self.points[row] + self.normals[row] * offset_mm;
        let (station, _) = midline.station_and_offset(p, super::Side::Left);
        CardPoint::new(p.x, p.y, lift.at_mm(station))
    }
}

/// Points one `ROW_MM` apart along the polyline.
fn resampled(points: &[Vector2<f64>]) -> Vec<Vector2<f64>> {
    let mut out = vec![points[0]];
    let mut left = ROW_MM;
    for pair in points.windows(2) {
        let length = (pair[1] - pair[0]).norm();
        let mut at = left;
        while at <= length {
            out.push(pair[0] + (pair[1] - pair[0]) * (at / length));
            at += ROW_MM;
        }
        left = at - length;
    }
    let last = points[points.len() - 1];
    if (last - out[out.len() - 1]).norm() > 0.5 * ROW_MM || out.len() < 2 {
        out.push(last);
    }
    out
}

/// Gaussian smoothing along the points; the ends stay where they are, since the curve is continued there by its
/// reflection through them.
fn smoothed(points: &[Vector2<f64>], sigma_mm: f64) -> Vec<Vector2<f64>> {
    if sigma_mm <= 0.0 {
        return points.to_vec();
    }
    let reach = (3.0 * sigma_mm / ROW_MM).ceil() as isize;
    let n = points.len() as isize;
    let at = |i: isize| -> Vector2<f64> {
        if i < 0 {
            points[0] * 2.0 - points[(-i).min(n - 1) as usize]
        } else if i >= n {
            points[(n - 1) as usize] * 2.0 - points[(2 * (n - 1) - i).max(0) as usize]
        } else {
            points[i as usize]
        }
    };
    let weights: Vec<f64> =
        (-reach..=reach).map(|k| (-0.5 * (k as f64 * ROW_MM / sigma_mm).powi(2)).exp()).collect();
    let total: f64 = weights.iter().sum();
    (0..n)
        .map(|i| (-reach..=reach).zip(&weights).map(|(k, w)| at(i + k) * *w).sum::<Vector2<f64>>() / total)
        .collect()
}
