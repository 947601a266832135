//! `seatspan shelf`: lists, searches and exports a folder of sheets.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::Args;

use super::assess::Judging;
use super::values::{parse_units, parse_view};
use crate::fit::assess::CAUTIONS;
use crate::fit::result::Standing;
use crate::fit::rule::About;
use crate::fit::unit::parse_length_mm;
use crate::numeric::words::View;
use crate::report::assessment::standing_words;
use crate::report::judged;
use crate::report::units::Units;
use crate::report::words::{harmless, plain};
use crate::sheet::shelf::{self, Range, Shelf, ShelfFilter, records};
use crate::sheet::summary::{SHELF_WIDTHS, SheetSummary, ShelfWidth};
use crate::sheet::{self, safe_write};

/// Options of `seatspan shelf`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct ShelfArgs {
    /// The folder, with its subfolders
    #[arg(value_name = "DIR", default_value = ".")]
    pub folder: PathBuf,
    /// Only saddles whose name contains this (case ignored)
    #[arg(long, value_name = "TEXT")]
    pub name: Option<String>,
    /// Only this view
    #[arg(long, value_name = "top|underside", value_parser = parse_view)]
    pub view: Option<View>,
    /// Only photos taken on this day or later
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = parse_day)]
    pub since: Option<String>,
    /// Only photos taken on this day or earlier
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = parse_day)]
    pub until: Option<String>,
    /// Only saddles whose named width may lie in this range, in mm or another unit; repeat for more widths
    #[arg(long = "width", value_name = "NAME=MIN..MAX", value_parser = parse_range)]
    pub widths: Vec<Range>,
    /// Only sheets of the same photo
    #[arg(long)]
    pub duplicates: bool,
    /// Only refused photos
    #[arg(long)]
    pub refused: bool,
    /// Only saddles that could suit the rider in this file, the best first
    #[arg(long, value_name = "FILE")]
    pub rider: Option<PathBuf>,
    /// Rules and confidence
    #[command(flatten)]
    pub judging: Judging,
    /// Sort by name, date, path or a named width
    #[arg(long, value_name = "KEY", default_value = "path", value_parser = parse_sort)]
    pub sort: SortKey,
    /// Unit of the list
    #[arg(long, value_name = "mm|in", value_parser = parse_units, default_value = "mm")]
    pub units: Units,
    /// Write the result as CSV
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
    /// Write the result as JSON Lines
    #[arg(long, value_name = "FILE")]
    pub json_lines: Option<PathBuf>,
    /// Print the result as JSON Lines, and nothing else
    #[arg(long)]
    pub json: bool,
    /// Overwrite existing files
    #[arg(long)]
    pub force: bool,
}

const EXAMPLES: &str = "\
A width matches a range if its 95 % interval reaches into it; ~ marks one that may lie outside.
With --rider, sheets with one name are one saddle.
CSV columns are separated by commas, decimals by points.

Examples:
  seatspan shelf ~/saddles
  seatspan shelf ~/saddles --view top --width seat.widest=205..225 --sort seat.widest
  seatspan shelf ~/saddles --width seat.waist=..90 --width channel.narrowest=7cm..
  seatspan shelf ~/saddles --since 2026-05-01 --name willow --csv may.csv
  seatspan shelf fixtures/fit/saddles --rider fixtures/fit/riders/ilse.toml
  seatspan shelf ~/saddles --json | head -1";

/// Sort key.
#[derive(Debug, Clone, PartialEq)]
pub enum SortKey {
    /// The sheet's path.
    Path,
    /// The saddle's name.
    Name,
    /// When the photo was taken.
    Date,
    /// A named width.
    Width(ShelfWidth),
}

fn known_width(code: &str) -> Result<ShelfWidth, String> {
    let known = SHELF_WIDTHS.map(|w| w.code).join(", ");
    let found = SHELF_WIDTHS.into_iter().find(|w| w.code == code);
    found.ok_or_else(|| format!("'{code}' is not a named width: {known}"))
}

fn parse_range(text: &str) -> Result<Range, String> {
    let example = "such as seat.widest=205..225 or, with one limit, seat.waist=..90";
    let (name, range) = text.split_once('=').ok_or_else(|| format!("write a name and a range, {example}"))?;
    let (least, most) =
        range.split_once("..").ok_or_else(|| format!("write the range with two dots, {example}"))?;
    let end = |text: &str, open: f64| if text.is_empty() { Ok(open) } else { parse_length_mm(text) };
    let (least_mm, most_mm) = (end(least, f64::NEG_INFINITY)?, end(most, f64::INFINITY)?);
    if !(least_mm <= most_mm) {
        return Err(format!("write the smaller width first, {example}"));
    }
    Ok(Range { width: known_width(name)?, least_mm, most_mm })
}

