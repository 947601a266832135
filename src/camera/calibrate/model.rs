//! What is fitted: the inner parameters that all views share, and each view's pose, edge bloom and bend.

use nalgebra::{DVector, Matrix3, Rotation3, Vector2, Vector3};

use super::super::fit::{BEND_U_MM, BLOOM_U_PX, bent, least_turn};
use super::super::lens::Lens;
use super::super::pose::{Pose, pose_from_homography};
use crate::numeric::frame::{CardPoint, IdealPoint, PhotoPoint};
use crate::numeric::solve::Parameter;

/// A camera's inner parameters with pixels of any shape: `u = fx x_d + skew y_d + cx`, `v = fy y_d + cy`, with the
/// distortion of [`Lens`] before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inner {
    /// Focal length across, pixels.
    pub fx_px: f64,
    /// Focal length down, pixels.
    pub fy_px: f64,
    /// Skew, pixels.
    pub skew_px: f64,
    /// Principal point: x, pixels.
    pub cx_px: f64,
    /// Principal point: y, pixels.
    pub cy_px: f64,
    /// `k1 k2 p1 p2 k3`.
    pub distortion: [f64; 5],
}

impl Inner {
    /// The pixel where a point of the ideal picture appears.
    pub fn photo_from_ideal(&self, p: IdealPoint) -> PhotoPoint {
        let unit = Lens { focal_px: 1.0, cx_px: 0.0, cy_px: 0.0, distortion: self.distortion };
        let d = unit.photo_from_ideal(p);
        PhotoPoint::new(
            self.fx_px * d.x_px + self.skew_px * d.y_px + self.cx_px,
            self.fy_px * d.y_px + self.cy_px,
        )
    }

    /// The map from the undistorted ideal picture to the photo.
    pub fn matrix(&self) -> Matrix3<f64> {
        Matrix3::new(self.fx_px, self.skew_px, self.cx_px, 0.0, self.fy_px, self.cy_px, 0.0, 0.0, 1.0)
    }

    /// The ideal point seen at a pixel when there is no distortion.
    fn undistorted(&self, p: Vector2<f64>) -> Vector3<f64> {
        let y = (p.y - self.cy_px) / self.fy_px;
        Vector3::new((p.x - self.cx_px - self.skew_px * y) / self.fx_px, y, 1.0)
    }
}

/// One coordinate of a measured point: its place across a direction.
#[derive(Debug, Clone, Copy)]
pub struct Observation {
    /// The point on the flat target.
    pub on_target: CardPoint,
    /// Where it was seen.
    pub measured: PhotoPoint,
    /// Unit vector along which its place was measured.
    pub across: Vector2<f64>,
    /// Standard uncertainty along it, pixels.
    pub u_px: f64,
}

/// A flat target seen in one photo.
#[derive(Debug, Clone)]
pub struct TargetView {
    /// Half-width and half-height of the target, mm, for its bend.
    pub halves_mm: [f64; 2],
    /// Homography from the target (mm) to photo pixels, for the start.
    pub photo_from_target: Matrix3<f64>,
    /// What was measured of it.
    pub observations: Vec<Observation>,
}

/// What is known of an inner parameter, or that it is left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// Nothing: the views alone determine it.
    Free,
    /// The start that the fit is given, give or take this.
    Within(f64),
    /// Left at its start.
    Fixed,
}

/// Which parameters are fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model {
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
    /// Whether each view has an edge bloom and bends of its target, as a printed card has; plain points have none.
    pub printed: bool,
}

pub(super) const INNER: usize = 11;
const PER_VIEW: usize = 9;

impl Model {
    fn inner(&self) -> [Known; INNER] {
        let d = self.distortion;
        let p = self.principal;
        [self.focal, p, p, d[0], d[1], d[2], d[3], d[4], self.pixel_aspect, self.skew, self.print_aspect]
    }
}

/// The pose of a view at the start, and the inner parameters with which it was found.
#[derive(Debug, Clone, Copy)]
struct Start {
    pose: Pose,
    in_photo: Vector2<f64>,
    focal_px: f64,
}

/// All views with their starts, and the places of the fitted parameters among all there are.
#[derive(Debug, Clone)]
pub(super) struct Bundle<'a> {
    pub views: &'a [TargetView],
    pub base: Inner,
    starts: Vec<Start>,
    /// Which of the full list of parameters are fitted.
    pub fitted: Vec<usize>,
    known: Vec<Known>,
}

