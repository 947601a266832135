//! Focal length in pixels from the camera data, with its uncertainty.
//!
//! # The two rules
//! A "35 mm equivalent" f35 refers to film of 36 x 24 mm, by diagonal (43.267 mm) or by width (36 mm for the long
//! side). The two agree for 3:2 pictures; by diagonal a 4:3 picture gets 4.0 % more pixels, a 16:9 picture 4.5 %
//! fewer. Makers use either without saying which; the diagonal rule is more common and is used here.
//!
//! # The uncertainty
//! Three parts in quadrature: 3 % for the maker (lens tolerance, focus breathing, cropping by stabilisation); the
//! difference of the two rules as a rectangular distribution, over sqrt(3) (2.3 % for 4:3); rounding to whole
//! millimetres, 0.5 / f35 / sqrt(3) (1.1 % at 26 mm). For a 4:3 phone at 26 mm that is 3.9 %. The minimum is 4 %: on
//! two phones with a calibrated lens f35 was 3 to 7 % off. Resized and cropped photos get more, see [`focal_hint`].

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::exif::Exif;
use super::notes::PhotoNote;

/// Diagonal of a 36 x 24 mm picture, mm.
pub const FILM_DIAGONAL_MM: f64 = 43.266_615_305_567_87;
/// Long side of a 36 x 24 mm picture, mm.
const FILM_WIDTH_MM: f64 = 36.0;
/// Least relative standard uncertainty, see the module.
const LEAST_U: f64 = 0.04;
/// Relative standard uncertainty due to the maker.
const MAKER_U: f64 = 0.03;
/// Relative standard uncertainty with focal-plane resolution, which makers give for the sensor or for the picture.
const FOCAL_PLANE_U: f64 = 0.08;
/// Added for a resized photo: an earlier crop of the same shape leaves no trace.
const RESIZED_U: f64 = 0.03;
/// Added for an enlarged photo, whose data may be another picture's.
const STALE_U: f64 = 0.10;
/// Relative standard uncertainty of a slightly cropped photo.
const CROPPED_U: f64 = 0.15;
/// Tolerance of the aspect ratio for the same shape (rounding of a 1600 px copy is 0.1 %).
const SAME_SHAPE: f64 = 0.01;
/// Plausible 35 mm equivalents, mm.
const PLAUSIBLE_35MM: std::ops::RangeInclusive<f64> = 8.0..=1000.0;
/// Digital zoom up to this is noise (phones write 1.0007).
const NO_ZOOM: f64 = 1.02;

/// Source of a focal hint.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FocalTag {
    /// `FocalLengthIn35mmFilm`, by the diagonal rule.
    Equivalent35mm,
    /// `FocalLength` and the focal-plane resolution.
    FocalPlane,
}

/// A focal length from the camera data: a prior, not a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FocalHint {
    /// Focal length in pixels of the photo as decoded.
    pub focal_px: f64,
    /// Its relative standard uncertainty (0.04 is 4 %).
    pub relative_u: f64,
    /// Its source.
    pub source: FocalTag,
}

/// The decoded picture in relation to the camera's.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Frame {
    /// The same size, or the camera's size is unknown.
    Whole,
    /// The same shape, smaller.
    Smaller,
    /// The same shape, larger.
    Larger,
    /// Another shape, with the larger ratio of its sides to the camera's.
    Cropped { scale: f64 },
    /// Another shape and larger: the data belong to another picture.
    Other,
}

/// The focal hint for a picture of the given size, if the camera data support one.
///
/// - Same size as in the data: the hint as it is.
/// - Same shape, smaller (resized): f35 is relative to the frame and stays valid; 3 % more uncertainty.
/// - Same shape, larger: 10 % more.
/// - Another shape (cropped): the scale is between 1 (cropped at full size) and the larger ratio of the sides (cropped
///   along one side, then resized). If these agree within 15 %, their mean with 15 %; otherwise no hint.
/// - Digital zoom: the standard leaves open whether f35 includes it. A small zoom adds its own size; a larger one leaves
///   no hint, except from Apple, whose f35 includes it (29 mm becomes 57 at 1.97), with 5 % more.
///
/// All but the first add a note.
pub fn focal_hint(
    exif: &Exif,
    width_px: u32,
    height_px: u32,
    notes: &mut Vec<PhotoNote>,
) -> Option<FocalHint> {
    let decoded = sides(width_px, height_px);
    let frame = compare(exif, decoded, notes);
    let (focal_px, source, own_u) = camera_focal(exif, decoded, frame, notes)?;
    let (scale, frame_u) = match frame {
        Frame::Whole => (1.0, 0.0),
        Frame::Smaller => (1.0, RESIZED_U),
        Frame::Larger => (1.0, STALE_U),
        Frame::Cropped { scale } if scale >= 1.0 - CROPPED_U => (0.5 * (1.0 + scale), CROPPED_U),
        Frame::Cropped { .. } | Frame::Other => return zoom_note(exif, notes).and(None),
    };
    let zoom_u = match zoom_note(exif, notes) {
        None => 0.0,
        Some(ratio) if ratio <= 1.0 + CROPPED_U => ratio - 1.0,
        Some(_) if source == FocalTag::Equivalent35mm && made_by_apple(exif) => 0.05,
        Some(_) => return None,
    };
    let relative_u = own_u.max(LEAST_U).hypot(frame_u).hypot(zoom_u);
    Some(FocalHint { focal_px: focal_px * scale, relative_u, source })
}

