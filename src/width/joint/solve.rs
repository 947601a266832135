//! Generalised least squares of the joint estimate, and what makes it uncertain.

use std::collections::BTreeMap;

use nalgebra::{Cholesky, DMatrix, DVector, Dyn, Matrix3, MatrixXx3, Vector3};

use super::observations::{CommonKey, Observations, Own, SharedBy, unknown};
use super::{KNOTS, MOST_STEP_MM};
use crate::numeric::words::{Pair, Side};
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;
use crate::width::influence::{ErrorScope, Influence};
use crate::width::influences::{Influences, SharedError};
use crate::width::response::Halves;

/// Slopes that all photos share. The best linear prediction of their errors (A. S. Goldberger 1962) is what the photos show
/// of them.
const SLOPES: [CommonKey; 3] = [
    (Influence::CardTilt, 0, SharedBy::All),
    (Influence::CardTilt, 1, SharedBy::All),
    (Influence::SaddleRoll, 0, SharedBy::All),
];

/// The estimate of one reading.
pub(super) struct Solved {
    observed: Observations,
    values: DVector<f64>,
    covariance: DMatrix<f64>,
    /// Derivatives of the estimate by each observation: unknowns by observations.
    gain: DMatrix<f64>,
    /// Covariance of the observations by the noise of their edges.
    edges: DMatrix<f64>,
    first_knot: usize,
    pub disagreement: f64,
    /// The slopes of the card, along x and along y, and of the saddle's roll, in their standard uncertainties as assumed,
    /// with their covariance.
    pub slopes: (Vector3<f64>, Matrix3<f64>),
}

impl Solved {
    pub fn of(observed: Observations, first_knot: usize) -> Option<Self> {
        let edges = observed.edge_covariance();
        let root: Cholesky<f64, Dyn> = observed.covariance(&edges).cholesky()?;
        let design = DMatrix::from_fn(observed.rows.len(), observed.unknowns, |i, j| observed.rows[i][j]);
        let weighted = root.solve(&design);
        let covariance = design.tr_mul(&weighted).cholesky()?.inverse();
        let gain = &covariance * weighted.transpose();
        let seen = DVector::from_column_slice(&observed.values);
        let values = &gain * &seen;
        let residuals = &seen - &design * &values;
        let freedom = observed.rows.len().saturating_sub(observed.unknowns).max(1) as f64;
        let disagreement = (residuals.dot(&root.solve(&residuals)) / freedom).sqrt();
        let slopes = {
            let moved = MatrixXx3::from_columns(&SLOPES.map(|slope| observed.moved_by(slope)));
            let weighted_moved = root.solve(&moved);
            let explained = design.tr_mul(&weighted_moved);
            let weighted_moved = weighted_moved - &weighted * (&covariance * explained);
            // Where the saddle is so, a reading that does not know it is wrong by the opposite.
            (-weighted_moved.tr_mul(&seen), Matrix3::identity() - moved.tr_mul(&weighted_moved))
        };
        let sound = values.iter().chain(covariance.iter()).all(|v| v.is_finite());
        sound.then_some(Self { observed, values, covariance, gain, edges, first_knot, disagreement, slopes })
    }

    /// Moves the heights to where they were found to be, or a part of the way.
    pub fn raise(&self, lifts: &mut [LiftProfile; 2], part_of_it: f64) {
        for (part, lift) in lifts.iter_mut().enumerate() {
            for knot in 0..KNOTS {
                let by_mm = part_of_it * self.values[self.first_knot + part * KNOTS + knot];
                *lift = lift.raised(knot, by_mm.clamp(-MOST_STEP_MM, MOST_STEP_MM));
            }
        }
    }

    /// The largest step of a height against what it may be, by its standard uncertainty, mm. At the ends the edges run
    /// across the midline, and a height shows in no width.
    pub fn largest_step(&self, most_mm: impl Fn(f64) -> f64) -> f64 {
        let of = |part: usize| {
            let at = self.first_knot + part * KNOTS;
            let steps = self.lift_u_mm(part).into_iter().enumerate().skip(1).take(KNOTS - 2);
            steps.map(|(knot, u_mm)| self.values[at + knot].abs() / most_mm(u_mm)).fold(0.0, f64::max)
        };
        of(0).max(of(1))
    }

