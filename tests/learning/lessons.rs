//! Draws saddles and writes what the networks of the outline see of them, with the truth, for `learn.py` to learn from.
//!
//! Usage: `cargo run --release --example lessons -- FIRST_SEED COUNT FOLDER`. Each seed draws one scenario of the stress
//! sets; those without a whole saddle are passed over. FOLDER gets the photos, which are not drawn again when they are there, and
//! of every kind of lesson (`form`, `rim`, `channel_rim`) a file of `values` (upper halves of single-precision numbers, row by row,
//! channel by channel) and one of `lines` (one JSON object a lesson).

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use fastrand::Rng;
use nalgebra::Vector2;
use seatspan::numeric::frame::CardPoint;
use seatspan::outline::chart::Chart;
use seatspan::outline::curve::Curve;
use seatspan::outline::form::{self, FormPictures};
use seatspan::outline::learnt::net::Planes;
use seatspan::outline::lift::LiftProfile;
use seatspan::outline::midline::Midline;
use seatspan::outline::{SIDES, Scene, Side, View, rim};
use seatspan::photo::Photo;
use seatspan::synth::{self, EdgePair, Hidden, Truth};
use serde_json::json;

/// Spread (standard deviation) of the midline's ends about the true ones, mm, one form a value.
const ENDS_OFF_MM: [f64; 3] = [0.0, 1.5, 6.0];
/// Greatest spread of a rim's curve about the true edge, mm, one rim a value.
const CURVE_OFF_MM: [f64; 4] = [0.5, 2.0, 5.0, 9.0];
/// A midline this far off, or turned by this much, is not the saddle's.
const ELSEWHERE_MM: f64 = 70.0;
const ELSEWHERE_DEG: f64 = 25.0;

/// Kinds of lessons; those of forms have the channel's columns as well.
const KINDS: [&str; 3] = ["form", "rim", "channel_rim"];

fn main() {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let [first, count, folder] = given.as_slice() else {
        eprintln!("usage: lessons FIRST_SEED COUNT FOLDER");
        std::process::exit(2);
    };
    let number = |text: &String| text.parse::<u64>().expect("a whole number");
    let (first, count, folder) = (number(first), number(count), Path::new(folder));
    std::fs::create_dir_all(folder).expect("the folder can be made");
    let writers = KINDS.map(|kind| Mutex::new(Writer::new(folder, kind)));
    let next = AtomicU64::new(0);
    let work = || {
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            if i >= count {
                return;
            }
            let written = lessons(first + i, folder);
            for (writer, lessons) in writers.iter().zip(&written) {
                writer.lock().expect("no writer panics").write(lessons);
            }
            eprintln!("seed {}: {} lessons", first + i, written.iter().map(Vec::len).sum::<usize>());
        }
    };
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| (0..workers).for_each(|_| drop(scope.spawn(work))));
}

/// A picture, and for each of its rows the column at which the edge is, in columns from the first one's middle; none where it is hidden
/// or not there.
struct Lesson {
    seed: u64,
    planes: Planes,
    columns: Vec<Option<f64>>,
    /// The same for the channel's edge, in a form.
    channel: Vec<Option<f64>>,
    /// Rows that are not to be learnt from: the edge is there, but outside the picture.
    passed_over: Vec<bool>,
}

struct Writer {
    values: BufWriter<File>,
    lines: BufWriter<File>,
}

impl Writer {
    fn new(folder: &Path, kind: &str) -> Self {
        let create = |ending: &str| {
            BufWriter::new(
                File::create(folder.join(format!("{kind}.{ending}"))).expect("the file can be made"),
            )
        };
        Self { values: create("values"), lines: create("lines") }
    }

