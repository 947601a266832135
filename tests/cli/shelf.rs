//! A folder of sheets as a user meets it. The sheets are made here from the one that the project keeps; invented.

use std::path::Path;
use std::process::Output;

use crate::run::seatspan;
use seatspan::numeric::words::View;
use seatspan::sheet::{self, Sheet};
use tempfile::TempDir;

fn shelf(folder: &Path, more: &[&str]) -> Output {
    seatspan(&[&["shelf", folder.to_str().unwrap()], more].concat())
}

fn stdout(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn kept() -> Sheet {
    sheet::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/sheets/v1-all-keys.json")).unwrap()
}

fn put(folder: &Path, name: &str, change: impl FnOnce(&mut Sheet)) {
    let mut sheet = kept();
    sheet.saddle.name = name.into();
    sheet.photos[0].sha256 = seatspan::photo::sha256_hex(name.as_bytes());
    change(&mut sheet);
    sheet::write(&folder.join(format!("{name}.sheet.json")), &sheet, false).unwrap();
}

/// Three sheets: an underside of 231.4 ± 1.8 mm, and two narrower seats.
fn three() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    put(folder.path(), "Ahorn", |_| {});
    put(folder.path(), "Größe Łuk", |s| {
        s.widths[0].mm = 210.0;
        s.view = Some(View::Top);
        s.photos[0].taken = Some("2026-06-03T10:00:00".into());
    });
    std::fs::create_dir(folder.path().join("below")).unwrap();
    put(&folder.path().join("below"), "Birke", |s| {
        s.widths[0].mm = 206.0;
        s.view = Some(View::Top);
        s.photos[0].taken = None;
    });
    folder
}

/// Another photo's entry for a sheet of photos measured together.
fn further(name: &str) -> sheet::PhotoRecord {
    let file = format!("{name}.jpg");
    sheet::PhotoRecord {
        sha256: seatspan::photo::sha256_hex(name.as_bytes()),
        file,
        ..kept().photos[0].clone()
    }
}

#[test]
fn a_photo_that_was_also_measured_together_with_another_is_named_once() {
    let folder = tempfile::tempdir().unwrap();
    put(folder.path(), "Ahorn", |s| s.photos.push(further("Birke")));
    put(folder.path(), "Ahorn again", |s| {
        s.photos = vec![further("Ahorn"), further("Birke")];
    });
    put(folder.path(), "Birke", |_| {});
    put(folder.path(), "Cedar", |_| {});
    let output = shelf(folder.path(), &["--duplicates", "--json"]);
    assert_eq!(names(&output), ["Ahorn again", "Ahorn", "Birke"]);
    let rows = stdout(&output);
    let row: serde_json::Value = serde_json::from_str(rows.lines().next().unwrap()).unwrap();
    assert_eq!(row["photos"], 2);
    let said = stderr(&shelf(folder.path(), &[]));
    assert_eq!(
        said.matches("the same photo: ").count(),
        2,
        "the first photo's sheets and the second's: {said}"
    );
}

/// What `repeat` says against a sheet, in one line.
fn error_line(args: &[&str]) -> String {
    crate::said::error_line(&seatspan(args))
}

#[test]
fn a_sheet_of_several_photos_is_told_from_sheets_of_one() {
    let folder = tempfile::tempdir().unwrap();
    put(folder.path(), "Ahorn", |s| s.photos.push(further("Birke")));
    put(folder.path(), "Birke", |_| {});
    let [both, one] = ["Ahorn", "Birke"].map(|n| folder.path().join(format!("{n}.sheet.json")));
    let [both, one] = [&both, &one].map(|p| p.to_str().unwrap());
    let said = error_line(&["repeat", both, one]);
    assert!(said.contains("both of the photo "), "{said}");
}

fn names(output: &Output) -> Vec<String> {
    let rows = stdout(output);
    let name = |line: &str| {
        serde_json::from_str::<serde_json::Value>(line).unwrap()["saddle"].as_str().unwrap().to_owned()
    };
    rows.lines().map(name).collect()
}

#[test]
fn every_sheet_is_listed_with_its_widths() {
    let folder = three();
    let said = stdout(&shelf(folder.path(), &[]));
    assert_eq!(said.lines().count(), 4, "{said}");
    assert!(said.contains("231.4 ± 1.8 mm") && said.contains("Größe Łuk") && said.contains("below"));
}

#[test]
fn sheets_are_found_by_name_view_and_date() {
    let folder = three();
    let of = |more: &[&str]| names(&shelf(folder.path(), &[more, &["--json"]].concat()));
    assert_eq!(of(&["--name", "größe"]), ["Größe Łuk"]);
    assert_eq!(of(&["--view", "top"]), ["Größe Łuk", "Birke"]);
    assert_eq!(of(&["--since", "2026-06-01"]), ["Größe Łuk"]);
    assert_eq!(of(&["--until", "2026-05-02"]), ["Ahorn"]);
}

