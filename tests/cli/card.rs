//! `seatspan card` and `seatspan check` as a user meets them.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

const DEMO: &str = "fixtures/demo/willow.jpg";

fn seatspan(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_seatspan")).current_dir(folder).args(args).output().unwrap()
}

fn home() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn one_line(output: &Output) -> String {
    let text = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(text.lines().count(), 1, "{text:?}");
    text.trim().to_owned()
}

#[test]
fn a_card_is_written_where_it_is_asked_for_and_named() {
    let folder = tempfile::tempdir().unwrap();
    let output = seatspan(folder.path(), &["card"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(stdout(&output).contains("card-sheet-0-a4.pdf"));
    assert!(std::fs::read(folder.path().join("card-sheet-0-a4.pdf")).unwrap().starts_with(b"%PDF-"));
    let args = ["card", "strip", "--paper", "letter", "--copy", "4", "--svg", "--out", "pages/new"];
    assert_eq!(seatspan(folder.path(), &args).status.code(), Some(0));
    for name in ["card-strip-4-letter.pdf", "card-strip-4-letter.svg"] {
        assert!(folder.path().join("pages/new").join(name).is_file(), "{name}");
    }
}

#[test]
fn all_pages_are_every_card_and_the_guide_on_both_papers() {
    let folder = tempfile::tempdir().unwrap();
    let output = seatspan(folder.path(), &["card", "--all"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert_eq!(stdout(&output).lines().count(), 6);
    assert!(folder.path().join("guide-letter.pdf").is_file());
}

#[test]
fn a_page_that_is_there_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("guide-a4.pdf");
    std::fs::write(&page, "mine").unwrap();
    let output = seatspan(folder.path(), &["card", "--guide"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(one_line(&output).contains("--force"));
    assert_eq!(std::fs::read(&page).unwrap(), b"mine");
    assert_eq!(seatspan(folder.path(), &["card", "--guide", "--force"]).status.code(), Some(0));
    assert!(std::fs::read(&page).unwrap().starts_with(b"%PDF-"));
}

#[test]
fn slips_are_one_line_with_what_to_write() {
    let folder = tempfile::tempdir().unwrap();
    for (args, says) in [
        (&["card", "poster"][..], "sheet"),
        (&["card", "--paper", "a3"], "a4 or letter"),
        (&["card", "--copy", "10"], "copies are 0 to 9"),
        (&["card", "strip", "--copy", "20"], "copies are 0 to 19"),
        (&["check"], "PHOTO"),
        (&["check", "gone.jpg"], "gone.jpg"),
    ] {
        let output = seatspan(folder.path(), args);
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(one_line(&output).contains(says), "{args:?}: {output:?}");
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn a_good_photo_is_usable() {
    let output = seatspan(home(), &["check", DEMO]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(stdout(&output).starts_with("willow.jpg: usable"), "{}", stdout(&output));
}

#[test]
fn one_bad_photo_among_good_ones_leaves_the_good_ones() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("notes.jpg");
    std::fs::write(&text, "widest 214").unwrap();
    let blank = folder.path().join("blank.png");
    image::RgbImage::from_pixel(900, 700, image::Rgb([3, 3, 4])).save(&blank).unwrap();
    let [text, blank] = [&text, &blank].map(|p| p.to_str().unwrap());
    let output = seatspan(home(), &["check", text, DEMO, "gone.jpg", blank, "--json"]);
    assert_eq!(output.status.code(), Some(2), "a file that is not there is an error");
    assert!(one_line(&output).contains("gone.jpg"));
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(report["schema"], "seatspan-check/1");
    let photos = report["photos"].as_array().unwrap();
    let verdicts: Vec<&str> = photos.iter().map(|p| p["verdict"].as_str().unwrap()).collect();
    assert_eq!(verdicts, ["take-again", "usable", "take-again"]);
    assert_eq!(photos[0]["reasons"][0]["code"], "photo-unreadable");
    assert_eq!(photos[2]["reasons"][0]["code"], "too-dark");
    assert!(photos[1]["u95_mm"].as_f64().unwrap() > 1.0);
    let output = seatspan(home(), &["check", text, DEMO]);
    assert_eq!(output.status.code(), Some(1));
}

#[test]
fn a_broken_photo_is_named_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notes.jpg");
    std::fs::write(&path, "widest 214").unwrap();
    let args = ["measure", "notes.jpg", "--view", "top", "--front", "1,1", "--rear", "9,9", "--out", "."];
    let output = seatspan(folder.path(), &args);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(one_line(&output).matches("notes.jpg").count(), 1, "{output:?}");
    let output = seatspan(folder.path(), &["check", "notes.jpg"]);
    assert_eq!(stdout(&output).matches("notes.jpg").count(), 1, "{output:?}");
}
