//! `seatspan report`: writes a report of sheets as HTML and PDF.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::Args;

use super::assess::Judging;
use super::photo_file;
use super::values::{parse_paper, parse_purpose, parse_units};
use crate::canvas::{Canvas, Paper, has_glyph, pdf};
use crate::photo::sha256_hex;
use crate::report::figure::comparison::MOST;
use crate::report::judged;
use crate::report::page::{
    Document, Options, Purpose, ReportSubject, Verdicts, compare, html, pages, single, tiles,
};
use crate::report::shape::Shape;
use crate::report::units::Units;
use crate::sheet::{self, Sheet, safe_write};

/// Options of `seatspan report`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ReportArgs {
    /// The sheet; several make a comparison
    #[arg(required = true, value_name = "SHEET")]
    pub sheets: Vec<PathBuf>,
    /// Reader: the client, or a buyer (geometry alone, nothing about a rider)
    #[arg(long = "for", value_name = "client|sale", value_parser = parse_purpose, default_value = "client")]
    pub purpose: Purpose,
    /// Add the plan at true scale to the PDF
    #[arg(long)]
    pub true_scale: bool,
    /// Paper size
    #[arg(long, value_name = "a4|letter", value_parser = parse_paper, default_value = "a4")]
    pub paper: Paper,
    /// Unit shown first
    #[arg(long, value_name = "mm|in", value_parser = parse_units, default_value = "mm")]
    pub units: Units,
    /// Folder with the photos, besides the sheet's own
    #[arg(long, value_name = "DIR")]
    pub photos: Vec<PathBuf>,
    /// Output folder [default: beside the first sheet]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Add verdicts for the rider in this file
    #[arg(long, value_name = "FILE")]
    pub rider: Option<PathBuf>,
    /// Rules and confidence
    #[command(flatten)]
    pub judging: Judging,
    /// Overwrite existing reports
    #[arg(long)]
    pub force: bool,
}

const EXAMPLES: &str = "\
Writes NAME.report.html and NAME.report.pdf, for a sale NAME.sale.html and NAME.sale.pdf, of several
sheets comparison.report.html and comparison.report.pdf.

