//! Many photos at a time. Small pictures without a card serve where it does not matter what is found: each is refused,
//! and has a sheet that says so.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, SystemTime};

use crate::run::seatspan;
use crate::said::error_line;
use seatspan::sheet;
use tempfile::TempDir;

const ENDS: [&str; 7] = ["--same-place", "--view", "top", "--front", "100,100", "--rear", "500,400"];

fn measure(args: &[&str]) -> Output {
    seatspan(&[&["measure"], args].concat())
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn picture(path: &Path, size: u32) {
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    image::RgbImage::from_fn(size, size, |x, y| image::Rgb([(x / 8) as u8, (y / 8) as u8, 90]))
        .save(path)
        .unwrap();
}

/// A folder `photos` with pictures in it and in a folder below.
fn stand(count: u32) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for i in 0..count {
        let below = if i % 2 == 0 { "photos" } else { "photos/bélow" };
        picture(&folder.path().join(below).join(format!("p{i:02}.png")), 900 + i);
    }
    folder
}

fn path(folder: &TempDir, name: &str) -> String {
    folder.path().join(name).display().to_string()
}

fn run(folder: &TempDir, more: &[&str]) -> Output {
    let (photos, out) = (path(folder, "photos"), path(folder, "out"));
    measure(&[&[photos.as_str(), "--out", out.as_str()], &ENDS[..], more].concat())
}

/// Every sheet below a folder, with when it was written.
fn sheets(folder: &Path) -> BTreeMap<String, SystemTime> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            found.extend(sheets(&path));
        } else if path.to_string_lossy().ends_with(".sheet.json") {
            found.insert(path.display().to_string(), entry.metadata().unwrap().modified().unwrap());
        }
    }
    found
}

#[test]
fn every_photo_of_a_folder_gets_a_sheet_in_its_place() {
    let folder = stand(5);
    let output = run(&folder, &[]);
    assert_eq!(output.status.code(), Some(1), "all are refused: {output:?}");
    assert!(stderr(&output).contains("5 photos: 0 measured, 5 refused, 0 failed, 0 there already"));
    assert!(folder.path().join("out/p00.sheet.json").exists());
    assert!(folder.path().join("out/bélow/p01.sheet.json").exists());
    assert_eq!(sheets(folder.path()).len(), 5);
}

#[test]
fn what_is_there_is_not_made_again() {
    let folder = stand(4);
    run(&folder, &[]);
    let first = sheets(folder.path());
    picture(&folder.path().join("photos/new.png"), 950);
    let output = run(&folder, &[]);
    assert!(stderr(&output).contains("5 photos: 0 measured, 1 refused, 0 failed, 4 there already"));
    let second = sheets(folder.path());
    assert!(second.len() == 5 && first.iter().all(|(path, time)| second[path] == *time));
}

#[cfg(unix)]
#[test]
fn a_run_that_is_killed_goes_on_where_it_was() {
    for signal in ["INT", "KILL"] {
        let folder = stand(30);
        let mut child = Command::new(env!("CARGO_BIN_EXE_seatspan"))
            .args(["measure", &path(&folder, "photos"), "--out", &path(&folder, "out"), "--jobs", "1"])
            .args(ENDS)
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        while sheets(&folder.path().join("out")).len() < 3 && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_millis(5));
        }
        // Built into the shell: a bare system has no program of that name.
        let sent = Command::new("sh").args(["-c", &format!("kill -{signal} {}", child.id())]).status();
        assert!(sent.is_ok());
        child.wait().unwrap();
        let first = sheets(&folder.path().join("out"));
        assert!(first.keys().all(|path| sheet::read(Path::new(path)).is_ok()), "every sheet is whole");
        let output = run(&folder, &[]);
        assert_eq!(output.status.code(), Some(1));
        let second = sheets(&folder.path().join("out"));
        assert_eq!(second.len(), 30, "nothing is lost");
        assert!(first.iter().all(|(path, time)| second[path] == *time), "nothing is done twice");
    }
}

