//! `seatspan lens`: calibrates a lens from photos of the card.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use crate::camera::calibrate::phone::{NoLens, PhoneLens, is_off_middle, phone_lens};
use crate::camera::calibrate::terms::NAMES;
use crate::camera::lens_file::LensFile;
use crate::camera::target::TargetView;
use crate::card::find_cards;
use crate::card::pattern::Pattern;
use crate::photo::{Photo, PhotoError};
use crate::sheet::safe_write;
use crate::width::COVERAGE;

/// Options of `seatspan lens`.
#[derive(Debug, Args)]
#[command(after_help = AFTER_HELP)]
pub struct LensArgs {
    /// Five or more photos of the printed card, all with one phone and without zoom
    #[arg(required = true, value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// The lens file to write [default: only print]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Overwrite an existing lens file
    #[arg(long)]
    pub force: bool,
    /// Print the lens as JSON, and nothing else
    #[arg(long)]
    pub json: bool,
}

const AFTER_HELP: &str = "\
Lay the card flat on the floor and photograph it so that it fills about half of the picture: once from straight above, \
once from each of its four sides at some 35 degrees, and with the card in the corners of the picture. Turn the phone by a \
quarter in some photos. Then use the file with measure and check: --lens FILE, or --lens FOLDER to choose by camera.

Exit status: 0 calibrated, 1 the photos do not determine the lens (what to add is on stderr), 2 an error of use or of the \
machine.

Example: seatspan lens card-*.jpg --out lenses/my-phone.toml";

/// Schema of the JSON output.
const SCHEMA: &str = "seatspan-lens-report/1";

/// The JSON output. Lengths are pixels of the stored picture; `u95` is an expanded uncertainty for 95 %.
#[derive(Debug, Serialize, JsonSchema)]
struct Report {
    schema: &'static str,
    camera: Option<String>,
    width_px: u32,
    height_px: u32,
    views: usize,
    /// Mean distance of the card from the camera, mm.
    distance_mm: f64,
    observations: usize,
    rms_px: f64,
    noise_ratio: f64,
    /// Scatter between views over that expected from the points' noise.
    views_ratio: f64,
    values: Vec<Value>,
    terms: usize,
    ladder: Vec<Rung>,
    covered: f64,
    reach: f64,
    print_aspect: f64,
    print_aspect_u95: f64,
    file: Option<String>,
}

/// A parameter with its uncertainty.
#[derive(Debug, Serialize, JsonSchema)]
struct Value {
    name: &'static str,
    value: f64,
    u95: f64,
}

/// A fit with a number of distortion terms.
#[derive(Debug, Serialize, JsonSchema)]
struct Rung {
    terms: usize,
    rms_px: f64,
    by_chance: Option<f64>,
}

/// Runs the command.
///
/// # Errors
/// Files that cannot be read or written, and photos of different cameras.
pub fn run(args: &LensArgs) -> anyhow::Result<u8> {
    if let Some(out) = args.out.as_ref().filter(|out| out.exists() && !args.force) {
        bail!("{} already exists; use --force to overwrite it, or another --out", out.display());
    }
    if let Some(folder) = args.out.as_ref().and_then(|out| out.parent()) {
        std::fs::create_dir_all(folder)
            .with_context(|| format!("cannot create the folder {}", folder.display()))?;
    }
    let Some(set) = Set::of(&args.photos)? else {
        eprintln!("seatspan: no photo shows the card; photograph the printed card, whole and in focus");
        return Ok(1);
    };
    match phone_lens(&set.views, set.size_px(), set.pattern) {
        Ok(found) => {
            let file = LensFile::of(&found, &set.first);
            if let Some(out) = &args.out {
                safe_write(out, file.text()?.as_bytes(), args.force)?;
            }
            let report = report(&found, &set, args.out.as_deref());
            let text =
                if args.json { serde_json::to_string_pretty(&report)? } else { text(&report, &found, &set) };
            super::say(&text);
            Ok(0)
        }
        Err(reason) => {
            eprintln!("seatspan: {}", refused(&reason));
            Ok(1)
        }
    }
}

fn refused(reason: &NoLens) -> String {
    format!("{reason}; {}", reason.hint())
}

/// The photos' views of the card, in the stored picture's pixels.
struct Set {
    first: Photo,
    views: Vec<TargetView>,
    pattern: &'static Pattern,
}

impl Set {
    /// Photos without the card are named and skipped. `None` when none has it.
    fn of(paths: &[PathBuf]) -> anyhow::Result<Option<Self>> {
        let mut set: Option<Self> = None;
        let mut hashes: Vec<(String, &Path)> = Vec::new();
        for path in paths {
            let photo = match Photo::open(path) {
                Ok(photo) => photo,
                Err(PhotoError::Io(error)) => return Err(error.into()),
                Err(PhotoError::Refused(refusal)) => {
                    skipped(path, &refusal.text);
                    continue;
                }
            };
            if let Some((_, other)) = hashes.iter().find(|(hash, _)| hash == photo.sha256()) {
                skipped(path, &format!("the same photo as {}", other.display()));
                continue;
            }
            hashes.push((photo.sha256().to_owned(), path));
            let found = match find_cards(&photo) {
                Ok(found) => found,
                Err(refusal) => {
                    skipped(path, &refusal.text);
                    continue;
                }
            };
            let map = photo.stored_from_upright();
            let views = found.cards.iter().map(|card| TargetView::from(card).turned(&map));
            match &mut set {
                None => {
                    let (views, pattern) = (views.collect(), found.cards[0].pattern);
                    set = Some(Self { first: photo, views, pattern });
                }
                Some(set) => {
                    set.same_camera(&photo, path)?;
                    set.views.extend(views);
                }
            }
        }
        Ok(set)
    }

