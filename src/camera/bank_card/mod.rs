//! Print scale of the reference card from a bank card in its frame.
//!
//! The sides of the bank card are found about the frame in a rectified view of the paper, then measured in the photo like
//! those of the tags. Its known width and height (ISO/IEC 7810, ID-1) over those measured by the nominal places of the
//! tags are two estimates of the scale.

mod rim;

use nalgebra::{DVector, Rotation2, Vector2};

use super::Camera;
use super::fit::CameraFit;
use crate::card::FoundCard;
use crate::card::bank_card::{BRACKET_MM, ID1_MM, ID1_THICK_MM, frame_middle_mm};
use crate::card::side::{SidePixels, TagSide, measure_side};
use crate::numeric::frame::{CardPoint, PhotoPoint};
use crate::photo::Photo;
use rim::{Rim, rim};

/// Printed length over nominal length, by a bank card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScaleByBankCard {
    /// The scale.
    pub scale: f64,
    /// Its relative standard uncertainty.
    pub relative_u: f64,
}

/// Number of sides, in the order right, top, left, bottom: each a quarter turn on.
const SIDES: usize = 4;
/// Largest distance of a side of the bank card from the frame, mm: it sticks out where the print is too small.
const REACH_MM: f64 = 5.0;
/// Largest turn of the bank card in the frame, degrees.
const MOST_TURN_DEG: f64 = 5.0;
const TURN_STEP_DEG: f64 = 0.5;
/// Beyond the brackets of the frame, along each side from its corners, mm; and where the bank card's corner is round.
const FROM_CORNER_MM: f64 = BRACKET_MM + 4.0;
/// Light is compared between these distances to either side of an assumed edge, mm; nearer, blur mixes it.
const WINDOW_MM: [f64; 2] = [0.5, 2.0];
/// Steps of the coarse picture along a side and across it, mm.
const ALONG_MM: f64 = 1.0;
const ACROSS_MM: f64 = 0.25;
/// The paper beyond the bank card is no darker than this part of the lightest about the frame.
const LEAST_WHITE: f64 = 0.6;
/// A side of a bank card as seen is off its true place by this, mm, as a standard uncertainty: its rim is round, and the sun
/// throws a shadow of some 0.4 mm beyond the sides turned away from it, which may or may not be distinguished from the card
/// (rectangular; a stated assumption).
const RIM_U_MM: f64 = 0.12;
/// Bank cards are cut this true, mm, as a standard uncertainty (a stated assumption).
const CUT_U_MM: f64 = 0.05;
/// The bloom of the tags' edges stands for that of another dark thing to this part.
const BLOOM_PART_U: f64 = 0.3;
/// A printer's scales along and across the paper differ by this, as a standard uncertainty (a stated assumption).
const TWO_SCALES_U: f64 = 0.002;
/// Beyond so many of their uncertainties the two scales are not those of a bank card.
const MOST_APART: f64 = 3.0;
/// Its sides are straight and square to this, degrees.
const SQUARE_DEG: f64 = 1.0;

/// The scale of the print of one of the cards in the fit, which takes it to be printed true. `None` where no bank card is seen in
/// the frame.
pub fn scale_by_bank_card(
    photo: &Photo,
    fit: &CameraFit,
    card: usize,
    found: &FoundCard,
) -> Option<ScaleByBankCard> {
    let middle = frame_middle_mm(found.pattern);
    let camera = fit.camera_over(card, &fit.estimate.values);
    let paper = Paper { photo, fit, card, camera, middle, blur_px: found.blur_px() };
    let place = paper.find()?;
    let sides: Vec<Edge> = (0..SIDES).map(|side| paper.edge(&place, side)).collect::<Option<_>>()?;
    let values = &fit.estimate.values;
    let lines: Vec<Line> = sides.iter().map(|s| paper.line(s, values)).collect::<Option<_>>()?;
    if !square(&lines) {
        return None;
    }
    let mm = lengths(&lines);
    let cameras_u = paper.cameras_u_mm(&sides)?;
    let u_own = [0, 1].map(|i| {
        let own = lines[i].u_mm.hypot(lines[i + 2].u_mm).hypot(CUT_U_MM).hypot(cameras_u[i]);
        own / mm[i]
    });
    let u_light = [0, 1].map(|i| (lines[i].u_light_mm + lines[i + 2].u_light_mm) / mm[i]);
    combine([0, 1].map(|i| ID1_MM[i] / mm[i]), u_own, u_light)
}

