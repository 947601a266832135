//! Several photos of one saddle that stands still beside its card: one estimate of its half-widths, and of the heights of
//! its edges over the card.
//!
//! A half-width that photo v reads at an assumed height h is, to first order, `a_v(h) = A - G_v (H - h) + errors`, with A
//! the true half-width, H the true height, and G_v the shift of the edge across the midline where it is raised: the slope
//! of the line of sight. It differs from photo to photo, so the photos determine both A and H. They are estimated by
//! generalised least squares (A. C. Aitken, 1935), with prior knowledge of the heights among the observations. What
//! several photos have in common (the print, the lens, the card's bend, the midline) is an error of all of them in the
//! covariance, so that it does not average away. The photos are read again at the heights found until these stay.

mod observations;
mod solve;

use super::cuts::CutPlan;
use super::influences::Influences;
use super::response::{Cut, Halves, Inputs, ROLL_U, Response};
use super::{LocatedEdges, LocatedPair, Subject, Widths};
use crate::camera::fit::CameraFit;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Side, View};
use crate::outline::Outline;
use crate::outline::lift::LiftProfile;
use crate::outline::midline::{EndErrors, Midline};
use observations::Observations;
use solve::Solved;

/// One photo of the saddle.
#[derive(Debug, Clone, Copy)]
pub struct Sight<'a> {
    /// The camera over the card that all photos show, from a bundle of all photos; the card's frame is that of the result.
    pub fit: &'a CameraFit,
    /// The traced edges.
    pub outline: &'a Outline,
    /// The midline's ends in the photo.
    pub ends_px: [PhotoPoint; 2],
    /// Errors of these ends.
    pub end_errors: EndErrors,
}

/// What is measured from.
#[derive(Debug, Clone, Copy)]
pub struct JointSubject<'a> {
    /// The photos.
    pub sights: &'a [Sight<'a>],
    /// How the saddle is seen.
    pub view: View,
    /// Prior knowledge of the heights of the seat's edges and of the channel's.
    pub lifts: [&'a LiftProfile; 2],
    /// Relative standard uncertainty of the print scale.
    pub print_scale_u: f64,
}

/// A height profile estimated from photos.
#[derive(Debug, Clone)]
pub struct EstimatedLift {
    /// The profile.
    pub profile: LiftProfile,
    /// Standard uncertainty at each of its points, mm.
    pub u_mm: Vec<f64>,
}

/// The joint estimate.
#[derive(Debug, Clone)]
pub struct Joint {
    /// The midline, the mean of all photos.
    pub midline: Midline,
    /// Heights of the seat's edges.
    pub seat_lift: EstimatedLift,
    /// Heights of the channel's edges, where they were traced.
    pub channel_lift: Option<EstimatedLift>,
    /// The widths; the traced points are those of the first photo.
    pub widths: Widths,
    /// The traced points of every photo: seat and channel.
    pub located: Vec<(LocatedPair, Option<LocatedPair>)>,
    /// Slope of the saddle over the card across the midline, its left side up, with its standard uncertainty, radians.
    pub lean: [f64; 2],
    /// Root of the reduced sum of squares: about 1 where the photos agree within their uncertainties.
    pub disagreement: f64,
}

/// Standard uncertainty of the lean because an edge seen from the left and the right is not one line in space: on rounded
/// piping and bulging panels each photo shows another. Measured on thirty rendered sets of two photos; radians.
const SIGHT_LEAN_U: f64 = 0.007;
/// Places at which a height is estimated.
const KNOTS: usize = 11;
/// The photos are read again until no height moves by more than this, mm: a hundredth of that in a width. Three to six
/// iterations do.
const SETTLED_MM: f64 = 0.2;
/// Where a place is traced at one height and not at the next, heights oscillate. After so many iterations they may, within this
/// part of their own standard uncertainty, which would add a thirtieth to it; photos that oscillate further do not show
/// one saddle.
const MOST_ITERATIONS: usize = 15;
const SWINGING: f64 = 0.5;
/// Steps that go all the way.
const WHOLE_STEPS: usize = 5;
/// No height is moved further in one iteration, mm.
const MOST_STEP_MM: f64 = 60.0;

/// Measures all photos together. `None` where the heights do not settle, as of photos that do not show one saddle, or where
/// the edges cannot be projected through a camera.
pub fn measure_jointly(subject: &JointSubject) -> Option<Joint> {
    let mut lifts = [0, 1].map(|i| on_knots(subject.lifts[i]));
    let mut iteration = 0;
    let (reading, solved) = loop {
        let reading = Reading::of(subject, &lifts)?;
        let solved = reading.solve(subject, &lifts)?;
        if solved.largest_step(|_| SETTLED_MM) < 1.0 {
            break (reading, solved);
        }
        iteration += 1;
        if iteration == MOST_ITERATIONS {
            let within = solved.largest_step(|u_mm| SWINGING * u_mm) < 1.0;
            break within.then_some((reading, solved))?;
        }
        // A place that oscillates, as where an edge turns away at its end, comes to rest half-way.
        solved.raise(&mut lifts, if iteration < WHOLE_STEPS { 1.0 } else { 0.5 });
    };
    let estimated = |i: usize| EstimatedLift { profile: lifts[i].clone(), u_mm: solved.lift_u_mm(i) };
    let located = reading.edges.iter().map(|e| (e.seat.clone(), e.channel.clone())).collect();
    let influences = reading.influences(&solved);
    let first = reading.edges[0].clone();
    let widths = reading.plan.widths(&solved.halves(), influences, &reading.midline, first);
    let channel_seen = widths.stations.iter().any(|s| s.2.is_some());
    Some(Joint {
        lean: reading.lean(subject, &solved),
        midline: reading.midline,
        seat_lift: estimated(0),
        channel_lift: channel_seen.then(|| estimated(1)),
        widths,
        located,
        disagreement: solved.disagreement,
    })
}

