//! Observations of the joint estimate, and the errors that they share.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use super::{KNOTS, PhotoReading};
use crate::camera::parameter::Scope;
use crate::numeric::words::{Pair, Part, SIDES, Side};
use crate::outline::edge::edge_correlation;
use crate::outline::lift::LiftProfile;
use crate::width::influence::{ErrorScope, Influence};
use crate::width::response::{Cut, PIPING_U_MM, Response};

/// Where nothing was given the edges lie this much higher or lower than their mean, mm (a stated assumption).
const SHAPE_U_MM: f64 = 30.0;
/// Bend of a saddle's edge upwards or downwards from one knot to the next but one, mm (a stated assumption: the edges of
/// pommel, waist and cantle join smoothly, by some 8 mm at most).
const BENT_U_MM: f64 = 6.0;
/// Half of the variance of the piping's outer side is the cord's own, half the view's.
const PIPING_SHARED: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Photos that share an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum SharedBy {
    /// All photos.
    All,
    /// Those of one lens.
    Lens(usize),
    /// One photo.
    Photo(usize),
}

impl SharedBy {
    fn of(response: &Response, photo: usize) -> Self {
        match (response.camera, response.from.scope()) {
            (Some(Scope::Photo(photo)), _) => Self::Photo(photo),
            (Some(Scope::Lens(lens)), _) => Self::Lens(lens),
            (Some(Scope::Print(_)), _) | (None, ErrorScope::Print | ErrorScope::Setup) => Self::All,
            (None, _) => Self::Photo(photo),
        }
    }
}

/// An error by its influence, its number among those of it, and the photos that share it.
pub(super) type CommonKey = (Influence, usize, SharedBy);

/// An error that observations share.
#[derive(Debug, Clone)]
pub(super) struct CommonError {
    /// By how much it moves each half-width.
    pub moved: DVector<f64>,
    /// Change of the length of the common midline, mm.
    pub length_mm: f64,
}

/// Source of an observation's own error, which no other shares.
pub(super) enum Own {
    /// A half-width: the noise of its edge, and the boundary that competes.
    Half { edge_u_mm: f64, doubt_mm: f64, at: HalfAt },
    /// Prior knowledge of a height.
    Lift { u_mm: f64 },
}

/// Where a half-width was read.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct HalfAt {
    photo: usize,
    part: Part,
    pub side: Side,
    pub place: usize,
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
            Self::Half { doubt_mm, .. } => doubt_mm.powi(2),
            Self::Lift { u_mm } => u_mm.powi(2),
        }
    }
}

/// Index of a half-width among the unknowns.
pub(super) fn unknown(place: usize, side: Side) -> usize {
    2 * place + usize::from(side == Side::Right)
}

/// The observations and how they depend on the unknowns: the half-widths of all places, left and right, then how much each
/// knot of the seat's heights and of the channel's is above what was assumed.
pub(super) struct Observations {
    pub values: Vec<f64>,
    pub rows: Vec<DVector<f64>>,
    pub own: Vec<Own>,
    pub common: BTreeMap<CommonKey, CommonError>,
    pub unknowns: usize,
}

impl Observations {
    /// The half-widths that all photos show. The knots follow the half-widths among the unknowns, from `first_knot` on.
    pub fn of(photos: &[PhotoReading], first_knot: usize) -> Self {
        let mut all = Self {
            values: Vec::new(),
            rows: Vec::new(),
            own: Vec::new(),
            common: BTreeMap::new(),
            unknowns: first_knot + 2 * KNOTS,
        };
        let numbered = photos.iter().enumerate();
        let at: Vec<_> = numbered.map(|(number, photo)| all.add_photo(photo, number, first_knot)).collect();
        (0..photos.len()).for_each(|number| all.add_errors(photos, &at, number));
        all
    }

    /// A common error, new at its first use. All half-widths come before the heights among the observations.
    fn common(&mut self, key: CommonKey) -> &mut CommonError {
        let halves = self.own.len();
        let new = || CommonError { moved: DVector::zeros(halves), length_mm: 0.0 };
        self.common.entry(key).or_insert_with(new)
    }

    fn push(&mut self, value: f64, row: impl IntoIterator<Item = (usize, f64)>, own: Own) -> usize {
        let mut full = DVector::zeros(self.unknowns);
        row.into_iter().for_each(|(at, by)| full[at] += by);
        self.values.push(value);
        self.rows.push(full);
        self.own.push(own);
        self.values.len() - 1
    }

