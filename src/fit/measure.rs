//! What an expression is worth on the sheets of a saddle, with its uncertainty line by line.
//!
//! A sheet gives a budget for the named widths. What it does not give is bounded here, and each bound says how:
//! widths at stations, halves, the station of an extreme, heights, areas.

use super::expr::{Field, Node, Outline, Place};
use super::fields::{Fields, Missing};
use super::quantity::{COVERAGE, Origin, Quantity, line};
use crate::outline::lift::{LiftProfile, RULER_U_MM};
use crate::sheet::{LiftSource, Part, Sheet, Side, Station, StationWidth, View};
use crate::width::GIVEN_END_U_MM;

/// The sheets of one saddle and what is known of rider and horse.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
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

impl<'a> Subject<'a> {
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
            Node::At(name) => station_of(&self.sheet_of(name)?, name)?,
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
        self.top
            .map(|sheet| Seen { sheet, index: 0 })
            .ok_or_else(|| "no sheet of the saddle from above".into())
    }

    fn underside(&self) -> Result<Seen<'a>, Missing> {
        self.underside
            .map(|sheet| Seen { sheet, index: 1 })
            .ok_or_else(|| "no sheet of the saddle's underside".into())
    }

    fn sheet_of(&self, named: &str) -> Result<Seen<'a>, Missing> {
        if named.starts_with("seat") { self.top() } else { self.underside() }
    }

    fn on(&self, outline: Outline) -> Result<Seen<'a>, Missing> {
        if outline == Outline::Seat { self.top() } else { self.underside() }
    }

    fn width(&self, place: &Place) -> Result<Quantity, Missing> {
        Ok(self.cut(place)?.width)
    }

    fn half(&self, side: Side, place: &Place) -> Result<Quantity, Missing> {
        Ok(self.cut(place)?.half(side))
    }

    fn cut(&self, place: &Place) -> Result<Cut, Missing> {
        match place {
            Place::Named(name) => named_cut(&self.sheet_of(name)?, name),
            Place::Station(outline, station) => {
                station_cut(&self.on(*outline)?, *outline, &self.value(station)?)
            }
        }
    }
}

/// A sheet and its number among those of the saddle.
#[derive(Debug, Clone, Copy)]
pub struct Seen<'a> {
    sheet: &'a Sheet,
    index: usize,
}

/// A width with the halves it is made of.
struct Cut {
    width: Quantity,
    halves: [Quantity; 2],
}

impl Cut {
    fn expanded_by(self, factor: f64) -> Self {
        let Self { width, halves } = self;
        Self { width: width.expanded_by(factor), halves: halves.map(|half| half.expanded_by(factor)) }
    }

    fn half(self, side: Side) -> Quantity {
        let [left, right] = self.halves;
        if side == Side::Left { left } else { right }
    }
}

/// The budget of a width as terms.
fn budget_of(seen: &Seen, name: &str, u: f64) -> Vec<(String, f64)> {
    let lines: Vec<(String, f64)> = seen
        .sheet
        .budget
        .iter()
        .filter(|b| b.of == name && b.u > 0.0)
        .map(|b| (b.from.clone(), b.u))
        .collect();
    let total = lines.iter().map(|(_, u)| u * u).sum::<f64>().sqrt();
    if total > 0.0 && total.is_finite() {
        lines.into_iter().map(|(from, part)| (from, part * u / total)).collect()
    } else {
        vec![(line::WHOLE.to_owned(), u)]
    }
}

fn named_cut(seen: &Seen, name: &str) -> Result<Cut, Missing> {
    let width = seen.sheet.width(name).ok_or_else(|| format!("{name} was not measured"))?;
    let u = width.u.unwrap_or(width.u95 / COVERAGE);
    let part = if name.starts_with("seat") { Part::Seat } else { Part::Channel };
    let lines = budget_of(seen, name, u);
    let halves = halves_at(seen.sheet, part, width.at).map(|h| scaled_to(h, width.mm));
    let halves = halves.map_err(|why| format!("the halves of {name} are not known: {why}"));
    let factor = if u > 0.0 { width.u95 / u } else { COVERAGE };
    Ok(cut(seen, name, width.at, (width.mm, halves?), &lines).expanded_by(factor))
}

