//! PNG, WebP and TIFF.

use std::io::Cursor;

use image::codecs::{png::PngDecoder, tiff::TiffDecoder, webp::WebPDecoder};
use image::{ColorType, ImageDecoder, ImageError};

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
    let mut caps = image::Limits::no_limits();
    caps.max_alloc = Some(MAX_DECODED_BYTES);
    let fail = |e: ImageError| refuse(name, format, &e);
    let input = Cursor::new(bytes);
    let stored = match format {
        Format::Png => {
            read(name, PngDecoder::with_limits(input, caps.clone()).map_err(fail)?, caps, format, limits)
        }
        Format::WebP => read(name, WebPDecoder::new(input).map_err(fail)?, caps, format, limits),
        _ => read(name, TiffDecoder::new(input).map_err(fail)?, caps, format, limits),
    }?;
    let mut notes = Vec::new();
    let exif = match stored.exif_block.as_deref() {
        // Some writers of WebP keep the marker that belongs into a JPEG.
        Some(block) => {
            exif::parse(Some(block.strip_prefix(b"Exif\0\0").unwrap_or(block).to_vec()), &mut notes)
        }
        None => exif::parse_container(bytes, &mut notes),
    };
    let (width, height) = (stored.width, stored.height);
    let rgb = to_rgb8(name, stored, &mut notes)?;
    Ok(Decoded { rgb, width, height, exif, notes })
}

/// A picture as its file stores it.
struct Stored {
    data: Vec<u8>,
    width: usize,
    height: usize,
    colours: ColorType,
    exif_block: Option<Vec<u8>>,
}

fn read<D: ImageDecoder>(
    name: &str,
    mut decoder: D,
    caps: image::Limits,
    format: Format,
    limits: &Limits,
) -> Result<Stored, PhotoError> {
    let (width, height) = decoder.dimensions();
    limits.check(name, width, height)?;
    let bytes = decoder.total_bytes();
    if bytes > MAX_DECODED_BYTES {
        return Err(too_large(
            name,
            &format!("the picture needs {} MB of memory as stored", bytes / 1_000_000),
        ));
    }
    decoder.set_limits(caps).map_err(|e| refuse(name, format, &e))?;
    let colours = decoder.color_type();
    // Damage to it must not cost the picture; where this fails, the EXIF reader looks for itself and notes it.
    let exif_block = if format == Format::Tiff { None } else { decoder.exif_metadata().ok().flatten() };
    let size = usize::try_from(bytes).map_err(|_| too_large(name, "the picture does not fit into memory"))?;
    let mut data = vec![0; size];
    decoder.read_image(&mut data).map_err(|e| refuse(name, format, &e))?;
    Ok(Stored { data, width: width as usize, height: height as usize, colours, exif_block })
}

fn refuse(name: &str, format: Format, error: &ImageError) -> PhotoError {
    match error {
        ImageError::Limits(_) => {
            too_large(name, "decoding the picture needs more memory than is given to a photo")
        }
        ImageError::Unsupported(e) => unreadable_with(
            name,
            &format!("a kind of {} that is not read{}", format.name(), in_brackets(e)),
            "save it as an ordinary JPEG or PNG at full size, and use that",
        ),
        e => unreadable_with(
            name,
            &format!("damaged {}{}", format.name(), in_brackets(e)),
            "the file is incomplete or damaged: send or copy it again, and use the new copy",
        ),
    }
}

/// Longer than this a decoder's words tell a client nothing, in characters.
const MOST_WORDS: usize = 80;

/// What a decoder says of a file, where it is short and in words: not a dump of what it holds.
fn in_brackets(error: &(dyn std::error::Error + 'static)) -> String {
    let said = error.source().unwrap_or(error).to_string();
    let in_words = said.chars().count() <= MOST_WORDS && !said.contains(['{', '[']);
    if in_words { format!(" ({said})") } else { String::new() }
}

/// Eight bits of red, green and blue. Sixteen bits lose their lower eight (rounded): the light's own noise is
/// larger than that step. Transparent parts are laid over white, as a page would show them.
fn to_rgb8(name: &str, stored: Stored, notes: &mut Vec<PhotoNote>) -> Result<Vec<u8>, PhotoError> {
    use ColorType::{L8, L16, La8, La16, Rgb8, Rgb16, Rgba8, Rgba16};
    let channels = match stored.colours {
        L8 | L16 => 1,
        La8 | La16 => 2,
        Rgb8 | Rgb16 => 3,
        Rgba8 | Rgba16 => 4,
        _ => return Err(unreadable(name, "its numbers are not of 8 or 16 bits")),
    };
    let mut data = stored.data;
    if matches!(stored.colours, L16 | La16 | Rgb16 | Rgba16) {
        narrow(&mut data);
    }
    if channels <= 2 {
        notes.push(PhotoNote::Grey);
    }
    let opaque =
        matches!(channels, 1 | 3) || data.iter().skip(channels - 1).step_by(channels).all(|&a| a == 255);
    if !opaque {
        notes.push(PhotoNote::Transparent);
    }
    Ok(match channels {
        3 => data,
        4 => drop_alpha(data),
        1 => data.iter().flat_map(|&l| [l; 3]).collect(),
        _ => data.as_chunks::<2>().0.iter().flat_map(|&[l, a]| [over_white(l, a); 3]).collect(),
    })
}

/// 16-bit samples of the machine's order to 8 bits, in place.
fn narrow(data: &mut Vec<u8>) {
    let half = data.len() / 2;
    for i in 0..half {
        let wide = u32::from(u16::from_ne_bytes([data[2 * i], data[2 * i + 1]]));
        data[i] = ((wide * 255 + 32_767) / 65_535) as u8;
    }
    data.truncate(half);
}

/// Four channels to three, in place.
fn drop_alpha(mut data: Vec<u8>) -> Vec<u8> {
    let count = data.len() / 4;
    for i in 0..count {
        let [r, g, b, a] = [data[4 * i], data[4 * i + 1], data[4 * i + 2], data[4 * i + 3]];
        let opaque = [r, g, b].map(|level| over_white(level, a));
        data[3 * i..3 * i + 3].copy_from_slice(&opaque);
    }
    data.truncate(3 * count);
    data
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
    fn a_cut_file_is_refused() {
        let whole = png(&[1, 2, 3, 4, 5, 6], Kind::Rgb8);
        for keep in 8..whole.len() - 16 {
            assert!(decode("a.png", &whole[..keep], Format::Png, &ANY_SIZE).is_err(), "cut at {keep}");
        }
    }
}
