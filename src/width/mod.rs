//! Room 5: stations, named widths, half-widths and front taper, each with its uncertainty budget.

pub mod extreme;
pub mod influence;
pub mod monte_carlo;
pub mod section;

use nalgebra::Vector2;

use crate::camera::fit::CameraFit;
use crate::ground::words::{Part, SIDES};
use crate::outline::Outline;
use crate::outline::bisect::{BISECTED, robust_line};
use crate::outline::edge::TracedEdge;
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;
use extreme::{Extreme, extreme};
use influence::{Cut, CutSide, Halves, Influences, Inputs, line};
use section::{Located, locate_edge, section};

/// Coverage factor for 95 % of a normal distribution.
pub const COVERAGE: f64 = 1.96;
/// Where nobody has measured the card's bar: a printer told to print at actual size is true to about 0.35 % either way
/// (a stated assumption), taken as rectangular.
pub const PRINT_SCALE_U: f64 = 0.002;
/// Where the bar was measured with a ruler: each end is read to about half a millimetre (a rectangular distribution of
/// +-0.25 mm, 0.2 mm for both ends together, of 150 mm), and across the bar the sheet may be printed by 0.1 % otherwise than
/// along it (stated assumptions).
pub const MEASURED_BAR_U: f64 = 0.0017;
/// An end of the midline pointed at by hand is good to about this, mm.
pub const GIVEN_END_U_MM: f64 = 1.5;
/// A station whose edge has less than this probability of being the edge is not given.
pub const LEAST_CONFIDENCE: f64 = 0.5;

/// A width with its halves and budget.
#[derive(Debug, Clone)]
pub struct MeasuredWidth {
    /// The station.
    pub station: f64,
    /// Standard uncertainty of the station where the edges place it; none where it is set, or where they do not.
    pub station_u: Option<f64>,
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

impl Widths {
    /// By how much the halves of a named width differ at most, mm, about the straight midline that suits the seat best: ends
    /// that a hand shows beside the middle make halves uneven, and the widths hardly worse.
    pub fn most_uneven_mm(&self) -> f64 {
        let middle_mm = |w: &MeasuredWidth| 0.5 * (w.halves_mm[0] - w.halves_mm[1]);
        let along_seat = self.stations.iter().filter(|(s, ..)| (BISECTED.0..=BISECTED.1).contains(s));
        let middles: Vec<Vector2<f64>> =
            along_seat.filter_map(|(s, seat, _)| Some(Vector2::new(*s, middle_mm(seat.as_ref()?)))).collect();
        let line = robust_line(&middles).unwrap_or_default();
        let [front, rear] = [line.x, line.x + line.y].map(|mm| mm.clamp(-MOST_END_SLIP_MM, MOST_END_SLIP_MM));
        let uneven = |w: &MeasuredWidth| 2.0 * (middle_mm(w) - front - (rear - front) * w.station);
        self.named.iter().map(|(_, w)| uneven(w).abs()).fold(0.0, f64::max)
    }
}

/// An end that a hand shows lies within this of the middle, mm (a stated assumption).
const MOST_END_SLIP_MM: f64 = 15.0;

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
    /// Relative standard uncertainty of the print scale.
    pub print_scale_u: f64,
}

/// The set stations: every 0.05 from 0.05 to 0.95.
pub fn set_stations() -> impl Iterator<Item = f64> {
    (1..=19).map(|i| f64::from(i) * 0.05)
}

/// Measures everything that the traced edges give.
pub fn measure_widths(subject: &Subject) -> Option<Widths> {
    let taken = Taken::of(subject);
    let (plan, inputs) = (&taken.plan, Inputs::of(subject));
    let influences = Influences::of(&inputs, &plan.cuts)?;
    let width = |cut: usize| width_of(plan, &influences, cut);
    Some(Widths {
        stations: plan.stations.iter().map(|&(s, a, b)| (s, a.map(width), b.map(width))).collect(),
        named: plan
            .named
            .iter()
            .map(|&(name, cut, place)| {
                (name, MeasuredWidth { station_u: place.station_u, ..beside(width(cut), place.concealed_mm) })
            })
            .collect(),
        front_taper_deg: (plan.taper.len() >= 5).then(|| front_taper(plan, &influences, subject.midline)),
        seat: taken.seat,
        channel: taken.channel,
    })
}

/// The traced edges located about the midline, and where they are cut.
struct Taken {
    seat: LocatedPair,
    channel: Option<LocatedPair>,
    plan: Plan,
}

