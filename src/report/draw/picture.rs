//! The reduced photo that lies under a drawing.

use image::RgbImage;
use image::imageops::FilterType;

/// Why a picture could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum RenderError {
    /// The pixels do not fill the picture.
    #[error("a picture of {width} x {height} pixels needs {} bytes, and {given} were given", 3 * width * height)]
    PixelCount {
        /// Width in pixels.
        width: usize,
        /// Height in pixels.
        height: usize,
        /// Bytes given.
        given: usize,
    },
    /// The picture is empty or too large to draw.
    #[error("a picture of {0} x {1} pixels cannot be drawn")]
    Size(u32, u32),
    /// A coordinate of the drawing is not finite.
    #[error("the drawing has a coordinate that is not finite")]
    NotFinite,
    /// The picture's file format could not be written.
    #[error("the picture could not be encoded: {0}")]
    Encoding(String),
}

/// The upright photo, reduced: 3 bytes a pixel (sRGB), row after row from the top.
#[derive(Debug, Clone, Copy)]
pub struct Picture<'a> {
    rgb: &'a [u8],
    width: u32,
    height: u32,
}

impl<'a> Picture<'a> {
    /// A picture of `width` by `height` pixels; fails when the bytes do not fill it, or when it is empty.
    pub fn new(rgb: &'a [u8], width: u32, height: u32) -> Result<Self, RenderError> {
        if width == 0 || height == 0 {
            return Err(RenderError::Size(width, height));
        }
        if rgb.len() != 3 * width as usize * height as usize {
            let (width, height) = (width as usize, height as usize);
            return Err(RenderError::PixelCount { width, height, given: rgb.len() });
        }
        Ok(Self { rgb, width, height })
    }

    /// Its bytes.
    pub fn rgb(&self) -> &'a [u8] {
        self.rgb
    }

    /// Its width, in its own pixels.
    pub fn width(&self) -> u32 {
        self.width
    }

    /// Its height, in its own pixels.
    pub fn height(&self) -> u32 {
        self.height
    }

    /// A copy that is at most `long_side` pixels long, or none when the picture is small enough already.
    pub fn reduced(&self, long_side: u32) -> Option<RgbImage> {
        let longest = self.width.max(self.height);
        if longest <= long_side {
            return None;
        }
        let of =
            |side: u32| ((f64::from(side) * f64::from(long_side) / f64::from(longest)).round() as u32).max(1);
        let whole = RgbImage::from_raw(self.width, self.height, self.rgb.to_vec())?;
        Some(image::imageops::resize(&whole, of(self.width), of(self.height), FilterType::Triangle))
    }
}
