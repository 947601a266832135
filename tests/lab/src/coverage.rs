//! `lab coverage`: how often the true width is within u95, for simulated cameras, cards and edges, without pictures.

use clap::Args as ClapArgs;
use nalgebra::{Rotation3, Vector2, Vector3};
use rayon::prelude::*;
use serde::Serialize;

use seatspan::camera::Camera;
use seatspan::camera::fit::{BLOOM_U_PX, CameraFit, fit_camera};
use seatspan::camera::lens::Lens;
use seatspan::camera::paper::{BEND_U_MM, BentPaper};
use seatspan::camera::placement::{MOST_TILT_DEG, PHONE_F35_MM, PHONE_F35_RELATIVE_U};
use seatspan::camera::pose::CameraPose;
use seatspan::camera::print_scale::PRINT_SCALE_U;
use seatspan::camera::prior::LensPrior;
use seatspan::camera::target::TargetView;
use seatspan::card::pattern::{Pattern, patterns};
use seatspan::card::side::Observation;
use seatspan::numeric::frame::{CardPoint, PhotoPoint};
use seatspan::numeric::homography::homography;
use seatspan::numeric::uncertain::Sampler;
use seatspan::numeric::words::{NamedWidth, SIDES, View};
use seatspan::outline::Outline;
use seatspan::outline::edge::{EdgePoint, TracedEdge};
use seatspan::outline::lift::LiftProfile;
use seatspan::outline::midline::Midline;
use seatspan::photo::focal::FILM_DIAGONAL_MM;
use seatspan::width::response::{Inputs, PIPING_U_MM, TiltedPlane};
use seatspan::width::{GIVEN_END_U_MM, Subject, Widths, measure_widths};

/// Options of `lab coverage`.
#[derive(Debug, ClapArgs)]
#[command(after_help = AFTER_HELP)]
pub struct Args {
    /// How many photos
    #[arg(long, value_name = "N", default_value = "2000", value_parser = clap::value_parser!(u32).range(20..=1_000_000))]
    pub count: u32,
    /// Seed of the simulation
    #[arg(long, value_name = "N", default_value = "1")]
    pub seed: u64,
    /// Print the table as JSON, and nothing else
    #[arg(long)]
    pub json: bool,
}

const AFTER_HELP: &str = "\
Every photo has a random camera, pose, printed card and saddle. The sides of the tags and the edges are projected, get errors of \
the stated size, and are measured as from a photo. The errors follow the program's assumptions, so this checks the computation; \
`lab stress` and the photos with known widths check the assumptions.

Exit status: 0 all rows within 93 to 97 %, allowing for their counts; 1 a row outside; 2 an error of use.";

/// Name and version of what `--json` prints.
const SCHEMA: &str = "seatspan-coverage/1";

/// What `--json` prints.
#[derive(Debug, Serialize)]
struct Report {
    schema: &'static str,
    seed: u64,
    drawn: usize,
    measured: usize,
    rows: Vec<Row>,
}

/// A subset.
#[derive(Debug, Serialize)]
struct Row {
    subset: &'static str,
    widths: usize,
    /// Share of the true widths within u95.
    within: f64,
    /// Its standard error; widths of one photo are correlated.
    within_se: f64,
    /// Root mean square of error over standard uncertainty.
    rms_z: f64,
    /// Root mean square of the errors, mm.
    rms_mm: f64,
    /// Median u95, mm.
    median_u95_mm: f64,
}

/// A simulated photo and the errors of its widths.
struct Trial {
    tilt_deg: f64,
    distance_mm: f64,
    lift_known: bool,
    exif: bool,
    /// Error, standard and expanded uncertainty of each width, mm.
    widths: Vec<[f64; 3]>,
}

/// Simulates, measures and counts: status 0 if every subset is covered as stated, else 1.
///
/// # Errors
/// A table that cannot be written as JSON.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    let seeds = 0..u64::from(args.count);
    let seed = |i: u64| args.seed.wrapping_mul(1_000_003).wrapping_add(i);
    let trials: Vec<Trial> =
        seeds.into_par_iter().filter_map(|i| trial(&mut Sampler::new(seed(i)))).collect();
    let rows = rows(&trials);
    let sound = rows.iter().all(is_sound);
    let report =
        Report { schema: SCHEMA, seed: args.seed, drawn: args.count as usize, measured: trials.len(), rows };
    println!("{}", if args.json { serde_json::to_string_pretty(&report)? } else { text(&report) });
    Ok(u8::from(!sound))
}

