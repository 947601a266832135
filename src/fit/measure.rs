//! The value of an expression on the sheets of a saddle, with its uncertainty.
//!
//! Widths at stations are interpolated between the set stations, and their errors with them.

use super::expr::{Field, Node, WidthEdges, WidthPlace};
use super::fields::{Fields, Missing};
use super::quantity::{Cause, Quantity};
use super::seen::Seen;
use crate::instruction::give_heights;
use crate::numeric::words::{NamedWidth, Pair};
use crate::outline::lift::{LiftProfile, RULER_U_MM};
use crate::sheet::{LiftSource, Part, RivalRecord, Sheet, Side, View};
use crate::width::COVERAGE;
use crate::width::cuts::taper_gradient;
use crate::width::influence::Influence;
use crate::width::influences::Gradient;

/// The sheets of one saddle and what is known of rider and horse.
#[derive(Debug, Clone, Copy)]
pub struct FitSubject<'a> {
    /// Seen from above.
    pub top: Option<&'a Sheet>,
    /// Seen from below.
    pub underside: Option<&'a Sheet>,
    /// Rider and horse.
    pub fields: &'a Fields,
}

/// A height between two places further apart than this part of the midline is not known: with five places, as measuring
/// asks for, none are.
const LIFT_REACH: f64 = 0.4;
/// Past the first or last place a height is held for this part of the midline, no further.
const LIFT_HOLD: f64 = 0.05;

impl<'a> FitSubject<'a> {
    /// The value of an expression.
    ///
    /// # Errors
    /// Why it is not known.
    pub fn value(&self, node: &Node) -> Result<Quantity, Missing> {
        let q = match node {
            Node::Number(x, _) => Quantity::exact(*x),
            Node::Fingers(n) => self.fields.get(Field::Finger)?.scaled(*n),
            Node::Width(place) => self.width(place)?,
            Node::Half(side, place) => self.half(*side, place)?,
            Node::At(name) => station_of(&self.sheet_of(*name)?, *name)?,
            Node::Lift(station) => {
                let sheet = self.top()?;
                lift(&sheet, &self.value(station)?)?
            }
            Node::Taper => taper(&self.top()?)?,
            Node::Length => length(&self.top()?)?,
            Node::PanelArea => panel_area(&self.underside()?)?,
            Node::Field(field) => self.fields.get(*field)?,
            Node::Minus(inner) => self.value(inner)?.scaled(-1.0),
            Node::Join(a, sign, b) => {
                let (a, b) = (self.value(a)?, self.value(b)?);
                match sign {
                    '+' => a.plus(&b),
                    '-' => a.minus(&b),
                    '*' => a.times(&b),
                    _ => a.over(&b),
                }
            }
        };
        if q.value.is_finite() && q.u().is_finite() {
            Ok(q)
        } else {
            Err("it comes to no finite number".into())
        }
    }

    fn top(&self) -> Result<Seen<'a>, Missing> {
        Seen::of(self.top.ok_or("no sheet of the saddle from above")?)
    }

    fn underside(&self) -> Result<Seen<'a>, Missing> {
        Seen::of(self.underside.ok_or("no sheet of the saddle's underside")?)
    }

    fn sheet_of(&self, name: NamedWidth) -> Result<Seen<'a>, Missing> {
        if name.part() == Part::Seat { self.top() } else { self.underside() }
    }

    fn on(&self, outline: WidthEdges) -> Result<Seen<'a>, Missing> {
        if outline == WidthEdges::Seat { self.top() } else { self.underside() }
    }

    fn width(&self, place: &WidthPlace) -> Result<Quantity, Missing> {
        self.linear(place, Pair::both(1.0))
    }

    fn half(&self, side: Side, place: &WidthPlace) -> Result<Quantity, Missing> {
        self.linear(place, Pair::of(|s| f64::from(u8::from(s == side))))
    }

    /// The halves at a place, each times its weight.
    fn linear(&self, place: &WidthPlace, weights: Pair<f64>) -> Result<Quantity, Missing> {
        match place {
            WidthPlace::Named(name) => at_named(&self.sheet_of(*name)?, *name, weights),
            WidthPlace::Station(outline, station) => {
                at_station(&self.on(*outline)?, outline.part(), &self.value(station)?, weights)
            }
        }
    }
}

