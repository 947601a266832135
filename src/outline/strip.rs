//! The straightened strip: the photo sampled along a chart or a band.
//!
//! Samples are square roots of linear light, in which a sensor's shot noise is the same in the dark and in the
//! light, converted to one intensity and two colour differences.

use crate::numeric::parallel::*;

use crate::camera::Camera;
use crate::numeric::frame::CardPoint;
use crate::photo::Photo;

/// Channels of a sample: intensity, red-green and blue-yellow difference.
pub const CHANNELS: usize = 3;

/// Every so many columns are taken through the camera, and those between lie on a straight line in the photo: over the 5 mm
/// that these are at most, a tilt of 45 degrees at 1 m bends the line by a hundredth of a pixel.
const STRETCH: usize = 8;

/// The sampled strip of one side. Samples outside the photo are NaN.
#[derive(Debug, Clone)]
pub struct Strip {
    /// Number of rows.
    pub rows: usize,
    /// Number of columns.
    pub columns: usize,
    samples: Vec<[f32; CHANNELS]>,
}

impl Strip {
    /// Samples the photo at `place(row, column)`, points in the card frame; within a row they lie on a line that is straight
    /// but for the lens, over a few columns.
    pub fn sample(
        photo: &Photo,
        camera: &Camera,
        rows: usize,
        columns: usize,
        place: impl Fn(usize, usize) -> CardPoint + Sync,
    ) -> Self {
        let mut samples = vec![[f32::NAN; CHANNELS]; rows * columns];
        samples.par_chunks_mut(columns).enumerate().for_each(|(row, line)| {
            let project = |column| camera.photo_from_card(place(row, column));
            let mut from = project(0);
            for (i, stretch) in line.chunks_mut(STRETCH).enumerate() {
                let first = i * STRETCH;
                let to = project(first + STRETCH);
                for (k, out) in stretch.iter_mut().enumerate() {
                    let between = from.zip(to).map(|(a, b)| a.toward(b, k as f64 / STRETCH as f64));
                    let pixel = between.or_else(|| project(first + k));
                    if let Some(rgb) = pixel.and_then(|p| photo.linear_at(p)) {
                        *out = opponent(rgb);
                    }
                }
                from = to;
            }
        });
        Self { rows, columns, samples }
    }

    /// One row's samples.
    pub fn row(&self, row: usize) -> &[[f32; CHANNELS]] {
        &self.samples[row * self.columns..(row + 1) * self.columns]
    }
}

/// Square roots of light as intensity and colour differences. Differences carry less noise and less of the texture
/// that shading makes, so they weigh more.
#[inline]
pub fn opponent(rgb: [f32; 3]) -> [f32; CHANNELS] {
    let [r, g, b] = rgb.map(f32::sqrt);
    [(r + g + b) / 3.0, 2.0 * (r - g), 2.0 * (0.5 * (r + g) - b)]
}