Examples:
  seatspan report results/willow.sheet.json --photos fixtures/demo
  seatspan report results/willow.sheet.json --rider fixtures/fit/riders/ilse.toml
  seatspan report results/willow.sheet.json --for sale --true-scale --paper letter --units in
  seatspan report shelf/*.sheet.json --out comparison";

/// Runs the command.
///
/// # Errors
/// A sheet that cannot be read, or a report that cannot be written.
pub fn run(args: &ReportArgs) -> anyhow::Result<u8> {
    if args.sheets.len() > MOST {
        bail!("give at most {MOST} sheets: more lines could not be distinguished");
    }
    if args.true_scale && args.sheets.len() > 1 {
        bail!("--true-scale needs a single sheet");
    }
    if args.rider.is_some() && args.purpose == Purpose::Sale {
        bail!("a report for a sale says nothing about a rider; leave out --rider or --for sale");
    }
    let outputs = Outputs::of(args)?;
    let sheets: Vec<(PathBuf, Sheet, String)> =
        args.sheets.iter().map(|file| read(file)).collect::<anyhow::Result<_>>()?;
    let subjects: Vec<ReportSubject> =
        sheets.iter().map(|(file, sheet, sha256)| subject(args, file, sheet, sha256)).collect();
    let plan = true_scale(args, &subjects[0])?;
    let verdicts = verdicts(args, &subjects)?;
    let options = Options {
        units: args.units,
        purpose: args.purpose,
        verdicts: verdicts.as_ref(),
        true_scale: !plan.is_empty(),
    };
    let document = match subjects.as_slice() {
        [one] => single::document(one, &options),
        several => compare::document(several, &options),
    };
    outputs.write(args, &document, plan)
}

/// The verdicts for the rider, if one is given.
fn verdicts(args: &ReportArgs, subjects: &[ReportSubject]) -> anyhow::Result<Option<Verdicts>> {
    let Some(rider) = &args.rider else { return Ok(None) };
    let judge = args.judging.read(Some(rider))?;
    let sheets: Vec<Sheet> = subjects.iter().map(|s| s.sheet.clone()).collect();
    let assessments = judge.by_saddle(&sheets)?;
    Ok(Some(match (assessments.as_slice(), subjects) {
        ([one], [subject]) => judged::verdicts(one, &judge.rules, subject.sheet),
        (several, _) => judged::several(several),
    }))
}

fn read(file: &Path) -> anyhow::Result<(PathBuf, Sheet, String)> {
    let (sheet, bytes) = sheet::read_with_bytes(file)?;
    Ok((file.to_path_buf(), sheet, sha256_hex(&bytes)))
}

fn subject<'a>(args: &ReportArgs, file: &Path, sheet: &'a Sheet, sha256: &str) -> ReportSubject<'a> {
    let name = file.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    // A comparison shows no photos, and a refused photo has no lines.
    let photo = match (args.sheets.len(), &sheet.refused) {
        (1, None) => photo_file::find(sheet, file, &args.photos),
        _ => Err(String::new()),
    };
    if let Err(reason) = &photo
        && !reason.is_empty()
    {
        eprintln!("{}: the report has no picture: {reason}", file.display());
    }
    ReportSubject { sheet, file: name, sha256: sha256.to_owned(), photo }
}

fn true_scale(args: &ReportArgs, subject: &ReportSubject) -> anyhow::Result<Vec<Canvas>> {
    if !args.true_scale {
        return Ok(Vec::new());
    }
    match Shape::of(subject.sheet).filter(|_| subject.sheet.refused.is_none()) {
        Some(shape) => Ok(tiles::pages(&shape, &subject.sheet.saddle.name, args.paper)),
        None => bail!("{}: there is no outline to print at true scale", subject.file),
    }
}

/// The two output files, checked before the work.
struct Outputs {
    html: PathBuf,
    pdf: PathBuf,
}

impl Outputs {
    fn of(args: &ReportArgs) -> anyhow::Result<Self> {
        let first = &args.sheets[0];
        let folder = match &args.out {
            Some(folder) => {
                std::fs::create_dir_all(folder)
                    .with_context(|| format!("cannot create the folder {}", folder.display()))?;
                folder.clone()
            }
            None => first.parent().map(Path::to_path_buf).unwrap_or_default(),
        };
        let name = match args.sheets.len() {
            1 => first.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned()),
            _ => "comparison".into(),
        };
        let stem = name.trim_end_matches(".json").trim_end_matches(".sheet");
        let kind = match args.purpose {
            Purpose::Client => "report",
            Purpose::Sale => "sale",
        };
        let of = |ending: &str| folder.join(format!("{stem}.{kind}.{ending}"));
        let outputs = Self { html: of("html"), pdf: of("pdf") };
        if let Some(path) = [&outputs.html, &outputs.pdf].into_iter().find(|p| !args.force && p.exists()) {
            bail!("{} already exists; use --force to overwrite it, or another --out", path.display());
        }
        Ok(outputs)
    }

    fn write(&self, args: &ReportArgs, document: &Document, plan: Vec<Canvas>) -> anyhow::Result<u8> {
        let html = html(document, args.paper).context("the page could not be rendered")?;
        let mut pages = pages(document, args.paper);
        pages.extend(plan);
        warn_of_missing_glyphs(&pages);
        let pdf = pdf(&pages, &format!("{} – {}", document.title, document.kind))?;
        safe_write(&self.html, html.as_bytes(), args.force)?;
        safe_write(&self.pdf, &pdf, args.force)?;
        super::say(&format!("{}\n{}", self.html.display(), self.pdf.display()));
        Ok(0)
    }
}

/// Warns of characters that the PDF's typeface lacks.
fn warn_of_missing_glyphs(pages: &[Canvas]) {
    let missing: std::collections::BTreeSet<char> = pages
        .iter()
        .flat_map(Canvas::texts)
        .flat_map(|l| l.text.chars())
        .filter(|c| !has_glyph(*c))
        .collect();
    if !missing.is_empty() {
        let shown: String = missing.iter().take(12).collect();
        let more = if missing.len() > 12 { " and others" } else { "" };
        eprintln!(
            "the PDF shows boxes for {shown}{more}, which its typeface lacks; the HTML page shows them"
        );
    }
}
