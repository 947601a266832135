//! Camera data (EXIF): only the fields that a measurement uses.
//!
//! Position, serial numbers, names and embedded previews are never read, so no output can contain them.

use exif::{In, Reader, Tag, Value};

use super::notes::PhotoNote;
use super::orient::Orientation;
use crate::numeric::file::one_line;

/// EXIF fields of the picture and the camera.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Exif {
    /// Orientation of the stored picture.
    pub orientation: Orientation,
    /// 35 mm equivalent focal length, mm (a whole number in the file).
    pub focal_35mm_mm: Option<f64>,
    /// Focal length of the lens, mm.
    pub focal_mm: Option<f64>,
    /// Focal-plane resolution across and down, pixels of the camera's picture per mm.
    pub focal_plane_px_per_mm: Option<[f64; 2]>,
    /// Maker of the camera.
    pub make: Option<String>,
    /// Model of the camera.
    pub model: Option<String>,
    /// Model of the lens.
    pub lens_model: Option<String>,
    /// Time of the photo by the camera's clock, as `2026-05-02T10:11:12`.
    pub taken: Option<String>,
    /// Size of the camera's picture, pixels.
    pub size_px: Option<[u32; 2]>,
    /// Digital zoom ratio; 1 is none.
    pub digital_zoom: Option<f64>,
}

/// Longest text kept of a field.
const MAX_TEXT_CHARS: usize = 64;

/// Reads a TIFF block of EXIF. Damage becomes a note, not a refusal: the pixels can still be measured.
pub(super) fn parse(block: Option<Vec<u8>>, notes: &mut Vec<PhotoNote>) -> Exif {
    let Some(block) = block else {
        notes.push(PhotoNote::NoExif);
        return Exif::default();
    };
    let result = Reader::new().continue_on_error(true).read_raw(block);
    from_result(result, notes)
}

/// Reads the EXIF in the container of a PNG, WebP, TIFF or HEIF file.
pub(super) fn parse_container(bytes: &[u8], notes: &mut Vec<PhotoNote>) -> Exif {
    let result = Reader::new().continue_on_error(true).read_from_container(&mut std::io::Cursor::new(bytes));
    from_result(result, notes)
}

fn from_result(result: Result<exif::Exif, exif::Error>, notes: &mut Vec<PhotoNote>) -> Exif {
    let mut damage = None;
    let fields = result.or_else(|error| {
        error.distill_partial_result(|errors| damage = errors.first().map(|e| one_line(&e.to_string())))
    });
    if let Some(detail) = damage {
        notes.push(PhotoNote::CorruptExif { detail });
    }
    match fields {
        Ok(fields) => read_fields(&fields, notes),
        Err(exif::Error::NotFound(_)) => {
            notes.push(PhotoNote::NoExif);
            Exif::default()
        }
        Err(error) => {
            notes.push(PhotoNote::CorruptExif { detail: one_line(&error.to_string()) });
            Exif::default()
        }
    }
}

fn read_fields(fields: &exif::Exif, notes: &mut Vec<PhotoNote>) -> Exif {
    let size = [Tag::PixelXDimension, Tag::PixelYDimension].map(|t| whole(fields, t).filter(|&v| v > 0));
    let taken_text = text(fields, Tag::DateTimeOriginal).filter(|t| t.chars().any(|c| c.is_ascii_digit()));
    let taken = taken_text.as_deref().and_then(valid_date);
    if taken_text.is_some_and(|t| t.chars().any(|c| ('1'..='9').contains(&c))) && taken.is_none() {
        notes.push(PhotoNote::InvalidDate);
    }
    Exif {
        orientation: orientation(fields, notes),
        focal_35mm_mm: number(fields, Tag::FocalLengthIn35mmFilm).filter(|&v| v > 0.0),
        focal_mm: number(fields, Tag::FocalLength).filter(|&v| v > 0.0),
        focal_plane_px_per_mm: focal_plane(fields),
        make: text(fields, Tag::Make),
        model: text(fields, Tag::Model),
        lens_model: text(fields, Tag::LensModel),
        taken,
        size_px: size[0].zip(size[1]).map(|(w, h)| [w, h]),
        // 0 means that digital zoom was not used.
        digital_zoom: number(fields, Tag::DigitalZoomRatio).filter(|&v| v > 0.0),
    }
}

