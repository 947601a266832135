//! Influences with sign and scope: how every half-width is wrong when an input is wrong by its standard uncertainty.
//!
//! Whatever is computed from half-widths gets its uncertainty here and nowhere else, so differences between widths,
//! halves and sheets need no covariance beside it.

use nalgebra::DMatrix;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::influence::{Budget, ErrorScope, Influence};
use crate::numeric::words::{NamedWidth, Pair, Part, SIDES, Side};
use crate::outline::edge::{FADING_MM, UNSHARED};

/// A quantity's derivatives by half-widths: index of the place, and the derivative by each half.
pub type Gradient = Vec<(usize, Pair<f64>)>;

/// Every error of the half-widths, each by one standard uncertainty of its input.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Influences {
    /// Where half-widths were measured: one entry for each number in `left` and `right` below.
    pub places: Vec<MeasuredPlace>,
    /// Errors that half-widths share.
    pub shared: Vec<SharedError>,
    /// Standard uncertainties that each half-width has of its own.
    pub own: Vec<OwnErrors>,
    /// Distance along the midline, in stations, over which the correlation of an edge's own errors falls to 1/e.
    pub fading: f64,
    /// Part of the variance of an own error that no neighbour shares, however near.
    pub unshared: f64,
    /// True where signs and scopes are guessed, as for a sheet of version 1, which did not keep them.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub guessed: bool,
}

/// A place where both halves of a width were measured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MeasuredPlace {
    /// The pair of edges.
    pub part: Part,
    /// The station, without a unit.
    pub at: f64,
    /// The named width measured here; left out at other stations.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<NamedWidth>,
}

/// One independent error that half-widths share, in millimetres outwards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SharedError {
    /// The influence.
    pub from: Influence,
    /// What shares the error.
    pub scope: ErrorScope,
    /// Number among the errors of its influence and scope: the same number is the same error in another sheet that
    /// shares the lens or the print.
    pub number: u32,
    /// Change of the midline's length, in millimetres.
    #[serde(default)]
    pub length_mm: f64,
    /// How far it moves the front and the rear end along the saddle, rearwards, in millimetres; left out where stations
    /// stay where they are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends_along_mm: Option<[f64; 2]>,
    /// Change of the left half-widths.
    pub left: Vec<f64>,
    /// Change of the right half-widths.
    pub right: Vec<f64>,
}

/// Standard uncertainties of half-widths from an influence on each edge by itself, in millimetres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OwnErrors {
    /// The influence.
    pub from: Influence,
    /// Of the left half-widths.
    pub left: Vec<f64>,
    /// Of the right half-widths.
    pub right: Vec<f64>,
}

/// Identity of an independent error of one standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ErrorKey {
    /// The influence.
    pub from: Influence,
    /// What shares the error.
    pub scope: ErrorScope,
    /// The edge, of an own error.
    pub edge: Option<(Part, Side)>,
    /// Number among the errors of the same kind.
    pub number: u32,
}

impl SharedError {
    /// An error by what it does to each half-width.
    pub fn new(from: Influence, number: usize, effects: &[Pair<f64>]) -> Self {
        let [left, right] = SIDES.map(|side| effects.iter().map(|half| half[side]).collect());
        let number = u32::try_from(number).unwrap_or(u32::MAX);
        Self { from, scope: from.scope(), number, length_mm: 0.0, ends_along_mm: None, left, right }
    }

    /// The same with what it does to the midline's length, mm.
    pub fn with_length(self, length_mm: f64) -> Self {
        Self { length_mm, ..self }
    }

    /// The same with how far it moves the midline's ends along the saddle, rearwards, mm.
    pub fn with_ends_along(self, [front, rear]: [f64; 2]) -> Self {
        Self { ends_along_mm: Some([front, rear]), length_mm: rear - front, ..self }
    }

    fn on(&self, place: usize) -> Pair<f64> {
        Pair { left: self.left[place], right: self.right[place] }
    }

    /// Whether its errors may be exchanged for other independent ones of the same covariance: no other sheet shares them,
    /// and none has a meaning of its own.
    fn is_anonymous(&self) -> bool {
        matches!(self.scope, ErrorScope::Photo | ErrorScope::Setup) && self.ends_along_mm.is_none()
    }
}

impl OwnErrors {
    /// Own errors by each half-width's standard uncertainty.
    pub fn new(from: Influence, u_mm: &[Pair<f64>]) -> Self {
        let [left, right] = SIDES.map(|side| u_mm.iter().map(|half| half[side]).collect());
        Self { from, left, right }
    }

    fn on(&self, place: usize) -> Pair<f64> {
        Pair { left: self.left[place], right: self.right[place] }
    }
}

