//! Sections: where the plane of a station cuts an edge, from the traced points nearby.

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::camera::Camera;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::Side;
use crate::outline::edge::{EdgePoint, TracedEdge};
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;

/// A traced point projected to its height over the card: along and across the midline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LocatedPoint {
    /// Station.
    pub station: f64,
    /// Distance from the front end along the midline, mm.
    pub along_mm: f64,
    /// Distance from the midline toward its own side, mm.
    pub offset_mm: f64,
    /// Standard uncertainty across the edge, mm.
    pub u_mm: f64,
    /// Probability that the edge is here.
    pub confidence: f64,
    /// Standard uncertainty from competing places, mm.
    pub doubt_mm: f64,
    /// Where it is seen.
    pub pixel: PhotoPoint,
}

/// Where a section plane cuts one edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeSection {
    /// Half-width, mm.
    pub half_width_mm: f64,
    /// Change of the half-width along the midline there, mm per mm.
    pub slope: f64,
    /// Standard uncertainty of the half-width from the scatter of the points, mm.
    pub u_mm: f64,
    /// Probability that the edge is here, at the most doubtful of the points used.
    pub confidence: f64,
    /// Standard uncertainty from competing places there, mm.
    pub doubt_mm: f64,
}

/// All traced points of one side, in order; `None` where a row was not traced.
pub fn locate_edge(
    camera: &Camera,
    midline: &Midline,
    lift: &LiftProfile,
    side: Side,
    edge: &TracedEdge,
) -> Vec<Option<LocatedPoint>> {
    let length = midline.length_mm();
    edge.points
        .iter()
        .map(|point| {
            let EdgePoint { pixel, u_mm, confidence, doubt_mm, .. } = (*point)?;
            let (station, offset_mm) = midline.locate(camera, lift, side, pixel, 0.5)?;
            Some(LocatedPoint {
                station,
                along_mm: station * length,
                offset_mm,
                u_mm,
                confidence,
                doubt_mm,
                pixel,
            })
        })
        .collect()
}

/// Points this near to a section, along the edge, determine it, mm.
const REACH_MM: f64 = 9.0;
/// A section without a traced point this near is not traced, mm.
const GAP_MM: f64 = 5.0;
/// No traced point is better than this, mm: leather, piping and thread are not finer.
const LEAST_U_MM: f64 = 0.05;

/// The section at a station. `None` where the edge was not traced there. Where an edge crosses the plane more than once
/// the widest crossing is the caliper's.
pub fn section(points: &[Option<LocatedPoint>], station: f64, length_mm: f64) -> Option<EdgeSection> {
    let along = station * length_mm;
    let traced: Vec<&LocatedPoint> = points.iter().flatten().collect();
    let crossing = traced
        .windows(2)
        .filter(|w| (w[0].along_mm - along) * (w[1].along_mm - along) <= 0.0)
        .filter(|w| place(w[0]).metric_distance(&place(w[1])) <= 2.0 * GAP_MM)
        .max_by(|a, b| a[0].offset_mm.total_cmp(&b[0].offset_mm))?;
    let t = ((along - crossing[0].along_mm) / (crossing[1].along_mm - crossing[0].along_mm)).clamp(0.0, 1.0);
    let t = if t.is_finite() { t } else { 0.5 };
    let centre = place(crossing[0]) * (1.0 - t) + place(crossing[1]) * t;
    let near: Vec<&LocatedPoint> =
        traced.into_iter().filter(|p| (place(p) - centre).norm() <= REACH_MM).collect();
    let doubted = near.iter().max_by(|a, b| a.doubt_mm.total_cmp(&b.doubt_mm))?;
    let fit = LocalFit::through(&near, centre)?;
    let (offset, slope, variance) = fit.cut(along)?;
    Some(EdgeSection {
        half_width_mm: offset,
        slope,
        u_mm: variance.sqrt(),
        confidence: doubted.confidence,
        doubt_mm: doubted.doubt_mm,
    })
}

fn place(p: &LocatedPoint) -> Vector2<f64> {
    Vector2::new(p.along_mm, p.offset_mm)
}

/// A parabola through points in the frame of their own direction.
struct LocalFit {
    origin: Vector2<f64>,
    direction: Vector2<f64>,
    normal: Vector2<f64>,
    coefficients: Vector3<f64>,
    covariance: Matrix3<f64>,
}

