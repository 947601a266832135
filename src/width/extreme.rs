//! The widest and the narrowest station of a range, also beside a stretch in which an edge is hidden.

use nalgebra::{Vector2, Vector3};

use super::LocatedPair;
use super::section::section;
use crate::ground::polynomial::polynomial;

/// Stations between which an extreme is looked for, and the reach of the parabola that places it.
const SEARCH_STEP: f64 = 0.005;
const VERTEX_REACH: f64 = 0.03;
/// What a hidden stretch may conceal beyond this, mm, makes the extreme unknown: it decides between saddles.
const MOST_CONCEALED_MM: f64 = 3.0;

/// Where the greatest or the least traced width of a range lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extreme {
    /// The station.
    pub station: f64,
    /// By how much an untraced stretch may go beyond the width there, mm.
    pub concealed_mm: f64,
}

/// The greatest (`sign` +1) or least (-1) width in a range of stations: the vertex of a parabola through the widths about
/// the best of a fine series, so that one noisy point does not decide. A seat bulges about its widest station and a waist
/// or channel bends the other way, so in an untraced stretch the width stays on the near side of the tangents at the
/// stretch's ends; what they leave room for is stated. `None` where they leave room for more than [`MOST_CONCEALED_MM`].
pub fn extreme(pair: &LocatedPair, length_mm: f64, range: (f64, f64), sign: f64) -> Option<Extreme> {
    let count = ((range.1 - range.0) / SEARCH_STEP).round() as usize;
    let width_at = |s: f64| {
        let half = |side: usize| section(&pair[side], s, length_mm).map(|c| c.half_width_mm);
        Some((s, sign * (half(0)? + half(1)?)))
    };
    let widths: Vec<Option<(f64, f64)>> =
        (0..=count).map(|i| width_at(range.0 + SEARCH_STEP * i as f64)).collect();
    let traced: Vec<(f64, f64)> = widths.iter().flatten().copied().collect();
    let best = traced.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let vertex = Parabola::about(&traced, best.0).and_then(|p| p.vertex()).unwrap_or(best.0);
    let vertex = vertex.clamp(best.0 - VERTEX_REACH, best.0 + VERTEX_REACH).clamp(range.0, range.1);
    let station = if width_at(vertex).is_some() { vertex } else { best.0 };
    let concealed_mm = gaps(&widths)
        .map(|(before, after)| most_between(&traced, before, after, range) - best.1)
        .fold(0.0, f64::max);
    (concealed_mm <= MOST_CONCEALED_MM).then_some(Extreme { station, concealed_mm })
}

/// The traced neighbours of every untraced stretch; `None` at an end of the range.
fn gaps(widths: &[Option<(f64, f64)>]) -> impl Iterator<Item = (Option<f64>, Option<f64>)> {
    let place = |i: Option<usize>| i.and_then(|i| widths[i]).map(|w| w.0);
    widths
        .chunk_by(|a, b| a.is_some() == b.is_some())
        .scan(0, move |first, stretch| {
            let (start, end) = (*first, *first + stretch.len());
            *first = end;
            let around = (place(start.checked_sub(1)), place((end < widths.len()).then_some(end)));
            Some(stretch[0].is_none().then_some(around))
        })
        .flatten()
}

/// The most that a bulging curve reaches between two traced stations, by the tangents there; infinite without any.
fn most_between(traced: &[(f64, f64)], before: Option<f64>, after: Option<f64>, range: (f64, f64)) -> f64 {
    let tangent = |at: Option<f64>| at.and_then(|s| Some((s, Parabola::about(traced, s)?)));
    let (from, to) = (before.unwrap_or(range.0), after.unwrap_or(range.1));
    let count = ((to - from) / SEARCH_STEP).ceil() as usize;
    let tangents = [tangent(before), tangent(after)];
    (0..=count)
        .map(|i| from + (to - from) * i as f64 / count.max(1) as f64)
        .map(|s| {
            let bounds = tangents.iter().flatten().map(|(at, p)| p.value(*at) + p.slope(*at) * (s - at));
            bounds.fold(f64::INFINITY, f64::min)
        })
        .fold(f64::NEG_INFINITY, f64::max)
}

/// A parabola through the widths within [`VERTEX_REACH`] of a station, by least squares.
struct Parabola {
    about: f64,
    coefficients: Vector3<f64>,
}

impl Parabola {
    fn about(widths: &[(f64, f64)], about: f64) -> Option<Self> {
        let near: Vec<Vector2<f64>> = widths
            .iter()
            .filter(|w| (w.0 - about).abs() <= VERTEX_REACH)
            .map(|w| Vector2::new(w.0 - about, w.1))
            .collect();
        let coefficients = polynomial(&near, &vec![1.0; near.len()], 2)?;
        Some(Self { about, coefficients: coefficients.fixed_rows::<3>(0).into() })
    }

    fn value(&self, station: f64) -> f64 {
        let t = station - self.about;
        self.coefficients.dot(&Vector3::new(1.0, t, t * t))
    }

    fn slope(&self, station: f64) -> f64 {
        self.coefficients[1] + 2.0 * self.coefficients[2] * (station - self.about)
    }

    /// Where it is greatest; `None` where it bends upwards.
    fn vertex(&self) -> Option<f64> {
        (self.coefficients[2] < 0.0).then(|| self.about - self.coefficients[1] / (2.0 * self.coefficients[2]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::frame::PhotoPoint;
    use crate::width::section::Located;

    const LENGTH_MM: f64 = 400.0;

    /// Both edges of a seat 200 mm wide at station 0.7, hidden between two stations.
    fn seat(hidden: std::ops::Range<f64>) -> LocatedPair {
        let side = |_| {
            (0..=400)
                .map(|i| {
                    let along_mm = f64::from(i);
                    let station = along_mm / LENGTH_MM;
                    let offset_mm = 100.0 - 0.002 * (along_mm - 280.0).powi(2);
                    (!hidden.contains(&station)).then_some(Located {
                        station,
                        along_mm,
                        offset_mm,
                        u_mm: 0.1,
                        confidence: 1.0,
                        rival_mm: 4.0,
                        pixel: PhotoPoint::new(0.0, 0.0),
                    })
                })
                .collect()
        };
        [0, 1].map(side)
    }

    fn widest(hidden: std::ops::Range<f64>) -> Option<Extreme> {
        extreme(&seat(hidden), LENGTH_MM, (0.5, 0.95), 1.0)
    }

    #[test]
    fn a_traced_extreme_is_where_the_curve_turns() {
        for hidden in [0.0..0.0, 0.52..0.6] {
            let found = widest(hidden).unwrap();
            // The curve is a parabola, as the fit is: what is left is rounding.
            assert!((found.station - 0.7).abs() < 1e-6, "{found:?}");
            assert!(found.concealed_mm < 1e-6, "{found:?}");
        }
    }

    #[test]
    fn a_hidden_turn_is_bounded_by_the_tangents_beside_it() {
        let found = widest(0.66..0.76).unwrap();
        let beside = |s: f64| 2.0 * (100.0 - 0.002 * (s * LENGTH_MM - 280.0).powi(2));
        let missed = 200.0 - beside(found.station);
        assert!(missed > 0.0 && missed <= found.concealed_mm, "missed {missed} mm: {found:?}");
    }

    #[test]
    fn a_turn_that_may_go_on_in_the_dark_is_not_known() {
        assert_eq!(widest(0.55..0.85), None);
        assert_eq!(widest(0.60..0.96), None);
    }
}
