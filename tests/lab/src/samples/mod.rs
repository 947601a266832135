//! `lab samples`: training samples for the networks of the outline.
//!
//! A sample is a network's picture of a photo of known truth, with that truth. `tests/lab/training/learn.py` reads the
//! samples of every kind from two files: `KIND.values` (upper halves of single-precision numbers, by row, channel, column)
//! and `KIND.lines` (one JSON object a sample).

mod subject;

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use anyhow::Context;
use clap::Args as ClapArgs;
use fastrand::Rng;
use nalgebra::Vector2;
use rayon::prelude::*;
use seatspan::camera::Camera;
use seatspan::card::{FoundCard, find_cards};
use seatspan::explain::Explanation;
use seatspan::numeric::frame::PhotoPoint;
use seatspan::outline::chart::Chart;
use seatspan::outline::curve::Curve;
use seatspan::outline::find::places;
use seatspan::outline::find::plane::PlaneView;
use seatspan::outline::form::{self, FormPictures};
use seatspan::outline::lift::LiftProfile;
use seatspan::outline::midline::Midline;
use seatspan::outline::network::net::Planes;
use seatspan::outline::{SIDES, Scene, View, rim};
use seatspan::photo::Photo;
use serde_json::{Value, json};

use crate::synth::{self, Truth};
use subject::{PlanEdge, PlanPart, PlanSaddle, Saddle, Subject};

/// Options of `lab samples`.
#[derive(Debug, ClapArgs)]
pub struct Args {
    /// Seed of the first synthetic photo
    pub first_seed: u64,
    /// How many seeds
    pub count: u64,
    /// Where to write the samples and the photos; photos that are already there are not rendered again
    pub folder: PathBuf,
    /// Folder of rendered photos, each with its NAME.truth.json, to be sampled as well
    #[arg(long)]
    pub photos: Option<PathBuf>,
}

/// Standard deviations of the midline's ends about the true ones and of the assumed lift, mm, one form a pair.
const FORM_OFF_MM: [(f64, f64); 4] = [(0.0, 0.0), (1.5, 4.0), (6.0, 12.0), (12.0, 25.0)];
/// Largest deviation of a rim's curve from the true edge, mm, one rim a value, and the lift's standard deviation.
const CURVE_OFF_MM: [f64; 4] = [0.5, 2.0, 5.0, 9.0];
const RIM_LIFT_OFF_MM: f64 = 8.0;
/// A midline shifted or turned by more than this is not the saddle's.
const ELSEWHERE_MM: f64 = 70.0;
const ELSEWHERE_DEG: f64 = 25.0;
/// Forms elsewhere, in a photo with a saddle and in one without.
const ELSEWHERE: [usize; 2] = [1, 4];
/// Spread of midlines about the photo's middle in photos without a saddle, mm.
const ABOUT_MM: f64 = 150.0;
/// Standard deviation of the plane's lift about the saddle's in the views for places, mm.
const PLANE_OFF_MM: f64 = 15.0;

/// Kinds of samples; a form also has the channel's columns.
const KINDS: [&str; 4] = ["form", "rim", "channel_rim", "places"];

/// Writes the samples of all seeds and photos.
///
/// # Errors
/// Where the folder cannot be written or a photo cannot be rendered or read.
pub fn run(args: &Args) -> anyhow::Result<()> {
    let folder = &args.folder;
    std::fs::create_dir_all(folder).with_context(|| format!("cannot create {}", folder.display()))?;
    let writers = KINDS.map(|kind| Writer::new(folder, kind).map(Mutex::new));
    let writers = writers.into_iter().collect::<std::io::Result<Vec<_>>>()?;
    let write = |name: &str, seed: u64, photo: &Photo, subject: &Subject| -> anyhow::Result<()> {
        let written = samples(seed, photo, subject);
        for (writer, samples) in writers.iter().zip(&written) {
            writer.lock().unwrap_or_else(PoisonError::into_inner).write(samples)?;
        }
        eprintln!("{name}: {} samples", written.iter().map(Vec::len).sum::<usize>());
        Ok(())
    };
    (0..args.count).into_par_iter().try_for_each(|i| {
        let seed = args.first_seed + i;
        let Some((photo, subject)) = synthetic(seed, folder)? else { return Ok(()) };
        write("synthetic", seed, &photo, &subject)
    })?;
    let rendered = args.photos.as_deref().map(truth_files).transpose()?.unwrap_or_default();
    rendered.into_par_iter().try_for_each(|file| {
        let (seed, photo, subject) = rendered_photo(&file).with_context(|| file.display().to_string())?;
        write(&file.display().to_string(), seed, &photo, &subject)
    })
}

