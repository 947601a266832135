//! The camera's maximum-a-posteriori fit: pose of every card, focal length, principal point, distortion, card bend
//! and the bloom of black edges, from the measured sides of the cards' tags.
//!
//! What the card cannot show stays at its prior, and the covariance says so. Each side of a tag is observed at the
//! two points where a least-squares line through a slightly curved side crosses it (the two Gauss points, 1/sqrt(3)
//! of the half-length from the middle): there the fitted line neither gains nor loses from the side's curvature,
//! and the two offsets are uncorrelated.

use nalgebra::{DVector, Matrix3, Vector3};

use super::Camera;
use super::lens::Lens;
use super::pose::{Pose, pose_from_homography};
use crate::card::FoundCard;
use crate::card::side::SidePoint;
use crate::ground::frame::CardPoint;
use crate::ground::solve::{Estimate, Parameter, SolveError, minimise};

/// A card as the fit needs it.
#[derive(Debug, Clone, Copy)]
pub struct CardInFit {
    /// Half-width of the pattern, mm.
    pub half_width_mm: f64,
    /// Half-height of the pattern, mm.
    pub half_height_mm: f64,
    /// Homography from the card's plane (mm) to photo pixels, for the start.
    pub photo_from_plane: Matrix3<f64>,
}

impl From<&FoundCard> for CardInFit {
    fn from(card: &FoundCard) -> Self {
        Self {
            half_width_mm: card.pattern.width_mm / 2.0,
            half_height_mm: card.pattern.height_mm / 2.0,
            photo_from_plane: card.photo_from_plane,
        }
    }
}

/// What is known of the lens beforehand: mean and standard uncertainty of each part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensPrior {
    /// The mean.
    pub mean: Lens,
    /// Relative standard uncertainty of the focal length.
    pub focal_relative_u: f64,
    /// Standard uncertainty of each coordinate of the principal point, pixels.
    pub principal_u_px: f64,
    /// Standard uncertainties of `k1 k2 p1 p2 k3`.
    pub distortion_u: [f64; 5],
}

/// Standard uncertainty of `k1 k2 p1 p2 k3` of a phone's main camera whose maker's own correction is unknown: the
/// corner of the picture (ideal radius 0.83 at 26 mm) moves by up to some 4 % either way. A stated assumption.
const PHONE_DISTORTION_U: [f64; 5] = [0.05, 0.02, 0.0007, 0.0007, 0.005];
/// Principal point of a phone: centring and image stabilisation leave it within about 0.5 % of the long side.
const PRINCIPAL_RELATIVE_U: f64 = 0.005;

impl LensPrior {
    /// The prior of an uncalibrated camera with the given focal length.
    pub fn uncalibrated(width_px: usize, height_px: usize, focal_px: f64, focal_relative_u: f64) -> Self {
        let (w, h) = (width_px as f64, height_px as f64);
        Self {
            mean: Lens { focal_px, cx_px: (w - 1.0) / 2.0, cy_px: (h - 1.0) / 2.0, distortion: [0.0; 5] },
            focal_relative_u,
            principal_u_px: PRINCIPAL_RELATIVE_U * w.max(h),
            distortion_u: PHONE_DISTORTION_U,
        }
    }
}

/// The fit's result: the camera, the cards, and everything that propagates.
#[derive(Debug, Clone)]
pub struct CameraFit {
    /// The camera at the estimate.
    pub camera: Camera,
    /// Pose of every card in the camera's axes.
    pub card_poses: Vec<Pose>,
    /// The raw estimate: values, covariance and sources.
    pub estimate: Estimate,
    /// Root of the reduced sum of squares of the residuals as stated; where above 1 the covariance carries it.
    pub birge_ratio: f64,
    /// Root mean square of the distances between measured and computed side points, pixels.
    pub rms_px: f64,
    /// Residual of each side point along its outward normal, pixels.
    pub residuals_px: Vec<f64>,
    /// The mirrored pose's cost less this one's; a small value means that the pose is ambiguous.
    pub mirror_cost_gap: f64,
    layout: Layout,
    start_poses: Vec<Pose>,
}

/// Names of the shared parameters, in the order of the parameter vector.
pub const SHARED_NAMES: [&str; 9] = [
    "focal length",
    "principal point",
    "principal point",
    "distortion",
    "distortion",
    "distortion",
    "distortion",
    "distortion",
    "edge bloom",
];
const SHARED: usize = SHARED_NAMES.len();
const PER_CARD: usize = 8;
const BLOOM: usize = 8;
/// Dark squares look smaller by what the camera's tone curve does to their blurred edges: up to some 0.3 px.
const BLOOM_U_PX: f64 = 0.3;
/// A card glued to something flat bows by less than about a millimetre over its width (stated assumption).
const BEND_U_MM: f64 = 0.8;

#[derive(Debug, Clone)]
struct Layout {
    cards: Vec<CardInFit>,
    base: Lens,
}

