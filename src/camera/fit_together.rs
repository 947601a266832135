//! Cameras of several photos in one bundle adjustment, with what the photos have in common.

use super::bundle::{Bundle, BundlePhoto, Known, Noise};
use super::camera_fit::CameraFit;
use super::fit::{of_photo, of_prior, with_joint_prior};
use super::lens::Lens;
use super::parameter::{BundleParameter, LensParameter, Scope};
use super::pose::PoseStart;
use super::prior::{FOCAL_CHANGE_U, LensPrior};
use super::target::TargetView;
use crate::numeric::solve::{Estimate, SETTLED, SolveError};

/// A photo to be fitted with others.
#[derive(Debug, Clone)]
pub struct PhotoTogether<'a> {
    /// Its camera by itself.
    pub fit: &'a CameraFit,
    /// The prior of its lens.
    pub prior: LensPrior,
    /// Index of the first photo through the same lens.
    pub lens: usize,
    /// Index of the first photo for which the sensor was held the same way.
    pub held: usize,
    /// Its cards in the order of the fit, each with an index that is the same in all photos.
    pub cards: Vec<(usize, TargetView)>,
}

/// What the photos of a bundle have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sharing {
    /// Photos of one lens have one focal length and one distortion.
    pub lenses: bool,
    /// A card is bent alike in all photos.
    pub cards: bool,
}

/// A sum of squares that grows by more than this where some eight to ten parameters are shared contradicts sharing them:
/// one in ten thousand by chance.
const MOST_GROWTH: f64 = 35.0;

/// Fits the cameras of several photos in one bundle, sharing what the photos do not contradict.
///
/// # Errors
/// As [`Bundle::solve`].
pub fn fit_together(photos: &[PhotoTogether]) -> Result<(Vec<CameraFit>, Sharing), SolveError> {
    let nothing = Sharing { lenses: false, cards: false };
    let all = Sharing { lenses: true, cards: true };
    let apart = solve(photos, nothing)?;
    let agrees = |sharing: Sharing| {
        let shared = solve(photos, sharing).ok()?;
        (shared.1.cost - apart.1.cost <= MOST_GROWTH).then_some((shared, sharing))
    };
    let tried = [all, Sharing { cards: false, ..all }, Sharing { lenses: false, ..all }];
    let ((bundle, estimate), sharing) = tried.into_iter().find_map(agrees).unwrap_or((apart, nothing));
    let fits = CameraFit::all(&bundle, estimate).ok_or(SolveError::BadStart)?;
    let fits = fits.into_iter().zip(photos).map(|(fit, photo)| fit.with_ambiguity_of(photo.fit));
    Ok((fits.collect(), sharing))
}

fn solve<'a>(photos: &'a [PhotoTogether], sharing: Sharing) -> Result<(Bundle<'a>, Estimate), SolveError> {
    let lens_of = |photo: usize| if sharing.lenses { photos[photo].lens } else { photo };
    let of_lens = |lens: usize| (0..photos.len()).filter(move |photo| lens_of(*photo) == lens);
    // A photo whose card contradicts its EXIF has a wider prior.
    let prior_of = |lens: usize| {
        let priors = of_lens(lens).map(|photo| photos[photo].prior);
        priors.max_by(|a, b| a.focal_relative_u.total_cmp(&b.focal_relative_u)).expect("a photo of each lens")
    };
    // Stabilisation moves the principal point of each photo, and focusing its focal length. A lens that is off its axis is so
    // in the frame of the sensor.
    let is_own = |p: LensParameter, lens: usize| match p {
        LensParameter::PrincipalX | LensParameter::PrincipalY => prior_of(lens).covariance.is_none(),
        LensParameter::P1 | LensParameter::P2 => {
            let held: Vec<usize> = of_lens(lens).map(|photo| photos[photo].held).collect();
            held.iter().any(|h| *h != held[0])
        }
        _ => false,
    };
    let known = |parameter| match parameter {
        BundleParameter::Lens(p, Scope::Lens(lens)) if !is_own(p, lens) => of_prior(&prior_of(lens), p),
        BundleParameter::Lens(p, Scope::Photo(photo)) if is_own(p, lens_of(photo)) => {
            of_prior(&photos[photo].prior, p)
        }
        BundleParameter::Lens(LensParameter::Focal, Scope::Photo(photo))
            if of_lens(lens_of(photo)).count() > 1 =>
        {
            Known::Within(FOCAL_CHANGE_U)
        }
        BundleParameter::Lens(..) => Known::Fixed,
        other => of_photo(other),
    };
    let cards = 1 + photos.iter().flat_map(|p| p.cards.iter().map(|c| c.0)).max().unwrap_or(0);
    let bundled = |(number, photo): (usize, &'a PhotoTogether)| BundlePhoto {
        lens: lens_of(number),
        base: prior_of(lens_of(number)).mean.into(),
        views: photo
            .cards
            .iter()
            .map(|(card, view)| (if sharing.cards { *card } else { number * cards + card }, view))
            .collect(),
    };
    let bundled: Vec<BundlePhoto> = photos.iter().enumerate().map(bundled).collect();
    let mut bundle = Bundle::new(&bundled, known).ok_or(SolveError::BadStart)?;
    for lens in (0..photos.len()).filter(|lens| of_lens(*lens).next().is_some()) {
        if let Some(covariance) = &prior_of(lens).covariance {
            bundle = with_joint_prior(bundle, covariance, |_| Scope::Lens(lens))?;
        }
    }
    let poses = photos.iter().flat_map(|p| p.fit.card_poses.iter().map(|pose| (pose, p.fit.camera.lens)));
    for (view, (pose, lens)) in bundle.layout.views.iter_mut().zip(poses) {
        view.start = PoseStart::new(*pose, &lens.into());
    }
    let mut start = bundle.start();
    for (value, parameter) in start.iter_mut().zip(bundle.parameters()) {
        let own: Vec<usize> = match parameter {
            BundleParameter::Lens(_, Scope::Lens(lens)) => of_lens(*lens).collect(),
            BundleParameter::Lens(p, Scope::Photo(photo)) if *p != LensParameter::Focal => vec![*photo],
            _ => continue,
        };
        let BundleParameter::Lens(p, _) = parameter else { continue };
        let found = |photo: &usize| {
            let [from, to] = [prior_of(lens_of(*photo)).mean, photos[*photo].fit.camera.lens];
            value_of(*p, &to) - value_of(*p, &from)
        };
        *value = own.iter().map(found).sum::<f64>() / own.len() as f64;
    }
    // Print and paper are the same in every photo of a card: so many photos know them no better than one.
    let noise =
        |p: &PhotoTogether| Noise { paper: p.fit.noise.paper * (photos.len() as f64).sqrt(), ..p.fit.noise };
    bundle.set_noise(photos.iter().map(noise).collect(), &start);
    let estimate = bundle.solve(&start, SETTLED)?;
    Ok((bundle, estimate))
}

fn value_of(parameter: LensParameter, lens: &Lens) -> f64 {
    let [k1, k2, p1, p2, k3] = lens.distortion;
    match parameter {
        LensParameter::Focal => lens.focal_px.ln(),
        LensParameter::PrincipalX => lens.cx_px,
        LensParameter::PrincipalY => lens.cy_px,
        LensParameter::K1 => k1,
        LensParameter::K2 => k2,
        LensParameter::P1 => p1,
        LensParameter::P2 => p2,
        LensParameter::K3 => k3,
        LensParameter::PixelAspect | LensParameter::Skew => 0.0,
    }
}
