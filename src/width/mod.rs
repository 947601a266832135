//! Room 5: stations, named widths, half-widths and front taper, each with its uncertainty budget.

pub mod influence;
pub mod section;

use crate::camera::fit::CameraFit;
use crate::ground::words::{Part, SIDES};
use crate::outline::Outline;
use crate::outline::edge::TracedEdge;
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;
use influence::{Cut, CutSide, Halves, Influences, Inputs};
use section::{Located, locate_edge, section};

/// Coverage factor for 95 % of a normal distribution.
pub const COVERAGE: f64 = 1.96;
/// Where nobody has measured the card's bar: a printer told to print at actual size is true to about 0.35 % either way
/// (a stated assumption), taken as rectangular.
pub const PRINT_SCALE_U: f64 = 0.002;
/// An end of the midline pointed at by hand is good to about this, mm.
pub const GIVEN_END_U_MM: f64 = 1.5;
/// A station whose edge has less than this probability of being the edge is not given.
pub const LEAST_CONFIDENCE: f64 = 0.5;

/// A width with its halves and budget.
#[derive(Debug, Clone)]
pub struct MeasuredWidth {
    /// The station.
    pub station: f64,
    /// Width, mm.
    pub mm: f64,
    /// Half-widths, left and right, mm.
    pub halves_mm: [f64; 2],
    /// Contributions to the width's standard uncertainty, by name, mm.
    pub budget: Vec<(String, f64)>,
}

/// A quantity with a budget.
#[derive(Debug, Clone)]
pub struct Quantity {
    /// Its value.
    pub value: f64,
    /// Contributions to its standard uncertainty, by name.
    pub budget: Vec<(String, f64)>,
}

/// Root sum of squares of a budget's lines.
pub fn combined(budget: &[(String, f64)]) -> f64 {
    budget.iter().map(|(_, u)| u * u).sum::<f64>().sqrt()
}

/// The traced points of a part in millimetres, left and right.
pub type LocatedPair = [Vec<Option<Located>>; 2];

/// All widths of a saddle.
#[derive(Debug, Clone)]
pub struct Widths {
    /// The set stations: seat and channel, `None` where not traced.
    pub stations: Vec<(f64, Option<MeasuredWidth>, Option<MeasuredWidth>)>,
    /// The named widths that could be measured.
    pub named: Vec<(&'static str, MeasuredWidth)>,
    /// Front taper, degrees.
    pub front_taper_deg: Option<Quantity>,
    /// Traced points of the seat.
    pub seat: LocatedPair,
    /// Traced points of the channel.
    pub channel: Option<LocatedPair>,
}

/// What is measured from.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    /// The camera's fit.
    pub fit: &'a CameraFit,
    /// The midline.
    pub midline: &'a Midline,
    /// The traced edges.
    pub outline: &'a Outline,
    /// Lift of the seat's edges.
    pub seat_lift: &'a LiftProfile,
    /// Lift of the channel's edges.
    pub channel_lift: &'a LiftProfile,
    /// Standard uncertainty of the midline's ends, mm.
    pub end_u_mm: f64,
}

/// The set stations: every 0.05 from 0.05 to 0.95.
pub fn set_stations() -> impl Iterator<Item = f64> {
    (1..=19).map(|i| f64::from(i) * 0.05)
}

