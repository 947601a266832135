//! The rim: what all lines of a form's edge look like together. Seam, crease and cord run side by side all the way round and
//! on both sides alike, whatever lies beyond, so a stretch whose rim looks like the others' lies on the same line as they.

use super::novelty::median;
use super::sight::{PLACES, Sight, places_within};

/// The part of the form's rim whose look is the same all along: from so many places inside the silhouette, past the seam,
/// to so many outside.
const RIM: (usize, usize) = (32, 1);
/// The noise of a whole rim's changes (squared).
const RIM_NOISE: f32 = 0.05;

/// Values brought to norm 1.
pub fn unit(mut values: Vec<f32>) -> Vec<f32> {
    let norm = values.iter().map(|v| v * v).sum::<f32>().sqrt().max(1e-6);
    values.iter_mut().for_each(|v| *v /= norm);
    values
}

impl Sight {
    /// The rim with its silhouette at a place of a step; `None` at the band's border.
    fn rim(&self, step: usize, place: usize) -> Option<&[f32]> {
        let from = place.checked_sub(RIM.0)?;
        self.changes[step * PLACES..(step + 1) * PLACES].get(from..=place + RIM.1)
    }

    /// The look of the rim that all steps share when the silhouette runs along a path.
    pub fn common_rim(&self, path: &[usize]) -> Vec<f32> {
        let skipped = self.steps / 16;
        let mut sum = vec![0.0; RIM.0 + RIM.1 + 1];
        for step in skipped..self.steps - skipped {
            if let Some(rim) = self.rim(step, path[step]) {
                sum.iter_mut().zip(rim).for_each(|(s, v)| *s += v);
            }
        }
        sum
    }

    /// How much the rim of every step, with its silhouette at each place, looks like a common one, from -1 to 1.
    pub fn likeness(&self, common: &[f32], search_mm: f64) -> Vec<f32> {
        let places = places_within(search_mm);
        let n = common.len() as f32;
        let mean = common.iter().sum::<f32>() / n;
        let common: Vec<f32> = common.iter().map(|v| v - mean).collect();
        let norm = common.iter().map(|v| v * v).sum::<f32>().sqrt().max(1e-6);
        let mut out = vec![0.0; self.steps * PLACES];
        for (i, out) in out.iter_mut().enumerate().filter(|(i, _)| places.contains(&(i % PLACES))) {
            let Some(rim) = self.rim(i / PLACES, i % PLACES) else { continue };
            let mean = rim.iter().sum::<f32>() / n;
            let (mut own, mut shared) = (RIM_NOISE, 0.0);
            for (v, c) in rim.iter().zip(&common) {
                own += (v - mean) * (v - mean);
                shared += (v - mean) * c;
            }
            *out = shared / (own.sqrt() * norm);
        }
        out
    }
}

/// A cord's light changes along it by this much (a standard deviation of its logarithm), with sun and shade; its colour
/// differences, by the light, by so much.
const LIGHT_CHANGE: f32 = 0.5;
const COLOUR_CHANGE: f32 = 0.08;
/// Where a cord is another colour altogether it may be in hard light or under a strap: that costs no more.
const MOST_UNLIKE: f32 = 4.0;

/// The usual colour of the cord in the bands' middle, both sides together: its median.
pub fn cord_colour(sights: &[Sight; 2], width: usize) -> [f32; 3] {
    std::array::from_fn(|k| {
        let mut values: Vec<f64> = sights
            .iter()
            .flat_map(|s| {
                (0..s.steps).map(move |step| {
                    let place = PLACES / 2 - s.seen_width(width, step) / 2;
                    f64::from(s.colours[step * PLACES + place][k])
                })
            })
            .filter(|v| v.is_finite())
            .collect();
        if values.is_empty() { 0.0 } else { median(&mut values) as f32 }
    })
}

impl Sight {
    /// What it costs that a cord with its silhouette at each place of each step is not of the usual colour.
    pub fn unlike(&self, usual: [f32; 3], width: usize, search_mm: f64) -> Vec<f32> {
        let places = places_within(search_mm);
        let mut out = vec![0.0; self.steps * PLACES];
        for step in 0..self.steps {
            let half = self.seen_width(width, step) / 2;
            for place in places.clone().skip_while(|p| *p < half) {
                let colour = self.colours[step * PLACES + place - half];
                let off = [
                    (colour[0] - usual[0]) / LIGHT_CHANGE,
                    (colour[1] - usual[1]) / COLOUR_CHANGE,
                    (colour[2] - usual[2]) / COLOUR_CHANGE,
                ];
                let squares: f32 = off.iter().map(|v| v * v).sum();
                out[step * PLACES + place] =
                    if squares.is_finite() { (0.5 * squares).min(MOST_UNLIKE) } else { MOST_UNLIKE };
            }
        }
        out
    }
}