fn parse_sort(text: &str) -> Result<SortKey, String> {
    match text {
        "path" => Ok(SortKey::Path),
        "name" => Ok(SortKey::Name),
        "date" => Ok(SortKey::Date),
        width => known_width(width)
            .map(SortKey::Width)
            .map_err(|e| format!("write path, name, date or a width; {e}")),
    }
}

fn parse_day(text: &str) -> Result<String, String> {
    text.parse::<jiff::civil::Date>()
        .map(|day| day.to_string())
        .map_err(|_| "write the day as year-month-day, such as 2026-05-02".into())
}

/// Runs the command.
///
/// # Errors
/// A folder that cannot be read, or a file that cannot be written.
pub fn run(args: &ShelfArgs) -> anyhow::Result<u8> {
    let shelf = shelf::open(&args.folder)
        .with_context(|| format!("cannot read the folder {}", args.folder.display()))?;
    for reason in &shelf.passed_over {
        eprintln!("skipped: {reason}");
    }
    let duplicates = shelf.duplicates();
    let query = ShelfFilter {
        name: args.name.clone(),
        view: args.view,
        since: args.since.clone(),
        until: args.until.clone(),
        widths: args.widths.clone(),
        refused: args.refused,
    };
    let mut found: Vec<&SheetSummary> = shelf
        .sheets
        .iter()
        .enumerate()
        .filter(|(i, _)| !args.duplicates || duplicates.iter().any(|group| group.contains(i)))
        .map(|(_, sheet)| sheet)
        .filter(|sheet| query.takes(sheet))
        .collect();
    sort(&mut found, &args.sort);
    let suiting = args.rider.as_ref().map(|rider| suiting(&found, rider, args)).transpose()?;
    if let Some(suiting) = &suiting {
        let place = |s: &SheetSummary| suiting.iter().position(|one| one.saddle == s.saddle);
        found.retain(|s| place(s).is_some());
        found.sort_by_key(|s| place(s));
    }
    if let Some(path) =
        [&args.csv, &args.json_lines].into_iter().flatten().find(|p| !args.force && p.exists())
    {
        bail!("{} already exists; use --force to overwrite it", path.display());
    }
    if let Some(path) = &args.csv {
        export(path, &csv(&found)?, args.force)?;
    }
    if let Some(path) = &args.json_lines {
        export(path, json_lines(&found).as_bytes(), args.force)?;
    }
    if args.json {
        if !found.is_empty() {
            super::say(&json_lines(&found));
        }
    } else {
        super::say(&list(&found, args));
        for one in suiting.iter().flatten() {
            super::say(&format!(
                "\n{}: for the rider {}\n{}",
                plain(&one.saddle),
                one.words,
                one.reasons.join("\n")
            ));
        }
        if suiting.is_some() {
            super::say(&format!("\n{}", CAUTIONS.join("\n")));
        }
        print_duplicates(&shelf, &duplicates);
    }
    Ok(0)
}

/// A saddle that could suit the rider.
struct Suiting {
    saddle: String,
    standing: Standing,
    words: &'static str,
    reasons: Vec<String>,
}

/// The saddles with nothing serious against them for this rider, the best first. The others are named on stderr with
/// the reason.
fn suiting(found: &[&SheetSummary], rider: &PathBuf, args: &ShelfArgs) -> anyhow::Result<Vec<Suiting>> {
    let judge = args.judging.read(std::slice::from_ref(rider))?;
    let mut names: Vec<&str> = Vec::new();
    for sheet in found {
        if !names.contains(&sheet.saddle.as_str()) {
            names.push(&sheet.saddle);
        }
    }
    let mut suiting = Vec::new();
    for name in names {
        let files = found.iter().filter(|s| s.saddle == name && s.refused.is_none());
        let sheets =
            files.map(|s| Ok(sheet::read(Path::new(&s.sheet))?)).collect::<anyhow::Result<Vec<_>>>()?;
        if sheets.is_empty() {
            continue;
        }
        // Two sheets of one view: report it and judge the others.
        let assessment = match judge.saddle(&sheets) {
            Ok(assessment) => assessment,
            Err(error) => {
                eprintln!("not judged: {}", plain(&format!("{error:#}")));
                continue;
            }
        };
        let Some(rider) = assessment.summary.iter().find(|s| s.about == About::Rider) else { continue };
        if rider.standing == Standing::Against {
            eprintln!("{}: {}", plain(name), plain(&rider.text));
            continue;
        }
        let reasons = judged::summary(&assessment).into_iter();
        suiting.push(Suiting {
            saddle: name.to_owned(),
            standing: rider.standing,
            words: standing_words(rider.standing),
            reasons: reasons.map(|n| format!("  {}: {}", n.title.to_lowercase(), plain(&n.text))).collect(),
        });
    }
    suiting.sort_by_key(|one| one.standing);
    Ok(suiting)
}

