//! Check of a tag against the photo, module by module, border and margin included.

use nalgebra::{Matrix3, Vector2};

use super::pattern::{MODULES, TagPlace, modules};
use crate::numeric::homography::apply;
use crate::photo::Photo;

/// Modules of a tag that contradict the photo at an assumed place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CodeCheck {
    /// Data modules that contradict the code, of 36.
    pub wrong_data: usize,
    /// Border modules that are not black, of 28.
    pub wrong_border: usize,
    /// Modules of the margin outside the border that are not white, of 32.
    pub wrong_margin: usize,
}

impl CodeCheck {
    /// True when code, border and margin agree but for a few dirty or hidden modules. A tag with a border two modules
    /// wide fails, as does one whose margin is covered. The family would correct five modules, but on grids of
    /// two-module borders another tag, read at the wrong size, differs by no more.
    pub fn passes(&self) -> bool {
        self.wrong_data <= 3 && self.wrong_border <= 5 && self.wrong_margin <= 8
    }
}

/// Checks a tag's modules through the homography from its unit square (x right, y down, corners 0 and 1) to the
/// photo. `None` when part of it is outside the photo or the tag has no code.
pub fn check_code(photo: &Photo, photo_from_unit: &Matrix3<f64>, tag_id: u32) -> Option<CodeCheck> {
    let code = modules(tag_id)?;
    let n = MODULES as i32;
    let mut lights = Vec::with_capacity(100);
    for row in -1..=n {
        for column in -1..=n {
            let at = Vector2::new(f64::from(column) + 0.5, f64::from(row) + 0.5) / f64::from(n);
            let p = apply(photo_from_unit, at)?;
            let rgb = photo.linear_at(p.into())?;
            lights.push((row, column, f64::from(rgb[1])));
        }
    }
    let expected = |row: i32, column: i32| {
        let inside = (0..n).contains(&row) && (0..n).contains(&column);
        !inside || code[row as usize][column as usize]
    };
    let mean = |white: bool| {
        let chosen: Vec<f64> =
            lights.iter().filter(|(r, c, _)| expected(*r, *c) == white).map(|l| l.2).collect();
        chosen.iter().sum::<f64>() / chosen.len() as f64
    };
    let (black, white) = (mean(false), mean(true));
    let middle = (black + white) / 2.0;
    let mut check = CodeCheck { wrong_data: 0, wrong_border: 0, wrong_margin: 0 };
    for (row, column, light) in lights {
        let wrong = usize::from((light > middle) != expected(row, column));
        let on_margin = row < 0 || column < 0 || row == n || column == n;
        let on_border = row == 0 || column == 0 || row == n - 1 || column == n - 1;
        match (on_margin, on_border) {
            (true, _) => check.wrong_margin += wrong,
            (false, true) => check.wrong_border += wrong,
            (false, false) => check.wrong_data += wrong,
        }
    }
    (white > black).then_some(check)
}

/// The homography from a tag's unit square to the photo, given the one from its card's plane (mm).
pub fn photo_from_unit(
    photo_from_plane: &Matrix3<f64>,
    tag: &TagPlace,
    width_mm: f64,
    height_mm: f64,
) -> Matrix3<f64> {
    let s = tag.side_mm;
    photo_from_plane
        * Matrix3::new(s, 0.0, tag.x_mm - width_mm / 2.0, 0.0, -s, height_mm / 2.0 - tag.y_mm, 0.0, 0.0, 1.0)
}
