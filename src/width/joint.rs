//! Several photos of one saddle that stands still beside its card: one estimate of its half-widths, and of how high its
//! edges lie.
//!
//! A half-width that photo v reads at a supposed lift h is, to first order, `a_v(h) = A - G_v (H - h) + errors`, with A the
//! true half-width, H the true lift, and G_v how far the edge moves across the midline where it is raised: the
//! slope of the line of sight. It differs from photo to photo, and so the photos tell both A and H. They are estimated by
//! generalised least squares (A. C. Aitken, 1935), with what is known of the lift beforehand among the observations. What
//! several photos have in common (the print, the lens, the card's bend, the midline) is an error of all of them in the
//! covariance, so that it does not average away. The photos are read anew at the lift found until it stays.

use std::collections::BTreeMap;

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::influence::{Cut, Effect, Halves, Influences, Inputs, PIPING_U_MM, edge_correlation, line};
use super::{Answers, LocatedPair, Plan, Subject, Taken, Widths};
use crate::camera::fit::{CameraFit, line as camera_line};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Part, View};
use crate::outline::Outline;
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;

/// One photo of the saddle.
#[derive(Debug, Clone, Copy)]
pub struct Sight<'a> {
    /// The camera over the card that all photos show; the card's frame is that of the result.
    pub fit: &'a CameraFit,
    /// The traced edges.
    pub outline: &'a Outline,
    /// The midline's ends in the photo.
    pub ends_px: [PhotoPoint; 2],
    /// Photos of one number were taken by one lens.
    pub lens: usize,
}

/// What is measured from.
#[derive(Debug, Clone, Copy)]
pub struct JointSubject<'a> {
    /// The photos.
    pub sights: &'a [Sight<'a>],
    /// How the saddle is seen.
    pub view: View,
    /// What is known beforehand of the lift of the seat's edges and of the channel's.
    pub lifts: [&'a LiftProfile; 2],
    /// Standard uncertainty of the midline's ends, mm.
    pub end_u_mm: f64,
    /// Relative standard uncertainty of the print scale.
    pub print_scale_u: f64,
}

/// A lift profile that photos tell.
#[derive(Debug, Clone)]
pub struct ToldLift {
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
    /// Lift of the seat's edges.
    pub seat_lift: ToldLift,
    /// Lift of the channel's edges, where they were traced.
    pub channel_lift: Option<ToldLift>,
    /// The widths; the traced points are those of the first photo.
    pub widths: Widths,
    /// The traced points of every photo: seat and channel.
    pub located: Vec<(LocatedPair, Option<LocatedPair>)>,
    /// Root of the reduced sum of squares: about 1 where the photos agree within their uncertainties.
    pub disagreement: f64,
}

/// Places at which a lift is asked for.
const KNOTS: usize = 11;
/// Where nothing was given the edges lie this much higher or lower than their mean, mm (a stated assumption).
const SHAPE_U_MM: f64 = 30.0;
/// How much a saddle's edge bends upwards or downwards from one knot to the next but one, mm (a stated assumption: the
/// edges of pommel, waist and cantle join smoothly, by some 8 mm at most).
const BENT_U_MM: f64 = 6.0;
/// The photos are read anew until no lift moves by more than this, mm: a hundredth of that in a width. Three to six turns do.
const SETTLED_MM: f64 = 0.2;
/// Where a place is traced at one lift and not at the next, lifts swing on. After so many turns they may, within this part of
/// their own standard uncertainty, which would add a thirtieth to it; photos that swing further do not show one saddle.
const TURNS: usize = 15;
const SWINGING: f64 = 0.5;
/// The first turns go all the way.
const WHOLE_TURNS: usize = 5;
/// No lift is taken further in one turn, mm.
const MOST_STEP_MM: f64 = 60.0;
/// Of the variance of what counts as the outer side of the piping half is the cord's own, half the view's.
const PIPING_SHARED: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Measures all photos together. `None` where the lifts do not settle, as of photos that do not show one saddle, or where the
/// edges cannot be taken through a camera.
pub fn measure_jointly(subject: &JointSubject) -> Option<Joint> {
    let mut lifts = [0, 1].map(|i| on_knots(subject.lifts[i]));
    let mut turn = 0;
    let (reading, solved) = loop {
        let reading = Reading::of(subject, &lifts)?;
        let solved = reading.solve(subject, &lifts)?;
        if solved.largest_step(|_| SETTLED_MM) < 1.0 {
            break (reading, solved);
        }
        turn += 1;
        if turn == TURNS {
            let within = solved.largest_step(|u_mm| SWINGING * u_mm) < 1.0;
            break within.then_some((reading, solved))?;
        }
        // A place that swings from turn to turn, as where an edge turns away at its end, comes to rest half-way.
        solved.raise(&mut lifts, if turn < WHOLE_TURNS { 1.0 } else { 0.5 });
    };
    let told = |i: usize| ToldLift { profile: lifts[i].clone(), u_mm: solved.lift_u_mm(i) };
    let Reading { midline, plan, taken, .. } = &reading;
    let located = taken.iter().map(|t| (t.seat.clone(), t.channel.clone())).collect();
    Some(Joint {
        midline: *midline,
        seat_lift: told(0),
        channel_lift: plan.stations.iter().any(|s| s.2.is_some()).then(|| told(1)),
        widths: plan.widths(&solved, midline, taken[0].clone()),
        located,
        disagreement: solved.disagreement,
    })
}