fn at_named(seen: &Seen, name: NamedWidth, weights: Pair<f64>) -> Result<Quantity, Missing> {
    let unmeasured = || format!("{name} was not measured");
    let width = seen.sheet.width(name).ok_or_else(unmeasured)?;
    let place = seen.influences.named(name).ok_or_else(unmeasured)?;
    let value = match (weights.left == weights.right, width.left_half.zip(width.right_half)) {
        (true, _) => weights.left * width.mm,
        (false, Some((left, right))) => weights.dot(Pair { left, right }),
        (false, None) => return Err(format!("the halves of {name} are not known")),
    };
    let moves = seen.sheet.rivals.iter().flat_map(|rival| {
        let named = rival.widths.iter().filter(|w| w.name == name);
        named.map(|w| 0.5 * (w.mm - width.mm) * share(rival.side, weights))
    });
    Ok(with_other_line(seen, seen.quantity(value, &[(place, weights)]), name.as_str(), moves))
}

/// What a change of one side's half, or of half the width where both change, makes of halves with weights, doubled.
fn share(side: Option<Side>, weights: Pair<f64>) -> f64 {
    side.map_or(weights.left + weights.right, |side| 2.0 * weights[side])
}

/// A value with the greatest of the changes that other lines would make as an error of one standard uncertainty: it is on
/// neither side of a limit unless it is so with either line.
fn with_other_line(seen: &Seen, value: Quantity, what: &str, moves: impl Iterator<Item = f64>) -> Quantity {
    let most = moves.max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or_default();
    value.with(seen.own_error(Cause::OtherLine, what), most)
}

/// The halves at a station by the cubic through the four set stations about it, so that a curve is followed; the
/// uncertainty of the station itself comes on top by the slope.
fn at_station(seen: &Seen, part: Part, station: &Quantity, weights: Pair<f64>) -> Result<Quantity, Missing> {
    let nodes = nodes_about(seen, part, station.value)?;
    let gradient: Gradient = nodes.iter().map(|node| (node.place, weights.times(node.weight))).collect();
    let halves = interpolated(&nodes);
    let there = |r: &&RivalRecord| r.part == part && (r.from..=r.to).contains(&station.value);
    let moves = seen.sheet.rivals.iter().filter(there).map(|r| {
        let sides = if r.side.is_some() { 0.5 } else { 1.0 };
        r.offset_mm * sides * share(r.side, weights)
    });
    let made = seen.quantity(weights.dot(halves), &gradient);
    let made = with_other_line(seen, made, &format!("station {:.3}", station.value), moves);
    if station.u() == 0.0 {
        return Ok(made);
    }
    // Between the places half a step before and after.
    const STEP: f64 = 0.025;
    let near = |by: f64| nodes_about(seen, part, station.value + by).map(|nodes| interpolated(&nodes));
    let slope = near(STEP)?.minus(near(-STEP)?).times(0.5 / STEP);
    Ok(made.following(weights.dot(slope), station))
}

/// A set station that is interpolated from.
struct Station {
    place: usize,
    halves: Pair<f64>,
    weight: f64,
}

fn interpolated(nodes: &[Station]) -> Pair<f64> {
    Pair::of(|side| nodes.iter().map(|node| node.weight * node.halves[side]).sum())
}

/// The set stations about `s` with their weights: two before and two after, all traced; or one that is `s` itself.
fn nodes_about(seen: &Seen, part: Part, s: f64) -> Result<Vec<Station>, Missing> {
    let untraced = || format!("the {}'s edges were not traced about station {s:.2}", part.as_str());
    let stations = &seen.sheet.stations;
    let after = stations.partition_point(|x| x.at < s - SAME_STATION);
    let range = match stations.get(after) {
        Some(same) if (same.at - s).abs() < SAME_STATION => after..after + 1,
        _ if after >= 2 && after + 2 <= stations.len() => after - 2..after + 2,
        _ => return Err(untraced()),
    };
    let all = &stations[range];
    let lagrange = |i: usize| {
        let others = (0..all.len()).filter(|&j| j != i);
        others.map(|j| (s - all[j].at) / (all[i].at - all[j].at)).product()
    };
    all.iter()
        .enumerate()
        .map(|(i, station)| {
            let width = if part == Part::Seat { &station.seat } else { &station.channel };
            let width = width.as_ref().ok_or_else(untraced)?;
            let place = seen.influences.station(part, station.at).ok_or_else(untraced)?;
            let halves = Pair { left: width.left_half, right: width.right_half };
            Ok(Station { place, halves, weight: lagrange(i) })
        })
        .collect()
}

