//! `lab samples`: training samples for the networks of the outline.
//!
//! A sample is what a network sees of a synthetic photo, with the true column of the edge in every row. `tests/lab/training/learn.py`
//! reads the samples of every kind (`form`, `rim`, `channel_rim`) from two files: `KIND.values` (upper halves of single-precision
//! numbers, by row, channel, column) and `KIND.lines` (one JSON object a sample).

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use anyhow::Context;
use clap::Args as ClapArgs;
use fastrand::Rng;
use nalgebra::Vector2;
use rayon::prelude::*;
use seatspan::explain::Explanation;
use seatspan::numeric::frame::CardPoint;
use seatspan::outline::chart::Chart;
use seatspan::outline::curve::Curve;
use seatspan::outline::form::{self, FormPictures};
use seatspan::outline::learnt::net::Planes;
use seatspan::outline::lift::LiftProfile;
use seatspan::outline::midline::Midline;
use seatspan::outline::{SIDES, Scene, Side, View, rim};
use seatspan::photo::Photo;
use serde_json::json;

use crate::synth::{self, EdgePair, Hidden, Truth};

/// Options of `lab samples`.
#[derive(Debug, ClapArgs)]
pub struct Args {
    /// Seed of the first synthetic photo
    pub first_seed: u64,
    /// How many seeds; those without a whole saddle give no samples
    pub count: u64,
    /// Where to write the samples and the photos; photos that are already there are not rendered again
    pub folder: PathBuf,
}

/// Standard deviation of the midline's ends about the true ones, mm, one form a value.
const ENDS_OFF_MM: [f64; 3] = [0.0, 1.5, 6.0];
/// Largest deviation of a rim's curve from the true edge, mm, one rim a value.
const CURVE_OFF_MM: [f64; 4] = [0.5, 2.0, 5.0, 9.0];
/// A midline shifted or turned by more than this is not the saddle's.
const ELSEWHERE_MM: f64 = 70.0;
const ELSEWHERE_DEG: f64 = 25.0;

/// Kinds of samples; a form also has the channel's columns.
const KINDS: [&str; 3] = ["form", "rim", "channel_rim"];

/// Writes the samples of all seeds.
///
/// # Errors
/// Where the folder cannot be written or a photo cannot be rendered.
pub fn run(args: &Args) -> anyhow::Result<()> {
    let folder = &args.folder;
    std::fs::create_dir_all(folder).with_context(|| format!("cannot create {}", folder.display()))?;
    let writers = KINDS.map(|kind| Writer::new(folder, kind).map(Mutex::new));
    let writers = writers.into_iter().collect::<std::io::Result<Vec<_>>>()?;
    (0..args.count).into_par_iter().try_for_each(|i| {
        let seed = args.first_seed + i;
        let written = samples(seed, folder)?;
        for (writer, samples) in writers.iter().zip(&written) {
            writer.lock().unwrap_or_else(std::sync::PoisonError::into_inner).write(samples)?;
        }
        eprintln!("seed {seed}: {} samples", written.iter().map(Vec::len).sum::<usize>());
        Ok(())
    })
}

/// A picture and the true column of the edge in each row, counted from the middle of the first column; `None` where the edge is
/// hidden or absent.
struct Sample {
    seed: u64,
    planes: Planes,
    columns: Vec<Option<f64>>,
    /// The channel's edge, in a form.
    channel: Vec<Option<f64>>,
    /// Rows without weight in training: the edge exists but lies outside the picture.
    passed_over: Vec<bool>,
}

struct Writer {
    values: BufWriter<File>,
    lines: BufWriter<File>,
}

impl Writer {
    fn new(folder: &Path, kind: &str) -> std::io::Result<Self> {
        let create = |ending: &str| File::create(folder.join(format!("{kind}.{ending}"))).map(BufWriter::new);
        Ok(Self { values: create("values")?, lines: create("lines")? })
    }

