//! The decoded picture, kept as stored and read in upright coordinates.

use super::orient::{AffineIndex, Orientation};
use super::srgb::{LINEAR, luminance};
use crate::numeric::frame::PhotoPoint;

/// 8-bit sRGB pixels in the order of the file, read through the orientation's map.
#[derive(Debug, Clone)]
pub struct Pixels {
    pub(super) rgb: Vec<u8>,
    pub(super) stored_width: usize,
    pub(super) stored_height: usize,
    pub(super) orientation: Orientation,
    index: AffineIndex,
    linear: &'static [f32; 256],
}

impl Pixels {
    /// Pixels from interleaved RGB in stored order. `None` without pixels, or where the buffer is not three bytes each.
    pub fn new(
        rgb: Vec<u8>,
        stored_width: usize,
        stored_height: usize,
        orientation: Orientation,
    ) -> Option<Self> {
        let bytes = stored_width.checked_mul(stored_height)?.checked_mul(3)?;
        if bytes == 0 || bytes != rgb.len() || isize::try_from(bytes).is_err() {
            return None;
        }
        let index = orientation.map(stored_width, stored_height, 3);
        Some(Self { rgb, stored_width, stored_height, orientation, index, linear: &LINEAR })
    }

    /// Width of the upright picture, pixels.
    #[inline]
    pub fn width_px(&self) -> usize {
        self.index.width
    }

    /// Height of the upright picture, pixels.
    #[inline]
    pub fn height_px(&self) -> usize {
        self.index.height
    }

    /// Gamma-coded sRGB of upright pixel (x, y). Beyond the right and lower border the last column and row repeat.
    #[inline]
    pub fn pixel(&self, x: usize, y: usize) -> [u8; 3] {
        let at = self.index.at(x.min(self.index.width - 1), y.min(self.index.height - 1));
        let p = &self.rgb[at..at + 3];
        [p[0], p[1], p[2]]
    }

    /// Linear red, green and blue, 0 to 1, of upright pixel (x, y); borders as in [`Pixels::pixel`].
    #[inline]
    pub fn linear_pixel(&self, x: usize, y: usize) -> [f32; 3] {
        self.pixel(x, y).map(|level| self.linear[usize::from(level)])
    }

    /// Linear luminance, 0 to 1, of upright pixel (x, y); borders as in [`Pixels::pixel`].
    #[inline]
    pub fn linear_luma_pixel(&self, x: usize, y: usize) -> f32 {
        luminance(self.linear_pixel(x, y))
    }

    /// Bilinear interpolation of linear red, green and blue, 0 to 1. `None` outside the centres of the outermost pixels.
    #[inline]
    pub fn linear_at(&self, at: PhotoPoint) -> Option<[f32; 3]> {
        let (max_x, max_y) = (self.index.width - 1, self.index.height - 1);
        let inside = at.x_px >= 0.0 && at.y_px >= 0.0 && at.x_px <= max_x as f64 && at.y_px <= max_y as f64;
        if !inside {
            return None;
        }
        let (x, y) = (at.x_px as usize, at.y_px as usize);
        let (fx, fy) = ((at.x_px - x as f64) as f32, (at.y_px - y as f64) as f32);
        let (a, b) = (self.linear_pixel(x, y), self.linear_pixel(x + 1, y));
        let (c, d) = (self.linear_pixel(x, y + 1), self.linear_pixel(x + 1, y + 1));
        Some(std::array::from_fn(|k| {
            let top = a[k] + fx * (b[k] - a[k]);
            let bottom = c[k] + fx * (d[k] - c[k]);
            top + fy * (bottom - top)
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Stored 3 x 2, red = 10 * column, green = 10 * row.
    fn small(orientation: Orientation) -> Pixels {
        let rgb = (0..2u8).flat_map(|y| (0..3u8).flat_map(move |x| [10 * x, 10 * y, 200])).collect();
        Pixels::new(rgb, 3, 2, orientation).unwrap()
    }

    #[test]
    fn every_orientation_places_the_corners() {
        // Upright top-left pixel as (stored column, stored row), and whether the axes are swapped.
        let expected = [(0, 0), (2, 0), (2, 1), (0, 1), (0, 0), (0, 1), (2, 1), (2, 0)];
        for (value, (column, row)) in (1u32..).zip(expected) {
            let pixels = small(Orientation::from_exif(value).unwrap());
            let swapped = value >= 5;
            assert_eq!((pixels.width_px(), pixels.height_px()), if swapped { (2, 3) } else { (3, 2) });
            assert_eq!(pixels.pixel(0, 0), [10 * column, 10 * row, 200], "orientation {value}");
            assert_eq!(pixels.pixel(99, 99), pixels.pixel(pixels.width_px() - 1, pixels.height_px() - 1));
        }
    }

    #[test]
    fn bilinear_reads_pixels_at_their_centres_and_means_between() {
        let pixels = small(Orientation::QuarterTurn);
        for (x, y) in [(0, 0), (1, 0), (0, 2), (1, 2)] {
            let at = PhotoPoint::new(x as f64, y as f64);
            assert_eq!(pixels.linear_at(at), Some(pixels.linear_pixel(x, y)));
        }
        let middle = pixels.linear_at(PhotoPoint::new(0.5, 0.5)).unwrap();
        let mean: f32 =
            [(0, 0), (1, 0), (0, 1), (1, 1)].iter().map(|&(x, y)| pixels.linear_pixel(x, y)[0]).sum::<f32>()
                / 4.0;
        assert_relative_eq!(middle[0], mean, epsilon = 1e-6);
    }

    #[test]
    fn nothing_is_read_outside() {
        let pixels = small(Orientation::Upright);
        for (x, y) in [(-0.01, 0.0), (2.01, 0.0), (0.0, 1.01), (f64::NAN, 0.0), (0.0, f64::INFINITY)] {
            assert_eq!(pixels.linear_at(PhotoPoint::new(x, y)), None);
        }
        assert!(Pixels::new(vec![], 0, 0, Orientation::Upright).is_none());
        assert!(Pixels::new(vec![0; 5], 1, 2, Orientation::Upright).is_none());
    }
}
