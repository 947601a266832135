//! HEIC and HEIF photos of phones.

use heic_rs::context::Context;
use heic_rs::{DecodeOptions, Error, PixelLayout};

use super::decode::Decoded;
use super::error::PhotoError;
use super::exif;
use super::limits::{Limits, too_large, unreadable_with};
use super::notes::PhotoNote;
use super::orient::Orientation;

const SHARE_AS_JPEG: &str =
    "share or export the photo as a JPEG (on the phone: \"most compatible\"), and use that";

/// Decodes the primary picture of a HEIC file.
///
/// The container's own rotation, mirroring and crop are applied by the decoder, once. The EXIF orientation in
/// such files repeats the rotation for readers that know no better (ISO/IEC 23008-12 leaves it informative), so
/// it is not applied again.
pub(super) fn decode(name: &str, bytes: &[u8], limits: &Limits) -> Result<Decoded, PhotoError> {
    let fail = |e: Error| refuse(name, &e);
    let info = heic_rs::probe(bytes).map_err(fail)?;
    limits.check(name, info.coded_width, info.coded_height)?;
    limits.check(name, info.width, info.height)?;
    let hdr = check_coded_pictures(name, bytes, limits)?;
    let options = DecodeOptions::default()
        .with_layout(PixelLayout::Rgb8)
        .with_max_pixels(Some(limits.max_pixels))
        .with_alpha(false);
    let image = heic_rs::decode(bytes, &options).map_err(fail)?;
    let mut notes = Vec::new();
    let mut exif = exif::parse_container(bytes, &mut notes);
    exif.orientation = Orientation::Upright;
    if hdr {
        notes.push(PhotoNote::HdrCurve);
    }
    Ok(Decoded { rgb: image.data, width: image.width as usize, height: image.height as usize, exif, notes })
}

/// Checks the sizes that the coded pictures themselves declare, since the container's may lie, and tells
/// whether the light follows an HDR curve.
fn check_coded_pictures(name: &str, bytes: &[u8], limits: &Limits) -> Result<bool, PhotoError> {
    // Transfer characteristics of ITU-T H.273: 16 is PQ, 18 is HLG.
    const HDR: [u16; 2] = [16, 18];
    let fail = |e: Error| refuse(name, &e);
    let context = Context::open(bytes).map_err(fail)?;
    let primary = context.meta.primary;
    let items = context.grid(primary).map_err(fail)?.map_or_else(|| vec![primary], |(_, tiles)| tiles);
    let mut pixels = 0u64;
    let mut hdr = false;
    for item in items.iter().chain([&primary]) {
        let props = context.props(*item).map_err(fail)?;
        hdr |= props.nclx.is_some_and(|n| HDR.contains(&n.transfer));
        if let (Some(hvcc), true) = (&props.hvcc, items.contains(item)) {
            let coded = heic_rs::hevc::probe(&hvcc.parameter_sets()).map_err(fail)?;
            pixels = pixels.saturating_add(u64::from(coded.width) * u64::from(coded.height));
        }
    }
    // Tiles overhang the picture's right and lower border by less than a tile each; twice the cap is ample.
    if pixels > 2 * limits.max_pixels {
        return Err(too_large(name, "the tiles of the picture declare more pixels than are read"));
    }
    Ok(hdr)
}

fn refuse(name: &str, error: &Error) -> PhotoError {
    match error {
        Error::PixelLimit { .. } => too_large(name, "the photo has more pixels than are read"),
        Error::Unsupported(_) => {
            unreadable_with(name, &format!("a kind of HEIC that is not read ({error})"), SHARE_AS_JPEG)
        }
        _ => unreadable_with(
            name,
            &format!("damaged HEIC ({error})"),
            "the file is incomplete or damaged: send it again, or share it as a JPEG",
        ),
    }
}
