//! How large and how small a photo may be, checked on its declared size before pixels are allocated.

use super::error::PhotoError;
use crate::numeric::file::one_line;
use crate::refusal::{Refusal, RefusalCode};

/// The most pixels a photo may have: 100 megapixels.
///
/// Phones write 12 to 50, medium-format cameras 100. Beyond that a photo adds no accuracy (the lens and the
/// print are the limit) and the memory, three bytes a pixel kept and up to about as much again inside a
/// decoder, would pass one gigabyte.
pub const MAX_PIXELS: u64 = 100_000_000;

/// The fewest pixels a photo's long side may have: 640.
///
/// A saddle and its card fill some 900 mm of the frame, so at 640 px one pixel is 1.4 mm and a tag of 30 mm is
/// about 21 px: below the 30 px at which tags are found reliably, and no edge can be placed to a millimetre.
/// Thumbnails and previews fall here; messenger copies (1600 px) do not.
pub const MIN_LONG_SIDE_PX: u32 = 640;

/// The most bytes a file may have: an uncompressed picture of [`MAX_PIXELS`] in 8-bit RGB, and a little over.
pub const MAX_FILE_BYTES: u64 = 320_000_000;

/// The most bytes a decoder may fill for pixels as the file stores them (16 bits, alpha).
///
/// [`MAX_PIXELS`] with four 8-bit channels. A 16-bit picture of more than 50 megapixels is refused by it.
pub const MAX_DECODED_BYTES: u64 = 4 * MAX_PIXELS;

/// The limits a photo is held to; [`Limits::default`] is what the program uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// The most pixels in all.
    pub max_pixels: u64,
    /// The fewest pixels along the longer side.
    pub min_long_side_px: u32,
}

impl Default for Limits {
    fn default() -> Self {
        Self { max_pixels: MAX_PIXELS, min_long_side_px: MIN_LONG_SIDE_PX }
    }
}

impl Limits {
    /// Checks a declared size.
    ///
    /// # Errors
    /// A refusal `photo-unreadable` for an empty picture, `photo-too-large` or `photo-too-small` otherwise.
    pub fn check(&self, name: &str, width_px: u32, height_px: u32) -> Result<(), PhotoError> {
        if width_px == 0 || height_px == 0 {
            return Err(unreadable(name, "it declares a picture without pixels"));
        }
        if u64::from(width_px) * u64::from(height_px) > self.max_pixels {
            return Err(Refusal::new(
                RefusalCode::PhotoTooLarge,
                format!(
                    "{name}: the photo declares {width_px} x {height_px} pixels, more than the {} megapixels \
                     that are read",
                    self.max_pixels / 1_000_000
                ),
                "set the camera to 12 megapixels and take the photo again, or save a smaller copy",
            )
            .into());
        }
        if width_px.max(height_px) < self.min_long_side_px {
            return Err(Refusal::new(
                RefusalCode::PhotoTooSmall,
                format!(
                    "{name}: the photo has only {width_px} x {height_px} pixels; its long side needs at least \
                     {}",
                    self.min_long_side_px
                ),
                "send the original photo file rather than a preview or thumbnail",
            )
            .into());
        }
        Ok(())
    }
}

/// The refusal of a file that is no photo that can be decoded, with the usual hint.
pub(super) fn unreadable(name: &str, why: &str) -> PhotoError {
    unreadable_with(name, why, "send the original photo again, as a file (JPEG, PNG or HEIC)")
}

/// The refusal of a file that is no photo that can be decoded, with a hint of its own.
pub(super) fn unreadable_with(name: &str, why: &str, hint: &str) -> PhotoError {
    let why = one_line(why);
    Refusal::new(RefusalCode::PhotoUnreadable, format!("{name}: cannot be read as a photo: {why}"), hint)
        .into()
}

/// The refusal of a file that needs more memory than is given to a photo.
pub(super) fn too_large(name: &str, what: &str) -> PhotoError {
    Refusal::new(
        RefusalCode::PhotoTooLarge,
        format!("{name}: {what}"),
        "save a smaller copy (12 megapixels, 8 bits a channel) and use that",
    )
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(width_px: u32, height_px: u32) -> Option<RefusalCode> {
        match Limits::default().check("a.jpg", width_px, height_px) {
            Err(PhotoError::Refused(r)) => {
                assert!(!r.hint.is_empty() && r.text.starts_with("a.jpg: "));
                Some(r.code)
            }
            _ => None,
        }
    }

    #[test]
    fn limits_are_inclusive() {
        assert_eq!(code(10_000, 10_000), None);
        assert_eq!(code(10_001, 10_000), Some(RefusalCode::PhotoTooLarge));
        assert_eq!(code(u32::MAX, u32::MAX), Some(RefusalCode::PhotoTooLarge));
        assert_eq!(code(640, 1), None);
        assert_eq!(code(639, 639), Some(RefusalCode::PhotoTooSmall));
        assert_eq!(code(0, 5000), Some(RefusalCode::PhotoUnreadable));
    }
}
