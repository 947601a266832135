//! Lens calibration from several views of a flat target: Zhang's closed form for the start, then a bundle adjustment of
//! all views, with as many terms of distortion as the views support.

pub mod advice;
pub mod agreement;
pub mod closed_form;
pub mod coverage;
pub mod phone;
pub mod terms;

use nalgebra::{DMatrix, DVector};

use super::bundle::{Bundle, BundlePhoto, Known, Noise};
use super::fit::BLOOM_U_PX;
use super::lens::Intrinsics;
use super::paper::{BEND_U_MM, TAG_PLACE_U_MM};
use super::parameter::{BundleParameter, LensParameter, Scope};
use super::pose::CameraPose;
use super::target::TargetView;
use crate::numeric::solve::{Estimate, ResidualModel, SolveError};

/// Parameters that a calibration fits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensModel {
    /// Logarithm of the focal length.
    pub focal: Known,
    /// Each coordinate of the principal point, pixels.
    pub principal: Known,
    /// `k1 k2 p1 p2 k3`.
    pub distortion: [Known; 5],
    /// Logarithm of the ratio of both focal lengths.
    pub pixel_aspect: Known,
    /// Skew, pixels.
    pub skew: Known,
    /// Logarithm of the ratio of the target's printed scales, down over across.
    pub print_aspect: Known,
    /// Whether the target is a printed card, with edge bloom and bends in each view and tags off their places in all of
    /// them; plain points have none.
    pub printed: bool,
}

impl LensModel {
    fn known(&self, parameter: BundleParameter) -> Known {
        let [k1, k2, p1, p2, k3] = self.distortion;
        match parameter {
            BundleParameter::Lens(_, Scope::Photo(_) | Scope::Print(_)) => Known::Fixed,
            BundleParameter::Lens(parameter, Scope::Lens(_)) => match parameter {
                LensParameter::Focal => self.focal,
                LensParameter::PrincipalX | LensParameter::PrincipalY => self.principal,
                LensParameter::K1 => k1,
                LensParameter::K2 => k2,
                LensParameter::P1 => p1,
                LensParameter::P2 => p2,
                LensParameter::K3 => k3,
                LensParameter::PixelAspect => self.pixel_aspect,
                LensParameter::Skew => self.skew,
            },
            BundleParameter::PrintAspect => self.print_aspect,
            BundleParameter::Pose { .. } => Known::Free,
            BundleParameter::Bloom { .. } if self.printed => Known::Within(BLOOM_U_PX),
            BundleParameter::Bend { .. } if self.printed => Known::Within(BEND_U_MM),
            BundleParameter::TagPlace { .. } if self.printed => Known::Within(TAG_PLACE_U_MM),
            BundleParameter::Bloom { .. }
            | BundleParameter::Bend { .. }
            | BundleParameter::TagPlace { .. } => Known::Fixed,
        }
    }

    /// Each view is a photo of its own, with a target of its own.
    fn bundle<'a>(&self, views: &'a [TargetView], base: Intrinsics) -> Option<Bundle<'a>> {
        let photo = |(i, view)| BundlePhoto { lens: 0, base, views: vec![(i, view)] };
        let photos: Vec<_> = views.iter().enumerate().map(photo).collect();
        Bundle::new(&photos, |parameter| self.known(parameter))
    }
}

/// Parameters that all views share: those of the lens, then the printed scales' ratio.
fn shared() -> impl Iterator<Item = BundleParameter> {
    let lens = LensParameter::ALL.map(|p| BundleParameter::Lens(p, Scope::Lens(0)));
    lens.into_iter().chain([BundleParameter::PrintAspect])
}

/// A calibrated camera with the pose of every view.
#[derive(Debug, Clone)]
pub struct Calibration {
    /// The intrinsics.
    pub intrinsics: Intrinsics,
    /// Pose of the target in each view.
    pub poses: Vec<CameraPose>,
    /// Covariance of the lens parameters in the order of [`LensParameter::ALL`], then of the logarithm of the ratio of
    /// the printed scales; rows of what is not fitted are zero.
    pub covariance: DMatrix<f64>,
    /// Logarithm of the ratio of the target's printed scales, down over across.
    pub print_aspect: f64,
    /// Root mean square of the residuals along their directions, pixels.
    pub rms_px: f64,
    /// Sum of squares of the residuals in pixels.
    pub sum_of_squares_px2: f64,
    /// Factor by which the residuals exceed their stated uncertainties; the covariance includes it.
    pub noise_ratio: f64,
    /// Number of residuals and of fitted parameters.
    pub counts: (usize, usize),
    /// Sum of squares of residuals and priors at the noise found.
    pub cost: f64,
}