/// A profile at the knots.
fn on_knots(profile: &LiftProfile) -> LiftProfile {
    let at = |knot: usize| knot as f64 / (KNOTS - 1) as f64;
    profile.at_stations((0..KNOTS).map(at))
}

/// All photos read at supposed lifts, about their common midline.
struct Reading {
    midline: Midline,
    plan: Plan,
    taken: Vec<Taken>,
    photos: Vec<PhotoReading>,
}

/// What one photo shows of the plan's places.
struct PhotoReading {
    /// The places, in the order of the half-widths below.
    places: Vec<usize>,
    cuts: Vec<Cut>,
    /// Length of the midline, mm.
    length_mm: f64,
    halves_mm: Halves,
    effects: Vec<Effect>,
    /// By how much they grow when an end of the midline moves by 1 mm, end by end.
    by_ends: Vec<Halves>,
    lens: usize,
    /// By how much the half-widths grow when a knot is raised by 1 mm, knot by knot, of the seat and of the channel.
    by_lift: [Vec<Halves>; 2],
}

impl Reading {
    fn of(subject: &JointSubject, lifts: &[LiftProfile; 2]) -> Option<Self> {
        let midline = common_midline(subject, &lifts[0])?;
        let subjects: Vec<Subject> = subject
            .sights
            .iter()
            .map(|sight| Subject {
                fit: sight.fit,
                midline: &midline,
                outline: sight.outline,
                seat_lift: &lifts[0],
                channel_lift: &lifts[1],
                end_u_mm: subject.end_u_mm,
                print_scale_u: subject.print_scale_u,
            })
            .collect();
        let taken: Vec<Taken> = subjects.iter().map(Taken::of).collect();
        let plan = Plan::of(&subjects.iter().zip(&taken).collect::<Vec<_>>());
        let photos =
            subjects.iter().enumerate().map(|(i, s)| PhotoReading::of(s, subject.sights[i].lens, &plan, i));
        let photos = photos.collect::<Option<_>>()?;
        Some(Self { midline, plan, taken, photos })
    }
}

impl PhotoReading {
    fn of(subject: &Subject, lens: usize, plan: &Plan, photo: usize) -> Option<Self> {
        let places = (0..plan.places.len()).filter(|place| plan.places[*place][photo].is_some()).collect();
        let cuts = plan.cuts_of(photo);
        let inputs = Inputs::of(subject);
        let influences = Influences::of(&inputs, &cuts)?;
        let (halves_mm, effects, by_ends) =
            (influences.base.clone(), influences.effects(), influences.by_ends());
        let (by_lift, length_mm) = (influences.by_lift(), subject.midline.length_mm());
        Some(Self { places, cuts, length_mm, halves_mm, effects, by_ends, lens, by_lift })
    }
}

/// The midline between the means of the ends that the photos show, at the seat's lift.
fn common_midline(subject: &JointSubject, seat_lift: &LiftProfile) -> Option<Midline> {
    let end = |i: usize| {
        let lift_mm = seat_lift.at_mm(i as f64);
        let seen = |s: &Sight| Some(s.fit.camera.card_from_photo(s.ends_px[i], lift_mm)?.horizontal());
        let all = subject.sights.iter().map(seen).collect::<Option<Vec<_>>>()?;
        Some(all.iter().sum::<nalgebra::Vector2<f64>>() / all.len() as f64)
    };
    Some(Midline::new(end(0)?, end(1)?, subject.view))
}

