//! `lab monte-carlo`: the uncertainty budget of a sheet checked by Monte Carlo simulation (JCGM 101:2008).

mod simulate;

use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::Args as ClapArgs;
use serde::Serialize;

use seatspan::camera::lens_choice::ChosenLens;
use seatspan::camera::print_scale::ScaleBy;
use seatspan::card::pattern::BAR_MM;
use seatspan::explain::Explanation;
use seatspan::numeric::frame::PhotoPoint;
use seatspan::outline::HiddenStretch;
use seatspan::outline::hint::Hint;
use seatspan::outline::lift::LiftProfile;
use seatspan::photo::Photo;
use seatspan::pipeline::{self, Measured, Request};
use seatspan::sheet::{self, FocalSource, LiftSource, MidlineSource, Sheet};
use seatspan::width::COVERAGE;
use simulate::{Compared, simulate};

/// Options of `lab monte-carlo`.
#[derive(Debug, ClapArgs)]
#[command(after_help = AFTER_HELP)]
pub struct Args {
    /// The sheet of one photo
    #[arg(value_name = "SHEET")]
    pub sheet: PathBuf,
    /// Its photo
    #[arg(value_name = "PHOTO")]
    pub photo: PathBuf,
    /// Lens file with which the sheet was made
    #[arg(long, value_name = "FILE|DIR")]
    pub lens: Option<PathBuf>,
    /// Number of draws
    #[arg(long, value_name = "N", default_value = "20000", value_parser = clap::value_parser!(u32).range(1000..=10_000_000))]
    pub draws: u32,
    /// Seed of the simulation
    #[arg(long, value_name = "N", default_value = "1")]
    pub seed: u64,
    /// Print the comparison as JSON, and nothing else
    #[arg(long)]
    pub json: bool,
}

const AFTER_HELP: &str = "\
The photo is measured again with the inputs of the sheet. Then camera, lifts, midline, edges and print scale are drawn from their \
distributions, and the named widths are computed for every draw (JCGM 101). Budget and simulation agree where the ends of their \
95 % intervals differ by at most half a unit of the second digit of the standard uncertainty, plus the simulation's own error.

Exit status: 0 they agree, 1 they differ for a width, 2 an error of use or of the machine.

Example:
  cargo run --release -p lab -- monte-carlo results/willow.sheet.json fixtures/demo/willow.jpg";

/// Name and version of what `--json` prints.
const SCHEMA: &str = "seatspan-monte-carlo/1";

/// What `--json` prints. Lengths are mm.
#[derive(Debug, Serialize)]
struct Report {
    schema: &'static str,
    photo: String,
    draws: u32,
    seed: u64,
    widths: Vec<Row>,
}

/// A named width by budget and by simulation.
#[derive(Debug, Serialize)]
struct Row {
    name: &'static str,
    mm: f64,
    u: f64,
    interval_95: [f64; 2],
    drawn_mm: f64,
    drawn_u: f64,
    drawn_interval_95: [f64; 2],
    tolerance: f64,
    agree: bool,
}

impl From<&Compared> for Row {
    fn from(c: &Compared) -> Self {
        Self {
            name: c.name.as_str(),
            mm: c.mm,
            u: c.u_mm,
            interval_95: [c.mm - COVERAGE * c.u_mm, c.mm + COVERAGE * c.u_mm],
            drawn_mm: c.drawn_mm,
            drawn_u: c.drawn_u_mm,
            drawn_interval_95: c.drawn_mm_95,
            tolerance: c.tolerance_mm,
            agree: c.agree(),
        }
    }
}

/// Compares budget and simulation: status 0 if they agree, else 1.
///
/// # Errors
/// A missing sheet or photo, or widths other than those of the sheet.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    let sheet = sheet::read(&args.sheet)?;
    let measured = measured_again(args, &sheet)?;
    let traced = &measured.traced;
    let compared = simulate(&traced.subject(&traced.located.fit), args.draws as usize, args.seed)
        .ok_or_else(|| {
            anyhow::anyhow!(
                "{}: too many draws leave the lens's model; calibrate the lens",
                args.sheet.display()
            )
        })?;
    let agree = compared.iter().all(Compared::agree);
    if args.json {
        let report = Report {
            schema: SCHEMA,
            photo: traced.located.photo.name().to_owned(),
            draws: args.draws,
            seed: args.seed,
            widths: compared.iter().map(Row::from).collect(),
        };
        println!("{}", serde_json::to_string_pretty(&report)?);
    } else {
        println!("{}", text(args, &compared));
    }
    Ok(u8::from(!agree))
}