fn truth_files(folder: &Path) -> anyhow::Result<Vec<PathBuf>> {
    let entries = std::fs::read_dir(folder).with_context(|| format!("cannot read {}", folder.display()))?;
    let mut files: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.retain(|file| file.to_string_lossy().ends_with(".truth.json"));
    files.sort();
    Ok(files)
}

/// A rendered photo with its truth; the digits of its name are the seed, the same for all photos of one saddle.
fn rendered_photo(truth: &Path) -> anyhow::Result<(u64, Photo, Subject)> {
    let name = truth.to_string_lossy().replace(".truth.json", "");
    let file_name = name.rsplit('/').next().unwrap_or_default();
    let digits: String = file_name.chars().filter(char::is_ascii_digit).collect();
    let value: Value = serde_json::from_slice(&std::fs::read(truth)?)?;
    let photo = Photo::open(Path::new(&format!("{name}.jpg")))?;
    Ok((digits.parse().unwrap_or_default(), photo, Subject::from_json(&value)?))
}

/// The photo of a seed, rendered unless its file exists, and its truth; `None` where it shows a part of a saddle.
fn synthetic(seed: u64, folder: &Path) -> anyhow::Result<Option<(Photo, Subject)>> {
    let mut scenario = synth::random(seed);
    let truth = Truth::of(&scenario, &scenario.camera.camera()?);
    let Some(subject) = Subject::synthetic(&truth)? else { return Ok(None) };
    // Half the usual supersampling: the sensor's blur hides the difference.
    scenario.supersample = 2;
    let path = folder.join(format!("{}.jpg", scenario.name));
    if !path.is_file() {
        std::fs::write(&path, synth::draw(&scenario)?.bytes)?;
    }
    Ok(Some((Photo::open(&path)?, subject)))
}

/// A picture with its truth.
struct Sample {
    planes: Planes,
    truth: Value,
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
            writeln!(self.lines, "{}", sample.truth)?;
        }
        Ok(())
    }
}

/// The samples of one photo, by kind.
fn samples(seed: u64, photo: &Photo, subject: &Subject) -> [Vec<Sample>; 4] {
    let rng = &mut Rng::with_seed(seed ^ photo.width_px() as u64);
    let view = FormPosterior { photo, camera: &subject.camera, seed };
    let cards = find_cards(photo).map(|found| found.cards).unwrap_or_default();
    let Some(saddle) = &subject.saddle else {
        let elsewhere = (0..ELSEWHERE[1]).filter_map(|_| view.middle(rng).map(|at| midline_about(at, rng)));
        let forms = elsewhere.flat_map(|midline| view.forms(&midline, &LiftProfile::unknown(), None));
        return [
            forms.collect(),
            Vec::new(),
            Vec::new(),
            view.places(&cards, None, 0.0).into_iter().collect(),
        ];
    };
    let mut forms = Vec::new();
    for (off_mm, lift_off_mm) in FORM_OFF_MM {
        let Some(plan) = saddle.at_lift_off(view.camera, lift_off_mm * normal(rng)) else { continue };
        forms.extend(view.forms(&plan.midline_off(rng, off_mm), &plan.seat.lift, Some(&plan)));
        if off_mm == 0.0 {
            let Midline { front_mm, rear_mm, .. } = plan.midline;
            forms.extend(view.forms(&Midline::new(rear_mm, front_mm, saddle.view), &plan.seat.lift, None));
            for _ in 0..ELSEWHERE[0] {
                forms.extend(view.forms(&plan.midline_elsewhere(rng), &plan.seat.lift, None));
            }
        }
    }
    let mut rims = [Vec::new(), Vec::new()];
    for off_mm in CURVE_OFF_MM {
        let Some(plan) = saddle.at_lift_off(view.camera, RIM_LIFT_OFF_MM * normal(rng)) else { continue };
        for side in [0, 1] {
            rims[0].extend(view.rim(&plan, &plan.seat, false, side, off_mm, rng));
            rims[1].extend(plan.channel.as_ref().and_then(|c| view.rim(&plan, c, true, side, off_mm, rng)));
        }
    }
    let lifts = [0.0, saddle.mean_lift_mm() + PLANE_OFF_MM * normal(rng)];
    let places = lifts.iter().filter_map(|&lift_mm| view.places(&cards, Some(saddle), lift_mm)).collect();
    let [seat_rims, channel_rims] = rims;
    [forms, seat_rims, channel_rims, places]
}

