//! Where a saddle is cut, in one photo of it or in several, and what is computed from the cuts.

use super::extreme::{Extreme, extreme};
use super::influence::Influence;
use super::influences::{Gradient, Influences, MeasuredPlace};
use super::response::{Cut, CutSide, Halves};
use super::section::section;
use super::{LEAST_CONFIDENCE, LocatedEdges, MeasuredQuantity, MeasuredWidth, Subject, Widths};
use crate::numeric::words::{NamedWidth, Pair, Part, SIDES, Side};
use crate::outline::midline::Midline;

/// The set stations: every 0.05 from 0.05 to 0.95.
pub fn set_stations() -> impl Iterator<Item = f64> {
    (1..=19).map(|i| f64::from(i) * 0.05)
}

/// Weights of the front taper's nine stations. The front taper is defined by straight lines through 41 stations, every 0.005
/// from 0.05 to 0.25; Simpson's rule gives the same from every fifth, with half a step of the 41 more at both ends. Equal
/// weights make it 1.8 degrees too wide, because the outline is most curved at the front.
const TAPER_WEIGHTS: [f64; 9] = {
    const STEP: f64 = 0.025 / 3.0;
    const END: f64 = STEP + 0.005 / 2.0;
    [END, 4.0 * STEP, 2.0 * STEP, 4.0 * STEP, 2.0 * STEP, 4.0 * STEP, 2.0 * STEP, 4.0 * STEP, END]
};

/// The stations of the front taper.
pub fn taper_stations() -> impl Iterator<Item = f64> {
    (0..TAPER_WEIGHTS.len()).map(|i| 0.05 + 0.025 * i as f64)
}

/// Cuts of a saddle, and what each is for.
pub(super) struct CutPlan {
    /// Each place's cut in every photo; none where a photo does not show both of its edges, and at least one.
    pub cuts: Vec<Vec<Option<Cut>>>,
    /// The places.
    pub places: Vec<MeasuredPlace>,
    /// The named widths: place, and how the extreme was found.
    pub named: Vec<(NamedWidth, usize, Extreme)>,
}

impl CutPlan {
    /// The cuts of photos that show the saddle about one midline.
    pub fn of(photos: &[(&Subject, &LocatedEdges)]) -> Self {
        let mut plan = Self { cuts: Vec::new(), places: Vec::new(), named: Vec::new() };
        for station in set_stations() {
            plan.place(photos, MeasuredPlace { part: Part::Seat, at: station, name: None });
            plan.place(photos, MeasuredPlace { part: Part::Channel, at: station, name: None });
        }
        // Every other station of the taper is a set one.
        for station in taper_stations().skip(1).step_by(2) {
            plan.place(photos, MeasuredPlace { part: Part::Seat, at: station, name: None });
        }
        for name in NamedWidth::ALL {
            let found = match name {
                NamedWidth::SeatWidest => extreme_in(photos, name.part(), (0.50, 0.95), 1.0),
                NamedWidth::SeatWaist => extreme_in(photos, name.part(), (0.10, 0.50), -1.0),
                NamedWidth::ChannelFront => Some(Extreme::set(0.15)),
                NamedWidth::ChannelMiddle => Some(Extreme::set(0.50)),
                NamedWidth::ChannelRear => Some(Extreme::set(0.85)),
                NamedWidth::ChannelNarrowest => extreme_in(photos, name.part(), (0.10, 0.90), -1.0),
            };
            let Some(extreme) = found else { continue };
            let place = MeasuredPlace { part: name.part(), at: extreme.station, name: Some(name) };
            if let Some(place) = plan.place(photos, place) {
                plan.named.push((name, place, extreme));
            }
        }
        plan
    }

