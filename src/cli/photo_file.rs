//! Finding the photo that a sheet was made from: by its name, and for sure by its hash.

use std::path::{Path, PathBuf};

use crate::photo::{Photo, PhotoError};
use crate::sheet::Sheet;

/// Endings of files that may be photos, in small letters.
pub const ENDINGS: [&str; 8] = ["jpg", "jpeg", "png", "webp", "tif", "tiff", "heic", "heif"];

/// Files looked into in one folder when none has the photo's name.
const MOST_HASHED: usize = 300;

/// The photo of a sheet, from the sheet's own folder, the one above it, or further ones; else why there is none.
pub fn find(sheet: &Sheet, sheet_file: &Path, further: &[PathBuf]) -> Result<Photo, String> {
    let Some(wanted) = sheet.photos.first() else { return Err("the sheet names no photo".into()) };
    let beside = sheet_file.parent().map(Path::to_path_buf).unwrap_or_default();
    let above = beside.join("..");
    let folders: Vec<PathBuf> = further.iter().cloned().chain([beside, above]).collect();
    let mut other_of_that_name = false;
    // What a sheet calls its photo leads to no other folder.
    let name = Path::new(&wanted.file).file_name().ok_or("the sheet's photo has no name")?;
    for path in folders.iter().map(|folder| folder.join(name)) {
        match Photo::open_if(&path, &wanted.sha256) {
            Ok(Some(photo)) => return Ok(photo),
            Ok(None) => other_of_that_name = true,
            Err(PhotoError::Io(_)) => {}
            Err(refused) => return Err(refused.to_string()),
        }
    }
    // Not above the sheet: photos of that name only, a folder of photos need not be near.
    for path in folders[..folders.len() - 1].iter().flat_map(|folder| photos_in(folder)) {
        if let Ok(Some(photo)) = Photo::open_if(&path, &wanted.sha256) {
            return Ok(photo);
        }
    }
    Err(if other_of_that_name {
        format!("the file {} is not the photo that was measured (its SHA-256 differs)", wanted.file)
    } else {
        format!("the photo {} was not found beside the sheet; give its folder with --photos", wanted.file)
    })
}

/// Whether a file's name ends as a photo's does, and is no overlay.
pub fn is_photo(path: &Path) -> bool {
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().to_lowercase());
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
    ENDINGS.contains(&ending) && !name.starts_with('.') && !name.ends_with(".overlay.png")
}

fn photos_in(folder: &Path) -> Vec<PathBuf> {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut found: Vec<PathBuf> =
        entries.filter_map(|e| Some(e.ok()?.path())).filter(|p| is_photo(p)).collect();
    found.sort();
    found.truncate(MOST_HASHED);
    found
}
