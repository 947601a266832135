//! A folder of sheets: the files are the record, and every list is made from them afresh.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::numeric::parallel::*;

use super::file::read;
use super::output::PART_PREFIX;
use super::summary::{SheetSummary, ShelfWidth};
use crate::numeric::words::View;

/// A range of a named width.
#[derive(Debug, Clone, PartialEq)]
pub struct Range {
    /// The width.
    pub width: ShelfWidth,
    /// Smallest, mm.
    pub least_mm: f64,
    /// Largest, mm.
    pub most_mm: f64,
}

impl Range {
    /// Whether the 95 % interval of the sheet's width reaches into the range.
    fn reached_by(&self, sheet: &SheetSummary) -> bool {
        sheet.width(self.width).is_some_and(|w| w.mm + w.u95 >= self.least_mm && w.mm - w.u95 <= self.most_mm)
    }
}

/// Which sheets are looked for; nothing given takes all.
#[derive(Debug, Clone, Default)]
pub struct ShelfFilter {
    /// Part of the saddle's name, whatever its capitals.
    pub name: Option<String>,
    /// The view.
    pub view: Option<View>,
    /// First day of the photo, `YYYY-MM-DD`.
    pub since: Option<String>,
    /// Last such day.
    pub until: Option<String>,
    /// Ranges into which named widths must reach.
    pub widths: Vec<Range>,
    /// Only refused photos.
    pub refused: bool,
}

impl ShelfFilter {
    /// Whether a sheet is as wished.
    pub fn takes(&self, sheet: &SheetSummary) -> bool {
        let day = sheet.day();
        self.name.as_ref().is_none_or(|n| sheet.saddle.to_lowercase().contains(&n.to_lowercase()))
            && self.view.is_none_or(|view| sheet.view == Some(view))
            && self.since.as_deref().is_none_or(|since| day.is_some_and(|d| d >= since))
            && self.until.as_deref().is_none_or(|until| day.is_some_and(|d| d <= until))
            && (!self.refused || sheet.refused.is_some())
            && self.widths.iter().all(|range| range.reached_by(sheet))
    }
}

/// What a folder and the folders in it hold.
#[derive(Debug, Clone, Default)]
pub struct Shelf {
    /// The sheets, by path.
    pub sheets: Vec<SheetSummary>,
    /// Files that are no sheets, each with what is wrong with it.
    pub passed_over: Vec<String>,
}

/// Sheets that are one record: views of one saddle on one day, in the order given. A refused photo stands alone.
pub fn records<'a>(sheets: &[&'a SheetSummary]) -> Vec<Vec<&'a SheetSummary>> {
    let mut records: Vec<Vec<&SheetSummary>> = Vec::new();
    for sheet in sheets {
        let belongs = |record: &&mut Vec<&'a SheetSummary>| {
            let (first, measured) = (record[0], |s: &SheetSummary| s.refused.is_none());
            first.saddle == sheet.saddle
                && first.day() == sheet.day()
                && measured(first)
                && measured(sheet)
                && record.iter().all(|other| other.view != sheet.view)
        };
        match records.iter_mut().find(belongs) {
            Some(record) => record.push(sheet),
            None => records.push(vec![sheet]),
        }
    }
    records
}

/// Reads every JSON file of a folder and the folders in it, hidden ones apart.
///
/// # Errors
/// Where the folder itself cannot be read.
pub fn open(folder: &Path) -> std::io::Result<Shelf> {
    let mut shelf = Shelf::default();
    let mut files = Vec::new();
    std::fs::read_dir(folder)?;
    gather(folder, &mut files, &mut shelf.passed_over);
    files.sort();
    let read: Vec<Result<SheetSummary, String>> = files
        .par_iter()
        .map(|path| read(path).map(|sheet| SheetSummary::of(&sheet, path)).map_err(|e| e.to_string()))
        .collect();
    for one in read {
        match one {
            Ok(summary) => shelf.sheets.push(summary),
            Err(reason) => shelf.passed_over.push(reason),
        }
    }
    Ok(shelf)
}

fn gather(folder: &Path, files: &mut Vec<PathBuf>, passed_over: &mut Vec<String>) {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) => return passed_over.push(format!("cannot read {}: {error}", folder.display())),
    };
    for entry in entries.flatten() {
        let (path, name) = (entry.path(), entry.file_name().to_string_lossy().into_owned());
        // A link to a folder is not followed: it may lead back here.
        let is_folder = entry.file_type().is_ok_and(|t| t.is_dir());
        if name.starts_with(PART_PREFIX) {
            passed_over.push(format!("{} was left half-written; it can be deleted", path.display()));
        } else if name.starts_with('.') {
        } else if is_folder {
            gather(&path, files, passed_over);
        } else if name.to_lowercase().ends_with(".json") {
            files.push(path);
        }
    }
}

impl Shelf {
    /// Sheets that were made from one and the same photo, alone or with others, by its hash: groups of two and more, as
    /// indices.
    pub fn duplicates(&self) -> Vec<Vec<usize>> {
        let mut by_photo: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        // A sheet that was not made from a photo has no hash, or noughts in its place.
        let is_photo = |hash: &&String| hash.chars().any(|c| c != '0');
        for (i, sheet) in self.sheets.iter().enumerate() {
            for hash in sheet.photos_sha256.iter().filter(is_photo) {
                by_photo.entry(hash).or_default().push(i);
            }
        }
        let mut groups: Vec<_> = by_photo.into_values().filter(|group| group.len() > 1).collect();
        groups.sort();
        // Two sheets of the same two photos are one group.
        groups.dedup();
        groups
    }
}