/// The sheet's photo measured again, with what the sheet says was given.
fn measured_again(args: &Args, sheet: &Sheet) -> anyhow::Result<Measured> {
    let shown = args.sheet.display();
    if let Some(refusal) = &sheet.refused {
        anyhow::bail!("{shown} is a refusal ({}): nothing to check", refusal.text);
    }
    if let [first, .., _] = sheet.photos.as_slice() {
        anyhow::bail!(
            "{shown} is of {} photos measured together. Measure {} by itself, and check that sheet",
            sheet.photos.len(),
            first.file
        );
    }
    let with_lens = sheet.camera.as_ref().is_some_and(|c| c.focal_source == FocalSource::LensFile);
    if with_lens && args.lens.is_none() {
        anyhow::bail!("{shown} was made with a lens file: give it with --lens");
    }
    let named = sheet.photos.first().with_context(|| format!("{shown} names no photo"))?;
    let photo = Photo::open_if(&args.photo, &named.sha256)?;
    let photo = photo.with_context(|| format!("{} is not the photo of {shown}", args.photo.display()))?;
    let request = request(args, sheet, &photo)?;
    let measured = pipeline::measure(photo, &request, Explanation::OFF)
        .map_err(|refused| anyhow::anyhow!("{shown}: {}", refused.refusal.text))?;
    same_widths(sheet, &measured, &args.sheet)?;
    Ok(measured)
}

/// Source of the print scale; sheets of earlier versions do not state it.
fn scale_by(card: &sheet::Card) -> ScaleBy {
    let by = card.print_scale_by.unwrap_or(match card.print_scale {
        1.0 => sheet::ScaleSource::Printer,
        _ => sheet::ScaleSource::Bar,
    });
    match by {
        sheet::ScaleSource::Printer => ScaleBy::Printer,
        sheet::ScaleSource::Bar => ScaleBy::Bar(card.print_scale * BAR_MM),
        sheet::ScaleSource::BankCard => ScaleBy::BankCard,
    }
}

fn request(args: &Args, sheet: &Sheet, photo: &Photo) -> anyhow::Result<Request> {
    let given = sheet.midline.as_ref().filter(|m| m.source == MidlineSource::Given);
    let lift = |rows: &Option<Vec<[f64; 2]>>| {
        rows.as_ref().and_then(|rows| LiftProfile::measured(rows.iter().map(|r| (r[0], r[1])).collect()))
    };
    let measured = sheet.lift.as_ref().filter(|l| l.source != LiftSource::Assumed);
    Ok(Request {
        name: sheet.saddle.name.clone(),
        view: sheet.view,
        ends: given.map(|m| [m.front_px, m.rear_px].map(|[x, y]| PhotoPoint::new(x, y))),
        hints: sheet
            .hints
            .iter()
            .map(|h| Hint { part: h.part, pixel: PhotoPoint::new(h.px[0], h.px[1]) })
            .collect(),
        hidden: sheet
            .hidden
            .iter()
            .map(|h| HiddenStretch { part: h.part, side: h.side, from: h.from_at, to: h.to_at })
            .collect(),
        near: None,
        shown: None,
        seat_lift: measured.and_then(|l| lift(&l.seat)),
        channel_lift: sheet.lift.as_ref().and_then(|l| lift(&l.channel)),
        lens: args
            .lens
            .as_ref()
            .map(|given| ChosenLens::from_path(given, photo))
            .transpose()?
            .unwrap_or_default(),
        scale_by: sheet.cards.first().map_or(ScaleBy::Printer, scale_by),
    })
}

/// Largest difference by rounding of widths and ends in the sheet, mm.
const SAME_MM: f64 = 0.1;

fn same_widths(sheet: &Sheet, measured: &Measured, file: &Path) -> anyhow::Result<()> {
    for (name, width) in &measured.widths.named {
        let before = sheet.width(*name).map(|w| w.mm);
        if !before.is_some_and(|mm| (mm - width.mm).abs() <= SAME_MM) {
            let before = before.map_or_else(|| "nothing".into(), |mm| format!("{mm:.1} mm"));
            anyhow::bail!(
                "{}: {name} is now {:.1} mm, but {before} in the sheet; measure the photo again",
                file.display(),
                width.mm
            );
        }
    }
    Ok(())
}

fn text(args: &Args, compared: &[Compared]) -> String {
    let mut lines = vec![
        format!("{} draws of every input (JCGM 101), seed {}; mm", args.draws, args.seed),
        format!(
            "{:18} {:>8} {:>6}  {:17} {:>8} {:>6}  {:17}",
            "", "budget", "u", "95 %", "draws", "u", "95 %"
        ),
    ];
    for c in compared {
        let u95 = COVERAGE * c.u_mm;
        let interval = |[low, high]: [f64; 2]| format!("{low:7.2} .. {high:.2}");
        lines.push(format!(
            "{:18} {:8.2} {:6.3}  {:17} {:8.2} {:6.3}  {:17} {}",
            c.name,
            c.mm,
            c.u_mm,
            interval([c.mm - u95, c.mm + u95]),
            c.drawn_mm,
            c.drawn_u_mm,
            interval(c.drawn_mm_95),
            verdict(c)
        ));
    }
    lines.join("\n")
}

fn verdict(c: &Compared) -> String {
    if c.agree() {
        return format!("agree within {:.2} mm", c.tolerance_mm);
    }
    let words = |by: f64| if by >= 0.0 { "too wide" } else { "too narrow" };
    let [below, above] = c.wider_mm();
    format!(
        "differ: the budget's interval is {} by {:.2} mm below, {} by {:.2} mm above",
        words(below),
        below.abs(),
        words(above),
        above.abs()
    )
}
