//! Whether views determine a lens, and which to add when they do not: of imagined views, those with the most information.

use nalgebra::{DMatrix, Rotation3, Vector2, Vector3};

use super::{LensModel, information};
use crate::camera::lens::Intrinsics;
use crate::camera::pose::CameraPose;
use crate::camera::target::TargetView;
use crate::card::pattern::Pattern;
use crate::card::side::Observation;
use crate::numeric::frame::CardPoint;
use crate::numeric::homography::homography;

/// A focal length less certain than this is no better than a phone's camera data (1 % changes the effect of a height of
/// 50 mm at 1.1 m by 0.1 mm of a width of 230 mm).
const MOST_FOCAL_U: f64 = 0.01;
/// No better than what is assumed of any phone, as part of the long side.
const MOST_PRINCIPAL_U: f64 = 0.005;
/// The same of the distortion in the corner of the picture, as part of its distance from the middle.
const MOST_CORNER_U: f64 = 0.02;

/// Uncertainties as multiples of their limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shortfall {
    /// Focal length.
    pub focal: f64,
    /// Principal point.
    pub principal: f64,
    /// Distortion in the corner.
    pub corner: f64,
}

impl Shortfall {
    /// Shortfall of the covariance of the shared parameters.
    pub fn of(covariance: &DMatrix<f64>, inner: &Intrinsics, size_px: [f64; 2]) -> Self {
        let u = |i: usize| covariance[(i, i)].max(0.0).sqrt();
        let r = (size_px[0].hypot(size_px[1]) / 2.0 / inner.fx_px).min(1.0);
        // By how much the corner moves outwards, as part of its distance, for a unit of k1, k2 and k3.
        let by = [(3, r.powi(2)), (4, r.powi(4)), (7, r.powi(6))];
        let corner: f64 = by.iter().flat_map(|a| by.iter().map(|b| a.1 * b.1 * covariance[(a.0, b.0)])).sum();
        Self {
            focal: u(0) / MOST_FOCAL_U,
            principal: u(1).max(u(2)) / size_px[0].max(size_px[1]) / MOST_PRINCIPAL_U,
            corner: corner.max(0.0).sqrt() / MOST_CORNER_U,
        }
    }

    /// True when everything is known well enough.
    pub fn is_none(&self) -> bool {
        [self.focal, self.principal, self.corner].iter().all(|x| *x <= 1.0)
    }

    /// Names of what is not known well enough.
    pub fn in_words(&self) -> String {
        let named = [
            (self.focal, "the focal length"),
            (self.principal, "the lens's middle"),
            (self.corner, "the distortion in the picture's corners"),
        ];
        let list: Vec<&str> = named.iter().filter(|(x, _)| !(*x <= 1.0)).map(|n| n.1).collect();
        list.join(" and ")
    }

    fn missing(&self) -> f64 {
        [self.focal, self.principal, self.corner].iter().map(|x| x.max(1.0).ln()).sum()
    }
}

/// View that could be added.
#[derive(Debug, Clone, Copy, PartialEq)]
struct ImaginedView {
    /// Place of the card in the frame, from its middle, as parts of half its sides.
    place: [f64; 2],
    /// From which side the card is seen: right and down in the picture, the tilt's direction; none for straight.
    from: Option<[f64; 2]>,
    /// The card turned by a quarter in the picture.
    turned: bool,
}

/// Tilt of imagined views, and the part of the frame's width that the card takes.
const TILT_DEG: f64 = 35.0;
const CARD_PART: f64 = 0.5;
/// Most views asked for at a time.
const MOST_ADDED: usize = 4;

impl ImaginedView {
    fn all() -> Vec<Self> {
        let places = [[0.0, 0.0], [-0.5, -0.5], [0.5, -0.5], [-0.5, 0.5], [0.5, 0.5]];
        let froms = [None, Some([-1.0, 0.0]), Some([1.0, 0.0]), Some([0.0, -1.0]), Some([0.0, 1.0])];
        let mut all = Vec::new();
        for place in places {
            for from in froms {
                all.extend([false, true].map(|turned| Self { place, from, turned }));
            }
        }
        all
    }

    fn in_words(self) -> String {
        let seen = match self.from {
            None => "straight from above".into(),
            Some(from) => {
                let side = match from {
                    [x, _] if x < 0.0 => "left",
                    [x, _] if x > 0.0 => "right",
                    [_, y] if y < 0.0 => "far",
                    _ => "near",
                };
                format!("slanting by {TILT_DEG:.0} degrees from its {side} side")
            }
        };
        let place = match self.place {
            [0.0, 0.0] => "in the middle".into(),
            [x, y] => format!(
                "in the {} {} corner",
                if y < 0.0 { "upper" } else { "lower" },
                if x < 0.0 { "left" } else { "right" }
            ),
        };
        let turned = if self.turned { ", the phone turned by a quarter" } else { "" };
        format!("the card {place} of the picture, seen {seen}{turned}")
    }