/// Stations nearer than this are one: 0.2 mm along a saddle.
const SAME_STATION: f64 = 0.0005;

/// The station of a named width. Where the sheet does not say how well the edges place it, that is bounded by the stretch of
/// traced points over which the width stays within its points' own uncertainty of the extreme, taken as rectangular. The
/// ends of the midline come on top.
fn station_of(seen: &Seen, name: NamedWidth) -> Result<Quantity, Missing> {
    let width = seen.sheet.width(name).ok_or_else(|| format!("{name} was not measured"))?;
    let u = match width.at_u {
        Some(u) => u,
        None => flat_stretch(seen.sheet, name.part(), width.at, width.mm)
            .ok_or_else(|| format!("the sheet has no edges about {name} that show its station"))?,
    };
    let (at, length) = (width.at, length_of(seen)?);
    let moves = |_, ends: Option<[f64; 2]>| {
        ends.map_or(0.0, |[front, rear]| -(front * (1.0 - at) + rear * at) / length)
    };
    Ok(seen.of_midline(at, moves).with(seen.own_error(Cause::FlatExtreme, name.as_str()), u))
}

fn length_of(seen: &Seen) -> Result<f64, Missing> {
    Ok(seen.sheet.midline.as_ref().ok_or("the sheet has no midline")?.length_mm)
}

/// Half the stretch over the root of 3.
fn flat_stretch(sheet: &Sheet, part: Part, at: f64, mm: f64) -> Option<f64> {
    let edges = sheet.edges.as_ref()?;
    let pair = if part == Part::Seat { edges.seat.as_ref() } else { edges.channel.as_ref() }?;
    let near = |rows: &[[f64; 3]], s: f64| {
        let row = rows.iter().min_by(|a, b| (a[0] - s).abs().total_cmp(&(b[0] - s).abs()))?;
        ((row[0] - s).abs() < STRETCH_GAP).then_some((row[1], row[2]))
    };
    let flat = |s: f64| {
        let ((l, lu), (r, ru)) = (near(&pair.left, s)?, near(&pair.right, s)?);
        Some((l + r - mm).abs() <= COVERAGE * lu.hypot(ru))
    };
    let reach = |step: f64| {
        (1..=100)
            .map(|i| f64::from(i) * STRETCH_STEP)
            .take_while(|d| flat(at + step * d) == Some(true))
            .last()
            .unwrap_or(0.0)
    };
    flat(at)?;
    Some(((reach(-1.0) + reach(1.0)).max(2.0 * STRETCH_STEP)) / 2.0 / 3.0_f64.sqrt())
}

/// Steps of half a hundredth of the midline, and the gap between traced points that is still passed over.
const STRETCH_STEP: f64 = 0.005;
const STRETCH_GAP: f64 = 0.03;

/// Height of the seat's edge over the card's plane: straight between the places where it was measured, each read by itself.
fn lift(seen: &Seen, station: &Quantity) -> Result<Quantity, Missing> {
    let lift = seen.sheet.lift.as_ref().filter(|l| l.source != LiftSource::Assumed);
    let photos_u = lift.filter(|l| l.source == LiftSource::Photos).and_then(|l| l.seat_u.as_ref());
    let rows = lift.and_then(|l| l.seat.as_ref().filter(|rows| !rows.is_empty())).ok_or_else(|| {
        format!("the height of the seat's edges was not measured: {}", give_heights(Part::Seat))
    })?;
    let s = station.value;
    let after = rows.partition_point(|r| r[0] <= s);
    let far = || format!("the height of the seat's edge was not measured near station {s:.2}");
    let places: Vec<(usize, f64)> = match after {
        0 => vec![(0, 1.0)],
        n if n == rows.len() => vec![(n - 1, 1.0)],
        n => {
            let t = (s - rows[n - 1][0]) / (rows[n][0] - rows[n - 1][0]);
            vec![(n - 1, 1.0 - t), (n, t)]
        }
    };
    let reach = if places.len() == 2 { LIFT_REACH } else { LIFT_HOLD };
    let span = if places.len() == 2 {
        rows[after][0] - rows[after - 1][0]
    } else {
        (rows[places[0].0][0] - s).abs()
    };
    if span > reach {
        return Err(far());
    }
    // Photos determine the heights between their knots as well.
    let bow_u_mm = if photos_u.is_some() { 0.0 } else { bow_u_mm(rows, s)? };
    let bow = seen.own_error(Cause::Ruler, &format!("bow of stretch {after}"));
    let slope = if places.len() == 2 { (rows[after][1] - rows[after - 1][1]) / span } else { 0.0 };
    let start = station.minus(&Quantity::exact(s)).scaled(slope).with(bow, bow_u_mm);
    Ok(places.into_iter().fold(start, |sum, (i, w)| {
        // Heights from photos are wrong together, those from a ruler each by itself.
        let (error, u_mm) = match photos_u.and_then(|u| u.get(i)) {
            Some(u) => (seen.own_error(Cause::Photo(Influence::Height), "heights from photos"), *u),
            None => (seen.own_error(Cause::Ruler, &format!("height at {}", rows[i][0])), RULER_U_MM),
        };
        sum.plus(&Quantity::exact(w * rows[i][1]).with(error, w * u_mm))
    }))
}

