//! Stage 1: bytes to an upright photo with its focal hint and history.
//!
//! The format is detected by content ([`format`]) and the declared size checked ([`limits`]). Pixels are decoded once and
//! kept as stored ([`pixels`]); orientation is a map of coordinates. The few EXIF fields that a measurement uses ([`exif`])
//! give a focal hint ([`focal`]); observations on the way form the photo's history ([`notes`]).

mod decode;
pub mod error;
pub mod exif;
pub mod focal;
pub mod format;
mod heic;
mod jpeg;
pub mod limits;
pub mod notes;
pub mod orient;
pub mod pixels;
pub mod quantisation;
mod raster;
pub mod shrink;
pub mod srgb;
pub mod step;
mod vui;

use nalgebra::Matrix3;
use std::io::Read;
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::numeric::file::one_line;
use crate::numeric::frame::PhotoPoint;
pub use error::{FileError, PhotoError};
pub use exif::Exif;
pub use focal::{FocalHint, FocalTag};
pub use format::Format;
pub use limits::Limits;
pub use notes::PhotoNote;
pub use orient::Orientation;
pub use pixels::Pixels;
pub use shrink::GrayView;

/// A photo: upright pixels, camera data and history.
///
/// Coordinates are pixels of the upright photo, with the origin at the centre of the top-left pixel.
#[derive(Debug, Clone)]
pub struct Photo {
    name: String,
    sha256: String,
    format: Format,
    pixels: Pixels,
    exif: Exif,
    focal_hint: Option<FocalHint>,
    history: Vec<PhotoNote>,
    quantisation_step: Option<f64>,
}

impl Photo {
    /// Reads and decodes a photo.
    ///
    /// # Errors
    /// [`PhotoError::Io`] where the file cannot be read (missing, no permission, not a file);
    /// [`PhotoError::Refused`] where it cannot be decoded, or is too large or too small.
    pub fn open(path: &Path) -> Result<Self, PhotoError> {
        let name = file_name(path);
        let bytes = read_file(path, &name)?;
        Self::from_bytes(name, bytes)
    }

    /// Reads and decodes a photo if its hash matches.
    ///
    /// # Errors
    /// As [`Photo::open`].
    pub fn open_if(path: &Path, sha256: &str) -> Result<Option<Self>, PhotoError> {
        let name = file_name(path);
        let bytes = read_file(path, &name)?;
        if sha256_hex(&bytes) == sha256 { Self::from_bytes(name, bytes).map(Some) } else { Ok(None) }
    }

    /// Decodes a photo from a file's bytes; `name` is its name in messages and in the sheet, without folders.
    ///
    /// # Errors
    /// [`PhotoError::Refused`] as for [`Photo::open`].
    pub fn from_bytes(name: impl AsRef<Path>, bytes: Vec<u8>) -> Result<Self, PhotoError> {
        Self::from_bytes_within(name, bytes, &Limits::default())
    }

    /// As [`Photo::from_bytes`], with other limits.
    ///
    /// # Errors
    /// [`PhotoError::Refused`] as for [`Photo::open`].
    pub fn from_bytes_within(
        name: impl AsRef<Path>,
        bytes: Vec<u8>,
        limits: &Limits,
    ) -> Result<Self, PhotoError> {
        let name = file_name(name.as_ref());
        let (format, decoded) = decode::decode(&name, &bytes, limits)?;
        let sha256 = sha256_hex(&bytes);
        let mut history = decoded.notes;
        // The sides passed the limits as 32-bit numbers.
        let (width, height) = (decoded.width as u32, decoded.height as u32);
        let focal_hint = focal::focal_hint(&decoded.exif, width, height, &mut history);
        let pixels = Pixels::new(decoded.rgb, decoded.width, decoded.height, decoded.exif.orientation)
            .ok_or_else(|| limits::unreadable(&name, "its size differs from the declared one"))?;
        let quantisation_step = quantisation::mean_step(&bytes);
        Ok(Self { name, sha256, format, pixels, exif: decoded.exif, focal_hint, history, quantisation_step })
    }

    /// The file's name, without folders.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// SHA-256 of the file's bytes, in lower-case hexadecimal.
    pub fn sha256(&self) -> &str {
        &self.sha256
    }

    /// The file's format.
    pub fn format(&self) -> Format {
        self.format
    }

    /// The camera data.
    pub fn exif(&self) -> &Exif {
        &self.exif
    }

    /// The focal length from the camera data.
    pub fn focal_hint(&self) -> Option<FocalHint> {
        self.focal_hint
    }

    /// Observations about the file, in their order.
    pub fn history(&self) -> &[PhotoNote] {
        &self.history
    }

    /// A JPEG's mean quantisation step, see [`quantisation::mean_step`]; `None` for other formats.
    pub fn quantisation_step(&self) -> Option<f64> {
        self.quantisation_step
    }

    /// Whether the format is one of screenshots and exports, which no camera writes.
    pub fn is_export_format(&self) -> bool {
        matches!(self.format, Format::Png | Format::WebP | Format::Tiff)
    }

    /// Size of the picture as stored, before its orientation is applied, pixels.
    pub fn stored_size_px(&self) -> [usize; 2] {
        [self.pixels.stored_width, self.pixels.stored_height]
    }

