//! The networks: U-Nets of 3 x 3 convolutions at five scales (O. Ronneberger, P. Fischer and T. Brox, 2015).
//!
//! [`EdgeNets`] give the posterior of an edge's column in every row of a picture whose rows run along the edge;
//! [`PlaceNet`] gives maps of where a saddle is in a view from above.

use crate::numeric::parallel::*;
use pulp::NullaryFnOnce;

/// Channels at each scale, from the finest.
pub type Channels = [usize; 5];
/// Channels of the networks trained on rendered photos.
pub const RENDERED: Channels = [8, 16, 32, 64, 96];
/// Rows and columns of a picture must be multiples of this: four times halved.
pub const MULTIPLE: usize = 1 << (RENDERED.len() - 1);

/// Values on rows, channels and columns, with a border of zeros about every row and column.
#[derive(Debug, Clone)]
pub struct Planes {
    /// Number of rows.
    pub rows: usize,
    /// Number of columns.
    pub columns: usize,
    /// Number of channels.
    pub channels: usize,
    values: Vec<f32>,
}

impl Planes {
    /// All zero.
    pub fn zeros(rows: usize, columns: usize, channels: usize) -> Self {
        Self { rows, columns, channels, values: vec![0.0; (rows + 2) * channels * (columns + 2)] }
    }

    /// One row of one channel.
    pub fn line(&self, row: usize, channel: usize) -> &[f32] {
        let from = ((row + 1) * self.channels + channel) * (self.columns + 2) + 1;
        &self.values[from..from + self.columns]
    }

    /// The same, to be written.
    pub fn line_mut(&mut self, row: usize, channel: usize) -> &mut [f32] {
        let from = ((row + 1) * self.channels + channel) * (self.columns + 2) + 1;
        &mut self.values[from..from + self.columns]
    }

    /// A row with its border, all channels; row 0 is the border above.
    fn bordered(&self, row: usize) -> &[f32] {
        let length = self.channels * (self.columns + 2);
        &self.values[row * length..(row + 1) * length]
    }

    /// The rows within the border, all channels each, to be written.
    fn rows_mut(&mut self) -> impl IndexedParallelIterator<Item = &mut [f32]> {
        let length = self.channels * (self.columns + 2);
        let end = (self.rows + 1) * length;
        self.values[length..end].par_chunks_exact_mut(length)
    }

    /// Half as fine: means of two by two.
    fn halved(&self) -> Self {
        let mut out = Self::zeros(self.rows / 2, self.columns / 2, self.channels);
        for row in 0..out.rows {
            for channel in 0..self.channels {
                let (above, below) = (self.line(2 * row, channel), self.line(2 * row + 1, channel));
                let pairs = above.chunks_exact(2).zip(below.chunks_exact(2));
                let line = out.line_mut(row, channel);
                line.iter_mut().zip(pairs).for_each(|(o, (a, b))| *o = 0.25 * (a[0] + a[1] + b[0] + b[1]));
            }
        }
        out
    }

    /// Twice as fine, each value four times, with the channels of `beside` after its own.
    fn doubled_with(&self, beside: &Self) -> Self {
        let mut out = Self::zeros(beside.rows, beside.columns, self.channels + beside.channels);
        for row in 0..out.rows {
            for channel in 0..self.channels {
                let from = self.line(row / 2, channel);
                out.line_mut(row, channel).iter_mut().enumerate().for_each(|(i, o)| *o = from[i / 2]);
            }
            for channel in 0..beside.channels {
                out.line_mut(row, self.channels + channel).copy_from_slice(beside.line(row, channel));
            }
        }
        out
    }
}

/// A convolution of three by three.
#[derive(Debug, Clone)]
struct Convolution {
    inputs: usize,
    outputs: usize,
    /// Blocks of outputs; in each, input by input, row by row and column by column, the weights of its outputs.
    weights: Vec<f32>,
    biases: Vec<f32>,
}

/// Outputs and columns that are computed together, in registers.
const OUTPUT_BLOCK: usize = 4;
const COLUMN_BLOCK: usize = 8;
/// Weights of one input for a block of outputs.
const BLOCK_WEIGHTS: usize = 9 * OUTPUT_BLOCK;

