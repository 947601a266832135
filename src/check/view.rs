//! Geometry of a photo, and simulations of the same photo without one of its faults: the card's sides are projected through
//! another camera, given the uncertainty that they would have there, and fitted like measured ones.

use nalgebra::{Matrix3, Rotation3, Vector3};

use super::Facts;
use super::look::{CardLook, full_length_px};
use super::predict::{Heights, USUAL_LIFT_MM, budget};
use crate::camera::Camera;
use crate::camera::fit::{CameraFit, fit_camera};
use crate::camera::paper::BEND_U_MM;
use crate::camera::pose::CameraPose;
use crate::camera::print_scale::PrintScale;
use crate::camera::prior::LensPrior;
use crate::camera::target::TargetView;
use crate::card::pattern::Pattern;
use crate::card::side::Observation;
use crate::card::{FoundCard, FoundCards};
use crate::numeric::frame::{CardPoint, PhotoPoint};
use crate::numeric::homography::homography;
use crate::pipeline::Located;
use crate::width::influence::{Budget, Influence};

/// A good photo as the guide asks for it, against which faults are measured.
pub mod good {
    /// Distance to the middle of the scene, mm.
    pub const DISTANCE_MM: f64 = 1500.0;
    /// Millimetres to a pixel in the middle: saddle and card fill 4000 px.
    pub const MM_PER_PX: f64 = 0.35;
    /// Blur of a sharp edge in a phone's full-size photo, px.
    pub const BLUR_PX: f64 = 0.8;
    /// Relative uncertainty of a focal length from the camera's data.
    pub const FOCAL_U: f64 = 0.04;
    /// Noise over contrast of an edge in even light.
    pub const NOISE: f64 = 0.02;
    /// Mean step of the quantisation of a phone's own JPEG (quality 92 and better).
    pub const STEP: f64 = 9.0;
}

/// A line through the traced edge averages over neighbouring rows and places an edge to about this part of its blur, as the
/// measured budgets of rendered photos show. Half a pixel stands for the sampling.
const EDGE_PART_OF_BLUR: f64 = 0.3;
const SAMPLING_PX: f64 = 0.5;
/// Least uncertainty of a traced edge, mm.
const LEAST_EDGE_U_MM: f64 = 0.08;
/// Leather differs from its surroundings by some forty levels (judgement, from the same photos): compression in steps of that
/// size doubles the uncertainty of the edge.
const EDGE_LEVELS: f64 = 40.0;
/// The fit models a bend of the card as a parabola; about this part of it has another shape (a stated assumption).
const BEND_UNMODELLED: f64 = 0.2;

/// Geometry and quality of a photo, measured or simulated.
#[derive(Debug, Clone)]
pub struct PhotoView {
    /// The camera.
    pub camera: Camera,
    /// What is known of the lens beforehand.
    pub prior: LensPrior,
    /// The scale at which the card was printed.
    pub print_scale: PrintScale,
    /// Middle of the frame, px.
    pub middle: PhotoPoint,
    /// Pattern of the first card.
    pub pattern: &'static Pattern,
    tags: Vec<usize>,
    /// Blur, px.
    pub blur_px: f64,
    /// Noise over contrast of the card's edges.
    pub noise: f64,
    /// Mean step of the quantisation of brightness, levels; 0 where there is none.
    pub step: f64,
    /// Uncertainty of a side of a tag, px, divided by noise and by the root of blur over length.
    u_side: f64,
    /// Bend seen in the card, mm.
    pub bend_mm: f64,
    measured: Budget,
    lift_unknown_mm: Option<f64>,
}

impl PhotoView {
    /// The view of a located photo; `None` where its middle does not show the card's plane.
    pub fn of(located: &Located, look: &CardLook) -> Option<Self> {
        let Located { photo, found, fit, .. } = located;
        let card = &found.cards[0];
        let middle =
            PhotoPoint::new((photo.width_px() - 1) as f64 / 2.0, (photo.height_px() - 1) as f64 / 2.0);
        let (blur_px, noise) = (card.blur_px(), look.noise.max(1e-4));
        let bend_mm = fit.bend_mm(0).into_iter().map(|b| b.0.abs()).fold(0.0, f64::max);
        let mut view = Self {
            camera: fit.camera,
            prior: located.lens,
            print_scale: located.print_scale,
            middle,
            pattern: card.pattern,
            tags: card.tags.iter().map(|t| t.index).collect(),
            blur_px,
            noise,
            step: photo.quantisation_step().unwrap_or(0.0),
            u_side: side_uncertainty(card, fit.noise.ratio, noise),
            bend_mm,
            measured: Budget::default(),
            lift_unknown_mm: None,
        };
        let edge_u_mm = view.edge_u_mm()?;
        let predicted = |heights| Some(view.completed(view.budget(fit, edge_u_mm, heights)?));
        let unknown = predicted(Heights::Unknown)?.u95();
        let measured = predicted(Heights::Measured)?;
        view.lift_unknown_mm = Some(unknown);
        view.measured = measured;
        Some(view)
    }

