//! Camera over the reference cards of a photo: the prior of its lens, and the limits beyond which a fit is refused.

use super::fit::{CameraFit, fit_camera};
use super::prior::LensPrior;
use super::target::TargetView;
use crate::card::FoundCards;
use crate::instruction::GIVE_LENS;
use crate::photo::Photo;
use crate::photo::focal::FILM_DIAGONAL_MM;
use crate::refusal::{Refusal, RefusalCode};
use crate::warning::{Warning, WarningCode};

/// Source of the focal length's prior.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LensSource {
    /// A lens file.
    File,
    /// The photo's EXIF.
    Exif,
    /// The card alone: it contradicts the EXIF, or the focal length of a typical phone.
    Card,
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
        None => (phone_lens(photo, PHONE_F35_RELATIVE_U), LensSource::Assumed),
    }
}

/// Prior about the lens of a typical phone, of whose picture digital zoom enlarges a part.
fn phone_lens(photo: &Photo, relative_u: f64) -> LensPrior {
    let (w, h) = (photo.width_px(), photo.height_px());
    let zoom = photo.exif().digital_zoom.map_or(1.0, |ratio| ratio.max(1.0));
    let focal_px = zoom * PHONE_F35_MM / FILM_DIAGONAL_MM * (w as f64).hypot(h as f64);
    LensPrior::uncalibrated(w, h, focal_px, relative_u)
}

/// Relative standard uncertainty of the focal length of any camera about that of a typical phone, from ultra-wide to long
/// lenses (stated assumption).
const ANY_F35_RELATIVE_U: f64 = 0.7;
/// A card and EXIF further apart than this many of their standard uncertainties contradict each other: one photo in eighty by
/// chance.
const MOST_FOCAL_CONFLICT: f64 = 2.5;

/// The camera of a photo with the prior that was used.
#[derive(Debug, Clone)]
pub struct PlacedCamera {
    /// The camera.
    pub fit: CameraFit,
    /// The prior of its lens.
    pub prior: LensPrior,
    /// Where that came from.
    pub source: LensSource,
    /// The EXIF was not used, or the lens file only with larger uncertainties.
    pub warning: Option<Warning>,
}

/// Fits the camera of a photo; without the EXIF focal length, or that of a typical phone, where the card contradicts it, and
/// with a less certain calibration where the card contradicts that.
///
/// # Errors
/// As [`camera_over_cards`].
pub fn place_camera(
    photo: &Photo,
    found: &FoundCards,
    calibrated: Option<LensPrior>,
) -> Result<PlacedCamera, Refusal> {
    let (prior, source) = lens_prior(photo, calibrated);
    if source == LensSource::File {
        let strain = fit_over_cards(found, &prior)?.prior_strain();
        let (prior, warning) = match strain > MOST_STRAIN {
            true => (prior.widened(strain), Some(lens_contradicted())),
            false => (prior, None),
        };
        return Ok(PlacedCamera { fit: camera_over_cards(found, &prior)?, prior, source, warning });
    }
    let fit = camera_over_cards(found, &prior);
    let agrees = |fit: &CameraFit| fit.focal_conflict().abs() <= MOST_FOCAL_CONFLICT;
    if !fit.as_ref().is_ok_and(agrees) {
        let any = phone_lens(photo, ANY_F35_RELATIVE_U);
        let by_card = camera_over_cards(found, &any).ok();
        if let Some(fit) = by_card.filter(|by_card| contradicts(by_card, &prior)) {
            let warning = (source == LensSource::Exif).then(|| focal_contradicted(prior.mean.focal_px, &fit));
            return Ok(PlacedCamera { fit, prior: any, source: LensSource::Card, warning });
        }
    }
    Ok(PlacedCamera { fit: fit?, prior, source, warning: None })
}

/// Whether a card by itself contradicts the prior of the focal length.
fn contradicts(by_card: &CameraFit, prior: &LensPrior) -> bool {
    let focal_px = by_card.camera.lens.focal_px;
    let apart = (focal_px / prior.mean.focal_px).ln();
    !(apart.abs() <= MOST_FOCAL_CONFLICT * prior.focal_relative_u.hypot(by_card.focal_u_px() / focal_px))
}

fn focal_contradicted(stated_px: f64, fit: &CameraFit) -> Warning {
    let percent = (stated_px / fit.camera.lens.focal_px - 1.0) * 100.0;
    Warning::new(
        WarningCode::FocalContradicted,
        format!(
            "according to the card, the focal length in the photo's data is wrong by {percent:+.0} %; it was not used"
        ),
        format!("send the photo as the phone made it, or {GIVE_LENS}"),
    )
}

fn lens_contradicted() -> Warning {
    Warning::new(
        WarningCode::LensContradicted,
        "the card contradicts the lens file: the lens counts as less certain than the file says",
        "calibrate this camera again with seatspan lens",
    )
}

/// Beyond this tilt, fractions of a pixel decide a plane's pose and every height.
pub const MOST_TILT_DEG: f64 = 60.0;
/// Edges blurred over more than this part of a module merge with their neighbours.
const MOST_BLUR_MODULES: f64 = 0.45;
/// Two possible poses of the card further apart than this are not one measurement with an uncertainty, degrees.
const MOST_AMBIGUITY_DEG: f64 = 4.0;
/// A fit this many standard uncertainties from what is known of lenses and cards explains something else.
const MOST_STRAIN: f64 = 4.0;

/// Fits the camera to the cards.
///
/// # Errors
/// `card-blurred`, `pose-failed` or `too-oblique`.
pub fn camera_over_cards(found: &FoundCards, prior: &LensPrior) -> Result<CameraFit, Refusal> {
    let fit = fit_over_cards(found, prior)?;
    if !(fit.prior_strain() <= MOST_STRAIN) {
        return Err(Refusal::new(
            RefusalCode::PoseFailed,
            "the card in the photo fits no lens that a phone has",
            "photograph again with the whole card flat and in focus, or calibrate the camera with seatspan lens",
        ));
    }
    Ok(fit)
}

/// As [`camera_over_cards`], however far from the prior.
fn fit_over_cards(found: &FoundCards, prior: &LensPrior) -> Result<CameraFit, Refusal> {
    if found.cards.iter().all(|card| card.blur_modules() > MOST_BLUR_MODULES) {
        return Err(Refusal::new(
            RefusalCode::CardBlurred,
            "the reference card is too blurred",
            "hold the phone still or prop it up, tap on the card to focus, and use more light",
        ));
    }
    let cards: Vec<TargetView> = found.cards.iter().map(TargetView::from).collect();
    let fit = fit_camera(prior, &cards).map(CameraFit::levelled).map_err(|e| {
        Refusal::new(
            RefusalCode::PoseFailed,
            format!("the camera's position over the card could not be computed ({e})"),
            "photograph again from straight above, with the whole card flat and in focus",
        )
    })?;
    let tilt = fit.camera.pose.tilt_deg();
    let apart_deg = fit.ambiguity.as_ref().map_or(0.0, |a| a.apart_deg);
    if !(tilt <= MOST_TILT_DEG && apart_deg <= MOST_AMBIGUITY_DEG) {
        return Err(Refusal::new(
            RefusalCode::TooOblique,
            format!("the card is seen too much from the side ({tilt:.0} degrees), or too small"),
            "photograph again from nearer to straight above, some 25 degrees off at most",
        ));
    }
    Ok(fit)
}