/// Whether a width that matches may also lie outside a range.
fn may_lie_outside(sheet: &SheetSummary, width: ShelfWidth, ranges: &[Range]) -> bool {
    ranges.iter().filter(|r| r.width == width).any(|range| {
        let inside = |w: &crate::sheet::summary::SummaryWidth| {
            w.mm - w.u95 >= range.least_mm && w.mm + w.u95 <= range.most_mm
        };
        !sheet.width(width).is_some_and(inside)
    })
}

fn sort(found: &mut [&SheetSummary], key: &SortKey) {
    match key {
        SortKey::Path => found.sort_by(|a, b| a.sheet.cmp(&b.sheet)),
        SortKey::Name => found.sort_by_key(|s| s.saddle.to_lowercase()),
        SortKey::Date => found.sort_by_key(|s| s.taken.clone()),
        SortKey::Width(width) => {
            let mm = |s: &SheetSummary| s.width(*width).map_or(f64::INFINITY, |w| w.mm);
            found.sort_by(|a, b| mm(a).total_cmp(&mm(b)));
        }
    }
}

/// The list, one line per saddle and day.
fn list(found: &[&SheetSummary], args: &ShelfArgs) -> String {
    if found.is_empty() {
        return "no sheet matches".into();
    }
    let mut shown = SHELF_WIDTHS.to_vec();
    shown.retain(|width| found.iter().any(|s| s.width(*width).is_some()));
    let head =
        ["saddle", "view", "taken"].into_iter().chain(shown.iter().map(|width| width.code)).chain(["sheet"]);
    let mut rows: Vec<Vec<String>> = vec![head.map(str::to_owned).collect()];
    for record in records(found) {
        let views: Vec<&str> = record.iter().map(|sheet| sheet.view.map_or("-", View::as_str)).collect();
        let taken = record[0].day().unwrap_or("-");
        let mut row = vec![plain(&record[0].saddle), views.join(", "), plain(taken)];
        row.extend(shown.iter().map(|&width| {
            let measured = record.iter().find_map(|sheet| Some((sheet, sheet.width(width)?)));
            measured.map_or("-".into(), |(sheet, w)| {
                let mark = if may_lie_outside(sheet, width, &args.widths) { "~" } else { "" };
                format!("{mark}{}", args.units.first(w.mm, w.u95))
            })
        }));
        let refused = record[0].refused.as_ref().map_or(String::new(), |code| format!("  refused: {code}"));
        let files: Vec<String> = record.iter().map(|sheet| plain(&sheet.sheet)).collect();
        row.push(format!("{}{refused}", files.join(", ")));
        rows.push(row);
    }
    let columns = rows[0].len();
    let widest = |i: usize| rows.iter().map(|r| r[i].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns).map(widest).collect();
    let line = |row: &Vec<String>| {
        let cells = row.iter().enumerate().map(|(i, cell)| {
            let w = widths[i];
            if (3..columns - 1).contains(&i) { format!("{cell:>w$}") } else { format!("{cell:w$}") }
        });
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    rows.iter().map(line).collect::<Vec<_>>().join("\n")
}

fn print_duplicates(shelf: &Shelf, groups: &[Vec<usize>]) {
    for group in groups {
        let names: Vec<_> = group.iter().map(|i| plain(&shelf.sheets[*i].sheet)).collect();
        eprintln!("the same photo: {}", names.join(", "));
    }
}

fn json_lines(found: &[&SheetSummary]) -> String {
    found.iter().map(|s| serde_json::Value::Object(s.columns()).to_string() + "\n").collect()
}

fn csv(found: &[&SheetSummary]) -> anyhow::Result<Vec<u8>> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let rows: Vec<_> = found.iter().map(|s| s.columns()).collect();
    let Some(first) = rows.first() else { bail!("nothing to write: no sheet matches") };
    writer.write_record(first.keys())?;
    for row in &rows {
        writer.write_record(row.values().map(|value| match value {
            serde_json::Value::String(text) => harmless(text),
            serde_json::Value::Null => String::new(),
            other => other.to_string(),
        }))?;
    }
    Ok(writer.into_inner()?)
}

fn export(path: &Path, bytes: &[u8], force: bool) -> anyhow::Result<()> {
    Ok(safe_write(path, bytes, force)?)
}