impl Taken {
    fn of(subject: &Subject) -> Self {
        let locate = |edges: &[TracedEdge; 2], lift: &LiftProfile| {
            [0, 1].map(|i| locate_edge(&subject.fit.camera, subject.midline, lift, SIDES[i], &edges[i]))
        };
        let seat = locate(&subject.outline.seat, subject.seat_lift);
        let channel = subject.outline.channel.as_ref().map(|c| locate(c, subject.channel_lift));
        let plan = Plan::new(subject, &seat, channel.as_ref());
        Self { seat, channel, plan }
    }
}

impl<'a> Inputs<'a> {
    /// What a subject's widths rest on.
    fn of(subject: &Subject<'a>) -> Self {
        Self {
            fit: subject.fit,
            midline: *subject.midline,
            seat_lift: subject.seat_lift.clone(),
            channel_lift: subject.channel_lift.clone(),
            print_scale_u: subject.print_scale_u,
            end_u_mm: subject.end_u_mm,
        }
    }
}

/// The width of a cut with its budget, and with what uneven halves say.
fn width_of(plan: &Plan, influences: &Influences, cut: usize) -> MeasuredWidth {
    with_unevenness(measured_width(&plan.cuts, influences, cut))
}

fn measured_width(cuts: &[Cut], influences: &Influences, cut: usize) -> MeasuredWidth {
    let total = |halves: &Halves| halves[cut][0] + halves[cut][1];
    let halves_mm = influences.base[cut];
    MeasuredWidth {
        station: cuts[cut].station,
        station_u: None,
        mm: halves_mm[0] + halves_mm[1],
        halves_mm,
        budget: influences.budget(&total, &[(cut, [1.0, 1.0])], true),
    }
}

/// The halves of a sound saddle differ by up to this, mm (common practice, no source).
const EVEN_MM: f64 = 6.0;

/// What halves differ by beyond a sound saddle's, mm.
fn excess_mm(halves_mm: [f64; 2]) -> f64 {
    ((halves_mm[0] - halves_mm[1]).abs() - EVEN_MM).max(0.0)
}

/// Where halves differ by more, one side may be traced wrongly by the rest: a rectangular distribution.
fn with_unevenness(mut width: MeasuredWidth) -> MeasuredWidth {
    let excess_mm = excess_mm(width.halves_mm);
    if excess_mm > 0.0 {
        width.budget.push((line::UNEVEN.to_owned(), excess_mm / 3.0_f64.sqrt()));
    }
    width
}

/// The width beside an untraced stretch that may go beyond it by up to `concealed_mm`: a rectangular distribution.
fn beside(mut width: MeasuredWidth, concealed_mm: f64) -> MeasuredWidth {
    if concealed_mm > 0.0 {
        width.budget.push((line::HIDDEN.to_owned(), concealed_mm / 3.0_f64.sqrt()));
    }
    width
}

/// Which cuts are made, and for what.
struct Plan {
    cuts: Vec<Cut>,
    stations: Vec<(f64, Option<usize>, Option<usize>)>,
    /// Name, cut, and how it was placed.
    named: Vec<(&'static str, usize, Extreme)>,
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
        let at = |station: f64| Some(Extreme { station, station_u: None, concealed_mm: 0.0 });
        let mut names: Vec<(&'static str, Part, Option<Extreme>)> = vec![
            ("seat.widest", Part::Seat, extreme(seat, length, (0.50, 0.95), 1.0)),
            ("seat.waist", Part::Seat, extreme(seat, length, (0.10, 0.50), -1.0)),
        ];
        if let Some(channel) = channel {
            names.push(("channel.front", Part::Channel, at(0.15)));
            names.push(("channel.middle", Part::Channel, at(0.50)));
            names.push(("channel.rear", Part::Channel, at(0.85)));
            names.push(("channel.narrowest", Part::Channel, extreme(channel, length, (0.10, 0.90), -1.0)));
        }
        for (name, part, place) in names {
            let pair = if part == Part::Seat { Some(seat) } else { channel };
            let Some((pair, place)) = pair.zip(place) else { continue };
            let cut = plan.cut(subject, part, pair, place.station);
            plan.named.extend(cut.map(|c| (name, c, place)));
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
            rival_mm: cut.rival_mm,
        })
    };
    let sides = [side(0)?, side(1)?];
    cuts.push(Cut { part, station, sides });
    Some(cuts.len() - 1)
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
