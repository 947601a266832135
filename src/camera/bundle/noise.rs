//! Noise of the observations: independent from point to point, and common to the points of one tag.
//!
//! Print and paper move a whole tag, so its points are not independent witnesses of the lens. Their own noise is what
//! the sides of each tag show by themselves; what remains beyond it counts as shifts of tags. A lens that explains a
//! part of the shifts gains little by it, because two coordinates a tag are all the evidence there is. Both variances
//! count the degrees of freedom that the estimate uses: with few tags, poses, bends and lens use most of them.

use std::ops::Range;

use nalgebra::{DMatrix, DVector, Matrix2, MatrixXx2, Vector2};

use super::Bundle;
use super::layout::Layout;
use crate::camera::paper::TAG_PLACE_U_MM;
use crate::camera::target::TargetView;
use crate::card::side::Observation;
use crate::numeric::solve::Estimate;

/// Noise of the observations in one photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Factor on the stated uncertainty of each point.
    pub ratio: f64,
    /// Standard deviation of a tag's place in each coordinate, pixels.
    pub tag_px: f64,
}

impl Noise {
    /// The noise as stated.
    pub const STATED: Self = Self { ratio: 1.0, tag_px: 0.0 };

    pub(in crate::camera) fn is_near(&self, other: &Self, part: f64) -> bool {
        let near = |a: f64, b: f64| (a - b).abs() <= part * a.max(b);
        near(self.ratio, other.ratio) && near(self.tag_px, other.tag_px)
    }
}

/// The observations of one tag within those of a view.
fn tags(target: &TargetView) -> Vec<Range<usize>> {
    let mut ranges: Vec<Range<usize>> = Vec::new();
    for (i, o) in target.observations.iter().enumerate() {
        match ranges.last_mut() {
            Some(range) if target.observations[range.start].tag == o.tag => range.end = i + 1,
            _ => ranges.push(i..i + 1),
        }
    }
    ranges
}

/// Map of a view's residuals to independent ones of unit variance.
#[derive(Debug, Clone)]
pub(super) enum Whitening {
    /// One over the standard uncertainty of each point.
    Apart(DVector<f64>),
    /// A matrix for the points of each tag.
    ByTag(Vec<(Range<usize>, DMatrix<f64>)>),
}

impl Whitening {
    pub fn all(layout: &Layout, targets: &[&TargetView], noise: &[Noise]) -> Vec<Self> {
        let views = layout.views.iter().zip(targets);
        views.map(|(view, target)| Self::of(target, noise[view.photo])).collect()
    }

    fn of(target: &TargetView, noise: Noise) -> Self {
        let points = &target.observations;
        let u_px: Vec<f64> = points.iter().map(|o| noise.ratio * o.u_px).collect();
        let covariance = |i: usize, j: usize| {
            let own = if i == j { u_px[i].powi(2) } else { 0.0 };
            own + noise.tag_px.powi(2) * points[i].across.dot(&points[j].across)
        };
        let block = |range: Range<usize>| {
            let (first, count) = (range.start, range.len());
            let root = DMatrix::from_fn(count, count, |i, j| covariance(first + i, first + j)).cholesky()?;
            Some((range, root.l().try_inverse()?))
        };
        let blocks = (noise.tag_px > 0.0).then(|| tags(target).into_iter().map(block).collect()).flatten();
        blocks
            .map_or_else(|| Self::Apart(u_px.iter().map(|u| 1.0 / u).collect::<Vec<_>>().into()), Self::ByTag)
    }

    pub fn log_determinant(&self) -> f64 {
        match self {
            Self::Apart(scale) => scale.iter().map(|s| s.ln()).sum(),
            Self::ByTag(blocks) => {
                blocks.iter().flat_map(|(_, m)| m.diagonal().iter().map(|d| d.ln()).collect::<Vec<_>>()).sum()
            }
        }
    }

    /// Whitens rows that belong to the observations of the view.
    pub fn apply(&self, rows: &mut DMatrix<f64>) {
        match self {
            Self::Apart(scale) => {
                rows.column_iter_mut().for_each(|mut column| column.component_mul_assign(scale))
            }
            Self::ByTag(blocks) => {
                for (range, matrix) in blocks {
                    let whitened = matrix * rows.rows_range(range.clone());
                    rows.rows_range_mut(range.clone()).copy_from(&whitened);
                }
            }
        }
    }
}

/// Residuals of one tag in units of the stated uncertainties, and their derivatives by a shift in x and in y.
struct TagResiduals {
    residuals: DVector<f64>,
    shifts: MatrixXx2<f64>,
}

