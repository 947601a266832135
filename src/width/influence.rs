//! How every half-width answers to every input, and the uncertainty budget that follows (JCGM 100:2008, 5.1 and 5.2).
//!
//! The measured pixels stay; each input in turn is moved, and the pixels are taken anew through camera, lift and
//! midline. Left and right share the camera, so their errors are combined with their signs, not as if independent.

use std::collections::BTreeMap;

use nalgebra::{DVector, Vector2};

use crate::camera::Camera;
use crate::camera::fit::CameraFit;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::uncertain::Drawer;
use crate::numeric::words::{Part, SIDES, Side};
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;

/// One section plane through both edges of a part.
#[derive(Debug, Clone, Copy)]
pub struct Cut {
    /// Which pair of edges.
    pub part: Part,
    /// The station.
    pub station: f64,
    /// Left and right.
    pub sides: [CutSide; 2],
}

/// Where the plane cuts one edge.
#[derive(Debug, Clone, Copy)]
pub struct CutSide {
    /// The cut in the photo.
    pub pixel: PhotoPoint,
    /// Change of the half-width along the midline, mm per mm.
    pub slope: f64,
    /// Standard uncertainty from the traced points' scatter, mm.
    pub u_mm: f64,
    /// Probability that the edge is here.
    pub confidence: f64,
    /// How far off the boundary that competes most lies, mm.
    pub rival_mm: f64,
}

/// What leads one place of an edge astray (a stitch, a fold, light) leads those beside it astray as well: over this
/// distance along the edge the correlation falls to 1/e. On rendered and drawn photos of known truth it was 0.75 at 20 mm, 0.41
/// at 40 mm and 0.13 at 60 mm. An exponential is rougher than that, on purpose: with a smooth one the small differences
/// between neighbours, which no model of an edge's noise knows, would weigh more than all the rest.
const ASTRAY_MM: f64 = 42.0;

/// Correlation between the localisation of one edge at two stations so far apart, mm.
pub fn edge_correlation(apart_mm: f64) -> f64 {
    (1.0 - OWN_VARIANCE) * (-apart_mm.abs() / ASTRAY_MM).exp()
}

/// Part of an edge's variance that no neighbour shares, however near.
const OWN_VARIANCE: f64 = 0.05;

impl CutSide {
    /// Standard uncertainty from the boundary that competes most, mm.
    pub fn competing_u_mm(&self) -> f64 {
        let p = self.confidence.clamp(0.0, 1.0);
        (p * (1.0 - p)).sqrt() * self.rival_mm
    }
}

/// All inputs that can be moved.
#[derive(Debug, Clone)]
pub struct Inputs<'a> {
    /// The camera's fit.
    pub fit: &'a CameraFit,
    /// The midline.
    pub midline: Midline,
    /// Lift of the seat's edges.
    pub seat_lift: LiftProfile,
    /// Lift of the channel's edges.
    pub channel_lift: LiftProfile,
    /// Relative standard uncertainty of the print scale.
    pub print_scale_u: f64,
    /// Standard uncertainty of each midline end, along and across, mm.
    pub end_u_mm: f64,
}

/// Half-widths (left, right) of every cut, mm.
pub type Halves = Vec<[f64; 2]>;

/// The half-widths and how they answer.
#[derive(Debug, Clone)]
pub struct Influences<'a> {
    /// Values at the estimate.
    pub base: Halves,
    inputs: &'a Inputs<'a>,
    cuts: &'a [Cut],
    camera: Vec<(f64, [Halves; 2])>,
    /// By how far the midline's ends move with each of the camera's parameters, mm a unit, in the order of [`ENDS`].
    ends: Vec<[f64; 4]>,
    /// The half-widths with one point of the seat's lift, then of the channel's, raised by 1 mm.
    raised: [Vec<Halves>; 2],
    moved: Vec<(&'static str, Halves, f64)>,
}

/// Names of the budget's lines.
pub mod line {
    pub use crate::camera::parameter::line::CORNERS;
    /// Heights of the edges.
    pub const LIFT: &str = "lift";
    /// Noise, blur and scatter of the traced points.
    pub const EDGE: &str = "edge localisation";
    /// What counts as the outer side of a round piping seen from above.
    pub const PIPING: &str = "piping definition";
    /// Other boundaries that may be the edge.
    pub const COMPETING: &str = "competing boundaries";
    /// What a stretch that was not traced may conceal of an extreme.
    pub const HIDDEN: &str = "hidden stretch";
    /// Halves that differ by more than a sound saddle's.
    pub const UNEVEN: &str = "uneven halves";
    /// Direction of the midline.
    pub const DIRECTION: &str = "midline direction";
    /// Where along the midline a station lies.
    pub const STATION: &str = "station position";
    /// The card is not parallel to the saddle's horizontal, from which lifts are measured.
    pub const LEVEL: &str = "card not level";
    /// The saddle is rolled about its midline.
    pub const ROLL: &str = "saddle not level";
    /// True length of what was printed.
    pub const PRINT: &str = "print scale";
}

