//! Calibration of a phone's lens from photos of the printed card: square pixels, no skew, a card that may bend and be
//! printed a little longer one way than the other.

use super::advice::{Shortfall, views_to_add};
use super::agreement::views_ratio;
use super::closed_form::intrinsics_from_homographies;
use super::coverage::Coverage;
use super::terms::{LadderStep, supported, with_terms};
use super::{Calibration, LensModel, calibrate};
use crate::camera::bundle::Known;
use crate::camera::lens::{Intrinsics, Lens};
use crate::camera::prior::{LensCovariance, PHONE_DISTORTION_U, PRINCIPAL_RELATIVE_U};
use crate::camera::target::TargetView;
use crate::card::pattern::Pattern;

/// Least number of views: with one view wrong, the others must still show it.
pub const LEAST_VIEWS: usize = 5;
/// Prior uncertainties of terms that the views support, far beyond any phone's.
const WIDE: [f64; 5] = [1.0, 1.0, 0.05, 0.05, 1.0];
/// Prior uncertainty of the logarithm of the focal length about the closed form's, and of the principal point about the
/// middle as part of the long side.
const WIDE_FOCAL: f64 = 0.7;
const WIDE_PRINCIPAL: f64 = 0.25;
/// Relative difference between a printer's feed and its line (stated assumption, as the print scale's).
const PRINT_ASPECT_U: f64 = 0.002;
/// Start of the focal length where the closed form has none, as part of the long side: a phone's 26 mm on 36 mm.
const USUAL_FOCAL: f64 = 26.0 / 36.0;

/// Calibrated lens of a phone.
#[derive(Debug, Clone)]
pub struct PhoneLens {
    /// The lens, in the frame of the views.
    pub lens: Lens,
    /// Covariance of all of it.
    pub covariance: LensCovariance,
    /// Number of terms of distortion that the views support; the others are held by what phones have.
    pub terms: usize,
    /// The fits with fewer and more terms.
    pub steps: Vec<LadderStep>,
    /// Factor by which the views differ more than the noise of their points explains; the covariance includes it.
    pub views_ratio: f64,
    /// Cover of the frame.
    pub coverage: Coverage,
    /// The fit.
    pub calibration: Calibration,
}

impl PhoneLens {
    /// Mean distance of the card from the camera, at which the camera was focused, mm.
    pub fn distance_mm(&self) -> f64 {
        let poses = &self.calibration.poses;
        poses.iter().map(|pose| pose.translation_mm.norm()).sum::<f64>() / poses.len() as f64
    }
}

/// Reason for which views give no lens.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoLens {
    /// Too few.
    #[error("{0} views of the card are too few for a calibration: it needs {LEAST_VIEWS} or more")]
    TooFew(usize),
    /// They do not determine it.
    #[error("the views do not determine {what}: they are too much alike")]
    Undetermined {
        /// What is not determined.
        what: String,
        /// Views to add, in words.
        add: Vec<String>,
    },
    /// The fit does not settle.
    #[error("no lens explains the views together")]
    NoFit,
}

impl NoLens {
    /// What to do next.
    pub fn hint(&self) -> String {
        match self {
            Self::TooFew(_) => USUAL_SET.into(),
            Self::Undetermined { add, .. } if add.is_empty() => USUAL_SET.into(),
            Self::Undetermined { add, .. } => format!("add {}", add.join("; and ")),
            Self::NoFit => format!("use photos of one phone without zoom and of one flat card; {USUAL_SET}"),
        }
    }
}

const USUAL_SET: &str = "photograph the card straight from above, slanting by some 35 degrees from its left, right, \
                         near and far side, and in the corners of the picture";

/// Parameters of a phone's lens, with the first `terms` of its distortion to be found.
fn model(terms: usize, otherwise: [Known; 5], size_px: [f64; 2]) -> LensModel {
    let all = LensModel {
        focal: Known::Within(WIDE_FOCAL),
        principal: Known::Within(WIDE_PRINCIPAL * size_px[0].max(size_px[1])),
        distortion: [Known::Fixed; 5],
        pixel_aspect: Known::Fixed,
        skew: Known::Fixed,
        print_aspect: Known::Within(PRINT_ASPECT_U),
        printed: true,
    };
    with_terms(&all, terms, WIDE.map(Known::Within), otherwise)
}

/// Calibrates from the views of a card in photos of one size.
///
/// # Errors
/// [`NoLens`]: too few views, views alike, or no fit.
pub fn phone_lens(views: &[TargetView], size_px: [f64; 2], pattern: &Pattern) -> Result<PhoneLens, NoLens> {
    if views.len() < LEAST_VIEWS {
        return Err(NoLens::TooFew(views.len()));
    }
    let start = start(views, size_px);
    let wide = WIDE.map(Known::Within);
    let (terms, steps) =
        supported(views, start, &model(0, [Known::Fixed; 5], size_px), wide).map_err(|_| NoLens::NoFit)?;
    let as_phones = model(terms, PHONE_DISTORTION_U.map(Known::Within), size_px);
    let fit = calibrate(views, start, &as_phones).map_err(|_| NoLens::NoFit)?;
    let views_ratio = views_ratio(views, start, &fit, &as_phones);
    let fit = fit.widened(views_ratio);
    let shortfall = Shortfall::of(&fit.covariance, &fit.intrinsics, size_px);
    if !shortfall.is_none() {
        let what = shortfall.in_words();
        let mut stated: Vec<f64> = views.iter().flat_map(|v| v.observations.iter().map(|o| o.u_px)).collect();
        stated.sort_by(f64::total_cmp);
        let u_px = stated[stated.len() / 2] * fit.noise_ratio;
        let add = views_to_add(&fit.covariance, &fit.intrinsics, &as_phones, size_px, pattern, u_px);
        return Err(NoLens::Undetermined { what, add });
    }
    Ok(PhoneLens {
        lens: fit.intrinsics.with_square_pixels(),
        covariance: fit.covariance.fixed_view::<8, 8>(0, 0).into_owned(),
        terms,
        steps,
        views_ratio,
        coverage: Coverage::of(views, size_px),
        calibration: fit,
    })
}

/// The closed form's focal length about the middle of the frame; a usual phone's where the views give none. It is a
/// start and decides nothing.
fn start(views: &[TargetView], size_px: [f64; 2]) -> Intrinsics {
    let middle = size_px.map(|s| (s - 1.0) / 2.0);
    let long = size_px[0].max(size_px[1]);
    let homographies: Vec<_> = views.iter().map(|v| v.photo_from_target).collect();
    let focal_px = intrinsics_from_homographies(&homographies, middle, long)
        .map(|lens| (lens.fx_px * lens.fy_px).sqrt())
        .filter(|f| (0.3 * long..5.0 * long).contains(f))
        .unwrap_or(USUAL_FOCAL * long);
    Lens { focal_px, cx_px: middle[0], cy_px: middle[1], distortion: [0.0; 5] }.into()
}

/// Whether a principal point is more than five standard uncertainties of a phone's from the middle of the frame.
pub fn is_off_middle(lens: &Lens, size_px: [f64; 2]) -> bool {
    let off = (lens.cx_px - (size_px[0] - 1.0) / 2.0).hypot(lens.cy_px - (size_px[1] - 1.0) / 2.0);
    off > 5.0 * PRINCIPAL_RELATIVE_U * size_px[0].max(size_px[1])
}
