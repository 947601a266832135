//! Part of the frame that the points of all views cover: a lens is known only there.

use crate::camera::target::TargetView;

/// Cells of the frame, along its long and its short side.
const CELLS: [usize; 2] = [8, 6];

/// Cover of the frame by the points of all views.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coverage {
    /// Part of the frame's cells (8 x 6) with a point in them, 0 to 1.
    pub cells: f64,
    /// Distance of the outermost point from the middle, as part of the way to the corner.
    pub reach: f64,
}

impl Coverage {
    /// Cover of a frame of the given size.
    pub fn of(views: &[TargetView], size_px: [f64; 2]) -> Self {
        let across = if size_px[0] >= size_px[1] { CELLS } else { [CELLS[1], CELLS[0]] };
        let mut seen = vec![false; CELLS[0] * CELLS[1]];
        let middle = size_px.map(|s| (s - 1.0) / 2.0);
        let mut farthest = 0.0f64;
        for o in views.iter().flat_map(|v| &v.observations) {
            let at = [o.measured.x_px, o.measured.y_px];
            let cell = [0, 1].map(|i| {
                let part = ((at[i] + 0.5) / size_px[i]).clamp(0.0, 1.0 - f64::EPSILON);
                (part * across[i] as f64) as usize
            });
            seen[cell[1] * across[0] + cell[0]] = true;
            farthest = farthest.max((at[0] - middle[0]).hypot(at[1] - middle[1]));
        }
        let count = seen.iter().filter(|s| **s).count();
        Self { cells: count as f64 / seen.len() as f64, reach: farthest / middle[0].hypot(middle[1]) }
    }
}
