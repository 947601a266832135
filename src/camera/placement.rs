//! Camera over the reference cards of a photo: the prior of its lens, and the limits beyond which a fit is refused.

use super::fit::{CameraFit, CardInFit, LensPrior, fit_camera};
use crate::card::FoundCards;
use crate::photo::Photo;
use crate::photo::focal::FILM_DIAGONAL_MM;
use crate::refusal::{Refusal, RefusalCode};

/// Source of the focal length's prior.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LensSource {
    /// A lens file.
    File,
    /// The photo's EXIF.
    Exif,
    /// A typical phone.
    Assumed,
}

/// Focal length of a phone's main camera in 35 mm terms: 26 mm, give or take a fifth (common practice, no source).
pub const PHONE_F35_MM: f64 = 26.0;
/// See [`PHONE_F35_MM`].
pub const PHONE_F35_RELATIVE_U: f64 = 0.2;

/// Prior of the lens: a calibration if there is one, else the EXIF focal length, else a typical phone.
pub fn lens_prior(photo: &Photo, calibrated: Option<LensPrior>) -> (LensPrior, LensSource) {
    if let Some(prior) = calibrated {
        return (prior, LensSource::File);
    }
    let (w, h) = (photo.width_px(), photo.height_px());
    match photo.focal_hint() {
        Some(hint) => (LensPrior::uncalibrated(w, h, hint.focal_px, hint.relative_u), LensSource::Exif),
        None => {
            let focal_px = PHONE_F35_MM / FILM_DIAGONAL_MM * (w as f64).hypot(h as f64);
            (LensPrior::uncalibrated(w, h, focal_px, PHONE_F35_RELATIVE_U), LensSource::Assumed)
        }
    }
}

/// Beyond this tilt, fractions of a pixel decide a plane's pose and every height.
pub const MOST_TILT_DEG: f64 = 60.0;
/// Edges blurred over more than this part of a module merge with their neighbours.
const MOST_BLUR_MODULES: f64 = 0.45;
/// The mirrored pose must fit worse by this much of the sum of squares: one in a million by chance.
const LEAST_MIRROR_GAP: f64 = 24.0;

/// Fits the camera to the cards.
///
/// # Errors
/// `card-blurred`, `pose-failed` or `too-oblique`.
pub fn camera_over_cards(found: &FoundCards, prior: &LensPrior) -> Result<CameraFit, Refusal> {
    if found.cards.iter().all(|card| card.blur_modules() > MOST_BLUR_MODULES) {
        return Err(Refusal::new(
            RefusalCode::CardBlurred,
            "the reference card is too blurred",
            "hold the phone still or prop it up, tap on the card to focus, and use more light",
        ));
    }
    let cards: Vec<CardInFit> = found.cards.iter().map(CardInFit::from).collect();
    let sides: Vec<_> = found.cards.iter().enumerate().flat_map(|(i, card)| card.side_points(i)).collect();
    let fit = fit_camera(prior, &cards, &sides).map_err(|e| {
        Refusal::new(
            RefusalCode::PoseFailed,
            format!("the camera's position over the card could not be computed ({e})"),
            "photograph again from straight above, with the whole card flat and in focus",
        )
    })?;
    let tilt = fit.camera.pose.tilt_deg();
    if !(tilt <= MOST_TILT_DEG && fit.mirror_cost_gap >= LEAST_MIRROR_GAP) {
        return Err(Refusal::new(
            RefusalCode::TooOblique,
            format!("the card is seen too much from the side ({tilt:.0} degrees), or too small"),
            "photograph again from straight above the saddle",
        ));
    }
    Ok(fit)
}
