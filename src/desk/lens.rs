//! Choice of a lens file in the shelf's folder: the camera's own, one named by the user, or none.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::edits::NO_LENS;
use super::response::Problem;
use crate::camera::lens_choice::ChosenLens;
use crate::camera::lens_file::{LensFile, LensFileError};
use crate::photo::Photo;
use crate::warning::{Warning, WarningCode};

fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// A lens file's error without the advice for the command line.
fn what(error: &LensFileError) -> String {
    let text = error.to_string();
    text.split_once("; ").map_or(text.as_str(), |(what, _)| what).to_owned()
}

/// The lens file named by the user; by default that of the photo's camera, if the folder has one.
///
/// # Errors
/// A named file that no longer exists, or belongs to another camera or picture format.
pub fn choose(folder: &Path, named: Option<&str>, photo: &Photo) -> Result<ChosenLens, Problem> {
    match named {
        Some(NO_LENS) => Ok(ChosenLens::default()),
        Some(name) => by_name(folder, name, photo),
        None => Ok(ChosenLens::from_path(folder, photo).map_or_else(not_picked, |lens| ChosenLens {
            // A shelf without a lens file of this camera needs no warning.
            warning: None,
            ..lens
        })),
    }
}

fn not_picked(error: LensFileError) -> ChosenLens {
    let hint = "choose a lens file, or none, under Photo and card";
    let warning = Warning::new(WarningCode::LensNotPicked, what(&error), hint);
    ChosenLens { warning: Some(warning), ..ChosenLens::default() }
}

/// Opens lens files in the folder only.
fn by_name(folder: &Path, name: &str, photo: &Photo) -> Result<ChosenLens, Problem> {
    let missing =
        || Problem::new(422, format!("the shelf's folder has no lens file {name}"), "choose another");
    let path = all_in(folder).into_iter().find(|path| name_of(path) == name).ok_or_else(missing)?;
    ChosenLens::from_path(&path, photo)
        .map_err(|e| Problem::new(422, what(&e), "choose another lens file, or none"))
}

/// The file name of a chosen lens.
pub fn file(lens: &ChosenLens) -> Option<String> {
    lens.path.as_deref().map(name_of)
}

/// An unreadable folder counts as empty here; the shelf reports it.
fn all_in(folder: &Path) -> Vec<PathBuf> {
    LensFile::all_in(folder).unwrap_or_default()
}

/// The lens files in the folder, and which of them fit a photo.
pub fn lenses(folder: &Path, photo: &Photo) -> Value {
    let exif = photo.exif();
    let camera: Vec<&str> = [&exif.make, &exif.model].into_iter().flatten().map(String::as_str).collect();
    let picked = choose(folder, None, photo).ok().and_then(|lens| file(&lens));
    let found: Vec<Value> = all_in(folder)
        .iter()
        .map(|path| {
            let fits = ChosenLens::from_path(path, photo);
            json!({ "file": name_of(path), "fits": fits.is_ok(), "why_not": fits.err().map(|e| what(&e)) })
        })
        .collect();
    json!({
        "camera": (!camera.is_empty()).then(|| camera.join(" ")),
        "picked": picked,
        "found": found,
    })
}
