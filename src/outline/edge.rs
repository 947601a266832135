//! The edge itself: the cord's silhouette, placed row by row along the line that the search has found.

use rayon::prelude::*;

use super::band::{self, Curve, ROW_MM};
use super::hint;
use super::lift::LiftProfile;
use super::rim::FollowedRim;
use super::silhouette::{Faces, PLACE_MM, PLACES, Silhouette, place_mm};
use super::strip::Strip;
use super::trace::{Belief, Programme};
use super::{Part, Scene};
use crate::ground::frame::PhotoPoint;

/// One traced point of an edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgePoint {
    /// Where it is seen.
    pub pixel: PhotoPoint,
    /// Standard uncertainty across the edge, mm, of this point alone.
    pub u_mm: f64,
    /// Probability that the edge is here and not at a competing place more than 2 mm away.
    pub confidence: f64,
    /// The boundary that competes most.
    pub rival: Option<Rival>,
}

/// A boundary that competes with a traced one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rival {
    /// How far outwards it lies, mm.
    pub apart_mm: f64,
    /// Where it is seen.
    pub pixel: PhotoPoint,
}

impl EdgePoint {
    /// The point at a pixel, as sure as a belief says; `pixel_at` gives where an offset outwards is seen, mm.
    pub fn of(
        belief: Belief,
        u_mm: f64,
        pixel: PhotoPoint,
        pixel_at: impl Fn(f64) -> Option<PhotoPoint>,
    ) -> Option<Self> {
        let rival = belief.rival_mm.and_then(|apart_mm| Some(Rival { apart_mm, pixel: pixel_at(apart_mm)? }));
        Some(Self { pixel, u_mm, confidence: belief.confidence, rival })
    }
}

/// One side's edge; `None` for a row in which it could not be traced.
#[derive(Debug, Clone, Default)]
pub struct TracedEdge {
    /// Points in order along the edge, one a row.
    pub points: Vec<Option<EdgePoint>>,
}

/// A place this far from the path, mm, is another boundary and not the same one less sharply seen.
pub const COMPETITOR_MM: f64 = 2.0;
/// The cord is followed this many times, each along a band that is straighter than the last.
const ROUNDS: usize = 3;
/// Habits of the path: places (a tenth of a millimetre) a row, and what a change of slope by one costs.
const MAX_SLOPE: usize = 2;
const BEND_COST: f32 = 1.0;
/// Widths of a cord that are tried, mm (common practice, no source: from thin piping to a thick rolled edge), so that their
/// creases' windows begin on a band's column, and how far from each the crease is looked for, places.
const WIDTHS_MM: [f64; 4] = [3.6, 4.8, 6.0, 7.2];
const WIDTH_REACH_PLACES: isize = 7;
/// Rows between measured points: neighbours share most of their pixels anyway.
const ROWS_APART: usize = 2;

/// Photos coarser than this show too little of a cord's profile to fit it, mm a pixel: four pixels from its silhouette to
/// its middle. The place that the network tells is better there.
const FINE_MM_PER_PX: f64 = 0.45;
/// Standard uncertainty of a place that is told, mm: drawn photos that were not learnt from scatter so about the truth.
const TOLD_U_MM: f64 = 0.4;

impl FollowedRim {
    /// Whether the photo shows the cord along the rim finely enough for its profile to be fitted.
    pub fn is_fine(&self, scene: &Scene, lift: &LiftProfile) -> bool {
        let middle = self.curve.point(self.curve.points.len() / 2, 0.0, scene.midline, lift);
        scene.camera.mm_per_px(middle).is_some_and(|mm| mm <= FINE_MM_PER_PX)
    }

    /// The edge as the network tells it, without a fit to the cord's profile.
    pub fn as_told(&self, scene: &Scene, lift: &LiftProfile) -> TracedEdge {
        points_along(&self.curve, &self.beliefs, |row, belief| {
            let pixel_at = |offset: f64| {
                scene.camera.photo_from_card(self.curve.point(row, offset, scene.midline, lift))
            };
            EdgePoint::of(belief, TOLD_U_MM, pixel_at(0.0)?, pixel_at)
        })
    }
}

/// The points of an edge, one in [`ROWS_APART`] rows of a curve; none where it is hidden. The beliefs are those of an earlier
/// curve of about the same length.
pub fn points_along(
    curve: &Curve,
    beliefs: &[Belief],
    point: impl Fn(usize, Belief) -> Option<EdgePoint> + Sync,
) -> TracedEdge {
    let rows = curve.points.len();
    let points = (0..rows).into_par_iter().step_by(ROWS_APART).map(|row| {
        let belief = beliefs[of_row(row, rows, beliefs.len())];
        if belief == Belief::HIDDEN { None } else { point(row, belief) }
    });
    TracedEdge { points: points.collect() }
}

