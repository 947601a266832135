//! Shape of a printed card that is not flat.

use crate::numeric::frame::CardPoint;

/// Standard uncertainty of a card's sagittas: a card glued to something flat bows by less than about a millimetre over
/// its width (stated assumption).
pub const BEND_U_MM: f64 = 0.8;

/// Standard uncertainty of each coordinate of a printed tag, mm (stated assumption).
pub(super) const TAG_PLACE_U_MM: f64 = 0.03;

/// Standard uncertainties of the height of a tag, mm, and of its slope in each direction, by waves of the paper: a wave as
/// high as the bend assumed, 0.8 mm from trough to crest, and 200 mm long leaves this beside the parabolas that fit it best
/// at ten tags (stated assumption).
pub(super) const WAVE_U_MM: f64 = 0.21;
/// See [`WAVE_U_MM`].
pub(super) const WAVE_SLOPE_U: f64 = 0.007;

/// Paper bent to a parabola across its width and one across its height, each with zero mean height. Paper does not
/// stretch: a length along it stays, so its horizontal part shrinks by the integral of half the slope squared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BentPaper {
    /// Half-width and half-height, mm.
    pub halves_mm: [f64; 2],
    /// Sagittas across width and height, mm; positive with both ends up.
    pub sagittas_mm: [f64; 2],
}

impl BentPaper {
    /// The printed point on the bent paper; its height adds to the paper's.
    pub fn point(&self, printed: CardPoint) -> CardPoint {
        let bow = |along: f64, i: usize| {
            let (sagitta, half) = (self.sagittas_mm[i], self.halves_mm[i]);
            let height = sagitta * ((along / half).powi(2) - 1.0 / 3.0);
            (along - 2.0 / 3.0 * sagitta.powi(2) * along.powi(3) / half.powi(4), height)
        };
        let ((x_mm, over_x), (y_mm, over_y)) = (bow(printed.x_mm, 0), bow(printed.y_mm, 1));
        CardPoint::new(x_mm, y_mm, printed.z_mm + over_x + over_y)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn bent_paper_keeps_its_length(sagitta in -5.0..5.0f64, x in -125.0..125.0f64) {
            let paper = BentPaper { halves_mm: [125.0, 90.0], sagittas_mm: [sagitta, 0.0] };
            const STEP: f64 = 0.01;
            let [from, to] = [x - STEP, x + STEP].map(|x| paper.point(CardPoint::new(x, 0.0, 0.0)).vector());
            // The next term of the series is the fourth power of the slope over 8: at most 0.08^4 / 8.
            prop_assert!(((to - from).norm() / (2.0 * STEP) - 1.0).abs() < 6e-6);
        }
    }
}