/// One scale of two with their own relative uncertainties and one that they share.
fn combine(scales: [f64; 2], u_own: [f64; 2], u_shared: [f64; 2]) -> Option<ScaleByBankCard> {
    let u_apart = u_own[0].hypot(u_own[1]).hypot(u_shared[0] - u_shared[1]).hypot(TWO_SCALES_U);
    let alike = (scales[0] - scales[1]).abs() <= MOST_APART * u_apart;
    let weights = u_own.map(|u| 1.0 / (u * u + TWO_SCALES_U * TWO_SCALES_U / 2.0));
    let sum = weights[0] + weights[1];
    let mean = |of: [f64; 2]| (weights[0] * of[0] + weights[1] * of[1]) / sum;
    let (scale, relative_u) = (mean(scales), (1.0 / sum).sqrt().hypot(mean(u_shared)));
    (alike && scale.is_finite() && relative_u.is_finite()).then_some(ScaleByBankCard { scale, relative_u })
}

/// The paper about the frame; points are in mm from the frame's middle, x to the sheet's right and y to its top.
struct Paper<'a> {
    photo: &'a Photo,
    fit: &'a CameraFit,
    card: usize,
    /// At the estimate, in the frame of the card.
    camera: Camera,
    middle: Vector2<f64>,
    blur_px: f64,
}

/// Rough place of a bank card about the frame.
struct RoughPlace {
    turn: Rotation2<f64>,
    /// Distance of each side outwards of the frame's, mm.
    outwards_mm: [f64; SIDES],
}

impl RoughPlace {
    /// A point of a side, so far along from its middle and so far outwards of the frame's side.
    fn point(turn: &Rotation2<f64>, side: usize, along_mm: f64, outwards_mm: f64) -> Vector2<f64> {
        let quarter = Rotation2::new(side as f64 * std::f64::consts::FRAC_PI_2);
        turn * (quarter * Vector2::new(ID1_MM[side % 2] / 2.0 + outwards_mm, along_mm))
    }

    /// The ends of the stretch of a side that is measured, clockwise round the bank card.
    fn side_mm(&self, side: usize) -> [Vector2<f64>; 2] {
        let half = half_seen_mm(side);
        [half, -half].map(|along| Self::point(&self.turn, side, along, self.outwards_mm[side]))
    }
}

/// Half of the stretch of a side in front of white paper, mm.
fn half_seen_mm(side: usize) -> f64 {
    ID1_MM[(side + 1) % 2] / 2.0 - FROM_CORNER_MM
}

/// A side of the bank card in the photo, with the place of its rim.
struct Edge {
    side: TagSide,
    rim: Rim,
}

/// A side of the bank card in the plane of its upper face, mm from the frame's middle.
struct Line {
    at: Vector2<f64>,
    along: Vector2<f64>,
    /// Standard uncertainty across it, but for what the light does to all sides alike.
    u_mm: f64,
    u_light_mm: f64,
}