/// Measures the cord's silhouette along a rim that was followed to within a millimetre, together with the crease on the
/// cord's inner side.
pub fn follow(scene: &Scene, lift: &LiftProfile, rim: FollowedRim) -> Option<TracedEdge> {
    if !rim.is_fine(scene, lift) {
        return Some(rim.as_told(scene, lift));
    }
    let FollowedRim { mut curve, beliefs } = rim;
    let middle = curve.point(curve.points.len() / 2, 0.0, scene.midline, lift);
    let mm_per_px = scene.camera.mm_per_px(middle)?;
    let mut cords = Vec::from(WIDTHS_MM.map(|mm| Cord::new(mm, scene.blur_px, mm_per_px)));
    let mut uncertainties = Vec::new();
    for _ in 0..ROUNDS {
        let band = band::sample(scene.photo, scene.camera, scene.midline, lift, &curve);
        let (cord, mut cost) = best_seen(cords, &band);
        for (shown, offset_mm) in hint::along(scene, Part::Seat, lift, &curve) {
            hold(&mut cost, shown, offset_mm);
        }
        let path = Programme {
            rows: band.rows,
            places: PLACES,
            cost: cost.clone(),
            max_slope: MAX_SLOPE,
            bend_cost: BEND_COST,
        }
        .best()?
        .0;
        uncertainties = (0..band.rows).map(|row| uncertainty_mm(&cost, &path, row)).collect::<Vec<_>>();
        let offsets: Vec<f64> = path.iter().map(|&p| place_mm(p)).collect();
        curve = curve.moved(&offsets, 1.0);
        cords = vec![cord];
    }
    let radius_mm = 0.5 * cords[0].width_mm;
    Some(points_along(&curve, &beliefs, |row, belief| {
        let slope = curve.slope_of_sight(row, scene.camera, scene.midline, lift);
        let hidden_mm = hidden_by_roundness_mm(slope, radius_mm);
        let pixel_at = |offset: f64| {
            scene.camera.photo_from_card(curve.point(row, offset - hidden_mm, scene.midline, lift))
        };
        let u_mm = uncertainties[of_row(row, curve.points.len(), uncertainties.len())];
        EdgePoint::of(belief, u_mm, pixel_at(0.0)?, pixel_at)
    }))
}

/// The row of an earlier curve, of `before` rows, that lies where a row of one of `rows` does.
fn of_row(row: usize, rows: usize, before: usize) -> usize {
    row * (before - 1) / (rows - 1).max(1)
}

/// A cord of a width, with the profiles of its outer silhouette and of its crease.
struct Cord {
    width_mm: f64,
    silhouette: Silhouette,
    crease: Silhouette,
}

impl Cord {
    fn new(width_mm: f64, blur_px: f64, mm_per_px: f64) -> Self {
        let model = |faces| Silhouette::new(0.5 * width_mm, blur_px, mm_per_px, faces);
        Self { width_mm, silhouette: model(Faces::Outwards), crease: model(Faces::Inwards) }
    }

    /// Cost of the cord's silhouette at every place, by both lines: the crease's moved by what the width differs from this
    /// one, to where both lines are best seen together. With it the sum of the rows' least.
    fn costs(&self, band: &Strip) -> (f32, Vec<f32>) {
        let silhouette = self.silhouette.costs(band, 0.0);
        let crease = self.crease.costs(band, -self.width_mm);
        let together = |by: isize, row: usize, place: usize| {
            let other = (place as isize - by).clamp(0, PLACES as isize - 1) as usize;
            silhouette[row * PLACES + place] + crease[row * PLACES + other]
        };
        let least = |by: isize| -> f32 {
            (0..band.rows)
                .map(|row| (0..PLACES).map(|p| together(by, row, p)).fold(f32::INFINITY, f32::min))
                .sum()
        };
        let shifts = -WIDTH_REACH_PLACES..=WIDTH_REACH_PLACES;
        let (total, by) =
            shifts.map(|by| (least(by), by)).min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((f32::INFINITY, 0));
        (total, (0..silhouette.len()).map(|i| together(by, i / PLACES, i % PLACES)).collect())
    }
}

/// Adds to the costs what lying elsewhere than where a hint shows the edge costs.
fn hold(cost: &mut [f32], shown: usize, offset_mm: f64) {
    for (row, line) in cost.chunks_exact_mut(PLACES).enumerate() {
        let away_mm = row.abs_diff(shown) as f64 * ROW_MM;
        let against = |place: usize| hint::cost_of_straying(place_mm(place) - offset_mm, away_mm) as f32;
        line.iter_mut().enumerate().for_each(|(place, cost)| *cost += against(place));
    }
}

/// The cord whose two lines are best seen together, with its costs.
fn best_seen(cords: Vec<Cord>, band: &Strip) -> (Cord, Vec<f32>) {
    let seen = cords.into_iter().map(|cord| (cord.costs(band), cord));
    let best = seen.min_by(|a, b| a.0.0.total_cmp(&b.0.0)).expect("at least one cord is tried");
    (best.1, best.0.1)
}

/// Standard uncertainty of a row's place, from how steeply the cost rises on either side of the path, mm.
fn uncertainty_mm(cost: &[f32], path: &[usize], row: usize) -> f64 {
    const ASIDE: usize = 3;
    let near = row.saturating_sub(4)..(row + 5).min(path.len());
    let n = near.len() as f64;
    let rise: f64 = near
        .map(|r| {
            let at = |p: usize| f64::from(cost[r * PLACES + p.min(PLACES - 1)]);
            at(path[r] + ASIDE) + at(path[r].saturating_sub(ASIDE)) - 2.0 * at(path[r])
        })
        .sum();
    let aside = ASIDE as f64 * PLACE_MM;
    (aside / (rise / n).max(1e-3).sqrt()).clamp(LEAST_U_MM, MOST_U_MM)
}

/// No place is better known than a grain of leather, and none worse than the window it was looked for in, mm.
const LEAST_U_MM: f64 = 0.05;
const MOST_U_MM: f64 = 0.7;

/// How far outside of its outermost horizontal extent a round cord is seen to end, mm: a line of sight that meets the
/// vertical at an angle a touches a cord of radius r at r / cos a from its middle, in the horizontal through it.
fn hidden_by_roundness_mm(slope_of_sight: f64, radius_mm: f64) -> f64 {
    radius_mm * (slope_of_sight.hypot(1.0) - 1.0)
}
