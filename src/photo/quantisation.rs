//! How coarsely a JPEG was compressed, from its own table.

/// Mean step of the table that brightness is quantised with, in levels: about 5.9 at quality 95 of the tables of
/// ITU-T T.81 annex K, 29 at 75, 58 at 50. `None` where the bytes are no JPEG or hold no such table before the picture.
pub fn mean_step(bytes: &[u8]) -> Option<f64> {
    let mut rest = bytes.strip_prefix(&[0xff, 0xd8])?;
    loop {
        let (&[0xff, marker], after) = rest.split_first_chunk::<2>()? else { return None };
        if marker == 0xff {
            rest = &rest[1..];
            continue;
        }
        // Start of scan or end of image: no table came before.
        if matches!(marker, 0xda | 0xd9) {
            return None;
        }
        let (length, _) = after.split_first_chunk::<2>()?;
        let length = usize::from(u16::from_be_bytes(*length));
        let segment = after.get(2..length)?;
        if marker == 0xdb
            && let Some(step) = mean_of_table_0(segment)
        {
            return Some(step);
        }
        rest = after.get(length..)?;
    }
}

/// The mean of the table with number 0 in a segment of tables (ITU-T T.81, B.2.4.1).
fn mean_of_table_0(mut tables: &[u8]) -> Option<f64> {
    while let Some((&head, rest)) = tables.split_first() {
        let wide = head >> 4 != 0;
        let size = if wide { 128 } else { 64 };
        let table = rest.get(..size)?;
        if head & 0x0f == 0 {
            let sum: f64 = if wide {
                table.chunks_exact(2).map(|c| f64::from(u16::from_be_bytes([c[0], c[1]]))).sum()
            } else {
                table.iter().map(|v| f64::from(*v)).sum()
            };
            return Some(sum / 64.0);
        }
        tables = &rest[size..];
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn jpeg(quality: u8) -> Vec<u8> {
        let mut bytes = Vec::new();
        let picture = image::RgbImage::from_pixel(16, 16, image::Rgb([9, 90, 200]));
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality)
            .encode_image(&picture)
            .unwrap();
        bytes
    }

    #[test]
    fn coarser_compression_has_a_larger_step() {
        // Mean of the luminance table of ITU-T T.81, table K.1, is 57.6; libraries scale it by 200 - 2 q per cent.
        assert!((mean_step(&jpeg(50)).unwrap() - 57.6).abs() < 1.0);
        assert!((mean_step(&jpeg(75)).unwrap() - 28.9).abs() < 1.0);
        assert!(mean_step(&jpeg(95)).unwrap() < 7.0);
    }

    #[test]
    fn what_is_no_jpeg_has_none() {
        assert_eq!(mean_step(b""), None);
        assert_eq!(mean_step(b"\x89PNG\r\n\x1a\n"), None);
        assert_eq!(mean_step(b"\xff\xd8\xff\xdb\0\0"), None);
        assert_eq!(mean_step(b"\xff\xd8\xff\xdb\0\x05\0\x01"), None);
        let whole = jpeg(80);
        for end in 0..200.min(whole.len()) {
            let _ = mean_step(&whole[..end]);
        }
    }
}
