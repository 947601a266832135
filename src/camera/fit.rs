//! The camera's maximum-a-posteriori fit: pose of every card, focal length, principal point, distortion, card bend
//! and the bloom of black edges, from the measured sides of the cards' tags.
//!
//! What the card cannot show stays at its prior, and the covariance says so. Each side of a tag is observed at the
//! two points where a least-squares line through a slightly curved side crosses it (the two Gauss points, 1/sqrt(3)
//! of the half-length from the middle): there the fitted line neither gains nor loses from the side's curvature,
//! and the two offsets are uncorrelated.

use nalgebra::{DMatrix, DVector, Matrix3, Rotation3, SMatrix, Vector2, Vector3};

use super::Camera;
use super::lens::Lens;
use super::pose::{Pose, pose_from_homography};
use crate::card::FoundCard;
use crate::card::side::SidePoint;
use crate::numeric::frame::CardPoint;
use crate::numeric::solve::{
    Estimate, JointPrior, Parameter, SETTLED, SolveError, minimise_knowing, minimise_until,
};

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
        let scale = card.print_scale;
        let nominal_from_true = Matrix3::from_diagonal(&Vector3::new(1.0 / scale, 1.0 / scale, 1.0));
        Self {
            half_width_mm: scale * card.pattern.width_mm / 2.0,
            half_height_mm: scale * card.pattern.height_mm / 2.0,
            photo_from_plane: card.photo_from_plane * nominal_from_true,
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
    /// Covariance of all of it, where its errors are correlated, as a calibration's are.
    pub covariance: Option<LensCovariance>,
}

/// Covariance of the logarithm of the focal length, the principal point (x, y; pixels) and `k1 k2 p1 p2 k3`.
pub type LensCovariance = SMatrix<f64, 8, 8>;

/// Standard uncertainty of `k1 k2 p1 p2 k3` of a phone's main camera whose maker's own correction is unknown: the
/// corner of the picture (ideal radius 0.83 at 26 mm) moves by up to some 4 % either way. A stated assumption.
pub(super) const PHONE_DISTORTION_U: [f64; 5] = [0.05, 0.02, 0.0007, 0.0007, 0.005];
/// Principal point of a phone: centring and image stabilisation leave it within about 0.5 % of the long side.
pub(super) const PRINCIPAL_RELATIVE_U: f64 = 0.005;

impl LensPrior {
    /// The prior of an uncalibrated camera with the given focal length.
    pub fn uncalibrated(width_px: usize, height_px: usize, focal_px: f64, focal_relative_u: f64) -> Self {
        let (w, h) = (width_px as f64, height_px as f64);
        Self {
            mean: Lens { focal_px, cx_px: (w - 1.0) / 2.0, cy_px: (h - 1.0) / 2.0, distortion: [0.0; 5] },
            focal_relative_u,
            principal_u_px: PRINCIPAL_RELATIVE_U * w.max(h),
            distortion_u: PHONE_DISTORTION_U,
            covariance: None,
        }
    }

    /// A calibrated lens.
    pub fn calibrated(mean: Lens, covariance: LensCovariance) -> Self {
        let u = |i: usize| covariance[(i, i)].sqrt();
        Self {
            mean,
            focal_relative_u: u(0),
            principal_u_px: u(1).max(u(2)),
            distortion_u: [3, 4, 5, 6, 7].map(u),
            covariance: Some(covariance),
        }
    }

    /// What is known of the uncertainties when the picture has `k` times as many pixels on a side.
    pub fn with_pixels_times(&self, k: f64) -> Self {
        let scale = LensCovariance::from_diagonal(&[1.0, k, k, 1.0, 1.0, 1.0, 1.0, 1.0].into());
        Self {
            principal_u_px: self.principal_u_px * k,
            covariance: self.covariance.map(|c| scale * c * scale),
            ..*self
        }
    }