impl Convolution {
    /// From weights output by output, then input by input, then row by row.
    fn new(inputs: usize, outputs: usize, stored: &[f32], biases: Vec<f32>) -> Self {
        let mut weights = Vec::with_capacity(stored.len());
        for first in (0..outputs).step_by(OUTPUT_BLOCK) {
            for tap in 0..9 * inputs {
                weights.extend((first..first + OUTPUT_BLOCK).map(|output| stored[output * 9 * inputs + tap]));
            }
        }
        Self { inputs, outputs, weights, biases }
    }

    /// The picture convolved, what is negative cut off at 0.
    fn of(&self, picture: &Planes) -> Planes {
        let mut out = Planes::zeros(picture.rows, picture.columns, self.outputs);
        let width = picture.columns + 2;
        // With the widest registers that the processor has, and fused where it can multiply and add in one step; the order
        // of the sums stays the same.
        let processor = pulp::Arch::new();
        out.rows_mut().enumerate().for_each(|(row, line)| {
            let near = [0, 1, 2].map(|k| picture.bordered(row + k));
            match processor {
                pulp::Arch::Scalar => Line::<false> { layer: self, near, width, out: line }.call(),
                fusing => fusing.dispatch(Line::<true> { layer: self, near, width, out: line }),
            }
        });
        out
    }
}

/// One row of a convolution, all outputs, from the picture's row and both its neighbours; products are added in one step
/// with one rounding, or in two.
struct Line<'a, const FUSED: bool> {
    layer: &'a Convolution,
    near: [&'a [f32]; 3],
    /// Columns with their border.
    width: usize,
    out: &'a mut [f32],
}

impl<const FUSED: bool> pulp::NullaryFnOnce for Line<'_, FUSED> {
    type Output = ();

    #[inline(always)]
    fn call(mut self) {
        let columns = self.width - 2;
        for first in (0..self.layer.outputs).step_by(OUTPUT_BLOCK) {
            let mut column = 0;
            while columns - column >= 2 * COLUMN_BLOCK {
                self.block::<{ 2 * COLUMN_BLOCK }>(first, column);
                column += 2 * COLUMN_BLOCK;
            }
            if columns - column >= COLUMN_BLOCK {
                self.block::<COLUMN_BLOCK>(first, column);
                column += COLUMN_BLOCK;
            }
            // At coarse scales a few columns are left over.
            (column..columns).for_each(|column| self.block::<1>(first, column));
        }
    }
}

impl<const FUSED: bool> Line<'_, FUSED> {
    /// Some outputs at some columns.
    #[inline(always)]
    fn block<const N: usize>(&mut self, first: usize, column: usize) {
        let Convolution { inputs, weights, biases, .. } = self.layer;
        let mut sums: [[f32; N]; OUTPUT_BLOCK] = std::array::from_fn(|k| [biases[first + k]; N]);
        let weights = &weights[first * 9 * inputs..][..OUTPUT_BLOCK * 9 * inputs];
        for (input, weights) in weights.as_chunks::<BLOCK_WEIGHTS>().0.iter().enumerate() {
            for (dy, line) in self.near.iter().enumerate() {
                let line = &line[input * self.width + column..][..N + 2];
                for dx in 0..3 {
                    for (k, sum) in sums.iter_mut().enumerate() {
                        let weight = weights[(dy * 3 + dx) * OUTPUT_BLOCK + k];
                        for (s, v) in sum.iter_mut().zip(&line[dx..dx + N]) {
                            *s = if FUSED { weight.mul_add(*v, *s) } else { *s + weight * v };
                        }
                    }
                }
            }
        }
        for (k, sum) in sums.iter().enumerate() {
            let at = (first + k) * self.width + 1 + column;
            self.out[at..at + N].iter_mut().zip(sum).for_each(|(o, s)| *o = s.max(0.0));
        }
    }
}

/// A weighted sum of channels.
#[derive(Debug, Clone)]
struct Sum {
    weights: Vec<f32>,
    bias: f32,
}

impl Sum {
    /// Adds the sum of one row's channels to a line of zeros.
    fn add_to(&self, line: &mut [f32], planes: &Planes, row: usize) {
        line.iter_mut().for_each(|o| *o += self.bias);
        for (channel, weight) in self.weights.iter().enumerate() {
            line.iter_mut().zip(planes.line(row, channel)).for_each(|(o, v)| *o += weight * v);
        }
    }
}