/// Principal components of a group of errors that move no half-width by more than this are dropped, mm: ten of them together
/// would add 1 % to a standard uncertainty of half a millimetre.
const DROPPED_MM: f64 = 0.02;

impl Influences {
    /// Nothing wrong yet at some places of a midline of this length.
    pub fn at(places: Vec<MeasuredPlace>, length_mm: f64) -> Self {
        Self { places, fading: FADING_MM / length_mm, unshared: UNSHARED, ..Self::default() }
    }

    /// Adds own errors, where there are any.
    pub fn add_own(&mut self, from: Influence, u_mm: &[Pair<f64>]) {
        if u_mm.iter().any(|half| half.sum() > 0.0) {
            self.own.push(OwnErrors::new(from, u_mm));
        }
    }

    /// The place of a named width.
    pub fn named(&self, name: NamedWidth) -> Option<usize> {
        self.places.iter().position(|place| place.name == Some(name))
    }

    /// The place at a station that is not a named width's.
    pub fn station(&self, part: Part, at: f64) -> Option<usize> {
        let here = |p: &MeasuredPlace| p.name.is_none() && p.part == part && (p.at - at).abs() < SAME_STATION;
        self.places.iter().position(here)
    }

    /// Whether every list has one number a place.
    pub fn is_whole(&self) -> bool {
        let count = self.places.len();
        let lists = self.shared.iter().flat_map(|e| [&e.left, &e.right]);
        lists.chain(self.own.iter().flat_map(|e| [&e.left, &e.right])).all(|list| list.len() == count)
    }

    /// Independent errors of a linear function of half-widths, each with what one standard uncertainty of it adds.
    pub fn errors(&self, gradient: &[(usize, Pair<f64>)]) -> Vec<(ErrorKey, f64)> {
        let shared = self.shared.iter().map(|error| {
            let moved = gradient.iter().map(|(place, by)| by.dot(error.on(*place))).sum();
            (ErrorKey { from: error.from, scope: error.scope, edge: None, number: error.number }, moved)
        });
        let mut errors: Vec<(ErrorKey, f64)> = shared.collect();
        for own in &self.own {
            for (place, by) in gradient {
                for side in SIDES {
                    let u = by[side] * own.on(*place)[side];
                    if u != 0.0 {
                        let edge = Some((self.places[*place].part, side));
                        let key = |number| ErrorKey { from: own.from, scope: ErrorScope::Edge, edge, number };
                        errors.extend(self.innovations(*place).map(|(n, weight)| (key(n), u * weight)));
                    }
                }
            }
        }
        errors
    }

    /// Own errors of one edge as independent ones. An exponential correlation is that of a Markov process: along the
    /// places in order, each error is what is left of the one before and something new. The new part of place k is number
    /// 2k, what no neighbour shares number 2k + 1.
    fn innovations(&self, place: usize) -> impl Iterator<Item = (u32, f64)> {
        let MeasuredPlace { part, at, .. } = self.places[place];
        let mut before: Vec<(usize, f64)> =
            self.places.iter().enumerate().filter(|(_, p)| p.part == part).map(|(i, p)| (i, p.at)).collect();
        before.retain(|&(i, s)| s < at || (s == at && i <= place));
        before.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        let left_over = move |from: f64, to: f64, fading: f64| (-(to - from) / fading).exp();
        let (fading, shared) = (self.fading, (1.0 - self.unshared).sqrt());
        let new = (0..before.len()).map(move |k| {
            let (index, s) = before[k];
            let kept = k.checked_sub(1).map_or(0.0, |last| left_over(before[last].1, s, fading));
            (2 * index as u32, shared * left_over(s, at, fading) * (1.0 - kept * kept).max(0.0).sqrt())
        });
        new.chain([(2 * place as u32 + 1, self.unshared.sqrt())])
    }

    /// Budget of a linear function of half-widths.
    pub fn budget(&self, gradient: &[(usize, Pair<f64>)]) -> Budget {
        let mut by_error = std::collections::BTreeMap::new();
        for (key, moved) in self.errors(gradient) {
            *by_error.entry(key).or_insert(0.0) += moved;
        }
        by_error.into_iter().map(|(key, moved): (ErrorKey, f64)| (key.from, moved)).collect()
    }

    /// Replaces the errors of each influence that only this measurement has by their principal components, of which few
    /// matter.
    pub fn condensed(mut self) -> Self {
        let (anonymous, mut kept): (Vec<_>, Vec<_>) =
            std::mem::take(&mut self.shared).into_iter().partition(SharedError::is_anonymous);
        let mut groups: std::collections::BTreeMap<_, Vec<SharedError>> = Default::default();
        for error in anonymous {
            groups.entry((error.from, error.scope)).or_default().push(error);
        }
        kept.extend(groups.into_values().flat_map(|group| principal(group, self.places.len())));
        self.shared = kept;
        self
    }
}