    /// Predicted expanded uncertainty of the photo as it is, mm.
    pub fn u95_mm(&self) -> f64 {
        self.measured.u95()
    }

    /// The same where the heights of the edges are not known, mm.
    pub fn u95_lift_unknown_mm(&self) -> Option<f64> {
        self.lift_unknown_mm
    }

    /// Predicted expanded uncertainty of a simulated view, mm.
    pub fn simulated_u95_mm(&self) -> Option<f64> {
        let fit = fit_camera(&self.prior_here(), &[self.card()?]).ok()?;
        let lines = self.budget(&fit, self.edge_u_mm()?, Heights::Measured)?;
        Some(self.completed(lines).u95())
    }

    /// Its measurements.
    pub fn facts(&self, found: &FoundCards, look: &CardLook) -> Facts {
        let card = &found.cards[0];
        Facts {
            pattern: card.pattern.name.clone(),
            copy: card.copy,
            tags: [card.tags.len(), card.pattern.tags.len()],
            tag_side_px: look.side_px,
            blur_px: self.blur_px,
            blur_ratio: look.blur_ratio,
            white: look.white,
            burnt_out: look.burnt_out,
            height_mm: self.camera.height_mm(),
            tilt_deg: self.camera.pose.tilt_deg(),
            mm_per_px: self.mm_per_px().unwrap_or(f64::NAN),
            bend_mm: self.bend_mm,
        }
    }

    /// Millimetres to a pixel in the middle of the frame.
    pub fn mm_per_px(&self) -> Option<f64> {
        self.camera.mm_per_px(self.camera.card_from_photo(self.middle, 0.0)?)
    }

    /// Distance from the camera to the middle of the frame, mm.
    pub fn distance_mm(&self) -> Option<f64> {
        let there = self.camera.card_from_photo(self.middle, 0.0)?;
        Some((there.vector() - self.camera.pose.centre_in_card().vector()).norm())
    }

    /// Seen from straight above, at the same distance.
    pub fn seen_from_above(&self) -> Option<Self> {
        let there = self.camera.card_from_photo(self.middle, 0.0)?.vector();
        let x = self.camera.pose.rotation.inverse() * Vector3::x();
        let x = Vector3::new(x.x, x.y, 0.0).normalize();
        let z = -Vector3::z();
        let rows = [x, z.cross(&x), z].map(|v| v.transpose());
        let rotation = Rotation3::from_matrix_unchecked(Matrix3::from_rows(&rows));
        let centre = there + Vector3::z() * self.distance_mm()?;
        let lens = self.camera.lens;
        let lens = crate::camera::lens::Lens { cx_px: self.middle.x_px, cy_px: self.middle.y_px, ..lens };
        Some(Self {
            camera: Camera { lens, pose: CameraPose { rotation, translation_mm: -(rotation * centre) } },
            ..self.clone()
        })
    }

    /// Seen from a distance, zoomed so that everything keeps its size.
    pub fn seen_from_afar(&self, distance_mm: f64) -> Option<Self> {
        let there = self.camera.card_from_photo(self.middle, 0.0)?.vector();
        let part = distance_mm / self.distance_mm()?;
        let centre = self.camera.pose.centre_in_card().vector();
        let centre = there + (centre - there) * part;
        let mut view = self.clone();
        view.camera.lens.focal_px *= part;
        // A longer lens shows the middle of this one's field, where there is no distortion.
        view.camera.lens.distortion = [0.0; 5];
        let rotation = self.camera.pose.rotation;
        view.camera.pose.translation_mm = -(rotation * centre);
        Some(view)
    }

    /// With more pixels to a millimetre.
    pub fn enlarged(&self, mm_per_px: f64) -> Option<Self> {
        let k = (self.mm_per_px()? / mm_per_px).max(1.0);
        let mut view = self.clone();
        let lens = &mut view.camera.lens;
        (lens.focal_px, lens.cx_px, lens.cy_px) = (lens.focal_px * k, lens.cx_px * k, lens.cy_px * k);
        view.middle = PhotoPoint::new(self.middle.x_px * k, self.middle.y_px * k);
        view.prior = view.prior.with_pixels_times(k);
        // Shrinking a picture shrinks its blur; the larger picture of the same lens is not sharper than this.
        view.blur_px = view.blur_px.max(good::BLUR_PX.min(view.blur_px * k));
        Some(view)
    }

    /// With sharp edges.
    pub fn sharp(&self) -> Self {
        Self { blur_px: self.blur_px.min(good::BLUR_PX), ..self.clone() }
    }

    /// Without noise and artefacts of compression.
    pub fn clean(&self) -> Self {
        Self { noise: self.noise.min(good::NOISE), step: self.step.min(good::STEP), ..self.clone() }
    }

    /// With the whole card.
    pub fn whole_card(&self) -> Self {
        Self { tags: (0..self.pattern.tags.len()).collect(), ..self.clone() }
    }

    /// With a focal length from the camera's data.
    pub fn lens_known(&self) -> Self {
        let mut view = self.clone();
        view.prior.focal_relative_u = view.prior.focal_relative_u.min(good::FOCAL_U);
        view
    }