#[test]
fn json_gives_a_line_a_photo() {
    let folder = stand(3);
    std::fs::write(folder.path().join("photos/notes.jpg"), "oats").unwrap();
    let output = run(&folder, &["--json"]);
    let lines: Vec<serde_json::Value> =
        String::from_utf8(output.stdout).unwrap().lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert_eq!(lines.len(), 4);
    for line in &lines {
        assert_eq!(line["state"], "refused");
        assert!(
            line["photo_path"].is_string() && line["reason"].is_string() && line["seat_widest_mm"].is_null()
        );
    }
    assert!(lines.iter().any(|l| l["refused"] == "photo-unreadable"));
}

#[test]
fn a_list_gives_each_photo_its_own_ends_and_name() {
    let folder = tempfile::tempdir().unwrap();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    std::fs::copy(demo.join("willow.jpg"), folder.path().join("a.jpg")).unwrap();
    picture(&folder.path().join("b.png"), 900);
    let list = folder.path().join("list.csv");
    std::fs::write(
        &list,
        "photo,name,view,front_x,front_y,rear_x,rear_y,lift_seat\n\
         a.jpg,Wéide 17,top,1022.7,1437.4,2335.6,2021.9,\"0:44,0.25:26,0.5:11,0.75:31,1:68\"\n\
         b.png,,underside,100,100,500,400,\n\
         gone.jpg,,top,100,100,500,400,\n",
    )
    .unwrap();
    let output = measure(&["--list", list.to_str().unwrap(), "--out", &path(&folder, "out")]);
    assert_eq!(output.status.code(), Some(2), "one failed: {output:?}");
    let said = stderr(&output);
    assert!(
        said.contains("3 photos: 1 measured, 1 refused, 1 failed") && said.contains("gone.jpg"),
        "{said}"
    );
    assert_eq!(sheet::read(&folder.path().join("out/a.sheet.json")).unwrap().saddle.name, "Wéide 17");
    assert_eq!(sheet::read(&folder.path().join("out/b.sheet.json")).unwrap().saddle.name, "b");
    // Other ends are another question: the old answer is neither taken for it nor replaced unasked.
    let text = std::fs::read_to_string(&list).unwrap().replace("1022.7", "1021.7");
    std::fs::write(&list, &text).unwrap();
    let again = measure(&["--list", list.to_str().unwrap(), "--out", &path(&folder, "out")]);
    assert!(stderr(&again).contains("other ends"), "{}", stderr(&again));
    // So is another name: the sheet would go on under the old one.
    let text = text.replace("1021.7", "1022.7").replace("Wéide 17", "Wéide 18");
    std::fs::write(&list, text).unwrap();
    let again = measure(&["--list", list.to_str().unwrap(), "--out", &path(&folder, "out")]);
    assert!(stderr(&again).contains("named \"Wéide 17\" and not \"Wéide 18\""), "{}", stderr(&again));
}

#[test]
fn slips_in_a_list_are_errors_that_name_the_place() {
    let folder = tempfile::tempdir().unwrap();
    for (text, word) in [
        ("photo;view\na.jpg;top\n", "separated by commas"),
        ("photo,view,front_x,front_y,rear_x,rear_y\na.jpg,top,\"812,5\",440,1,2\n", "decimal comma"),
        ("photo,view,front_x,front_y,rear_x,rear_y\na.jpg,side,812.5,440,1,2\n", "top or underside"),
        ("photo,view,front_x,front_y,rear_x,rear_y\na.jpg,top,,440,1,2\n", "front_x is missing"),
        ("photo,vue\na.jpg,top\n", "vue"),
        ("photo,view\n", "no photo"),
    ] {
        let list = folder.path().join("list.csv");
        std::fs::write(&list, text).unwrap();
        let line = error_line(&measure(&["--list", list.to_str().unwrap()]));
        assert!(line.contains("list.csv") && line.contains(word), "{word}: {line}");
    }
}