    /// Standard uncertainties of the heights at the knots, mm.
    pub fn lift_u_mm(&self, part: usize) -> Vec<f64> {
        let at = self.first_knot + part * KNOTS;
        (at..at + KNOTS).map(|k| self.covariance[(k, k)].max(0.0).sqrt()).collect()
    }

    fn places(&self) -> usize {
        self.first_knot / 2
    }

    /// A number for every half-width, from one for every unknown.
    fn by_place(&self, of: impl Fn(usize) -> f64) -> Vec<Pair<f64>> {
        (0..self.places()).map(|place| Pair::of(|side| of(unknown(place, side)))).collect()
    }

    /// The half-widths.
    pub fn halves(&self) -> Halves {
        self.by_place(|k| self.values[k])
    }

    /// Adds every influence on the half-widths.
    pub fn add_influences(&self, influences: &mut Influences, midline: &Midline) {
        let errors = midline.end_errors();
        for (i, (&(from, number, by), error)) in self.observed.common.iter().enumerate() {
            let moved =
                |k: usize| error.moved.iter().enumerate().map(|(at, mm)| self.gain[(k, at)] * mm).sum();
            let mut shared =
                SharedError::new(from, number, &self.by_place(moved)).with_length(error.length_mm);
            (shared.scope, shared.number) = match by {
                SharedBy::All => (from.scope(), shared.number),
                // The sheet names the lens of its first photo.
                SharedBy::Lens(0) => (ErrorScope::Lens, shared.number),
                SharedBy::Lens(_) | SharedBy::Photo(_) => (ErrorScope::Photo, i as u32),
            };
            match from {
                Influence::PipingDefinition if by == SharedBy::All => shared.scope = ErrorScope::Setup,
                Influence::StationPosition => {
                    let [.., front, rear] = errors[2 + number];
                    shared = shared.with_ends_along([front, rear]);
                }
                _ => {}
            }
            influences.shared.push(shared);
        }
        for (i, own) in self.observed.own.iter().enumerate() {
            if let Own::Lift { u_mm } = own {
                let effects = self.by_place(|k| self.gain[(k, i)] * u_mm);
                influences.shared.push(SharedError::new(Influence::Height, i, &effects));
            }
        }
        self.add_edges(influences);
        self.add_competing(influences);
    }

    /// The noise of the edges: what it does through the heights moves many half-widths together, the rest is each edge's
    /// own.
    fn add_edges(&self, influences: &mut Influences) {
        let by_edges = &self.gain * &self.edges * self.gain.transpose();
        let (halves, knots) = (self.first_knot, by_edges.nrows() - self.first_knot);
        let of_knots = by_edges.view((halves, halves), (knots, knots)).into_owned();
        let both = by_edges.view((0, halves), (halves, knots)).into_owned();
        let eigen = of_knots.symmetric_eigen();
        let least = eigen.eigenvalues.max() * 1e-9;
        let mut rest = by_edges.diagonal();
        for (i, value) in eigen.eigenvalues.iter().enumerate().filter(|(_, value)| **value > least) {
            let effect = &both * eigen.eigenvectors.column(i) / value.sqrt();
            (0..halves).for_each(|k| rest[k] -= effect[k] * effect[k]);
            let mut error = SharedError::new(Influence::EdgeLocalisation, i, &self.by_place(|k| effect[k]));
            error.scope = ErrorScope::Setup;
            influences.shared.push(error);
        }
        let own = self.by_place(|k| rest[k].max(0.0).sqrt());
        influences.add_own(Influence::EdgeLocalisation, &own);
    }

    /// Where a wrong line competes in one photo it does in the next: its cost is not averaged away.
    fn add_competing(&self, influences: &mut Influences) {
        let own = self.by_place(|k| {
            let mut cost: BTreeMap<(usize, Side), f64> = BTreeMap::new();
            for (i, own) in self.observed.own.iter().enumerate() {
                if let Own::Half { doubt_mm, at, .. } = own {
                    *cost.entry((at.place, at.side)).or_default() += (self.gain[(k, i)] * doubt_mm).abs();
                }
            }
            cost.values().map(|u| u * u).sum::<f64>().sqrt()
        });
        influences.add_own(Influence::CompetingBoundaries, &own);
    }
}
