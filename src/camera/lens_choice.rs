//! The lens file for a photo: one given by name, or the one of the photo's camera in a folder.

use std::path::{Path, PathBuf};

use super::lens_file::{LensFile, LensFileError};
use super::prior::LensPrior;
use crate::instruction::GIVE_ITS_LENS;
use crate::photo::{Photo, sha256_of_file};
use crate::warning::{Warning, WarningCode};

/// The lens that a photo is measured with; by default none is calibrated.
#[derive(Debug, Clone, Default)]
pub struct ChosenLens {
    /// The calibration, scaled to the photo.
    pub prior: Option<LensPrior>,
    /// Its file.
    pub path: Option<PathBuf>,
    /// SHA-256 of that file.
    pub sha256: Option<String>,
    /// Why there is none although some were given.
    pub warning: Option<Warning>,
}

impl ChosenLens {
    /// The lens of a photo from a file, or from a folder of them.
    ///
    /// # Errors
    /// A file or folder that cannot be read, or a file of another camera or shape.
    pub fn from_path(given: &Path, photo: &Photo) -> Result<Self, LensFileError> {
        if !given.is_dir() {
            return Self::of(&LensFile::read(given)?, given.to_path_buf(), photo);
        }
        match LensFile::find(given, photo)? {
            Some((lens, path)) => Self::of(&lens, path, photo),
            None => Ok(Self { warning: Some(none_of_its_camera()), ..Self::default() }),
        }
    }

    fn of(lens: &LensFile, path: PathBuf, photo: &Photo) -> Result<Self, LensFileError> {
        let prior = lens.prior_for(photo, &path.display().to_string())?;
        Ok(Self { prior: Some(prior), sha256: sha256_of_file(&path).ok(), path: Some(path), warning: None })
    }
}

/// Reads a lens file given by name, before any photo is opened.
///
/// # Errors
/// A file that cannot be read or is no lens file.
pub fn readable(given: &Path) -> Result<(), LensFileError> {
    if given.is_dir() { Ok(()) } else { LensFile::read(given).map(|_| ()) }
}

fn none_of_its_camera() -> Warning {
    Warning::new(
        WarningCode::LensNotFound,
        "the folder of lens files has none of this photo's camera: measured without one",
        format!("calibrate the camera with seatspan lens, or {GIVE_ITS_LENS}"),
    )
}
