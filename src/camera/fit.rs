//! The camera of a photo from the cards in it.
//!
//! What the cards cannot show stays at its prior, and the covariance says so.

use nalgebra::DMatrix;

use super::ambiguity::{Ambiguity, ONE_MINIMUM};
use super::bundle::{Bundle, BundlePhoto, Known, Layout, Noise};
pub use super::camera_fit::CameraFit;
use super::lens::focal_from_homography;
use super::paper::BEND_U_MM;
use super::parameter::{BundleParameter, LensParameter, Scope};
use super::prior::{LensCovariance, LensPrior};
use super::target::TargetView;
use crate::numeric::solve::{Estimate, SETTLED, SolveError};

/// A mirrored pose that fits worse than this in sum of squares, through the lens of the first, is no rival: some
/// hundred residuals would be off by three of their uncertainties and more.
const RIVAL_GAP: f64 = 1000.0;
/// For that question the mirrored pose need not settle closer: its cost falls by no more than this part.
const ROUGHLY: f64 = 0.01;
/// Prior standard uncertainty of the bloom, pixels: blurred edges move with the camera's tone curve.
pub const BLOOM_U_PX: f64 = 0.3;

/// Fits the camera of one photo; the first card is the world.
///
/// # Errors
/// [`SolveError`] when the start poses or the fit fail.
pub fn fit_camera(prior: &LensPrior, cards: &[TargetView]) -> Result<CameraFit, SolveError> {
    let photo = BundlePhoto { lens: 0, base: prior.mean.into(), views: cards.iter().enumerate().collect() };
    let known = |parameter| match parameter {
        // The principal point is the photo's own: stabilisation moves it.
        BundleParameter::Lens(p, scope) if scope == own_scope(p) => of_prior(prior, p),
        BundleParameter::Lens(..) => Known::Fixed,
        other => of_photo(other),
    };
    let mut bundle = Bundle::new(&[photo], known).ok_or(SolveError::BadStart)?;
    if let Some(covariance) = &prior.covariance {
        bundle = with_joint_prior(bundle, covariance, own_scope)?;
    }
    let first = solve_from_starts(&mut bundle, prior, cards)?;
    let (estimate, mirror) = match solve_mirrored(&bundle, &first) {
        Ok(Mirrored::Apart) => (first, None),
        Ok(Mirrored::Rival(rival)) if rival.estimate.cost < first.cost => {
            let Rival { estimate, layout } = *rival;
            let mirror = Ambiguity::between(&layout, &estimate, (&bundle.layout, &first));
            bundle.layout = layout;
            (estimate, mirror)
        }
        Ok(Mirrored::Rival(rival)) => {
            let mirror = Ambiguity::between(&bundle.layout, &first, (&rival.layout, &rival.estimate));
            (first, mirror)
        }
        // The mirrored pose puts the camera behind the card, or leads nowhere.
        Err(_) => (first, None),
    };
    let fits = CameraFit::all(&bundle, estimate).ok_or(SolveError::BadStart)?;
    fits.into_iter().next().map(|fit| fit.with_ambiguity(mirror)).ok_or(SolveError::BadStart)
}

/// Starts farther from the prior than this many of its standard uncertainties are not tried.
const MOST_SIGMAS: f64 = 4.0;
/// A prior this uncertain leaves the focal length to the card, whose own start is tried too.
const WIDE_FOCAL_U: f64 = 0.1;

/// The best of the solutions from the prior's focal length and from those that the cards suggest.
fn solve_from_starts(
    bundle: &mut Bundle,
    prior: &LensPrior,
    cards: &[TargetView],
) -> Result<Estimate, SolveError> {
    let mean = &prior.mean;
    let centre = [mean.cx_px, mean.cy_px];
    let suggested = cards.iter().filter_map(|c| focal_from_homography(&c.photo_from_target, centre));
    let suggested: Vec<f64> = suggested.map(|focal_px| (focal_px / mean.focal_px).ln()).collect();
    let mut best: Option<(f64, Bundle, Estimate)> = None;
    let (mut minima, mut failure) = (Vec::new(), SolveError::NotConverged);
    for log_focal in std::iter::once(0.0).chain(suggested) {
        let settled = best.is_some() && prior.focal_relative_u < WIDE_FOCAL_U;
        if settled || log_focal.abs() > MOST_SIGMAS * prior.focal_relative_u {
            continue;
        }
        let mut tried = bundle.clone();
        let first = tried.start_at_focal(log_focal).and_then(|start| {
            tried.set_noise(vec![FIRST_NOISE], &start);
            tried.solve(&start, SETTLED)
        });
        let found = first.and_then(|first| {
            let is_new = minima.iter().all(|cost: &f64| (cost - first.cost).abs() > ONE_MINIMUM);
            minima.push(first.cost);
            is_new.then(|| settle_noise(&mut tried, first)).transpose()
        });
        match found {
            Ok(Some(estimate)) => {
                let misfit = tried.misfit(&estimate);
                if best.as_ref().is_none_or(|b| misfit < b.0) {
                    best = Some((misfit, tried, estimate));
                }
            }
            Ok(None) => {}
            Err(error) => failure = error,
        }
    }
    let (_, solved, estimate) = best.ok_or(failure)?;
    *bundle = solved;
    Ok(estimate)
}