    fn size_px(&self) -> [f64; 2] {
        self.first.stored_size_px().map(|s| s as f64)
    }

    fn same_camera(&self, photo: &Photo, path: &Path) -> anyhow::Result<()> {
        let (own, other) = (self.first.exif(), photo.exif());
        let ([w, h], [ow, oh]) = (self.first.stored_size_px(), photo.stored_size_px());
        let shown = path.display();
        if (w, h) != (ow, oh) {
            bail!("{shown} has {ow} x {oh} px, the first photo {w} x {h}; use photos of one size");
        }
        if (&own.make, &own.model) != (&other.make, &other.model) {
            bail!("{shown} is from another camera than the first photo; calibrate one camera at a time");
        }
        let zoomed = match (own.focal_mm, other.focal_mm) {
            (Some(a), Some(b)) => (a / b - 1.0).abs() > 0.01,
            _ => own.digital_zoom != other.digital_zoom,
        };
        if zoomed {
            bail!("{shown} has another focal length or zoom than the first photo; use one zoom setting");
        }
        Ok(())
    }
}

fn skipped(path: &Path, why: &str) {
    eprintln!("{}: skipped: {why}", path.display());
}

fn report(found: &PhoneLens, set: &Set, out: Option<&Path>) -> Report {
    let exif = set.first.exif();
    let camera: Vec<&str> = [&exif.make, &exif.model].into_iter().flatten().map(String::as_str).collect();
    let [w, h] = set.first.stored_size_px();
    let (lens, fit) = (&found.lens, &found.calibration);
    let names = ["focal length", "principal point x", "principal point y", "k1", "k2", "p1", "p2", "k3"];
    let values = [lens.focal_px, lens.cx_px, lens.cy_px].into_iter().chain(lens.distortion);
    Report {
        schema: SCHEMA,
        camera: (!camera.is_empty()).then(|| camera.join(" ")),
        width_px: w as u32,
        height_px: h as u32,
        views: set.views.len(),
        distance_mm: found.distance_mm(),
        observations: fit.counts.0,
        rms_px: fit.rms_px,
        noise_ratio: fit.noise_ratio,
        views_ratio: found.views_ratio,
        values: names
            .into_iter()
            .zip(values)
            .enumerate()
            .map(|(i, (name, value))| {
                let unit = if i == 0 { lens.focal_px } else { 1.0 };
                Value { name, value, u95: COVERAGE * unit * found.covariance[(i, i)].sqrt() }
            })
            .collect(),
        terms: found.terms,
        ladder: found
            .steps
            .iter()
            .map(|s| Rung { terms: s.terms, rms_px: s.rms_px, by_chance: s.by_chance })
            .collect(),
        covered: found.coverage.cells,
        reach: found.coverage.reach,
        print_aspect: fit.print_aspect.exp(),
        print_aspect_u95: COVERAGE * fit.u(10),
        file: out.map(|o| o.display().to_string()),
    }
}

fn text(report: &Report, found: &PhoneLens, set: &Set) -> String {
    let camera = report.camera.as_deref().unwrap_or("not named in the photos");
    let mut lines = vec![
        format!("camera           {camera}, photos of {} x {} px", report.width_px, report.height_px),
        format!(
            "views            {} of the card, {} sides measured; rms {:.2} px",
            report.views,
            report.observations / 2,
            report.rms_px
        ),
    ];
    lines.push(format!(
        "focused at       {:.2} m, the mean distance of the card",
        report.distance_mm / 1000.0
    ));
    let v = |i: usize| (report.values[i].value, report.values[i].u95);
    let ((f, fu), (x, xu), (y, yu)) = (v(0), v(1), v(2));
    lines.push(format!("focal length     {f:.1} ± {fu:.1} px"));
    lines.push(format!("principal point  {x:.1} ± {xu:.1}, {y:.1} ± {yu:.1} px"));
    for (i, name) in NAMES.iter().enumerate() {
        let (value, u95) = v(3 + i);
        let head = if i == 0 { "distortion" } else { "" };
        let held = if i < report.terms { "" } else { "  (prior: typical of phones)" };
        lines.push(format!("{head:16} {name} {value:+.5} ± {u95:.5}{held}"));
    }
    let last = report.ladder.iter().find(|r| r.terms == report.terms).and_then(|r| r.by_chance);
    lines.push(match last {
        Some(p) => format!(
            "terms            {} supported by the views (F test: the last of them by chance {})",
            report.terms,
            if p < 1e-4 { "< 0.0001".into() } else { format!("{p:.4}") }
        ),
        None => "terms            no distortion is supported by the views".into(),
    });
    lines.push(format!(
        "covered          {:.0} % of the picture, out to {:.0} % of the way to its corners",
        100.0 * report.covered,
        100.0 * report.reach
    ));
    lines.push("± is the expanded uncertainty for 95 % (coverage factor 1.96)".into());
    if is_off_middle(&found.lens, set.size_px()) {
        lines.push(
            "note: the principal point is far from the centre of the picture: were the photos cropped?"
                .into(),
        );
    }
    if let Some(file) = &report.file {
        lines.push(format!("written          {file}"));
    }
    lines.join("\n")
}
