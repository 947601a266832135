//! Strength of a JPEG's compression, from its quantisation table.

use super::jpeg::{START_OF_SCAN, segments};

const QUANTISATION_TABLES: u8 = 0xdb;

/// Mean step of the luminance quantisation table, in levels: about 5.9 at quality 95 of the tables of ITU-T T.81 annex K,
/// 29 at 75, 58 at 50. `None` without such a table before the first scan.
pub fn mean_step(bytes: &[u8]) -> Option<f64> {
    if !bytes.starts_with(&[0xff, 0xd8]) {
        return None;
    }
    segments(bytes)
        .take_while(|segment| segment.marker != START_OF_SCAN)
        .filter(|segment| segment.marker == QUANTISATION_TABLES)
        .find_map(|segment| mean_of_table_0(segment.payload))
}

/// Mean of table 0 in a segment of tables (ITU-T T.81, B.2.4.1).
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
    fn other_files_have_none() {
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
