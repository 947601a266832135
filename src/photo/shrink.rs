//! Reduced copies of the picture: grey for tag detection, coloured for drawings.
//!
//! The stored picture is reduced row by row, in the order of memory; only the small result is rotated upright.

use crate::numeric::parallel::*;

use super::orient::Orientation;
use super::pixels::Pixels;
use super::srgb::luma_256;

/// The upright picture in grey, reduced by an integer factor.
///
/// Pixel (u, v) is the mean of the photo's pixels from `u * factor` to `u * factor + factor - 1` across and likewise down, so
/// its centre is at the photo's `x = (u + 0.5) * factor - 0.5`, `y = (v + 0.5) * factor - 0.5`. Incomplete boxes at the
/// right and lower border are dropped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GrayView {
    /// Luma (gamma-coded), row by row.
    pub data: Vec<u8>,
    /// Width in its own pixels.
    pub width: usize,
    /// Height in its own pixels.
    pub height: usize,
    /// Size of a pixel in pixels of the photo.
    pub factor: usize,
}

impl Pixels {
    /// The gamma-coded upright luma reduced by `factor`, clamped to 1 to 256.
    pub fn luma_upright(&self, factor: usize) -> GrayView {
        let factor = factor.clamp(1, MOST_ROWS);
        let (columns, rows) = (self.stored_width / factor, self.stored_height / factor);
        let mut small = vec![0u8; columns * rows];
        if !small.is_empty() {
            // Boxes count from the upright top-left corner, so on a flipped axis the remainder is at the stored start.
            let rest = |flips: bool, length: usize| if flips { length % factor } else { 0 };
            let first_column = rest(self.orientation.flips_stored_x(), self.stored_width);
            let first_row = rest(self.orientation.flips_stored_y(), self.stored_height);
            let row_bytes = 3 * self.stored_width;
            small.par_chunks_exact_mut(columns).with_min_len(8).enumerate().for_each(|(row, out)| {
                let start = (first_row + row * factor) * row_bytes;
                let band = &self.rgb[start..start + factor * row_bytes];
                match factor {
                    1 => luma_row(band, out),
                    2 => luma_row_of_two(band, row_bytes, 3 * first_column, out),
                    _ => luma_row_of_many(band, row_bytes, 3 * first_column, factor, out),
                }
            });
        }
        let (data, width, height) = turn_upright::<1>(small, columns, rows, self.orientation);
        GrayView { data, width, height, factor }
    }

    /// The upright picture reduced so that its longer side has at most `max_side_px` pixels (never enlarged):
    /// interleaved RGB (gamma-coded), width, height.
    ///
    /// Each pixel is the mean of whole pixels of the photo; the photo's `x` for the centre of column `u` is
    /// `(u + 0.5) * photo width / width - 0.5`, within half a pixel of the photo.
    pub fn thumbnail_rgb(&self, max_side_px: usize) -> (Vec<u8>, usize, usize) {
        let long = self.stored_width.max(self.stored_height);
        let side = max_side_px.clamp(1, long);
        let scaled = |length: usize| ((length * side + long / 2) / long).max(1);
        let (columns, rows) = (scaled(self.stored_width), scaled(self.stored_height));
        let x_bounds = bounds(self.stored_width, columns, self.orientation.flips_stored_x());
        let y_bounds = bounds(self.stored_height, rows, self.orientation.flips_stored_y());
        let row_bytes = 3 * self.stored_width;
        let mut small = vec![0u8; 3 * columns * rows];
        small.par_chunks_exact_mut(3 * columns).with_min_len(8).enumerate().for_each(|(row, out)| {
            let band = &self.rgb[y_bounds[row] * row_bytes..y_bounds[row + 1] * row_bytes];
            mean_row(band, row_bytes, &x_bounds, out);
        });
        turn_upright::<3>(small, columns, rows, self.orientation)
    }
}