/// Within 93 to 97 %, allowing two standard errors.
fn is_sound(row: &Row) -> bool {
    row.widths == 0 || (0.93 - 2.0 * row.within_se..=0.97 + 2.0 * row.within_se).contains(&row.within)
}

/// Name and filter of a subset.
type Subset<'a> = (&'static str, &'a dyn Fn(&Trial) -> bool);

/// All photos, and subsets in which one contribution is large.
fn rows(trials: &[Trial]) -> Vec<Row> {
    let subsets: [Subset; 9] = [
        ("all", &|_| true),
        ("near (under 1100 mm)", &|t| t.distance_mm < 1100.0),
        ("far (over 1600 mm)", &|t| t.distance_mm > 1600.0),
        ("upright (under 10 degrees)", &|t| t.tilt_deg < 10.0),
        ("tilted (over 20 degrees)", &|t| t.tilt_deg > 20.0),
        ("lift measured", &|t| t.lift_known),
        ("lift unknown", &|t| !t.lift_known),
        ("focal length known", &|t| t.exif),
        ("focal length unknown", &|t| !t.exif),
    ];
    subsets.iter().map(|(name, holds)| row(name, trials.iter().filter(|t| holds(t)).collect())).collect()
}

fn row(subset: &'static str, trials: Vec<&Trial>) -> Row {
    let all: Vec<[f64; 3]> = trials.iter().flat_map(|t| t.widths.iter().copied()).collect();
    let n = all.len().max(1) as f64;
    let inside = |w: &[f64; 3]| f64::from(u8::from(w[0].abs() <= w[2]));
    let within = all.iter().map(inside).sum::<f64>() / n;
    // Clustered by photo: its widths share a camera.
    let spread: f64 =
        trials.iter().map(|t| t.widths.iter().map(|w| inside(w) - within).sum::<f64>().powi(2)).sum();
    let mut u95: Vec<f64> = all.iter().map(|w| w[2]).collect();
    u95.sort_by(f64::total_cmp);
    Row {
        subset,
        widths: all.len(),
        within,
        within_se: spread.sqrt() / n,
        rms_z: (all.iter().map(|w| (w[0] / w[1]).powi(2)).sum::<f64>() / n).sqrt(),
        rms_mm: (all.iter().map(|w| w[0].powi(2)).sum::<f64>() / n).sqrt(),
        median_u95_mm: u95.get(u95.len() / 2).copied().unwrap_or(f64::NAN),
    }
}

fn text(report: &Report) -> String {
    let mut lines = vec![
        format!("{} photos simulated, {} measured, seed {}", report.drawn, report.measured, report.seed),
        format!(
            "{:28} {:>7} {:>14} {:>6} {:>8} {:>11}",
            "", "widths", "within u95 %", "rms z", "rms mm", "median u95"
        ),
    ];
    for r in &report.rows {
        let within = format!("{:.1} ± {:.1}", 100.0 * r.within, 100.0 * r.within_se);
        lines.push(format!(
            "{:28} {:7} {within:>14} {:6.2} {:8.2} {:11.2}{}",
            r.subset,
            r.widths,
            r.rms_z,
            r.rms_mm,
            r.median_u95_mm,
            if is_sound(r) { "" } else { "  outside" }
        ));
    }
    lines.join("\n")
}

/// A saddle's seat: half-widths and lifts of its two edges along a midline in the card's horizontal.
struct Seat {
    midline: Midline,
    lift: [f64; 3],
    widest_mm: f64,
    waist_mm: f64,
    /// Slope of the card's plane against the horizontal, and roll of the saddle about its midline.
    tilts: [TiltedPlane; 2],
}