    fn write(&mut self, lessons: &[Lesson]) {
        for lesson in lessons {
            let planes = &lesson.planes;
            for row in 0..planes.rows {
                for channel in 0..planes.channels {
                    let halves = planes.line(row, channel).iter().map(|v| (v.to_bits() >> 16) as u16);
                    let bytes: Vec<u8> = halves.flat_map(u16::to_le_bytes).collect();
                    self.values.write_all(&bytes).expect("the disk has room");
                }
            }
            let line = json!({
                "seed": lesson.seed,
                "shape": [planes.rows, planes.channels, planes.columns],
                "columns": lesson.columns,
                "channel": lesson.channel,
                "passed_over": lesson.passed_over,
            });
            writeln!(self.lines, "{line}").expect("the disk has room");
        }
    }
}

/// The photo of a seed's scenario, drawn unless it is there, and its truth; `None` where there is no whole saddle in it.
fn drawn(seed: u64, folder: &Path) -> Option<(Photo, Truth)> {
    let mut scenario = synth::random(seed);
    if !scenario.name.starts_with("saddle") {
        return None;
    }
    // Half the usual work: the sensor's blur hides the difference.
    scenario.supersample = 2;
    let path = folder.join(format!("{}.jpg", scenario.name));
    let bytes = std::fs::read(&path).unwrap_or_else(|_| {
        let bytes = synth::draw(&scenario).expect("every scenario can be drawn").bytes;
        std::fs::write(&path, &bytes).expect("the disk has room");
        bytes
    });
    let camera = scenario.camera.camera().expect("every scenario has a camera");
    Some((
        Photo::from_bytes("drawn", bytes).expect("what was drawn can be read"),
        Truth::of(&scenario, &camera),
    ))
}

/// The lessons of one seed, by kind.
fn lessons(seed: u64, folder: &Path) -> [Vec<Lesson>; 3] {
    let Some((photo, truth)) = drawn(seed, folder) else { return Default::default() };
    let saddle = TrueSaddle::of(&truth);
    let rng = &mut Rng::with_seed(seed);
    let (camera, view) = (&truth.camera, saddle.view);
    let forms_about = |midline: &Midline, own: bool| {
        saddle.forms(&Scene { photo: &photo, camera, midline, view, hints: &[] }, seed, own)
    };
    let mut forms = Vec::new();
    for off_mm in ENDS_OFF_MM {
        let midline = saddle.midline_off(rng, off_mm);
        forms.extend(forms_about(&midline, true));
    }
    let Midline { front_mm, rear_mm, .. } = saddle.midline;
    let reversed = Midline::new(rear_mm, front_mm, saddle.view);
    forms.extend(forms_about(&reversed, false));
    let elsewhere = saddle.midline_elsewhere(rng);
    forms.extend(forms_about(&elsewhere, false));
    let scene = Scene { photo: &photo, camera, midline: &saddle.midline, view, hints: &[] };
    let mut rims = |part: Option<&Part>| -> Vec<Lesson> {
        let sides = SIDES.iter().flat_map(|&side| CURVE_OFF_MM.map(|off_mm| (side, off_mm)));
        let Some(part) = part else { return Vec::new() };
        sides.filter_map(|(side, off_mm)| part.rim(&scene, seed, rng, side, off_mm)).collect()
    };
    [forms, rims(Some(&saddle.seat)), rims(saddle.channel.as_ref())]
}

/// What is true of a drawn saddle, as the lessons need it.
struct TrueSaddle {
    view: View,
    midline: Midline,
    seat: Part,
    channel: Option<Part>,
    /// The channel's edges where they are seen in the horizontal of the seat's lift, in which a form is looked at.
    channel_in_form: Option<Part>,
}

/// Two edges of a saddle.
struct Part {
    lift: LiftProfile,
    /// Left and right edge in the card's horizontal, front to rear, and whether each point is hidden.
    edges: [Vec<(Vector2<f64>, bool)>; 2],
    /// Whether what lies outside of the form lies toward the midline.
    faces_midline: bool,
}

