//! Keeping a measured photo on the shelf.

use std::path::Path;

use serde::Deserialize;
use serde_json::{Value, json};

use super::Room;
use super::answer::Trouble;
use super::photos::{Item, Measured};
use crate::photo::Photo;
use crate::report::draw::{Picture, png};
use crate::report::overlay::drawing;
use crate::report::units::Units;
use crate::sheet::{self, OutputError, safe_write};

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
    const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com1", "lpt1"];
    if stem.is_empty() || DEVICES.contains(&stem.as_str()) { format!("saddle{stem}") } else { stem }
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

/// Writes photo, overlay and sheet to the shelf's folder; the sheet last, so that where it is, all is.
///
/// # Errors
/// Where there is something under that name, or it cannot be written.
pub fn keep(room: &Room, item: &Item, wish: &Wish) -> Result<Value, Trouble> {
    let Measured { mut sheet, geometry } = item.measured()?;
    let photo = room.photos.photo(item)?;
    let view = sheet.view.map_or("", |v| v.as_str());
    let stem = format!("{}-{view}", file_stem(&sheet.saddle.name));
    let path = |rest: &str| room.folder.join(format!("{stem}.{rest}"));
    let photo_file = format!("{stem}.{}", ending(&photo));
    let paths = [room.folder.join(&photo_file), path("overlay.png"), path("sheet.json")];
    if !wish.replace && paths.iter().any(|p| p.exists()) {
        return Err(there_already(&stem));
    }
    if let Some(entry) = sheet.photos.first_mut() {
        entry.file = photo_file;
    }
    let (rgb, w, h) = photo.thumbnail_rgb(png::LONG_SIDE as usize);
    let picture = Picture::new(&rgb, w as u32, h as u32).map_err(anyhow::Error::from)?;
    let size = (photo.width_px() as u32, photo.height_px() as u32);
    let overlay = png::render(&drawing(&sheet, &geometry, size, Units::Millimetres), picture)
        .map_err(anyhow::Error::from)?;
    let text = sheet::to_json(&sheet).map_err(anyhow::Error::from)?;
    let write = |path: &Path, bytes: &[u8]| {
        safe_write(path, bytes, wish.replace).map_err(|e| match e {
            OutputError::Exists(_) => there_already(&stem),
            other => anyhow::Error::from(other).into(),
        })
    };
    write(&paths[0], &item.bytes()?)?;
    write(&paths[1], &overlay)?;
    write(&paths[2], text.as_bytes())?;
    let name = format!("{stem}.sheet.json");
    item.keep_as(&name);
    Ok(json!({ "sheet": name }))
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
            ("", "saddle"),
            ("Bär/\\:*?\"<>|", "bär"),
        ];
        for (name, stem) in cases {
            assert_eq!(file_stem(name), stem);
        }
        assert_eq!(file_stem(&"x".repeat(500)).len(), MOST_LETTERS);
    }
}
