//! JPEG: the size is checked first, and an incomplete picture is refused.

use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::decode::Decoded;
use super::error::PhotoError;
use super::exif;
use super::limits::{Limits, unreadable, unreadable_with};
use super::notes::PhotoNote;

/// Most scans of a progressive JPEG. Cameras and messengers write about ten; thousands of empty scans would keep a decoder
/// busy for hours.
const MAX_SCANS: usize = 40;

const SEND_AGAIN: &str = "send or copy the original file again";

/// Decodes a JPEG.
///
/// A truncated or damaged file is refused, though its upper part could be shown: an edge traced in grey filler rows would
/// give a wrong width instead of none. So the decoder is strict with the picture's data, and the end-of-image marker must
/// be present (otherwise a truncated last row passes). Headers are read leniently: filler between them is harmless.
pub(super) fn decode(name: &str, bytes: &[u8], limits: &Limits) -> Result<Decoded, PhotoError> {
    let options = DecoderOptions::default()
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX))
        .jpeg_set_max_scans(MAX_SCANS);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder
        .decode_headers()
        .map_err(|e| unreadable_with(name, &format!("the JPEG is damaged ({e:?})"), SEND_AGAIN))?;
    let info = decoder.info().ok_or_else(|| unreadable(name, "the JPEG has no picture"))?;
    limits.check(name, info.width.into(), info.height.into())?;
    if !is_complete(bytes) {
        return Err(unreadable_with(
            name,
            "the JPEG ends early, so part of the picture is missing",
            SEND_AGAIN,
        ));
    }
    let grey = match decoder.input_colorspace() {
        Some(ColorSpace::Luma) => true,
        Some(ColorSpace::YCbCr | ColorSpace::RGB) => false,
        other => return Err(not_a_camera_jpeg(name, other)),
    };
    let wanted = if grey { ColorSpace::Luma } else { ColorSpace::RGB };
    decoder.set_options(options.set_strict_mode(true).jpeg_set_out_colorspace(wanted));
    let pixels = decoder
        .decode()
        .map_err(|e| unreadable_with(name, &format!("the JPEG is damaged ({e:?})"), SEND_AGAIN))?;
    let mut notes = Vec::new();
    let exif = exif::parse(decoder.exif().cloned(), &mut notes);
    if grey {
        notes.push(PhotoNote::Grey);
    }
    let rgb = if grey { pixels.iter().flat_map(|&l| [l; 3]).collect() } else { pixels };
    Ok(Decoded { rgb, width: info.width.into(), height: info.height.into(), exif, notes })
}

fn not_a_camera_jpeg(name: &str, colours: Option<ColorSpace>) -> PhotoError {
    let what = match colours {
        Some(ColorSpace::CMYK | ColorSpace::YCCK) => "it is a JPEG in printing colours (CMYK)",
        _ => "it is a JPEG with colours that no camera writes",
    };
    unreadable_with(name, what, "use the original photo from the camera, or save it as an RGB JPEG")
}

/// Whether the end-of-image marker follows the scans. Data behind it (a second picture, a maker's trailer) is ignored.
fn is_complete(bytes: &[u8]) -> bool {
    segments(bytes).any(|segment| segment.marker == END_OF_IMAGE)
}

pub(super) const START_OF_SCAN: u8 = 0xda;
const END_OF_IMAGE: u8 = 0xd9;

/// A marker segment of a JPEG (ITU-T T.81, B.1.1.4), without marker and length.
pub(super) struct Segment<'a> {
    pub marker: u8,
    pub payload: &'a [u8],
}

/// The segments of a JPEG in order, to the end of the file. Previews inside segments are skipped, and so are stuffed
/// bytes and restart markers inside scans.
pub(super) fn segments(bytes: &[u8]) -> impl Iterator<Item = Segment<'_>> {
    let mut rest = bytes.get(2..).unwrap_or_default();
    let mut in_scan = false;
    std::iter::from_fn(move || {
        let marker = loop {
            rest = &rest[rest.iter().position(|&b| b == 0xff)?..];
            rest = &rest[rest.iter().position(|&b| b != 0xff)?..];
            let (&code, after) = rest.split_first()?;
            rest = after;
            if code != 0 && !(in_scan && (0xd0..=0xd7).contains(&code)) {
                break code;
            }
        };
        let alone = matches!(marker, 0x01 | 0xd0..=0xd9);
        let length = rest.first_chunk().map_or(0, |l| usize::from(u16::from_be_bytes(*l)));
        let (segment, after) = if alone { (&[][..], rest) } else { rest.split_at_checked(length.max(2))? };
        in_scan = marker == START_OF_SCAN || (in_scan && alone);
        rest = after;
        Some(Segment { marker, payload: segment.get(2..).unwrap_or_default() })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::refusal::RefusalCode;
    use image::codecs::jpeg::JpegEncoder;

    const ANY_SIZE: Limits = Limits { max_pixels: 1_000_000, min_long_side_px: 1 };

    fn jpeg(grey: bool) -> Vec<u8> {
        let mut out = Vec::new();
        let (w, h) = (64u32, 48u32);
        let channels = if grey { 1 } else { 3 };
        let data: Vec<u8> = (0..w * h * channels).map(|i| (i / 7 % 256) as u8).collect();
        let kind = if grey { image::ExtendedColorType::L8 } else { image::ExtendedColorType::Rgb8 };
        JpegEncoder::new_with_quality(&mut out, 90).encode(&data, w, h, kind).unwrap();
        out
    }

    fn refusal(result: Result<Decoded, PhotoError>) -> crate::refusal::Refusal {
        match result {
            Err(PhotoError::Refused(r)) => r,
            other => panic!("not refused: {:?}", other.map(|d| (d.width, d.height))),
        }
    }

    #[test]
    fn colour_and_grey_give_three_channels() {
        let colour = decode("a.jpg", &jpeg(false), &ANY_SIZE).unwrap();
        assert_eq!((colour.width, colour.height, colour.rgb.len()), (64, 48, 3 * 64 * 48));
        let grey = decode("a.jpg", &jpeg(true), &ANY_SIZE).unwrap();
        assert_eq!(grey.rgb.len(), 3 * 64 * 48);
        assert!(grey.rgb.as_chunks::<3>().0.iter().all(|p| p[0] == p[1] && p[1] == p[2]));
        assert!(grey.notes.contains(&PhotoNote::Grey));
    }

    #[test]
    fn a_truncated_file_is_refused() {
        let whole = jpeg(false);
        for keep in (4..whole.len() - 1).step_by(37).chain([whole.len() - 1, whole.len() - 2]) {
            let r = refusal(decode("a.jpg", &whole[..keep], &ANY_SIZE));
            assert_eq!(r.code, RefusalCode::PhotoUnreadable, "{keep} bytes");
            assert!(r.hint.contains("again"), "{}", r.hint);
        }
    }

    #[test]
    fn data_after_the_picture_is_ignored() {
        let mut file = jpeg(false);
        file.extend(b"\0\0trailer\xff\xd8\xff");
        assert!(decode("a.jpg", &file, &ANY_SIZE).is_ok());
    }

    #[test]
    fn the_declared_size_is_checked_before_pixels() {
        let mut file = jpeg(false);
        let sof = file.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
        file[sof + 5..sof + 9].copy_from_slice(&[0xff; 4]);
        assert_eq!(refusal(decode("a.jpg", &file, &Limits::default())).code, RefusalCode::PhotoTooLarge);
    }
}