fn orientation(fields: &exif::Exif, notes: &mut Vec<PhotoNote>) -> Orientation {
    let Some(value) = whole(fields, Tag::Orientation) else { return Orientation::Upright };
    Orientation::from_exif(value).unwrap_or_else(|| {
        notes.push(PhotoNote::InvalidOrientation { value });
        Orientation::Upright
    })
}

fn focal_plane(fields: &exif::Exif) -> Option<[f64; 2]> {
    let x = number(fields, Tag::FocalPlaneXResolution).filter(|&v| v > 0.0)?;
    let y = number(fields, Tag::FocalPlaneYResolution).filter(|&v| v > 0.0)?;
    // 2, inches, is the default; 4 and 5 are common extensions of the standard.
    let unit_mm = match whole(fields, Tag::FocalPlaneResolutionUnit).unwrap_or(2) {
        2 => 25.4,
        3 => 10.0,
        4 => 1.0,
        5 => 0.001,
        _ => return None,
    };
    Some([x / unit_mm, y / unit_mm])
}

fn whole(fields: &exif::Exif, tag: Tag) -> Option<u32> {
    fields.get_field(tag, In::PRIMARY)?.value.get_uint(0)
}

/// A finite number, so no ratio with denominator 0.
fn number(fields: &exif::Exif, tag: Tag) -> Option<f64> {
    let value = match &fields.get_field(tag, In::PRIMARY)?.value {
        Value::Rational(v) => v.first()?.to_f64(),
        Value::SRational(v) => v.first()?.to_f64(),
        Value::Float(v) => f64::from(*v.first()?),
        Value::Double(v) => *v.first()?,
        other => f64::from(other.get_uint(0)?),
    };
    value.is_finite().then_some(value)
}

fn text(fields: &exif::Exif, tag: Tag) -> Option<String> {
    let Value::Ascii(parts) = &fields.get_field(tag, In::PRIMARY)?.value else { return None };
    let line = one_line(&String::from_utf8_lossy(parts.first()?));
    let short: String = line.chars().take(MAX_TEXT_CHARS).collect();
    (!short.is_empty()).then_some(short)
}