/// Notes digital zoom and returns its ratio.
fn zoom_note(exif: &Exif, notes: &mut Vec<PhotoNote>) -> Option<f64> {
    let ratio = exif.digital_zoom.filter(|&r| r > NO_ZOOM)?;
    notes.push(PhotoNote::DigitalZoom { ratio });
    Some(ratio)
}

fn made_by_apple(exif: &Exif) -> bool {
    exif.make.as_deref().is_some_and(|m| m.eq_ignore_ascii_case("apple"))
}

/// Long side, short side.
fn sides(a: u32, b: u32) -> [u32; 2] {
    [a.max(b), a.min(b)]
}

/// Compares the picture's size with the camera's, regardless of orientation, and notes a difference.
fn compare(exif: &Exif, decoded_px: [u32; 2], notes: &mut Vec<PhotoNote>) -> Frame {
    let Some([w, h]) = exif.size_px else { return Frame::Whole };
    let exif_px = sides(w, h);
    if exif_px == decoded_px {
        return Frame::Whole;
    }
    let ratio = [0, 1].map(|k| f64::from(decoded_px[k]) / f64::from(exif_px[k]));
    let same_shape = (ratio[0] / ratio[1] - 1.0).abs() <= SAME_SHAPE;
    let (note, frame) = match (same_shape, ratio[0].max(ratio[1])) {
        (true, scale) if scale <= 1.0 => (PhotoNote::Resized { exif_px, decoded_px }, Frame::Smaller),
        // Cameras round sizes to whole blocks, a few pixels apart.
        (true, scale) if scale <= 1.0 + SAME_SHAPE => return Frame::Whole,
        (true, _) => (PhotoNote::StaleExif { exif_px, decoded_px }, Frame::Larger),
        (false, scale) if scale <= 1.0 + SAME_SHAPE => {
            (PhotoNote::Cropped { exif_px, decoded_px }, Frame::Cropped { scale })
        }
        (false, _) => (PhotoNote::StaleExif { exif_px, decoded_px }, Frame::Other),
    };
    notes.push(note);
    frame
}

