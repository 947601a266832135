//! Camera of a photo as a bundle adjustment of it, or of several photos together, found it.

use std::sync::Arc;

use nalgebra::DVector;

use super::Camera;
use super::ambiguity::Ambiguity;
use super::bundle::{Bundle, Layout, Noise};
use super::lens::Lens;
use super::level::{CommonLevel, LEVEL_U};
use super::parameter::{BundleParameter, LensParameter, Scope, UncertaintySource};
use super::pose::CameraPose;
use crate::numeric::frame::CardPoint;
use crate::numeric::solve::{Estimate, EstimateSource};

/// Camera of a photo with the estimate it belongs to.
#[derive(Debug, Clone)]
pub struct CameraFit {
    /// The camera at the estimate, over the first card.
    pub camera: Camera,
    /// Pose of every card of the photo in the camera's axes.
    pub card_poses: Vec<CameraPose>,
    /// The estimate, which all photos of a bundle share.
    pub estimate: Arc<Estimate>,
    /// Noise of the observations as the residuals show it; the covariance includes it.
    pub noise: Noise,
    /// Root mean square of the distances between measured and computed side points, pixels.
    pub rms_px: f64,
    /// The same for every card.
    pub card_rms_px: Vec<f64>,
    /// The mirrored pose, where it fits about as well.
    pub ambiguity: Option<Ambiguity>,
    /// The level that several cards agree on, in the place of the first card's plane.
    pub level: Option<CommonLevel>,
    layout: Arc<Layout>,
    photo: usize,
}

impl CameraFit {
    /// The cameras of all photos of a bundle. `None` where one shows no card.
    pub(super) fn all(bundle: &Bundle, estimate: Estimate) -> Option<Vec<Self>> {
        let (layout, estimate) = (Arc::new(bundle.layout.clone()), Arc::new(estimate));
        let values = &estimate.values;
        let rms = |squares: &[f64]| (squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt();
        let squares = |view: usize| -> Vec<f64> {
            let residuals = bundle.residuals_px(view, values);
            residuals.unwrap_or_default().iter().map(|r| r * r).collect()
        };
        let of_photo = |photo: usize| {
            let squares: Vec<Vec<f64>> = layout.views_of(photo).map(squares).collect();
            let card_poses: Vec<CameraPose> =
                layout.views_of(photo).map(|view| layout.pose(view, values)).collect();
            Some(Self {
                camera: Camera {
                    lens: layout.intrinsics(photo, values).with_square_pixels(),
                    pose: *card_poses.first()?,
                },
                card_poses,
                noise: bundle.noise()[photo],
                rms_px: rms(&squares.concat()),
                card_rms_px: squares.iter().map(|s| rms(s)).collect(),
                ambiguity: None,
                level: None,
                layout: layout.clone(),
                estimate: estimate.clone(),
                photo,
            })
        };
        (0..layout.photos.len()).map(of_photo).collect()
    }

    pub(super) fn with_ambiguity(self, ambiguity: Option<Ambiguity>) -> Self {
        Self { ambiguity, ..self }
    }

    /// With the ambiguity of the photo by itself, in whose bundle it was the first and its cards were numbered in order.
    pub(super) fn with_ambiguity_of(self, alone: &Self) -> Self {
        let cards: Vec<usize> = self.views().map(|view| self.layout.views[view].card).collect();
        let (photo, lens) = (self.photo, self.layout.photos[self.photo].lens);
        let index = |parameter: &BundleParameter| match *parameter {
            BundleParameter::Lens(p, _) => [Scope::Lens(lens), Scope::Photo(photo)]
                .into_iter()
                .find_map(|scope| self.layout.index(BundleParameter::Lens(p, scope))),
            BundleParameter::Bloom { .. } => self.layout.index(BundleParameter::Bloom { photo }),
            BundleParameter::Bend { card, axis } => {
                self.layout.index(BundleParameter::Bend { card: cards[card], axis })
            }
            BundleParameter::Pose { card, parameter, .. } => {
                self.layout.index(BundleParameter::Pose { photo, card: cards[card], parameter })
            }
            BundleParameter::PrintAspect | BundleParameter::TagPlace { .. } => None,
        };
        let places: Vec<Option<usize>> = alone.parameters().iter().map(index).collect();
        let count = self.parameters().len();
        let ambiguity = alone.ambiguity.as_ref().map(|a| a.in_parameters(&places, count));
        self.with_ambiguity(ambiguity)
    }

    /// The parameters, in the order of the estimate.
    pub fn parameters(&self) -> &[BundleParameter] {
        &self.layout.parameters
    }

    /// Whether a parameter moves this photo's camera or cards.
    pub fn depends_on(&self, index: usize) -> bool {
        self.views().any(|view| self.layout.views[view].columns.contains(&index))
    }

    /// Whether a parameter moves the camera.
    pub fn moves_camera(&self, index: usize) -> bool {
        match self.parameters()[index] {
            BundleParameter::Lens(..) => self.depends_on(index),
            BundleParameter::Pose { .. } => {
                self.depends_on(index)
                    && (self.level.is_some() || self.layout.pose_places(self.view(0)).contains(&index))
            }
            _ => false,
        }
    }

    /// Independent sources of the estimate's uncertainty, each with the signed change of the parameters by one of its
    /// standard uncertainties. Their outer products add up to the covariance. Photos of one bundle have the
    /// same sources.
    pub fn sources(&self) -> Vec<(UncertaintySource, DVector<f64>)> {
        let named = |source| match source {
            EstimateSource::Data(photo) => UncertaintySource::Data { photo },
            EstimateSource::Prior(index) => UncertaintySource::Prior(self.layout.parameters[index]),
        };
        let data = UncertaintySource::Data { photo: self.photo };
        let ambiguity = self.ambiguity.iter().map(|a| (data, a.part()));
        self.estimate
            .parts()
            .into_iter()
            .map(|(source, part)| (named(source), part))
            .chain(ambiguity)
            .collect()
    }

    /// The camera with one parameter of the estimate moved, for propagating uncertainty.
    pub fn camera_moved(&self, index: usize, delta: f64) -> Camera {
        let mut values = self.estimate.values.clone();
        values[index] += delta;
        self.camera_at(&values)
    }

    /// The camera at other parameter values, such as a draw from the estimate's distribution.
    pub fn camera_at(&self, values: &DVector<f64>) -> Camera {
        let Camera { lens, pose } = self.camera_over(0, values);
        let pose = self.level.as_ref().map_or(pose, |level| level.pose(&self.layout, pose, values));
        Camera { lens, pose }
    }

    /// With the level that the photo's cards agree on, where it shows several.
    pub fn levelled(self) -> Self {
        let views: Vec<usize> = self.views().collect();
        let levelled = Self { level: CommonLevel::of(&self.layout, &views, &self.estimate), ..self };
        Self { camera: levelled.camera_at(&levelled.estimate.values), ..levelled }
    }

    /// Standard uncertainty of the slope, in each direction, of the level that the camera stands over.
    pub fn level_u(&self) -> f64 {
        self.level.as_ref().map_or(LEVEL_U, |level| level.u)
    }

    /// The camera over any of the photo's cards, in that card's frame.
    pub fn camera_over(&self, card: usize, values: &DVector<f64>) -> Camera {
        Camera { lens: self.lens_at(values), pose: self.layout.pose(self.view(card), values) }
    }

    fn lens_at(&self, values: &DVector<f64>) -> Lens {
        self.layout.intrinsics(self.photo, values).with_square_pixels()
    }

    fn views(&self) -> impl Iterator<Item = usize> + '_ {
        self.layout.views_of(self.photo)
    }

