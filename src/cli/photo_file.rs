//! Finding the photo of a sheet by name and hash.

use std::path::{Path, PathBuf};

use crate::photo::{Photo, PhotoError};
use crate::sheet::Sheet;

/// File extensions of photos.
pub const EXTENSIONS: [&str; 8] = ["jpg", "jpeg", "png", "webp", "tif", "tiff", "heic", "heif"];

/// Files hashed in one folder when none has the photo's name.
const MOST_HASHED: usize = 300;

/// Finds a sheet's photo in further folders, the sheet's own or its parent.
///
/// # Errors
/// Why there is none.
pub fn find(sheet: &Sheet, sheet_file: &Path, further: &[PathBuf]) -> Result<Photo, String> {
    let Some(wanted) = sheet.photos.first() else { return Err("the sheet names no photo".into()) };
    let beside = sheet_file.parent().map(Path::to_path_buf).unwrap_or_default();
    let above = beside.join("..");
    let folders: Vec<PathBuf> = further.iter().cloned().chain([beside, above]).collect();
    let mut other_of_that_name = false;
    // Only the file name: a path in a sheet must not lead to another folder.
    let name = Path::new(&wanted.file).file_name().ok_or("the sheet's photo has no name")?;
    for path in folders.iter().map(|folder| folder.join(name)) {
        match Photo::open_if(&path, &wanted.sha256) {
            Ok(Some(photo)) => return Ok(photo),
            Ok(None) => other_of_that_name = true,
            Err(PhotoError::Io(_)) => {}
            Err(refused) => return Err(refused.to_string()),
        }
    }
    // By hash alone, but not in the parent, which may hold anything.
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

/// Whether a file name is that of a photo: by its extension, and not an overlay.
pub fn is_photo(path: &Path) -> bool {
    let name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().to_lowercase());
    let extension = name.rsplit_once('.').map_or("", |(_, extension)| extension);
    EXTENSIONS.contains(&extension) && !name.starts_with('.') && !name.ends_with(".overlay.png")
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
