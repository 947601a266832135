//! Room 5: stations, named widths, half-widths and front taper, each with its uncertainty budget.

pub mod extreme;
pub mod influence;
pub mod joint;
pub mod section;

use nalgebra::Vector2;

use crate::camera::fit::CameraFit;
use crate::numeric::uncertain::{combined_u, coverage_factor, effective_freedom};
use crate::numeric::words::{Part, SIDES, View};
use crate::outline::Outline;
use crate::outline::bisect::{BISECTED, robust_line};
use crate::outline::edge::TracedEdge;
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;
use extreme::{Extreme, extreme};
use influence::{Cut, CutSide, Influences, Inputs, line};
use section::{Located, locate_edge, section};

/// Coverage factor for 95 % of a normal distribution.
pub const COVERAGE: f64 = 1.96;
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

/// Combined standard uncertainty of a budget's lines, which are apart from one another.
pub fn combined(budget: &[(String, f64)]) -> f64 {
    let lines: Vec<f64> = budget.iter().map(|(_, u)| *u).collect();
    combined_u(&vec![1.0; lines.len()], &lines, None).unwrap_or(f64::NAN)
}

/// Points of nine rows about a section, 2 mm apart, less a parabola's three coefficients, on both sides.
const EDGE_FREEDOM: f64 = 12.0;
/// Measured points of the sides of the two tags that a card is accepted with at least, less its pose's six numbers.
const CORNERS_FREEDOM: f64 = 10.0;

/// Expanded uncertainty for 95 % of a budget, by the effective degrees of freedom of its lines (JCGM 100:2008, G.4): what
/// rests on scatter has few, all else is a stated assumption.
pub fn expanded(budget: &[(String, f64)]) -> f64 {
    let freedom = |name: &str| match name {
        line::EDGE => EDGE_FREEDOM,
        line::CORNERS => CORNERS_FREEDOM,
        _ => f64::INFINITY,
    };
    let parts: Vec<(f64, f64)> = budget.iter().map(|(name, u)| (*u, freedom(name))).collect();
    coverage_factor(effective_freedom(&parts), 0.95) * combined(budget)
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
    /// The named widths that a view should show and that could not be measured.
    pub fn missing(&self, view: View) -> Vec<&'static str> {
        let have = |name: &str| self.named.iter().any(|(n, _)| *n == name);
        view.named_widths().iter().copied().filter(|n| !have(n)).collect()
    }

    /// Expanded uncertainty of a named width, mm.
    pub fn u95(&self, name: &str) -> Option<f64> {
        self.named.iter().find(|(n, _)| *n == name).map(|(_, width)| expanded(&width.budget))
    }

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
    let plan = Plan::of(&[(subject, &taken)]);
    let (inputs, cuts) = (Inputs::of(subject), plan.cuts_of(0));
    let influences = Influences::of(&inputs, &cuts)?.with_lifts_between()?;
    Some(plan.widths(&influences, subject.midline, taken))
}

/// The section of a named width, for propagating distributions through it.
#[derive(Debug, Clone, Copy)]
pub struct NamedCut {
    /// Name of the width.
    pub name: &'static str,
    /// The section, at the station where the width was found.
    pub cut: Cut,
    /// How far an untraced stretch beside it may extend the width, mm.
    pub concealed_mm: f64,
}

/// The sections of the named widths, in the order of [`Widths::named`].
pub fn named_cuts(subject: &Subject) -> Vec<NamedCut> {
    let plan = Plan::of(&[(subject, &Taken::of(subject))]);
    let cuts = plan.cuts_of(0);
    let named = |&(name, place, found): &(&'static str, usize, Extreme)| NamedCut {
        name,
        cut: cuts[place],
        concealed_mm: found.concealed_mm,
    };
    plan.named.iter().map(named).collect()
}

/// What half-widths are, and how uncertain what is computed from them.
trait Answers {
    /// Left and right half-width at a place of the plan, mm.
    fn halves_mm(&self, place: usize) -> [f64; 2];
    /// Contributions to the standard uncertainty of a quantity, by name, from its derivative by each half-width; with the
    /// quantity itself where it is a length, mm.
    fn budget(&self, gradient: &[(usize, [f64; 2])], length_mm: Option<f64>) -> Vec<(String, f64)>;
}

