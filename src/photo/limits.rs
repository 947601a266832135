//! Limits on the size of a photo, checked on the declared size before pixels are allocated.

use super::error::PhotoError;
use crate::numeric::file::one_line;
use crate::refusal::{Refusal, RefusalCode};

/// Most pixels of a photo: 100 megapixels.
///
/// Phones write 12 to 50, medium-format cameras 100. More adds no accuracy (lens and print are the limit), and the memory
/// would exceed one gigabyte: three bytes a pixel, and several more inside a decoder.
pub const MAX_PIXELS: u64 = 100_000_000;

/// Fewest pixels of a photo's long side: 640.
///
/// A saddle and its card span some 900 mm. At 640 px a pixel is 1.4 mm and a tag of 30 mm about 21 px, less than the 30 px
/// for reliable detection. This refuses thumbnails and previews, not messenger copies (1600 px).
pub const MIN_LONG_SIDE_PX: u32 = 640;

/// Most bytes of a file: [`MAX_PIXELS`] of uncompressed 8-bit RGB, and a little more.
pub const MAX_FILE_BYTES: u64 = 320_000_000;

/// Most bytes of decoded pixels as stored (16 bits, alpha): [`MAX_PIXELS`] with four 8-bit channels.
pub const MAX_DECODED_BYTES: u64 = 4 * MAX_PIXELS;

/// Limits on a photo; the program uses [`Limits::default`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Most pixels in all.
    pub max_pixels: u64,
    /// Fewest pixels along the longer side.
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
    /// `photo-unreadable` for an empty picture, `photo-too-large` or `photo-too-small` otherwise.
    pub fn check(&self, name: &str, width_px: u32, height_px: u32) -> Result<(), PhotoError> {
        if width_px == 0 || height_px == 0 {
            return Err(unreadable(name, "the picture is empty"));
        }
        if u64::from(width_px) * u64::from(height_px) > self.max_pixels {
            return Err(Refusal::new(
                RefusalCode::PhotoTooLarge,
                format!(
                    "{name}: the photo has {width_px} x {height_px} pixels; the limit is {} megapixels",
                    self.max_pixels / 1_000_000
                ),
                "save a smaller copy, or set the camera to 12 megapixels and take the photo again",
            )
            .into());
        }
        if width_px.max(height_px) < self.min_long_side_px {
            return Err(Refusal::new(
                RefusalCode::PhotoTooSmall,
                format!(
                    "{name}: the photo has only {width_px} x {height_px} pixels; its long side needs at least {}",
                    self.min_long_side_px
                ),
                "send the original photo, not a preview or thumbnail",
            )
            .into());
        }
        Ok(())
    }
}

/// The refusal of a file that cannot be decoded, with the usual hint.
pub(super) fn unreadable(name: &str, why: &str) -> PhotoError {
    unreadable_with(name, why, "send the original photo again, as a file (JPEG, PNG or HEIC)")
}

/// The refusal of a file that cannot be decoded.
pub(super) fn unreadable_with(name: &str, why: &str, hint: &str) -> PhotoError {
    let why = one_line(why);
    Refusal::new(RefusalCode::PhotoUnreadable, format!("{name}: cannot be read as a photo: {why}"), hint)
        .into()
}

/// The refusal of a file that needs too much memory.
pub(super) fn too_large(name: &str, what: &str) -> PhotoError {
    Refusal::new(
        RefusalCode::PhotoTooLarge,
        format!("{name}: {what}"),
        "save a smaller copy (12 megapixels, 8 bits a channel)",
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