/// With the correlated prior of a calibration.
pub(super) fn with_joint_prior<'a>(
    bundle: Bundle<'a>,
    covariance: &LensCovariance,
    scope: impl Fn(LensParameter) -> Scope,
) -> Result<Bundle<'a>, SolveError> {
    let parameters = LensParameter::ALL.map(|p| BundleParameter::Lens(p, scope(p)));
    let covariance = DMatrix::from_column_slice(8, 8, covariance.as_slice());
    bundle.with_joint_prior(parameters.into_iter().take(8), &covariance).ok_or(SolveError::Singular)
}

fn own_scope(parameter: LensParameter) -> Scope {
    if parameter.is_principal() { Scope::Photo(0) } else { Scope::Lens(0) }
}

/// The prior of a lens parameter by itself; free where the joint prior holds it.
pub(super) fn of_prior(prior: &LensPrior, parameter: LensParameter) -> Known {
    let [k1, k2, p1, p2, k3] = prior.distortion_u;
    let u = match parameter {
        LensParameter::Focal => prior.focal_relative_u,
        LensParameter::PrincipalX | LensParameter::PrincipalY => prior.principal_u_px,
        LensParameter::K1 => k1,
        LensParameter::K2 => k2,
        LensParameter::P1 => p1,
        LensParameter::P2 => p2,
        LensParameter::K3 => k3,
        LensParameter::PixelAspect | LensParameter::Skew => return Known::Fixed,
    };
    if prior.covariance.is_some() { Known::Free } else { Known::Within(u) }
}

/// The prior of what is not the lens's.
pub(super) fn of_photo(parameter: BundleParameter) -> Known {
    match parameter {
        BundleParameter::Bloom { .. } => Known::Within(BLOOM_U_PX),
        BundleParameter::Bend { .. } => Known::Within(BEND_U_MM),
        BundleParameter::Pose { .. } => Known::Free,
        BundleParameter::Lens(..) | BundleParameter::PrintAspect | BundleParameter::TagPlace { .. } => {
            Known::Fixed
        }
    }
}

/// Initial factor on the stated noise: starting low, the residuals would drag the lens far from its prior.
const FIRST_NOISE: Noise = Noise { ratio: 10.0, paper: 0.0 };
/// Most iterations over the noise, and the relative change at which it counts as found.
const NOISE_ITERATIONS: usize = 12;
const NOISE_SETTLED: f64 = 0.02;

/// Solves again with the noise that the residuals show, until the noise converges.
fn settle_noise(bundle: &mut Bundle, mut estimate: Estimate) -> Result<Estimate, SolveError> {
    for _ in 0..NOISE_ITERATIONS {
        let found = bundle.noise_found(&estimate);
        if found.iter().zip(bundle.noise()).all(|(found, noise)| found.is_near(noise, NOISE_SETTLED)) {
            break;
        }
        bundle.set_noise(found, &estimate.values);
        estimate = bundle.solve(&estimate.values, SETTLED)?;
    }
    Ok(estimate)
}

/// Fate of the first card's mirrored pose.
enum Mirrored {
    /// Through the lens found it fits so much worse that no lens makes up for it.
    Apart,
    /// It fits well enough to be tried with every parameter free.
    Rival(Box<Rival>),
}

/// A second solution, with the layout of its values.
struct Rival {
    estimate: Estimate,
    layout: Layout,
}

/// Tries the first card's mirrored pose: first through the lens found, since a free lens far from any solution runs
/// away; then, where the fit is near, with everything free.
fn solve_mirrored(bundle: &Bundle, first: &Estimate) -> Result<Mirrored, SolveError> {
    let (layout, values) = bundle.layout.restarted(&first.values);
    let mut mirrored = bundle.clone();
    mirrored.layout = layout;
    let start = &mut mirrored.layout.views[0].start;
    start.pose = start.pose.mirrored();
    let (values, near) = mirrored.solve_pose(0, &values, ROUGHLY)?;
    let found = bundle.squares_of(0, &first.values).ok_or(SolveError::BadStart)?;
    if near > found + RIVAL_GAP {
        return Ok(Mirrored::Apart);
    }
    let estimate = mirrored.solve(&values, SETTLED)?;
    Ok(Mirrored::Rival(Box::new(Rival { estimate, layout: mirrored.layout })))
}