    /// The prior of the shared parameters that are known together.
    fn joint(&self) -> Option<JointPrior> {
        let lens = &self.mean;
        let mean: Vec<f64> = [0.0, lens.cx_px, lens.cy_px].into_iter().chain(lens.distortion).collect();
        let covariance = DMatrix::from_column_slice(8, 8, self.covariance?.as_slice());
        JointPrior::new(0, DVector::from_vec(mean), &covariance)
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
    starts: Vec<Start>,
}

/// Names of the parameters as lines of a budget.
pub mod line {
    /// How large the lens draws.
    pub const FOCAL: &str = "focal length";
    /// Where the lens's axis meets the picture.
    pub const PRINCIPAL: &str = "principal point";
    /// How the lens bends straight lines.
    pub const DISTORTION: &str = "distortion";
    /// Light that spreads over an edge.
    pub const BLOOM: &str = "edge bloom";
    /// How a card is bent.
    pub const BEND: &str = "card bend";
}

/// Names of the shared parameters, in the order of the parameter vector.
pub const SHARED_NAMES: [&str; 9] = [
    line::FOCAL,
    line::PRINCIPAL,
    line::PRINCIPAL,
    line::DISTORTION,
    line::DISTORTION,
    line::DISTORTION,
    line::DISTORTION,
    line::DISTORTION,
    line::BLOOM,
];
const SHARED: usize = SHARED_NAMES.len();
const PER_CARD: usize = 8;
const BLOOM: usize = 8;
/// A mirrored pose that fits worse than this in sum of squares, through the lens of the first, is no rival: some
/// hundred residuals would be off by three of their uncertainties and more.
const RIVAL_GAP: f64 = 1000.0;
/// To tell that, the mirrored pose need not settle closer: when its cost falls by no more than this part.
const ROUGHLY: f64 = 0.01;
/// Dark squares look smaller by what the camera's tone curve does to their blurred edges: up to some 0.3 px.
pub const BLOOM_U_PX: f64 = 0.3;
/// A card glued to something flat bows by less than about a millimetre over its width (stated assumption).
pub const BEND_U_MM: f64 = 0.8;

/// The least rotation that takes one direction to another less than a right angle away. By the cross product alone:
/// the arc cosine would round turns below 1e-8 rad away, and derivatives with them.
pub(super) fn least_turn(from: &Vector3<f64>, to: &Vector3<f64>) -> Rotation3<f64> {
    let (from, to) = (from.normalize(), to.normalize());
    let cross = from.cross(&to).cross_matrix();
    let turn = Matrix3::identity() + cross + cross * cross / (1.0 + from.dot(&to));
    Rotation3::from_matrix_unchecked(turn)
}

/// The printed point on the bent paper: a parabola across the width and one across the height, each with zero
/// mean height, given by their sagittas in mm (both ends up when positive). Paper bends but does not stretch: a
/// length along it stays, so its horizontal part shrinks by the integral of half the slope squared.
pub fn bent(halves_mm: [f64; 2], sagittas_mm: [f64; 2], p: CardPoint) -> CardPoint {
    let bow = |sagitta: f64, along: f64, half: f64| {
        let height = sagitta * ((along / half).powi(2) - 1.0 / 3.0);
        (along - 2.0 / 3.0 * sagitta.powi(2) * along.powi(3) / half.powi(4), height)
    };
    let (x_mm, over_x) = bow(sagittas_mm[0], p.x_mm, halves_mm[0]);
    let (y_mm, over_y) = bow(sagittas_mm[1], p.y_mm, halves_mm[1]);
    CardPoint::new(x_mm, y_mm, over_x + over_y)
}

#[derive(Debug, Clone)]
struct Layout {
    cards: Vec<CardInFit>,
    base: Lens,
}

/// A card's pose together with the lens it was found with. Its parameters are what the photo shows of it: the
/// place of its origin in the photo, its size there, and its turn against the line of sight. Each is measured to a
/// fraction of a pixel whatever the lens may be, while the translation in millimetres follows the focal length
/// along a curved valley that a Gauss-Newton step cannot follow.
#[derive(Debug, Clone, Copy)]
struct Start {
    pose: Pose,
    lens: Lens,
}

impl Start {
    /// The pose that shows the card in the same place of the photo, in the same size and from the same side
    /// through another lens, then turned (camera axes, radians), moved in the photo (px) and made smaller (log).
    fn seen_through(
        &self,
        lens: &Lens,
        turn: Vector3<f64>,
        moved_px: Vector2<f64>,
        log_smaller: f64,
    ) -> Pose {
        let (t, was) = (self.pose.translation_mm, &self.lens);
        let sight = t / t.z;
        let x = (was.focal_px * sight.x + was.cx_px + moved_px.x - lens.cx_px) / lens.focal_px;
        let y = (was.focal_px * sight.y + was.cy_px + moved_px.y - lens.cy_px) / lens.focal_px;
        let new_sight = Vector3::new(x, y, 1.0);
        let follow = least_turn(&sight, &new_sight);
        let distance = t.z * lens.focal_px / was.focal_px * log_smaller.exp();
        Pose {
            rotation: Rotation3::new(turn) * follow * self.pose.rotation,
            translation_mm: new_sight * distance,
        }
    }
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