/// Measures everything that the traced edges give.
pub fn measure_widths(subject: &Subject) -> Option<Widths> {
    let locate = |edges: &[TracedEdge; 2], lift: &LiftProfile| {
        [0, 1].map(|i| locate_edge(&subject.fit.camera, subject.midline, lift, SIDES[i], &edges[i]))
    };
    let seat = locate(&subject.outline.seat, subject.seat_lift);
    let channel = subject.outline.channel.as_ref().map(|c| locate(c, subject.channel_lift));
    let plan = Plan::new(subject, &seat, channel.as_ref());
    let inputs = Inputs {
        fit: subject.fit,
        midline: *subject.midline,
        seat_lift: subject.seat_lift.clone(),
        channel_lift: subject.channel_lift.clone(),
        print_scale_u: PRINT_SCALE_U,
        end_u_mm: subject.end_u_mm,
    };
    let influences = Influences::of(&inputs, &plan.cuts)?;
    let width = |cut: usize| measured_width(&plan.cuts, &influences, cut);
    Some(Widths {
        stations: plan.stations.iter().map(|&(s, a, b)| (s, a.map(width), b.map(width))).collect(),
        named: plan.named.iter().map(|&(name, cut)| (name, width(cut))).collect(),
        front_taper_deg: (plan.taper.len() >= 5).then(|| front_taper(&plan, &influences, subject.midline)),
        seat,
        channel,
    })
}

fn measured_width(cuts: &[Cut], influences: &Influences, cut: usize) -> MeasuredWidth {
    let total = |halves: &Halves| halves[cut][0] + halves[cut][1];
    let halves_mm = influences.base[cut];
    MeasuredWidth {
        station: cuts[cut].station,
        mm: halves_mm[0] + halves_mm[1],
        halves_mm,
        budget: influences.budget(&total, &[(cut, [1.0, 1.0])], true),
    }
}

/// Which cuts are made, and for what.
struct Plan {
    cuts: Vec<Cut>,
    stations: Vec<(f64, Option<usize>, Option<usize>)>,
    named: Vec<(&'static str, usize)>,
    taper: Vec<usize>,
}

/// Stations of the front taper's straight lines: every 0.025 over 0.05 to 0.25.
const TAPER_STATIONS: usize = 9;

impl Plan {
    fn new(subject: &Subject, seat: &LocatedPair, channel: Option<&LocatedPair>) -> Self {
        let mut plan = Self { cuts: Vec::new(), stations: Vec::new(), named: Vec::new(), taper: Vec::new() };
        for station in set_stations() {
            let on_seat = plan.cut(subject, Part::Seat, seat, station);
            let on_channel = channel.and_then(|c| plan.cut(subject, Part::Channel, c, station));
            plan.stations.push((station, on_seat, on_channel));
        }
        for i in 0..TAPER_STATIONS {
            let station = 0.05 + 0.2 * i as f64 / (TAPER_STATIONS - 1) as f64;
            plan.taper.extend(plan_cut(&mut plan.cuts, subject, Part::Seat, seat, station));
        }
        let length = subject.midline.length_mm();
        let extreme =
            |pair: &LocatedPair, range: (f64, f64), sign: f64| extreme_station(pair, length, range, sign);
        let mut names: Vec<(&'static str, Part, Option<f64>)> = vec![
            ("seat.widest", Part::Seat, extreme(seat, (0.50, 0.95), 1.0)),
            ("seat.waist", Part::Seat, extreme(seat, (0.10, 0.50), -1.0)),
        ];
        if let Some(channel) = channel {
            names.push(("channel.front", Part::Channel, Some(0.15)));
            names.push(("channel.middle", Part::Channel, Some(0.50)));
            names.push(("channel.rear", Part::Channel, Some(0.85)));
            names.push(("channel.narrowest", Part::Channel, extreme(channel, (0.10, 0.90), -1.0)));
        }
        for (name, part, station) in names {
            let pair = if part == Part::Seat { Some(seat) } else { channel };
            let cut = pair.zip(station).and_then(|(pair, s)| plan.cut(subject, part, pair, s));
            plan.named.extend(cut.map(|c| (name, c)));
        }
        plan
    }

