//! File formats, detected by content and never by name.

use std::io::Cursor;

use exif::{Context, In, Reader, Tag};

use super::error::PhotoError;
use super::limits::{unreadable, unreadable_with};

/// A format that can be decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Format {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
    /// WebP, lossy or lossless.
    WebP,
    /// TIFF that holds a finished picture.
    Tiff,
    /// HEIC or HEIF with HEVC.
    Heic,
}

impl Format {
    /// The common name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::WebP => "WebP",
            Self::Tiff => "TIFF",
            Self::Heic => "HEIC",
        }
    }

    /// Detects the format of a file.
    ///
    /// # Errors
    /// `photo-unreadable` for an empty file, unknown content, or a known format that cannot be decoded, which the refusal
    /// names.
    pub fn of(name: &str, bytes: &[u8]) -> Result<Self, PhotoError> {
        if bytes.is_empty() {
            return Err(unreadable(name, "the file is empty"));
        }
        if let Some((what, hint)) = known_but_refused(bytes) {
            return Err(unreadable_with(name, &format!("{what} files cannot be measured"), hint));
        }
        if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
            Ok(Self::Jpeg)
        } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            Ok(Self::Png)
        } else if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
            Ok(Self::WebP)
        } else if is_tiff(bytes) {
            Ok(Self::Tiff)
        } else if bytes.get(4..8) == Some(b"ftyp") {
            Ok(Self::Heic)
        } else {
            Err(unreadable(name, "it is not a JPEG, PNG, WebP, TIFF or HEIC"))
        }
    }
}

const EXPORT_RAW: &str = "export it as a full-size JPEG from the camera or the raw converter";
const SAVE_AS_JPEG: &str = "export the original photo as a full-size JPEG";
const PHONE_AVIF: &str = "share the photo as a JPEG, or set the camera to JPEG (\"most compatible\")";
const NOT_A_VIDEO: &str = "take a photo instead of a video, and send it as a file";

/// A known format that cannot be decoded: its name and a hint.
fn known_but_refused(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    const BY_START: &[(&[u8], &str, &str)] = &[
        (b"GIF8", "GIF", SAVE_AS_JPEG),
        (b"BM", "BMP", SAVE_AS_JPEG),
        (b"\0\0\x01\0", "ICO (icon)", SAVE_AS_JPEG),
        (b"8BPS", "Photoshop (PSD)", SAVE_AS_JPEG),
        (b"%PDF", "PDF", "send the photo itself, not a document that contains it"),
        (b"PK\x03\x04", "ZIP", "unpack the archive and use the photo in it"),
        (b"icns", "ICNS (icon)", SAVE_AS_JPEG),
        (b"<svg", "SVG", "use a photo, not a drawing"),
        (b"\0\0\0\x0cjP  ", "JPEG 2000", SAVE_AS_JPEG),
        (b"\xff\x4f\xff\x51", "JPEG 2000", SAVE_AS_JPEG),
        (b"\0\0\0\x0cJXL ", "JPEG XL", SAVE_AS_JPEG),
        (b"\xff\x0a", "JPEG XL", SAVE_AS_JPEG),
        (b"II\xbc\x01", "JPEG XR", SAVE_AS_JPEG),
        (b"FUJIFILMCCD-RAW", "raw (RAF)", EXPORT_RAW),
        (b"IIU\0", "raw (RW2)", EXPORT_RAW),
        (b"IIRO", "raw (ORF)", EXPORT_RAW),
        (b"IIRS", "raw (ORF)", EXPORT_RAW),
        (b"MMOR", "raw (ORF)", EXPORT_RAW),
        (b"FOVb", "raw (X3F)", EXPORT_RAW),
        (b"\0MRM", "raw (MRW)", EXPORT_RAW),
    ];
    for &(start, what, hint) in BY_START {
        if bytes.starts_with(start) {
            return Some((what, hint));
        }
    }
    if matches!(bytes, [b'P', b'1'..=b'7', c, ..] if c.is_ascii_whitespace()) {
        return Some(("PNM", SAVE_AS_JPEG));
    }
    base_media(bytes).or_else(|| raw_in_tiff(bytes))
}

