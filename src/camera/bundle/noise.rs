//! Noise of the observations: of each point by itself, and of the print and the paper, which move a whole tag.
//!
//! Points of one tag are not independent witnesses of the lens and the pose: a tag is printed beside its place, and paper
//! waves, so that the tag is higher or lower and leans its own way. A tag that leans looks like a card that is tilted;
//! three tags do not contradict it. Points' own noise is what the sides of each tag show by themselves; what remains
//! counts as print and paper. A lens that explains a part of that gains little by it. Both factors count the degrees of
//! freedom that the estimate uses: with few tags, poses, bends and lens use most of them.

use std::ops::Range;

use nalgebra::{DMatrix, DVector, Matrix2, MatrixXx2, Vector2};

use super::Bundle;
use crate::camera::paper::{TAG_PLACE_U_MM, WAVE_SLOPE_U, WAVE_U_MM};
use crate::camera::target::TargetView;
use crate::card::side::Observation;
use crate::numeric::solve::Estimate;

/// Noise of the observations in one photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Factor on the stated uncertainty of each point.
    pub ratio: f64,
    /// Factor on what is assumed of places of tags and waves of the paper; 0 where they are no noise.
    pub paper: f64,
}

impl Noise {
    /// The noise as stated.
    pub const STATED: Self = Self { ratio: 1.0, paper: 0.0 };

    pub(in crate::camera) fn is_near(&self, other: &Self, part: f64) -> bool {
        let near = |a: f64, b: f64| (a - b).abs() <= part * a.max(b);
        near(self.ratio, other.ratio) && near(self.paper, other.paper)
    }
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
    /// Each point by itself.
    pub fn apart(target: &TargetView, ratio: f64) -> Self {
        Self::Apart(DVector::from_iterator(
            target.observations.len(),
            target.observations.iter().map(|o| 1.0 / (ratio * o.u_px)),
        ))
    }

    fn by_tag(tags: &[TagNoise], noise: Noise) -> Option<Self> {
        let block = |tag: &TagNoise| {
            let root = tag.covariance(noise).cholesky()?;
            Some((tag.range.clone(), root.l().try_inverse()?))
        };
        tags.iter().map(block).collect::<Option<_>>().map(Self::ByTag)
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

/// The observations of one tag within those of a view, and what print and paper do to them.
struct TagNoise<'a> {
    range: Range<usize>,
    points: &'a [Observation],
    /// Derivatives by the tag's place on the card, pixels per mm.
    by_place: MatrixXx2<f64>,
    /// Covariance by the paper's waves as assumed, pixels squared.
    waves: DMatrix<f64>,
}

impl TagNoise<'_> {
    fn covariance(&self, noise: Noise) -> DMatrix<f64> {
        let own = self.points.iter().map(|o| (noise.ratio * o.u_px).powi(2));
        let own = DMatrix::from_diagonal(&DVector::from_iterator(self.points.len(), own));
        let places = &self.by_place * self.by_place.transpose() * TAG_PLACE_U_MM.powi(2);
        own + (places + &self.waves) * noise.paper.powi(2)
    }

    /// Its residuals in the principal axes of the waves.
    fn modes(&self, residuals_px: &[f64]) -> TagModes {
        let scale = DVector::from_iterator(self.points.len(), self.points.iter().map(|o| 1.0 / o.u_px));
        let eigen = self.waves.component_mul(&(&scale * scale.transpose())).symmetric_eigen();
        let whitening = eigen.eigenvectors.transpose() * DMatrix::from_diagonal(&scale);
        TagModes {
            residuals: &whitening * DVector::from_column_slice(residuals_px),
            by_place: &whitening * &self.by_place * TAG_PLACE_U_MM,
            waves: eigen.eigenvalues.map(|v| v.max(0.0)),
        }
    }
}

/// Residuals of one tag as independent modes, in units of the stated uncertainties.
struct TagModes {
    residuals: DVector<f64>,
    /// Derivatives by the tag's place, in units of what is assumed of it.
    by_place: MatrixXx2<f64>,
    /// Variance of each by the waves as assumed.
    waves: DVector<f64>,
}

impl TagModes {
    /// Sum of squares of the whitened residuals (by the identity of M. A. Woodbury 1950); with places free, what no place
    /// of the tag explains.
    fn squares(&self, noise: Noise, place_is_free: bool) -> Option<f64> {
        let weights = self.waves.map(|w| 1.0 / (noise.ratio.powi(2) + noise.paper.powi(2) * w));
        let weighted = self.residuals.component_mul(&weights);
        let along = self.by_place.tr_mul(&weighted);
        let mut information: Matrix2<f64> =
            self.by_place.tr_mul(&(DMatrix::from_diagonal(&weights) * &self.by_place));
        if !place_is_free {
            information += Matrix2::identity() / noise.paper.powi(2);
        }
        Some(self.residuals.dot(&weighted) - along.dot(&(information.try_inverse()? * along)))
    }
}