    /// One photo's half-widths; gives the indices of their observations.
    fn add_photo(&mut self, photo: &PhotoReading, number: usize, first_knot: usize) -> Vec<Pair<usize>> {
        let mut add = |i: usize, place: usize, cut: &Cut, side: Side| {
            let lifts = (0..2).flat_map(|part| {
                let knots = photo.by_lift[part].iter().enumerate();
                knots.map(move |(k, grown)| (first_knot + part * KNOTS + k, -grown[i][side]))
            });
            let half = &cut.sides[side];
            let along_mm = cut.station * photo.length_mm;
            let at = HalfAt { photo: number, part: cut.part, side, place, along_mm };
            let own = Own::Half { edge_u_mm: half.u_mm, doubt_mm: half.doubt_mm, at };
            self.push(photo.halves[i][side], lifts.chain([(unknown(place, side), 1.0)]), own)
        };
        let cuts = photo.places.iter().zip(&photo.cuts).enumerate();
        cuts.map(|(i, (place, cut))| Pair::of(|side| add(i, *place, cut, side))).collect()
    }

    /// The errors of one photo. What moves its camera moves its picture of the midline's ends, of which the midline is the
    /// mean: by so much less in this photo, and a little in all others.
    fn add_errors(&mut self, photos: &[PhotoReading], at: &[Vec<Pair<usize>>], number: usize) {
        let photo = &photos[number];
        let share = 1.0 / photos.len() as f64;
        for response in &photo.responses {
            let Response { from, number: which, ends_mm, halves, .. } = response;
            let error = self.common((*from, *which, SharedBy::of(response, number)));
            error.length_mm += share * (ends_mm[3] - ends_mm[2]);
            for (other, (reading, at)) in photos.iter().zip(at).enumerate() {
                let own = f64::from(u8::from(other == number));
                let moved = |i: usize, side: Side| -> f64 {
                    let by_ends = reading.by_ends.iter().zip(ends_mm).map(|(grown, by)| grown[i][side] * by);
                    let read = if other == number { halves[i][side] } else { 0.0 };
                    read + (share - own) * by_ends.sum::<f64>()
                };
                for (i, at) in at.iter().enumerate() {
                    SIDES.iter().for_each(|&side| error.moved[at[side]] += moved(i, side));
                }
            }
        }
        let piping = PIPING_U_MM * PIPING_SHARED;
        let mut pipe = |which: usize, by: SharedBy, side: Side| {
            let error = self.common((Influence::PipingDefinition, which, by));
            at[number].iter().for_each(|at| error.moved[at[side]] += piping);
        };
        for (i, side) in SIDES.into_iter().enumerate() {
            pipe(0, SharedBy::All, side);
            pipe(1 + i, SharedBy::Photo(number), side);
        }
    }

    /// Prior knowledge of the heights at the knots from `first` on, of which `assumed` is the present profile.
    pub fn add_lift(&mut self, known: &LiftProfile, assumed: &LiftProfile, first: usize) {
        let height = |knot: usize| assumed.points()[knot].1;
        let knots =
            |weights: &[(usize, f64)]| weights.iter().map(|(k, w)| (first + k, *w)).collect::<Vec<_>>();
        for k in 1..KNOTS - 1 {
            let bent = height(k - 1) - 2.0 * height(k) + height(k + 1);
            let row = knots(&[(k - 1, 1.0), (k, -2.0), (k + 1, 1.0)]);
            self.push(-bent, row, Own::Lift { u_mm: BENT_U_MM });
        }
        if known.is_known() {
            for &(station, mm) in known.points() {
                let row = knots(&assumed.weights(station));
                self.push(mm - assumed.at_mm(station), row, Own::Lift { u_mm: known.point_u_mm });
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

    /// What a common error does to every observation.
    pub fn moved_by(&self, key: CommonKey) -> DVector<f64> {
        let mut moved = DVector::zeros(self.own.len());
        if let Some(error) = self.common.get(&key) {
            moved.rows_mut(0, error.moved.len()).copy_from(&error.moved);
        }
        moved
    }

    /// Covariance of the observations by the noise of their edges.
    pub fn edge_covariance(&self) -> DMatrix<f64> {
        let count = self.own.len();
        DMatrix::from_fn(count, count, |i, j| self.own[i].edge_covariance(&self.own[j]))
    }

    /// Covariance of all observations.
    pub fn covariance(&self, edges: &DMatrix<f64>) -> DMatrix<f64> {
        let mut covariance = edges.clone();
        self.own.iter().enumerate().for_each(|(i, own)| covariance[(i, i)] += own.variance());
        let common: Vec<DVector<f64>> = self.common.values().map(|error| error.moved.clone()).collect();
        let common = DMatrix::from_columns(&common);
        let mut of_halves = covariance.view_mut((0, 0), (common.nrows(), common.nrows()));
        of_halves.gemm(1.0, &common, &common.transpose(), 1.0);
        covariance
    }
}
