//! Saving a measured photo on the shelf.

use std::sync::Arc;

use serde::Deserialize;
use serde_json::{Value, json};

use super::Desk;
use super::item::DeskPhoto;
use super::lock::locked;
use super::open_photo::PhotoResult;
use super::response::Problem;
use crate::photo::Photo;
use crate::report::overlay::overlay_png;
use crate::report::units::Units;
use crate::sheet::geometry::OverlayGeometry;
use crate::sheet::{self, OutputError, Sheet, safe_write};

/// A request to save a photo.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeepRequest {
    /// Whether files of the same name may be replaced.
    #[serde(default)]
    pub replace: bool,
}

/// Longest name of a saved file, without its extension.
const MOST_LETTERS: usize = 60;

/// A file name made of a saddle's name: letters, digits and hyphens. It cannot name a folder, a device or a hidden file.
pub fn file_stem(name: &str) -> String {
    let kept: String = name.chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).collect();
    let words: Vec<&str> = kept.split('-').filter(|w| !w.is_empty()).collect();
    let stem: String = words.join("-").to_lowercase().chars().take(MOST_LETTERS).collect();
    if stem.is_empty() || is_device(&stem) { format!("saddle{stem}") } else { stem }
}

/// Whether some operating system reserves this name for a device.
fn is_device(stem: &str) -> bool {
    let numbered = ["com", "lpt"].iter().filter_map(|device| stem.strip_prefix(device));
    let digit = |rest: &str| matches!(rest.as_bytes(), [b'0'..=b'9']);
    ["con", "prn", "aux", "nul"].contains(&stem) || numbered.into_iter().any(digit)
}

/// The extension of a saved photo, by its content.
fn extension(photo: &Photo) -> &'static str {
    match photo.format().name() {
        "PNG" => "png",
        "WebP" => "webp",
        "TIFF" => "tif",
        "HEIC" | "HEIF" => "heic",
        _ => "jpg",
    }
}

/// A photo to save, with the sheet's lines in it.
struct KeptPhoto {
    item: Arc<DeskPhoto>,
    photo: Arc<Photo>,
    geometry: OverlayGeometry,
    /// Its file name on the shelf, without the extension.
    stem: String,
}

impl KeptPhoto {
    fn file(&self) -> String {
        format!("{}.{}", self.stem, extension(&self.photo))
    }

    fn overlay_file(&self) -> String {
        format!("{}.overlay.png", self.stem)
    }

    fn overlay(&self, sheet: &Sheet) -> anyhow::Result<Vec<u8>> {
        Ok(overlay_png(&self.photo, sheet, &self.geometry, Units::Millimetres)?)
    }
}

/// Writes the same files as the command line: every photo with its overlay, then the sheet, whose presence means that
/// all is complete.
///
/// # Errors
/// Where files of that name exist, or cannot be written.
pub fn keep(desk: &Desk, item: &Arc<DeskPhoto>, request: &KeepRequest) -> Result<Value, Problem> {
    // Wait for a correction in progress.
    let _turn = locked(&item.turn);
    let PhotoResult { mut sheet, geometry, others, .. } = item.measured()?;
    let view = sheet.view.map_or("", |v| v.as_str());
    let stem = format!("{}-{view}", file_stem(&sheet.saddle.name));
    let mut all = vec![kept(desk, item.clone(), geometry, stem.clone())?];
    for (i, (id, geometry)) in others.into_iter().enumerate() {
        all.push(kept(desk, desk.photos.get(id)?, geometry, format!("{stem}-{}", i + 2))?);
    }
    let sheet_file = format!("{stem}.sheet.json");
    let files = all.iter().flat_map(|k| [k.file(), k.overlay_file()]).chain([sheet_file.clone()]);
    if !request.replace && files.into_iter().any(|file| desk.folder.join(file).exists()) {
        return Err(exists(&stem));
    }
    sheet.photos.iter_mut().zip(&all).for_each(|(entry, one)| entry.file = one.file());
    let text = sheet::to_json(&sheet).map_err(anyhow::Error::from)?;
    let write = |file: &str, bytes: &[u8]| {
        safe_write(&desk.folder.join(file), bytes, request.replace).map_err(|e| match e {
            OutputError::Exists(_) => exists(&stem),
            other => anyhow::Error::from(other).into(),
        })
    };
    for one in &all {
        write(&one.file(), &one.item.bytes()?)?;
        write(&one.overlay_file(), &one.overlay(&sheet)?)?;
    }
    write(&sheet_file, text.as_bytes())?;
    item.keep_as(&sheet_file);
    Ok(json!({ "sheet": sheet_file }))
}

fn kept(
    desk: &Desk,
    item: Arc<DeskPhoto>,
    geometry: OverlayGeometry,
    stem: String,
) -> Result<KeptPhoto, Problem> {
    let photo = desk.photos.photo(&item)?;
    Ok(KeptPhoto { item, photo, geometry, stem })
}

fn exists(stem: &str) -> Problem {
    Problem::new(
        412,
        format!("{stem} is already on the shelf"),
        "give the saddle another name, or replace the files",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_saddle_name_becomes_a_folder_a_device_or_a_hidden_file() {
        let cases = [
            ("Willow 17\u{2033}", "willow-17"),
            ("../../etc/passwd", "etc-passwd"),
            (".bashrc", "bashrc"),
            ("CON", "saddlecon"),
            ("lpt9", "saddlelpt9"),
            ("lpt10", "lpt10"),
            ("", "saddle"),
            ("Bär/\\:*?\"<>|", "bär"),
        ];
        for (name, stem) in cases {
            assert_eq!(file_stem(name), stem);
        }
        assert_eq!(file_stem(&"x".repeat(500)).len(), MOST_LETTERS);
    }
}