impl Paper<'_> {
    /// The height of a bank card's upper face over the reference card's plane, mm.
    fn face_mm(&self, p: Vector2<f64>, values: &DVector<f64>) -> f64 {
        let on_card = CardPoint::new(p.x + self.middle.x, p.y + self.middle.y, 0.0);
        self.fit.paper_height_mm(self.card, on_card, values) + ID1_THICK_MM
    }

    fn pixel(&self, p: Vector2<f64>) -> Option<PhotoPoint> {
        let on_face = (p + self.middle).push(self.face_mm(p, &self.fit.estimate.values));
        self.camera.photo_from_card(CardPoint::from(on_face))
    }

    /// A pixel on the upper face; the bent paper's height is looked up where it comes to lie.
    fn on_face(&self, pixel: PhotoPoint, camera: &Camera, values: &DVector<f64>) -> Option<Vector2<f64>> {
        let mut p = Vector2::zeros();
        for _ in 0..3 {
            p = camera.card_from_photo(pixel, self.face_mm(p, values))?.horizontal() - self.middle;
        }
        Some(p)
    }

    fn light(&self, p: Vector2<f64>) -> Option<f64> {
        Some(f64::from(self.photo.linear_at(self.pixel(p)?)?[1]))
    }

    /// Rough place of the bank card: the turn at which all four sides step most clearly from dark to white.
    fn find(&self) -> Option<RoughPlace> {
        let turns = (MOST_TURN_DEG / TURN_STEP_DEG) as i32;
        let place = (-turns..=turns).filter_map(|i| {
            let turn = Rotation2::new((f64::from(i) * TURN_STEP_DEG).to_radians());
            let steps: Vec<[f64; 2]> =
                (0..SIDES).map(|side| self.step(&turn, side)).collect::<Option<_>>()?;
            let clear: f64 = steps.iter().map(|s| s[1]).sum();
            Some((clear, RoughPlace { turn, outwards_mm: [0, 1, 2, 3].map(|i| steps[i][0]) }))
        });
        place.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, place)| place)
    }

    /// How far outwards of the frame's side the light steps up most to white, mm, and by how much.
    fn step(&self, turn: &Rotation2<f64>, side: usize) -> Option<[f64; 2]> {
        let profile = self.profile(turn, side)?;
        let white = LEAST_WHITE * profile.iter().copied().fold(0.0, f64::max);
        let [near, far] = WINDOW_MM.map(|mm| (mm / ACROSS_MM) as usize);
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
        let steps = (far..profile.len() - far).filter_map(|i| {
            let (inside, outside) = (&profile[i - far..=i - near], &profile[i + near..=i + far]);
            let paper = outside.iter().all(|light| *light >= white);
            paper.then(|| [i as f64 * ACROSS_MM - REACH_MM - WINDOW_MM[1], mean(outside) - mean(inside)])
        });
        steps.max_by(|a, b| a[1].total_cmp(&b[1]))
    }

    /// Mean light along a side, from within to without.
    fn profile(&self, turn: &Rotation2<f64>, side: usize) -> Option<Vec<f64>> {
        let reach = REACH_MM + WINDOW_MM[1];
        let half = half_seen_mm(side);
        let count = (2.0 * reach / ACROSS_MM) as usize;
        let along = (2.0 * half / ALONG_MM) as usize;
        let light_at = |across: usize| {
            let outwards = across as f64 * ACROSS_MM - reach;
            let lights = (0..=along).map(|i| {
                let at = i as f64 * ALONG_MM - half;
                self.light(RoughPlace::point(turn, side, at, outwards))
            });
            Some(lights.sum::<Option<f64>>()? / (along + 1) as f64)
        };
        (0..=count).map(light_at).collect()
    }

    /// A side measured in the photo.
    fn edge(&self, place: &RoughPlace, side: usize) -> Option<Edge> {
        let [from, to] = place.side_mm(side).map(|p| self.pixel(p));
        let side = measure_side(self.photo, from?, to?, SidePixels::All)?;
        let at = self.on_face(side.middle, &self.camera, &self.fit.estimate.values)? + self.middle;
        let mm_per_px = self.camera.mm_per_px(CardPoint::from(at.push(ID1_THICK_MM)))?;
        let rim = rim(self.photo, &side, self.blur_px, ID1_THICK_MM / mm_per_px)?;
        Some(Edge { side, rim })
    }

    /// A measured side on the bank card's face. Where the camera looks at it from without it shows its wall below the rim, and
    /// which of both is the edge depends on the colour of the wall: the middle is used.
    fn line(&self, edge: &Edge, values: &DVector<f64>) -> Option<Line> {
        let camera = self.fit.camera_over(self.card, values);
        let Edge { side, rim } = edge;
        let bloom_px = self.fit.bloom_px();
        let outwards_px = rim.outward_px - bloom_px;
        let point = |along_px: f64, outward_px: f64| {
            let p = side.middle.vector() + side.along * along_px + side.outward * outward_px;
            self.on_face(p.into(), &camera, values)
        };
        let seen = point(0.0, outwards_px)?;
        let [from, to] = [-1.0, 1.0].map(|end| point(end * side.half_length_px, outwards_px));
        let along = (to? - from?).normalize();
        let outward_px = point(0.0, 1.0 + outwards_px)? - seen;
        let outward = (outward_px - along * along.dot(&outward_px)).normalize();
        let mm_per_px = outward.dot(&outward_px);
        let centre = camera.pose.centre_in_card();
        let toward_camera = centre.horizontal() - self.middle - seen;
        let wall_mm = ID1_THICK_MM * (toward_camera.dot(&outward) / centre.z_mm).max(0.0);
        let u_mm = (rim.u_px * mm_per_px).hypot(RIM_U_MM).hypot(wall_mm / 12f64.sqrt());
        let u_light_mm = mm_per_px * (BLOOM_PART_U * bloom_px).hypot(rim.u_shade_px);
        Some(Line { at: seen - outward * (wall_mm / 2.0), along, u_mm, u_light_mm })
    }

    /// What the camera's uncertainty makes of width and height, mm.
    fn cameras_u_mm(&self, sides: &[Edge]) -> Option<[f64; 2]> {
        let estimate = &self.fit.estimate;
        let at = |index: usize, by: f64| {
            let mut values = estimate.values.clone();
            values[index] += by;
            let lines: Option<Vec<Line>> = sides.iter().map(|s| self.line(s, &values)).collect();
            Some(lengths(&lines?))
        };
        let mut gradients = [0, 1].map(|_| DVector::zeros(self.fit.parameters().len()));
        for index in 0..self.fit.parameters().len() {
            let u = estimate.u(index);
            let (more, less) = (at(index, u)?, at(index, -u)?);
            for (i, gradient) in gradients.iter_mut().enumerate() {
                gradient[index] = if u > 0.0 { (more[i] - less[i]) / (2.0 * u) } else { 0.0 };
            }
        }
        Some([0, 1].map(|i| estimate.variance_of(&gradients[i]).sqrt()))
    }
}