    /// Cuts a part at a station; the index of the place where a photo shows it.
    fn place(&mut self, photos: &[(&Subject, &LocatedEdges)], place: MeasuredPlace) -> Option<usize> {
        let mut cuts: Vec<Option<Cut>> =
            photos.iter().map(|(subject, edges)| cut_at(subject, edges, place)).collect();
        share_slopes(&mut cuts);
        cuts.iter().any(Option::is_some).then(|| {
            self.cuts.push(cuts);
            self.places.push(place);
            self.places.len() - 1
        })
    }

    /// The cuts of one of the photos, in the order of the places that it shows.
    pub fn cuts_of(&self, photo: usize) -> Vec<Cut> {
        self.cuts.iter().filter_map(|cuts| cuts[photo]).collect()
    }

    /// Every width of the plan, from the half-widths at its places and what makes them uncertain.
    pub fn widths(
        &self,
        halves: &Halves,
        mut influences: Influences,
        midline: &Midline,
        edges: LocatedEdges,
    ) -> Widths {
        // A rectangular distribution, half of its variance on either side.
        let on_both = |mm: f64| Pair::both(mm / 3.0_f64.sqrt() / std::f64::consts::SQRT_2);
        let mut hidden = vec![Pair::both(0.0); halves.len()];
        self.named.iter().for_each(|(_, place, extreme)| hidden[*place] = on_both(extreme.concealed_mm));
        let uneven: Vec<_> = halves.iter().map(|half| on_both(excess_mm(*half))).collect();
        influences.add_own(Influence::HiddenStretch, &hidden);
        influences.add_own(Influence::UnevenHalves, &uneven);
        let width = |place: usize| MeasuredWidth {
            station: self.places[place].at,
            station_u: None,
            mm: halves[place].sum(),
            halves_mm: halves[place],
            budget: influences.budget(&[(place, Pair::both(1.0))]),
        };
        let station = |part: Part, at: f64| influences.station(part, at).map(width);
        let named = |&(name, place, how): &(NamedWidth, usize, Extreme)| {
            (name, MeasuredWidth { station_u: how.station_u, ..width(place) })
        };
        let front_taper_deg = front_taper(&influences, midline.length_mm(), halves);
        Widths {
            stations: set_stations()
                .map(|s| (s, station(Part::Seat, s), station(Part::Channel, s)))
                .collect(),
            named: self.named.iter().map(named).collect(),
            front_taper_deg,
            seat: edges.seat,
            channel: edges.channel,
            influences,
        }
    }
}

/// The section of a named width, for propagating distributions through it.
#[derive(Debug, Clone, Copy)]
pub struct NamedCut {
    /// The section, at the station where the width was found.
    pub cut: Cut,
    /// How far an untraced stretch beside it may extend the width, mm.
    pub concealed_mm: f64,
}

/// The sections of the named widths, in the order of [`Widths::named`].
pub fn named_cuts(subject: &Subject) -> Vec<NamedCut> {
    let plan = CutPlan::of(&[(subject, &LocatedEdges::of(subject))]);
    let cuts = plan.cuts_of(0);
    let named = |&(_, place, found): &(NamedWidth, usize, Extreme)| NamedCut {
        cut: cuts[place],
        concealed_mm: found.concealed_mm,
    };
    plan.named.iter().map(named).collect()
}

/// A half-width's part in the slope of its edge's straight line over the front: the place, and the slope's derivative, 1/mm.
/// `None` where not every station was traced.
fn taper_slope(influences: &Influences, length_mm: f64) -> Option<Vec<(usize, f64)>> {
    let place = |at: f64| influences.station(Part::Seat, at);
    let places: Vec<usize> = taper_stations().map(place).collect::<Option<_>>()?;
    let along: Vec<f64> = taper_stations().map(|at| at * length_mm).collect();
    let weighted = |values: &[f64]| TAPER_WEIGHTS.iter().zip(values).map(|(w, v)| w * v).sum::<f64>();
    let mean = weighted(&along) / TAPER_WEIGHTS.iter().sum::<f64>();
    let off: Vec<f64> = along.iter().map(|a| a - mean).collect();
    let spread = weighted(&off.iter().map(|a| a * a).collect::<Vec<_>>());
    Some(places.into_iter().zip(TAPER_WEIGHTS.iter().zip(off).map(|(w, a)| w * a / spread)).collect())
}