/// How far the line taken for the outermost side of the piping lies from where a caliper would touch it, mm, as a
/// standard uncertainty common to both sides. It wanders with the angle of view, the light and what lies beyond; on
/// rendered photos of known truth the medians of most sides lie within this (`tests/accuracy/photos.rs` prints the widths).
pub const PIPING_U_MM: f64 = 0.4;
/// A card laid level by eye lies within a degree of the saddle's horizontal, either way (a stated assumption): a
/// rectangular distribution, radians. Lifts are measured upwards from the card; where the saddle lies its plane is off by
/// that much of the distance, on both sides by other amounts.
pub const LEVEL_U: f64 = 0.0101;
/// A saddle on its stand is rolled about its midline by up to 1.3 degrees either way before the eye sees it: 5 mm between
/// the edges of a seat of 230 mm (a stated assumption); a rectangular distribution, radians. A ruler measures one height for
/// both edges, and seen from the side unequal heights look like width.
pub const ROLL_U: f64 = 0.0131;

/// A plane against the card's: level in a point, with slopes along x and y.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Where it is level with the card's, mm.
    pub level_at: Vector2<f64>,
    /// Slopes along x and y.
    pub by: Vector2<f64>,
}

impl Slope {
    /// A card that is tilted against the saddle's horizontal, about its origin.
    pub fn of_card(by: Vector2<f64>) -> Self {
        Self { level_at: Vector2::zeros(), by }
    }

    /// A saddle rolled about its midline, its left side up by a slope.
    pub fn of_roll(midline: &Midline, slope: f64) -> Self {
        Self { level_at: midline.front_mm, by: midline.toward(Side::Left) * slope }
    }

    /// How a card and a saddle may lie: a tilt and a roll by what is assumed of them.
    pub fn drawn(midline: &Midline, drawer: &mut Drawer) -> [Self; 2] {
        let tilt = Vector2::new(drawer.rectangular(LEVEL_U), drawer.rectangular(LEVEL_U));
        [Self::of_card(tilt), Self::of_roll(midline, drawer.rectangular(ROLL_U))]
    }

    /// How much higher the plane lies over a place than the card's, mm.
    pub fn height_mm(&self, at: Vector2<f64>) -> f64 {
        self.by.dot(&(at - self.level_at))
    }
}
/// How far off a competing boundary is taken to lie where the trace does not say, mm: the welt's other side, a shadow, a
/// panel's rim.
pub const COMPETITOR_APART_MM: f64 = 4.0;

impl<'a> Influences<'a> {
    /// Moves every input once; of the lifts their points. `None` when a cut cannot be taken through the camera at all.
    pub fn of(inputs: &'a Inputs<'a>, cuts: &'a [Cut]) -> Option<Self> {
        let camera = inputs.fit.camera;
        let seen = |camera: &Camera, midline: &Midline, seat: &LiftProfile, channel: &LiftProfile| {
            halves(camera, midline, seat, channel, cuts)
        };
        let (midline, seat, channel) = (&inputs.midline, &inputs.seat_lift, &inputs.channel_lift);
        let base = seen(&camera, midline, seat, channel)?;
        let (mut by_camera, mut ends) = (Vec::new(), Vec::new());
        for j in 0..inputs.fit.parameters().len() {
            let delta = 0.5 * inputs.fit.estimate.u(j);
            let moved = |by: f64| {
                let moved = inputs.fit.camera_moved(j, by);
                // The midline's ends are pixels too and move along with the camera.
                let about = moved_midline(&camera, &moved, inputs)?;
                Some((halves(&moved, &about, seat, channel, cuts)?, ends_apart(midline, &about)))
            };
            let ((up, ends_up), (down, ends_down)) = (moved(delta)?, moved(-delta)?);
            by_camera.push((delta, [up, down]));
            ends.push(std::array::from_fn(|k| (ends_up[k] - ends_down[k]) / (2.0 * delta)));
        }
        let points = |lift: &LiftProfile| 0..lift.points().len();
        let seat_raised = points(seat).map(|i| seen(&camera, midline, &seat.raised(i, 1.0), channel));
        let channel_raised = points(channel).map(|i| seen(&camera, midline, seat, &channel.raised(i, 1.0)));
        let raised = [seat_raised.collect::<Option<_>>()?, channel_raised.collect::<Option<_>>()?];
        let mut moved = Vec::new();
        for tilt in [Vector2::x(), Vector2::y()] {
            let slopes = [Slope::of_card(tilt * LEVEL_U)];
            moved.push((line::LEVEL, halves_over(&slopes, &camera, midline, [seat, channel], cuts)?, 1.0));
        }
        let roll = [Slope::of_roll(midline, ROLL_U)];
        moved.push((line::ROLL, halves_over(&roll, &camera, midline, [seat, channel], cuts)?, 1.0));
        for (front, name, along) in ENDS {
            let shifted = midline.shifted(front, along, 1.0);
            moved.push((name, seen(&camera, &shifted, seat, channel)?, inputs.end_u_mm));
        }
        Some(Self { base, inputs, cuts, camera: by_camera, ends, raised, moved })
    }