impl Layout {
    fn lens(&self, values: &DVector<f64>) -> Lens {
        Lens {
            focal_px: self.base.focal_px * values[0].exp(),
            cx_px: values[1],
            cy_px: values[2],
            distortion: [values[3], values[4], values[5], values[6], values[7]],
        }
    }

    fn pose(&self, card: usize, start: &Pose, values: &DVector<f64>) -> Pose {
        let at = SHARED + PER_CARD * card;
        start.nudged(
            Vector3::new(values[at], values[at + 1], values[at + 2]),
            Vector3::new(values[at + 3], values[at + 4], values[at + 5]),
        )
    }

    /// The printed point on the bent paper: a parabola across the width and one across the height, each with zero
    /// mean height, given by their sagittas in mm (both ends up when positive). Paper bends but does not stretch: a
    /// length along it stays, so its horizontal part shrinks by the integral of half the slope squared.
    fn bent(&self, card: usize, p: CardPoint, values: &DVector<f64>) -> CardPoint {
        let c = &self.cards[card];
        let at = SHARED + PER_CARD * card + 6;
        let bow = |sagitta: f64, along: f64, half: f64| {
            let height = sagitta * ((along / half).powi(2) - 1.0 / 3.0);
            (along - 2.0 / 3.0 * sagitta.powi(2) * along.powi(3) / half.powi(4), height)
        };
        let (x_mm, over_x) = bow(values[at], p.x_mm, c.half_width_mm);
        let (y_mm, over_y) = bow(values[at + 1], p.y_mm, c.half_height_mm);
        CardPoint::new(x_mm, y_mm, over_x + over_y)
    }

    fn residual_px(&self, s: &SidePoint, lens: &Lens, pose: &Pose, values: &DVector<f64>) -> Option<f64> {
        let seen = lens.photo_from_ideal(pose.ideal_from_card(self.bent(s.card, s.on_card, values))?);
        Some((seen.vector() - s.measured.vector()).dot(&s.outward) + values[BLOOM])
    }
}

/// Fits camera and cards. `sides` must hold at least one tag's four sides of every card.
///
/// # Errors
/// [`SolveError`] when the start poses or the fit fail.
pub fn fit_camera(
    prior: &LensPrior,
    cards: &[CardInFit],
    sides: &[SidePoint],
) -> Result<CameraFit, SolveError> {
    let layout = Layout { cards: cards.to_vec(), base: prior.mean };
    let start_poses: Vec<Pose> =
        cards.iter().map(|c| start_pose(prior, c)).collect::<Option<_>>().ok_or(SolveError::BadStart)?;
    let (first, starts, birge_ratio) = solve_with_noise_as_found(prior, &layout, start_poses, sides)?;
    let weighed = with_noise(sides, birge_ratio);
    let mut mirrored = starts.clone();
    mirrored[0] = mirrored[0].mirrored();
    let (estimate, starts, gap) = match solve_from(prior, &layout, &mirrored, &weighed) {
        Ok(other) if other.cost < first.cost => {
            let gap = first.cost - other.cost;
            (other, mirrored, gap)
        }
        Ok(other) => {
            let gap = other.cost - first.cost;
            (first, starts, gap)
        }
        Err(_) => (first, starts, f64::INFINITY),
    };
    let gap = if same_minimum(gap) { f64::INFINITY } else { gap };
    Ok(CameraFit::new(layout, starts, estimate, sides, birge_ratio, gap))
}

/// Residuals larger than stated widen the stated uncertainties (R. T. Birge 1932), so that the priors keep their
/// say; smaller ones never narrow them. The ratio is found from above: started small, the fit would have to creep
/// along the curved valley that trades focal length for distance.
fn solve_with_noise_as_found(
    prior: &LensPrior,
    layout: &Layout,
    mut starts: Vec<Pose>,
    sides: &[SidePoint],
) -> Result<(Estimate, Vec<Pose>, f64), SolveError> {
    let mut ratio = 10.0;
    for _ in 0..6 {
        let estimate = solve_from(prior, layout, &starts, &with_noise(sides, ratio))?;
        let found = (ratio * birge_ratio(&estimate, layout.cards.len())).max(1.0);
        let settled = (found / ratio - 1.0).abs() < 0.05;
        if settled {
            return Ok((estimate, starts, ratio));
        }
        starts = poses_at(layout, &starts, &estimate.values);
        ratio = found;
    }
    let estimate = solve_from(prior, layout, &starts, &with_noise(sides, ratio))?;
    Ok((estimate, starts, ratio))
}

/// Root of the reduced sum of squares. Six numbers a card are free; the other parameters are held by their priors
/// and cost the data next to nothing.
fn birge_ratio(estimate: &Estimate, cards: usize) -> f64 {
    let freedom = estimate.residuals.len().saturating_sub(6 * cards).max(1) as f64;
    (estimate.residuals.norm_squared() / freedom).sqrt()
}

fn with_noise(sides: &[SidePoint], ratio: f64) -> Vec<SidePoint> {
    sides.iter().map(|s| SidePoint { u_px: s.u_px * ratio, ..*s }).collect()
}

