//! How much each place of the plane's view looks like a boundary of each direction.

use crate::numeric::parallel::*;

use super::plane::{CELL_MM, PlaneView};
use crate::outline::strip::CHANNELS;

/// Directions that are told apart, over half a turn.
pub const DIRECTIONS: usize = 16;
/// Cells round the view in which nothing is seen, so that a plan may reach over the border.
pub const MARGIN: usize = 64;
/// Evidence of a boundary that leaves no doubt, and the levels that a unit of evidence has.
pub const MOST: u8 = 225;
const LEVELS: f32 = 50.0;
/// Cells of a window along the boundary on either side of its middle, and across it.
const ALONG: isize = 3;
const ACROSS: isize = 3;
/// Square root of light that cells differ by without any boundary: compression and noise of a mean.
const FLOOR: f32 = 0.006;
/// How many independent cells stand behind a window's mean: texture is alike over some cells.
const INDEPENDENT: f32 = 3.0;

/// One map a direction of the boundary's normal: k is the angle k pi / [`DIRECTIONS`] from the columns' direction toward
/// the rows'.
#[derive(Debug, Clone)]
pub struct Lines {
    /// Cells across, margins included.
    pub width: usize,
    /// Cells down, margins included.
    pub height: usize,
    maps: Vec<Vec<u8>>,
}

impl Lines {
    /// Compares windows on both sides of every place in every direction: the squared difference of their means over their
    /// variances, summed over light and colours, on a logarithmic scale.
    pub fn of(view: &PlaneView) -> Self {
        let (width, height) = (view.columns + 2 * MARGIN, view.rows + 2 * MARGIN);
        let maps = (0..DIRECTIONS)
            .into_par_iter()
            .map(|k| {
                let mut map = vec![0; width * height];
                let windows = Windows::along(view, k);
                for row in 0..view.rows {
                    let line = &mut map[(row + MARGIN) * width + MARGIN..][..view.columns];
                    windows.compare(row, line);
                }
                map
            })
            .collect();
        Self { width, height, maps }
    }

    /// The map of a normal's angle, radians.
    pub fn direction(angle: f64) -> usize {
        let turns = angle.rem_euclid(std::f64::consts::PI) / std::f64::consts::PI;
        (turns * DIRECTIONS as f64).round() as usize % DIRECTIONS
    }

    /// Evidence at cells from a place of a direction's map on; the place counts without margins.
    pub fn row(&self, direction: usize, column: isize, row: isize, count: usize) -> Option<&[u8]> {
        let (c, r) = (column + MARGIN as isize, row + MARGIN as isize);
        let start = usize::try_from(r).ok()? * self.width + usize::try_from(c).ok()?;
        let inside = (r as usize) < self.height && c as usize + count <= self.width;
        if inside { Some(&self.maps[direction][start..start + count]) } else { None }
    }

    /// Every place with the best of the places within a distance.
    pub fn widened(&self, by_mm: f64) -> Self {
        let reach = (by_mm / CELL_MM).round() as isize;
        let disc: Vec<(isize, isize)> =
            (-reach..=reach).map(|y| (y, (((reach * reach - y * y) as f64).sqrt() + 0.3) as isize)).collect();
        let (width, height) = (self.width, self.height);
        let maps = self
            .maps
            .par_iter()
            .map(|map| {
                let mut out = vec![0u8; width * height];
                for row in reach as usize..height - reach as usize {
                    let line = &mut out[row * width..(row + 1) * width];
                    for &(down, half) in &disc {
                        let from = &map[(row as isize + down) as usize * width..][..width];
                        for across in -half..=half {
                            let (to, of) = shifted(width, across);
                            line[to].iter_mut().zip(&from[of]).for_each(|(o, &v)| *o = (*o).max(v));
                        }
                    }
                }
                out
            })
            .collect();
        Self { width, height, maps }
    }
}

/// The places of a row and of the same row moved by some cells that belong together.
fn shifted(width: usize, by: isize) -> (std::ops::Range<usize>, std::ops::Range<usize>) {
    let n = by.unsigned_abs();
    if by >= 0 { (0..width - n, n..width) } else { (n..width, 0..width - n) }
}

/// Sums of samples and their squares along the boundary's direction, for each cell.
struct Windows<'a> {
    view: &'a PlaneView,
    across: [(isize, isize); ACROSS as usize],
    sums: Vec<Option<Sums>>,
}

#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    light: [f32; CHANNELS],
    squares: [f32; CHANNELS],
}

impl<'a> Windows<'a> {
    fn along(view: &'a PlaneView, direction: usize) -> Self {
        let angle = std::f64::consts::PI * direction as f64 / DIRECTIONS as f64;
        let (normal, tangent) = ((angle.cos(), angle.sin()), (-angle.sin(), angle.cos()));
        let step =
            |v: (f64, f64), n: isize| ((v.0 * n as f64).round() as isize, (v.1 * n as f64).round() as isize);
        let taps: Vec<_> = (-ALONG..=ALONG).map(|n| step(tangent, n)).collect();
        let sums = (0..view.samples.len()).map(|i| sum_of(view, i, &taps)).collect();
        Self { view, across: std::array::from_fn(|n| step(normal, n as isize + 1)), sums }
    }

    fn compare(&self, row: usize, line: &mut [u8]) {
        for (column, out) in line.iter_mut().enumerate() {
            let side = |sign: isize| {
                self.across.iter().try_fold(Sums::default(), |mut sum, &(c, r)| {
                    let at = cell(self.view, column as isize + sign * c, row as isize + sign * r)?;
                    let more = self.sums[at]?;
                    for k in 0..CHANNELS {
                        sum.light[k] += more.light[k];
                        sum.squares[k] += more.squares[k];
                    }
                    Some(sum)
                })
            };
            if let (Some(a), Some(b)) = (side(1), side(-1)) {
                *out = (evidence(&a, &b) * LEVELS).min(f32::from(MOST)) as u8;
            }
        }
    }
}

/// Sums over the taps about a cell; `None` where one is not open.
fn sum_of(view: &PlaneView, index: usize, taps: &[(isize, isize)]) -> Option<Sums> {
    let (column, row) = ((index % view.columns) as isize, (index / view.columns) as isize);
    taps.iter().try_fold(Sums::default(), |mut sum, &(c, r)| {
        let sample = view.samples[cell(view, column + c, row + r)?];
        for k in 0..CHANNELS {
            sum.light[k] += sample[k];
            sum.squares[k] += sample[k] * sample[k];
        }
        Some(sum)
    })
}

/// Index of an open cell.
fn cell(view: &PlaneView, column: isize, row: isize) -> Option<usize> {
    let (c, r) = (usize::try_from(column).ok()?, usize::try_from(row).ok()?);
    let index = r * view.columns + c;
    (c < view.columns && r < view.rows && view.open[index]).then_some(index)
}

fn evidence(a: &Sums, b: &Sums) -> f32 {
    const COUNT: f32 = ((2 * ALONG + 1) * ACROSS) as f32;
    let ratio: f32 = (0..CHANNELS)
        .map(|k| {
            let means = [a, b].map(|s| s.light[k] / COUNT);
            let variance = |s: &Sums, mean: f32| (s.squares[k] / COUNT - mean * mean).max(0.0);
            let within = variance(a, means[0]) + variance(b, means[1]) + 2.0 * FLOOR * FLOOR;
            (means[0] - means[1]).powi(2) / within
        })
        .sum();
    (INDEPENDENT * ratio).ln_1p()
}