/// Borders of `count` boxes over `length` pixels, from the upright start.
fn bounds(length: usize, count: usize, flipped: bool) -> Vec<usize> {
    let mut bounds: Vec<usize> = (0..=count).map(|i| i * length / count).collect();
    if flipped {
        bounds.reverse();
        bounds.iter_mut().for_each(|b| *b = length - *b);
    }
    bounds
}

fn luma_row(row: &[u8], out: &mut [u8]) {
    for (p, o) in row.as_chunks::<3>().0.iter().zip(out) {
        *o = ((luma_256(p[0].into(), p[1].into(), p[2].into()) + 128) >> 8) as u8;
    }
}

/// Two rows to one: the common case, written to stay in registers.
fn luma_row_of_two(band: &[u8], row_bytes: usize, first: usize, out: &mut [u8]) {
    let (upper, lower) = band.split_at(row_bytes);
    let upper = upper[first..].as_chunks::<6>().0;
    let lower = lower[first..].as_chunks::<6>().0;
    for ((a, b), o) in upper.iter().zip(lower).zip(out) {
        let sum = |k: usize| u32::from(a[k]) + u32::from(a[k + 3]) + u32::from(b[k]) + u32::from(b[k + 3]);
        *o = ((luma_256(sum(0), sum(1), sum(2)) + 512) >> 10) as u8;
    }
}

fn luma_row_of_many(band: &[u8], row_bytes: usize, first: usize, factor: usize, out: &mut [u8]) {
    let mut columns = vec![0u16; row_bytes];
    add_rows(band, row_bytes, &mut columns);
    let divisor = 256 * (factor * factor) as u64;
    for (box_columns, o) in columns[first..].chunks_exact(3 * factor).zip(out) {
        let [r, g, b] = add_pixels(box_columns).map(u64::from);
        *o = ((77 * r + 150 * g + 29 * b + divisor / 2) / divisor) as u8;
    }
}

/// Most rows whose bytes fit a sum of 16 bits.
const MOST_ROWS: usize = 256;

/// Adds at most [`MOST_ROWS`] rows of a band byte by byte, which vectorises.
fn add_rows(band: &[u8], row_bytes: usize, columns: &mut [u16]) {
    for row in band.chunks_exact(row_bytes) {
        for (sum, &byte) in columns.iter_mut().zip(row) {
            *sum += u16::from(byte);
        }
    }
}

/// Adds neighbouring pixels of a row of sums.
fn add_pixels(columns: &[u16]) -> [u32; 3] {
    let mut s = [0u32; 3];
    for p in columns.as_chunks::<3>().0 {
        s = [s[0] + u32::from(p[0]), s[1] + u32::from(p[1]), s[2] + u32::from(p[2])];
    }
    s
}

/// One row of box means: columns between `x_bounds`, all rows of the band.
fn mean_row(band: &[u8], row_bytes: usize, x_bounds: &[usize], out: &mut [u8]) {
    let mut sums = vec![[0u64; 3]; x_bounds.len() - 1];
    let mut columns = vec![0u16; row_bytes];
    for rows in band.chunks(MOST_ROWS * row_bytes) {
        columns.fill(0);
        add_rows(rows, row_bytes, &mut columns);
        for (sum, x) in sums.iter_mut().zip(x_bounds.windows(2)) {
            let part = add_pixels(&columns[3 * x[0]..3 * x[1]]);
            *sum = std::array::from_fn(|k| sum[k] + u64::from(part[k]));
        }
    }
    let rows = band.len() / row_bytes;
    for ((sum, x), o) in sums.iter().zip(x_bounds.windows(2)).zip(out.as_chunks_mut::<3>().0) {
        let count = ((x[1] - x[0]) * rows).max(1) as u64;
        *o = sum.map(|s| ((s + count / 2) / count) as u8);
    }
}

