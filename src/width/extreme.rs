//! The widest and the narrowest station of a range, also beside a stretch in which an edge is hidden.

use nalgebra::{Vector2, Vector3};

use super::LocatedPair;
use super::section::{LocatedPoint, section};
use crate::numeric::polynomial::polynomial;

/// Spacing of the stations searched, and half-width of the parabola that places the extreme.
const SEARCH_STEP: f64 = 0.005;
const VERTEX_REACH: f64 = 0.03;
/// What a hidden stretch may conceal beyond this, mm, makes the extreme unknown: it decides between saddles.
const MOST_CONCEALED_MM: f64 = 3.0;

/// Where the greatest or the least traced width of a range is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extreme {
    /// The station.
    pub station: f64,
    /// Standard uncertainty of the station from the traced edges alone; none where no curve places it.
    pub station_u: Option<f64>,
    /// By how much an untraced stretch may go beyond the width there, mm.
    pub concealed_mm: f64,
}

impl Extreme {
    /// A set station, where there is nothing to find.
    pub fn set(station: f64) -> Self {
        Self { station, station_u: None, concealed_mm: 0.0 }
    }

    /// What several photos make of one: the mean of the stations where least is concealed, for beside a hidden stretch the
    /// extreme is where the stretch begins.
    pub fn agreed(found: &[Self]) -> Option<Self> {
        let best = found.iter().min_by(|a, b| a.concealed_mm.total_cmp(&b.concealed_mm))?;
        let (mut sum, mut count) = (0.0, 0.0);
        for one in found.iter().filter(|one| one.concealed_mm <= best.concealed_mm) {
            (sum, count) = (sum + one.station, count + 1.0);
        }
        Some(Self { station: sum / count, ..*best })
    }
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
    let curve = Parabola::about(&traced, best.0);
    let vertex = curve.as_ref().and_then(Parabola::vertex).unwrap_or(best.0);
    let within = vertex.clamp(best.0 - VERTEX_REACH, best.0 + VERTEX_REACH).clamp(range.0, range.1);
    let station = if width_at(within).is_some() { within } else { best.0 };
    let width_u = |s: f64| Some(point_u(&pair[0], s)?.hypot(point_u(&pair[1], s)?));
    let station_u = curve.filter(|_| station == vertex).and_then(|c| c.vertex_u(width_u(station)?));
    let concealed_mm = gaps(&widths)
        .map(|(before, after)| most_between(&traced, before, after, range) - best.1)
        .fold(0.0, f64::max);
    (concealed_mm <= MOST_CONCEALED_MM).then_some(Extreme { station, station_u, concealed_mm })
}

/// Uncertainty of the traced point nearest to a station, mm. It is not reduced by the points beside it: what misleads
/// one (a stitch, a fold, light) misleads its neighbours as well.
fn point_u(points: &[Option<LocatedPoint>], station: f64) -> Option<f64> {
    let far = |p: &&LocatedPoint| (p.station - station).abs();
    points.iter().flatten().min_by(|a, b| far(a).total_cmp(&far(b))).map(|p| p.u_mm)
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

    /// Standard uncertainty of the vertex when a width is known to `width_u` mm: that of the slope there over the
    /// curvature, the slope taken as from two widths a reach before and after alone. `None` where that is more than the
    /// reach: then the curve is too flat to place anything.
    fn vertex_u(&self, width_u: f64) -> Option<f64> {
        let slope_u = width_u * std::f64::consts::SQRT_2 / (2.0 * VERTEX_REACH);
        Some(slope_u / (2.0 * self.coefficients[2]).abs()).filter(|u| *u <= VERTEX_REACH)
    }

    /// Where it is greatest; `None` where it bends upwards.
    fn vertex(&self) -> Option<f64> {
        (self.coefficients[2] < 0.0).then(|| self.about - self.coefficients[1] / (2.0 * self.coefficients[2]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::frame::PhotoPoint;

    const LENGTH_MM: f64 = 400.0;

    /// Both edges of a seat 200 mm wide at station 0.7, hidden between two stations.
    fn seat(hidden: std::ops::Range<f64>) -> LocatedPair {
        let side = |_| {
            (0..=400)
                .map(|i| {
                    let along_mm = f64::from(i);
                    let station = along_mm / LENGTH_MM;
                    let offset_mm = 100.0 - 0.002 * (along_mm - 280.0).powi(2);
                    (!hidden.contains(&station)).then_some(LocatedPoint {
                        station,
                        along_mm,
                        offset_mm,
                        u_mm: 0.1,
                        confidence: 1.0,
                        doubt_mm: 0.0,
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

    /// Both edges are known to 0.1 mm, so the width to 0.1414 mm; its slope from widths 0.06 apart to 0.1414 x 1.414 /
    /// 0.06 = 3.333 mm for the whole midline. The width is 200 - 0.004 (400 (s - 0.7))^2, so its slope changes by 1280 mm:
    /// 3.333 / 1280 = 0.0026.
    #[test]
    fn the_place_of_an_extreme_is_as_sure_as_worked_by_hand() {
        let u = widest(0.0..0.0).unwrap().station_u.unwrap();
        assert!((u - 0.0026).abs() < 2e-5, "{u}");
        // Where the curve goes on beyond the range nothing places it.
        assert_eq!(extreme(&seat(0.0..0.0), LENGTH_MM, (0.50, 0.65), 1.0).unwrap().station_u, None);
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