    fn view(&self, card: usize) -> usize {
        self.views().nth(card).unwrap_or_default()
    }

    /// Height of a card's bent paper over the card's own plane, mm.
    pub fn paper_height_mm(&self, card: usize, on_card: CardPoint, values: &DVector<f64>) -> f64 {
        self.layout.paper(self.view(card), values).point(on_card).z_mm
    }

    /// Distance by which the edges of dark things on white appear outwards of their place, pixels.
    pub fn bloom_px(&self) -> f64 {
        self.layout.bloom_px(self.photo, &self.estimate.values)
    }

    /// Standard uncertainty of the focal length, pixels.
    pub fn focal_u_px(&self) -> f64 {
        self.camera.lens.focal_px * self.lens_u(LensParameter::Focal)
    }

    /// Variance of the prior of the focal length.
    fn focal_prior_variance(&self) -> f64 {
        let own = self.lens_places(LensParameter::Focal);
        own.filter_map(|i| self.estimate.priors.variance(i)).sum()
    }

    /// Standard uncertainty of the focal length over that of its prior.
    pub fn focal_narrowed(&self) -> f64 {
        self.lens_u(LensParameter::Focal) / self.focal_prior_variance().sqrt()
    }

    /// Distance of the focal length from its prior in standard deviations of that distance: what the card says by itself
    /// against what was known before.
    pub fn focal_conflict(&self) -> f64 {
        let moved: f64 = self.lens_places(LensParameter::Focal).map(|i| self.estimate.values[i]).sum();
        let gained = self.focal_prior_variance() - self.lens_u(LensParameter::Focal).powi(2);
        if gained > 0.0 { moved / gained.sqrt() } else { 0.0 }
    }

    /// Largest distance of a lens parameter or bend from its prior, in standard uncertainties of the prior. A blurred
    /// photo has a larger bloom than usual, which every side shows.
    pub fn prior_strain(&self) -> f64 {
        let strain = |(i, parameter): (usize, &BundleParameter)| {
            let variance = self.estimate.priors.variance(i).filter(|_| self.depends_on(i))?;
            let is_bloom = matches!(parameter, BundleParameter::Bloom { .. });
            (!is_bloom).then(|| self.estimate.values[i].abs() / variance.sqrt())
        };
        self.layout.parameters.iter().enumerate().filter_map(strain).fold(0.0, f64::max)
    }

    /// Places of a lens parameter of this photo.
    fn lens_places(&self, parameter: LensParameter) -> impl Iterator<Item = usize> + '_ {
        let is_own = move |p: &BundleParameter| matches!(p, BundleParameter::Lens(q, _) if *q == parameter);
        let places = self.layout.parameters.iter().enumerate();
        places.filter(move |(i, p)| is_own(p) && self.depends_on(*i)).map(|(i, _)| i)
    }

    /// Standard uncertainties of the principal point, pixels.
    pub fn principal_u_px(&self) -> [f64; 2] {
        [LensParameter::PrincipalX, LensParameter::PrincipalY].map(|p| self.lens_u(p))
    }

    /// Standard uncertainty of a lens parameter of this photo.
    fn lens_u(&self, parameter: LensParameter) -> f64 {
        let mut gradient = DVector::zeros(self.layout.parameters.len());
        self.lens_places(parameter).for_each(|i| gradient[i] = 1.0);
        self.estimate.variance_of(&gradient).sqrt()
    }

    /// Sagittas of a card across its width and height, with standard uncertainties, mm.
    pub fn bend_mm(&self, card: usize) -> [(f64, f64); 2] {
        let places = self.layout.bends(self.view(card));
        places.map(|at| at.map_or((0.0, 0.0), |i| (self.estimate.values[i], self.estimate.u(i))))
    }
}
