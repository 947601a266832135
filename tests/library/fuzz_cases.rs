//! Cases that fuzzing found worth keeping (`tests/fuzz/cases`, a folder a target) and files cut and bent on purpose, run
//! through what the fuzz targets do. This is a regression test: a case passes when nothing panics.

use std::path::Path;

#[path = "../fuzz/bodies.rs"]
mod bodies;

/// Runs every kept case of a target; gives how many there were.
fn run(target: &str, body: fn(&[u8])) -> usize {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/cases").join(target);
    let mut count = 0;
    for entry in std::fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display())) {
        let path = entry.unwrap().path();
        println!("{}", path.display());
        body(&std::fs::read(&path).unwrap());
        count += 1;
    }
    count
}

#[test]
fn kept_cases_of_photos() {
    assert!(run("photo", bodies::photo) > 0);
}

#[test]
fn kept_cases_of_sheets() {
    assert!(run("sheet", bodies::sheet) > 0);
}

#[test]
fn kept_cases_of_cards() {
    assert!(
        run("card", |bytes| {
            bodies::card(bytes);
        }) > 0
    );
}

#[test]
fn kept_cases_of_rules() {
    assert!(run("rules", bodies::rules) > 0);
}

#[test]
fn kept_cases_of_riders() {
    assert!(run("rider", bodies::rider) > 0);
}

#[test]
fn the_projects_own_rules_and_riders_pass_through_the_targets() {
    for folder in ["src/fit/rules", "fixtures/fit/riders"] {
        for entry in std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)).unwrap() {
            let bytes = std::fs::read(entry.unwrap().path()).unwrap();
            if folder.ends_with("rules") { bodies::rules(&bytes) } else { bodies::rider(&bytes) }
        }
    }
}

#[test]
fn untouched_tags_are_found_by_the_card_target() {
    // No change at all: the body must reach the measurement, or it would test nothing.
    assert_eq!([bodies::card(&[0]), bodies::card(&[2])], [2, 2]);
}

#[test]
fn a_sheet_cut_anywhere_is_refused_and_not_a_panic() {
    let whole = include_bytes!("../../fixtures/sheets/v1-all-keys.json");
    for end in (0..whole.len()).step_by(7) {
        bodies::sheet(&whole[..end]);
    }
    bodies::sheet(whole);
}

#[test]
fn a_photo_cut_or_bent_anywhere_is_no_panic() {
    let picture = image::RgbImage::from_fn(48, 40, |x, y| image::Rgb([(x * 5) as u8, (y * 6) as u8, 99]));
    for format in [
        image::ImageFormat::Jpeg,
        image::ImageFormat::Png,
        image::ImageFormat::WebP,
        image::ImageFormat::Tiff,
    ] {
        let mut bytes = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut bytes, format).unwrap();
        let bytes = bytes.into_inner();
        for at in (0..bytes.len()).step_by(1 + bytes.len() / 150) {
            bodies::photo(&bytes[..at]);
            let mut bent = bytes.clone();
            bent[at] ^= 0x55;
            bodies::photo(&bent);
        }
    }
}
