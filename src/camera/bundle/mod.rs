//! Bundle adjustment of photos of flat targets: lenses shared by photos, cards that may be bent, a pose of every card
//! in every photo, edge bloom of every photo.
//!
//! Each side of a tag is observed at the two points where a least-squares line through a slightly curved side crosses
//! it (the two Gauss points, 1/sqrt(3) of the half-length from the middle): there the fitted line neither gains nor
//! loses from the side's curvature, and the two offsets are uncorrelated.

mod layout;
mod noise;

use nalgebra::{DMatrix, DVector, Vector3};

use super::lens::Intrinsics;
use super::parameter::{BundleParameter, LensParameter, Scope};
use super::pose::PoseStart;
use super::target::TargetView;
use crate::card::side::Observation;
use crate::numeric::frame::CardPoint;
use crate::numeric::solve::{
    Estimate, JacobianBlock, JointPrior, Priors, ResidualModel, SolveError, minimise,
};
pub(super) use layout::Layout;
use layout::ViewLayout;
pub use noise::Noise;
use noise::Whitening;

/// Prior knowledge of a parameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// Nothing: the data or a joint prior determine it.
    Free,
    /// The start, with this standard uncertainty.
    Within(f64),
    /// The start, exactly.
    Fixed,
}

/// A photo of targets.
#[derive(Debug, Clone)]
pub struct BundlePhoto<'a> {
    /// Index of its lens.
    pub lens: usize,
    /// The lens at the prior mean, in pixels of this photo.
    pub base: Intrinsics,
    /// Its targets, each with the index of its card.
    pub views: Vec<(usize, &'a TargetView)>,
}

/// Photos with the layout of their parameters.
#[derive(Debug, Clone)]
pub struct Bundle<'a> {
    pub(super) layout: Layout,
    pub(super) targets: Vec<&'a TargetView>,
    pub(super) joint: Vec<JointPrior>,
    noise: Vec<Noise>,
    whitening: Vec<Whitening>,
}

