//! The edge itself: points of the photo, each with how well it is known.

use crate::numeric::parallel::*;

use super::Scene;
use super::lift::LiftProfile;
use super::rim::FollowedRim;
use super::trace::{Alternative, RowPosterior};
use crate::numeric::frame::PhotoPoint;

/// One traced point of an edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgePoint {
    /// Where it is seen.
    pub pixel: PhotoPoint,
    /// Standard uncertainty across the edge, mm, of this point alone.
    pub u_mm: f64,
    /// Probability that the edge is here and not at a competing place more than 2 mm away.
    pub confidence: f64,
    /// Standard uncertainty from competing places, mm.
    pub doubt_mm: f64,
    /// The lines that compete: further in and further out.
    pub rivals: [Option<Rival>; 2],
}

/// A line that competes with a traced one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rival {
    /// Probability that the edge is there.
    pub probability: f64,
    /// Distance outwards (negative: inwards) from the traced one, mm.
    pub apart_mm: f64,
    /// Where it is seen.
    pub pixel: PhotoPoint,
}

impl EdgePoint {
    /// The point of a row; `pixel_at` gives where an offset outwards from it is seen, mm.
    fn of(row: RowPosterior, pixel_at: impl Fn(f64) -> Option<PhotoPoint>) -> Option<Self> {
        let RowPosterior { confidence, doubt_mm, alternatives } = row;
        let rivals = alternatives.map(|Alternative { probability, apart_mm }| {
            let likely = (probability >= LEAST_RIVAL).then_some(apart_mm)?;
            Some(Rival { probability, apart_mm, pixel: pixel_at(likely)? })
        });
        Some(Self { pixel: pixel_at(0.0)?, u_mm: POINT_U_MM, confidence, doubt_mm, rivals })
    }
}

/// One side's edge; `None` for a point that could not be traced.
#[derive(Debug, Clone, Default)]
pub struct TracedEdge {
    /// Points in order along the edge, some 2 mm apart.
    pub points: Vec<Option<EdgePoint>>,
}

/// Less probable lines are no rivals.
pub const LEAST_RIVAL: f64 = 0.05;
/// A place this far from the path, mm, is another boundary and not the same one less sharply seen.
pub const COMPETITOR_MM: f64 = 2.0;
/// Rows between points: neighbours share most of their pixels anyway.
const ROWS_APART: usize = 2;
/// Standard uncertainty of a point where one boundary is seen, mm: drawn photos that were not trained on scatter so about the
/// truth.
pub const POINT_U_MM: f64 = 0.4;

/// Distance along an edge over which the correlation of its localisation falls to 1/e, mm. On rendered and drawn photos
/// of known truth the correlation was 0.75 at 20 mm, 0.41 at 40 mm and 0.13 at 60 mm: a stitch, a fold or the light
/// misleads neighbouring rows together. An exponential is rougher than that on purpose: with a smooth law the small
/// differences between neighbours, which no model of an edge's noise covers, would outweigh everything else.
pub const FADING_MM: f64 = 42.0;
/// Part of an edge's variance that no neighbour shares, however near.
pub const UNSHARED: f64 = 0.05;

/// Correlation between the localisation of one edge at two different places so far apart, mm.
pub fn edge_correlation(apart_mm: f64) -> f64 {
    (1.0 - UNSHARED) * (-apart_mm.abs() / FADING_MM).exp()
}

impl TracedEdge {
    /// The edge along a rim, one point in [`ROWS_APART`] rows; none where it is hidden.
    pub fn of(scene: &Scene, lift: &LiftProfile, rim: &FollowedRim) -> Self {
        let FollowedRim { curve, row_posteriors } = rim;
        let rows = curve.points.len();
        let point = |row: usize| {
            // The posteriors are those of the curve before, which had about as many rows.
            let posterior = row_posteriors[row * (row_posteriors.len() - 1) / (rows - 1).max(1)];
            let pixel_at =
                |offset: f64| scene.camera.photo_from_card(curve.point(row, offset, scene.midline, lift));
            if posterior == RowPosterior::HIDDEN { None } else { EdgePoint::of(posterior, pixel_at) }
        };
        Self { points: (0..rows).into_par_iter().step_by(ROWS_APART).map(point).collect() }
    }
}
