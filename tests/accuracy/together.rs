//! One saddle in several drawn photos of known truth, with no lift given.

use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use crate::pair::{seen_from, two_sides};
use lab::synth::{self, Drawn, SaddleSet, Scenario, Subject, Truth};
use nalgebra::Vector3;
use seatspan::camera::lens_choice::ChosenLens;
use seatspan::camera::prior::LensPrior;
use seatspan::explain::Explanation;
use seatspan::numeric::words::View;
use seatspan::outline::find::ShownElsewhere;
use seatspan::outline::lift::LiftProfile;
use seatspan::photo::Photo;
use seatspan::pipeline::{Located, Request};
use seatspan::record::measure;
use seatspan::record::record_together;
use seatspan::refusal::{Refusal, RefusalCode};
use seatspan::sheet::{LevelSource, Lift, LiftSource, Sheet};
use seatspan::together::measure_together;
use seatspan::warning::WarningCode;

fn photo(scenario: &Scenario) -> (Arc<Photo>, Truth) {
    let Drawn { bytes, truth } = synth::draw(scenario).unwrap();
    (Photo::from_bytes(format!("{}.jpg", scenario.name), bytes).unwrap().into(), truth)
}

fn together(scenarios: &[Scenario]) -> (Result<Sheet, Refusal>, Truth) {
    let (photos, mut truths): (Vec<Arc<Photo>>, Vec<Truth>) = scenarios.iter().map(photo).unzip();
    let requests = vec![Request { name: "acorn".into(), ..Request::default() }; photos.len()];
    let sheet = measure_together(&photos, &requests).map(|t| record_together(&requests, &t).0);
    (sheet.map_err(Refusal::from), truths.swap_remove(0))
}

/// The lift of the seat's edges at a station, mm: the mean of both.
fn true_lift_mm(truth: &Truth, station: f64) -> f64 {
    let (midline, seat) = (truth.midline.unwrap(), &truth.edges.as_ref().unwrap().seat);
    let [front, rear] = [midline.front_mm, midline.rear_mm].map(Vector3::from).map(|end| end.xy());
    let along = (rear - front).normalize();
    let off =
        |p: &&[f64; 3]| ((Vector3::from(**p).xy() - front).dot(&along) / midline.length_mm - station).abs();
    let nearest = |edge: &[[f64; 3]]| edge.iter().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap()[2];
    (nearest(&seat.left) + nearest(&seat.right)) / 2.0
}

/// The lift of the seat, its uncertainty and the truth, mm, at the profile's points.
fn lifts(sheet: &Sheet, truth: &Truth) -> Vec<[f64; 4]> {
    let Lift { seat, seat_u, source, .. } = sheet.lift.as_ref().unwrap();
    assert_eq!(*source, LiftSource::Photos);
    let rows = seat.as_ref().unwrap().iter().zip(seat_u.as_ref().unwrap());
    rows.map(|(&[at, mm], &u)| [at, mm, u, true_lift_mm(truth, at)]).collect()
}

#[test]
fn photos_from_two_sides_tell_lift_and_widths() {
    let (sheet, truth) = together(&two_sides());
    let sheet = sheet.unwrap();
    for [at, mm, u, true_mm] in lifts(&sheet, &truth) {
        println!("lift at {at:.1}: {mm:.1} ± {:.1}, truth {true_mm:.1} mm", 2.0 * u);
        // The edges run across the midline at the ends, where a lift does not show.
        if (0.1..=0.9).contains(&at) {
            assert!((mm - true_mm).abs() < 6.0 && u < 6.0, "at {at}: {mm} ± {u} against {true_mm} mm");
        }
    }
    for t in &truth.named {
        let w = sheet.width(t.name.parse().unwrap()).unwrap();
        println!("{}: {:.2} ± {:.2}, truth {:.2} mm", t.name, w.mm, w.u95, t.mm);
        // 1.5 mm is what photos of one saddle with a ruler's lifts reach.
        assert!((w.mm - t.mm).abs() < 1.5, "{}: {} against {} mm", t.name, w.mm, t.mm);
    }
    assert!(
        sheet
            .warnings
            .iter()
            .all(|w| w.code != WarningCode::LiftUnknown && w.code != WarningCode::LiftPoorlyKnown)
    );
    assert_eq!(sheet.photos.len(), 2);
}

#[test]
fn the_budget_of_photos_together_adds_up_and_names_no_line_twice() {
    let (sheet, _) = together(&two_sides());
    let sheet = sheet.unwrap();
    for w in &sheet.widths {
        let lines: Vec<_> = sheet.budget.iter().filter(|line| line.of == w.name).collect();
        let u = lines.iter().map(|line| line.u * line.u).sum::<f64>().sqrt();
        // Two edges of twelve points or so: Student's factor for 12 degrees of freedom is 2.18, the normal one 1.96.
        assert!((1.95..2.18).contains(&(w.u95 / u)), "{}: {u} and {}", w.name, w.u95);
        let mut names: Vec<_> = lines.iter().map(|line| &line.from).collect();
        names.dedup();
        assert_eq!(names.len(), lines.len());
    }
}