#[test]
fn a_width_counts_with_its_uncertainty_and_says_when_it_is_not_sure() {
    let folder = three();
    let range = ["--width", "seat.widest=205..211"];
    let said = stdout(&shelf(folder.path(), &range));
    // 210.0 ± 1.8 reaches beyond 211, and 206.0 ± 1.8 below 205.
    assert!(
        said.contains("~210.0 ± 1.8 mm") && said.contains("~206.0 ± 1.8 mm") && !said.contains("231.4"),
        "{said}"
    );
    let sure = stdout(&shelf(folder.path(), &["--width", "seat.widest=..212"]));
    assert!(sure.contains(" 210.0 ± 1.8 mm"), "{sure}");
}

#[test]
fn sheets_are_sorted_by_a_width() {
    let folder = three();
    assert_eq!(
        names(&shelf(folder.path(), &["--sort", "seat.widest", "--json"])),
        ["Birke", "Größe Łuk", "Ahorn"]
    );
}

#[test]
fn csv_has_a_row_a_sheet_and_points_as_decimal_signs() {
    let folder = three();
    put(folder.path(), "=1+1", |s| s.view = Some(View::Top));
    let csv = folder.path().join("out.csv");
    stdout(&shelf(folder.path(), &["--csv", csv.to_str().unwrap()]));
    let mut reader = csv::Reader::from_path(&csv).unwrap();
    let column = |name: &str, head: &csv::StringRecord| head.iter().position(|h| h == name).unwrap();
    let head = reader.headers().unwrap().clone();
    let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 4);
    assert!(rows.iter().any(|r| &r[column("seat_widest_mm", &head)] == "231.4"));
    assert!(
        rows.iter().any(|r| &r[column("panels_widest_mm", &head)] == "231.4"),
        "an underside has no seat"
    );
    assert!(rows.iter().any(|r| &r[column("saddle", &head)] == "'=1+1"), "no spreadsheet may run a name");
}

#[test]
fn an_export_that_is_there_is_left_alone() {
    let folder = three();
    let file = folder.path().join("out.jsonl");
    std::fs::write(&file, "mine").unwrap();
    let output = shelf(folder.path(), &["--json-lines", file.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "mine");
}

#[test]
fn two_sheets_of_one_photo_are_noticed() {
    let folder = three();
    let hash = seatspan::photo::sha256_hex(b"Ahorn");
    put(folder.path(), "Ahorn again", |s| s.photos[0].sha256 = hash);
    let output = shelf(folder.path(), &[]);
    assert!(stderr(&output).contains("the same photo: "), "{}", stderr(&output));
    assert_eq!(names(&shelf(folder.path(), &["--duplicates", "--json"])), ["Ahorn again", "Ahorn"]);
}

#[test]
fn half_written_and_foreign_files_are_passed_over_with_a_word() {
    let folder = three();
    let whole = std::fs::read(folder.path().join("Ahorn.sheet.json")).unwrap();
    std::fs::write(folder.path().join("half.sheet.json"), &whole[..whole.len() / 2]).unwrap();
    std::fs::write(folder.path().join("package.json"), "{\"name\": \"other\"}").unwrap();
    std::fs::write(folder.path().join(".seatspan-x.part"), "{").unwrap();
    std::fs::write(folder.path().join("notes.txt"), "oats").unwrap();
    let output = shelf(folder.path(), &["--json"]);
    assert_eq!(names(&output).len(), 3);
    let said = stderr(&output);
    for word in ["half.sheet.json", "package.json", ".seatspan-x.part"] {
        assert_eq!(said.lines().filter(|l| l.contains(word)).count(), 1, "{word} in {said}");
    }
    assert_eq!(said.lines().count(), 3, "{said}");
}

#[test]
fn slips_are_errors_in_one_line() {
    let folder = three();
    for (option, value, word) in [
        ("--width", "seat.widest=205,5..211", "decimal comma"),
        ("--width", "seat.widest=211..205", "smaller width first"),
        ("--width", "widest=1..2", "seat.widest"),
        ("--since", "03.06.2026", "year-month-day"),
        ("--sort", "colour", "path, name, date"),
    ] {
        let output = shelf(folder.path(), &[option, value]);
        assert_eq!(output.status.code(), Some(2), "{value}");
        let said = stderr(&output);
        assert!(said.lines().count() == 1 && said.contains(word), "{said}");
    }
    assert_eq!(shelf(&folder.path().join("gone"), &[]).status.code(), Some(2));
}

#[test]
fn a_rider_keeps_the_saddles_that_could_suit() {
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/fit");
    let rider = fixtures.join("riders/ilse.toml");
    let output = shelf(&fixtures.join("saddles"), &["--rider", rider.to_str().unwrap()]);
    let (said, left_out) = (stdout(&output), stderr(&output));
    // Harebell is wide where this rider is, bramble is narrow behind (fixtures/fit/README.md).
    assert!(said.contains("harebell-top.sheet.json") && !said.contains("bramble"), "{said}");
    assert!(left_out.contains("bramble: "), "{left_out}");
}