/// A photo and its camera.
struct FormPosterior<'a> {
    photo: &'a Photo,
    camera: &'a Camera,
    seed: u64,
}

impl FormPosterior<'_> {
    /// A point about the middle of the photo, in the card's plane.
    fn middle(&self, rng: &mut Rng) -> Option<Vector2<f64>> {
        let middle = PhotoPoint::new(0.5 * self.photo.width_px() as f64, 0.5 * self.photo.height_px() as f64);
        let at = self.camera.card_from_photo(middle, 0.0)?.horizontal();
        Some(at + Vector2::new(normal(rng), normal(rng)) * ABOUT_MM)
    }

    /// Both sides' forms about a midline; without `saddle` the midline is not a saddle's.
    fn forms(&self, midline: &Midline, lift: &LiftProfile, saddle: Option<&PlanSaddle>) -> Vec<Sample> {
        let Self { photo, camera, seed } = *self;
        let scene = Scene { photo, camera, midline, hints: &[], explain: Explanation::OFF };
        let FormPictures { charts, planes, .. } = FormPictures::of(&scene, lift);
        let sides = charts.iter().zip(planes).enumerate();
        sides.map(|(side, (chart, planes))| form_sample(seed, side, chart, planes, saddle)).collect()
    }

    /// A rim seen from a curve that deviates by `off_mm` from the true edge.
    fn rim(
        &self,
        saddle: &PlanSaddle,
        part: &PlanPart,
        faces_midline: bool,
        side: usize,
        off_mm: f64,
        rng: &mut Rng,
    ) -> Option<Sample> {
        let Self { photo, camera, seed } = *self;
        let midline = &saddle.midline;
        let scene = Scene { photo, camera, midline, hints: &[], explain: Explanation::OFF };
        let edge = &part.edges[side];
        let points: Vec<Vector2<f64>> = edge.iter().map(|p| p.0).collect();
        let chart = Chart::closed(midline, SIDES[side]);
        let level_mm = off_mm * (2.0 * rng.f64() - 1.0);
        let [a, b, c] = [(); 3].map(|()| (20.0 + 70.0 * rng.f64(), std::f64::consts::TAU * rng.f64()));
        let wave =
            |x: f64, (length, phase): (f64, f64)| (x / length * std::f64::consts::TAU / 2.0 + phase).sin();
        let true_curve = Curve::of_side(&points, &chart, 0.0, faces_midline);
        let offsets: Vec<f64> = (0..true_curve.points.len())
            .map(|row| row as f64)
            .map(|x| level_mm + 0.4 * off_mm * (wave(x, a) + wave(x, b) + wave(x, c)))
            .collect();
        let curve = true_curve.moved(&offsets, 5.0);
        let (planes, rows) = rim::picture(&scene, &part.lift, &curve)?;
        let column = |row: usize| {
            let row = rim::SAMPLES * row.min(rows - 1);
            let start = 0.5 * (curve.points[row] + curve.points[row + 1]);
            let met = crossings(edge, start, (curve.normals[row] + curve.normals[row + 1]).normalize());
            let (offset_mm, hidden) = met.into_iter().min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
            Some((rim::column_of(offset_mm), hidden))
        };
        Some(edge_sample(seed, planes, column, None))
    }

    /// The view from above in the plane at a lift, with the saddle's outline and ends in its cells.
    fn places(&self, cards: &[FoundCard], saddle: Option<&Saddle>, lift_mm: f64) -> Option<Sample> {
        let plane = PlaneView::of(self.photo, self.camera, cards, lift_mm)?;
        let planes = places::picture(&plane);
        let cells = |p: &Vector2<f64>| {
            let cell = plane.cell_of(*p);
            [cell.x, cell.y]
        };
        let outline = saddle.and_then(|saddle| saddle.outline_at(self.camera, lift_mm));
        let truth = json!({
            "seed": self.seed,
            "shape": [planes.rows, planes.channels, planes.columns],
            "outline": outline.as_ref().map(|o| o.0.iter().map(cells).collect::<Vec<_>>()),
            "ends": outline.as_ref().map(|o| o.1.each_ref().map(cells)),
        });
        Some(Sample { planes, truth })
    }
}