impl<'a> Bundle<'a> {
    /// `None` when a view's homography is degenerate.
    pub fn new(views: &'a [TargetView], base: Inner, model: &Model) -> Option<Self> {
        let inverse = base.matrix().try_inverse()?;
        let starts = views
            .iter()
            .map(|view| {
                let pose = pose_from_homography(&(inverse * view.photo_from_target))?;
                let seen = base.matrix() * (pose.translation_mm / pose.translation_mm.z);
                Some(Start { pose, in_photo: seen.xy(), focal_px: base.fx_px })
            })
            .collect::<Option<Vec<_>>>()?;
        let mut known = model.inner().to_vec();
        let [bloom, bend] = if model.printed {
            [Known::Within(BLOOM_U_PX), Known::Within(BEND_U_MM)]
        } else {
            [Known::Fixed; 2]
        };
        for _ in views {
            known.extend([Known::Free; 6]);
            known.extend([bloom, bend, bend]);
        }
        let fitted = (0..known.len()).filter(|&i| known[i] != Known::Fixed).collect();
        Some(Self { views, base, starts, fitted, known })
    }

    /// The parameters of the fit, started at the given values of the full list.
    pub fn parameters(&self, from: &[f64]) -> Vec<Parameter> {
        self.fitted
            .iter()
            .map(|&i| {
                let (middle, step) = (self.middle(i), self.step(i));
                let prior = match self.known[i] {
                    Known::Within(u) => Some((middle, u)),
                    _ => None,
                };
                Parameter { start: from[i], step, prior }
            })
            .collect()
    }

    /// The start of the full list.
    pub fn start(&self) -> Vec<f64> {
        (0..self.known.len()).map(|i| self.middle(i)).collect()
    }

    fn middle(&self, index: usize) -> f64 {
        match index {
            1 => self.base.cx_px,
            2 => self.base.cy_px,
            3..=7 => self.base.distortion[index - 3],
            _ => 0.0,
        }
    }

    /// Steps of the numerical derivatives: small beside what is measured, large beside rounding.
    fn step(&self, index: usize) -> f64 {
        match index {
            0 | 3..=8 | 10 => 1e-5,
            1 | 2 | 9 => 0.01,
            _ => match (index - INNER) % PER_VIEW {
                0..=2 | 5 => 1e-5,
                3 | 4 | 6 => 0.01,
                _ => 0.05,
            },
        }
    }

    /// The full list with the fitted values in it.
    pub fn full(&self, values: &DVector<f64>) -> Vec<f64> {
        let mut full = self.start();
        for (value, &i) in values.iter().zip(&self.fitted) {
            full[i] = *value;
        }
        full
    }

    /// The inner parameters at values of the full list.
    pub fn inner(&self, full: &[f64]) -> Inner {
        let fx_px = self.base.fx_px * full[0].exp();
        let aspect = self.base.fy_px / self.base.fx_px * full[8].exp();
        Inner {
            fx_px,
            fy_px: fx_px * aspect,
            skew_px: self.base.skew_px + full[9],
            cx_px: full[1],
            cy_px: full[2],
            distortion: [full[3], full[4], full[5], full[6], full[7]],
        }
    }

    /// The pose of a view: what the photo shows of it (its place and size there) is kept while the inner parameters
    /// move, as in the fit of a single photo.
    pub fn pose(&self, view: usize, full: &[f64], inner: &Inner) -> Pose {
        let start = &self.starts[view];
        let at = INNER + PER_VIEW * view;
        let sight = inner.undistorted(start.in_photo + Vector2::new(full[at + 3], full[at + 4]));
        let turn = Rotation3::new(Vector3::new(full[at], full[at + 1], full[at + 2]));
        let was = start.pose.translation_mm;
        let distance = was.z * inner.fx_px / start.focal_px * full[at + 5].exp();
        Pose {
            rotation: turn * least_turn(&was, &sight) * start.pose.rotation,
            translation_mm: sight * distance,
        }
    }

    /// Residuals of all observations, pixels; `None` where one comes to lie behind the camera.
    pub fn residuals_px(&self, full: &[f64]) -> Option<Vec<f64>> {
        let inner = self.inner(full);
        let stretch = full[10].exp();
        let mut all = Vec::with_capacity(self.views.iter().map(|v| v.observations.len()).sum());
        for (i, view) in self.views.iter().enumerate() {
            let pose = self.pose(i, full, &inner);
            let at = INNER + PER_VIEW * i;
            let (bloom, sagittas) = (full[at + 6], [full[at + 7], full[at + 8]]);
            for o in &view.observations {
                let printed = CardPoint { y_mm: o.on_target.y_mm * stretch, ..o.on_target };
                let seen =
                    inner.photo_from_ideal(pose.ideal_from_card(bent(view.halves_mm, sagittas, printed))?);
                all.push((seen.vector() - o.measured.vector()).dot(&o.across) + bloom);
            }
        }
        Some(all)
    }

    /// The same in units of their standard uncertainties times `ratio`.
    pub fn whitened(&self, values: &DVector<f64>, ratio: f64) -> Option<DVector<f64>> {
        let residuals = self.residuals_px(&self.full(values))?;
        let stated = self.views.iter().flat_map(|v| v.observations.iter().map(|o| o.u_px));
        let list: Vec<f64> = residuals.iter().zip(stated).map(|(r, u)| r / (u * ratio)).collect();
        Some(DVector::from_vec(list))
    }
}
