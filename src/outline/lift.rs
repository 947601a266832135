//! Lift profiles: the height of the edges over the card's plane along the midline.

use std::str::FromStr;

/// Lift along the midline: `station:mm` pairs joined by straight lines and held constant past the ends.
#[derive(Debug, Clone, PartialEq)]
pub struct LiftProfile {
    points: Vec<(f64, f64)>,
    /// Standard uncertainty of each given height, mm, independent from point to point.
    pub point_u_mm: f64,
    /// Standard uncertainty common to the whole profile, mm.
    pub common_u_mm: f64,
}

/// A ruler and a straight-edge give a height to about 2 mm, meant as limits: divided by the root of 3 (a
/// rectangular distribution, JCGM 100:2008, 4.3.7), with as much again for straight lines between the points of a
/// curve.
pub const RULER_U_MM: f64 = 1.6;
/// Where nobody has measured, a saddle's edges lie within some centimetres of the card that was laid beside it.
const UNKNOWN_U_MM: f64 = 25.0;
/// Heights beyond this are a slip of the unit or the sign.
const HIGHEST_MM: f64 = 400.0;

impl LiftProfile {
    /// A profile measured with a ruler. `None` when empty, not rising in station, or not finite.
    pub fn measured(points: Vec<(f64, f64)>) -> Option<Self> {
        let rising = points.windows(2).all(|w| w[0].0 < w[1].0);
        let sane = points.iter().all(|(s, h)| (-0.5..=1.5).contains(s) && h.abs() <= HIGHEST_MM);
        (!points.is_empty() && rising && sane).then_some(Self {
            points,
            point_u_mm: RULER_U_MM,
            common_u_mm: 0.0,
        })
    }

    /// The profile when no lift was given: the card's own plane, and not known to a few centimetres.
    pub fn unknown() -> Self {
        Self { points: vec![(0.5, 0.0)], point_u_mm: 0.0, common_u_mm: UNKNOWN_U_MM }
    }

    /// How high the edges of a seat mostly run over a card beside it, pommel and cantle above the waist: where to look, not
    /// what to measure with (common practice, no source).
    pub fn usual_of_a_seat() -> Self {
        let points = vec![(0.0, 45.0), (0.25, 25.0), (0.5, 15.0), (0.75, 30.0), (1.0, 55.0)];
        Self { points, ..Self::unknown() }
    }

    /// True where somebody measured it.
    pub fn is_known(&self) -> bool {
        self.point_u_mm > 0.0
    }

    /// The profile by its heights at other stations, in rising order.
    pub fn at_stations(&self, stations: impl Iterator<Item = f64>) -> Self {
        Self { points: stations.map(|s| (s, self.at_mm(s))).collect(), ..*self }
    }

    /// The `station, mm` pairs.
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }

    /// Lift at a station, mm.
    pub fn at_mm(&self, station: f64) -> f64 {
        self.weights(station).iter().map(|&(i, w)| w * self.points[i].1).sum()
    }

    /// The two points that determine the lift at a station, with their weights.
    pub fn weights(&self, station: f64) -> [(usize, f64); 2] {
        let after = self.points.partition_point(|p| p.0 <= station);
        if after == 0 {
            return [(0, 1.0), (0, 0.0)];
        }
        if after == self.points.len() {
            return [(after - 1, 1.0), (after - 1, 0.0)];
        }
        let (a, b) = (self.points[after - 1].0, self.points[after].0);
        let t = (station - a) / (b - a);
        [(after - 1, 1.0 - t), (after, t)]
    }

    /// The profile with one of its points raised, for propagating uncertainty.
    pub fn raised(&self, index: usize, by_mm: f64) -> Self {
        let mut other = self.clone();
        other.points[index].1 += by_mm;
        other
    }

    /// The whole profile raised.
    pub fn raised_all(&self, by_mm: f64) -> Self {
        let mut other = self.clone();
        other.points.iter_mut().for_each(|p| p.1 += by_mm);
        other
    }
}

impl FromStr for LiftProfile {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let points = text
            .split(',')
            .map(|pair| {
                let (station, mm) = pair.split_once(':')?;
                Some((station.trim().parse::<f64>().ok()?, mm.trim().parse::<f64>().ok()?))
            })
            .collect::<Option<Vec<_>>>();
        points.and_then(Self::measured).ok_or_else(|| {
            format!("'{text}' is no lift profile: write station:mm pairs in rising order, such as 0:60,0.35:20,1:70")
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn joined_by_straight_lines_and_held_past_the_ends() {
        let profile: LiftProfile = "0:60,0.5:20,1:70".parse().unwrap();
        let got = [-0.1, 0.0, 0.25, 0.5, 0.9, 1.2].map(|s| profile.at_mm(s));
        assert_eq!(got.map(|v| (v * 1000.0).round() / 1000.0), [60.0, 60.0, 40.0, 20.0, 60.0, 70.0]);
    }

    #[test]
    fn slips_are_refused() {
        for text in ["", "0.5", "0:10,0:20", "0.5:10,0.2:20", "0:nan", "0:5000", "0,3:20"] {
            assert!(text.parse::<LiftProfile>().is_err(), "{text}");
        }
    }
}