impl Seat {
    fn drawn(d: &mut Sampler) -> Self {
        let angle = d.unit() * std::f64::consts::TAU;
        let along = Vector2::new(angle.cos(), angle.sin());
        let aside = Vector2::new(-along.y, along.x);
        // Beside the card, with half of a saddle's width and a gap between.
        let away = 250.0 + 120.0 * d.unit();
        let centre = aside * away + along * (160.0 * (d.unit() - 0.5));
        let half = along * (0.5 * (420.0 + 60.0 * d.unit()));
        let midline = Midline::new(centre - half, centre + half, View::Top);
        Self {
            midline,
            lift: [0.0, 1.0, 2.0]
                .map(|i: f64| if i == 1.0 { 5.0 + 25.0 * d.unit() } else { 30.0 + 40.0 * d.unit() }),
            widest_mm: 90.0 + 35.0 * d.unit(),
            waist_mm: 32.0 + 14.0 * d.unit(),
            tilts: TiltedPlane::drawn(&midline, d),
        }
    }

    /// Lift at a station: a parabola through its ends and its middle, mm.
    fn lift_mm(&self, s: f64) -> f64 {
        let [a, b, c] = self.lift;
        a * (1.0 - s) * (1.0 - 2.0 * s) + b * 4.0 * s * (1.0 - s) + c * s * (2.0 * s - 1.0)
    }

    /// A point of the form relative to the card's plane.
    fn over_card(&self, station: f64, horizontal: Vector2<f64>) -> CardPoint {
        let higher_mm: f64 = self.tilts.iter().map(|s| s.height_mm(horizontal)).sum();
        let lift_mm = self.lift_mm(station) + higher_mm;
        CardPoint::new(horizontal.x, horizontal.y, lift_mm)
    }

    /// Half-width at a station, mm: a waist at 0.28, widest at 0.72, closed at both ends.
    fn half_mm(&self, s: f64) -> f64 {
        let t = ((s - 0.28) / 0.44).clamp(0.0, 1.0);
        let body = self.waist_mm + (self.widest_mm - self.waist_mm) * t * t * (3.0 - 2.0 * t);
        let front = if s < 0.28 { 1.0 + 0.35 * ((0.28 - s) / 0.28).powi(2) } else { 1.0 };
        let rear = if s > 0.72 { 1.0 - 0.45 * ((s - 0.72) / 0.28).powi(2) } else { 1.0 };
        let close = |x: f64| (1.0 - (1.0 - (x / 0.03).min(1.0)).powi(2)).sqrt();
        body * front * rear * close(s) * close(1.0 - s)
    }
}

/// True values that a photo does not show, drawn from the assumptions about them.
struct World {
    lens: Lens,
    prior: LensPrior,
    bends_mm: [f64; 2],
    scale: f64,
}

/// One photo of it.
struct Shot<'a> {
    world: &'a World,
    camera: Camera,
    bloom_px: f64,
    noise_px: f64,
}

const WIDTH_PX: f64 = 4032.0;
const HEIGHT_PX: f64 = 3024.0;

impl World {
    fn drawn(d: &mut Sampler, exif: bool, distance_mm: f64) -> Self {
        let relative_u = if exif { 0.04 } else { PHONE_F35_RELATIVE_U };
        // The stated focal length is off by its uncertainty. From further away the photo is zoomed.
        let focal_px =
            PHONE_F35_MM / FILM_DIAGONAL_MM * WIDTH_PX.hypot(HEIGHT_PX) * (distance_mm / 1300.0).max(1.0);
        let stated_px = focal_px * (-relative_u * d.normal()).exp();
        let prior = LensPrior::uncalibrated(WIDTH_PX as usize, HEIGHT_PX as usize, stated_px, relative_u);
        let distortion = std::array::from_fn(|i| prior.distortion_u[i] * d.normal());
        let [dx, dy] = [0, 1].map(|_| prior.principal_u_px * d.normal());
        let lens = Lens { focal_px, cx_px: prior.mean.cx_px + dx, cy_px: prior.mean.cy_px + dy, distortion };
        Self {
            lens,
            prior,
            bends_mm: [0, 1].map(|_| BEND_U_MM * d.normal()),
            scale: 1.0 + d.rectangular(PRINT_SCALE_U),
        }
    }