impl<'a> Bundle<'a> {
    /// `None` when the homography of a card is degenerate.
    pub fn new(photos: &[BundlePhoto<'a>], known: impl Fn(BundleParameter) -> Known) -> Option<Self> {
        let layout = Layout::new(photos, known)?;
        let targets: Vec<_> = photos.iter().flat_map(|p| p.views.iter().map(|v| v.1)).collect();
        let noise = vec![Noise::STATED; photos.len()];
        let whitening = targets.iter().map(|target| Whitening::apart(target, 1.0)).collect();
        Some(Self { layout, targets, joint: Vec::new(), noise, whitening })
    }

    /// Noise of every photo.
    pub fn noise(&self) -> &[Noise] {
        &self.noise
    }

    /// With the correlated prior of the given parameters, which are free otherwise. `None` when the covariance is not
    /// positive definite or a parameter is fixed.
    pub fn with_joint_prior(
        mut self,
        parameters: impl IntoIterator<Item = BundleParameter>,
        covariance: &DMatrix<f64>,
    ) -> Option<Self> {
        let places = parameters.into_iter().map(|p| self.layout.index(p)).collect::<Option<Vec<_>>>()?;
        self.joint.push(JointPrior::new(places, covariance)?);
        Some(self)
    }

    /// The parameters, in the order of the estimate.
    pub fn parameters(&self) -> &[BundleParameter] {
        &self.layout.parameters
    }

    /// The prior mean.
    pub fn start(&self) -> DVector<f64> {
        DVector::zeros(self.layout.parameters.len())
    }

    /// Starts every pose through lenses with another focal length; gives the start of the parameters.
    ///
    /// # Errors
    /// [`SolveError::BadStart`] where a homography is degenerate.
    pub(super) fn start_at_focal(&mut self, log_factor: f64) -> Result<DVector<f64>, SolveError> {
        let mut start = self.start();
        for (view, target) in self.layout.views.iter_mut().zip(&self.targets) {
            let lens = self.layout.photos[view.photo].base.moved(LensParameter::Focal, log_factor);
            view.start =
                PoseStart::from_homography(&target.photo_from_target, &lens).ok_or(SolveError::BadStart)?;
        }
        for (i, parameter) in self.layout.parameters.iter().enumerate() {
            if matches!(parameter, BundleParameter::Lens(LensParameter::Focal, Scope::Lens(_))) {
                start[i] = log_factor;
            }
        }
        Ok(start)
    }

    /// Twice the negative logarithm of the posterior, noise included, up to a constant.
    pub(super) fn misfit(&self, estimate: &Estimate) -> f64 {
        estimate.cost - 2.0 * self.whitening.iter().map(Whitening::log_determinant).sum::<f64>()
    }

    /// The maximum-a-posteriori estimate.
    ///
    /// # Errors
    /// As [`minimise`].
    pub fn solve(&self, from: &DVector<f64>, settled: f64) -> Result<Estimate, SolveError> {
        minimise(self, &self.priors(), from, settled)
    }

    /// Sum of squares of the whitened residuals of a view.
    pub(super) fn squares_of(&self, view: usize, values: &DVector<f64>) -> Option<f64> {
        self.residuals_of(view, values).map(|r| r.norm_squared())
    }

    /// Fits the pose of one view, with everything else held at `values`; gives the values and the sum of squares of the
    /// view.
    ///
    /// # Errors
    /// As [`minimise`].
    pub(super) fn solve_pose(
        &self,
        view: usize,
        values: &DVector<f64>,
        settled: f64,
    ) -> Result<(DVector<f64>, f64), SolveError> {
        let posed = PoseOnly { bundle: self, view, values };
        let priors = Priors { u: vec![None; 6], joint: Vec::new() };
        let start = values.rows_range(self.layout.pose_places(view)).into_owned();
        let estimate = minimise(&posed, &priors, &start, settled)?;
        Ok((posed.with_pose(&estimate.values), estimate.cost))
    }

    fn priors(&self) -> Priors {
        let u = |known: &Known| if let Known::Within(u) = known { Some(*u) } else { None };
        Priors { u: self.layout.known.iter().map(u).collect(), joint: self.joint.clone() }
    }

    /// Residuals of a view, pixels; `None` where a point comes to lie behind the camera.
    pub fn residuals_px(&self, view: usize, values: &DVector<f64>) -> Option<Vec<f64>> {
        self.residuals_off(view, values, Vector3::zeros())
    }

    /// Derivatives of the residuals of a view by the place of its printed points: across, down and above the card,
    /// pixels per mm.
    fn by_printed_place(&self, view: usize, values: &DVector<f64>) -> Option<[Vec<f64>; 3]> {
        const STEP_MM: f64 = 0.1;
        let by = |axis: Vector3<f64>| {
            let at = |mm: f64| self.residuals_off(view, values, axis * mm);
            let both = at(STEP_MM)?.into_iter().zip(at(-STEP_MM)?);
            Some(both.map(|(more, less)| (more - less) / (2.0 * STEP_MM)).collect())
        };
        Some([by(Vector3::x())?, by(Vector3::y())?, by(Vector3::z())?])
    }

    /// Residuals of a view, pixels, with every printed point off its place.
    fn residuals_off(&self, view: usize, values: &DVector<f64>, off_mm: Vector3<f64>) -> Option<Vec<f64>> {
        let layout = &self.layout;
        let photo = layout.views[view].photo;
        let (lens, bloom_px) = (layout.intrinsics(photo, values), layout.bloom_px(photo, values));
        let (pose, paper) = (layout.pose(view, values), layout.paper(view, values));
        let residual = |o: &Observation| {
            let printed = layout.printed(view, o, values).vector() + off_mm;
            let on_card = paper.point(CardPoint::from(printed));
            let seen = lens.photo_from_ideal(pose.ideal_from_card(on_card)?);
            Some((seen.vector() - o.measured.vector()).dot(&o.across) + bloom_px)
        };
        self.targets[view].observations.iter().map(residual).collect()
    }

    /// Whitened residuals of a view.
    fn residuals_of(&self, view: usize, values: &DVector<f64>) -> Option<DVector<f64>> {
        let residuals_px = self.residuals_px(view, values)?;
        let mut whitened = DMatrix::from_vec(residuals_px.len(), 1, residuals_px);
        self.whitening[view].apply(&mut whitened);
        Some(whitened.column(0).into_owned())
    }

    /// Derivatives of the whitened residuals of a view by some of the parameters.
    fn derivatives(&self, view: usize, values: &DVector<f64>, by: &[usize]) -> Option<DMatrix<f64>> {
        let mut moved = values.clone();
        let mut derivative = |&parameter: &usize| {
            let step = self.layout.parameters[parameter].step();
            let mut at = |by: f64| {
                moved[parameter] = values[parameter] + by;
                self.residuals_px(view, &moved).map(DVector::from_vec)
            };
            let slope = (at(step)? - at(-step)?) / (2.0 * step);
            moved[parameter] = values[parameter];
            Some(slope)
        };
        let columns = by.iter().map(&mut derivative).collect::<Option<Vec<_>>>()?;
        let mut rows = DMatrix::from_columns(&columns);
        self.whitening[view].apply(&mut rows);
        Some(rows)
    }
}

impl ResidualModel for Bundle<'_> {
    fn residuals(&self, values: &DVector<f64>) -> Option<DVector<f64>> {
        let views = 0..self.targets.len();
        let all = views.map(|view| self.residuals_of(view, values)).collect::<Option<Vec<_>>>()?;
        Some(DVector::from_iterator(
            all.iter().map(DVector::len).sum(),
            all.iter().flat_map(|r| r.iter().copied()),
        ))
    }

    fn jacobian(&self, values: &DVector<f64>) -> Option<Vec<JacobianBlock>> {
        let block = |(view, layout): (usize, &ViewLayout)| {
            let rows = self.derivatives(view, values, &layout.columns)?;
            Some(JacobianBlock { group: layout.photo, columns: layout.columns.clone(), rows })
        };
        self.layout.views.iter().enumerate().map(block).collect()
    }
}

/// A view in which the pose alone may change.
struct PoseOnly<'a> {
    bundle: &'a Bundle<'a>,
    view: usize,
    values: &'a DVector<f64>,
}

impl PoseOnly<'_> {
    fn with_pose(&self, pose: &DVector<f64>) -> DVector<f64> {
        let mut values = self.values.clone();
        values.rows_range_mut(self.bundle.layout.pose_places(self.view)).copy_from(pose);
        values
    }
}

impl ResidualModel for PoseOnly<'_> {
    fn residuals(&self, pose: &DVector<f64>) -> Option<DVector<f64>> {
        self.bundle.residuals_of(self.view, &self.with_pose(pose))
    }

    fn jacobian(&self, pose: &DVector<f64>) -> Option<Vec<JacobianBlock>> {
        let places: Vec<usize> = self.bundle.layout.pose_places(self.view).collect();
        let rows = self.bundle.derivatives(self.view, &self.with_pose(pose), &places)?;
        Some(vec![JacobianBlock { group: 0, columns: (0..places.len()).collect(), rows }])
    }
}
