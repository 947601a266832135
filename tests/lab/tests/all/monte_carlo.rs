//! `lab monte-carlo`: errors of use.

use std::path::Path;
use std::process::Command;

use seatspan::sheet;

#[test]
fn rejects_sheets_of_several_photos() {
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures");
    let mut both = sheet::read(&fixtures.join("sheets/v1-all-keys.json")).unwrap();
    both.photos.push(both.photos[0].clone());
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("both.sheet.json");
    std::fs::write(&file, sheet::to_json(&both).unwrap()).unwrap();
    let photo = fixtures.join("demo/willow.jpg");
    let args = [Path::new("monte-carlo"), &file, &photo];
    let output = Command::new(env!("CARGO_BIN_EXE_lab")).args(args).output().unwrap();
    let message = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{message}");
    assert!(message.contains("2 photos measured together") && message.contains("by itself"), "{message}");
}