/// Factors that are looked for, and their relative precision.
const RATIOS: [f64; 2] = [1.0, 1e4];
const PAPERS: [f64; 2] = [1e-3, 1e3];
const FOUND: f64 = 1e-3;

/// The least factor of a range that is not too small.
fn least([mut low, mut high]: [f64; 2], too_small: impl Fn(f64) -> bool) -> f64 {
    if !too_small(low) {
        return low;
    }
    while high / low > 1.0 + FOUND {
        let middle = (low * high).sqrt();
        if too_small(middle) { low = middle } else { high = middle }
    }
    high
}

impl Bundle<'_> {
    /// Changes the noise of every photo; print and paper act as at `values`.
    pub(in crate::camera) fn set_noise(&mut self, noise: Vec<Noise>, values: &DVector<f64>) {
        let whitening = |view: usize| {
            let noise = noise[self.layout.views[view].photo];
            let by_tag = || Whitening::by_tag(&self.tags(view, values)?, noise);
            let by_tag = (noise.paper > 0.0).then(by_tag).flatten();
            by_tag.unwrap_or_else(|| Whitening::apart(self.targets[view], noise.ratio))
        };
        self.whitening = (0..self.targets.len()).map(whitening).collect();
        self.noise = noise;
    }

    /// Noise of every photo that the residuals of an estimate show; the noise of points is never less than stated.
    pub(in crate::camera) fn noise_found(&self, estimate: &Estimate) -> Vec<Noise> {
        (0..self.layout.photos.len()).map(|photo| self.noise_of(photo, estimate)).collect()
    }

    fn noise_of(&self, photo: usize, estimate: &Estimate) -> Noise {
        let modes = |view: usize| -> Option<Vec<TagModes>> {
            let residuals_px = self.residuals_px(view, &estimate.values)?;
            let tags = self.tags(view, &estimate.values)?;
            Some(tags.iter().map(|tag| tag.modes(&residuals_px[tag.range.clone()])).collect())
        };
        let tags: Vec<TagModes> = self.layout.views_of(photo).filter_map(modes).flatten().collect();
        let points: usize = tags.iter().map(|t| t.residuals.len()).sum();
        let squares = |noise: Noise, place_is_free: bool| -> f64 {
            tags.iter().filter_map(|t| t.squares(noise, place_is_free)).sum()
        };
        let used = estimate.freedom_used(photo);
        // The estimate uses the places of tags first, then their shapes.
        let shapes = points as f64 - (2.0 * tags.len() as f64).max(used);
        let shaped = |ratio: f64| squares(Noise { ratio, paper: 1.0 }, true) > shapes;
        let ratio = if shapes >= 1.0 { least(RATIOS, shaped) } else { 1.0 };
        // The factor that brings the sum of squares to its expectation (R. C. Paule, J. Mandel 1982). What is assumed
        // counts as one more coordinate: two or three tags show next to nothing of their places.
        let expected = (points as f64 - used).max(1.0) + 1.0;
        let exceeds = |paper: f64| squares(Noise { ratio, paper }, false) + paper.powi(-2) > expected;
        Noise { ratio, paper: least(PAPERS, exceeds) }
    }

    /// The tags of a view. `None` where a point comes to lie behind the camera.
    fn tags(&self, view: usize, values: &DVector<f64>) -> Option<Vec<TagNoise<'_>>> {
        let points = &self.targets[view].observations;
        let [by_x, by_y, by_height] = self.by_printed_place(view, values)?;
        let of_tag = |range: Range<usize>| {
            let points = &points[range.clone()];
            let middle = points.iter().map(|o| o.on_target.horizontal()).sum::<Vector2<f64>>();
            let middle = middle / points.len() as f64;
            let off: Vec<Vector2<f64>> = points.iter().map(|o| o.on_target.horizontal() - middle).collect();
            let by_height = &by_height[range.clone()];
            let height = |i: usize, j: usize| WAVE_U_MM.powi(2) + WAVE_SLOPE_U.powi(2) * off[i].dot(&off[j]);
            TagNoise {
                points,
                by_place: MatrixXx2::from_fn(points.len(), |i, j| [&by_x, &by_y][j][range.start + i]),
                waves: DMatrix::from_fn(points.len(), points.len(), |i, j| {
                    by_height[i] * by_height[j] * height(i, j)
                }),
                range,
            }
        };
        let mut ranges: Vec<Range<usize>> = Vec::new();
        for (i, o) in points.iter().enumerate() {
            match ranges.last_mut() {
                Some(range) if points[range.start].tag == o.tag => range.end = i + 1,
                _ => ranges.push(i..i + 1),
            }
        }
        Some(ranges.into_iter().map(of_tag).collect())
    }
}