/// A width at a station: from the four set stations about it, so that a curve is followed; its uncertainty is the
/// largest of theirs, with the lines of the nearest named width of the same outline in proportion (a sheet keeps no
/// lines for stations). What is not known of the station comes on top, line by line, by the slope.
fn station_cut(seen: &Seen, outline: Outline, station: &Quantity) -> Result<Cut, Missing> {
    let part = outline.part();
    let s = station.value;
    let halves = halves_at(seen.sheet, part, s)?;
    let u = u_about(seen.sheet, part, s);
    let nearest = seen.sheet.widths.iter().filter(|w| w.name.starts_with(part.as_str()));
    let nearest = nearest.min_by(|a, b| (a.at - s).abs().total_cmp(&(b.at - s).abs()));
    let lines = budget_of(seen, nearest.map_or("", |w| &w.name), u);
    let name = format!("{}({s:.3})", part.as_str());
    let mut made = cut(seen, &name, s, (halves[0] + halves[1], halves), &lines);
    if station.u() > 0.0 {
        let slopes = slopes_at(seen.sheet, part, s)?;
        made.width = made.width.following(slopes[0] + slopes[1], station);
        for (half, slope) in made.halves.iter_mut().zip(slopes) {
            *half = half.following(slope, station);
        }
    }
    Ok(made)
}

/// The width and its halves, every line in all three. A sheet gives no uncertainty of halves. With the width W = L + R and
/// the difference D = L - R, a half is (W ± D) / 2, and D is bounded so:
/// - lines of points traced apart move D as much as W; one that moves both edges outward alike moves it not at all; a
///   stretch moves each half in proportion; of the others each may move D as much as it moves W, at the worst;
/// - the midline's ends were pointed at: they shift one half to the other, weighted by the nearness of the end;
/// - a wrong height moves both edges sideways where the camera looks aslant.
fn cut(seen: &Seen, of: &str, station: f64, (mm, [l, r]): (f64, [f64; 2]), lines: &[(String, f64)]) -> Cut {
    let origin = |what: &str| Origin::new(seen.index, format!("{of}{what}"));
    let mut width = Quantity::exact(mm);
    let mut halves = [Quantity::exact(l), Quantity::exact(r)];
    for (from, u) in lines {
        width = width.with(from, origin(""), *u);
        for (half, sign) in halves.iter_mut().zip([1.0, -1.0]) {
            let part = half.value / mm;
            let moved = std::mem::take(half);
            *half = match from.as_str() {
                line::PRINT => moved.with(from, origin(""), u * part),
                line::PIPING => moved.with(from, origin(""), u / 2.0),
                _ => moved.with(from, origin(""), u / 2.0).with(from, origin(" difference"), sign * u / 2.0),
            };
        }
    }
    let end_u = GIVEN_END_U_MM;
    let aslant = aslant_mm(seen.sheet, mm, lines);
    for (half, sign) in halves.iter_mut().zip([1.0, -1.0]) {
        *half = std::mem::take(half)
            .with(line::FRONT_END, origin(""), sign * end_u * (1.0 - station))
            .with(line::REAR_END, origin(""), sign * end_u * station)
            .with(line::LIFT, origin(" aslant"), sign * aslant);
    }
    Cut { width, halves }
}

/// How far an edge moves sideways with a height wrong by one standard uncertainty, mm. The height's uncertainty follows
/// from what it does to the width (`W u_h / distance`), the slant is at most the camera's tilt and the angle of the
/// photo's corner from its axis.
fn aslant_mm(sheet: &Sheet, mm: f64, lines: &[(String, f64)]) -> f64 {
    let lift_u = lines.iter().filter(|(from, _)| from == line::LIFT).map(|(_, u)| *u).sum::<f64>();
    let Some(camera) = &sheet.camera else { return lift_u };
    let height_u = lift_u * camera.height_mm / mm;
    let off_axis = sheet.midline.as_ref().zip(sheet.photos.first()).map_or(0.5, |(m, p)| {
        let centre = [f64::from(p.width_px) / 2.0, f64::from(p.height_px) / 2.0];
        let far = |e: [f64; 2]| (e[0] - centre[0]).hypot(e[1] - centre[1]) / camera.focal_px;
        far(m.front_px).max(far(m.rear_px)).atan()
    });
    let slant = (camera.tilt_deg.to_radians() + off_axis).min(STEEPEST_RAD);
    height_u * slant.tan()
}

/// Beyond this the bound says no more; no photo that is measured is taken so.
const STEEPEST_RAD: f64 = 1.3;

