//! The shelf on the page: searching, comparing and ranking the sheets in the folder.

use std::path::{Path, PathBuf};

use anyhow::Context;
use serde::Deserialize;
use serde_json::{Value, json};

use super::Desk;
use super::drawing::shown;
use super::papers;
use super::response::{Problem, Reply};
use super::rider::entered;
use crate::fit::compare::{self, compare};
use crate::fit::verdict::CONFIDENCE;
use crate::numeric::words::View;
use crate::photo::{Photo, PhotoError};
use crate::report::assessment::standing_words;
use crate::report::words::{code, compared, width};
use crate::sheet::shelf::{Range, Shelf, ShelfFilter, open, records};
use crate::sheet::summary::{SHELF_WIDTHS, SheetSummary, SummaryWidth};
use crate::sheet::{self, Sheet};

/// A search, as the page sends it.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Search {
    name: String,
    view: Option<View>,
    widths: Vec<WidthRange>,
}

#[derive(Debug, Deserialize)]
struct WidthRange {
    name: String,
    least_mm: Option<f64>,
    most_mm: Option<f64>,
}

/// Sheets to set side by side.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Chosen {
    sheets: Vec<String>,
}

fn shelf_of(desk: &Desk) -> Result<Shelf, Problem> {
    Ok(open(&desk.folder).context("the shelf's folder cannot be read")?)
}

/// A sheet's path within the folder, by which the page names it.
fn place<'a>(desk: &Desk, summary: &'a SheetSummary) -> &'a str {
    let below = Path::new(&summary.sheet).strip_prefix(&desk.folder).ok().and_then(Path::to_str);
    below.unwrap_or(&summary.sheet)
}

/// The sheets on the shelf that match a search.
///
/// # Errors
/// Where the folder cannot be read.
pub fn search(desk: &Desk, search: &Search) -> Result<Value, Problem> {
    let shelf = shelf_of(desk)?;
    let range = |r: &WidthRange| {
        let width = SHELF_WIDTHS.into_iter().find(|w| w.code == r.name);
        Some(Range {
            width: width?,
            least_mm: r.least_mm.unwrap_or(f64::NEG_INFINITY),
            most_mm: r.most_mm.unwrap_or(f64::INFINITY),
        })
    };
    let name = search.name.trim();
    let query = ShelfFilter {
        name: (!name.is_empty()).then(|| name.to_owned()),
        view: search.view,
        widths: search
            .widths
            .iter()
            .map(range)
            .collect::<Option<_>>()
            .ok_or_else(|| Problem::missing("this width"))?,
        ..ShelfFilter::default()
    };
    let found: Vec<&SheetSummary> = shelf.sheets.iter().filter(|s| query.takes(s)).collect();
    let found: Vec<Value> = records(&found).iter().map(|record| row(desk, record)).collect();
    Ok(json!({
        "folder": desk.folder.display().to_string(),
        "all": shelf.sheets.len(),
        "found": found,
        "skipped": shelf.passed_over,
        "widths": SHELF_WIDTHS.map(|listed| {
            let (name, view) = listed.named();
            json!({ "name": listed.code, "label": width(view, name) })
        }),
    }))
}

/// A saddle on one day, with all its views.
fn row(desk: &Desk, record: &[&SheetSummary]) -> Value {
    let named = |view: Option<View>, w: &SummaryWidth| json!({ "name": code(view, w.name), "label": width(view, w.name), "shown": shown(w.mm, w.u95) });
    let widths = record.iter().flat_map(|s| s.widths.iter().map(move |w| named(s.view, w)));
    json!({
        "sheets": record.iter().map(|s| place(desk, s)).collect::<Vec<_>>(),
        "saddle": record[0].saddle,
        "views": record.iter().map(|s| s.view).collect::<Vec<_>>(),
        "taken": record[0].taken,
        "widths": widths.collect::<Vec<_>>(),
        "warnings": record.iter().map(|s| s.warnings).sum::<usize>(),
        "refused": record[0].refused,
    })
}

