//! Stations, named widths, half-widths and front taper, each with its uncertainty budget.

pub mod cuts;
pub mod extreme;
pub mod influence;
pub mod influences;
pub mod joint;
pub mod response;
pub mod rivals;
pub mod section;

use nalgebra::Vector2;

use crate::numeric::words::{NamedWidth, Pair, Part, SIDES, View};
use crate::outline::Outline;
use crate::outline::bisect::{BISECTED, robust_line};
use crate::outline::edge::TracedEdge;
use crate::outline::lift::LiftProfile;
pub use crate::outline::midline::GIVEN_END_U_MM;
use cuts::CutPlan;
pub use cuts::set_stations;
use influence::Budget;
use influences::Influences;
use response::Inputs;
use section::{LocatedPoint, locate_edge};

/// Coverage factor for 95 % of a normal distribution.
pub const COVERAGE: f64 = 1.96;
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
    /// Half-widths, mm.
    pub halves_mm: Pair<f64>,
    /// Contributions to the width's standard uncertainty, mm.
    pub budget: Budget,
}

/// A quantity with a budget.
#[derive(Debug, Clone)]
pub struct MeasuredQuantity {
    /// Its value.
    pub value: f64,
    /// Contributions to its standard uncertainty.
    pub budget: Budget,
}

/// The traced points of a part in millimetres, left and right.
pub type LocatedPair = [Vec<Option<LocatedPoint>>; 2];

/// All widths of a saddle.
#[derive(Debug, Clone)]
pub struct Widths {
    /// The set stations: seat and channel, `None` where not traced.
    pub stations: Vec<(f64, Option<MeasuredWidth>, Option<MeasuredWidth>)>,
    /// The named widths that could be measured.
    pub named: Vec<(NamedWidth, MeasuredWidth)>,
    /// Front taper, degrees.
    pub front_taper_deg: Option<MeasuredQuantity>,
    /// Traced points of the seat.
    pub seat: LocatedPair,
    /// Traced points of the channel.
    pub channel: Option<LocatedPair>,
    /// Every influence on the half-widths.
    pub influences: Influences,
}

impl Widths {
    /// The named widths that a view should show and that could not be measured.
    pub fn missing(&self, view: View) -> Vec<NamedWidth> {
        let have = |name: NamedWidth| self.named.iter().any(|(n, _)| *n == name);
        view.named_widths().iter().copied().filter(|n| !have(*n)).collect()
    }

    /// Expanded uncertainty of a named width, mm.
    pub fn u95(&self, name: NamedWidth) -> Option<f64> {
        self.named.iter().find(|(n, _)| *n == name).map(|(_, width)| width.budget.u95())
    }

    /// Largest difference between the halves of a named width, mm, about the straight midline that suits the seat best: ends
    /// pointed at beside the middle make halves uneven, and the widths hardly worse.
    pub fn most_uneven_mm(&self) -> f64 {
        let middle_mm = |w: &MeasuredWidth| 0.5 * w.halves_mm.difference();
        let along_seat = self.stations.iter().filter(|(s, ..)| (BISECTED.0..=BISECTED.1).contains(s));
        let middles: Vec<Vector2<f64>> =
            along_seat.filter_map(|(s, seat, _)| Some(Vector2::new(*s, middle_mm(seat.as_ref()?)))).collect();
        let line = robust_line(&middles).unwrap_or_default();
        let [front, rear] = [line.x, line.x + line.y].map(|mm| mm.clamp(-MOST_END_SLIP_MM, MOST_END_SLIP_MM));
        let uneven = |w: &MeasuredWidth| 2.0 * (middle_mm(w) - front - (rear - front) * w.station);
        self.named.iter().map(|(_, w)| uneven(w).abs()).fold(0.0, f64::max)
    }
}

/// An end given by hand is within this of the middle, mm (a stated assumption).
const MOST_END_SLIP_MM: f64 = 15.0;

/// What widths are measured from.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    /// All but the edges.
    pub inputs: Inputs<'a>,
    /// The traced edges.
    pub outline: &'a Outline,
}

/// Measures everything that the traced edges give; no named width where they give none. `None` where an edge cannot be
/// projected through a perturbed camera.
pub fn measure_widths(subject: &Subject) -> Option<Widths> {
    let edges = LocatedEdges::of(subject);
    let plan = CutPlan::of(&[(subject, &edges)]);
    let (halves, influences) = subject.inputs.influences(&plan.cuts_of(0), plan.places.clone())?;
    Some(plan.widths(&halves, influences, subject.inputs.midline, edges))
}

/// The traced edges located about the midline.
#[derive(Clone)]
struct LocatedEdges {
    seat: LocatedPair,
    channel: Option<LocatedPair>,
}

impl LocatedEdges {
    fn of(subject: &Subject) -> Self {
        let Inputs { fit, midline, seat_lift, channel_lift, .. } = subject.inputs;
        let locate = |edges: &[TracedEdge; 2], lift: &LiftProfile| {
            [0, 1].map(|i| locate_edge(&fit.camera, midline, lift, SIDES[i], &edges[i]))
        };
        let seat = locate(&subject.outline.seat, seat_lift);
        let channel = subject.outline.channel.as_ref().map(|c| locate(c, channel_lift));
        Self { seat, channel }
    }

    fn pair(&self, part: Part) -> Option<&LocatedPair> {
        if part == Part::Seat { Some(&self.seat) } else { self.channel.as_ref() }
    }
}
