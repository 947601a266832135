//! PNG, WebP and TIFF.

use std::io::Cursor;

use image::codecs::{png::PngDecoder, tiff::TiffDecoder, webp::WebPDecoder};
use image::{ColorType, DynamicImage, ImageDecoder, ImageError, Rgba};

use super::decode::Decoded;
use super::error::PhotoError;
use super::exif;
use super::format::Format;
use super::limits::{Limits, MAX_DECODED_BYTES, too_large, unreadable, unreadable_with};
use super::notes::PhotoNote;

/// Decodes a PNG, WebP or TIFF of 8 or 16 bits, grey or coloured, with or without transparency.
pub(super) fn decode(
    name: &str,
    bytes: &[u8],
    format: Format,
    limits: &Limits,
) -> Result<Decoded, PhotoError> {
    let fail = |e: ImageError| refuse(name, format, &e);
    let input = Cursor::new(bytes);
    let mut notes = Vec::new();
    let (picture, exif_block) = match format {
        Format::Png => {
            read(name, PngDecoder::with_limits(input, memory_limit()).map_err(fail)?, format, limits)
        }
        Format::WebP => read(name, WebPDecoder::new(input).map_err(fail)?, format, limits),
        _ => read(name, TiffDecoder::new(input).map_err(fail)?, format, limits),
    }?;
    let exif = match exif_block.as_deref() {
        // Some writers of WebP keep the marker that belongs in a JPEG.
        Some(block) => {
            exif::parse(Some(block.strip_prefix(b"Exif\0\0").unwrap_or(block).to_vec()), &mut notes)
        }
        None => exif::parse_container(bytes, &mut notes),
    };
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    Ok(Decoded { rgb: to_rgb8(picture, &mut notes), width, height, exif, notes })
}

fn memory_limit() -> image::Limits {
    let mut limits = image::Limits::no_limits();
    limits.max_alloc = Some(MAX_DECODED_BYTES);
    limits
}

/// Decodes the picture, and reads its EXIF where the decoder finds it.
fn read<D: ImageDecoder>(
    name: &str,
    mut decoder: D,
    format: Format,
    limits: &Limits,
) -> Result<(DynamicImage, Option<Vec<u8>>), PhotoError> {
    let (width, height) = decoder.dimensions();
    limits.check(name, width, height)?;
    let bytes = decoder.total_bytes();
    if bytes > MAX_DECODED_BYTES {
        return Err(too_large(name, &format!("the picture needs {} MB of memory", bytes / 1_000_000)));
    }
    if matches!(decoder.color_type(), ColorType::Rgb32F | ColorType::Rgba32F) {
        return Err(unreadable(name, "its samples have neither 8 nor 16 bits"));
    }
    decoder.set_limits(memory_limit()).map_err(|e| refuse(name, format, &e))?;
    // Damaged EXIF must not cost the picture; the EXIF reader tries again and notes the damage.
    let exif_block = if format == Format::Tiff { None } else { decoder.exif_metadata().ok().flatten() };
    let picture = DynamicImage::from_decoder(decoder).map_err(|e| refuse(name, format, &e))?;
    Ok((picture, exif_block))
}

fn refuse(name: &str, format: Format, error: &ImageError) -> PhotoError {
    match error {
        ImageError::Limits(_) => too_large(name, "the picture needs too much memory"),
        ImageError::Unsupported(e) => unreadable_with(
            name,
            &format!("it is an unsupported kind of {}{}", format.name(), in_brackets(e)),
            "save it as an ordinary full-size JPEG or PNG",
        ),
        e => unreadable_with(
            name,
            &format!("the {} is damaged{}", format.name(), in_brackets(e)),
            "send or copy the original file again",
        ),
    }
}

/// Longest decoder message that helps a client, characters.
const MOST_CHARS: usize = 80;