    /// The card as it would appear. `None` where part of it would lie behind the camera.
    fn view(self, inner: &Intrinsics, size_px: [f64; 2], pattern: &Pattern, u_px: f64) -> Option<TargetView> {
        let distance = inner.fx_px * pattern.width_mm / (CARD_PART * size_px[0].max(size_px[1]));
        let [x, y] = [0, 1].map(|i| self.place[i] * size_px[i] / 2.0);
        let sight = Vector3::new(x / inner.fx_px, y / inner.fy_px, 1.0);
        let tilt = self.from.map_or_else(Rotation3::identity, |from| {
            // Seen from the left, the card's right side is farther: a turn about the picture's upward axis.
            let axis = nalgebra::Unit::new_normalize(Vector3::new(-from[1], from[0], 0.0));
            Rotation3::from_axis_angle(&axis, TILT_DEG.to_radians())
        });
        let roll = Rotation3::from_axis_angle(
            &Vector3::z_axis(),
            if self.turned { std::f64::consts::FRAC_PI_2 } else { 0.0 },
        );
        let down = Rotation3::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI);
        let pose = CameraPose { rotation: roll * tilt * down, translation_mm: sight * distance };
        let mut observations = Vec::new();
        let mut pairs = Vec::new();
        for index in 0..pattern.tags.len() {
            let corners = pattern.corners(index);
            for i in 0..4 {
                let (a, b) = (corners[i].vector(), corners[(i + 1) % 4].vector());
                let seen =
                    |p: Vector3<f64>| Some(inner.photo_from_ideal(pose.ideal_from_card(CardPoint::from(p))?));
                let along = seen(b)?.vector() - seen(a)?.vector();
                let across = Vector2::new(along.y, -along.x).normalize();
                pairs.push((a.xy(), seen(a)?.vector()));
                for part in [0.2, 0.8] {
                    let on_target = CardPoint::from(a + (b - a) * part);
                    let measured = seen(on_target.vector())?;
                    observations.push(Observation { on_target, measured, across, u_px, tag: index });
                }
            }
        }
        let halves_mm = [pattern.width_mm / 2.0, pattern.height_mm / 2.0];
        Some(TargetView { halves_mm, photo_from_target: homography(&pairs)?, observations })
    }
}

/// The views to add, in words: one after the other the most informative, until everything would be known.
pub fn views_to_add(
    covariance: &DMatrix<f64>,
    inner: &Intrinsics,
    model: &LensModel,
    size_px: [f64; 2],
    pattern: &Pattern,
    u_px: f64,
) -> Vec<String> {
    let fitted: Vec<usize> = (0..covariance.nrows()).filter(|&i| covariance[(i, i)] > 0.0).collect();
    let known = covariance.select_rows(&fitted).select_columns(&fitted);
    let Some(mut precision) = known.try_inverse() else { return Vec::new() };
    let candidates: Vec<(ImaginedView, DMatrix<f64>)> = ImaginedView::all()
        .into_iter()
        .filter_map(|imagined| {
            let views = [imagined.view(inner, size_px, pattern, u_px)?];
            let bundle = model.bundle(&views, *inner)?;
            let gain = information(&bundle, &bundle.start())?;
            (gain.nrows() == precision.nrows()).then_some((imagined, gain))
        })
        .collect();
    let shortfall = |precision: &DMatrix<f64>| {
        let inverse = precision.clone().try_inverse()?;
        let mut full = DMatrix::zeros(covariance.nrows(), covariance.nrows());
        for (a, &i) in fitted.iter().enumerate() {
            for (b, &j) in fitted.iter().enumerate() {
                full[(i, j)] = inverse[(a, b)];
            }
        }
        Some(Shortfall::of(&full, inner, size_px))
    };
    let mut list = Vec::new();
    while list.len() < MOST_ADDED && shortfall(&precision).is_some_and(|w| !w.is_none()) {
        let best = candidates
            .iter()
            .filter_map(|(imagined, gain)| Some((shortfall(&(&precision + gain))?.missing(), imagined, gain)))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, imagined, gain)) = best else { break };
        list.push(imagined.in_words());
        precision += gain;
    }
    list
}