/// A profile at the knots.
fn on_knots(profile: &LiftProfile) -> LiftProfile {
    let at = |knot: usize| knot as f64 / (KNOTS - 1) as f64;
    profile.at_stations((0..KNOTS).map(at))
}

/// All photos read at assumed heights, about their common midline.
struct Reading {
    midline: Midline,
    plan: CutPlan,
    edges: Vec<LocatedEdges>,
    photos: Vec<PhotoReading>,
}

/// One photo's view of the plan's places.
struct PhotoReading {
    /// The places, in the order of the half-widths below.
    places: Vec<usize>,
    cuts: Vec<Cut>,
    /// Length of the midline, mm.
    length_mm: f64,
    halves: Halves,
    responses: Vec<Response>,
    /// Change of the half-widths when an end of the midline moves by 1 mm, end by end.
    by_ends: [Halves; 4],
    /// Change of the half-widths when a knot is raised by 1 mm, knot by knot, of the seat and of the channel.
    by_lift: [Vec<Halves>; 2],
}

impl Reading {
    fn of(subject: &JointSubject, lifts: &[LiftProfile; 2]) -> Option<Self> {
        let midline = common_midline(subject, &lifts[0])?;
        let subjects: Vec<Subject> = subject
            .sights
            .iter()
            .map(|sight| {
                let (fit, midline) = (sight.fit, &midline);
                let [seat_lift, channel_lift] = lifts;
                let print_scale_u = subject.print_scale_u;
                let inputs = Inputs { fit, midline, seat_lift, channel_lift, print_scale_u };
                Subject { inputs, outline: sight.outline }
            })
            .collect();
        let edges: Vec<LocatedEdges> = subjects.iter().map(LocatedEdges::of).collect();
        let plan = CutPlan::of(&subjects.iter().zip(&edges).collect::<Vec<_>>());
        let photos = subjects.iter().enumerate().map(|(i, s)| PhotoReading::of(s, &plan, i));
        let photos = photos.collect::<Option<_>>()?;
        Some(Self { midline, plan, edges, photos })
    }

    fn solve(&self, subject: &JointSubject, lifts: &[LiftProfile; 2]) -> Option<Solved> {
        let first_knot = 2 * self.plan.places.len();
        let mut observed = Observations::of(&self.photos, first_knot);
        for part in 0..2 {
            observed.add_lift(subject.lifts[part], &lifts[part], first_knot + part * KNOTS);
        }
        Solved::of(observed, first_knot)
    }

    /// How the saddle leans over the card. What tilts the card and what rolls the saddle look alike; their sum shows.
    fn lean(&self, subject: &JointSubject, solved: &Solved) -> [f64; 2] {
        let card = self.midline.toward(Side::Left) * subject.sights[0].fit.level_u();
        let across = card.push(ROLL_U);
        let (found, covariance) = &solved.slopes;
        let u = across.dot(&(covariance * across)).max(0.0).sqrt();
        [across.dot(found), u.hypot(SIGHT_LEAN_U)]
    }

    /// Every influence on the estimated half-widths.
    fn influences(&self, solved: &Solved) -> Influences {
        let mut influences = Influences::at(self.plan.places.clone(), self.midline.length_mm());
        solved.add_influences(&mut influences, &self.midline);
        influences.condensed()
    }
}

impl PhotoReading {
    fn of(subject: &Subject, plan: &CutPlan, photo: usize) -> Option<Self> {
        let places = (0..plan.places.len()).filter(|place| plan.cuts[*place][photo].is_some()).collect();
        let cuts = plan.cuts_of(photo);
        let inputs = subject.inputs;
        let halves = inputs.base(&cuts)?;
        let seen = (&halves, &cuts[..]);
        let (responses, by_ends) = (inputs.responses(seen)?, inputs.by_ends(seen)?);
        let (by_lift, length_mm) = (inputs.by_lift(seen)?, inputs.midline.length_mm());
        Some(Self { places, cuts, length_mm, halves, responses, by_ends, by_lift })
    }
}

/// The midline between the means of the ends that the photos show, at the seat's height.
fn common_midline(subject: &JointSubject, seat_lift: &LiftProfile) -> Option<Midline> {
    let end = |i: usize| {
        let lift_mm = seat_lift.at_mm(i as f64);
        let seen = |s: &Sight| Some(s.fit.camera.card_from_photo(s.ends_px[i], lift_mm)?.horizontal());
        let all = subject.sights.iter().map(seen).collect::<Option<Vec<_>>>()?;
        Some(all.iter().sum::<nalgebra::Vector2<f64>>() / all.len() as f64)
    };
    // Not smaller than those of one photo: what leads one astray at an end does so in the next.
    let errors = subject.sights.first()?.end_errors;
    Some(Midline::new(end(0)?, end(1)?, subject.view).with_end_errors(errors))
}
