//! Photos of one saddle measured together on the desk, with corrections in each.

use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;

use super::pair::two_sides;
use super::served::Desk;
use lab::synth;
use serde_json::{Value, json};

/// The two photos, drawn once.
pub fn pair() -> &'static [Vec<u8>; 2] {
    static PAIR: OnceLock<[Vec<u8>; 2]> = OnceLock::new();
    PAIR.get_or_init(|| two_sides().map(|scenario| synth::draw(&scenario).unwrap().bytes))
}

/// Uploads both and waits until each is measured alone.
pub fn lay_pair(desk: &Desk) -> [u64; 2] {
    let ids = [desk.lay("left.jpg", &pair()[0]), desk.lay("right.jpg", &pair()[1])];
    for id in ids {
        assert_eq!(desk.measured(id)["stage"], "measured");
    }
    ids
}

fn edits(desk: &Desk, id: u64, edits: &Value) -> (u16, Value) {
    let answered = desk.ask("PUT", &format!("/api/photos/{id}/edits"), edits.to_string().as_bytes());
    (answered.status, answered.json())
}

fn by_command_line(folder: &Path) -> Value {
    let files = ["left.jpg", "right.jpg"].map(|name| folder.join(name));
    for (file, bytes) in files.iter().zip(pair()) {
        std::fs::write(file, bytes).unwrap();
    }
    let mut command = Command::new(env!("CARGO_BIN_EXE_seatspan"));
    let done = command.arg("measure").args(&files).args(["--together", "--json"]).output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    serde_json::from_slice(&done.stdout).unwrap()
}

fn widths(of: &Value) -> Vec<(String, f64, f64)> {
    let one = |w: &Value| {
        (w["name"].as_str().unwrap().to_owned(), w["mm"].as_f64().unwrap(), w["u95"].as_f64().unwrap())
    };
    of["widths"].as_array().unwrap().iter().map(one).collect()
}

#[test]
fn a_pair_gives_the_results_and_files_of_the_command_line() {
    let desk = Desk::start();
    let [left, right] = lay_pair(&desk);
    let alone = widths(&desk.measured(left)["findings"]);
    let (status, linked) = edits(&desk, left, &json!({ "name": "Acorn (invented)", "with": [right] }));
    assert_eq!((status, linked["stage"].as_str()), (200, Some("measured")), "{}", linked["refusal"]);
    let elsewhere = tempfile::tempdir().unwrap();
    let line = by_command_line(elsewhere.path());
    for ((name, mm, u95), there) in widths(&linked["findings"]).into_iter().zip(widths(&line)) {
        println!(
            "{name}: {mm:.2} ± {u95:.2} mm together in {} ms, {:.2} by the command line",
            linked["took_ms"], there.1
        );
        assert_eq!((&name, mm, u95), (&there.0, there.1, there.2));
    }
    let together = &linked["findings"]["together"];
    assert_eq!(together["photos"], json!(["left.jpg", "right.jpg"]));
    let rows = together["lifts"][0]["rows"].as_array().unwrap();
    let lift =
        |at: f64| line["lift"]["seat"].as_array().unwrap().iter().find(|r| r[0] == at).unwrap()[1].clone();
    let middle = rows.iter().find(|r| r["at"] == "0.50").unwrap();
    let shown: f64 = middle["shown"]["mm"].as_str().unwrap().parse().unwrap();
    assert!((shown - lift(0.5).as_f64().unwrap()).abs() <= 0.06, "{middle} and {}", lift(0.5));
    assert_eq!(middle["uncertain"], false);

    let kept = desk.ask("POST", &format!("/api/photos/{left}/keep"), b"{}");
    assert_eq!(kept.status, 200, "{}", String::from_utf8_lossy(&kept.body));
    let sheet = seatspan::sheet::read(&desk.folder.path().join("acorn-invented-top.sheet.json")).unwrap();
    let names: Vec<&str> = sheet.photos.iter().map(|p| p.file.as_str()).collect();
    assert_eq!(names, ["acorn-invented-top.jpg", "acorn-invented-top-2.jpg"]);
    for (name, bytes) in names.iter().zip(pair()) {
        assert_eq!(std::fs::read(desk.folder.path().join(name)).unwrap(), *bytes);
        let overlay = Path::new(name).with_extension("overlay.png");
        assert!(image::open(desk.folder.path().join(overlay)).is_ok());
    }
    assert_eq!(desk.ask("POST", &format!("/api/photos/{left}/keep"), b"{}").status, 412);

    // Apart again each is what it was.
    let (_, apart) = edits(&desk, left, &json!({}));
    assert_eq!(widths(&apart["findings"]), alone);
}