fn scaled_to(halves: [f64; 2], mm: f64) -> [f64; 2] {
    let sum = halves[0] + halves[1];
    halves.map(|h| h * mm / sum)
}

fn width_at(station: &Station, part: Part) -> Option<StationWidth> {
    if part == Part::Seat { station.seat.clone() } else { station.channel.clone() }
}

/// The set stations about `s`: two before and two after, all traced; or one that is `s` itself.
fn about(sheet: &Sheet, part: Part, s: f64) -> Result<Vec<(f64, StationWidth)>, Missing> {
    let untraced = || format!("the {}'s edges were not traced about station {s:.2}", part.as_str());
    if let Some(station) = sheet.stations.iter().find(|x| (x.at - s).abs() < SAME_STATION) {
        return width_at(station, part).map(|w| vec![(s, w)]).ok_or_else(untraced);
    }
    let after = sheet.stations.partition_point(|x| x.at < s);
    if after < 2 || after + 2 > sheet.stations.len() {
        return Err(untraced());
    }
    let four = &sheet.stations[after - 2..after + 2];
    four.iter().map(|x| width_at(x, part).map(|w| (x.at, w)).ok_or_else(untraced)).collect()
}

/// Stations nearer than this are one: 0.2 mm along a saddle.
const SAME_STATION: f64 = 0.0005;

/// Half-widths at a station by the cubic through the four set stations about it.
fn halves_at(sheet: &Sheet, part: Part, s: f64) -> Result<[f64; 2], Missing> {
    let rows = about(sheet, part, s)?;
    let by = |half: fn(&StationWidth) -> f64| {
        (0..rows.len()).map(|i| half(&rows[i].1) * lagrange(&rows, i, s)).sum::<f64>()
    };
    Ok([by(|w| w.left_half), by(|w| w.right_half)])
}

fn lagrange(rows: &[(f64, StationWidth)], i: usize, s: f64) -> f64 {
    (0..rows.len()).filter(|&j| j != i).map(|j| (s - rows[j].0) / (rows[i].0 - rows[j].0)).product()
}

fn u_about(sheet: &Sheet, part: Part, s: f64) -> f64 {
    let rows = about(sheet, part, s).unwrap_or_default();
    rows.iter().map(|(_, w)| w.u95 / COVERAGE).fold(0.0, f64::max)
}

/// Change of the half-widths with the station: between the stations half a step before and after.
fn slopes_at(sheet: &Sheet, part: Part, s: f64) -> Result<[f64; 2], Missing> {
    const STEP: f64 = 0.025;
    let (before, after) = (halves_at(sheet, part, s - STEP)?, halves_at(sheet, part, s + STEP)?);
    Ok([0, 1].map(|i| (after[i] - before[i]) / (2.0 * STEP)))
}