/// Stations nearer than this are one: 0.2 mm along a saddle.
const SAME_STATION: f64 = 0.0005;

/// The principal components of errors, the largest first; at least one.
fn principal(group: Vec<SharedError>, places: usize) -> Vec<SharedError> {
    let (Some(first), true) = (group.first().cloned(), group.len() > 1) else { return group };
    let row = |error: &SharedError, column: usize| match column {
        c if c < places => error.left[c],
        c if c < 2 * places => error.right[c - places],
        _ => error.length_mm,
    };
    let effects = DMatrix::from_fn(group.len(), 2 * places + 1, |i, j| row(&group[i], j));
    // The smaller of both products has the same eigenvalues.
    let eigen = (&effects * effects.transpose()).symmetric_eigen();
    let mut order: Vec<usize> = (0..group.len()).collect();
    order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
    let component = |number: usize, k: usize| {
        let moved = effects.tr_mul(&eigen.eigenvectors.column(k));
        let of = |range: std::ops::Range<usize>| range.map(|j| moved[j]).collect::<Vec<f64>>();
        let (left, right) = (of(0..places), of(places..2 * places));
        SharedError { number: number as u32, length_mm: moved[2 * places], left, right, ..first.clone() }
    };
    let all = order.into_iter().enumerate().map(|(number, k)| component(number, k));
    let matters = |e: &SharedError| e.left.iter().chain(&e.right).any(|mm| mm.abs() > DROPPED_MM);
    all.enumerate().filter(|(i, e)| *i == 0 || matters(e)).map(|(_, e)| e).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn places() -> Vec<MeasuredPlace> {
        [0.1, 0.5, 0.3, 0.3].map(|at| MeasuredPlace { part: Part::Seat, at, name: None }).to_vec()
    }

    /// The variance of a sum by the law itself: the sum over both places of the products of their uncertainties with
    /// the correlation.
    #[test]
    fn own_errors_of_an_edge_fade_along_it_as_stated() {
        let mut influences = Influences::at(places(), 420.0);
        let u = [0.4, 0.2, 0.3, 0.7];
        influences.add_own(Influence::EdgeLocalisation, &u.map(|left| Pair { left, right: 0.1 }));
        let weights = [1.0, -2.0, 0.5, 1.5];
        let gradient: Gradient =
            weights.iter().enumerate().map(|(i, w)| (i, Pair { left: *w, right: 0.0 })).collect();
        let mut expected = 0.0;
        for i in 0..4 {
            for j in 0..4 {
                let apart = (places()[i].at - places()[j].at).abs() * 420.0;
                let r = if i == j { 1.0 } else { (1.0 - UNSHARED) * (-apart / FADING_MM).exp() };
                expected += weights[i] * weights[j] * u[i] * u[j] * r;
            }
        }
        assert_relative_eq!(influences.budget(&gradient).u().powi(2), expected, epsilon = 1e-12);
    }

    #[test]
    fn what_moves_both_edges_to_one_side_moves_the_difference_and_not_the_width() {
        let mut influences = Influences::at(places(), 420.0);
        let aside = [Pair { left: 3.0, right: -3.0 }; 4];
        influences.shared.push(SharedError::new(Influence::Height, 0, &aside));
        let u = |by: Pair<f64>| influences.budget(&[(1, by)]).u();
        assert_eq!([u(Pair::both(1.0)), u(Pair { left: 1.0, right: -1.0 })], [0.0, 6.0]);
    }

    #[test]
    fn condensed_errors_have_the_same_covariance() {
        let mut influences = Influences::at(places(), 420.0);
        for i in 0..6 {
            let of = |k: usize| ((7 * i + 3 * k) % 5) as f64 - 2.0;
            let effects: Vec<Pair<f64>> =
                (0..4).map(|k| Pair { left: of(k), right: of(k + 1) + 0.5 * of(k) }).collect();
            influences.shared.push(SharedError::new(Influence::TagCorners, i, &effects));
        }
        let condensed = influences.clone().condensed();
        assert!(condensed.shared.len() <= influences.shared.len());
        for by in [Pair::both(1.0), Pair { left: 1.0, right: -0.3 }] {
            let u = |influences: &Influences| influences.budget(&[(0, by), (2, Pair::both(-0.7))]).u();
            // What is dropped is small, not nothing.
            assert_relative_eq!(u(&condensed), u(&influences), epsilon = 1e-3);
        }
    }
}
