//! One tag under an exact Gaussian blur.
//!
//! An isotropic Gaussian separates along the axes of a rotated square pattern, so the blurred tag is a sum of products of normal
//! distribution functions, without sampling. The blur includes the pixel's own area.

use super::LinearPicture;
use super::noise::{normal_pair, row_generator};
use super::sensor::encoded;
use seatspan::card::pattern::{MODULES, modules};
use seatspan::numeric::frame::PhotoPoint;

/// A tag in a small picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Width and height, pixels.
    pub size_px: (usize, usize),
    /// Middle of the tag.
    pub middle: PhotoPoint,
    /// Rotation of the tag, degrees from right to down.
    pub turn_deg: f64,
    /// Standard deviation of the blur, pixels.
    pub blur_px: f64,
    /// Linear light of black.
    pub black: f64,
    /// Linear light of white.
    pub white: f64,
    /// Standard deviation of white noise, linear light.
    pub noise: f64,
    /// Seed of the noise.
    pub seed: u64,
}

impl Default for Patch {
    fn default() -> Self {
        Self {
            size_px: (160, 160),
            middle: PhotoPoint::new(79.5, 79.5),
            turn_deg: 0.0,
            blur_px: 0.8,
            black: 0.05,
            white: 0.75,
            noise: 0.0,
            seed: 1,
        }
    }
}

/// A tag on white; `side_px` is the side of its black square. `None` for an identity that no pattern prints.
pub fn tag(patch: &Patch, tag_id: u32, side_px: f64) -> Option<LinearPicture> {
    let code = modules(tag_id)?;
    let module = side_px / MODULES as f64;
    let bounds: [f64; MODULES + 1] = std::array::from_fn(|i| i as f64 * module - side_px / 2.0);
    let parts = |x: f64| {
        let below = bounds.map(|b| normal_cdf((x - b) / patch.blur_px));
        std::array::from_fn::<f64, MODULES, _>(|i| below[i] - below[i + 1])
    };
    let blackness = |u: f64, v: f64| {
        let (columns, rows) = (parts(u), parts(v));
        let row = |cells: &[bool; MODULES]| -> f64 {
            cells.iter().zip(columns).filter(|(white, _)| !**white).map(|(_, part)| part).sum()
        };
        code.iter().zip(rows).map(|(cells, part)| part * row(cells)).sum()
    };
    Some(render(patch, blackness))
}

/// 8-bit sRGB levels of a picture, interleaved RGB.
pub fn levels(picture: &LinearPicture) -> Vec<u8> {
    picture.light.iter().flatten().map(|&v| encoded(f64::from(v))).collect()
}

fn render(patch: &Patch, blackness: impl Fn(f64, f64) -> f64) -> LinearPicture {
    let (width, height) = patch.size_px;
    let (sin, cos) = patch.turn_deg.to_radians().sin_cos();
    let mut light = Vec::with_capacity(width * height);
    for y in 0..height {
        let mut rng = row_generator(patch.seed, y);
        for x in 0..width {
            let (dx, dy) = (x as f64 - patch.middle.x_px, y as f64 - patch.middle.y_px);
            let black = blackness(dx * cos + dy * sin, dy * cos - dx * sin);
            let value =
                patch.white + (patch.black - patch.white) * black + patch.noise * normal_pair(&mut rng).0;
            light.push([value as f32; 3]);
        }
    }
    LinearPicture { width, height, light }
}

fn normal_cdf(x: f64) -> f64 {
    0.5 * libm::erfc(-x * std::f64::consts::FRAC_1_SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_side_of_a_tag_has_the_mean_light() {
        let turn_deg = 17.0_f64;
        let (sin, cos) = turn_deg.to_radians().sin_cos();
        // The middle of the upper side falls on the pixel at (80, 32).
        let middle = PhotoPoint::new(80.0 - 48.0 * sin, 32.0 + 48.0 * cos);
        let picture = tag(&Patch { middle, turn_deg, ..Patch::default() }, 3, 96.0).unwrap();
        assert!((f64::from(picture.light[32 * 160 + 80][0]) - 0.4).abs() < 1e-4);
    }

    #[test]
    fn noise_has_the_requested_standard_deviation() {
        let noisy = tag(&Patch { noise: 0.02, ..Patch::default() }, 3, 96.0).unwrap();
        let clean = tag(&Patch::default(), 3, 96.0).unwrap();
        let square = |(a, b): (&[f32; 3], &[f32; 3])| f64::from(a[0] - b[0]).powi(2);
        let mean = noisy.light.iter().zip(&clean.light).map(square).sum::<f64>() / noisy.light.len() as f64;
        assert!((mean.sqrt() / 0.02 - 1.0).abs() < 0.02);
    }
}
