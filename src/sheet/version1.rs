//! Sheets of version 1. They give the size of each influence on each named width, and neither signs nor scopes; what they
//! leave open is guessed here and nowhere else.

use super::lines::EdgePair;
use super::types::{SCHEMA, Sheet};
use super::widths::{StationWidth, Width};
use crate::numeric::words::{NamedWidth, Pair, Part};
use crate::outline::midline::{GIVEN_END_U_MM, GIVEN_ENDS};
use crate::width::COVERAGE;
use crate::width::influence::Influence;
use crate::width::influences::{Influences, MeasuredPlace, SharedError};

/// A sheet of version 1 as one of the current version.
pub(super) fn upgraded(mut sheet: Sheet) -> Sheet {
    sheet.schema = SCHEMA.into();
    for i in 0..sheet.widths.len() {
        let halves = halves_of(&sheet, &sheet.widths[i]);
        let width = &mut sheet.widths[i];
        (width.left_half, width.right_half) = (halves.map(|h| h.left), halves.map(|h| h.right));
    }
    sheet.influences = (!sheet.widths.is_empty()).then(|| guessed_influences(&sheet));
    sheet
}

/// The influences on a sheet that gives budgets alone. Guessed are:
/// - print scale: every half-width is wrong in proportion;
/// - piping: every edge is shifted outwards alike;
/// - heights: every width is wrong in proportion, and where the camera looks aslant both edges move to one side by the
///   tangent of the steepest angle that the photo allows;
/// - the midline's ends were pointed at by hand: they shift one half to the other;
/// - all other influences, whose signs nothing gives, are each edge's own, and fade along it.
///
/// A station has the influences of the nearest named width of its edges, in proportion to its uncertainty.
pub fn guessed_influences(sheet: &Sheet) -> Influences {
    let stations = sheet.stations.iter().flat_map(|station| {
        let each = [(Part::Seat, &station.seat), (Part::Channel, &station.channel)];
        each.into_iter()
            .filter_map(|(part, width)| Some(of_station(sheet, part, station.at, width.as_ref()?)))
    });
    let places: Vec<Guessed> = stations.chain(sheet.widths.iter().map(|w| of_width(sheet, w))).collect();
    let length_mm = sheet.midline.as_ref().map_or(USUAL_LENGTH_MM, |m| m.length_mm);
    let mut influences = Influences::at(places.iter().map(|p| p.place).collect(), length_mm);
    influences.guessed = true;
    let shared = |from: Influence, number: usize, effect: &dyn Fn(&Guessed) -> Pair<f64>| {
        SharedError::new(from, number, &places.iter().map(effect).collect::<Vec<_>>())
    };
    let in_proportion = |p: &Guessed, from: Influence| p.halves.times(p.u_from(from) * p.a_millimetre());
    let aside = |mm: f64| Pair { left: mm, right: -mm };
    let print = shared(Influence::PrintScale, 0, &|p| in_proportion(p, Influence::PrintScale));
    let print_length_mm = places.first().map_or(0.0, |p| p.u_from(Influence::PrintScale) * p.a_millimetre());
    influences.shared = vec![
        print.with_length(print_length_mm * length_mm),
        shared(Influence::PipingDefinition, 0, &|p| Pair::both(p.u_from(Influence::PipingDefinition) / 2.0)),
        shared(Influence::Height, 0, &|p| in_proportion(p, Influence::Height)),
        shared(Influence::Height, 1, &|p| aside(aslant_mm(sheet, p))),
        shared(Influence::MidlineDirection, 0, &|p| aside(GIVEN_END_U_MM * (1.0 - p.place.at))),
        shared(Influence::MidlineDirection, 1, &|p| aside(GIVEN_END_U_MM * p.place.at)),
    ];
    for (number, [.., front, rear]) in GIVEN_ENDS[2..].iter().enumerate() {
        let still = shared(Influence::StationPosition, number, &|_| Pair::both(0.0));
        influences.shared.push(still.with_ends_along([*front, *rear]));
    }
    const SIGNED: [Influence; 3] = [Influence::PrintScale, Influence::PipingDefinition, Influence::Height];
    let mut others: Vec<Influence> = places.iter().flat_map(|p| p.lines.iter().map(|l| l.0)).collect();
    others.sort();
    others.dedup();
    for from in others.into_iter().filter(|from| !SIGNED.contains(from)) {
        let own = |p: &Guessed| Pair::both(p.u_from(from) / std::f64::consts::SQRT_2);
        influences.add_own(from, &places.iter().map(own).collect::<Vec<_>>());
    }
    influences
}