#[test]
fn photos_from_one_place_tell_no_lift_and_their_common_errors_stay() {
    let scenarios = [seen_from(-40.0, 10.0, 11), seen_from(-40.0, 10.0, 12)];
    let (sheet, truth) = together(&scenarios);
    let sheet = sheet.unwrap();
    let middle = lifts(&sheet, &truth)[5];
    assert!(middle[2] > 20.0, "the lift cannot be known: u {} mm", middle[2]);
    assert!(sheet.warnings.iter().any(|w| w.code == WarningCode::LiftPoorlyKnown));
    let alone =
        measure(photo(&scenarios[0]).0, &Request { name: "acorn".into(), ..Request::default() }).unwrap().0;
    for w in &sheet.widths {
        let one = alone.width(w.name).unwrap();
        // What is unknown of the lift is the same in both, and by far the largest part.
        assert!(w.u95 > 0.95 * one.u95, "{}: ± {} from two, ± {} from one", w.name, w.u95, one.u95);
    }
}

#[test]
fn photos_from_two_sides_show_how_the_saddle_leans_over_the_card() {
    for roll_deg in [-2.0, 1.5] {
        let mut scenarios = two_sides();
        for scenario in &mut scenarios {
            if let Subject::Saddle(form) = &mut scenario.subject {
                form.roll_deg = roll_deg;
            }
        }
        let level = together(&scenarios).0.unwrap().level.unwrap();
        let (lean, u) = (level.lean_deg.unwrap(), level.lean_u_deg.unwrap());
        println!("the saddle leans by {lean:.2} ± {:.2}, truth {roll_deg:.2} degrees", 2.0 * u);
        assert_eq!(level.source, LevelSource::Photos);
        // Once in a hundred by chance. A level card and saddle would be 3 u off and more.
        assert!((lean - roll_deg).abs() < 2.6 * u && u < 0.5, "{lean} ± {u} against {roll_deg}");
    }
}

#[test]
fn one_photo_from_the_side_says_first_that_the_level_decides() {
    let [mut slanted, other] = two_sides();
    slanted.camera.tilt_deg = 38.0;
    let (photo, truth) = photo(&slanted);
    let heights = [0.0, 0.25, 0.5, 0.75, 1.0].map(|at| (at, true_lift_mm(&truth, at)));
    let known = LensPrior {
        mean: slanted.camera.camera().unwrap().lens,
        focal_relative_u: 1e-3,
        principal_u_px: 1.0,
        distortion_u: [1e-3; 5],
        covariance: None,
    };
    let request = Request {
        name: "acorn".into(),
        seat_lift: LiftProfile::measured(heights.to_vec()),
        lens: ChosenLens { prior: Some(known), ..ChosenLens::default() },
        ..Request::default()
    };
    let sheet = measure(photo, &request).unwrap().0;
    assert_eq!(sheet.level.unwrap().source, LevelSource::Assumed);
    assert_eq!(sheet.warnings[0].code, WarningCode::LevelDecides, "{:?}", sheet.warnings);
    let both = together(&[slanted, other]).0.unwrap();
    assert!(both.warnings.iter().all(|w| w.code != WarningCode::LevelDecides));
}

#[test]
fn a_saddle_that_was_moved_between_the_photos_is_noticed() {
    let [first, mut second] = two_sides();
    if let Subject::Saddle(form) = &mut second.subject {
        form.heading_deg += 8.0;
        form.front_mm[0] += 30.0;
    }
    let refusal = together(&[first, second]).0.unwrap_err();
    assert_eq!(refusal.code, RefusalCode::PhotosDisagree, "{}", refusal.text);
}

/// A third photo, from above, with its saddle changed.
fn from_above(change: impl Fn(&mut SaddleSet)) -> Scenario {
    let mut third = seen_from(-40.0, 6.0, 13);
    if let Subject::Saddle(form) = &mut third.subject {
        change(form);
    }
    third
}