    /// With what else may be wrong of the lifts: all of a profile, and how it runs between the heights that were measured.
    pub fn with_lifts_between(mut self) -> Option<Self> {
        let Inputs { fit, midline, seat_lift: seat, channel_lift: channel, .. } = self.inputs;
        let cuts = self.cuts;
        let seen =
            |seat: &LiftProfile, channel: &LiftProfile| halves(&fit.camera, midline, seat, channel, cuts);
        let bows = |lift: &LiftProfile| if lift.is_known() { 0..lift.stretches() } else { 0..0 };
        let mut moved = |halves: Option<Halves>, u: f64| -> Option<()> {
            self.moved.push((line::LIFT, halves?, u));
            Some(())
        };
        moved(seen(&seat.raised_all(1.0), channel), seat.common_u_mm)?;
        moved(seen(seat, &channel.raised_all(1.0)), channel.common_u_mm)?;
        for stretch in bows(seat) {
            moved(seen(&seat.bowed(stretch, 1.0), channel), 1.0)?;
        }
        for stretch in bows(channel) {
            moved(seen(seat, &channel.bowed(stretch, 1.0)), 1.0)?;
        }
        Some(self)
    }

    /// The budget of a quantity of the half-widths, by its derivative with each of them: every contribution by name, in the
    /// quantity's unit. `length_mm` is the quantity where it is a length, which scales with the print.
    pub fn budget(&self, gradient: &[(usize, [f64; 2])], length_mm: Option<f64>) -> Vec<(String, f64)> {
        let change = |halves: &Halves, than: &Halves| -> f64 {
            gradient
                .iter()
                .map(|(cut, by)| (0..2).map(|i| by[i] * (halves[*cut][i] - than[*cut][i])).sum::<f64>())
                .sum()
        };
        let mut variance: BTreeMap<&str, f64> = BTreeMap::new();
        let slopes = DVector::from_iterator(
            self.camera.len(),
            self.camera.iter().map(|(delta, [up, down])| change(up, down) / (2.0 * delta)),
        );
        for (source, part) in self.inputs.fit.sources() {
            *variance.entry(source.line()).or_default() += part.dot(&slopes).powi(2);
        }
        for (name, halves, u) in &self.moved {
            *variance.entry(name).or_default() += (change(halves, &self.base) * u).powi(2);
        }
        let points_u_mm = [&self.inputs.seat_lift, &self.inputs.channel_lift].map(|lift| lift.point_u_mm);
        for (raised, u_mm) in self.raised.iter().zip(points_u_mm) {
            let all: f64 = raised.iter().map(|halves| (change(halves, &self.base) * u_mm).powi(2)).sum();
            *variance.entry(line::LIFT).or_default() += all;
        }
        let mut piping = 0.0;
        for (cut, weights) in gradient {
            for (side, w) in self.cuts[*cut].sides.iter().zip(weights) {
                *variance.entry(line::COMPETING).or_default() += (w * side.competing_u_mm()).powi(2);
                piping += w * PIPING_U_MM;
            }
        }
        *variance.entry(line::PIPING).or_default() += piping * piping;
        *variance.entry(line::EDGE).or_default() += self.edge_variance(gradient);
        if let Some(mm) = length_mm {
            *variance.entry(line::PRINT).or_default() += (mm * self.inputs.print_scale_u).powi(2);
        }
        variance.into_iter().map(|(name, v)| (name.to_owned(), v.sqrt())).collect()
    }

