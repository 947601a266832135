//! One tag, or one straight edge, blurred by a Gaussian and drawn exactly: for tests of how well corners and edges
//! are placed.
//!
//! A Gaussian is the same in every direction, so a turned square pattern blurred by it is, in the pattern's own axes,
//! a sum of products of normal distribution functions: no sampling is involved. The blur stands for all that spreads
//! a point, the pixel's own area included.

use super::LinearPicture;
use super::noise::{normal_pair, row_generator};
use super::sensor::encoded;
use seatspan::card::pattern::{MODULES, modules};
use seatspan::numeric::frame::PhotoPoint;

/// What a patch shows and how.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Width and height, pixels.
    pub size_px: (usize, usize),
    /// Middle of the tag, or a point of the edge.
    pub middle: PhotoPoint,
    /// Turn of the tag, or of the edge's direction, degrees from right to down.
    pub turn_deg: f64,
    /// Standard deviation of the blur, pixels.
    pub blur_px: f64,
    /// Linear light of black.
    pub black: f64,
    /// Linear light of white.
    pub white: f64,
    /// Standard deviation of white noise, linear light.
    pub noise: f64,
    /// Decides the noise.
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

/// The corners of the tag of [`tag`], in the order top-left, top-right, bottom-right, bottom-left.
pub fn corners(patch: &Patch, side_px: f64) -> [PhotoPoint; 4] {
    let (sin, cos) = patch.turn_deg.to_radians().sin_cos();
    let h = side_px / 2.0;
    [(-h, -h), (h, -h), (h, h), (-h, h)].map(|(u, v)| {
        PhotoPoint::new(patch.middle.x_px + u * cos - v * sin, patch.middle.y_px + u * sin + v * cos)
    })
}

/// A tag whose black square has the given side, pixels, on white. `None` for an identity that no pattern prints.
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
    Some(drawn(patch, blackness))
}

/// A straight edge through the middle: black on the left of its direction (above it where it runs to the right).
pub fn edge(patch: &Patch) -> LinearPicture {
    drawn(patch, |_, v| normal_cdf(-v / patch.blur_px))
}

/// A patch as a grey 8-bit sRGB picture, row by row, one byte each for red, green and blue.
pub fn levels(picture: &LinearPicture) -> Vec<u8> {
    picture.light.iter().flatten().map(|&v| encoded(f64::from(v))).collect()
}

fn drawn(patch: &Patch, blackness: impl Fn(f64, f64) -> f64) -> LinearPicture {
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
    fn half_way_between_black_and_white_lies_on_the_side() {
        let patch = Patch { middle: PhotoPoint::new(80.3, 79.1), turn_deg: 17.0, ..Patch::default() };
        let [a, b, ..] = corners(&patch, 96.0);
        let middle = (a.vector() + b.vector()) / 2.0;
        // The picture of a patch moved so that this point falls on a pixel has the mean light there.
        let moved =
            Patch { middle: (patch.middle.vector() + middle.map(f64::round) - middle).into(), ..patch };
        let picture = tag(&moved, 3, 96.0).unwrap();
        let at = middle.map(|v| v.round() as usize);
        assert!((f64::from(picture.light[at.y * 160 + at.x][0]) - 0.4).abs() < 1e-4);
    }

    #[test]
    fn noise_has_the_spread_asked_for() {
        let noisy = edge(&Patch { noise: 0.02, ..Patch::default() });
        let clean = edge(&Patch::default());
        let square = |(a, b): (&[f32; 3], &[f32; 3])| f64::from(a[0] - b[0]).powi(2);
        let mean = noisy.light.iter().zip(&clean.light).map(square).sum::<f64>() / noisy.light.len() as f64;
        assert!((mean.sqrt() / 0.02 - 1.0).abs() < 0.02);
    }
}