/// Width and height between opposite sides, mm.
fn lengths(lines: &[Line]) -> [f64; 2] {
    [0, 1].map(|i| {
        let (a, b) = (&lines[i], &lines[i + 2]);
        // Opposite sides run opposite ways round the bank card.
        let along = (a.along - b.along).normalize();
        (a.at - b.at).perp(&along).abs()
    })
}

fn square(lines: &[Line]) -> bool {
    let quarter = |i: usize| {
        let (a, b) = (lines[i].along, lines[(i + 1) % SIDES].along);
        a.dot(&b).abs() <= SQUARE_DEG.to_radians()
    };
    (0..SIDES).all(quarter)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_scales_are_weighed_and_must_agree() {
        let both = combine([1.001, 1.002], [0.002, 0.003], [0.0, 0.0]).unwrap();
        assert!(both.scale > 1.001 && both.scale < 1.0015, "{both:?}");
        assert!(both.relative_u < 0.0025, "{both:?}");
        assert_eq!(combine([1.0, 1.03], [0.002, 0.003], [0.0, 0.0]), None);
        assert_eq!(combine([f64::NAN, 1.0], [0.002, 0.003], [0.0, 0.0]), None);
        let shared = combine([1.0, 1.0], [0.002, 0.003], [0.001, 0.0015]).unwrap();
        assert!(shared.relative_u > combine([1.0, 1.0], [0.002, 0.003], [0.0, 0.0]).unwrap().relative_u);
    }

    #[test]
    fn the_sides_run_clockwise_about_a_bank_card() {
        let place = RoughPlace { turn: Rotation2::new(0.02), outwards_mm: [0.5, -0.5, 1.0, 0.0] };
        for side in 0..SIDES {
            let [from, to] = place.side_mm(side);
            assert!((to - from).perp(&from) > 0.0, "side {side}: the middle is on the right");
        }
        let width = place.side_mm(0)[0] - place.side_mm(2)[1];
        assert!((width.norm() - (ID1_MM[0] + 1.5)).abs() < 1e-9);
    }
}