#[test]
fn of_three_photos_one_that_contradicts_the_others_is_left_out() {
    let [first, second] = two_sides();
    let moved = from_above(|form| {
        form.heading_deg += 8.0;
        form.front_mm[0] += 30.0;
    });
    let other = from_above(|form| form.length_mm *= 1.1);
    let without_card = Scenario { cards: Vec::new(), ..from_above(|_| ()) };
    let two = together(&[first.clone(), second.clone()]).0.unwrap();
    for (third, reason) in [(moved, "was moved"), (other, "another saddle"), (without_card, "card")] {
        let name = third.name.clone();
        let sheet = together(&[first.clone(), third, second.clone()]).0.unwrap();
        let warning = sheet.warnings.iter().find(|w| w.code == WarningCode::PhotoLeftOut).unwrap();
        println!("{}; {}", warning.text, warning.hint);
        assert!(warning.text.contains(&name) && warning.text.contains(reason), "{}", warning.text);
        assert_eq!((sheet.photos.len(), &sheet.widths), (2, &two.widths));
    }
    let all = together(&[first, second, from_above(|_| ())]).0.unwrap();
    assert!(all.photos.len() == 3 && all.warnings.iter().all(|w| w.code != WarningCode::PhotoLeftOut));
}

#[test]
fn a_saddle_is_traced_where_another_photo_shows_it() {
    let [first, second] = two_sides().map(|scenario| photo(&scenario));
    let request = Request::default();
    let places = |truth: &Truth, mm: f64| {
        let midline = truth.midline.unwrap();
        let ends = [midline.front_mm, midline.rear_mm].map(|end| Vector3::from(end).xy());
        (ends, LiftProfile::unknown().raised_all(mm))
    };
    let shown =
        ShownElsewhere { view: View::Top, places: vec![places(&first.1, 0.0), places(&first.1, 40.0)] };
    let edges = [request.clone(), Request { shown: Some(shown), ..request }].map(|request| {
        let located = Located::find(second.0.clone(), &request, Explanation::OFF).unwrap();
        located.trace(&request, Explanation::OFF).unwrap().midline
    });
    // Both bisect the same edges: what the starts differ in is gone.
    let apart = edges[0].ends_of(&edges[1]);
    assert!(apart.iter().all(|mm| mm.abs() < 1.0), "{apart:?} mm");
}

#[test]
fn photos_without_a_common_card_are_refused() {
    let [first, mut second] = two_sides();
    second.cards[0].copy = 3;
    let refusal = together(&[first, second]).0.unwrap_err();
    assert_eq!(refusal.code, RefusalCode::CardsDiffer, "{}", refusal.text);
}

#[test]
fn a_refusal_of_photos_together_names_them_all() {
    let folder = tempfile::tempdir().unwrap();
    let files = ["a.jpg", "b.jpg"].map(|name| folder.path().join(name));
    for file in &files {
        std::fs::write(file, "oats").unwrap();
    }
    let mut command = Command::new(env!("CARGO_BIN_EXE_seatspan"));
    let done = command.arg("measure").args(&files).arg("--together").output().unwrap();
    assert_eq!(done.status.code(), Some(1), "{done:?}");
    assert_eq!(String::from_utf8_lossy(&done.stderr).lines().count(), 1, "{done:?}");
    let sheet = seatspan::sheet::read(&folder.path().join("a.sheet.json")).unwrap();
    let named: Vec<&str> = sheet.photos.iter().map(|photo| photo.file.as_str()).collect();
    assert_eq!(named, ["a.jpg", "b.jpg"]);
}

#[test]
fn the_command_writes_one_sheet_and_an_overlay_for_each_photo() {
    let folder = tempfile::tempdir().unwrap();
    let files: Vec<_> = two_sides()
        .iter()
        .map(|scenario| {
            let file = folder.path().join(format!("{}.jpg", scenario.name));
            std::fs::write(&file, synth::draw(scenario).unwrap().bytes).unwrap();
            file
        })
        .collect();
    let run = |photos: &[&Path]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_seatspan"));
        command.arg("measure").args(photos).args(["--together", "--name", "acorn"]).output().unwrap()
    };
    let done = run(&[&files[0], &files[1]]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let said = String::from_utf8_lossy(&done.stdout);
    assert!(said.contains("of the seat over the card, from the photos"), "{said}");
    let beside = |file: &Path, ending: &str| file.with_extension(ending).exists();
    assert!(beside(&files[0], "sheet.json") && !beside(&files[1], "sheet.json"));
    // All results lie beside the first photo's and under its name: the second photo may have results of its own.
    assert!(beside(&files[0], "overlay.png") && beside(&files[0], "photo-2.overlay.png"));
    assert!(!beside(&files[1], "overlay.png"));
    // Nothing is overwritten unasked, one photo is not several, and the same photo twice tells nothing.
    for photos in [vec![&*files[0], &files[1]], vec![&*files[0]], vec![&*files[0], &files[0]]] {
        let refused = run(&photos);
        assert_eq!(refused.status.code(), Some(2), "{}", String::from_utf8_lossy(&refused.stderr));
        assert_eq!(String::from_utf8_lossy(&refused.stderr).trim().lines().count(), 1);
    }
}