    /// The map of pixel coordinates from the upright photo to the stored picture.
    pub fn stored_from_upright(&self) -> Matrix3<f64> {
        let [width, height] = self.stored_size_px();
        self.pixels.orientation.stored_from_upright(width, height)
    }

    /// The pixels.
    pub fn pixels(&self) -> &Pixels {
        &self.pixels
    }

    /// Width of the upright photo, pixels.
    #[inline]
    pub fn width_px(&self) -> usize {
        self.pixels.width_px()
    }

    /// Height of the upright photo, pixels.
    #[inline]
    pub fn height_px(&self) -> usize {
        self.pixels.height_px()
    }

    /// See [`Pixels::pixel`].
    #[inline]
    pub fn pixel(&self, x: usize, y: usize) -> [u8; 3] {
        self.pixels.pixel(x, y)
    }

    /// See [`Pixels::linear_pixel`].
    #[inline]
    pub fn linear_pixel(&self, x: usize, y: usize) -> [f32; 3] {
        self.pixels.linear_pixel(x, y)
    }

    /// See [`Pixels::linear_luma_pixel`].
    #[inline]
    pub fn linear_luma_pixel(&self, x: usize, y: usize) -> f32 {
        self.pixels.linear_luma_pixel(x, y)
    }

    /// See [`Pixels::linear_at`].
    #[inline]
    pub fn linear_at(&self, at: PhotoPoint) -> Option<[f32; 3]> {
        self.pixels.linear_at(at)
    }

    /// See [`Pixels::luma_upright`].
    pub fn luma_upright(&self, factor: usize) -> GrayView {
        self.pixels.luma_upright(factor)
    }

    /// See [`Pixels::thumbnail_rgb`].
    pub fn thumbnail_rgb(&self, max_side_px: usize) -> (Vec<u8>, usize, usize) {
        self.pixels.thumbnail_rgb(max_side_px)
    }
}

/// The last part of a path, as part of a one-line message.
pub fn file_name(path: &Path) -> String {
    let last = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    one_line(&last)
}

/// Reads a file up to the limit. Devices and pipes, which may never end, are not read.
fn read_file(path: &Path, name: &str) -> Result<Vec<u8>, PhotoError> {
    let fail = |e: std::io::Error| FileError::from_io(path, &e);
    let metadata = std::fs::metadata(path).map_err(fail)?;
    if !metadata.is_file() {
        return Err(FileError::NotAFile { path: one_line(&path.display().to_string()) }.into());
    }
    let too_large = |size: u64| limits::too_large(name, &format!("the file has {} MB", size / 1_000_000));
    if metadata.len() > limits::MAX_FILE_BYTES {
        return Err(too_large(metadata.len()));
    }
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(fail)?;
    file.take(limits::MAX_FILE_BYTES + 1).read_to_end(&mut bytes).map_err(fail)?;
    if bytes.len() as u64 > limits::MAX_FILE_BYTES {
        return Err(too_large(bytes.len() as u64));
    }
    Ok(bytes)
}

/// SHA-256 of a file's bytes, in lower-case hexadecimal.
pub fn sha256_hex(bytes: &[u8]) -> String {
    format!("{:x}", Sha256::digest(bytes))
}

/// SHA-256 of a file of any length.
///
/// # Errors
/// Where it cannot be read.
pub fn sha256_of_file(path: &Path) -> std::io::Result<String> {
    let mut hasher = Sha256::new();
    std::io::copy(&mut std::fs::File::open(path)?, &mut hasher)?;
    Ok(format!("{:x}", hasher.finalize()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unreadable_file_is_an_error_with_its_path() {
        let folder = tempfile::tempdir().unwrap();
        let missing = Photo::open(&folder.path().join("none.jpg")).unwrap_err();
        assert!(matches!(missing, PhotoError::Io(FileError::Missing { .. })));
        assert!(missing.to_string().contains("none.jpg"));
        let is_folder = Photo::open(folder.path()).unwrap_err();
        assert!(matches!(is_folder, PhotoError::Io(FileError::NotAFile { .. })));
    }

    #[test]
    fn a_photo_knows_its_file() {
        let mut png = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_pixel(700, 2, image::Rgb([1, 2, 3]))
            .write_to(&mut png, image::ImageFormat::Png)
            .unwrap();
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("photo.jpg");
        std::fs::write(&path, png.get_ref()).unwrap();
        let photo = Photo::open(&path).unwrap();
        assert_eq!((photo.name(), photo.format()), ("photo.jpg", Format::Png));
        assert_eq!((photo.width_px(), photo.height_px()), (700, 2));
        assert_eq!(photo.pixel(699, 1), [1, 2, 3]);
        assert_eq!(photo.sha256(), sha256_hex(png.get_ref()));
        assert_eq!(photo.history(), [PhotoNote::NoExif]);
        assert_eq!(photo.focal_hint(), None);
    }

    #[test]
    fn messages_omit_folders() {
        let refused = Photo::from_bytes("folder/a.jpg", b"GIF89a".to_vec()).unwrap_err();
        assert!(refused.to_string().starts_with("a.jpg: "));
    }
}