    /// A shot at a tilt and a distance, from a random side.
    fn shot(&self, d: &mut Sampler, seat: &Seat, tilt_deg: f64, distance_mm: f64) -> Option<Shot<'_>> {
        let looked_at = 0.25 * (seat.midline.front_mm + seat.midline.rear_mm);
        let (from, roll) = (d.unit() * std::f64::consts::TAU, d.unit() * std::f64::consts::TAU);
        let tilt = tilt_deg.to_radians();
        let back = Vector3::new(tilt.sin() * from.cos(), tilt.sin() * from.sin(), tilt.cos());
        let centre = Vector3::new(looked_at.x, looked_at.y, 0.0) + back * distance_mm;
        let forward = -back;
        let x = forward.cross(&Vector3::new(roll.cos(), roll.sin(), 0.0)).try_normalize(1e-6)?;
        let rows = [x, forward.cross(&x), forward].map(|v| v.transpose());
        let rotation = Rotation3::from_matrix_unchecked(nalgebra::Matrix3::from_rows(&rows));
        let pose = CameraPose { rotation, translation_mm: -(rotation * centre) };
        Some(Shot {
            world: self,
            camera: Camera { lens: self.lens, pose },
            bloom_px: BLOOM_U_PX * d.normal(),
            noise_px: 0.03 + 0.09 * d.unit(),
        })
    }
}

/// The sides of the card's tags in a shot, two points a side, with noise.
fn card_in_photo(d: &mut Sampler, shot: &Shot, pattern: &Pattern) -> Option<TargetView> {
    let halves_mm = [pattern.width_mm / 2.0, pattern.height_mm / 2.0];
    let paper = BentPaper { halves_mm, sagittas_mm: shot.world.bends_mm };
    // Printed lengths are `scale` times nominal; the world is in true millimetres.
    let seen = |p: CardPoint| {
        let printed = CardPoint::from(p.vector() * shot.world.scale);
        shot.camera.photo_from_card(paper.point(printed))
    };
    let (mut observations, mut pairs) = (Vec::new(), Vec::new());
    for tag in 0..pattern.tags.len() {
        let corners = pattern.corners(tag);
        for i in 0..4 {
            let (a, b) = (corners[i], corners[(i + 1) % 4]);
            let (from, to) = (seen(a)?.vector(), seen(b)?.vector());
            let along = (to - from).normalize();
            let across = Vector2::new(along.y, -along.x);
            pairs.push((a.horizontal(), from));
            for part in [0.5 - 0.5 / 3f64.sqrt(), 0.5 + 0.5 / 3f64.sqrt()] {
                let on_target = CardPoint::from(a.vector() + (b.vector() - a.vector()) * part);
                let off = shot.noise_px * d.normal() - shot.bloom_px;
                let measured = PhotoPoint::from(seen(on_target)?.vector() - across * off);
                observations.push(Observation { on_target, measured, across, u_px: shot.noise_px, tag });
            }
        }
    }
    Some(TargetView { halves_mm, photo_from_target: homography(&pairs)?, observations })
}

/// Noise of a traced point, mm.
const EDGE_U_MM: f64 = 0.25;
const STEP: f64 = 0.0055;

/// Both traced edges; `None` where a point is outside the photo.
fn edges(d: &mut Sampler, shot: &Shot, seat: &Seat, piping_mm: f64) -> Option<[TracedEdge; 2]> {
    let count = (1.0 / STEP) as usize;
    let mut trace = |side: usize| {
        let points = (1..count)
            .map(|i| {
                let s = i as f64 * STEP;
                let (half, next) = (seat.half_mm(s), seat.half_mm(s + 1e-4));
                let slope = (next - half) / (1e-4 * seat.midline.length_mm());
                // Across the edge: outwards, and against its direction.
                let off = piping_mm + EDGE_U_MM * d.normal();
                let (out, back) = (off / slope.hypot(1.0), -off * slope / slope.hypot(1.0));
                let moved = s + back / seat.midline.length_mm();
                let at = seat.midline.point(moved, half + out, SIDES[side], 0.0);
                let pixel = shot.camera.photo_from_card(seat.over_card(s, at.horizontal()))?;
                let shown = (0.0..WIDTH_PX).contains(&pixel.x_px) && (0.0..HEIGHT_PX).contains(&pixel.y_px);
                shown.then_some(EdgePoint {
                    pixel,
                    u_mm: EDGE_U_MM,
                    confidence: 1.0,
                    doubt_mm: 0.0,
                    rivals: [None; 2],
                })
            })
            .collect::<Option<Vec<_>>>()?;
        Some(TracedEdge { points: points.into_iter().map(Some).collect() })
    };
    Some([trace(0)?, trace(1)?])
}

