//! EXIF orientation as a map of coordinates; the pixels are never rotated.

use nalgebra::Matrix3;

/// Orientation of the stored picture: the value of the EXIF tag, 1 to 8.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Orientation {
    /// 1: stored upright.
    #[default]
    Upright = 1,
    /// 2: mirrored left to right.
    MirroredAcross = 2,
    /// 3: rotated by 180 degrees.
    HalfTurn = 3,
    /// 4: mirrored top to bottom.
    MirroredDown = 4,
    /// 5: mirrored about the diagonal from top left to bottom right.
    Transposed = 5,
    /// 6: upright after a clockwise rotation by 90 degrees.
    QuarterTurn = 6,
    /// 7: mirrored about the diagonal from top right to bottom left.
    Transversed = 7,
    /// 8: upright after an anticlockwise rotation by 90 degrees.
    ThreeQuarterTurn = 8,
}

impl Orientation {
    /// The orientation of a value of the EXIF tag.
    pub fn from_exif(value: u32) -> Option<Self> {
        Some(match value {
            1 => Self::Upright,
            2 => Self::MirroredAcross,
            3 => Self::HalfTurn,
            4 => Self::MirroredDown,
            5 => Self::Transposed,
            6 => Self::QuarterTurn,
            7 => Self::Transversed,
            8 => Self::ThreeQuarterTurn,
            _ => return None,
        })
    }

    /// Whether upright rows are stored columns.
    pub fn swaps_axes(self) -> bool {
        self as u8 >= 5
    }

    /// Whether stored columns run against their upright axis.
    pub(super) fn flips_stored_x(self) -> bool {
        matches!(self, Self::MirroredAcross | Self::HalfTurn | Self::Transversed | Self::ThreeQuarterTurn)
    }

    /// Whether stored rows run against their upright axis.
    pub(super) fn flips_stored_y(self) -> bool {
        matches!(self, Self::HalfTurn | Self::MirroredDown | Self::QuarterTurn | Self::Transversed)
    }

    /// The map of pixel coordinates from the upright photo to the stored picture of the given size.
    pub fn stored_from_upright(self, stored_width: usize, stored_height: usize) -> Matrix3<f64> {
        let row = |flipped: bool, of_y: bool, size: usize| {
            let (sign, from) = if flipped { (-1.0, size as f64 - 1.0) } else { (1.0, 0.0) };
            if of_y { [0.0, sign, from] } else { [sign, 0.0, from] }
        };
        let [a, b, c] = row(self.flips_stored_x(), self.swaps_axes(), stored_width);
        let [d, e, f] = row(self.flips_stored_y(), !self.swaps_axes(), stored_height);
        Matrix3::new(a, b, c, d, e, f, 0.0, 0.0, 1.0)
    }

    /// The map from upright pixels to an interleaved buffer of the given stored size.
    pub(super) fn map(self, stored_width: usize, stored_height: usize, channels: usize) -> AffineIndex {
        let (column, row) = (channels as isize, (channels * stored_width) as isize);
        let mut base = 0;
        let along_column = if self.flips_stored_x() {
            base += (stored_width as isize - 1) * column;
            -column
        } else {
            column
        };
        let along_row = if self.flips_stored_y() {
            base += (stored_height as isize - 1) * row;
            -row
        } else {
            row
        };
        let (step_x, step_y, width, height) = if self.swaps_axes() {
            (along_row, along_column, stored_height, stored_width)
        } else {
            (along_column, along_row, stored_width, stored_height)
        };
        AffineIndex { base, step_x, step_y, width, height }
    }
}

/// Index of an upright pixel's first byte in any orientation: `base + x * step_x + y * step_y`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct AffineIndex {
    base: isize,
    step_x: isize,
    step_y: isize,
    /// Width of the upright picture, pixels.
    pub width: usize,
    /// Height of the upright picture, pixels.
    pub height: usize,
}

impl AffineIndex {
    /// Index of the first byte of pixel (x, y), which must lie inside.
    #[inline(always)]
    pub fn at(&self, x: usize, y: usize) -> usize {
        (self.base + x as isize * self.step_x + y as isize * self.step_y) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a viewer shows for each value of the tag, for the stored picture `abc / def`.
    const SHOWN: [&[&str]; 8] = [
        &["abc", "def"],
        &["cba", "fed"],
        &["fed", "cba"],
        &["def", "abc"],
        &["ad", "be", "cf"],
        &["da", "eb", "fc"],
        &["fc", "eb", "da"],
        &["cf", "be", "ad"],
    ];

    #[test]
    fn every_orientation_shows_a_small_picture_as_the_standard_says() {
        for (value, shown) in (1u32..).zip(SHOWN) {
            let orientation = Orientation::from_exif(value).unwrap();
            assert_eq!(orientation as u32, value);
            for channels in [1, 3] {
                let stored: Vec<u8> =
                    b"abcdef".iter().flat_map(|&b| std::iter::repeat_n(b, channels)).collect();
                let map = orientation.map(3, 2, channels);
                let seen: Vec<String> = (0..map.height)
                    .map(|y| (0..map.width).map(|x| stored[map.at(x, y)] as char).collect())
                    .collect();
                assert_eq!(seen, shown, "orientation {value}, {channels} channels");
            }
            let stored = orientation.stored_from_upright(3, 2);
            for (y, row) in shown.iter().enumerate() {
                for (x, letter) in row.chars().enumerate() {
                    let at = stored * nalgebra::Vector3::new(x as f64, y as f64, 1.0);
                    assert_eq!(b"abcdef"[at.x as usize + 3 * at.y as usize] as char, letter);
                }
            }
        }
        assert_eq!(Orientation::from_exif(0), None);
        assert_eq!(Orientation::from_exif(9), None);
    }
}
