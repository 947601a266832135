//! Networks trained on rendered and drawn saddles: maps of a saddle's place, and posteriors of its edges.

pub mod net;

use std::ops::Range;
use std::sync::LazyLock;

use net::{Channels, EdgeNets, EdgePosterior, PlaceNet, Planes, RENDERED};

use super::strip::{CHANNELS, Strip};
use super::trace::Viterbi;

/// Columns of every picture.
pub const COLUMNS: usize = 128;
/// Channels of a chart's picture: both sides' colours, and where a value is across and along the chart.
pub const FORM_CHANNELS: usize = 2 * CHANNELS + 2;
/// Channels of a band's picture: its colours, the slope of the line of sight and how fine the photo is.
pub const RIM_CHANNELS: usize = CHANNELS + 2;

/// Channels of a view from above: its colours and whether a cell is open.
pub const PLACE_CHANNELS: usize = CHANNELS + 1;

/// Why reading built-in weights cannot fail.
const BUILT_IN: &str = "a test reads all weights that are built in";

/// Where a saddle is in a view from above.
pub static PLACES: LazyLock<PlaceNet> =
    LazyLock::new(|| PlaceNet::read(PLACE_CHANNELS, include_bytes!("places.weights")).expect(BUILT_IN));
/// Channels of the networks trained on drawn saddles alone.
const DRAWN: Channels = [8, 16, 20, 24, 24];

/// The form's edges in charts.
pub static FORM: LazyLock<EdgeNets> = LazyLock::new(|| {
    EdgeNets::read(FORM_CHANNELS, &[(RENDERED, include_bytes!("form.weights"))]).expect(BUILT_IN)
});
/// The channel's edges in charts.
pub static CHANNEL_FORM: LazyLock<EdgeNets> = LazyLock::new(|| {
    EdgeNets::read(FORM_CHANNELS, &[(RENDERED, include_bytes!("channel_form.weights"))]).expect(BUILT_IN)
});
/// The form's edge in bands.
pub static RIM: LazyLock<EdgeNets> = LazyLock::new(|| {
    let stored: [(_, &[u8]); 2] =
        [(RENDERED, include_bytes!("rim.weights")), (DRAWN, include_bytes!("rim_drawn.weights"))];
    EdgeNets::read(RIM_CHANNELS, &stored).expect(BUILT_IN)
});
/// The channel's edge in bands.
pub static CHANNEL_RIM: LazyLock<EdgeNets> = LazyLock::new(|| {
    let stored: [(_, &[u8]); 2] = [
        (RENDERED, include_bytes!("channel_rim.weights")),
        (DRAWN, include_bytes!("channel_rim_drawn.weights")),
    ];
    EdgeNets::read(RIM_CHANNELS, &stored).expect(BUILT_IN)
});

/// Level added to a picture's mean light before it is divided by it.
pub const DARK: f32 = 0.02;
/// Values are cut off here.
const MOST: f32 = 4.0;
/// Colour differences are so much smaller than light.
const COLOUR_GAIN: f32 = 3.0;

/// The means of `samples` by `samples` of a strip; samples outside the photo are black.
pub fn means(strip: &Strip, samples: usize) -> Planes {
    let mut planes = Planes::zeros(strip.rows / samples, strip.columns / samples, CHANNELS);
    let scale = 1.0 / (samples * samples) as f32;
    for row in 0..planes.rows * samples {
        for (column, near) in strip.row(row).chunks_exact(samples).enumerate() {
            for sample in near.iter().filter(|s| s[0].is_finite()) {
                for (k, value) in sample.iter().enumerate() {
                    planes.line_mut(row / samples, k)[column] += scale * value;
                }
            }
        }
    }
    planes
}

/// Pictures of one size side by side in the channels of one, by the mean light of all, with so many channels and rows in
/// all. Rows beyond the last repeat it.
pub fn by_mean_light(pictures: &[&Planes], channels: usize, rows: usize) -> Planes {
    let (own, columns) = (pictures[0].rows, pictures[0].columns);
    let light = |p: &&Planes| (0..own).flat_map(|row| p.line(row, 0)).sum::<f32>();
    let mean = pictures.iter().map(light).sum::<f32>() / (pictures.len() * own * columns) as f32 + DARK;
    let mut out = Planes::zeros(rows, columns, channels);
    for (i, picture) in pictures.iter().enumerate() {
        for k in 0..CHANNELS {
            for row in 0..rows {
                let line = out.line_mut(row, i * CHANNELS + k).iter_mut();
                let from = picture.line(row.min(own - 1), k);
                line.zip(from).for_each(|(o, v)| *o = relative(*v, k, mean));
            }
        }
    }
    out
}

/// A sample's channel relative to a picture's mean light, as the networks see it.
pub fn relative(value: f32, channel: usize, mean: f32) -> f32 {
    let (gain, level) = if channel == 0 { (1.0, 1.0) } else { (COLOUR_GAIN, 0.0) };
    gain * ((value / mean).clamp(-MOST, MOST) - level)
}

/// Neighbouring rows are correlated: each counts as this part of an independent one.
const ROW_WEIGHT: f32 = 0.5;
/// Probability in a row that the edge is where the network gives it none.
const BLIND: f32 = 1e-3;

/// Viterbi costs of some rows: the negative log posterior times [`ROW_WEIGHT`], the posterior no less than [`BLIND`] allows. A
/// row that cannot be hidden is pinned by a hint and gets neither.
pub fn viterbi(posterior: &EdgePosterior, rows: Range<usize>, max_slope: usize, bend_cost: f32) -> Viterbi {
    let mut cost = Vec::with_capacity(rows.len() * posterior.columns);
    for row in rows.clone() {
        if posterior.unseen[row] == f32::NEG_INFINITY {
            cost.extend(posterior.row(row).iter().map(|v| -v));
            continue;
        }
        let any = (posterior.unseen[row].exp() + BLIND) / posterior.columns as f32;
        cost.extend(posterior.row(row).iter().map(|v| -ROW_WEIGHT * (v.exp() + any).ln()));
    }
    Viterbi { rows: rows.len(), places: posterior.columns, cost, max_slope, bend_cost }
}

/// Columns on either side of a path's over which the probabilities are averaged.
const NEAR: usize = 2;

/// Mean column about a path's in a row, by the probabilities.
pub fn fine_column(posterior: &EdgePosterior, row: usize, column: usize) -> f64 {
    let from = column.saturating_sub(NEAR);
    let near = &posterior.row(row)[from..(column + NEAR + 1).min(posterior.columns)];
    let (mut sum, mut weights) = (0.0, 0.0);
    for (i, v) in near.iter().enumerate() {
        let weight = f64::from(v.exp() + BLIND);
        sum += weight * (from + i) as f64;
        weights += weight;
    }
    sum / weights
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn built_in_weights_fit_their_networks() {
        LazyLock::force(&PLACES);
        for net in [&FORM, &CHANNEL_FORM, &RIM, &CHANNEL_RIM] {
            LazyLock::force(net);
        }
    }
}