/// Logarithm of the sum of what these and one more are logarithms of; the largest is taken out first, so that none but a vanishing
/// part is lost to the range of numbers.
fn log_sum(all: &[f32], one: f32) -> f32 {
    let most = all.iter().copied().fold(one, f32::max);
    let total: f32 = all.iter().chain([&one]).map(|v| (v - most).exp()).sum();
    most + total.ln()
}

/// The layers that all networks have in common.
#[derive(Debug, Clone)]
struct Trunk {
    down: Vec<Vec<Convolution>>,
    up: Vec<Convolution>,
}

impl Trunk {
    fn read(channels: Channels, inputs: usize, stored: &mut Stored) -> Option<Self> {
        let mut down = vec![vec![stored.convolution(inputs, channels[0])?]];
        for scales in channels.windows(2) {
            down.push(vec![
                stored.convolution(scales[0], scales[1])?,
                stored.convolution(scales[1], scales[1])?,
            ]);
        }
        let mut up = Vec::new();
        for scale in (0..channels.len() - 1).rev() {
            up.push(stored.convolution(channels[scale] + channels[scale + 1], channels[scale])?);
        }
        Some(Self { down, up })
    }

    /// Features at the finest scale and at half of it. Rows and columns of the picture are multiples of [`MULTIPLE`].
    fn features(&self, picture: Planes) -> (Planes, Planes) {
        let mut scales: Vec<Planes> = Vec::new();
        let mut at = picture;
        for (scale, layers) in self.down.iter().enumerate() {
            if scale > 0 {
                at = scales[scale - 1].halved();
            }
            at = layers.iter().fold(at, |at, layer| layer.of(&at));
            scales.push(at.clone());
        }
        let mut half = at.clone();
        for (layer, beside) in self.up.iter().zip(scales.iter().rev().skip(1)) {
            let finer = layer.of(&at.doubled_with(beside));
            half = std::mem::replace(&mut at, finer);
        }
        (at, half)
    }
}

/// Weights as they are stored: the upper halves of single-precision numbers, little end first; of each layer all
/// weights and then the biases, from the finest scale down and up again, sums last.
struct Stored<'a>(std::slice::ChunksExact<'a, u8>);

impl Stored<'_> {
    fn take(&mut self, n: usize) -> Option<Vec<f32>> {
        let number = |b: &[u8]| f32::from_bits(u32::from(u16::from_le_bytes([b[0], b[1]])) << 16);
        let numbers: Vec<f32> = self.0.by_ref().take(n).map(number).collect();
        (numbers.len() == n).then_some(numbers)
    }

    fn convolution(&mut self, inputs: usize, outputs: usize) -> Option<Convolution> {
        let weights = self.take(inputs * outputs * 9)?;
        Some(Convolution::new(inputs, outputs, &weights, self.take(outputs)?))
    }

    fn sum(&mut self, inputs: usize) -> Option<Sum> {
        Some(Sum { weights: self.take(inputs)?, bias: self.take(1)?[0] })
    }

    /// All that was asked for, if nothing is left over.
    fn complete<T>(mut self, all: T) -> Option<T> {
        self.0.next().is_none().then_some(all)
    }
}

/// Networks that locate an edge in the rows of a picture. The mean of their posteriors is used: networks trained on
/// photos of different renderers rarely make the same mistake.
#[derive(Debug, Clone)]
pub struct EdgeNets(Vec<EdgeNet>);

#[derive(Debug, Clone)]
struct EdgeNet {
    trunk: Trunk,
    edge: Sum,
    unseen: Sum,
}

/// Posterior of an edge's column in every row.
#[derive(Debug, Clone)]
pub struct EdgePosterior {
    /// Number of rows.
    pub rows: usize,
    /// Number of columns.
    pub columns: usize,
    /// Log probability that the edge is in each column, row by row.
    pub edge: Vec<f32>,
    /// Log probability that the edge is not visible in a row.
    pub unseen: Vec<f32>,
}

impl EdgePosterior {
    /// One row's columns.
    pub fn row(&self, row: usize) -> &[f32] {
        &self.edge[row * self.columns..(row + 1) * self.columns]
    }

    /// One row's columns, to be written.
    pub fn row_mut(&mut self, row: usize) -> &mut [f32] {
        &mut self.edge[row * self.columns..(row + 1) * self.columns]
    }

    /// Makes the probabilities of a row sum to 1 again, however small all of them have become.
    pub fn normalise(&mut self, row: usize) {
        let all = log_sum(self.row(row), self.unseen[row]);
        self.row_mut(row).iter_mut().for_each(|v| *v -= all);
        self.unseen[row] -= all;
    }