    /// With a flat card.
    pub fn flat_card(&self) -> Self {
        Self { bend_mm: 0.0, ..self.clone() }
    }

    /// Without any fault that can be simulated away.
    pub fn at_its_best(&self) -> Self {
        let mut view = self.sharp().clean().whole_card().lens_known().flat_card();
        if let Some(better) = view.seen_from_above() {
            view = better;
        }
        if let Some(better) = view.enlarged(good::MM_PER_PX) {
            view = better;
        }
        let near = view.distance_mm().is_some_and(|d| d < good::DISTANCE_MM);
        if let Some(better) = view.seen_from_afar(good::DISTANCE_MM).filter(|_| near) {
            view = better;
        }
        view
    }

    /// The prior with its mean at this view's own lens.
    fn prior_here(&self) -> LensPrior {
        LensPrior { mean: self.camera.lens, ..self.prior }
    }

    fn budget(&self, fit: &CameraFit, edge_u_mm: f64, heights: Heights) -> Option<Budget> {
        budget(fit, self.middle, edge_u_mm, self.print_scale.relative_u, heights)
    }

    /// The corners of a tag where they were printed, mm.
    fn corners(&self, tag: usize) -> [CardPoint; 4] {
        self.pattern.corners(tag).map(|corner| CardPoint::from(corner.vector() * self.print_scale.value))
    }

    fn edge_u_mm(&self) -> Option<f64> {
        let blur_mm = self.blur_px.hypot(SAMPLING_PX) * self.mm_per_px()?;
        let coarser = 1.0 + self.step / EDGE_LEVELS;
        Some((EDGE_PART_OF_BLUR * blur_mm * coarser).max(LEAST_EDGE_U_MM))
    }

    /// Adds the part of a bent card's shape that no parabola models, which acts on a width like the bend itself.
    fn completed(&self, mut budget: Budget) -> Budget {
        let by_bend = budget.u_from(Influence::CardBend).max(LEAST_BEND_REACH);
        budget.add(Influence::CardBend, by_bend * BEND_UNMODELLED * self.bend_mm / BEND_U_MM);
        budget
    }

    /// The card as this camera sees it.
    fn card(&self) -> Option<TargetView> {
        let pairs: Vec<_> = self
            .tags
            .iter()
            .flat_map(|&index| self.corners(index))
            .map(|c| Some((c.horizontal(), self.camera.photo_from_card(c)?.vector())))
            .collect::<Option<_>>()?;
        Some(TargetView {
            halves_mm: [self.pattern.width_mm, self.pattern.height_mm]
                .map(|mm| self.print_scale.value * mm / 2.0),
            photo_from_target: homography(&pairs)?,
            observations: self.observations(),
        })
    }

    /// The sides of the tags as this camera sees them, two points a side as in a measured photo.
    fn observations(&self) -> Vec<Observation> {
        let mut points = Vec::new();
        for &tag in &self.tags {
            let corners = self.corners(tag);
            for i in 0..4 {
                points.extend(self.side(tag, corners[i], corners[(i + 1) % 4]).into_iter().flatten());
            }
        }
        points
    }

    fn side(&self, tag: usize, from: CardPoint, to: CardPoint) -> Option<[Observation; 2]> {
        let ends = [from, to].map(|c| self.camera.photo_from_card(c).map(PhotoPoint::vector));
        let chord = ends[1]? - ends[0]?;
        let along = chord.normalize();
        let across = nalgebra::Vector2::new(along.y, -along.x);
        let u_px = self.u_side * self.noise * (self.blur_px / chord.norm()).sqrt();
        let point = |part: f64| {
            let on_target = CardPoint::from(from.vector() + (to.vector() - from.vector()) * part);
            let measured = self.camera.photo_from_card(on_target)?;
            Some(Observation { on_target, measured, across, u_px: u_px.max(LEAST_SIDE_U_PX), tag })
        };
        let gauss = 0.5 / 3f64.sqrt();
        Some([point(0.5 - gauss)?, point(0.5 + gauss)?])
    }
}

/// Least uncertainty of a side, px: a real step differs from the fitted curve.
const LEAST_SIDE_U_PX: f64 = 0.004;
/// A standard bend moves a width by at least this, mm, even where the tags show it well.
const LEAST_BEND_REACH: f64 = 0.05;

/// Uncertainty of the measured sides, divided by noise and by the root of blur over length.
fn side_uncertainty(card: &FoundCard, birge_ratio: f64, noise: f64) -> f64 {
    let sides = card.tags.iter().flat_map(|t| t.sides.iter().flatten());
    let each = sides.map(|s| {
        let (_, u_px) = s.gauss_points()[0];
        u_px * birge_ratio / (noise * (s.blur_px.max(0.2) / full_length_px(s)).sqrt())
    });
    super::look::median(each.collect())
}

// The assumed height is small beside any distance of the camera.
const _: () = assert!(USUAL_LIFT_MM < good::DISTANCE_MM / 20.0);