/// Focal length in pixels, its source and its own relative uncertainty: for the decoded picture, or for the camera's if it
/// was cropped.
fn camera_focal(
    exif: &Exif,
    decoded: [u32; 2],
    frame: Frame,
    notes: &mut Vec<PhotoNote>,
) -> Option<(f64, FocalTag, f64)> {
    let exif_px = exif.size_px.map(|[w, h]| sides(w, h));
    let base = match (frame, exif_px) {
        (Frame::Cropped { .. }, Some(camera)) => camera,
        _ => decoded,
    };
    let [long, short] = base.map(f64::from);
    if let Some(f35) = exif.focal_35mm_mm {
        if PLAUSIBLE_35MM.contains(&f35) {
            let by_diagonal = f35 * long.hypot(short) / FILM_DIAGONAL_MM;
            let by_width = f35 * long / FILM_WIDTH_MM;
            let rules_u = (by_width / by_diagonal - 1.0).abs() / 3f64.sqrt();
            let rounding_u = 0.5 / f35 / 3f64.sqrt();
            let own_u = MAKER_U.hypot(rules_u).hypot(rounding_u);
            return Some((by_diagonal, FocalTag::Equivalent35mm, own_u));
        }
        notes.push(PhotoNote::ImplausibleFocal);
    }
    let [per_mm_x, per_mm_y] = exif.focal_plane_px_per_mm?;
    let camera_long = exif_px.map_or(long, |s| f64::from(s[0]));
    let focal_px = exif.focal_mm? * per_mm_x * long / camera_long;
    let square = (per_mm_x / per_mm_y - 1.0).abs() <= 0.05;
    if !square || !PLAUSIBLE_35MM.contains(&(focal_px * FILM_WIDTH_MM / long)) {
        notes.push(PhotoNote::ImplausibleFocal);
        return None;
    }
    Some((focal_px, FocalTag::FocalPlane, FOCAL_PLANE_U))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::warning::WarningCode;
    use approx::assert_relative_eq;

    fn phone() -> Exif {
        Exif {
            focal_35mm_mm: Some(26.0),
            focal_mm: Some(4.2),
            size_px: Some([4032, 3024]),
            ..Exif::default()
        }
    }

    fn hint(exif: &Exif, w: u32, h: u32) -> (Option<FocalHint>, Vec<WarningCode>) {
        let mut notes = vec![];
        let hint = focal_hint(exif, w, h, &mut notes);
        (hint, notes.iter().map(PhotoNote::code).collect())
    }

    #[test]
    fn the_diagonal_rule_gives_the_value_and_both_rules_the_uncertainty() {
        let (h, notes) = hint(&phone(), 3024, 4032);
        let h = h.unwrap();
        assert_relative_eq!(h.focal_px, 26.0 * 5040.0 / 43.266_615, max_relative = 1e-6);
        assert_relative_eq!(h.relative_u, 0.04);
        assert!(notes.is_empty());
        let wide = Exif { focal_35mm_mm: Some(9.0), ..phone() };
        assert!(hint(&wide, 4032, 3024).0.unwrap().relative_u > 0.045, "rounding counts at 9 mm");
    }

    #[test]
    fn a_resized_copy_keeps_its_hint_with_a_note() {
        let (h, notes) = hint(&phone(), 1600, 1200);
        let h = h.unwrap();
        assert_relative_eq!(h.focal_px, 26.0 * 2000.0 / 43.266_615, max_relative = 1e-6);
        assert_relative_eq!(h.relative_u, 0.05);
        assert_eq!(notes, [WarningCode::PhotoResized]);
    }

    #[test]
    fn a_crop_widens_or_drops_the_hint() {
        let (h, notes) = hint(&phone(), 4032, 2268);
        let h = h.unwrap();
        assert_relative_eq!(h.focal_px, 26.0 * 5040.0 / 43.266_615, max_relative = 1e-6);
        assert!(h.relative_u > 0.15);
        assert_eq!(notes, [WarningCode::PhotoCropped]);
        assert_eq!(hint(&phone(), 1500, 1500), (None, vec![WarningCode::PhotoCropped]));
    }

    #[test]
    fn data_of_another_picture_is_stale() {
        let (h, notes) = hint(&phone(), 8064, 6048);
        assert!(h.unwrap().relative_u > 0.1);
        assert_eq!(notes, [WarningCode::ExifStale]);
        assert_eq!(hint(&phone(), 9000, 3000), (None, vec![WarningCode::ExifStale]));
    }

    #[test]
    fn digital_zoom_is_trusted_only_if_f35_includes_it() {
        let zoomed = Exif { digital_zoom: Some(2.0), ..phone() };
        assert_eq!(hint(&zoomed, 4032, 3024), (None, vec![WarningCode::DigitalZoom]));
        let apple = Exif { make: Some("Apple".into()), ..zoomed.clone() };
        assert_relative_eq!(hint(&apple, 4032, 3024).0.unwrap().relative_u, 0.05f64.hypot(0.04));
        let small = Exif { digital_zoom: Some(1.1), ..zoomed.clone() };
        assert_relative_eq!(
            hint(&small, 4032, 3024).0.unwrap().relative_u,
            0.1f64.hypot(0.04),
            epsilon = 1e-12
        );
        let noise = Exif { digital_zoom: Some(1.0007), ..zoomed };
        assert_eq!(hint(&noise, 4032, 3024).1, Vec::<WarningCode>::new());
    }

    #[test]
    fn focal_plane_resolution_serves_without_f35() {
        let camera = Exif {
            focal_mm: Some(50.0),
            focal_plane_px_per_mm: Some([166.7, 166.7]),
            size_px: Some([6000, 4000]),
            ..Exif::default()
        };
        let (h, _) = hint(&camera, 3000, 2000);
        let h = h.unwrap();
        assert_eq!(h.source, FocalTag::FocalPlane);
        assert_relative_eq!(h.focal_px, 50.0 * 166.7 / 2.0, max_relative = 1e-9);
        let absurd = Exif { focal_plane_px_per_mm: Some([1e7, 1e7]), ..camera };
        assert_eq!(hint(&absurd, 6000, 4000), (None, vec![WarningCode::ExifFocalImplausible]));
        assert_eq!(hint(&Exif { focal_mm: Some(4.2), ..Exif::default() }, 4032, 3024), (None, vec![]));
    }
}