/// Full angle between straight lines through the left and right half-widths over the front, degrees.
fn front_taper(influences: &Influences, length_mm: f64, halves: &Halves) -> Option<MeasuredQuantity> {
    let parts = taper_slope(influences, length_mm)?;
    let slopes = Pair::of(|side| parts.iter().map(|&(place, by)| by * halves[place][side]).sum::<f64>());
    let gradient = taper_gradient(influences, length_mm, slopes)?;
    let value = slopes.iter().map(|slope| slope.atan()).sum::<f64>().to_degrees();
    Some(MeasuredQuantity { value, budget: influences.budget(&gradient) })
}

/// Derivatives of the front taper by the half-widths, degrees a millimetre, where both lines have these slopes. `None` where
/// not every station was traced.
pub fn taper_gradient(influences: &Influences, length_mm: f64, slopes: Pair<f64>) -> Option<Gradient> {
    let angle = |by: f64| Pair::of(|side| (by / (1.0 + slopes[side].powi(2))).to_degrees());
    Some(taper_slope(influences, length_mm)?.into_iter().map(|(place, by)| (place, angle(by))).collect())
}

/// The halves of a sound saddle differ by up to this, mm (common practice, no source).
const EVEN_MM: f64 = 6.0;

/// By how much halves differ beyond a sound saddle's, mm: one side may be traced wrongly by the rest.
pub fn excess_mm(halves_mm: Pair<f64>) -> f64 {
    (halves_mm.difference().abs() - EVEN_MM).max(0.0)
}

/// The greatest (`sign` +1) or least (-1) width of a range, as the photos agree on it.
fn extreme_in(
    photos: &[(&Subject, &LocatedEdges)],
    part: Part,
    range: (f64, f64),
    sign: f64,
) -> Option<Extreme> {
    let in_photo = |(subject, edges): &(&Subject, &LocatedEdges)| {
        extreme(edges.pair(part)?, subject.inputs.midline.length_mm(), range, sign)
    };
    Extreme::agreed(&photos.iter().filter_map(in_photo).collect::<Vec<_>>())
}

/// The edge is one, and so is its slope: differences between the photos' slopes are noise, and would pass for parallax.
fn share_slopes(cuts: &mut [Option<Cut>]) {
    let count = cuts.iter().flatten().count().max(1) as f64;
    let mean = Pair::of(|side| cuts.iter().flatten().map(|cut| cut.sides[side].slope).sum::<f64>() / count);
    for cut in cuts.iter_mut().flatten() {
        SIDES.iter().for_each(|&side| cut.sides[side].slope = mean[side]);
    }
}

fn cut_at(subject: &Subject, edges: &LocatedEdges, place: MeasuredPlace) -> Option<Cut> {
    let MeasuredPlace { part, at: station, .. } = place;
    let lift = if part == Part::Seat { subject.inputs.seat_lift } else { subject.inputs.channel_lift };
    let pair = edges.pair(part)?;
    let cut_side = |side: Side| {
        let cut =
            section(&pair[usize::from(side == Side::Right)], station, subject.inputs.midline.length_mm())?;
        let at = subject.inputs.midline.point(station, cut.half_width_mm, side, lift.at_mm(station));
        let pixel = subject.inputs.fit.camera.photo_from_card(at)?;
        (cut.confidence >= LEAST_CONFIDENCE).then_some(CutSide {
            pixel,
            slope: cut.slope,
            u_mm: cut.u_mm,
            doubt_mm: cut.doubt_mm,
        })
    };
    Some(Cut { part, station, sides: Pair::try_of(cut_side)? })
}