/// Relative fall of the cost below which a fit of plain points counts as settled: with some thousand residuals the
/// values then move by less than a ten-thousandth of their uncertainty.
const SETTLED: f64 = 1e-12;
/// With priors that hold what the views leave open there may be a long flat valley, in which a hundredth of an
/// uncertainty is near enough.
const SETTLED_PRINTED: f64 = 1e-8;
/// Most iterations over the noise, and the relative change at which it counts as found.
const NOISE_ITERATIONS: usize = 12;
const NOISE_SETTLED: f64 = 0.003;
/// Exact points have no noise; the ratio must stay a number to divide by.
const LEAST_NOISE_RATIO: f64 = 1e-6;

/// Adjusts all views at once, from the given intrinsics.
///
/// # Errors
/// [`SolveError`] when the views do not determine what the model asks for, or the fit does not settle.
pub fn calibrate(
    views: &[TargetView],
    start: Intrinsics,
    model: &LensModel,
) -> Result<Calibration, SolveError> {
    let mut bundle = model.bundle(views, start).ok_or(SolveError::BadStart)?;
    let settled = if model.printed { SETTLED_PRINTED } else { SETTLED };
    let mut from = bundle.start();
    // From above: small residuals beside a large noise leave the priors their say while the fit is far off.
    let mut ratio = 10.0;
    let mut solved = None;
    for _ in 0..NOISE_ITERATIONS {
        bundle.set_noise(vec![Noise { ratio, paper: 0.0 }; views.len()], &from);
        let estimate = bundle.solve(&from, settled)?;
        from.copy_from(&estimate.values);
        let found = ratio * reduced(&estimate);
        let settled = (found / ratio - 1.0).abs() < NOISE_SETTLED;
        solved = Some((estimate, ratio));
        if settled {
            break;
        }
        ratio = found.max(LEAST_NOISE_RATIO);
    }
    let (estimate, ratio) = solved.ok_or(SolveError::NotConverged)?;
    Calibration::of(&bundle, &estimate, ratio).ok_or(SolveError::BadStart)
}

/// Root of the reduced sum of squares: priors count as data, so a parameter with one takes no freedom.
fn reduced(estimate: &Estimate) -> f64 {
    let free = estimate.priors.u.iter().filter(|u| u.is_none()).count();
    let freedom = estimate.residuals.len().saturating_sub(free).max(1) as f64;
    (estimate.cost / freedom).sqrt()
}

impl Calibration {
    fn of(bundle: &Bundle, estimate: &Estimate, ratio: f64) -> Option<Self> {
        let (layout, values) = (&bundle.layout, &estimate.values);
        let views = 0..layout.views.len();
        let residuals =
            views.clone().map(|view| bundle.residuals_px(view, values)).collect::<Option<Vec<_>>>()?;
        let squares: Vec<f64> = residuals.iter().flatten().map(|r| r * r).collect();
        let sum: f64 = squares.iter().sum();
        let places: Vec<Option<usize>> = shared().map(|p| layout.index(p)).collect();
        let covariance = DMatrix::from_fn(places.len(), places.len(), |a, b| {
            places[a].zip(places[b]).map_or(0.0, |(i, j)| estimate.covariance[(i, j)])
        });
        Some(Self {
            intrinsics: layout.intrinsics(0, values),
            poses: views.map(|view| layout.pose(view, values)).collect(),
            covariance,
            print_aspect: layout.index(BundleParameter::PrintAspect).map_or(0.0, |i| values[i]),
            rms_px: (sum / squares.len().max(1) as f64).sqrt(),
            sum_of_squares_px2: sum,
            noise_ratio: ratio,
            counts: (squares.len(), values.len()),
            cost: estimate.cost,
        })
    }

    /// The same with every uncertainty larger by a factor.
    pub fn widened(self, by: f64) -> Self {
        Self { covariance: self.covariance * by.powi(2), ..self }
    }

    /// Standard uncertainty of one of the shared parameters, in the order of [`Self::covariance`].
    pub fn u(&self, index: usize) -> f64 {
        self.covariance[(index, index)].max(0.0).sqrt()
    }

    /// Standard uncertainty of the focal length across, pixels.
    pub fn focal_u_px(&self) -> f64 {
        self.intrinsics.fx_px * self.u(0)
    }
}

/// Information of one view on the shared parameters, with the noise that its points state: the normal matrix with
/// everything else eliminated.
fn information(bundle: &Bundle, values: &DVector<f64>) -> Option<DMatrix<f64>> {
    let block = bundle.jacobian(values)?.into_iter().next()?;
    let mut normal = block.rows.tr_mul(&block.rows);
    let is_shared = |column: &usize| shared().any(|shared| shared == bundle.parameters()[*column]);
    let (shared, own): (Vec<usize>, Vec<usize>) =
        (0..block.columns.len()).partition(|i| is_shared(&block.columns[*i]));
    for &i in &own {
        if let Known::Within(u) = bundle.layout.known[block.columns[i]] {
            normal[(i, i)] += 1.0 / (u * u);
        }
    }
    let part = |rows: &[usize], columns: &[usize]| normal.select_rows(rows).select_columns(columns);
    let across = part(&shared, &own);
    Some(part(&shared, &shared) - &across * part(&own, &own).try_inverse()? * across.transpose())
}