impl TrueSaddle {
    fn of(truth: &Truth) -> Self {
        let view = truth.view.expect("a saddle is seen from somewhere");
        let ends = truth.midline.expect("a saddle has a midline");
        let midline = Midline::new(flat(ends.front_mm), flat(ends.rear_mm), view);
        let edges = truth.edges.as_ref().expect("a saddle has edges");
        // Where a point is seen in the horizontal of the lift that is taken for it, which differs a little from its own.
        let seen_at = |p: [f64; 3], lift: &LiftProfile| {
            let station = midline.station_and_offset(flat(p), Side::Left).0;
            let pixel = truth.camera.photo_from_card(CardPoint::new(p[0], p[1], p[2]));
            let at = pixel.and_then(|pixel| truth.camera.card_from_photo(pixel, lift.at_mm(station)));
            at.map_or(flat(p), |at| at.horizontal())
        };
        let part = |name: &str, pair: &EdgePair, lift: &str| {
            let lift = truth.lifts.iter().find(|l| l.0 == lift).expect("a part has a lift").2.parse();
            let lift: LiftProfile = lift.expect("the lift can be read");
            let edges = [(&pair.left, "left"), (&pair.right, "right")].map(|(points, side)| {
                let is_hidden = |p: Vector2<f64>| {
                    let station = midline.station_and_offset(p, Side::Left).0;
                    let here = |h: &&Hidden| h.part == name && h.side == side;
                    truth.hidden.iter().filter(here).any(|h| (h.from..=h.to).contains(&station))
                };
                points.iter().map(|p| (seen_at(*p, &lift), is_hidden(flat(*p)))).collect()
            });
            Part { lift, edges, faces_midline: name == "channel" }
        };
        let channel = |lift| edges.channel.as_ref().map(|pair| part("channel", pair, lift));
        let seat = part("seat", &edges.seat, "seat");
        Self { view, midline, seat, channel: channel("channel"), channel_in_form: channel("seat") }
    }

    fn midline_off(&self, rng: &mut Rng, off_mm: f64) -> Midline {
        let mut off = |end: Vector2<f64>| end + Vector2::new(normal(rng), normal(rng)) * off_mm;
        Midline::new(off(self.midline.front_mm), off(self.midline.rear_mm), self.view)
    }

    fn midline_elsewhere(&self, rng: &mut Rng) -> Midline {
        let middle = 0.5 * (self.midline.front_mm + self.midline.rear_mm);
        loop {
            let centre = middle + Vector2::new(normal(rng), normal(rng)) * 150.0;
            let angle = std::f64::consts::TAU * rng.f64();
            let along = Vector2::new(angle.cos(), angle.sin());
            let turned_deg = along.dot(&self.midline.along()).clamp(-1.0, 1.0).acos().to_degrees();
            if (centre - middle).norm() > ELSEWHERE_MM || turned_deg > ELSEWHERE_DEG {
                let half = 0.5 * along * (360.0 + 120.0 * rng.f64());
                return Midline::new(centre - half, centre + half, self.view);
            }
        }
    }

    /// Both sides' forms about a midline; without the truth when it is not the saddle's.
    fn forms(&self, scene: &Scene, seed: u64, own: bool) -> Vec<Lesson> {
        let FormPictures { charts, planes, .. } = FormPictures::of(scene, &self.seat.lift);
        let sides = charts.iter().zip(planes).enumerate();
        sides.map(|(side, (chart, planes))| self.form(side, chart, planes, seed, own)).collect()
    }

    fn form(&self, side: usize, chart: &Chart, planes: Planes, seed: u64, own: bool) -> Lesson {
        let outline = self.seat.edges[0].iter().chain(self.seat.edges[1].iter().rev());
        let outline: Vec<_> = outline.copied().collect();
        let row_step = (chart.rays.len() - 1) as f64 / planes.rows as f64;
        let met = |row: usize, outline: &[(Vector2<f64>, bool)]| {
            let at = (row as f64 + 0.5) * row_step;
            let start = chart.plan_point(at, 0.0);
            let met = crossings(outline, start, chart.plan_point(at, 1.0) - start);
            met.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)).filter(|m| m.0 > 0.0)
        };
        let column = |(reach_mm, hidden): (f64, bool)| (form::column_of(reach_mm), hidden);
        let channel = self.channel_in_form.as_ref().filter(|_| own).map(|part| &part.edges[side]);
        let channel_column = |row: usize| met(row, channel?).filter(|m| !m.1).map(|m| column(m).0);
        let channel = (0..planes.rows).map(channel_column).collect();
        let outer = |row: usize| if own { met(row, &outline).map(column) } else { Some((0.0, true)) };
        Lesson { channel, ..Lesson::new(seed, planes, outer) }
    }
}