    /// By how much every half-width grows when an end of the midline moves by 1 mm, in the order of [`ENDS`].
    pub fn by_ends(&self) -> Vec<Halves> {
        let ends = self.moved.iter().filter(|(name, ..)| ENDS.iter().any(|end| end.1 == *name));
        ends.map(|(_, halves, _)| self.grown(halves)).collect()
    }

    /// By how much every half-width grows when a point of the seat's lift, and of the channel's, is raised by 1 mm.
    pub fn by_lift(&self) -> [Vec<Halves>; 2] {
        self.raised.each_ref().map(|raised| raised.iter().map(|halves| self.grown(halves)).collect())
    }

    fn grown(&self, halves: &Halves) -> Halves {
        halves.iter().zip(&self.base).map(|(to, from)| [to[0] - from[0], to[1] - from[1]]).collect()
    }

    /// Variance of a quantity from the edges' localisation.
    fn edge_variance(&self, gradient: &[(usize, [f64; 2])]) -> f64 {
        let length_mm = self.inputs.midline.length_mm();
        let mut variance = 0.0;
        for (i, (a, by_a)) in gradient.iter().enumerate() {
            for (j, (b, by_b)) in gradient.iter().enumerate() {
                let (a, b) = (&self.cuts[*a], &self.cuts[*b]);
                let correlation = match (i == j, a.part == b.part) {
                    (true, _) => 1.0,
                    (_, true) => edge_correlation((a.station - b.station) * length_mm),
                    (_, false) => 0.0,
                };
                let sides = (0..2).map(|k| by_a[k] * by_b[k] * a.sides[k].u_mm * b.sides[k].u_mm);
                variance += correlation * sides.sum::<f64>();
            }
        }
        variance
    }

    /// By how much every half-width moves when one input is wrong by its standard uncertainty; the lifts are not among the
    /// inputs, nor what belongs to one half-width alone.
    pub fn effects(&self) -> Vec<Effect> {
        let mut effects = Vec::new();
        for (source, parameters) in self.inputs.fit.sources() {
            let name = source.line();
            let half = |cut: usize, side: usize| -> f64 {
                let slopes =
                    self.camera.iter().map(|(d, [up, down])| (up[cut][side] - down[cut][side]) / (2.0 * d));
                slopes.zip(parameters.iter()).map(|(slope, by)| slope * by).sum()
            };
            let end = |k: usize| self.ends.iter().zip(parameters.iter()).map(|(e, by)| e[k] * by).sum();
            effects.push(Effect {
                name,
                ends_mm: std::array::from_fn(end),
                halves_mm: (0..self.base.len()).map(|cut| [half(cut, 0), half(cut, 1)]).collect(),
            });
        }
        for (name, halves, u) in self.moved.iter().filter(|(name, ..)| *name != line::LIFT) {
            let moved = halves.iter().zip(&self.base).map(|(to, from)| [0, 1].map(|i| (to[i] - from[i]) * u));
            effects.push(Effect { name, ends_mm: [0.0; 4], halves_mm: moved.collect() });
        }
        let printed =
            self.base.iter().map(|halves| halves.map(|mm| mm * self.inputs.print_scale_u)).collect();
        effects.push(Effect { name: line::PRINT, ends_mm: [0.0; 4], halves_mm: printed });
        effects
    }
}

/// By how much half-widths move when something is wrong by its standard uncertainty.
pub struct Effect {
    /// The line of the budget.
    pub name: &'static str,
    /// How far the midline's ends are moved with it, mm, in the order of [`ENDS`]: it goes through pixels of the photo.
    pub ends_mm: [f64; 4],
    /// The half-widths' errors, mm, about the midline that moves.
    pub halves_mm: Halves,
}

/// The ways in which the midline's ends may move: which end, the line of the budget, and whether along the midline.
pub const ENDS: [(bool, &str, bool); 4] = [
    (true, line::DIRECTION, false),
    (false, line::DIRECTION, false),
    (true, line::STATION, true),
    (false, line::STATION, true),
];

/// How far a midline's ends are moved from another's, mm, in the order of [`ENDS`].
fn ends_apart(from: &Midline, to: &Midline) -> [f64; 4] {
    let (across, along) = (from.toward(Side::Left), from.along());
    ENDS.map(|(front, _, is_along)| {
        let moved = if front { to.front_mm - from.front_mm } else { to.rear_mm - from.rear_mm };
        moved.dot(if is_along { &along } else { &across })
    })
}

