//! Which lens file of the shelf's folder serves a photo: that of its camera, one that was chosen, or none.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::answer::Trouble;
use super::edits::NO_LENS;
use crate::camera::lens_choice::ChosenLens;
use crate::camera::lens_file::{LensFile, LensFileError};
use crate::photo::Photo;
use crate::warning::{Warning, WarningCode};

fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// What a lens file's error says, without what it says of the command line.
fn what(error: &LensFileError) -> String {
    let text = error.to_string();
    text.split_once("; ").map_or(text.as_str(), |(what, _)| what).to_owned()
}

/// The lens file that was wished for; where nothing was, that of the photo's camera, if the folder has one.
///
/// # Errors
/// Where the file that was wished for is gone, or is of another camera or shape.
pub fn choose(folder: &Path, wish: Option<&str>, photo: &Photo) -> Result<ChosenLens, Trouble> {
    match wish {
        Some(NO_LENS) => Ok(ChosenLens::default()),
        Some(name) => named(folder, name, photo),
        None => Ok(ChosenLens::from_path(folder, photo).map_or_else(not_picked, |lens| ChosenLens {
            // A shelf without a lens file of this camera is nothing to warn about.
            warning: None,
            ..lens
        })),
    }
}

fn not_picked(error: LensFileError) -> ChosenLens {
    let hint = "choose a lens file or none, under Photo and card";
    let warning = Warning::new(WarningCode::LensNotPicked, what(&error), hint);
    ChosenLens { warning: Some(warning), ..ChosenLens::default() }
}

/// Only what lies in the folder and says that it is a lens file is opened.
fn named(folder: &Path, name: &str, photo: &Photo) -> Result<ChosenLens, Trouble> {
    let gone =
        || Trouble::new(422, format!("there is no lens file {name} in the shelf's folder"), "choose another");
    let path = all_in(folder).into_iter().find(|path| name_of(path) == name).ok_or_else(gone)?;
    ChosenLens::from_path(&path, photo)
        .map_err(|e| Trouble::new(422, what(&e), "choose another lens file, or none"))
}

/// The name of the file that was chosen.
pub fn file(lens: &ChosenLens) -> Option<String> {
    lens.path.as_deref().map(name_of)
}

/// A folder that cannot be read holds none; the shelf says so itself.
fn all_in(folder: &Path) -> Vec<PathBuf> {
    LensFile::all_in(folder).unwrap_or_default()
}

/// The lens files in the folder, and which of them may serve a photo.
pub fn lenses(folder: &Path, photo: &Photo) -> Value {
    let exif = photo.exif();
    let camera: Vec<&str> = [&exif.make, &exif.model].into_iter().flatten().map(String::as_str).collect();
    let picked = choose(folder, None, photo).ok().and_then(|lens| file(&lens));
    let found: Vec<Value> = all_in(folder)
        .iter()
        .map(|path| {
            let serves = ChosenLens::from_path(path, photo);
            json!({ "file": name_of(path), "serves": serves.is_ok(), "why_not": serves.err().map(|e| what(&e)) })
        })
        .collect();
    json!({
        "camera": (!camera.is_empty()).then(|| camera.join(" ")),
        "picked": picked,
        "found": found,
    })
}
