//! `seatspan report`: writes a report of sheets as HTML and PDF.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::Args;

use super::assess::Judging;
use super::judge::Judge;
use super::photo_file;
use super::values::{parse_paper, parse_purpose, parse_units};
use crate::canvas::{Canvas, Paper, has_glyph, pdf};
use crate::fit::compare::by_saddle;
use crate::photo::sha256_hex;
use crate::report::figure::comparison::MOST;
use crate::report::judged;
use crate::report::letterhead::Letterhead;
use crate::report::page::client::ClientPage;
use crate::report::page::{
    Document, Options, Purpose, ReportSubject, Verdicts, compare, html, pages, single, tiles, whole,
};
use crate::report::shape::Shape;
use crate::report::units::Units;
use crate::report::words::width;
use crate::sheet::{self, Sheet, safe_write};

/// Options of `seatspan report`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ReportArgs {
    /// The sheet; several of one saddle make one report, of several saddles a comparison
    #[arg(required = true, value_name = "SHEET")]
    pub sheets: Vec<PathBuf>,
    /// Reader: the fitter (everything), the client (one page), or a buyer (geometry alone)
    #[arg(long = "for", value_name = "fitter|client|sale", value_parser = parse_purpose, default_value = "fitter")]
    pub purpose: Purpose,
    /// Recommendation on the client's page, in your words; a line is a paragraph
    #[arg(long, value_name = "TEXT")]
    pub advice: Option<String>,
    /// Settings file with the letterhead of the client's page
    #[arg(long, value_name = "FILE")]
    pub settings: Option<PathBuf>,
    /// Add the plan at true scale to the PDF
    #[arg(long)]
    pub true_scale: bool,
    /// Write nothing: say whether this check code of a page for a buyer is the sheet's
    #[arg(long, value_name = "CODE")]
    pub verify: Option<String>,
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
Writes NAME.report.html and NAME.report.pdf; for the client NAME.client.html and .pdf, for a sale
NAME.sale.html and .pdf, of several saddles comparison.report.html and .pdf.