/// The midline whose end pixels are those of the nominal one, seen through a moved camera.
pub fn moved_midline(nominal: &Camera, moved: &Camera, inputs: &Inputs) -> Option<Midline> {
    let lift = &inputs.seat_lift;
    let ends = [(inputs.midline.front_mm, 0.0), (inputs.midline.rear_mm, 1.0)].map(|(end, station)| {
        let z = lift.at_mm(station);
        let pixel = nominal.photo_from_card(crate::numeric::frame::CardPoint::new(end.x, end.y, z))?;
        Some(moved.card_from_photo(pixel, z)?.horizontal())
    });
    Some(inputs.midline.with_ends(ends[0]?, ends[1]?))
}

pub(super) fn halves(
    camera: &Camera,
    midline: &Midline,
    seat: &LiftProfile,
    channel: &LiftProfile,
    cuts: &[Cut],
) -> Option<Halves> {
    halves_over(&[], camera, midline, [seat, channel], cuts)
}

/// The half-widths with lifts (seat, channel) measured over a plane that slopes against the card's.
pub fn halves_over(
    slopes: &[Slope],
    camera: &Camera,
    midline: &Midline,
    lifts: [&LiftProfile; 2],
    cuts: &[Cut],
) -> Option<Halves> {
    let length = midline.length_mm();
    cuts.iter()
        .map(|cut| {
            let lift = lifts[usize::from(cut.part == Part::Channel)];
            let half = |i: usize| {
                let side = &cut.sides[i];
                let locate =
                    |lift: &LiftProfile| midline.locate(camera, lift, SIDES[i], side.pixel, cut.station);
                let (mut station, mut offset) = locate(lift)?;
                if !slopes.is_empty() {
                    let there = midline.point(station, offset, SIDES[i], 0.0).horizontal();
                    let higher_mm = slopes.iter().map(|s| s.height_mm(there)).sum();
                    (station, offset) = locate(&lift.raised_all(higher_mm))?;
                }
                Some(offset + side.slope * (cut.station - station) * length)
            };
            Some([half(0)?, half(1)?])
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::lens::Lens;
    use crate::camera::pose::CameraPose;
    use crate::numeric::frame::CardPoint;
    use crate::numeric::words::View;
    use approx::assert_relative_eq;
    use nalgebra::{Rotation3, Vector3};

    const HEIGHT_MM: f64 = 1500.0;
    const HALF_MM: f64 = 115.0;

    /// A camera that looks straight down, so far to the side of a midline along x.
    fn beside(aside_mm: f64) -> Camera {
        let rotation = Rotation3::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI);
        let translation_mm = -(rotation * Vector3::new(0.0, aside_mm, HEIGHT_MM));
        let lens = Lens { focal_px: 3000.0, cx_px: 2000.0, cy_px: 1500.0, distortion: [0.0; 5] };
        Camera { lens, pose: CameraPose { rotation, translation_mm } }
    }

    /// By how much a saddle's roll changes the width that such a camera's photo shows, mm.
    fn by_roll_mm(aside_mm: f64, slope: f64) -> f64 {
        let camera = beside(aside_mm);
        let midline = Midline::new(Vector2::new(-200.0, 0.0), Vector2::new(200.0, 0.0), View::Top);
        let lift = LiftProfile::measured(vec![(0.0, 0.0), (1.0, 0.0)]).unwrap();
        let side = |side: Side| {
            let edge = midline.toward(side) * HALF_MM;
            let pixel = camera.photo_from_card(CardPoint::new(edge.x, edge.y, 0.0)).unwrap();
            CutSide { pixel, slope: 0.0, u_mm: 0.0, confidence: 1.0, rival_mm: 0.0 }
        };
        let cut = Cut { part: Part::Seat, station: 0.5, sides: SIDES.map(side) };
        let width = |slopes: &[Slope]| {
            let halves = halves_over(slopes, &camera, &midline, [&lift, &lift], &[cut]).unwrap();
            halves[0][0] + halves[0][1]
        };
        width(&[Slope::of_roll(&midline, slope)]) - width(&[])
    }

    #[test]
    fn a_rolled_saddle_is_measured_wrongly_from_the_side_and_hardly_from_above() {
        // By similar triangles the near edge, raised by h = slope x half, seems h x (aside - half) / height further out, the
        // far one, lowered as much, h x (aside + half) / height; together width x slope x aside / height. What is left is of
        // the order of slope squared: 0.05 mm.
        for aside_mm in [0.0, -400.0, 700.0] {
            let expected = 2.0 * HALF_MM * ROLL_U * aside_mm / HEIGHT_MM;
            let toward_left = Midline::new(Vector2::zeros(), Vector2::x(), View::Top).toward(Side::Left).y;
            assert_relative_eq!(by_roll_mm(aside_mm, ROLL_U), expected * toward_left, epsilon = 0.05);
        }
    }
}