/// Whose an error is: of what belongs to the saddle and its card, of a lens, or of one photo.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Whose {
    All,
    Lens(usize),
    Photo(usize),
}

impl Whose {
    fn of(name: &str, photo: usize, lens: usize) -> Self {
        match name {
            line::PRINT | line::LEVEL | line::ROLL | line::DIRECTION | line::STATION | camera_line::BEND => {
                Self::All
            }
            camera_line::FOCAL | camera_line::DISTORTION => Self::Lens(lens),
            _ => Self::Photo(photo),
        }
    }
}

/// An error by its line, which of the line's, and whose.
type ErrorKey = (&'static str, usize, Whose);

/// What an observation's own error, which no other shares, comes from.
enum Own {
    /// A half-width: the noise of its edge, and the boundary that competes.
    Half { edge_u_mm: f64, competing_u_mm: f64, at: HalfAt },
    /// Something known of the lift.
    Lift { u_mm: f64 },
}

/// Where a half-width was read.
#[derive(Clone, Copy, PartialEq)]
struct HalfAt {
    photo: usize,
    part: Part,
    side: usize,
    place: usize,
    along_mm: f64,
}

impl Own {
    /// Covariance of the edge's noise with another observation's.
    fn edge_covariance(&self, other: &Self) -> f64 {
        let (Self::Half { edge_u_mm: u, at: a, .. }, Self::Half { edge_u_mm: v, at: b, .. }) = (self, other)
        else {
            return 0.0;
        };
        let one_edge = (a.photo, a.part, a.side) == (b.photo, b.part, b.side);
        match one_edge {
            true if a == b => u * v,
            true => u * v * edge_correlation(a.along_mm - b.along_mm),
            false => 0.0,
        }
    }

    /// Variance of what no other observation shares.
    fn variance(&self) -> f64 {
        match self {
            Self::Half { competing_u_mm, .. } => competing_u_mm.powi(2),
            Self::Lift { u_mm } => u_mm.powi(2),
        }
    }
}

/// The observations and how they depend on what is asked: the half-widths of all places, left and right, then by how much
/// each knot of the seat's lift and of the channel's lies above what was supposed.
struct Observations {
    values: Vec<f64>,
    rows: Vec<DVector<f64>>,
    own: Vec<Own>,
    /// Errors that observations share, each on the observations that it moves.
    common: BTreeMap<ErrorKey, Vec<(usize, f64)>>,
    unknowns: usize,
}

impl Observations {
    fn push(&mut self, value: f64, row: impl IntoIterator<Item = (usize, f64)>, own: Own) -> usize {
        let mut full = DVector::zeros(self.unknowns);
        row.into_iter().for_each(|(at, by)| full[at] += by);
        self.values.push(value);
        self.rows.push(full);
        self.own.push(own);
        self.values.len() - 1
    }

    /// One photo's half-widths; gives the numbers of their observations, left and right.
    fn add_photo(&mut self, photo: &PhotoReading, number: usize, first_knot: usize) -> Vec<[usize; 2]> {
        let add = |(i, (place, cut)): (usize, (&usize, &Cut))| {
            [0, 1].map(|side| {
                let lifts = (0..2).flat_map(|part| {
                    let knots = photo.by_lift[part].iter().enumerate();
                    knots.map(move |(k, grown)| (first_knot + part * KNOTS + k, -grown[i][side]))
                });
                let half = &cut.sides[side];
                let along_mm = cut.station * photo.length_mm;
                let at = HalfAt { photo: number, part: cut.part, side, place: *place, along_mm };
                let own = Own::Half { edge_u_mm: half.u_mm, competing_u_mm: half.competing_u_mm(), at };
                self.push(photo.halves_mm[i][side], lifts.chain([(2 * place + side, 1.0)]), own)
            })
        };
        photo.places.iter().zip(&photo.cuts).enumerate().map(add).collect()
    }

    /// The errors of one photo. What moves its camera moves its picture of the midline's ends, of which the midline is the
    /// mean: by so much less in this photo, and a little in all others.
    fn add_errors(&mut self, photos: &[PhotoReading], at: &[Vec<[usize; 2]>], number: usize) {
        let photo = &photos[number];
        let mut count: BTreeMap<&str, usize> = BTreeMap::new();
        for Effect { name, ends_mm, halves_mm } in &photo.effects {
            let which = count.entry(*name).or_default();
            let key = (*name, *which, Whose::of(name, number, photo.lens));
            *which += 1;
            let share = 1.0 / photos.len() as f64;
            for (other, (reading, at)) in photos.iter().zip(at).enumerate() {
                let own = f64::from(u8::from(other == number));
                let moved = |i: usize, side: usize| -> f64 {
                    let by_ends = reading.by_ends.iter().zip(ends_mm).map(|(grown, by)| grown[i][side] * by);
                    let read = if other == number { halves_mm[i][side] } else { 0.0 };
                    read + (share - own) * by_ends.sum::<f64>()
                };
                let errors = at.iter().enumerate();
                let errors = errors.flat_map(|(i, at)| [(at[0], moved(i, 0)), (at[1], moved(i, 1))]);
                self.common.entry(key).or_default().extend(errors.filter(|(_, by)| *by != 0.0));
            }
        }
        let piping = PIPING_U_MM * PIPING_SHARED;
        let cord = at[number].iter().flat_map(|at| at.map(|at| (at, piping)));
        self.common.entry((line::PIPING, 0, Whose::All)).or_default().extend(cord);
        for side in 0..2 {
            let seen = at[number].iter().map(|at| (at[side], piping));
            self.common.entry((line::PIPING, 1 + side, Whose::Photo(number))).or_default().extend(seen);
        }
    }

    /// What is known of a lift beforehand, at the knots from `first` on, of which `supposed` is the present profile.
    fn add_lift(&mut self, known: &LiftProfile, supposed: &LiftProfile, first: usize) {
        let height = |knot: usize| supposed.points()[knot].1;
        let knots =
            |weights: &[(usize, f64)]| weights.iter().map(|(k, w)| (first + k, *w)).collect::<Vec<_>>();
        for k in 1..KNOTS - 1 {
            let bent = height(k - 1) - 2.0 * height(k) + height(k + 1);
            let row = knots(&[(k - 1, 1.0), (k, -2.0), (k + 1, 1.0)]);
            self.push(-bent, row, Own::Lift { u_mm: BENT_U_MM });
        }
        if known.is_known() {
            for &(station, mm) in known.points() {
                let row = knots(&supposed.weights(station));
                self.push(mm - supposed.at_mm(station), row, Own::Lift { u_mm: known.point_u_mm });
            }
            return;
        }
        let mean: Vec<(usize, f64)> = (0..KNOTS).map(|k| (k, 1.0 / KNOTS as f64)).collect();
        let mean_mm = (0..KNOTS).map(height).sum::<f64>() / KNOTS as f64;
        self.push(known.at_mm(0.5) - mean_mm, knots(&mean), Own::Lift { u_mm: known.common_u_mm });
        for k in 0..KNOTS {
            let row = knots(&mean).into_iter().map(|(at, w)| (at, -w)).chain([(first + k, 1.0)]);
            self.push(mean_mm - height(k), row, Own::Lift { u_mm: SHAPE_U_MM });
        }
    }

    fn edge_covariance(&self) -> DMatrix<f64> {
        let count = self.own.len();
        DMatrix::from_fn(count, count, |i, j| self.own[i].edge_covariance(&self.own[j]))
    }

    /// Covariance of all observations.
    fn covariance(&self, edges: &DMatrix<f64>) -> DMatrix<f64> {
        let mut covariance = edges.clone();
        self.own.iter().enumerate().for_each(|(i, own)| covariance[(i, i)] += own.variance());
        for errors in self.common.values() {
            for (i, a) in errors {
                errors.iter().for_each(|(j, b)| covariance[(*i, *j)] += a * b);
            }
        }
        covariance
    }
}

impl Reading {
    fn solve(&self, subject: &JointSubject, lifts: &[LiftProfile; 2]) -> Option<Solved> {
        let first_knot = 2 * self.plan.places.len();
        let mut observed = Observations {
            values: Vec::new(),
            rows: Vec::new(),
            own: Vec::new(),
            common: BTreeMap::new(),
            unknowns: first_knot + 2 * KNOTS,
        };
        let photos = self.photos.iter().enumerate();
        let at: Vec<_> =
            photos.map(|(number, photo)| observed.add_photo(photo, number, first_knot)).collect();
        (0..at.len()).for_each(|number| observed.add_errors(&self.photos, &at, number));
        for part in 0..2 {
            observed.add_lift(subject.lifts[part], &lifts[part], first_knot + part * KNOTS);
        }
        Solved::of(observed, first_knot)
    }
}

/// The estimate of one reading.
struct Solved {
    observed: Observations,
    values: DVector<f64>,
    covariance: DMatrix<f64>,
    /// How the estimate depends on each observation: unknowns by observations.
    gain: DMatrix<f64>,
    /// Covariance of the observations by the noise of their edges.
    edges: DMatrix<f64>,
    first_knot: usize,
    disagreement: f64,
}

impl Solved {
    fn of(observed: Observations, first_knot: usize) -> Option<Self> {
        let edges = observed.edge_covariance();
        let root: Cholesky<f64, Dyn> = observed.covariance(&edges).cholesky()?;
        let design = DMatrix::from_fn(observed.rows.len(), observed.unknowns, |i, j| observed.rows[i][j]);
        let weighted = root.solve(&design);
        let covariance = design.tr_mul(&weighted).cholesky()?.inverse();
        let gain = &covariance * weighted.transpose();
        let seen = DVector::from_column_slice(&observed.values);
        let values = &gain * &seen;
        let residuals = seen - design * &values;
        let freedom = observed.rows.len().saturating_sub(observed.unknowns).max(1) as f64;
        let disagreement = (residuals.dot(&root.solve(&residuals)) / freedom).sqrt();
        let sound = values.iter().chain(covariance.iter()).all(|v| v.is_finite());
        sound.then_some(Self { observed, values, covariance, gain, edges, first_knot, disagreement })
    }

    /// Puts the lifts where they were found to be, or a part of the way.
    fn raise(&self, lifts: &mut [LiftProfile; 2], part_of_it: f64) {
        for (part, lift) in lifts.iter_mut().enumerate() {
            for knot in 0..KNOTS {
                let by_mm = part_of_it * self.values[self.first_knot + part * KNOTS + knot];
                *lift = lift.raised(knot, by_mm.clamp(-MOST_STEP_MM, MOST_STEP_MM));
            }
        }
    }

    /// The largest step of a lift against what it may be, by its standard uncertainty, mm. At the ends the edges run across
    /// the midline, and a lift shows in no width.
    fn largest_step(&self, most_mm: impl Fn(f64) -> f64) -> f64 {
        let of = |part: usize| {
            let at = self.first_knot + part * KNOTS;
            let steps = self.lift_u_mm(part).into_iter().enumerate().skip(1).take(KNOTS - 2);
            steps.map(|(knot, u_mm)| self.values[at + knot].abs() / most_mm(u_mm)).fold(0.0, f64::max)
        };
        of(0).max(of(1))
    }

    fn lift_u_mm(&self, part: usize) -> Vec<f64> {
        let at = self.first_knot + part * KNOTS;
        (at..at + KNOTS).map(|k| self.covariance[(k, k)].max(0.0).sqrt()).collect()
    }
}

impl Answers for Solved {
    fn halves_mm(&self, place: usize) -> [f64; 2] {
        [self.values[2 * place], self.values[2 * place + 1]]
    }

    fn budget(&self, gradient: &[(usize, [f64; 2])], _length_mm: Option<f64>) -> Vec<(String, f64)> {
        let mut by = DVector::zeros(self.observed.unknowns);
        for (place, weights) in gradient {
            (0..2).for_each(|side| by[2 * place + side] += weights[side]);
        }
        let weights = self.gain.tr_mul(&by);
        let mut variance: BTreeMap<&str, f64> = BTreeMap::new();
        for ((name, ..), errors) in &self.observed.common {
            let moved: f64 = errors.iter().map(|(at, error)| weights[*at] * error).sum();
            *variance.entry(name).or_default() += moved * moved;
        }
        // Where a wrong line competes in one photo it does in the next: what it costs is not averaged away.
        let mut competing: BTreeMap<(usize, usize), f64> = BTreeMap::new();
        for (own, weight) in self.observed.own.iter().zip(weights.iter()) {
            match own {
                Own::Half { competing_u_mm, at, .. } => {
                    *competing.entry((at.place, at.side)).or_default() += (weight * competing_u_mm).abs();
                }
                Own::Lift { u_mm } => *variance.entry(line::LIFT).or_default() += (weight * u_mm).powi(2),
            }
        }
        *variance.entry(line::EDGE).or_default() += weights.dot(&(&self.edges * &weights));
        *variance.entry(line::COMPETING).or_default() += competing.values().map(|u| u * u).sum::<f64>();
        variance.into_iter().map(|(name, v)| (name.to_owned(), v.sqrt())).collect()
    }
}