#[test]
fn ends_for_many_photos_must_be_meant() {
    let folder = stand(2);
    let ends = &ENDS[1..];
    let line = error_line(&measure(&[&[path(&folder, "photos").as_str()], ends].concat()));
    assert!(line.contains("--same-place") && line.contains("--list"), "{line}");
}

#[test]
fn two_photos_with_one_result_fail_and_the_others_are_measured() {
    let folder = stand(2);
    picture(&folder.path().join("photos/a.png"), 900);
    std::fs::copy(folder.path().join("photos/a.png"), folder.path().join("photos/a.webp")).unwrap();
    let output = run(&folder, &[]);
    let said = stderr(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert_eq!(said.matches("would have the same result").count(), 2, "{said}");
    assert!(said.contains("0 measured, 2 refused, 2 failed"), "{said}");
    assert!(!folder.path().join("out/a.sheet.json").exists());
}

#[test]
fn a_result_of_another_photo_is_left_alone() {
    let folder = stand(1);
    run(&folder, &[]);
    picture(&folder.path().join("photos/p00.png"), 1000);
    let old = std::fs::read(folder.path().join("out/p00.sheet.json")).unwrap();
    let output = run(&folder, &[]);
    assert!(output.status.code() == Some(2) && stderr(&output).contains("another photo"), "{output:?}");
    assert_eq!(std::fs::read(folder.path().join("out/p00.sheet.json")).unwrap(), old);
}

#[test]
fn a_result_of_several_photos_is_not_taken_for_that_of_one() {
    let folder = stand(1);
    run(&folder, &[]);
    let file = folder.path().join("out/p00.sheet.json");
    let mut sheet = sheet::read(&file).unwrap();
    sheet.photos.push(sheet.photos[0].clone());
    sheet::write(&file, &sheet, true).unwrap();
    let output = run(&folder, &[]);
    assert!(
        output.status.code() == Some(2) && stderr(&output).contains("of 2 photos measured together"),
        "{output:?}"
    );
    assert_eq!(sheet::read(&file).unwrap(), sheet, "it is left alone");
}

#[test]
fn shards_share_the_photos_among_them() {
    let folder = stand(12);
    for part in 1..=3 {
        run(&folder, &["--shard", &format!("{part}/3")]);
    }
    assert_eq!(sheets(&folder.path().join("out")).len(), 12);
    let again = run(&folder, &[]);
    assert!(stderr(&again).contains("12 there already"));
}

#[test]
fn what_is_printed_is_plain_when_it_is_no_terminal() {
    let folder = stand(2);
    let output = Command::new(env!("CARGO_BIN_EXE_seatspan"))
        .env("NO_COLOR", "1")
        .args(["measure", &path(&folder, "photos"), "--out", &path(&folder, "out")])
        .args(ENDS)
        .output()
        .unwrap();
    assert!(!stderr(&output).contains('\u{1b}') && !stderr(&output).contains('\r'));
}

#[test]
fn a_sheet_that_was_asked_something_else_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("photos")).unwrap();
    std::fs::copy(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/willow.jpg"),
        folder.path().join("photos/willow.jpg"),
    )
    .unwrap();
    let (photos, out) = (path(&folder, "photos"), path(&folder, "out"));
    let batch = |more: &[&str]| measure(&[&[photos.as_str(), "--out", out.as_str()], more].concat());
    assert_eq!(batch(&["--bar", "149"]).status.code(), Some(0));
    assert_eq!(batch(&["--bar", "149"]).status.code(), Some(0), "there already");
    let scale = "another scale of the print";
    for (other, difference) in [
        (&["--bar", "149.0000001"][..], scale),
        (&[], scale),
        (&["--bank-card"], scale),
        (&["--bar", "149", "--lift", "seat=0.5:20"], "other heights"),
        (&["--bar", "149", "--view", "top"], "another view"),
    ] {
        let output = batch(other);
        assert_eq!(output.status.code(), Some(2), "{other:?}");
        assert!(stderr(&output).contains(&format!("measured with {difference}")), "{}", stderr(&output));
    }
}