/// Shifts of tags that are looked for, pixels, and the relative precision.
const LEAST_SHIFT_PX: f64 = 1e-4;
const MOST_SHIFT_PX: f64 = 30.0;
const SHIFT_FOUND: f64 = 1e-3;

impl Bundle<'_> {
    /// Noise of every photo that the residuals of an estimate show; the noise of points is never less than stated.
    pub(in crate::camera) fn noise_found(&self, estimate: &Estimate) -> Vec<Noise> {
        (0..self.layout.photos.len()).map(|photo| self.noise_of(photo, estimate)).collect()
    }

    fn noise_of(&self, photo: usize, estimate: &Estimate) -> Noise {
        let views: Vec<usize> = self.layout.views_of(photo).collect();
        let tags: Vec<TagResiduals> =
            views.iter().flat_map(|view| self.tag_residuals(*view, &estimate.values)).collect();
        let points: usize = tags.iter().map(|t| t.residuals.len()).sum();
        let used = estimate.freedom_used(photo);
        // The estimate uses the places of tags first, then their shapes.
        let shapes = points as f64 - (2.0 * tags.len() as f64).max(used);
        let squares: f64 = tags.iter().filter_map(TagResiduals::within).sum();
        let ratio = if shapes >= 1.0 { (squares / shapes).sqrt().max(1.0) } else { 1.0 };
        // The shifts that bring the sum of squares to its expectation (R. C. Paule, J. Mandel 1982). What is known of
        // prints counts as one more coordinate: two or three tags show next to nothing of their shifts.
        let expected = (points as f64 - used).max(1.0) + 1.0;
        let printed_px = TAG_PLACE_U_MM * self.px_per_mm(&views);
        let excess = |tag_px: f64| {
            let squares: f64 = tags.iter().map(|t| t.squares(Noise { ratio, tag_px })).sum();
            squares + (printed_px / tag_px).powi(2) - expected
        };
        let [mut low, mut high] = [LEAST_SHIFT_PX, MOST_SHIFT_PX];
        while high / low > 1.0 + SHIFT_FOUND {
            let middle = (low * high).sqrt();
            if excess(middle) > 0.0 { low = middle } else { high = middle }
        }
        Noise { ratio, tag_px: high }
    }

    /// Pixels of the first of some views per millimetre of its target.
    fn px_per_mm(&self, views: &[usize]) -> f64 {
        let Some(view) = views.first() else { return 0.0 };
        let points = &self.targets[*view].observations;
        let spread = |place: &dyn Fn(&Observation) -> Vector2<f64>| {
            let mean = points.iter().map(place).sum::<Vector2<f64>>() / points.len() as f64;
            points.iter().map(|o| (place(o) - mean).norm_squared()).sum::<f64>().sqrt()
        };
        spread(&|o| o.measured.vector()) / spread(&|o| o.on_target.horizontal())
    }

    fn tag_residuals(&self, view: usize, values: &DVector<f64>) -> Vec<TagResiduals> {
        let Some(residuals_px) = self.residuals_px(view, values) else { return Vec::new() };
        let target = self.targets[view];
        let of_tag = |range: Range<usize>| {
            let points = &target.observations[range.clone()];
            TagResiduals {
                residuals: DVector::from_fn(points.len(), |i, _| {
                    residuals_px[range.start + i] / points[i].u_px
                }),
                shifts: MatrixXx2::from_fn(points.len(), |i, j| points[i].across[j] / points[i].u_px),
            }
        };
        tags(target).into_iter().map(of_tag).collect()
    }
}

impl TagResiduals {
    /// Sum of squares that no shift of the tag explains.
    fn within(&self) -> Option<f64> {
        let along = self.shifts.tr_mul(&self.residuals);
        let inverse = self.shifts.tr_mul(&self.shifts).try_inverse()?;
        Some(self.residuals.norm_squared() - along.dot(&(inverse * along)))
    }

    /// Sum of squares of the whitened residuals (by the identity of M. A. Woodbury 1950).
    fn squares(&self, noise: Noise) -> f64 {
        let own = noise.ratio.powi(-2);
        let along = own * self.shifts.tr_mul(&self.residuals);
        let information = own * self.shifts.tr_mul(&self.shifts);
        let inverse = (Matrix2::identity() + information * noise.tag_px.powi(2)).try_inverse();
        let explained = inverse.map_or(0.0, |m| noise.tag_px.powi(2) * along.dot(&(m * along)));
        own * self.residuals.norm_squared() - explained
    }
}