#[test]
fn corrections_in_the_other_photo_count_and_are_noted() {
    let desk = Desk::start();
    let [left, right] = lay_pair(&desk);
    let (_, before) = edits(&desk, left, &json!({ "with": [right] }));
    assert_eq!(desk.ask("DELETE", &format!("/api/photos/{right}"), b"").status, 409, "the other needs it");
    let hidden = json!([{ "part": "seat", "side": "left", "from": 0.3, "to": 0.5 }]);
    assert_eq!(edits(&desk, right, &json!({ "hidden": hidden })).0, 200);
    let after = desk.measured(left);
    let warned = after["findings"]["warnings"].as_array().unwrap();
    let said = warned.iter().find(|w| w["code"] == "corrected-in-another-photo").unwrap();
    assert_eq!(said["text"], "right.jpg: corrected by hand: 1 hidden stretch");
    let changed = widths(&after["findings"]).iter().zip(widths(&before["findings"])).any(|(a, b)| a.1 != b.1);
    assert!(changed, "a stretch less was measured along");
    // A correction in the first photo is noted as in a single photo.
    let (_, struck) = edits(&desk, left, &json!({ "with": [right], "hidden": hidden }));
    assert_eq!(struck["findings"]["hidden"][0], "seat left edge from 0.30 to 0.50");
    // Warnings use the photos' names on the shelf.
    let kept = desk.ask("POST", &format!("/api/photos/{left}/keep"), b"{}");
    assert_eq!(kept.status, 200, "{}", String::from_utf8_lossy(&kept.body));
    let kept: Value = serde_json::from_slice(
        &std::fs::read(desk.folder.path().join(kept.json()["sheet"].as_str().unwrap())).unwrap(),
    )
    .unwrap();
    let warnings = kept["warnings"].as_array().unwrap();
    let noted = warnings.iter().find(|w| w["code"] == "corrected-in-another-photo").unwrap();
    assert_eq!(noted["text"], "corrected by hand: 1 hidden stretch");
    let of = &kept["photos"][noted["photo"].as_u64().unwrap() as usize];
    assert_eq!(of["file"], "left-top-2.jpg");
    assert!(warnings.iter().all(|w| !w["text"].as_str().unwrap().contains("right.jpg")), "{warnings:?}");
    println!("together in {} ms, a correction in {} ms", before["took_ms"], struck["took_ms"]);
    // Both are traced again in the same place: hundredths of a millimetre.
    let (_, ruled) = edits(&desk, left, &json!({ "with": [right], "bar_mm": 150.0 }));
    assert_eq!(edits(&desk, right, &json!({})).0, 200);
    desk.measured(left);
    for (again, first) in widths(&desk.measured(left)["findings"]).iter().zip(widths(&before["findings"])) {
        assert!((again.1 - first.1).abs() < 0.2, "{again:?} and {first:?}, {}", ruled["took_ms"]);
    }
}

#[test]
fn photos_that_do_not_fit_together_are_refused() {
    let desk = Desk::start();
    let [left, right] = lay_pair(&desk);
    let again = desk.lay("again.jpg", &pair()[0]);
    let mut moved = two_sides()[1].clone();
    if let synth::Subject::Saddle(form) = &mut moved.subject {
        form.heading_deg += 8.0;
        form.front_mm[0] += 30.0;
    }
    let moved = desk.lay("moved.jpg", &synth::draw(&moved).unwrap().bytes);
    desk.measured(moved);
    for nonsense in [json!([left]), json!([99]), json!([right, right]), json!([again])] {
        let (status, said) = edits(&desk, left, &json!({ "with": nonsense }));
        assert_eq!(status, 422, "{said}");
        assert_eq!(desk.measured(left)["stage"], "measured", "nothing has changed");
    }
    let (status, refused) = edits(&desk, left, &json!({ "with": [moved] }));
    assert_eq!((status, refused["refusal"]["code"].as_str()), (200, Some("photos-disagree")));
    assert_eq!(edits(&desk, left, &json!({ "with": [right] })).1["stage"], "measured");
}