A settings file is TOML:
  [letterhead]
  name = \"Vale Saddle Fitting\"
  lines = [\"1 Mill Lane, Vale\", \"telephone ...\"]

Examples:
  seatspan report results/willow.sheet.json --photos fixtures/demo
  seatspan report shelf/willow-top.sheet.json shelf/willow-underside.sheet.json --rider ilse.toml
  seatspan report willow-*.sheet.json --for client --rider ilse.toml --advice \"Ride it.\"
  seatspan report results/willow.sheet.json --for sale --saddle willow.toml --true-scale
  seatspan report results/willow.sheet.json --verify 1a2b-3c4d-5e6f
  seatspan report shelf/*.sheet.json --out comparison";

/// Runs the command.
///
/// # Errors
/// A sheet that cannot be read, or a report that cannot be written.
pub fn run(args: &ReportArgs) -> anyhow::Result<u8> {
    if args.sheets.len() > MOST {
        bail!("give at most {MOST} sheets: more lines could not be distinguished");
    }
    let files: Vec<SheetFile> = args.sheets.iter().map(|file| read(file)).collect::<anyhow::Result<_>>()?;
    if let Some(code) = &args.verify {
        return verify(&files, code, args.units);
    }
    let sheets: Vec<Sheet> = files.iter().map(|file| file.sheet.clone()).collect();
    let again = |i: usize| sheets[..i].iter().any(|s| s.view == sheets[i].view);
    let one_saddle = by_saddle(&sheets).len() == 1 && !(1..sheets.len()).any(again);
    check(args, &sheets, one_saddle)?;
    let outputs = Outputs::of(args, one_saddle)?;
    let judge = args.judging.read(args.rider.as_slice())?;
    if args.purpose == Purpose::Client {
        let document = client_page(args, &judge, &sheets)?;
        return outputs.write(args, [&document, &document], Vec::new());
    }
    let subjects: Vec<ReportSubject> = files.iter().map(|file| subject(args, file, one_saddle)).collect();
    let verdicts = args.rider.as_ref().map(|_| verdicts(&judge, &sheets, one_saddle)).transpose()?;
    let name = &sheets[0].saddle.name;
    let sale = judge.entered.saddle(name).map_or(&[][..], |saddle| &saddle.sale);
    let options = |true_scale| Options {
        units: args.units,
        purpose: args.purpose,
        verdicts: verdicts.as_ref(),
        true_scale,
        sale,
    };
    // Only the PDF has pages at true scale.
    let documents = [false, args.true_scale].map(|true_scale| match one_saddle {
        true => single::document(&subjects, &options(true_scale)),
        false => compare::document(&subjects, &options(true_scale)),
    });
    outputs.write(args, [&documents[0], &documents[1]], more_pages(args, &subjects)?)
}

/// Options that contradict one another or the sheets.
fn check(args: &ReportArgs, sheets: &[Sheet], one_saddle: bool) -> anyhow::Result<()> {
    if args.true_scale && !one_saddle {
        bail!("--true-scale needs the sheets of a single saddle");
    }
    if args.rider.is_some() && args.purpose == Purpose::Sale {
        bail!("a report for a sale says nothing about a rider; leave out --rider or --for sale");
    }
    if args.purpose == Purpose::Client && sheets.iter().any(|s| s.saddle.name != sheets[0].saddle.name) {
        bail!("the client's page is about one saddle; give the sheets of one name");
    }
    if args.purpose != Purpose::Client && (args.advice.is_some() || args.settings.is_some()) {
        bail!("--advice and --settings belong to the client's page; add --for client");
    }
    Ok(())
}

/// Whether a code is that of one of the sheets, whose widths are then listed.
fn verify(files: &[SheetFile], given: &str, units: Units) -> anyhow::Result<u8> {
    let plain = |code: &str| code.chars().filter(char::is_ascii_hexdigit).collect::<String>().to_lowercase();
    let found = files.iter().find(|f| plain(&single::code(&f.sha256)) == plain(given));
    let Some(file) = found else {
        super::say("no: the code is that of another file, or the file was changed");
        return Ok(1);
    };
    super::say(&format!("yes: the code is that of {}", file.path.display()));
    for w in &file.sheet.widths {
        super::say(&format!("  {}: {}", width(file.sheet.view, w.name), units.both(w.mm, w.u95)));
    }
    Ok(0)
}

/// The client's page.
fn client_page(args: &ReportArgs, judge: &Judge, sheets: &[Sheet]) -> anyhow::Result<Document> {
    let letterhead = args.settings.as_deref().map(Letterhead::read).transpose()?.unwrap_or_default();
    let assessment = judge.saddle(sheets)?;
    let page = ClientPage {
        sheets,
        assessment: &assessment,
        letterhead: &letterhead,
        advice: args.advice.as_deref().unwrap_or_default(),
        date: judge.entered.rider.date.as_deref(),
        units: args.units,
    };
    let document = page.document(args.paper);
    if pages(&document, args.paper).len() > 1 {
        eprintln!("the client's page takes more than one sheet of paper; shorten the recommendation");
    }
    Ok(document)
}

/// The verdicts for the rider.
fn verdicts(judge: &Judge, sheets: &[Sheet], one_saddle: bool) -> anyhow::Result<Verdicts> {
    let assessments = judge.by_saddle(sheets)?;
    Ok(match assessments.as_slice() {
        [one] if one_saddle => judged::verdicts(one, &judge.rules, sheets),
        several => judged::several(several),
    })
}

/// A sheet with its file.
struct SheetFile {
    path: PathBuf,
    sheet: Sheet,
    sha256: String,
}

fn read(file: &Path) -> anyhow::Result<SheetFile> {
    let (sheet, bytes) = sheet::read_with_bytes(file)?;
    Ok(SheetFile { path: file.to_path_buf(), sheet, sha256: sha256_hex(&bytes) })
}

fn subject<'a>(args: &ReportArgs, file: &'a SheetFile, one_saddle: bool) -> ReportSubject<'a> {
    let name = file.path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    // A comparison shows no photos, and a refused photo has no lines.
    let photo = match (one_saddle, &file.sheet.refused) {
        (true, None) => photo_file::find(&file.sheet, &file.path, &args.photos),
        _ => Err(String::new()),
    };
    if let Err(reason) = &photo
        && !reason.is_empty()
    {
        eprintln!("{}: the report has no picture: {reason}", file.path.display());
    }
    ReportSubject { sheet: &file.sheet, file: name, sha256: file.sha256.clone(), photo }
}

/// The pages after a report: for a buyer every width in whole length, and the plan at true scale.
fn more_pages(args: &ReportArgs, subjects: &[ReportSubject]) -> anyhow::Result<Vec<Canvas>> {
    let measured = subjects.iter().filter(|s| s.sheet.refused.is_none());
    let shapes: Vec<Shape> = measured.filter_map(|s| Shape::of(s.sheet)).collect();
    let name = &subjects[0].sheet.saddle.name;
    let mut pages = Vec::new();
    if args.purpose == Purpose::Sale && !shapes.is_empty() {
        pages.push(whole::page(&shapes.iter().collect::<Vec<_>>(), name, args.paper, args.units));
    }
    if args.true_scale {
        if shapes.is_empty() {
            bail!("{}: there is no outline to print at true scale", subjects[0].file);
        }
        pages.extend(shapes.iter().flat_map(|shape| tiles::pages(shape, name, args.paper)));
    }
    Ok(pages)
}

/// The two output files, checked before the work.
struct Outputs {
    html: PathBuf,
    pdf: PathBuf,
}

impl Outputs {
    fn of(args: &ReportArgs, one_saddle: bool) -> anyhow::Result<Self> {
        let first = &args.sheets[0];
        let folder = match &args.out {
            Some(folder) => {
                std::fs::create_dir_all(folder)
                    .with_context(|| format!("cannot create the folder {}", folder.display()))?;
                folder.clone()
            }
            None => first.parent().map(Path::to_path_buf).unwrap_or_default(),
        };
        let stem = if one_saddle || args.purpose == Purpose::Client {
            stem(&args.sheets)
        } else {
            "comparison".into()
        };
        let kind = match args.purpose {
            Purpose::Fitter => "report",
            Purpose::Client => "client",
            Purpose::Sale => "sale",
        };
        let of = |ending: &str| folder.join(format!("{stem}.{kind}.{ending}"));
        let outputs = Self { html: of("html"), pdf: of("pdf") };
        if let Some(path) = [&outputs.html, &outputs.pdf].into_iter().find(|p| !args.force && p.exists()) {
            bail!("{} already exists; use --force to overwrite it, or another --out", path.display());
        }
        Ok(outputs)
    }

    /// Writes the page from the first document and the PDF from the second, with more pages after it.
    fn write(
        &self,
        args: &ReportArgs,
        [on_screen, printed]: [&Document; 2],
        more: Vec<Canvas>,
    ) -> anyhow::Result<u8> {
        let html = html(on_screen, args.paper).context("the page could not be rendered")?;
        let mut pages = pages(printed, args.paper);
        pages.extend(more);
        warn_of_missing_glyphs(&pages);
        let pdf = pdf(&pages, &format!("{} – {}", printed.title, printed.kind))?;
        safe_write(&self.html, html.as_bytes(), args.force)?;
        safe_write(&self.pdf, &pdf, args.force)?;
        super::say(&format!("{}\n{}", self.html.display(), self.pdf.display()));
        Ok(0)
    }
}

/// What the files' names begin with together, without their ending.
fn stem(files: &[PathBuf]) -> String {
    let names = files
        .iter()
        .map(|file| file.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned()));
    let stems: Vec<String> =
        names.map(|n| n.trim_end_matches(".json").trim_end_matches(".sheet").to_owned()).collect();
    let [first, others @ ..] = stems.as_slice() else { return "saddle".into() };
    let alike = first
        .char_indices()
        .find(|(i, c)| others.iter().any(|o| !o.get(*i..).is_some_and(|rest| rest.starts_with(*c))));
    let common = if others.is_empty() { first } else { &first[..alike.map_or(first.len(), |(i, _)| i)] };
    let common = common.trim_end_matches(['-', '_', '.', ' ']);
    if common.is_empty() { "saddle".into() } else { common.to_owned() }
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
