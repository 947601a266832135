//! Keeping a measured photo on the shelf.

use std::sync::Arc;

use serde::Deserialize;
use serde_json::{Value, json};

use super::Room;
use super::answer::Trouble;
use super::item::Item;
use super::lock::locked;
use super::opened::Measured;
use crate::photo::Photo;
use crate::report::overlay::overlay_png;
use crate::report::units::Units;
use crate::sheet::geometry::OverlayGeometry;
use crate::sheet::{self, OutputError, Sheet, safe_write};

/// How a photo is kept.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wish {
    /// Whether what is there under the name may be replaced.
    #[serde(default)]
    pub replace: bool,
}

/// Longest name of a kept file, without its ending.
const MOST_LETTERS: usize = 60;

/// A file's name made of a saddle's: letters and digits, and a hyphen for everything else. It cannot name a folder, a device
/// or a hidden file.
pub fn file_stem(name: &str) -> String {
    let kept: String = name.chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).collect();
    let words: Vec<&str> = kept.split('-').filter(|w| !w.is_empty()).collect();
    let stem: String = words.join("-").to_lowercase().chars().take(MOST_LETTERS).collect();
    if stem.is_empty() || is_device(&stem) { format!("saddle{stem}") } else { stem }
}

/// Whether some system takes a file of this name for a device.
fn is_device(stem: &str) -> bool {
    let numbered = ["com", "lpt"].iter().filter_map(|device| stem.strip_prefix(device));
    let digit = |rest: &str| matches!(rest.as_bytes(), [b'0'..=b'9']);
    ["con", "prn", "aux", "nul"].contains(&stem) || numbered.into_iter().any(digit)
}

/// The ending of a kept photo, by what it is and not by what it is called.
fn ending(photo: &Photo) -> &'static str {
    match photo.format().name() {
        "PNG" => "png",
        "WebP" => "webp",
        "TIFF" => "tif",
        "HEIC" | "HEIF" => "heic",
        _ => "jpg",
    }
}

/// A photo that is kept: what it is, and where the sheet's contents lie in it.
struct Kept {
    item: Arc<Item>,
    photo: Arc<Photo>,
    geometry: OverlayGeometry,
    /// Its file's name on the shelf, without the ending.
    stem: String,
}

impl Kept {
    fn file(&self) -> String {
        format!("{}.{}", self.stem, ending(&self.photo))
    }

    fn overlay_file(&self) -> String {
        format!("{}.overlay.png", self.stem)
    }

    fn overlay(&self, sheet: &Sheet) -> anyhow::Result<Vec<u8>> {
        Ok(overlay_png(&self.photo, sheet, &self.geometry, Units::Millimetres)?)
    }
}

/// Writes to the shelf's folder what the command line writes: every photo with its overlay, and one sheet, which comes last, so
/// that where it is, all is.
///
/// # Errors
/// Where there is something under that name, or it cannot be written.
pub fn keep(room: &Room, item: &Arc<Item>, wish: &Wish) -> Result<Value, Trouble> {
    // A correction that is being measured comes first.
    let _turn = locked(&item.turn);
    let Measured { mut sheet, geometry, others, .. } = item.measured()?;
    let view = sheet.view.map_or("", |v| v.as_str());
    let stem = format!("{}-{view}", file_stem(&sheet.saddle.name));
    let mut all = vec![kept(room, item.clone(), geometry, stem.clone())?];
    for (i, (id, geometry)) in others.into_iter().enumerate() {
        all.push(kept(room, room.photos.get(id)?, geometry, format!("{stem}-{}", i + 2))?);
    }
    let sheet_file = format!("{stem}.sheet.json");
    let files = all.iter().flat_map(|k| [k.file(), k.overlay_file()]).chain([sheet_file.clone()]);
    if !wish.replace && files.into_iter().any(|file| room.folder.join(file).exists()) {
        return Err(there_already(&stem));
    }
    sheet.photos.iter_mut().zip(&all).for_each(|(entry, one)| entry.file = one.file());
    let text = sheet::to_json(&sheet).map_err(anyhow::Error::from)?;
    let write = |file: &str, bytes: &[u8]| {
        safe_write(&room.folder.join(file), bytes, wish.replace).map_err(|e| match e {
            OutputError::Exists(_) => there_already(&stem),
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

fn kept(room: &Room, item: Arc<Item>, geometry: OverlayGeometry, stem: String) -> Result<Kept, Trouble> {
    let photo = room.photos.photo(&item)?;
    Ok(Kept { item, photo, geometry, stem })
}

fn there_already(stem: &str) -> Trouble {
    Trouble::new(
        412,
        format!("{stem} is on the shelf already"),
        "give the saddle another name, or replace what is there",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_saddle_names_a_folder_a_device_or_a_hidden_file() {
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
