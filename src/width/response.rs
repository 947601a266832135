//! Response of every half-width to every input.
//!
//! The measured pixels stay; each input in turn is moved, and the pixels are projected again through camera, heights
//! and midline. The midline's ends are pixels as well, so they move along with whatever moves the edges.

use nalgebra::{DVector, Vector2};

use super::influence::{Budget, Influence};
use super::influences::{Influences, MeasuredPlace, SharedError};
use crate::camera::Camera;
use crate::camera::fit::CameraFit;
use crate::camera::level::LEVEL_U;
use crate::camera::parameter::{Scope, UncertaintySource};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::uncertain::Sampler;
use crate::numeric::words::{Pair, Part, Side};
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;

/// One section plane through both edges of a part.
#[derive(Debug, Clone, Copy)]
pub struct Cut {
    /// The pair of edges.
    pub part: Part,
    /// The station.
    pub station: f64,
    /// Where it cuts either edge.
    pub sides: Pair<CutSide>,
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
    /// Standard uncertainty from competing places, mm.
    pub doubt_mm: f64,
}

/// Distance of the line taken for the outermost side of the piping from where a caliper would touch it, mm, as a standard
/// uncertainty common to both sides. It varies with the angle of view, the light and the background; on rendered photos
/// of known truth the medians of most sides lie within this (`tests/accuracy/photos.rs` prints the widths).
pub const PIPING_U_MM: f64 = 0.4;
/// A saddle on its stand is rolled about its midline by up to 1.3 degrees either way before the eye sees it: 5 mm between
/// the edges of a seat of 230 mm (a stated assumption); a rectangular distribution, radians. A ruler measures one height
/// for both edges, and seen from the side unequal heights look like width.
pub const ROLL_U: f64 = 0.0131;

/// A plane against the card's: level in a point, with slopes along x and y.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TiltedPlane {
    /// Where it is level with the card's, mm.
    pub level_at: Vector2<f64>,
    /// Slopes along x and y.
    pub by: Vector2<f64>,
}

impl TiltedPlane {
    /// A card that is tilted against the saddle's horizontal, about its origin.
    pub fn of_card(by: Vector2<f64>) -> Self {
        Self { level_at: Vector2::zeros(), by }
    }

    /// A saddle rolled about its midline, its left side up by a slope.
    pub fn of_roll(midline: &Midline, slope: f64) -> Self {
        Self { level_at: midline.front_mm, by: midline.toward(Side::Left) * slope }
    }

    /// A tilt and a roll drawn from their assumed distributions.
    pub fn drawn(midline: &Midline, sampler: &mut Sampler) -> [Self; 2] {
        let tilt = Vector2::new(sampler.rectangular(LEVEL_U), sampler.rectangular(LEVEL_U));
        [Self::of_card(tilt), Self::of_roll(midline, sampler.rectangular(ROLL_U))]
    }

    /// Height of the plane over the card's at a place, mm.
    pub fn height_mm(&self, at: Vector2<f64>) -> f64 {
        self.by.dot(&(at - self.level_at))
    }
}

/// Half-widths of every cut, mm.
pub type Halves = Vec<Pair<f64>>;

/// What half-widths are computed from, beside the pixels.
#[derive(Debug, Clone, Copy)]
pub struct Inputs<'a> {
    /// The camera's fit.
    pub fit: &'a CameraFit,
    /// The midline.
    pub midline: &'a Midline,
    /// Heights of the seat's edges.
    pub seat_lift: &'a LiftProfile,
    /// Heights of the channel's edges.
    pub channel_lift: &'a LiftProfile,
    /// Relative standard uncertainty of the print scale.
    pub print_scale_u: f64,
}

/// The state that pixels are projected through.
#[derive(Debug, Clone)]
pub struct State {
    /// The camera.
    pub camera: Camera,
    /// Heights of the seat's edges.
    pub seat: LiftProfile,
    /// Heights of the channel's edges.
    pub channel: LiftProfile,
    /// Tilts of the plane that heights are measured over.
    pub tilts: Vec<TiltedPlane>,
}

impl State {
    fn lift(&self, part: Part) -> &LiftProfile {
        if part == Part::Seat { &self.seat } else { &self.channel }
    }

    /// Station and offset of a pixel about a midline, at its height over the tilted planes.
    fn locate(
        &self,
        about: &Midline,
        part: Part,
        side: Side,
        pixel: PhotoPoint,
        near: f64,
    ) -> Option<(f64, f64)> {
        let lift = self.lift(part);
        let (station, offset) = about.locate(&self.camera, lift, side, pixel, near)?;
        if self.tilts.is_empty() {
            return Some((station, offset));
        }
        let there = about.point(station, offset, side, 0.0).horizontal();
        let higher_mm = self.tilts.iter().map(|tilt| tilt.height_mm(there)).sum();
        about.locate(&self.camera, &lift.raised_all(higher_mm), side, pixel, station)
    }