/// The path of a sheet named by the page. Only sheets listed on the shelf are opened.
fn path_of(desk: &Desk, shelf: &Shelf, named: &str) -> Result<PathBuf, Problem> {
    let found = shelf.sheets.iter().find(|s| place(desk, s) == named);
    found.map(|s| PathBuf::from(&s.sheet)).ok_or_else(|| Problem::missing("the sheet"))
}

/// Saddles side by side, ranked for the chosen rider.
///
/// # Errors
/// Fewer than two sheets, or one that no longer exists.
pub fn side_by_side(desk: &Desk, chosen: &Chosen) -> Result<Value, Problem> {
    let shelf = shelf_of(desk)?;
    let read = |named: &String| -> Result<Sheet, Problem> {
        Ok(sheet::read(&path_of(desk, &shelf, named)?).map_err(anyhow::Error::from)?)
    };
    let sheets: Vec<Sheet> = chosen.sheets.iter().map(read).collect::<Result<_, _>>()?;
    let judged = desk.rider.get().is_some();
    let sort = if judged { "rank" } else { "given" };
    let entered = entered(desk);
    let request = compare::ComparisonRequest {
        sheets: &sheets,
        entered: &entered,
        rules: &desk.rules,
        confidence: CONFIDENCE,
        against: None,
        sort,
    };
    let comparison = compare(&request).map_err(|e| Problem::new(422, e, "choose other sheets"))?;
    let words: Vec<&str> = comparison.saddles.iter().map(|s| standing_words(s.standing)).collect();
    let labels: Vec<String> = comparison.rows.iter().map(|r| compared(&r.of)).collect();
    let unit = |unit: &str| if unit == "cm2" { "cm²".to_owned() } else { unit.replace("deg", "°") };
    let units: Vec<String> = comparison.rows.iter().map(|r| unit(&r.unit)).collect();
    Ok(
        json!({ "units": units, "comparison": comparison, "standings": words, "labels": labels, "judged": judged }),
    )
}

/// The report of a saddle on the shelf: of a sheet and of the latest sheets of its other views, each with the photo beside
/// it.
///
/// # Errors
/// Where the sheet no longer exists or the report cannot be rendered.
pub fn report(desk: &Desk, named: &str, query: &papers::ReportQuery) -> Result<Reply, Problem> {
    let shelf = shelf_of(desk)?;
    let path = path_of(desk, &shelf, named)?;
    let sheet = sheet::read(&path).map_err(anyhow::Error::from)?;
    let of_saddle = |s: &&SheetSummary| s.saddle == sheet.saddle.name && s.refused.is_none();
    let mut all = vec![(sheet.clone(), path)];
    for view in [View::Top, View::Underside].into_iter().filter(|view| sheet.view != Some(*view)) {
        let of_view = shelf.sheets.iter().filter(of_saddle).filter(|s| s.view == Some(view));
        if let Some(latest) = of_view.max_by_key(|s| s.taken.clone()) {
            let path = PathBuf::from(&latest.sheet);
            all.push((sheet::read(&path).map_err(anyhow::Error::from)?, path));
        }
    }
    all.sort_by_key(|(sheet, _)| sheet.view != Some(View::Top));
    let photos = all.iter().map(|(sheet, path)| beside(sheet, path)).collect();
    let sheets: Vec<Sheet> = all.into_iter().map(|(sheet, _)| sheet).collect();
    papers::report(desk, &sheets, photos, query)
}

/// The photo beside a sheet, if its hash matches.
fn beside(sheet: &Sheet, path: &Path) -> Result<Photo, String> {
    let missing = || "its photo is not beside the sheet".to_owned();
    let wanted = sheet.photos.first().ok_or_else(missing)?;
    let name = Path::new(&wanted.file).file_name().ok_or_else(missing)?;
    match Photo::open_if(&path.with_file_name(name), &wanted.sha256) {
        Ok(photo) => {
            photo.ok_or_else(|| "the photo beside the sheet is another file than the one measured".into())
        }
        Err(PhotoError::Io(_)) => Err(missing()),
        Err(refused) => Err(refused.to_string()),
    }
}