/// AVIF, raw and video in the ISO base media container, by the brands of its first box.
fn base_media(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    if bytes.get(4..8) != Some(b"ftyp") {
        return None;
    }
    let size = usize::try_from(u32::from_be_bytes(bytes.get(..4)?.try_into().ok()?)).ok()?;
    let end = size.clamp(12, 512).min(bytes.len());
    let major = bytes.get(8..12)?;
    let brands = bytes.get(16..end).unwrap_or_default();
    let has = |wanted: &[&[u8; 4]]| {
        wanted.iter().any(|w| major == w.as_slice() || brands.chunks_exact(4).any(|b| b == w.as_slice()))
    };
    if has(&[b"avif", b"avis"]) {
        Some(("AVIF", PHONE_AVIF))
    } else if has(&[b"crx "]) {
        Some(("raw (CR3)", EXPORT_RAW))
    } else if has(&[b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1"]) {
        None
    } else {
        Some(("MP4 or QuickTime video", NOT_A_VIDEO))
    }
}

fn is_tiff(bytes: &[u8]) -> bool {
    matches!(bytes.get(..4), Some(b"II\x2a\0" | b"MM\0\x2a" | b"II\x2b\0" | b"MM\0\x2b"))
}

/// Raw files in the TIFF container. Their first directory is a preview, which must not be measured.
fn raw_in_tiff(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    const DNG_VERSION: Tag = Tag(Context::Tiff, 0xc612);
    const SUB_IFDS: Tag = Tag(Context::Tiff, 0x014a);
    const NEW_SUBFILE_TYPE: Tag = Tag(Context::Tiff, 0x00fe);
    const COLOUR_FILTER_ARRAY: u32 = 32_803;
    if !is_tiff(bytes) {
        return None;
    }
    if bytes.get(8..10) == Some(b"CR") {
        return Some(("raw (CR2)", EXPORT_RAW));
    }
    let read = Reader::new().continue_on_error(true).read_from_container(&mut Cursor::new(bytes));
    let directory = read.or_else(|e| e.distill_partial_result(|_| ())).ok()?;
    let value = |tag: Tag| directory.get_field(tag, In::PRIMARY).map(|field| field.value.get_uint(0));
    if value(DNG_VERSION).is_some() {
        return Some(("raw (DNG)", EXPORT_RAW));
    }
    let preview = value(NEW_SUBFILE_TYPE).flatten().is_some_and(|v| v & 1 == 1);
    let mosaic = value(Tag::PhotometricInterpretation).flatten() == Some(COLOUR_FILTER_ARRAY);
    if mosaic || (value(SUB_IFDS).is_some() && preview) {
        return Some(("raw (NEF, ARW or similar)", EXPORT_RAW));
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused_as(bytes: &[u8]) -> String {
        match Format::of("x.jpg", bytes) {
            Err(PhotoError::Refused(r)) => {
                assert!(!r.hint.is_empty());
                r.text
            }
            other => panic!("not refused: {other:?}"),
        }
    }

    fn tiff_with(entries: &[(u16, u16, u32)]) -> Vec<u8> {
        let mut b = b"II\x2a\0\x08\0\0\0".to_vec();
        b.extend((entries.len() as u16).to_le_bytes());
        for &(tag, kind, value) in entries {
            b.extend(tag.to_le_bytes());
            b.extend(kind.to_le_bytes());
            b.extend(1u32.to_le_bytes());
            b.extend(value.to_le_bytes());
        }
        b.extend([0; 4]);
        b
    }

    #[test]
    fn formats_are_detected_by_content() {
        assert_eq!(Format::of("a.gif", b"\xff\xd8\xff\xe0rest"), Ok(Format::Jpeg));
        assert_eq!(Format::of("a", b"\x89PNG\r\n\x1a\n"), Ok(Format::Png));
        assert_eq!(Format::of("a", b"RIFF\0\0\0\0WEBPVP8 "), Ok(Format::WebP));
        assert_eq!(Format::of("a", &tiff_with(&[(0x100, 3, 5)])), Ok(Format::Tiff));
        assert_eq!(Format::of("a", b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"), Ok(Format::Heic));
        assert_eq!(Format::of("a", b"\0\0\0\x18ftypMiHE\0\0\0\0mif1heic"), Ok(Format::Heic));
    }

    #[test]
    fn other_formats_are_named() {
        assert!(refused_as(b"GIF89a").contains("GIF"));
        assert!(refused_as(b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf").contains("AVIF"));
        assert!(refused_as(b"\0\0\0\x1cftypmif1\0\0\0\0mif1avifmiaf").contains("AVIF"));
        assert!(refused_as(b"\0\0\0\x18ftypcrx \0\0\0\x01crx isom").contains("CR3"));
        assert!(refused_as(b"\0\0\0\x18ftypmp42\0\0\0\x01isommp42").contains("video"));
        assert!(refused_as(b"\0\0\0\x0cjP  \r\n\x87\n").contains("JPEG 2000"));
        assert!(refused_as(b"\xff\x0a\0\0").contains("JPEG XL"));
        assert!(refused_as(b"BM\0\0").contains("BMP"));
        assert!(refused_as(b"P6\n3 2\n").contains("PNM"));
        assert!(refused_as(b"").contains("empty"));
        assert!(refused_as(b"just text").contains("not a JPEG"));
    }

    #[test]
    fn a_raw_file_is_never_read_as_its_preview() {
        assert!(refused_as(&tiff_with(&[(0xfe, 4, 1), (0xc612, 1, 4)])).contains("DNG"));
        assert!(refused_as(&tiff_with(&[(0xfe, 4, 1), (0x14a, 4, 99)])).contains("NEF"));
        assert!(refused_as(&tiff_with(&[(0x106, 3, 32_803)])).contains("raw"));
        assert!(refused_as(b"II\x2a\0\x10\0\0\0CR\x02\0").contains("CR2"));
        assert_eq!(
            Format::of("a", b"II\x2a\0\xff\xff\xff\xff"),
            Ok(Format::Tiff),
            "a false offset is harmless"
        );
    }
}