fn poses_at(layout: &Layout, starts: &[Pose], values: &DVector<f64>) -> Vec<Pose> {
    starts.iter().enumerate().map(|(i, p)| layout.pose(i, p, values)).collect()
}

/// Both starts ended in the same minimum: there is no second pose to confuse it with.
fn same_minimum(gap: f64) -> bool {
    gap.abs() < 1e-3
}

fn start_pose(prior: &LensPrior, card: &CardInFit) -> Option<Pose> {
    let lens = &prior.mean;
    let k = Matrix3::new(lens.focal_px, 0.0, lens.cx_px, 0.0, lens.focal_px, lens.cy_px, 0.0, 0.0, 1.0);
    pose_from_homography(&(k.try_inverse()? * card.photo_from_plane))
}

fn solve_from(
    prior: &LensPrior,
    layout: &Layout,
    starts: &[Pose],
    sides: &[SidePoint],
) -> Result<Estimate, SolveError> {
    let parameters = parameters(prior, starts);
    minimise(&parameters, |values| {
        let lens = layout.lens(values);
        let poses = poses_at(layout, starts, values);
        let residuals: Option<Vec<f64>> = sides
            .iter()
            .map(|s| Some(layout.residual_px(s, &lens, &poses[s.card], values)? / s.u_px))
            .collect();
        residuals.map(DVector::from_vec)
    })
}

fn parameters(prior: &LensPrior, starts: &[Pose]) -> Vec<Parameter> {
    let lens = &prior.mean;
    let mut list = vec![
        Parameter::known(0.0, 0.0, prior.focal_relative_u),
        Parameter::known(lens.cx_px, lens.cx_px, prior.principal_u_px),
        Parameter::known(lens.cy_px, lens.cy_px, prior.principal_u_px),
    ];
    for (mean, u) in lens.distortion.iter().zip(prior.distortion_u) {
        list.push(Parameter::known(*mean, *mean, u));
    }
    list.push(Parameter::known(0.0, 0.0, BLOOM_U_PX));
    for start in starts {
        let reach = start.translation_mm.norm();
        list.extend([Parameter::free(0.0, 1e-5); 3]);
        list.extend([Parameter::free(0.0, 1e-5 * reach); 3]);
        list.extend([Parameter::known(0.0, 0.0, BEND_U_MM); 2]);
    }
    list
}

impl CameraFit {
    fn new(
        layout: Layout,
        start_poses: Vec<Pose>,
        estimate: Estimate,
        sides: &[SidePoint],
        birge_ratio: f64,
        mirror_cost_gap: f64,
    ) -> Self {
        let values = &estimate.values;
        let lens = layout.lens(values);
        let card_poses = poses_at(&layout, &start_poses, values);
        let residuals_px: Vec<f64> = sides
            .iter()
            .map(|s| layout.residual_px(s, &lens, &card_poses[s.card], values).unwrap_or(f64::NAN))
            .collect();
        let rms_px =
            (residuals_px.iter().map(|r| r * r).sum::<f64>() / residuals_px.len().max(1) as f64).sqrt();
        Self {
            camera: Camera { lens, pose: card_poses[0] },
            card_poses,
            estimate,
            birge_ratio,
            rms_px,
            residuals_px,
            mirror_cost_gap,
            layout,
            start_poses,
        }
    }

    /// The camera with one parameter of the estimate moved by `delta`, for propagating uncertainty.
    pub fn camera_moved(&self, index: usize, delta: f64) -> Camera {
        let mut values = self.estimate.values.clone();
        values[index] += delta;
        self.camera_at(&values)
    }

    /// The camera at other parameter values, such as a draw from the estimate's distribution.
    pub fn camera_at(&self, values: &DVector<f64>) -> Camera {
        Camera { lens: self.layout.lens(values), pose: self.layout.pose(0, &self.start_poses[0], values) }
    }

    /// Number of parameters.
    pub fn parameter_count(&self) -> usize {
        self.estimate.values.len()
    }

    /// What a parameter's prior stands for in the budget; `None` for the poses, which have none.
    pub fn parameter_name(&self, index: usize) -> Option<&'static str> {
        match index {
            i if i < SHARED => Some(SHARED_NAMES[i]),
            i if (i - SHARED) % PER_CARD >= 6 => Some("card bend"),
            _ => None,
        }
    }

    /// Standard uncertainty of the focal length, pixels.
    pub fn focal_u_px(&self) -> f64 {
        self.camera.lens.focal_px * self.estimate.u(0)
    }

    /// Standard uncertainty of the principal point (the larger of both coordinates), pixels.
    pub fn principal_u_px(&self) -> f64 {
        self.estimate.u(1).max(self.estimate.u(2))
    }

    /// Sagittas of a card across its width and height, with standard uncertainties, mm.
    pub fn bend_mm(&self, card: usize) -> [(f64, f64); 2] {
        let at = SHARED + PER_CARD * card + 6;
        [at, at + 1].map(|i| (self.estimate.values[i], self.estimate.u(i)))
    }
}
