//! Which lens file serves a photo: one that was named, or of a folder that of the photo's own camera.

use std::path::Path;

use super::fit::LensPrior;
use super::lens_file::{LensFile, LensFileError};
use crate::photo::Photo;
use crate::warning::{Warning, WarningCode};

/// The lens to use for a photo; none where a folder has none of its camera.
///
/// # Errors
/// A file or folder that cannot be read, or a file that is of another camera or shape.
pub fn prior_of(given: &Path, photo: &Photo) -> Result<Option<LensPrior>, LensFileError> {
    let found = if given.is_dir() {
        LensFile::find(given, photo)?
    } else {
        Some((LensFile::read(given)?, given.to_path_buf()))
    };
    found.map(|(lens, path)| lens.prior_for(photo, &path.display().to_string())).transpose()
}

/// Reads a lens file that is given by name before any photo is looked at.
///
/// # Errors
/// A file that cannot be read or is no lens file.
pub fn readable(given: &Path) -> Result<(), LensFileError> {
    if given.is_dir() { Ok(()) } else { LensFile::read(given).map(|_| ()) }
}

/// What is said of a photo whose camera has no lens file in the folder given.
pub fn none_of_its_camera() -> Warning {
    Warning::new(
        WarningCode::LensNotFound,
        "the folder of lens files has none of this photo's camera: measured without one",
        "calibrate the camera with seatspan lens, or name its file with --lens",
    )
}