/// A decoder's message, if it is short and in words.
fn in_brackets(error: &(dyn std::error::Error + 'static)) -> String {
    let message = error.source().unwrap_or(error).to_string();
    let in_words = message.chars().count() <= MOST_CHARS && !message.contains(['{', '[']);
    if in_words { format!(" ({message})") } else { String::new() }
}

/// Converts to 8-bit RGB, with transparent parts on white. The lower half of 16 bits is below the noise of light.
fn to_rgb8(picture: DynamicImage, notes: &mut Vec<PhotoNote>) -> Vec<u8> {
    if !picture.color().has_color() {
        notes.push(PhotoNote::Grey);
    }
    if !picture.color().has_alpha() {
        return picture.into_rgb8().into_raw();
    }
    let rgba = picture.into_rgba8();
    if rgba.pixels().any(|p| p.0[3] < 255) {
        notes.push(PhotoNote::Transparent);
    }
    rgba.pixels().flat_map(|&Rgba([r, g, b, a])| [r, g, b].map(|level| over_white(level, a))).collect()
}

#[inline]
fn over_white(level: u8, alpha: u8) -> u8 {
    let (level, alpha) = (u32::from(level), u32::from(alpha));
    ((level * alpha + 255 * (255 - alpha) + 127) / 255) as u8
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::ExtendedColorType as Kind;
    use image::ImageEncoder;

    const ANY_SIZE: Limits = Limits { max_pixels: 1_000_000, min_long_side_px: 1 };

    fn png(data: &[u8], kind: Kind) -> Vec<u8> {
        let mut out = Vec::new();
        image::codecs::png::PngEncoder::new(&mut out).write_image(data, 2, 1, kind).unwrap();
        out
    }

    fn decoded(file: &[u8], format: Format) -> Decoded {
        decode("a.png", file, format, &ANY_SIZE).unwrap()
    }

    #[test]
    fn all_kinds_of_pixels_become_rgb() {
        let wide = |v: &[u16]| v.iter().flat_map(|w| w.to_ne_bytes()).collect::<Vec<_>>();
        let cases: [(Vec<u8>, Kind, [u8; 6]); 8] = [
            (vec![7, 200], Kind::L8, [7, 7, 7, 200, 200, 200]),
            (vec![7, 255, 100, 0], Kind::La8, [7, 7, 7, 255, 255, 255]),
            (vec![1, 2, 3, 4, 5, 6], Kind::Rgb8, [1, 2, 3, 4, 5, 6]),
            (vec![1, 2, 3, 255, 0, 100, 200, 128], Kind::Rgba8, [1, 2, 3, 127, 177, 227]),
            (wide(&[257 * 9, 65_535]), Kind::L16, [9, 9, 9, 255, 255, 255]),
            (wide(&[257 * 9, 65_535, 0, 0]), Kind::La16, [9, 9, 9, 255, 255, 255]),
            (wide(&[257, 514, 771, 0, 65_535, 128]), Kind::Rgb16, [1, 2, 3, 0, 255, 0]),
            (wide(&[257, 514, 771, 65_535, 5, 5, 5, 0]), Kind::Rgba16, [1, 2, 3, 255, 255, 255]),
        ];
        for (data, kind, expected) in cases {
            let picture = decoded(&png(&data, kind), Format::Png);
            assert_eq!(picture.rgb, expected, "{kind:?}");
            let transparent = matches!(kind, Kind::La8 | Kind::Rgba8 | Kind::La16 | Kind::Rgba16);
            assert_eq!(picture.notes.contains(&PhotoNote::Transparent), transparent, "{kind:?}");
        }
    }

    #[test]
    fn webp_and_tiff_are_read() {
        let data = [10, 20, 30, 40, 50, 60];
        let mut webp = Vec::new();
        image::codecs::webp::WebPEncoder::new_lossless(&mut webp)
            .write_image(&data, 2, 1, Kind::Rgb8)
            .unwrap();
        assert_eq!(decoded(&webp, Format::WebP).rgb, data);
        let mut tiff = Cursor::new(Vec::new());
        image::codecs::tiff::TiffEncoder::new(&mut tiff).write_image(&data, 2, 1, Kind::Rgb8).unwrap();
        assert_eq!(decoded(tiff.get_ref(), Format::Tiff).rgb, data);
    }

    #[test]
    fn a_truncated_file_is_refused() {
        let whole = png(&[1, 2, 3, 4, 5, 6], Kind::Rgb8);
        for keep in 8..whole.len() - 16 {
            assert!(decode("a.png", &whole[..keep], Format::Png, &ANY_SIZE).is_err(), "cut at {keep}");
        }
    }
}
