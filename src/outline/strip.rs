//! The straightened strip: the photo sampled along a chart or a band.
//!
//! Samples are square roots of linear light, in which a sensor's shot noise is the same in the dark and in the
//! light, turned to one intensity and two colour differences.

use rayon::prelude::*;

use crate::camera::Camera;
use crate::ground::frame::CardPoint;
use crate::photo::Photo;

/// Channels of a sample: intensity, red-green and blue-yellow difference.
pub const CHANNELS: usize = 3;

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
    /// Samples the photo at `place(row, column)`, points in the card frame.
    pub fn sample(
        photo: &Photo,
        camera: &Camera,
        rows: usize,
        columns: usize,
        place: impl Fn(usize, usize) -> CardPoint + Sync,
    ) -> Self {
        let mut samples = vec![[f32::NAN; CHANNELS]; rows * columns];
        samples.par_chunks_mut(columns).enumerate().for_each(|(row, line)| {
            for (column, out) in line.iter_mut().enumerate() {
                let light = camera.photo_from_card(place(row, column)).and_then(|p| photo.linear_at(p));
                if let Some(rgb) = light {
                    *out = opponent(rgb);
                }
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
