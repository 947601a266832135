//! Lift profiles: the height of the edges over the card's plane along the midline.

use std::str::FromStr;

use crate::instruction::HEIGHTS_EXAMPLE;

/// Lift along the midline: `station:mm` pairs joined by straight lines and held constant past the ends.
#[derive(Debug, Clone, PartialEq)]
pub struct LiftProfile {
    points: Vec<(f64, f64)>,
    /// How far each stretch bows off its straight line, in standard uncertainties, upwards positive; straight where there is
    /// none. The first stretch is before the first point, the last behind the last.
    bows: Vec<f64>,
    /// Standard uncertainty of each given height, mm, independent from point to point.
    pub point_u_mm: f64,
    /// Standard uncertainty common to the whole profile, mm.
    pub common_u_mm: f64,
}

/// A ruler and a straight-edge give a height to about 2 mm, meant as limits: divided by the root of 3 (a
/// rectangular distribution, JCGM 100:2008, 4.3.7).
pub const RULER_U_MM: f64 = 1.15;
/// How an edge bends between two heights, mm over the midline's length squared, as a standard uncertainty: one that dips by
/// 40 mm between pommel and cantle bends by eight times that (a stated assumption).
const BEND_MM: f64 = 320.0;
/// How it goes on past the outermost heights, mm over the midline's length, as a standard uncertainty (a stated assumption).
const SLOPE_MM: f64 = 120.0;
/// However few heights there are, an edge is within some centimetres of what they say, mm (a stated assumption).
const MOST_BOW_MM: f64 = 30.0;
/// Where nobody has measured, a saddle's edges lie within some centimetres of the card that was laid beside it.
const UNKNOWN_U_MM: f64 = 25.0;
/// Heights beyond this are a slip of the unit or the sign.
const HIGHEST_MM: f64 = 400.0;
/// Heights may be taken a little past the ends.
const STATIONS: std::ops::RangeInclusive<f64> = -0.5..=1.5;

impl LiftProfile {
    /// A profile measured with a ruler. `None` when empty, or with a slip in it: not rising in station, not finite, too high.
    pub fn measured(points: Vec<(f64, f64)>) -> Option<Self> {
        (!points.is_empty() && slip(&points).is_none()).then_some(Self {
            points,
            bows: Vec::new(),
            point_u_mm: RULER_U_MM,
            common_u_mm: 0.0,
        })
    }

    /// The profile when no lift was given: the card's own plane, and not known to a few centimetres.
    pub fn unknown() -> Self {
        Self { points: vec![(0.5, 0.0)], bows: Vec::new(), point_u_mm: 0.0, common_u_mm: UNKNOWN_U_MM }
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
        Self { points: stations.map(|s| (s, self.at_mm(s))).collect(), bows: Vec::new(), ..*self }
    }

    /// The `station, mm` pairs.
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }

    /// Lift at a station, mm.
    pub fn at_mm(&self, station: f64) -> f64 {
        let straight: f64 = self.weights(station).iter().map(|&(i, w)| w * self.points[i].1).sum();
        match self.bows.get(self.stretch_at(station)) {
            Some(bow) => straight + bow * self.bow_u_mm(station),
            None => straight,
        }
    }

    /// How many stretches there are, before, between and behind the points.
    pub fn stretches(&self) -> usize {
        self.points.len() + 1
    }

    fn stretch_at(&self, station: f64) -> usize {
        self.points.partition_point(|p| p.0 <= station)
    }

    /// How far the edge may lie off the straight line between the heights next to a station, or off the outermost of them, mm,
    /// as a standard uncertainty.
    pub fn bow_u_mm(&self, station: f64) -> f64 {
        let next = self.stretch_at(station);
        let before = next.checked_sub(1).map(|i| station - self.points[i].0);
        let behind = self.points.get(next).map(|p| p.0 - station);
        let off_mm = match (before, behind) {
            (Some(a), Some(b)) => 0.5 * BEND_MM * a * b,
            (Some(past), None) | (None, Some(past)) => SLOPE_MM * past + 0.5 * BEND_MM * past * past,
            (None, None) => 0.0,
        };
        off_mm.min(MOST_BOW_MM)
    }

    /// The profile with one of its stretches bowed off, by so many standard uncertainties.
    pub fn bowed(&self, stretch: usize, by: f64) -> Self {
        let mut other = self.clone();
        other.bows.resize(self.stretches(), 0.0);
        other.bows[stretch] += by;
        other
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
        let unread = || {
            format!(
                "'{text}' is no lift profile: write station:mm pairs in rising order, such as {HEIGHTS_EXAMPLE}"
            )
        };
        let points = points.ok_or_else(unread)?;
        match slip(&points) {
            Some(slip) => Err(format!("in '{text}' {slip}")),
            None => Self::measured(points).ok_or_else(unread),
        }
    }
}

/// What is wrong with pairs that are numbers.
fn slip(points: &[(f64, f64)]) -> Option<String> {
    let twice = points.windows(2).find(|w| w[0].0 == w[1].0).map(|w| w[0].0);
    let falling = points.windows(2).find(|w| w[0].0 > w[1].0).map(|w| w[1].0);
    let far = points.iter().find(|p| !STATIONS.contains(&p.0)).map(|p| p.0);
    let high = points.iter().find(|p| !(p.1.abs() <= HIGHEST_MM)).map(|p| p.1);
    far.map(|s| format!("{s} is no station: they run from 0 (front end) to 1 (rear end)"))
        .or_else(|| {
            high.map(|mm| {
                format!("{mm} mm is no height of an edge over the card: they are given in millimetres")
            })
        })
        .or_else(|| twice.map(|s| format!("station {s} stands twice")))
        .or_else(|| falling.map(|s| format!("station {s} does not come in rising order")))
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

    /// By hand: midway between two heights half a midline apart 320 / 2 x 0.25 x 0.25 = 10 mm; a tenth past the last 120 x 0.1 +
    /// 320 / 2 x 0.01 = 13.6 mm.
    #[test]
    fn an_edge_may_bow_off_where_no_height_was_taken() {
        let profile: LiftProfile = "0:60,0.5:20,0.9:70".parse().unwrap();
        for (station, off_mm) in [(0.0, 0.0), (0.25, 10.0), (0.5, 0.0), (1.0, 13.6), (2.0, MOST_BOW_MM)] {
            assert!((profile.bow_u_mm(station) - off_mm).abs() < 1e-9, "{station}");
        }
        let bowed = profile.bowed(1, -2.0);
        assert!((bowed.at_mm(0.25) - (40.0 - 20.0)).abs() < 1e-9);
        assert_eq!([0.0, 0.5, 0.7].map(|s| bowed.at_mm(s)), [0.0, 0.5, 0.7].map(|s| profile.at_mm(s)));
    }

    #[test]
    fn slips_are_refused() {
        for text in ["", "0.5", "0:10,0:20", "0.5:10,0.2:20", "0:nan", "0:5000", "0,3:20"] {
            assert!(text.parse::<LiftProfile>().is_err(), "{text}");
        }
    }
}