/// The lift as a fitter gives it, or unknown: then the seat's heights are off by some centimetres from the card's plane.
fn lift(d: &mut Sampler, seat: &mut Seat, known: bool) -> LiftProfile {
    if !known {
        let plain = LiftProfile::unknown();
        let off = plain.common_u_mm * d.normal();
        let middle = seat.lift_mm(0.5);
        seat.lift.iter_mut().for_each(|h| *h = off + 0.2 * (*h - middle));
        return plain;
    }
    let points: Vec<(f64, f64)> = [0.0, 0.25, 0.5, 0.75, 1.0].map(|s| (s, seat.lift_mm(s))).to_vec();
    let exact = LiftProfile::measured(points).unwrap_or_else(LiftProfile::unknown);
    let ruler_u_mm = exact.point_u_mm;
    (0..exact.points().len()).fold(exact, |profile, i| profile.raised(i, ruler_u_mm * d.normal()))
}

/// The camera fit and the traced edges of one photo.
type Observed = (CameraFit, [TracedEdge; 2]);

fn observe(d: &mut Sampler, shot: &Shot, seat: &Seat, piping_mm: f64) -> Option<Observed> {
    let pattern = patterns().iter().find(|p| p.name == "sheet")?;
    let card = card_in_photo(d, shot, pattern)?;
    let traced = edges(d, shot, seat, piping_mm)?;
    let fit = fit_camera(&shot.world.prior, &[card]).ok()?;
    (fit.camera.pose.tilt_deg() <= MOST_TILT_DEG).then_some((fit, traced))
}

/// The midline's ends as a person points at them.
fn ends(d: &mut Sampler, shot: &Shot, seat: &Seat) -> Option<[PhotoPoint; 2]> {
    let mut end = |mm: Vector2<f64>, s: f64| {
        let at = mm + Vector2::new(d.normal(), d.normal()) * GIVEN_END_U_MM;
        shot.camera.photo_from_card(seat.over_card(s, at))
    };
    Some([end(seat.midline.front_mm, 0.0)?, end(seat.midline.rear_mm, 1.0)?])
}

fn trial(d: &mut Sampler) -> Option<Trial> {
    let (exif, lift_known) = (d.unit() < 0.6, d.unit() < 0.6);
    let (tilt_deg, distance_mm) = (30.0 * d.unit(), 900.0 + 1300.0 * d.unit());
    let mut seat = Seat::drawn(d);
    let lift = lift(d, &mut seat, lift_known);
    let world = World::drawn(d, exif, distance_mm);
    let first = world.shot(d, &seat, tilt_deg, distance_mm)?;
    let piping_mm = PIPING_U_MM * d.normal();
    let observed = observe(d, &first, &seat, piping_mm)?;
    let ends = ends(d, &first, &seat)?;
    let widths = measured(&observed, ends, &lift)?;
    let compared: Vec<[f64; 3]> = widths
        .named
        .iter()
        .map(|(name, w)| [w.mm - true_mm(&seat, *name), w.budget.u(), w.budget.u95()])
        .collect();
    (compared.len() == 2).then_some(Trial { tilt_deg, distance_mm, lift_known, exif, widths: compared })
}

fn midline_between(fit: &CameraFit, ends: [PhotoPoint; 2], lift: &LiftProfile) -> Option<Midline> {
    Midline::from_photo(&fit.camera, (WIDTH_PX as usize, HEIGHT_PX as usize), ends, lift, View::Top).ok()
}

fn measured((fit, traced): &Observed, ends: [PhotoPoint; 2], lift: &LiftProfile) -> Option<Widths> {
    let midline = &midline_between(fit, ends, lift)?;
    let inputs = Inputs { fit, midline, seat_lift: lift, channel_lift: lift, print_scale_u: PRINT_SCALE_U };
    measure_widths(&Subject { inputs, outline: &Outline { seat: traced.clone(), channel: None } })
}

fn true_mm(seat: &Seat, name: NamedWidth) -> f64 {
    let (range, sign) = if name == NamedWidth::SeatWidest { ((0.5, 0.95), 1.0) } else { ((0.1, 0.5), -1.0) };
    let all = (0..=900).map(|i| range.0 + (range.1 - range.0) * f64::from(i) / 900.0);
    sign * all.map(|s| sign * 2.0 * seat.half_mm(s)).fold(f64::NEG_INFINITY, f64::max)
}