impl Part {
    /// A rim seen from a curve that is off by so much.
    fn rim(&self, scene: &Scene, seed: u64, rng: &mut Rng, side: Side, off_mm: f64) -> Option<Lesson> {
        let edge = &self.edges[if side == Side::Left { 0 } else { 1 }];
        let points: Vec<Vector2<f64>> = edge.iter().map(|p| p.0).collect();
        let chart = Chart::closed(scene.midline, side);
        let level_mm = off_mm * (2.0 * rng.f64() - 1.0);
        let [a, b, c] = [(); 3].map(|()| (20.0 + 70.0 * rng.f64(), std::f64::consts::TAU * rng.f64()));
        let wave =
            |x: f64, (length, phase): (f64, f64)| (x / length * std::f64::consts::TAU / 2.0 + phase).sin();
        let true_curve = Curve::of_side(&points, &chart, 0.0, self.faces_midline);
        let offsets: Vec<f64> = (0..true_curve.points.len())
            .map(|row| row as f64)
            .map(|x| level_mm + 0.4 * off_mm * (wave(x, a) + wave(x, b) + wave(x, c)))
            .collect();
        let curve = true_curve.moved(&offsets, 5.0);
        let (planes, rows) = rim::picture(scene, &self.lift, &curve)?;
        let column = |row: usize| {
            let row = rim::SAMPLES * row.min(rows - 1);
            let start = 0.5 * (curve.points[row] + curve.points[row + 1]);
            let met = crossings(edge, start, (curve.normals[row] + curve.normals[row + 1]).normalize());
            let (offset_mm, hidden) = met.into_iter().min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
            Some((rim::column_of(offset_mm), hidden))
        };
        Some(Lesson::new(seed, planes, column))
    }
}

fn flat(p: [f64; 3]) -> Vector2<f64> {
    Vector2::new(p[0], p[1])
}

impl Lesson {
    /// `column` gives for a row where the edge is and whether it is hidden there; `None` where it does not cross the row.
    fn new(seed: u64, planes: Planes, column: impl Fn(usize) -> Option<(f64, bool)>) -> Self {
        let met: Vec<_> = (0..planes.rows).map(column).collect();
        let inside = |c: f64| (0.0..=(planes.columns - 1) as f64).contains(&c);
        let columns = met.iter().map(|m| m.filter(|m| !m.1).map(|m| m.0)).collect();
        let passed_over = met.iter().map(|m| m.is_none_or(|m| !m.1 && !inside(m.0))).collect();
        Self { seed, planes, columns, channel: Vec::new(), passed_over }
    }
}

/// Where a line meets a polyline: how far along it, mm, and whether the polyline is hidden there.
fn crossings(outline: &[(Vector2<f64>, bool)], start: Vector2<f64>, along: Vector2<f64>) -> Vec<(f64, bool)> {
    let beside = |p: Vector2<f64>| along.perp(&(p - start));
    let meets = outline.windows(2).filter_map(|pair| {
        let (a, b) = (beside(pair[0].0), beside(pair[1].0));
        if a * b > 0.0 || a == b {
            return None;
        }
        let at = pair[0].0 + (pair[1].0 - pair[0].0) * (a / (a - b));
        Some(((at - start).dot(&along), pair[0].1))
    });
    meets.collect()
}

/// A number of the standard normal distribution (G. Box and M. Muller 1958).
fn normal(rng: &mut Rng) -> f64 {
    (-2.0 * (1.0 - rng.f64()).ln()).sqrt() * (std::f64::consts::TAU * rng.f64()).cos()
}