    fn pose(&self, card: usize, start: &Start, values: &DVector<f64>) -> Pose {
        let at = SHARED + PER_CARD * card;
        start.seen_through(
            &self.lens(values),
            Vector3::new(values[at], values[at + 1], values[at + 2]),
            Vector2::new(values[at + 3], values[at + 4]),
            values[at + 5],
        )
    }

    fn bent(&self, card: usize, p: CardPoint, values: &DVector<f64>) -> CardPoint {
        let c = &self.cards[card];
        let at = SHARED + PER_CARD * card + 6;
        bent([c.half_width_mm, c.half_height_mm], [values[at], values[at + 1]], p)
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
    let starts: Vec<Start> =
        cards.iter().map(|c| start(prior, c)).collect::<Option<_>>().ok_or(SolveError::BadStart)?;
    let (first, birge_ratio) = solve_with_noise_as_found(prior, &layout, &starts, sides)?;
    let weighed = with_noise(sides, birge_ratio);
    let (estimate, starts, gap) = match solve_mirrored(prior, &layout, &starts, &first, &weighed) {
        Ok(Mirrored::Apart(gap)) => (first, starts, gap),
        Ok(Mirrored::Rival(other, others)) => {
            let gap = gap(first.cost, other.cost);
            if other.cost < first.cost { (*other, others, gap) } else { (first, starts, gap) }
        }
        // From there the card is not seen at all.
        Err(SolveError::BadStart) => (first, starts, f64::INFINITY),
        // Which of the two it is cannot be told.
        Err(_) => (first, starts, 0.0),
    };
    Ok(CameraFit::new(layout, starts, estimate, sides, birge_ratio, gap))
}

/// Residuals larger than stated widen the stated uncertainties (R. T. Birge 1932), so that the priors keep their
/// say; smaller ones never narrow them. The ratio is found from above: taken too small, the residuals, large beside it, pull
/// the lens far from its prior, and each step overshoots.
fn solve_with_noise_as_found(
    prior: &LensPrior,
    layout: &Layout,
    starts: &[Start],
    sides: &[SidePoint],
) -> Result<(Estimate, f64), SolveError> {
    let mut ratio = 10.0;
    let mut estimate =
        solve_from(prior, layout, starts, &start_values(prior, starts), &with_noise(sides, ratio))?;
    for _ in 0..6 {
        let found = (ratio * birge_ratio(&estimate, layout.cards.len())).max(1.0);
        if (found / ratio - 1.0).abs() < 0.01 {
            break;
        }
        ratio = found;
        estimate = solve_from(prior, layout, starts, &estimate.values, &with_noise(sides, ratio))?;
    }
    Ok((estimate, ratio))
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

fn poses_at(layout: &Layout, starts: &[Start], values: &DVector<f64>) -> Vec<Pose> {
    starts.iter().enumerate().map(|(i, s)| layout.pose(i, s, values)).collect()
}

/// What became of the first card's mirrored pose.
enum Mirrored {
    /// Through the lens found it fits so much worse that no lens makes up for it; by this much.
    Apart(f64),
    /// It fits well enough to be asked with every parameter free.
    Rival(Box<Estimate>, Vec<Start>),
}

/// Asks the first card's mirrored pose: first through the lens found, since a free lens far from any answer wanders
/// off to where no lens is; then, where it is near, with everything free.
fn solve_mirrored(
    prior: &LensPrior,
    layout: &Layout,
    starts: &[Start],
    first: &Estimate,
    sides: &[SidePoint],
) -> Result<Mirrored, SolveError> {
    let (found, found_cost) = (&first.values, first.residuals.norm_squared());
    let lens = layout.lens(found);
    let mut starts: Vec<Start> =
        poses_at(layout, starts, found).into_iter().map(|pose| Start { pose, lens }).collect();
    starts[0].pose = starts[0].pose.mirrored();
    let mut values = without_poses(found);
    let pose_only = &parameters(prior, &values)[SHARED..SHARED + 6];
    let with_pose = |pose: &DVector<f64>| {
        let mut values = values.clone();
        values.rows_mut(SHARED, 6).copy_from(pose);
        values
    };
    let near =
        minimise_until(ROUGHLY, pose_only, |pose| residuals(layout, &starts, &with_pose(pose), sides))?;
    if near.cost > found_cost + RIVAL_GAP {
        return Ok(Mirrored::Apart(near.cost - found_cost));
    }
    values = with_pose(&near.values);
    let rival = solve_from(prior, layout, &starts, &values, sides)?;
    Ok(Mirrored::Rival(Box::new(rival), starts))
}

/// The lens and the bends of an estimate with every pose at its start.
fn without_poses(values: &DVector<f64>) -> DVector<f64> {
    let is_pose = |i: usize| i >= SHARED && (i - SHARED) % PER_CARD < 6;
    DVector::from_fn(values.len(), |i, _| if is_pose(i) { 0.0 } else { values[i] })
}

/// The prior's lens, every pose at its start, every card flat.
fn start_values(prior: &LensPrior, starts: &[Start]) -> DVector<f64> {
    let lens = &prior.mean;
    let mut values = DVector::zeros(SHARED + PER_CARD * starts.len());
    (values[1], values[2]) = (lens.cx_px, lens.cy_px);
    values.rows_mut(3, 5).copy_from_slice(&lens.distortion);
    values
}

/// By how much two fits' costs differ. Where both have ended in one minimum there is no second pose to confuse it with, and the
/// difference is infinite.
fn gap(cost: f64, other: f64) -> f64 {
    const ONE_MINIMUM: f64 = 1e-3;
    let apart = (cost - other).abs();
    if apart < ONE_MINIMUM { f64::INFINITY } else { apart }
}

fn start(prior: &LensPrior, card: &CardInFit) -> Option<Start> {
    let lens = prior.mean;
    let k = Matrix3::new(lens.focal_px, 0.0, lens.cx_px, 0.0, lens.focal_px, lens.cy_px, 0.0, 0.0, 1.0);
    let pose = pose_from_homography(&(k.try_inverse()? * card.photo_from_plane))?;
    Some(Start { pose, lens })
}

fn solve_from(
    prior: &LensPrior,
    layout: &Layout,
    starts: &[Start],
    from: &DVector<f64>,
    sides: &[SidePoint],
) -> Result<Estimate, SolveError> {
    let joint = prior.joint();
    if joint.is_none() && prior.covariance.is_some() {
        return Err(SolveError::Singular);
    }
    minimise_knowing(SETTLED, &parameters(prior, from), joint.as_ref(), |values| {
        residuals(layout, starts, values, sides)
    })
}

/// Residuals in their standard uncertainties; `None` where a point comes to lie behind the camera.
fn residuals(
    layout: &Layout,
    starts: &[Start],
    values: &DVector<f64>,
    sides: &[SidePoint],
) -> Option<DVector<f64>> {
    let lens = layout.lens(values);
    let poses = poses_at(layout, starts, values);
    let list: Option<Vec<f64>> =
        sides.iter().map(|s| Some(layout.residual_px(s, &lens, &poses[s.card], values)? / s.u_px)).collect();
    list.map(DVector::from_vec)
}

/// The parameters with their priors, started at the given values.
fn parameters(prior: &LensPrior, from: &DVector<f64>) -> Vec<Parameter> {
    let lens = &prior.mean;
    let mut list = vec![
        Parameter::known(0.0, 0.0, prior.focal_relative_u),
        Parameter::known(lens.cx_px, lens.cx_px, prior.principal_u_px),
        Parameter::known(lens.cy_px, lens.cy_px, prior.principal_u_px),
    ];
    for (mean, u) in lens.distortion.iter().zip(prior.distortion_u) {
        list.push(Parameter::known(*mean, *mean, u));
    }
    if prior.covariance.is_some() {
        list.iter_mut().for_each(|p| p.prior = None);
    }
    list.push(Parameter::known(0.0, 0.0, BLOOM_U_PX));
    while list.len() < from.len() {
        list.extend([Parameter::free(0.0, 1e-5); 3]);
        list.extend([Parameter::free(0.0, 0.01); 2]);
        list.push(Parameter::free(0.0, 1e-5));
        list.extend([Parameter::known(0.0, 0.0, BEND_U_MM); 2]);
    }
    list.iter().zip(from.iter()).map(|(p, &start)| Parameter { start, ..*p }).collect()
}

impl CameraFit {
    fn new(
        layout: Layout,
        starts: Vec<Start>,
        estimate: Estimate,
        sides: &[SidePoint],
        birge_ratio: f64,
        mirror_cost_gap: f64,
    ) -> Self {
        let values = &estimate.values;
        let lens = layout.lens(values);
        let card_poses = poses_at(&layout, &starts, values);
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
            starts,
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
        self.camera_over(0, values)
    }

    /// The same in the frame of any of the cards.
    pub fn camera_over(&self, card: usize, values: &DVector<f64>) -> Camera {
        Camera { lens: self.layout.lens(values), pose: self.layout.pose(card, &self.starts[card], values) }
    }

    /// Height of a card's bent paper over the card's own plane, mm.
    pub fn paper_height_mm(&self, card: usize, on_card: CardPoint, values: &DVector<f64>) -> f64 {
        self.layout.bent(card, on_card, values).z_mm
    }

    /// How far the edges of dark things on white appear outwards of where they are, pixels.
    pub fn bloom_px(&self) -> f64 {
        self.estimate.values[BLOOM]
    }

    /// Number of parameters.
    pub fn parameter_count(&self) -> usize {
        self.estimate.values.len()
    }

    /// What a parameter's prior stands for in the budget; `None` for the poses, which have none.
    pub fn parameter_name(&self, index: usize) -> Option<&'static str> {
        match index {
            i if i < SHARED => Some(SHARED_NAMES[i]),
            i if (i - SHARED) % PER_CARD >= 6 => Some(line::BEND),
            _ => None,
        }
    }

    /// Standard uncertainty of the focal length, pixels.
    pub fn focal_u_px(&self) -> f64 {
        self.camera.lens.focal_px * self.estimate.u(0)
    }

    /// Sagittas of a card across its width and height, with standard uncertainties, mm.
    pub fn bend_mm(&self, card: usize) -> [(f64, f64); 2] {
        let at = SHARED + PER_CARD * card + 6;
        [at, at + 1].map(|i| (self.estimate.values[i], self.estimate.u(i)))
    }
}