impl Answers for Influences<'_> {
    fn halves_mm(&self, place: usize) -> [f64; 2] {
        self.base[place]
    }

    fn budget(&self, gradient: &[(usize, [f64; 2])], length_mm: Option<f64>) -> Vec<(String, f64)> {
        self.budget(gradient, length_mm)
    }
}

/// The traced edges located about the midline.
#[derive(Clone)]
struct Taken {
    seat: LocatedPair,
    channel: Option<LocatedPair>,
}

impl Taken {
    fn of(subject: &Subject) -> Self {
        let locate = |edges: &[TracedEdge; 2], lift: &LiftProfile| {
            [0, 1].map(|i| locate_edge(&subject.fit.camera, subject.midline, lift, SIDES[i], &edges[i]))
        };
        let seat = locate(&subject.outline.seat, subject.seat_lift);
        let channel = subject.outline.channel.as_ref().map(|c| locate(c, subject.channel_lift));
        Self { seat, channel }
    }

    fn pair(&self, part: Part) -> Option<&LocatedPair> {
        if part == Part::Seat { Some(&self.seat) } else { self.channel.as_ref() }
    }
}

impl<'a> Inputs<'a> {
    /// The inputs of a subject's widths.
    pub fn of(subject: &Subject<'a>) -> Self {
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

/// The halves of a sound saddle differ by up to this, mm (common practice, no source).
const EVEN_MM: f64 = 6.0;

/// Difference of the halves beyond a sound saddle's, mm.
pub fn excess_mm(halves_mm: [f64; 2]) -> f64 {
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

/// Where a saddle is cut, in one photo of it or in several, and for what.
struct Plan {
    /// Each place's cut in every photo; none where a photo does not show both of its edges, and at least one.
    places: Vec<Vec<Option<Cut>>>,
    /// Station, and the places of seat and channel there.
    stations: Vec<(f64, Option<usize>, Option<usize>)>,
    /// Name, place, and how it was found.
    named: Vec<(&'static str, usize, Extreme)>,
    taper: Vec<usize>,
}

/// Stations of the front taper's straight lines: every 0.025 over 0.05 to 0.25.
const TAPER_STATIONS: usize = 9;
/// With fewer of them no line is laid.
const LEAST_TAPER_STATIONS: usize = 5;

impl Plan {
    /// The plan of photos that show the saddle about one midline.
    fn of(photos: &[(&Subject, &Taken)]) -> Self {
        let mut plan =
            Self { places: Vec::new(), stations: Vec::new(), named: Vec::new(), taper: Vec::new() };
        for station in set_stations() {
            let [seat, channel] = [Part::Seat, Part::Channel].map(|part| plan.place(photos, part, station));
            plan.stations.push((station, seat, channel));
        }
        for i in 0..TAPER_STATIONS {
            let station = 0.05 + 0.2 * i as f64 / (TAPER_STATIONS - 1) as f64;
            let place = plan.place(photos, Part::Seat, station);
            plan.taper.extend(place);
        }
        let at = |station: f64| Some(Extreme { station, station_u: None, concealed_mm: 0.0 });
        let found = |part: Part, range: (f64, f64), sign: f64| {
            let in_photo = |(subject, taken): &(&Subject, &Taken)| {
                extreme(taken.pair(part)?, subject.midline.length_mm(), range, sign)
            };
            Extreme::agreed(&photos.iter().filter_map(in_photo).collect::<Vec<_>>())
        };
        for (name, part, place) in [
            ("seat.widest", Part::Seat, found(Part::Seat, (0.50, 0.95), 1.0)),
            ("seat.waist", Part::Seat, found(Part::Seat, (0.10, 0.50), -1.0)),
            ("channel.front", Part::Channel, at(0.15)),
            ("channel.middle", Part::Channel, at(0.50)),
            ("channel.rear", Part::Channel, at(0.85)),
            ("channel.narrowest", Part::Channel, found(Part::Channel, (0.10, 0.90), -1.0)),
        ] {
            let cut =
                place.and_then(|extreme| Some((name, plan.place(photos, part, extreme.station)?, extreme)));
            plan.named.extend(cut);
        }
        plan
    }

    /// Cuts a part at a station; the place where a photo shows it.
    fn place(&mut self, photos: &[(&Subject, &Taken)], part: Part, station: f64) -> Option<usize> {
        let cut = |(subject, taken): &(&Subject, &Taken)| cut_at(subject, part, taken.pair(part)?, station);
        let mut cuts: Vec<Option<Cut>> = photos.iter().map(cut).collect();
        share_slopes(&mut cuts);
        cuts.iter().any(Option::is_some).then(|| {
            self.places.push(cuts);
            self.places.len() - 1
        })
    }

    /// The cuts of one of the photos, in the order of the places that it shows.
    fn cuts_of(&self, photo: usize) -> Vec<Cut> {
        self.places.iter().filter_map(|cuts| cuts[photo]).collect()
    }

    /// The station of a place.
    fn station(&self, place: usize) -> f64 {
        self.places[place].iter().flatten().next().map_or(f64::NAN, |cut| cut.station)
    }

    /// Every width of the plan.
    fn widths(&self, answers: &dyn Answers, midline: &Midline, taken: Taken) -> Widths {
        let width = |place: usize| self.width(answers, place);
        let named = |&(name, place, how): &(&'static str, usize, Extreme)| {
            (name, MeasuredWidth { station_u: how.station_u, ..beside(width(place), how.concealed_mm) })
        };
        let tapers = self.taper.len() >= LEAST_TAPER_STATIONS;
        Widths {
            stations: self.stations.iter().map(|&(s, a, b)| (s, a.map(width), b.map(width))).collect(),
            named: self.named.iter().map(named).collect(),
            front_taper_deg: tapers.then(|| self.front_taper(answers, midline)),
            seat: taken.seat,
            channel: taken.channel,
        }
    }

    /// The width at a place with its budget, and with what uneven halves say.
    fn width(&self, answers: &dyn Answers, place: usize) -> MeasuredWidth {
        let halves_mm = answers.halves_mm(place);
        let mm = halves_mm[0] + halves_mm[1];
        let budget = answers.budget(&[(place, [1.0, 1.0])], Some(mm));
        with_unevenness(MeasuredWidth {
            station: self.station(place),
            station_u: None,
            mm,
            halves_mm,
            budget,
        })
    }

    /// Full angle between straight lines through the left and right half-widths over the front, degrees.
    fn front_taper(&self, answers: &dyn Answers, midline: &Midline) -> Quantity {
        let length = midline.length_mm();
        let along: Vec<f64> = self.taper.iter().map(|&place| self.station(place) * length).collect();
        let mean = along.iter().sum::<f64>() / along.len() as f64;
        let spread: f64 = along.iter().map(|a| (a - mean).powi(2)).sum();
        let slopes: [f64; 2] = [0, 1].map(|side| {
            let parts =
                self.taper.iter().zip(&along).map(|(&place, a)| (a - mean) * answers.halves_mm(place)[side]);
            parts.sum::<f64>() / spread
        });
        let by = |a: &f64| slopes.map(|slope| ((a - mean) / spread / (1.0 + slope.powi(2))).to_degrees());
        let gradient: Vec<(usize, [f64; 2])> =
            self.taper.iter().zip(&along).map(|(&place, a)| (place, by(a))).collect();
        let value = slopes.iter().map(|slope| slope.atan()).sum::<f64>().to_degrees();
        Quantity { value, budget: answers.budget(&gradient, None) }
    }
}

/// The edge is one, and so is its slope: what the photos' slopes differ by is noise, and would pass for parallax.
fn share_slopes(cuts: &mut [Option<Cut>]) {
    let count = cuts.iter().flatten().count().max(1) as f64;
    let mean = [0, 1].map(|side| cuts.iter().flatten().map(|cut| cut.sides[side].slope).sum::<f64>() / count);
    for cut in cuts.iter_mut().flatten() {
        cut.sides.iter_mut().zip(mean).for_each(|(side, slope)| side.slope = slope);
    }
}

fn cut_at(subject: &Subject, part: Part, pair: &LocatedPair, station: f64) -> Option<Cut> {
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
    Some(Cut { part, station, sides: [side(0)?, side(1)?] })
}