/// Where a named width lies. A sheet may say how sure its station is; else it is bounded by the stretch of traced points
/// over which the width stays within its points' own uncertainty of the extreme, taken as rectangular, and by the ends
/// of the midline.
fn station_of(seen: &Seen, name: &str) -> Result<Quantity, Missing> {
    let width = seen.sheet.width(name).ok_or_else(|| format!("{name} was not measured"))?;
    let part = if name.starts_with("seat") { Part::Seat } else { Part::Channel };
    let u = match width.at_u {
        Some(u) => u,
        None => flat_stretch(seen.sheet, part, width.at, width.mm).ok_or_else(|| {
            format!("the edges about {name} are not in the sheet: how sure its station is cannot be told")
        })?,
    };
    let length = seen.sheet.midline.as_ref().ok_or("the sheet has no midline")?.length_mm;
    let end = GIVEN_END_U_MM / length;
    Ok(Quantity::exact(width.at)
        .with(line::EXTREME, Origin::new(seen.index, name), u)
        .with(line::FRONT_ALONG, Origin::new(seen.index, "along"), -end * (1.0 - width.at))
        .with(line::REAR_ALONG, Origin::new(seen.index, "along"), -end * width.at))
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

/// Height of the seat's edge over the card's plane: straight between the places where it was taken, each read apart.
fn lift(seen: &Seen, station: &Quantity) -> Result<Quantity, Missing> {
    let lift = seen.sheet.lift.as_ref().filter(|l| l.source != LiftSource::Assumed);
    let told_u = lift.filter(|l| l.source == LiftSource::Photos).and_then(|l| l.seat_u.as_ref());
    let rows = lift
        .and_then(|l| l.seat.as_ref().filter(|rows| !rows.is_empty()))
        .ok_or_else(|| "the height of the seat's edges was not measured (--heights seat=)".to_owned())?;
    let s = station.value;
    let after = rows.partition_point(|r| r[0] <= s);
    let far = || format!("the height of the seat's edge was not taken near station {s:.2}");
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
    // What photos tell is told between as well.
    let bow_u_mm = if told_u.is_some() { 0.0 } else { bow_u_mm(rows, s)? };
    let bow = Origin::new(seen.index, format!("bow of stretch {after}"));
    let slope = if places.len() == 2 { (rows[after][1] - rows[after - 1][1]) / span } else { 0.0 };
    let start = Quantity::exact(0.0).plus(&station.minus(&Quantity::exact(s)).scaled(slope)).with(
        line::RULER,
        bow,
        bow_u_mm,
    );
    Ok(places.into_iter().fold(start, |sum, (i, w)| {
        let height = Quantity::exact(w * rows[i][1]);
        // Heights that photos tell are wrong together, those that a ruler tells each by itself.
        sum.plus(&match told_u.and_then(|u| u.get(i)) {
            Some(u) => height.with(line::LIFT, Origin::new(seen.index, "lift"), w * u),
            None => height.with(
                line::RULER,
                Origin::new(seen.index, format!("height at {}", rows[i][0])),
                w * RULER_U_MM,
            ),
        })
    }))
}

/// How far the edge may lie off the straight line between heights taken with a ruler, mm.
fn bow_u_mm(rows: &[[f64; 2]], station: f64) -> Result<f64, Missing> {
    let profile = LiftProfile::measured(rows.iter().map(|r| (r[0], r[1])).collect());
    let profile = profile.ok_or_else(|| "the heights of the seat's edge make no sense".to_owned())?;
    Ok(profile.bow_u_mm(station))
}

fn taper(seen: &Seen) -> Result<Quantity, Missing> {
    let taper = seen.sheet.front_taper.as_ref().ok_or("the front taper was not measured")?;
    Ok(Quantity::exact(taper.deg).with(
        line::WHOLE,
        Origin::new(seen.index, "front taper"),
        taper.u95 / COVERAGE,
    ))
}

fn length(seen: &Seen) -> Result<Quantity, Missing> {
    let midline = seen.sheet.midline.as_ref().ok_or("the sheet has no midline")?;
    let end = GIVEN_END_U_MM;
    // A front end pointed at too far forward makes it longer, as does a rear end too far back.
    Ok(Quantity::exact(midline.length_mm)
        .with(line::FRONT_ALONG, Origin::new(seen.index, "along"), -end)
        .with(line::REAR_ALONG, Origin::new(seen.index, "along"), end))
}

/// Area in plan between the outer outline and the channel over the set stations where both were traced, mm²: an upper
/// bound of what can bear. The widths' uncertainties are summed as if they were all wrong together.
fn panel_area(seen: &Seen) -> Result<Quantity, Missing> {
    let length = length(seen)?;
    let traced: Vec<(f64, f64, f64)> = seen
        .sheet
        .stations
        .iter()
        .filter_map(|s| {
            let (outer, channel) = (s.seat.as_ref()?, s.channel.as_ref()?);
            Some((s.at, outer.mm - channel.mm, (outer.u95 + channel.u95) / COVERAGE))
        })
        .collect();
    let (first, last) = (traced.first().map_or(0.0, |t| t.0), traced.last().map_or(0.0, |t| t.0));
    let whole = traced.windows(2).all(|w| w[1].0 - w[0].0 < 0.051);
    if traced.len() < 2 || !whole || last - first < AREA_STRETCH {
        return Err("outer outline and channel were not traced over the panels' whole length".into());
    }
    let by = |what: fn(&(f64, f64, f64)) -> f64| {
        traced.windows(2).map(|w| (w[1].0 - w[0].0) * (what(&w[0]) + what(&w[1])) / 2.0).sum::<f64>()
    };
    let width =
        Quantity::exact(by(|t| t.1)).with(line::WHOLE, Origin::new(seen.index, "panel area"), by(|t| t.2));
    Ok(width.times(&length))
}

/// The area is stated when at least this part of the midline was traced.
const AREA_STRETCH: f64 = 0.75;

/// The view that a sheet must have.
pub fn is_view(sheet: &Sheet, view: View) -> bool {
    sheet.view == Some(view) && sheet.refused.is_none()
}
