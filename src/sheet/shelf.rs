//! A folder of sheets: the files are the record, and every list is made from them anew.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::file::read;
use super::output::PART_PREFIX;
use super::summary::Summary;

/// What a folder and the folders in it hold.
#[derive(Debug, Clone, Default)]
pub struct Shelf {
    /// The sheets, by path.
    pub sheets: Vec<Summary>,
    /// Files that are no sheets, each with what is wrong with it.
    pub passed_over: Vec<String>,
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
    let read: Vec<Result<Summary, String>> = files
        .par_iter()
        .map(|path| read(path).map(|sheet| Summary::of(&sheet, path)).map_err(|e| e.to_string()))
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
    /// Sheets that were made from one and the same photo, by its hash: groups of two and more, as indices.
    pub fn duplicates(&self) -> Vec<Vec<usize>> {
        let mut by_photo: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        // A sheet that was not made from a photo has no hash, or noughts in its place.
        let has_photo = |s: &Summary| s.photo_sha256.chars().any(|c| c != '0');
        for (i, sheet) in self.sheets.iter().enumerate().filter(|(_, s)| has_photo(s)) {
            by_photo.entry(&sheet.photo_sha256).or_default().push(i);
        }
        let mut groups: Vec<_> = by_photo.into_values().filter(|group| group.len() > 1).collect();
        groups.sort();
        groups
    }
}