/// Length of a midline where the sheet has none, mm; it only sets how errors fade.
const USUAL_LENGTH_MM: f64 = 430.0;

/// A place with its half-widths and the influences on their sum, mm.
struct Guessed {
    place: MeasuredPlace,
    halves: Pair<f64>,
    lines: Vec<(Influence, f64)>,
}

impl Guessed {
    fn u_from(&self, from: Influence) -> f64 {
        self.lines.iter().filter(|l| l.0 == from).map(|l| l.1 * l.1).sum::<f64>().sqrt()
    }

    /// Part of the width that a millimetre is; 0 where there is no width.
    fn a_millimetre(&self) -> f64 {
        if self.halves.sum() > 0.0 { 1.0 / self.halves.sum() } else { 0.0 }
    }
}

fn of_width(sheet: &Sheet, width: &Width) -> Guessed {
    let place = MeasuredPlace { part: width.name.part(), at: width.at, name: Some(width.name) };
    let halves = halves_of(sheet, width).unwrap_or(Pair::both(width.mm / 2.0));
    Guessed {
        place,
        halves,
        lines: lines_of(sheet, Some(width.name), width.u.unwrap_or(width.u95 / COVERAGE)),
    }
}

fn of_station(sheet: &Sheet, part: Part, at: f64, width: &StationWidth) -> Guessed {
    let nearest = sheet.widths.iter().filter(|w| w.name.part() == part);
    let nearest = nearest.min_by(|a, b| (a.at - at).abs().total_cmp(&(b.at - at).abs()));
    let halves = Pair { left: width.left_half, right: width.right_half };
    let lines = lines_of(sheet, nearest.map(|w| w.name), width.u95 / COVERAGE);
    Guessed { place: MeasuredPlace { part, at, name: None }, halves, lines }
}

/// The budget of a named width in proportion to a standard uncertainty.
fn lines_of(sheet: &Sheet, name: Option<NamedWidth>, u: f64) -> Vec<(Influence, f64)> {
    let lines: Vec<_> = sheet.budget.iter().filter(|l| Some(l.of) == name).map(|l| (l.from, l.u)).collect();
    let total = lines.iter().map(|l| l.1 * l.1).sum::<f64>().sqrt();
    match total > 0.0 && total.is_finite() {
        true => lines.into_iter().map(|(from, part)| (from, part * u / total)).collect(),
        false => vec![(Influence::Other, u)],
    }
}

/// Sideways shift of an edge when its height is wrong by one standard uncertainty, mm. The height's uncertainty follows
/// from that of the width (`W u_h / distance`); the slant is at most the camera's tilt and the angle of the midline's
/// ends from its axis.
fn aslant_mm(sheet: &Sheet, place: &Guessed) -> f64 {
    let u_mm = place.u_from(Influence::Height);
    let Some(camera) = &sheet.camera else { return u_mm };
    let height_u = u_mm * camera.height_mm * place.a_millimetre();
    let off_axis = sheet.midline.as_ref().zip(sheet.photos.first()).map_or(0.5, |(m, p)| {
        let centre = [f64::from(p.width_px) / 2.0, f64::from(p.height_px) / 2.0];
        let far = |e: [f64; 2]| (e[0] - centre[0]).hypot(e[1] - centre[1]) / camera.focal_px;
        far(m.front_px).max(far(m.rear_px)).atan()
    });
    height_u * (camera.tilt_deg.to_radians() + off_axis).min(STEEPEST_RAD).tan()
}

/// Beyond this the bound is useless; no such photo is measured.
const STEEPEST_RAD: f64 = 1.3;

/// The halves of a named width, from the traced points next to it; `None` where there are none.
fn halves_of(sheet: &Sheet, width: &Width) -> Option<Pair<f64>> {
    let edges = sheet.edges.as_ref()?;
    let pair = if width.name.part() == Part::Seat { edges.seat.as_ref() } else { edges.channel.as_ref() };
    let EdgePair { left, right } = pair?;
    let near = |rows: &[[f64; 3]]| {
        let row = rows.iter().min_by(|a, b| (a[0] - width.at).abs().total_cmp(&(b[0] - width.at).abs()))?;
        ((row[0] - width.at).abs() < REACH).then_some(row[1])
    };
    let halves = Pair { left: near(left)?, right: near(right)? };
    (halves.sum() > 0.0).then(|| halves.times(width.mm / halves.sum()))
}

/// A traced point this near along the midline gives the halves.
const REACH: f64 = 0.03;