    /// Half-widths about a given midline. `None` where a pixel cannot be projected.
    pub fn halves_about(&self, about: &Midline, cuts: &[Cut]) -> Option<Halves> {
        let length = about.length_mm();
        let half = |cut: &Cut, side: Side| {
            let at = &cut.sides[side];
            let (station, offset) = self.locate(about, cut.part, side, at.pixel, cut.station)?;
            Some(offset + at.slope * (cut.station - station) * length)
        };
        cuts.iter().map(|cut| Pair::try_of(|side| half(cut, side))).collect()
    }
}

/// One input moved by its standard uncertainty.
pub(super) struct Response {
    pub from: Influence,
    /// Number of the error among those of its influence.
    pub number: usize,
    /// Photos that share it, where it is the camera's.
    pub camera: Option<Scope>,
    /// How far the midline's ends move with it, mm, in the order of [`EndErrors`](crate::outline::midline::EndErrors).
    pub ends_mm: [f64; 4],
    /// Changes of the half-widths, mm, about the midline that moves.
    pub halves: Halves,
}

impl Inputs<'_> {
    /// The state as estimated.
    pub(super) fn state(&self) -> State {
        State {
            camera: self.fit.camera,
            seat: self.seat_lift.clone(),
            channel: self.channel_lift.clone(),
            tilts: Vec::new(),
        }
    }

    /// The midline through the same pixels in another state.
    pub fn midline_in(&self, state: &State) -> Option<Midline> {
        let end = |station: f64| {
            let at = self.midline.point(station, 0.0, Side::Left, self.seat_lift.at_mm(station));
            let pixel = self.fit.camera.photo_from_card(at)?;
            let mut lift_mm = state.seat.at_mm(station);
            lift_mm += state.tilts.iter().map(|tilt| tilt.height_mm(at.horizontal())).sum::<f64>();
            Some(state.camera.card_from_photo(pixel, lift_mm)?.horizontal())
        };
        Some(self.midline.with_ends(end(0.0)?, end(1.0)?))
    }

    /// Half-widths in another state, and the midline's ends against the estimated ones.
    fn moved(&self, state: &State, cuts: &[Cut]) -> Option<(Halves, [f64; 4])> {
        let about = self.midline_in(state)?;
        Some((state.halves_about(&about, cuts)?, self.midline.ends_of(&about)))
    }

    /// Half-widths as estimated.
    pub(super) fn base(&self, cuts: &[Cut]) -> Option<Halves> {
        self.state().halves_about(self.midline, cuts)
    }

    fn response(
        &self,
        from: Influence,
        number: usize,
        state: &State,
        (base, cuts): (&Halves, &[Cut]),
        u: f64,
    ) -> Option<Response> {
        let (halves, ends_mm) = self.moved(state, cuts)?;
        let halves = halves.iter().zip(base).map(|(to, from)| to.minus(*from).times(u)).collect();
        Some(Response { from, number, camera: None, ends_mm: ends_mm.map(|mm| mm * u), halves })
    }

    /// Responses to the camera's fit: one a prior, and those of the measured sides of the tags.
    fn camera_responses(&self, cuts: &[Cut]) -> Option<Vec<Response>> {
        let state = self.state();
        let slopes = (0..self.fit.parameters().len()).map(|j| {
            if !self.fit.moves_camera(j) {
                return Some((vec![Pair::both(0.0); cuts.len()], [0.0; 4]));
            }
            let delta = 0.5 * self.fit.estimate.u(j);
            let at =
                |by: f64| self.moved(&State { camera: self.fit.camera_moved(j, by), ..state.clone() }, cuts);
            let ((up, ends_up), (down, ends_down)) = (at(delta)?, at(-delta)?);
            let a_unit = 1.0 / (2.0 * delta);
            let halves: Halves = up.iter().zip(&down).map(|(u, d)| u.minus(*d).times(a_unit)).collect();
            Some((halves, [0, 1, 2, 3].map(|k| (ends_up[k] - ends_down[k]) * a_unit)))
        });
        let slopes: Vec<(Halves, [f64; 4])> = slopes.collect::<Option<_>>()?;
        let response = |(index, (source, parameters)): (usize, (UncertaintySource, DVector<f64>))| {
            let each = || slopes.iter().zip(parameters.iter());
            let half = |cut: usize, side: Side| each().map(|((h, _), by)| h[cut][side] * by).sum();
            Response {
                from: Influence::of_camera(source),
                number: source.number(index),
                camera: Some(source.scope()),
                ends_mm: [0, 1, 2, 3].map(|k| each().map(|((_, ends), by)| ends[k] * by).sum()),
                halves: (0..cuts.len()).map(|cut| Pair::of(|side| half(cut, side))).collect(),
            }
        };
        Some(self.fit.sources().into_iter().enumerate().map(response).collect())
    }

    /// Responses to a card that is not level with the saddle, and to a saddle that is rolled.
    fn tilt_responses(&self, seen: (&Halves, &[Cut])) -> Option<Vec<Response>> {
        let level_u = self.fit.level_u();
        let tilts = [Vector2::x(), Vector2::y()].map(|tilt| TiltedPlane::of_card(tilt * level_u));
        let roll = TiltedPlane::of_roll(self.midline, ROLL_U);
        let each = [
            (Influence::CardTilt, 0, tilts[0]),
            (Influence::CardTilt, 1, tilts[1]),
            (Influence::SaddleRoll, 0, roll),
        ];
        let tilted = |tilt: TiltedPlane| State { tilts: vec![tilt], ..self.state() };
        each.into_iter()
            .map(|(from, number, tilt)| self.response(from, number, &tilted(tilt), seen, 1.0))
            .collect()
    }

    /// Change of every half-width when one of the midline's ends moves by 1 mm, end by end.
    pub(super) fn by_ends(&self, (base, cuts): (&Halves, &[Cut])) -> Option<[Halves; 4]> {
        let state = self.state();
        let grown = |end: usize| -> Option<Halves> {
            let mut by_mm = [0.0; 4];
            by_mm[end] = 1.0;
            let halves = state.halves_about(&self.midline.moved(by_mm), cuts)?;
            Some(halves.iter().zip(base).map(|(to, from)| to.minus(*from)).collect())
        };
        let [a, b, c, d] = [0, 1, 2, 3].map(grown);
        Some([a?, b?, c?, d?])
    }

    /// Change of every half-width, about a midline that stays, when one point of the seat's heights and of the channel's is
    /// raised by 1 mm.
    pub(super) fn by_lift(&self, (base, cuts): (&Halves, &[Cut])) -> Option<[Vec<Halves>; 2]> {
        let grown = |state: State| -> Option<Halves> {
            let halves = state.halves_about(self.midline, cuts)?;
            Some(halves.iter().zip(base).map(|(to, from)| to.minus(*from)).collect())
        };
        let seat = (0..self.seat_lift.points().len())
            .map(|i| grown(State { seat: self.seat_lift.raised(i, 1.0), ..self.state() }));
        let channel = (0..self.channel_lift.points().len())
            .map(|i| grown(State { channel: self.channel_lift.raised(i, 1.0), ..self.state() }));
        Some([seat.collect::<Option<_>>()?, channel.collect::<Option<_>>()?])
    }

    /// Responses to all inputs but the heights, and without what belongs to one half-width alone.
    pub(super) fn responses(&self, seen: (&Halves, &[Cut])) -> Option<Vec<Response>> {
        let mut all = self.camera_responses(seen.1)?;
        all.extend(self.tilt_responses(seen)?);
        let by_ends = self.by_ends(seen)?;
        for (k, error) in self.midline.end_errors().into_iter().enumerate() {
            let half =
                |i: usize, side: Side| by_ends.iter().zip(error).map(|(grown, mm)| grown[i][side] * mm).sum();
            let halves = (0..seen.0.len()).map(|i| Pair::of(|side| half(i, side))).collect();
            let from = if k < 2 { Influence::MidlineDirection } else { Influence::StationPosition };
            all.push(Response { from, number: k % 2, camera: None, ends_mm: [0.0; 4], halves });
        }
        let printed = seen.0.iter().map(|half| half.times(self.print_scale_u)).collect();
        all.push(Response {
            from: Influence::PrintScale,
            number: 0,
            camera: None,
            ends_mm: [0.0; 4],
            halves: printed,
        });
        Some(all)
    }

    /// Responses to the heights: each one that was measured, the whole profile, and its course between measured ones.
    fn height_responses(&self, seen: (&Halves, &[Cut])) -> Option<Vec<Response>> {
        let mut all = Vec::new();
        for part in [Part::Seat, Part::Channel] {
            let lift = if part == Part::Seat { self.seat_lift } else { self.channel_lift };
            let points = (0..lift.points().len()).map(|i| (lift.raised(i, 1.0), lift.point_u_mm));
            let stretches = if lift.is_known() { lift.stretches() } else { 0 };
            let bows = (0..stretches).map(|i| (lift.bowed(i, 1.0), 1.0));
            let common = [(lift.raised_all(1.0), lift.common_u_mm)];
            for (other, u) in points.chain(common).chain(bows).filter(|(_, u)| *u > 0.0) {
                let state = match part {
                    Part::Seat => State { seat: other, ..self.state() },
                    Part::Channel => State { channel: other, ..self.state() },
                };
                all.push(self.response(Influence::Height, all.len(), &state, seen, u)?);
            }
        }
        Some(all)
    }

    /// Budget of the width at one cut.
    pub fn width_budget(&self, cut: Cut) -> Option<Budget> {
        let place = MeasuredPlace { part: cut.part, at: cut.station, name: None };
        Some(self.influences(&[cut], vec![place])?.1.budget(&[(0, Pair::both(1.0))]))
    }

    /// Half-widths at the cuts, and every influence on them. `places` names the cuts.
    pub(super) fn influences(
        &self,
        cuts: &[Cut],
        places: Vec<MeasuredPlace>,
    ) -> Option<(Halves, Influences)> {
        let base = self.base(cuts)?;
        let seen = (&base, cuts);
        let length_mm = self.midline.length_mm();
        let mut influences = Influences::at(places, length_mm);
        let ends = self.midline.end_errors();
        for r in self.responses(seen)?.into_iter().chain(self.height_responses(seen)?) {
            let error = SharedError::new(r.from, r.number, &r.halves);
            influences.shared.push(match r.from {
                Influence::PrintScale => error.with_length(length_mm * self.print_scale_u),
                Influence::StationPosition => {
                    let [.., front, rear] = ends[2 + r.number];
                    error.with_ends_along([front, rear])
                }
                _ => error.with_length(r.ends_mm[3] - r.ends_mm[2]),
            });
        }
        let piping = vec![Pair::both(PIPING_U_MM); cuts.len()];
        influences.shared.push(SharedError::new(Influence::PipingDefinition, 0, &piping));
        let own =
            |u: fn(&CutSide) -> f64| cuts.iter().map(|c| Pair::of(|s| u(&c.sides[s]))).collect::<Vec<_>>();
        influences.add_own(Influence::EdgeLocalisation, &own(|side| side.u_mm));
        influences.add_own(Influence::CompetingBoundaries, &own(|side| side.doubt_mm));
        Some((base, influences.condensed()))
    }
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

    /// Change of the width that such a camera's photo shows with a saddle's roll, mm.
    fn by_roll_mm(aside_mm: f64, slope: f64) -> f64 {
        let camera = beside(aside_mm);
        let midline = Midline::new(Vector2::new(-200.0, 0.0), Vector2::new(200.0, 0.0), View::Top);
        let lift = LiftProfile::measured(vec![(0.0, 0.0), (1.0, 0.0)]).unwrap();
        let side = |side: Side| {
            let edge = midline.toward(side) * HALF_MM;
            let pixel = camera.photo_from_card(CardPoint::new(edge.x, edge.y, 0.0)).unwrap();
            CutSide { pixel, slope: 0.0, u_mm: 0.0, doubt_mm: 0.0 }
        };
        let cut = Cut { part: Part::Seat, station: 0.5, sides: Pair::of(side) };
        let width = |tilts: Vec<TiltedPlane>| {
            let state = State { camera, seat: lift.clone(), channel: lift.clone(), tilts };
            state.halves_about(&midline, &[cut]).unwrap()[0].sum()
        };
        width(vec![TiltedPlane::of_roll(&midline, slope)]) - width(Vec::new())
    }

    #[test]
    fn a_rolled_saddle_is_measured_wrongly_from_the_side_and_hardly_from_above() {
        // By similar triangles the near edge, raised by h = slope x half, seems h x (aside - half) / height further out,
        // the far one, lowered as much, h x (aside + half) / height; together width x slope x aside / height. What is left
        // is of the order of slope squared: 0.05 mm.
        for aside_mm in [0.0, -400.0, 700.0] {
            let expected = 2.0 * HALF_MM * ROLL_U * aside_mm / HEIGHT_MM;
            let toward_left = Midline::new(Vector2::zeros(), Vector2::x(), View::Top).toward(Side::Left).y;
            assert_relative_eq!(by_roll_mm(aside_mm, ROLL_U), expected * toward_left, epsilon = 0.05);
        }
    }
}