impl LocalFit {
    fn through(near: &[&LocatedPoint], origin: Vector2<f64>) -> Option<Self> {
        if near.len() < 4 {
            return None;
        }
        let direction = (place(near[near.len() - 1]) - place(near[0])).try_normalize(1e-6)?;
        let normal = Vector2::new(-direction.y, direction.x);
        let (mut normal_matrix, mut right) = (Matrix3::zeros(), Vector3::zeros());
        let row = |p: &LocatedPoint| {
            let v = place(p) - origin;
            let t = v.dot(&direction);
            (Vector3::new(1.0, t, t * t), v.dot(&normal), 1.0 / (p.u_mm * p.u_mm + LEAST_U_MM * LEAST_U_MM))
        };
        for p in near {
            let (x, y, w) = row(p);
            normal_matrix += w * x * x.transpose();
            right += w * y * x;
        }
        let inverse = normal_matrix.try_inverse()?;
        let coefficients = inverse * right;
        let chi2: f64 = near
            .iter()
            .map(|p| {
                let (x, y, w) = row(p);
                w * (y - x.dot(&coefficients)).powi(2)
            })
            .sum();
        let excess = (chi2 / (near.len() - 3).max(1) as f64).max(1.0);
        Some(Self { origin, direction, normal, coefficients, covariance: inverse * excess })
    }

    /// Offset, slope and the offset's variance where the parabola has the given place along the midline.
    fn cut(&self, along: f64) -> Option<(f64, f64, f64)> {
        let mut t = 0.0;
        for _ in 0..20 {
            let p = self.at(t);
            let tangent = self.tangent(t);
            if tangent.x.abs() < 0.05 {
                return None;
            }
            let step = (along - p.x) / tangent.x;
            t += step.clamp(-3.0, 3.0);
            if step.abs() < 1e-9 {
                break;
            }
        }
        if !(t.abs() <= REACH_MM) {
            return None;
        }
        let tangent = self.tangent(t);
        let x = Vector3::new(1.0, t, t * t);
        // A shift across the edge moves the cut, which is held at its place along the midline, by 1/cos.
        let across = self.normal.y - self.normal.x * tangent.y / tangent.x;
        let variance = (x.transpose() * self.covariance * x)[(0, 0)].max(0.0) * across * across;
        Some((self.at(t).y, tangent.y / tangent.x, variance))
    }

    fn at(&self, t: f64) -> Vector2<f64> {
        let n = self.coefficients.dot(&Vector3::new(1.0, t, t * t));
        self.origin + self.direction * t + self.normal * n
    }

    fn tangent(&self, t: f64) -> Vector2<f64> {
        self.direction + self.normal * (self.coefficients[1] + 2.0 * self.coefficients[2] * t)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Points of a circle of radius 100 mm about (200, 20).
    fn circle() -> Vec<Option<LocatedPoint>> {
        (0..160)
            .map(|i| {
                let angle = std::f64::consts::PI * (1.0 - f64::from(i) / 159.0);
                let (along_mm, offset_mm) = (200.0 + 100.0 * angle.cos(), 20.0 + 100.0 * angle.sin());
                Some(LocatedPoint {
                    station: along_mm / 400.0,
                    along_mm,
                    offset_mm,
                    u_mm: 0.1,
                    confidence: 1.0,
                    doubt_mm: 0.0,
                    pixel: PhotoPoint::new(0.0, 0.0),
                })
            })
            .collect()
    }

    #[test]
    fn a_section_of_a_circle_is_where_pythagoras_puts_it() {
        for station in [0.3, 0.4, 0.5, 0.62] {
            let cut = section(&circle(), station, 400.0).unwrap();
            let x: f64 = station * 400.0 - 200.0;
            let expected = 20.0 + (100.0 * 100.0 - x * x).sqrt();
            // A parabola over 18 mm of a circle of 100 mm radius departs by 9^4 / (8 * 100^3) = 1 micrometre.
            assert_relative_eq!(cut.half_width_mm, expected, epsilon = 0.005);
            assert_relative_eq!(cut.slope, -x / (100.0 * 100.0 - x * x).sqrt(), epsilon = 0.005);
        }
    }

    #[test]
    fn an_untraced_stretch_is_no_section() {
        let mut points = circle();
        for p in &mut points[60..100] {
            *p = None;
        }
        assert!(section(&points, 0.5, 400.0).is_none());
        assert!(section(&points, 0.35, 400.0).is_some());
    }
}