/// Distance that the edge may lie off the straight line between heights taken with a ruler, mm.
fn bow_u_mm(rows: &[[f64; 2]], station: f64) -> Result<f64, Missing> {
    let profile = LiftProfile::measured(rows.iter().map(|r| (r[0], r[1])).collect());
    let profile = profile.ok_or_else(|| "the heights of the seat's edges are invalid".to_owned())?;
    Ok(profile.bow_u_mm(station))
}

fn taper(seen: &Seen) -> Result<Quantity, Missing> {
    let taper = seen.sheet.front_taper.as_ref().ok_or("the front taper was not measured")?;
    // Both sides alike: that the slopes differ changes the derivatives by some thousandths.
    let slopes = Pair::both((taper.deg / 2.0).to_radians().tan());
    match taper_gradient(seen.influences, length_of(seen)?, slopes).filter(|_| !seen.influences.guessed) {
        Some(gradient) => Ok(seen.quantity(taper.deg, &gradient)),
        None => {
            let whole = seen.own_error(Cause::NotItemised, "front taper");
            Ok(Quantity::exact(taper.deg).with(whole, taper.u95 / COVERAGE))
        }
    }
}

fn length(seen: &Seen) -> Result<Quantity, Missing> {
    Ok(seen.of_midline(length_of(seen)?, |length_mm, _| length_mm))
}

/// Area in plan between the outer outline and the channel over the set stations where both were traced, mm²: an upper
/// bound of what can bear.
fn panel_area(seen: &Seen) -> Result<Quantity, Missing> {
    let both = |s: &crate::sheet::Station| {
        let mm = s.seat.as_ref()?.mm - s.channel.as_ref()?.mm;
        let places = [Part::Seat, Part::Channel].map(|part| seen.influences.station(part, s.at));
        Some((s.at, mm, [places[0]?, places[1]?]))
    };
    let traced: Vec<_> = seen.sheet.stations.iter().filter_map(both).collect();
    let (first, last) = (traced.first().map_or(0.0, |t| t.0), traced.last().map_or(0.0, |t| t.0));
    let whole = traced.windows(2).all(|w| w[1].0 - w[0].0 < 0.051);
    if traced.len() < 2 || !whole || last - first < AREA_STRETCH {
        return Err("outer outline and channel were not traced over the panels' whole length".into());
    }
    // The trapezoidal rule: each station stands for half the way to either neighbour.
    let at = |i: usize| traced[i.min(traced.len() - 1)].0;
    let stretch = |i: usize| (at(i + 1) - at(i.saturating_sub(1))) / 2.0;
    let mean_mm = traced.iter().enumerate().map(|(i, t)| stretch(i) * t.1).sum();
    let gradient: Gradient = traced
        .iter()
        .enumerate()
        .flat_map(|(i, (_, _, [outer, channel]))| {
            [(*outer, Pair::both(stretch(i))), (*channel, Pair::both(-stretch(i)))]
        })
        .collect();
    Ok(seen.quantity(mean_mm, &gradient).times(&length(seen)?))
}

/// The area is stated when at least this part of the midline was traced.
const AREA_STRETCH: f64 = 0.75;

/// The view that a sheet must have.
pub fn is_view(sheet: &Sheet, view: View) -> bool {
    sheet.view == Some(view) && sheet.refused.is_none()
}