    /// The first rows alone.
    pub fn first_rows(mut self, rows: usize) -> Self {
        self.rows = rows;
        self.edge.truncate(rows * self.columns);
        self.unseen.truncate(rows);
        self
    }
}

impl EdgeNets {
    /// Reads networks for pictures of so many channels. `None` when one has too few weights or too many.
    pub fn read(inputs: usize, stored: &[(Channels, &[u8])]) -> Option<Self> {
        stored
            .iter()
            .map(|(channels, bytes)| EdgeNet::read(*channels, inputs, bytes))
            .collect::<Option<_>>()
            .map(Self)
    }

    /// The mean of all posteriors for a picture whose rows and columns are multiples of [`MULTIPLE`].
    pub fn posterior(&self, picture: Planes) -> EdgePosterior {
        let mut mean = EdgePosterior {
            rows: picture.rows,
            columns: picture.columns,
            edge: vec![0.0; picture.rows * picture.columns],
            unseen: vec![0.0; picture.rows],
        };
        for net in &self.0 {
            let one = net.posterior(picture.clone());
            mean.edge.iter_mut().zip(&one.edge).for_each(|(m, v)| *m += v.exp());
            mean.unseen.iter_mut().zip(&one.unseen).for_each(|(m, v)| *m += v.exp());
        }
        let count = self.0.len() as f32;
        let to_log = |m: &mut f32| *m = (*m / count).max(f32::MIN_POSITIVE).ln();
        mean.edge.iter_mut().chain(&mut mean.unseen).for_each(to_log);
        mean
    }
}

impl EdgeNet {
    fn read(channels: Channels, inputs: usize, bytes: &[u8]) -> Option<Self> {
        let mut stored = Stored(bytes.chunks_exact(2));
        let trunk = Trunk::read(channels, inputs, &mut stored)?;
        let (edge, unseen) = (stored.sum(channels[0])?, stored.sum(channels[1])?);
        stored.complete(Self { trunk, edge, unseen })
    }

    fn posterior(&self, picture: Planes) -> EdgePosterior {
        let (fine, half) = self.trunk.features(picture);
        let (rows, columns) = (fine.rows, fine.columns);
        let mut edge = vec![0.0; rows * columns];
        let mut unseen = vec![0.0; rows];
        for row in 0..rows {
            let line = &mut edge[row * columns..(row + 1) * columns];
            self.edge.add_to(line, &fine, row);
            let mean = |channel: usize| half.line(row / 2, channel).iter().sum::<f32>() / half.columns as f32;
            unseen[row] = self.unseen.bias
                + self.unseen.weights.iter().enumerate().map(|(c, w)| w * mean(c)).sum::<f32>();
        }
        let mut posterior = EdgePosterior { rows, columns, edge, unseen };
        (0..rows).for_each(|row| posterior.normalise(row));
        posterior
    }
}

/// Maps that [`PlaceNet`] gives: the form's inside, its front end and its rear end.
pub const PLACE_MAPS: usize = 3;

/// A network that finds saddles in a view from above.
#[derive(Debug, Clone)]
pub struct PlaceNet {
    trunk: Trunk,
    maps: [Sum; PLACE_MAPS],
}

impl PlaceNet {
    /// Reads a network for pictures of so many channels. `None` when there are too few weights or too many.
    pub fn read(inputs: usize, bytes: &[u8]) -> Option<Self> {
        let mut stored = Stored(bytes.chunks_exact(2));
        let trunk = Trunk::read(RENDERED, inputs, &mut stored)?;
        let mut sum = || stored.sum(RENDERED[0]);
        let maps = [sum()?, sum()?, sum()?];
        stored.complete(Self { trunk, maps })
    }

    /// Log odds of each map, row by row, for a picture whose rows and columns are multiples of [`MULTIPLE`].
    pub fn maps(&self, picture: Planes) -> [Vec<f32>; PLACE_MAPS] {
        let (fine, _) = self.trunk.features(picture);
        self.maps.each_ref().map(|sum| {
            let mut map = vec![0.0; fine.rows * fine.columns];
            map.chunks_exact_mut(fine.columns)
                .enumerate()
                .for_each(|(row, line)| sum.add_to(line, &fine, row));
            map
        })
    }
}
