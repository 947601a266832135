//! The sRGB curve, decoded by table, and the weights of luma and luminance.

use std::sync::LazyLock;

/// Linear light, 0 to 1, for each 8-bit sRGB level (IEC 61966-2-1:1999, section 5.2).
///
/// Display P3, which many phones write, has the same curve; its wider primaries change colours by a few
/// percent and leave edges where they are, so photos are not converted.
pub static LINEAR: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|level| srgb_to_linear(level as f64 / 255.0) as f32));

/// Linear light, 0 to 1, of an sRGB value, 0 to 1 (IEC 61966-2-1:1999).
pub fn srgb_to_linear(value: f64) -> f64 {
    if value <= 0.040_45 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
}

/// sRGB value, 0 to 1, of linear light, 0 to 1 (IEC 61966-2-1:1999).
pub fn linear_to_srgb(value: f64) -> f64 {
    if value <= 0.003_130_8 { value * 12.92 } else { 1.055 * value.powf(1.0 / 2.4) - 0.055 }
}

/// Luminance of linear red, green and blue (ITU-R BT.709 weights, which sRGB shares).
#[inline(always)]
pub fn luminance(rgb: [f32; 3]) -> f32 {
    0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2]
}

/// Luma of gamma-coded red, green and blue times 256, in whole numbers (ITU-R BT.601 weights 77, 150, 29).
#[inline(always)]
pub(super) fn luma_256(red: u32, green: u32, blue: u32) -> u32 {
    77 * red + 150 * green + 29 * blue
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn curve_passes_through_the_standards_points() {
        assert_eq!(LINEAR[0], 0.0);
        assert_eq!(LINEAR[255], 1.0);
        assert_relative_eq!(srgb_to_linear(0.5), 0.214_041, epsilon = 1e-6);
        assert!(LINEAR.windows(2).all(|w| w[0] < w[1]));
        for level in 0..=255 {
            let value = f64::from(level) / 255.0;
            assert_relative_eq!(linear_to_srgb(srgb_to_linear(value)), value, epsilon = 1e-6);
        }
    }

    #[test]
    fn luma_of_grey_is_the_grey() {
        for level in [0, 1, 127, 255] {
            assert_eq!(luma_256(level, level, level), 256 * level);
        }
    }
}