/// `2026:05:02 10:11:12` as `2026-05-02T10:11:12`, if it is a valid date and time.
fn valid_date(text: &str) -> Option<String> {
    let numbers: Vec<i16> =
        text.split([':', ' ', '-', '/', 'T']).map(|p| p.parse().ok()).collect::<Option<_>>()?;
    let &[year, month, day, hour, minute, second] = numbers.as_slice() else { return None };
    let small = |v: i16| i8::try_from(v).ok();
    let (month, day) = (small(month)?, small(day)?);
    let date =
        jiff::civil::DateTime::new(year, month, day, small(hour)?, small(minute)?, small(second)?, 0).ok()?;
    (year >= 1970).then(|| date.strftime("%Y-%m-%dT%H:%M:%S").to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use exif::experimental::Writer;
    use exif::{Field, Rational};

    fn block(fields: &[(Tag, Value)]) -> Vec<u8> {
        let fields: Vec<Field> = fields
            .iter()
            .map(|(tag, value)| Field { tag: *tag, ifd_num: In::PRIMARY, value: value.clone() })
            .collect();
        let mut writer = Writer::new();
        fields.iter().for_each(|f| writer.push_field(f));
        let mut out = std::io::Cursor::new(Vec::new());
        writer.write(&mut out, true).unwrap();
        out.into_inner()
    }

    fn ratio(num: u32, denom: u32) -> Value {
        Value::Rational(vec![Rational { num, denom }])
    }

    fn ascii(s: &str) -> Value {
        Value::Ascii(vec![s.as_bytes().to_vec()])
    }

    #[test]
    fn the_fields_of_a_phone_are_read() {
        let b = block(&[
            (Tag::Orientation, Value::Short(vec![6])),
            (Tag::Make, ascii("Maker ")),
            (Tag::Model, ascii("Model\n7")),
            (Tag::FocalLength, ratio(425, 100)),
            (Tag::FocalLengthIn35mmFilm, Value::Short(vec![26])),
            (Tag::DateTimeOriginal, ascii("2026:05:02 10:11:12")),
            (Tag::PixelXDimension, Value::Long(vec![4032])),
            (Tag::PixelYDimension, Value::Short(vec![3024])),
            (Tag::FocalPlaneXResolution, ratio(7000, 1)),
            (Tag::FocalPlaneYResolution, ratio(7000, 1)),
            (Tag::FocalPlaneResolutionUnit, Value::Short(vec![3])),
            (Tag::DigitalZoomRatio, ratio(0, 1)),
        ]);
        let mut notes = vec![];
        let exif = parse(Some(b), &mut notes);
        assert_eq!(notes, []);
        assert_eq!(exif.orientation, Orientation::QuarterTurn);
        assert_eq!((exif.make.as_deref(), exif.model.as_deref()), (Some("Maker"), Some("Model 7")));
        assert_eq!((exif.focal_mm, exif.focal_35mm_mm), (Some(4.25), Some(26.0)));
        assert_eq!(exif.taken.as_deref(), Some("2026-05-02T10:11:12"));
        assert_eq!(exif.size_px, Some([4032, 3024]));
        assert_eq!(exif.focal_plane_px_per_mm, Some([700.0, 700.0]));
        assert_eq!(exif.digital_zoom, None);
    }

    #[test]
    fn impossible_values_are_dropped_and_noted() {
        let b = block(&[
            (Tag::Orientation, Value::Short(vec![9])),
            (Tag::FocalLength, ratio(5, 0)),
            (Tag::FocalLengthIn35mmFilm, Value::Short(vec![0])),
            (Tag::DateTimeOriginal, ascii("2026:02:30 10:11:12")),
            (Tag::DigitalZoomRatio, ratio(0, 0)),
        ]);
        let mut notes = vec![];
        let exif = parse(Some(b), &mut notes);
        assert_eq!(exif, Exif::default());
        assert_eq!(notes, [PhotoNote::InvalidDate, PhotoNote::InvalidOrientation { value: 9 }]);
    }

    #[test]
    fn an_unset_clock_gives_neither_date_nor_note() {
        let mut notes = vec![];
        for unset in ["0000:00:00 00:00:00", "    :  :     :  :  ", ""] {
            let exif = parse(Some(block(&[(Tag::DateTimeOriginal, ascii(unset))])), &mut notes);
            assert_eq!(exif.taken, None);
        }
        assert_eq!(notes, []);
        assert_eq!(valid_date("2026:05:02 24:00:00"), None);
        assert_eq!(valid_date("2024:02:29 23:59:59").as_deref(), Some("2024-02-29T23:59:59"));
    }

    #[test]
    fn damage_is_noted() {
        let mut notes = vec![];
        assert_eq!(parse(Some(b"garbage".to_vec()), &mut notes), Exif::default());
        assert!(matches!(notes[..], [PhotoNote::CorruptExif { .. }]));
        notes.clear();
        assert_eq!(parse(None, &mut notes), Exif::default());
        assert_eq!(notes, [PhotoNote::NoExif]);
    }

    #[test]
    fn private_fields_are_dropped() {
        let mut b = block(&[
            (Tag::Model, ascii("M")),
            (Tag::BodySerialNumber, ascii("SECRET-1")),
            (Tag::CameraOwnerName, ascii("SECRET-2")),
            (Tag::GPSLatitude, ratio(51, 1)),
            (Tag::Artist, ascii("SECRET-3")),
        ]);
        b.extend(b"SECRET");
        let exif = parse(Some(b), &mut vec![]);
        assert_eq!(exif, Exif { model: Some("M".into()), ..Exif::default() });
    }
}