    fn write(&mut self, samples: &[Sample]) -> std::io::Result<()> {
        for sample in samples {
            let planes = &sample.planes;
            for row in 0..planes.rows {
                for channel in 0..planes.channels {
                    let halves = planes.line(row, channel).iter().map(|v| (v.to_bits() >> 16) as u16);
                    let bytes: Vec<u8> = halves.flat_map(u16::to_le_bytes).collect();
                    self.values.write_all(&bytes)?;
                }
            }
            let line = json!({
                "seed": sample.seed,
                "shape": [planes.rows, planes.channels, planes.columns],
                "columns": sample.columns,
                "channel": sample.channel,
                "passed_over": sample.passed_over,
            });
            writeln!(self.lines, "{line}")?;
        }
        Ok(())
    }
}

/// The photo of a seed, rendered unless its file exists, and its truth; `None` where it shows no whole saddle.
fn photo(seed: u64, folder: &Path) -> anyhow::Result<Option<(Photo, Truth)>> {
    let mut scenario = synth::random(seed);
    if !scenario.name.starts_with("saddle") {
        return Ok(None);
    }
    // Half the usual supersampling: the sensor's blur hides the difference.
    scenario.supersample = 2;
    let path = folder.join(format!("{}.jpg", scenario.name));
    if !path.is_file() {
        std::fs::write(&path, synth::draw(&scenario)?.bytes)?;
    }
    let truth = Truth::of(&scenario, &scenario.camera.camera()?);
    Ok(Some((Photo::open(&path)?, truth)))
}

/// The samples of one seed, by kind.
fn samples(seed: u64, folder: &Path) -> anyhow::Result<[Vec<Sample>; 3]> {
    let Some((photo, truth)) = photo(seed, folder)? else { return Ok(Default::default()) };
    let saddle = TrueSaddle::of(&truth);
    let rng = &mut Rng::with_seed(seed);
    let (camera, view) = (&truth.camera, saddle.view);
    let forms_about = |midline: &Midline, own: bool| {
        saddle.forms(
            &Scene { photo: &photo, camera, midline, view, hints: &[], explain: Explanation::OFF },
            seed,
            own,
        )
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
    let scene = Scene {
        photo: &photo,
        camera,
        midline: &saddle.midline,
        view,
        hints: &[],
        explain: Explanation::OFF,
    };
    let mut rims = |part: Option<&Part>| -> Vec<Sample> {
        let sides = SIDES.iter().flat_map(|&side| CURVE_OFF_MM.map(|off_mm| (side, off_mm)));
        let Some(part) = part else { return Vec::new() };
        sides.filter_map(|(side, off_mm)| part.rim(&scene, seed, rng, side, off_mm)).collect()
    };
    Ok([forms, rims(Some(&saddle.seat)), rims(saddle.channel.as_ref())])
}

/// The ground truth of a saddle as the samples need it.
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
    fn forms(&self, scene: &Scene, seed: u64, own: bool) -> Vec<Sample> {
        let FormPictures { charts, planes, .. } = FormPictures::of(scene, &self.seat.lift);
        let sides = charts.iter().zip(planes).enumerate();
        sides.map(|(side, (chart, planes))| self.form(side, chart, planes, seed, own)).collect()
    }

    fn form(&self, side: usize, chart: &Chart, planes: Planes, seed: u64, own: bool) -> Sample {
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
        Sample { channel, ..Sample::new(seed, planes, outer) }
    }
}

impl Part {
    /// A rim seen from a curve that is off by so much.
    fn rim(&self, scene: &Scene, seed: u64, rng: &mut Rng, side: Side, off_mm: f64) -> Option<Sample> {
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
        Some(Sample::new(seed, planes, column))
    }
}

fn flat(p: [f64; 3]) -> Vector2<f64> {
    Vector2::new(p[0], p[1])
}

impl Sample {
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

/// A standard normal deviate (G. Box and M. Muller 1958).
fn normal(rng: &mut Rng) -> f64 {
    (-2.0 * (1.0 - rng.f64()).ln()).sqrt() * (std::f64::consts::TAU * rng.f64()).cos()
}