    fn cut(&mut self, subject: &Subject, part: Part, pair: &LocatedPair, station: f64) -> Option<usize> {
        plan_cut(&mut self.cuts, subject, part, pair, station)
    }
}

fn plan_cut(
    cuts: &mut Vec<Cut>,
    subject: &Subject,
    part: Part,
    pair: &LocatedPair,
    station: f64,
) -> Option<usize> {
    let lift = if part == Part::Seat { subject.seat_lift } else { subject.channel_lift };
    let side = |i: usize| {
        let cut = section(&pair[i], station, subject.midline.length_mm())?;
        let at = subject.midline.point(station, cut.half_width_mm, SIDES[i], lift.at_mm(station));
        let pixel = subject.fit.camera.photo_from_card(at)?;
        (cut.confidence >= LEAST_CONFIDENCE).then_some(CutSide {
            pixel,
            slope: cut.slope,
            u_mm: cut.u_mm,
            confidence: cut.confidence,
        })
    };
    let sides = [side(0)?, side(1)?];
    cuts.push(Cut { part, station, sides });
    Some(cuts.len() - 1)
}

/// Stations between which an extreme is looked for, and the reach of the parabola that places it.
const SEARCH_STEP: f64 = 0.005;
const VERTEX_REACH: f64 = 0.03;

/// The station of the greatest (sign +1) or least (-1) width in a range: the vertex of a parabola through the widths
/// about the best of a fine series, so that one noisy point does not decide. `None` unless four fifths of the series
/// were traced: an extreme that may lie in an untraced stretch is not known.
fn extreme_station(pair: &LocatedPair, length_mm: f64, range: (f64, f64), sign: f64) -> Option<f64> {
    let count = ((range.1 - range.0) / SEARCH_STEP).round() as usize;
    let widths: Vec<(f64, f64)> = (0..=count)
        .filter_map(|i| {
            let s = range.0 + SEARCH_STEP * i as f64;
            let half = |side: usize| section(&pair[side], s, length_mm).map(|c| c.half_width_mm);
            Some((s, sign * (half(0)? + half(1)?)))
        })
        .collect();
    if widths.len() * 5 < (count + 1) * 4 {
        return None;
    }
    let best = widths.iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let near: Vec<_> = widths.iter().filter(|w| (w.0 - best).abs() <= VERTEX_REACH).collect();
    let vertex = parabola_vertex(&near, best).unwrap_or(best);
    Some(vertex.clamp(best - VERTEX_REACH, best + VERTEX_REACH).clamp(range.0, range.1))
}

fn parabola_vertex(near: &[&(f64, f64)], about: f64) -> Option<f64> {
    let (mut normal, mut right) = (nalgebra::Matrix3::zeros(), nalgebra::Vector3::zeros());
    for (s, w) in near {
        let t = s - about;
        let x = nalgebra::Vector3::new(1.0, t, t * t);
        normal += x * x.transpose();
        right += *w * x;
    }
    let c = normal.try_inverse()? * right;
    (c[2] < 0.0).then(|| about - c[1] / (2.0 * c[2]))
}

/// Full angle between straight lines through the left and right half-widths over the front, degrees.
fn front_taper(plan: &Plan, influences: &Influences, midline: &Midline) -> Quantity {
    let length = midline.length_mm();
    let along: Vec<f64> = plan.taper.iter().map(|&c| plan.cuts[c].station * length).collect();
    let mean = along.iter().sum::<f64>() / along.len() as f64;
    let spread: f64 = along.iter().map(|a| (a - mean).powi(2)).sum();
    let slope = |halves: &Halves, side: usize| {
        plan.taper.iter().zip(&along).map(|(&c, a)| (a - mean) * halves[c][side]).sum::<f64>() / spread
    };
    let angle = |halves: &Halves| (slope(halves, 0).atan() + slope(halves, 1).atan()).to_degrees();
    let gradient: Vec<(usize, [f64; 2])> = plan
        .taper
        .iter()
        .zip(&along)
        .map(|(&c, a)| {
            let by = [0, 1].map(|side| (a - mean) / spread / (1.0 + slope(&influences.base, side).powi(2)));
            (c, by.map(f64::to_degrees))
        })
        .collect();
    Quantity { value: angle(&influences.base), budget: influences.budget(&angle, &gradient, false) }
}