/// Rotates a small stored picture of N channels upright: bytes, width, height.
fn turn_upright<const N: usize>(
    small: Vec<u8>,
    columns: usize,
    rows: usize,
    orientation: Orientation,
) -> (Vec<u8>, usize, usize) {
    if orientation == Orientation::Upright || small.is_empty() {
        let swapped = orientation.swaps_axes();
        let (width, height) = if swapped { (rows, columns) } else { (columns, rows) };
        return (small, width, height);
    }
    let index = orientation.map(columns, rows, 1);
    let pixels = small.as_chunks::<N>().0;
    let mut upright = vec![0u8; small.len()];
    // In blocks of rows and columns, so that a transposed picture is read along its rows.
    const BLOCK: usize = 32;
    upright.par_chunks_mut(N * index.width * BLOCK).enumerate().for_each(|(band, out)| {
        let height = out.len() / (N * index.width);
        for x_block in (0..index.width).step_by(BLOCK) {
            for y in 0..height {
                let row = &mut out[N * index.width * y..N * index.width * (y + 1)];
                for (x, o) in row.as_chunks_mut::<N>().0.iter_mut().enumerate().skip(x_block).take(BLOCK) {
                    *o = pixels[index.at(x, band * BLOCK + y)];
                }
            }
        }
    });
    (upright, index.width, index.height)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(width: usize, height: usize, orientation: Orientation) -> Pixels {
        let rgb = (0..3 * width * height).map(|i| (i * 7919 % 251) as u8).collect();
        Pixels::new(rgb, width, height, orientation).unwrap()
    }

    fn all() -> impl Iterator<Item = Orientation> {
        (1..=8).filter_map(Orientation::from_exif)
    }

    #[test]
    fn luma_is_the_mean_of_its_box_in_every_orientation() {
        for orientation in all() {
            let p = picture(77, 43, orientation);
            for factor in [1, 2, 3, 4] {
                let view = p.luma_upright(factor);
                assert_eq!((view.width, view.height), (p.width_px() / factor, p.height_px() / factor));
                for (v, u) in (0..view.height).flat_map(|v| (0..view.width).map(move |u| (v, u))) {
                    let mut sum = 0.0;
                    for (j, i) in (0..factor).flat_map(|j| (0..factor).map(move |i| (j, i))) {
                        let [r, g, b] = p.pixel(u * factor + i, v * factor + j).map(f64::from);
                        sum += (77.0 * r + 150.0 * g + 29.0 * b) / 256.0;
                    }
                    let mean = sum / (factor * factor) as f64;
                    let got = f64::from(view.data[v * view.width + u]);
                    assert!((got - mean).abs() <= 0.5 + 1e-9, "{orientation:?} {factor}: {got} {mean}");
                }
            }
        }
    }

    #[test]
    fn thumbnail_is_upright_and_its_boxes_cover_the_picture() {
        let upright = picture(90, 60, Orientation::Upright).thumbnail_rgb(45);
        assert_eq!((upright.1, upright.2), (45, 30));
        for orientation in all() {
            let p = picture(90, 61, orientation);
            let (rgb, width, height) = p.thumbnail_rgb(40);
            assert_eq!(width.max(height), 40);
            assert_eq!(rgb.len(), 3 * width * height);
            let (x1, y1) = (p.width_px() / width, p.height_px() / height);
            let mut sum = 0.0;
            for (y, x) in (0..y1).flat_map(|y| (0..x1).map(move |x| (y, x))) {
                sum += f64::from(p.pixel(x, y)[0]);
            }
            let mean = sum / (x1 * y1) as f64;
            assert!((f64::from(rgb[0]) - mean).abs() <= 0.5 + 1e-9, "{orientation:?}");
            let full = p.thumbnail_rgb(1000);
            assert_eq!((full.1, full.2), (p.width_px(), p.height_px()));
            assert_eq!(full.0[3..6], p.pixel(1, 0));
        }
    }

    #[test]
    fn a_view_smaller_than_one_box_is_empty() {
        let view = picture(3, 2, Orientation::QuarterTurn).luma_upright(4);
        assert!(view.data.is_empty());
        assert_eq!(picture(3, 2, Orientation::QuarterTurn).thumbnail_rgb(0).0.len(), 3);
    }
}