impl PlanSaddle {
    fn midline_off(&self, rng: &mut Rng, off_mm: f64) -> Midline {
        let mut off = |end: Vector2<f64>| end + Vector2::new(normal(rng), normal(rng)) * off_mm;
        Midline::new(off(self.midline.front_mm), off(self.midline.rear_mm), self.view)
    }

    /// A midline that is not the saddle's.
    fn midline_elsewhere(&self, rng: &mut Rng) -> Midline {
        let middle = 0.5 * (self.midline.front_mm + self.midline.rear_mm);
        loop {
            let centre = middle + Vector2::new(normal(rng), normal(rng)) * ABOUT_MM;
            let midline = midline_about(centre, rng);
            let turned_deg = midline.along().dot(&self.midline.along()).clamp(-1.0, 1.0).acos().to_degrees();
            if (centre - middle).norm() > ELSEWHERE_MM || turned_deg > ELSEWHERE_DEG {
                return midline;
            }
        }
    }
}

/// A midline of a saddle's length in any direction about a point.
fn midline_about(centre: Vector2<f64>, rng: &mut Rng) -> Midline {
    let angle = std::f64::consts::TAU * rng.f64();
    let half = 0.5 * Vector2::new(angle.cos(), angle.sin()) * (360.0 + 120.0 * rng.f64());
    Midline::new(centre - half, centre + half, View::Top)
}

fn form_sample(seed: u64, side: usize, chart: &Chart, planes: Planes, saddle: Option<&PlanSaddle>) -> Sample {
    let row_step = (chart.rays.len() - 1) as f64 / planes.rows as f64;
    let met = |row: usize, outline: &[(Vector2<f64>, bool)]| {
        let at = (row as f64 + 0.5) * row_step;
        let start = chart.plan_point(at, 0.0);
        let met = crossings(outline, start, chart.plan_point(at, 1.0) - start);
        met.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)).filter(|m| m.0 > 0.0)
    };
    let column = |(reach_mm, hidden): (f64, bool)| (form::column_of(reach_mm), hidden);
    let outline: Option<PlanEdge> = saddle.map(|saddle| {
        let [left, right] = &saddle.seat.edges;
        left.iter().chain(right.iter().rev()).copied().collect()
    });
    let channel = saddle.and_then(|saddle| saddle.channel_in_form.as_ref()).map(|part| &part.edges[side]);
    let channel_column = |row: usize| met(row, channel?).filter(|m| !m.1).map(|m| column(m).0);
    let channel = (0..planes.rows).map(channel_column).collect();
    let outer = |row: usize| match &outline {
        Some(outline) => met(row, outline).map(column),
        None => Some((0.0, true)),
    };
    edge_sample(seed, planes, outer, Some(channel))
}

/// A picture of an edge. `column` gives its column in a row, from the middle of the first one, and whether it is hidden there;
/// `None` where it does not cross the row. Rows in which it is outside the picture carry no weight.
fn edge_sample(
    seed: u64,
    planes: Planes,
    column: impl Fn(usize) -> Option<(f64, bool)>,
    channel: Option<Vec<Option<f64>>>,
) -> Sample {
    let met: Vec<_> = (0..planes.rows).map(column).collect();
    let inside = |c: f64| (0.0..=(planes.columns - 1) as f64).contains(&c);
    let columns: Vec<Option<f64>> = met.iter().map(|m| m.filter(|m| !m.1).map(|m| m.0)).collect();
    let passed_over: Vec<bool> = met.iter().map(|m| m.is_none_or(|m| !m.1 && !inside(m.0))).collect();
    let truth = json!({
        "seed": seed,
        "shape": [planes.rows, planes.channels, planes.columns],
        "columns": columns,
        "channel": channel,
        "passed_over": passed_over,
    });
    Sample { planes, truth }
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
