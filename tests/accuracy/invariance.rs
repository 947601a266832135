//! Changes of a photo that change nothing of the saddle: light, colours, compression, size and sharpness. No named width may move
//! by more than its uncertainty, and hardly one by more than a millimetre.

use std::path::Path;

use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, blur, resize};
use image::{Rgb, RgbImage};
use seatspan::photo::Photo;
use seatspan::pipeline::Request;
use seatspan::record::measure;
use seatspan::sheet::Sheet;
use serde_json::Value;

/// Largest share of named widths that move by more than [`LITTLE_MM`].
const MOST_MOVED: f64 = 0.05;
const LITTLE_MM: f64 = 1.0;
const JPEG_QUALITY: u8 = 92;

type Change = (&'static str, fn(&RgbImage) -> RgbImage, u8);

const CHANGES: [Change; 9] = [
    ("darker", |p| each(p, |v| v.map(|c| 0.6 * c)), JPEG_QUALITY),
    ("brighter", |p| each(p, |v| v.map(|c| 1.25 * c)), JPEG_QUALITY),
    ("cooler", |p| each(p, |[r, g, b]| [0.8 * r, g, 1.2 * b]), JPEG_QUALITY),
    ("warmer", |p| each(p, |[r, g, b]| [1.15 * r, g, 0.8 * b]), JPEG_QUALITY),
    ("grey", |p| each(p, |[r, g, b]| [0.299 * r + 0.587 * g + 0.114 * b; 3]), JPEG_QUALITY),
    ("harder", |p| each(p, |v| v.map(|c| c.powf(1.3))), JPEG_QUALITY),
    ("compressed", RgbImage::clone, 60),
    ("smaller", |p| resize(p, p.width() * 3 / 5, p.height() * 3 / 5, FilterType::Triangle), JPEG_QUALITY),
    ("blurred", |p| blur(p, 1.0), JPEG_QUALITY),
];

/// Each pixel changed, its values from 0 to 1.
fn each(photo: &RgbImage, change: impl Fn([f32; 3]) -> [f32; 3]) -> RgbImage {
    let mut changed = photo.clone();
    for Rgb(pixel) in changed.pixels_mut() {
        *pixel =
            change(pixel.map(|v| f32::from(v) / 255.0)).map(|v| (255.0 * v.clamp(0.0, 1.0)).round() as u8);
    }
    changed
}

/// The segment with a JPEG's EXIF, marker and length included; empty where it has none.
fn exif_segment(jpeg: &[u8]) -> &[u8] {
    let mut at = 2;
    while jpeg[at + 1] != 0xDA {
        let length = 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
        if jpeg[at + 1] == 0xE1 {
            return &jpeg[at..at + length];
        }
        at += length;
    }
    &[]
}

fn measured(name: &str, jpeg: Vec<u8>, truth: &Value) -> Sheet {
    let request = Request {
        name: name.to_owned(),
        view: serde_json::from_value(truth["view"].clone()).ok(),
        seat_lift: truth["lift_given"]["seat"].as_str().map(|text| text.parse().unwrap()),
        channel_lift: truth["lift_given"]["channel"].as_str().map(|text| text.parse().unwrap()),
        ..Request::default()
    };
    measure(Photo::from_bytes(Path::new(name), jpeg).unwrap(), &request).unwrap().0
}

#[test]
fn harmless_changes_of_a_photo_move_no_width() {
    let Some(folder) = crate::shared::shared_folder().map(|f| f.join("photos")).filter(|f| f.is_dir()) else {
        return;
    };
    let (mut count, mut moved) = (0.0, 0.0);
    for name in ["bramble-a", "hazel-b", "juniper", "wren"] {
        let read = |ending: &str| std::fs::read(folder.join(format!("{name}.{ending}"))).unwrap();
        let (jpeg, truth) = (read("jpg"), serde_json::from_slice(&read("truth.json")).unwrap());
        let pixels = image::load_from_memory(&jpeg).unwrap().to_rgb8();
        let own = measured(name, jpeg.clone(), &truth);
        for (what, change, quality) in CHANGES {
            let mut encoded = Vec::new();
            JpegEncoder::new_with_quality(&mut encoded, quality).encode_image(&change(&pixels)).unwrap();
            let changed = [&encoded[..2], exif_segment(&jpeg), &encoded[2..]].concat();
            let other = measured(name, changed, &truth);
            for width in &own.widths {
                let to =
                    other.width(width.name).unwrap_or_else(|| panic!("{name} {what}: no {}", width.name));
                let by_mm = to.mm - width.mm;
                count += 1.0;
                moved += f64::from(u8::from(by_mm.abs() > LITTLE_MM));
                println!("{name:10} {what:10} {:18} {by_mm:+6.2} mm, u95 {:.2}", width.name, width.u95);
                let u95 = width.u95.max(to.u95);
                assert!(by_mm.abs() <= u95, "{name} {what}: {} moved by {by_mm} mm, ± {u95}", width.name);
            }
        }
    }
    println!("{count} widths, {moved} moved by more than {LITTLE_MM} mm");
    assert!(moved <= MOST_MOVED * count, "{moved} of {count} widths moved by more than {LITTLE_MM} mm");
}
