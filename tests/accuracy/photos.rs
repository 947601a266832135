//! Accuracy on rendered photos with known widths (`photos/*.truth.json` of the shared data): midline ends and lifts
//! given as a fitter would give them, every named width compared with its truth.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use seatspan::numeric::frame::PhotoPoint;
use seatspan::numeric::words::View;
use seatspan::outline::lift::LiftProfile;
use seatspan::photo::Photo;
use seatspan::pipeline::Request;
use seatspan::record::{measure, record_together};
use seatspan::refusal::RefusalCode;
use seatspan::sheet::Sheet;
use seatspan::together::measure_together;
use serde_json::Value;

/// What a fitter may rely on where the ends are given. The networks have not learnt from these photos.
const MOST_RMS_MM: f64 = 0.8;
const WORST_MM: f64 = 2.5;
const LEAST_COVERAGE: f64 = 0.9;

/// A named width against its truth, mm.
struct Compared {
    name: String,
    error_mm: f64,
    u95_mm: f64,
}

/// The rendered photos, where they are.
fn photos_folder() -> Option<PathBuf> {
    crate::shared::shared_folder().map(|f| f.join("photos")).filter(|f| f.is_dir())
}

fn truth_files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<PathBuf> =
        entries.filter(|path| path.to_string_lossy().ends_with(".truth.json")).collect();
    files.sort();
    files
}

/// An end of the midline, given to a tenth of a pixel.
fn end(truth: &Value, key: &str) -> PhotoPoint {
    let coordinate = |i: usize| (truth["midline"][key][i].as_f64().unwrap() * 10.0).round() / 10.0;
    PhotoPoint::new(coordinate(0), coordinate(1))
}

fn lift(truth: &Value, part: &str) -> Option<LiftProfile> {
    truth["lift_given"][part].as_str().map(|text| text.parse().unwrap())
}

fn request(truth: &Value) -> Request {
    Request {
        name: truth["name"].as_str().unwrap().to_owned(),
        view: Some(if truth["view"] == "top" { View::Top } else { View::Underside }),
        ends: Some([end(truth, "front_px"), end(truth, "rear_px")]),
        seat_lift: lift(truth, "seat"),
        channel_lift: lift(truth, "channel"),
        ..Request::default()
    }
}

/// The named widths of a sheet against the truth, and the names of those that are missing.
fn compare(truth: &Value, sheet: &Sheet) -> (Vec<Compared>, Vec<String>) {
    let (mut compared, mut missing) = (Vec::new(), Vec::new());
    for (name, width) in truth["named"].as_object().unwrap() {
        match sheet.widths.iter().find(|w| w.name.as_str() == name) {
            Some(w) => compared.push(Compared {
                name: name.clone(),
                error_mm: w.mm - width["mm"].as_f64().unwrap(),
                u95_mm: w.u95,
            }),
            None => missing.push(name.clone()),
        }
    }
    (compared, missing)
}

/// Every photo of the folder measured as asked: what could be compared, what is missing, and the photos refused.
#[derive(Default)]
struct Measured {
    all: Vec<Compared>,
    missing: Vec<String>,
    refused: Vec<String>,
}

impl Measured {
    fn of(folder: &Path, request: impl Fn(&Value) -> Request) -> Self {
        let mut measured = Self::default();
        for file in truth_files(folder) {
            let truth: Value = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
            let name = truth["name"].as_str().unwrap();
            let photo = Photo::open(&folder.join(format!("{name}.jpg"))).unwrap();
            match measure(photo, &request(&truth)) {
                Ok((sheet, _)) => measured.add(name, &truth, &sheet),
                Err(refusal) => measured.refused.push(format!("{name}: {}", refusal.text)),
            }
        }
        measured
    }

    fn add(&mut self, name: &str, truth: &Value, sheet: &Sheet) {
        let (compared, without) = compare(truth, sheet);
        for c in &compared {
            println!("{name:10} {:18} {:+6.2} mm, u95 {:.2}", c.name, c.error_mm, c.u95_mm);
        }
        self.missing.extend(without.into_iter().map(|width| format!("{name} {width}")));
        self.all.extend(compared);
    }

    fn assert_within(&self, most_rms_mm: f64, most_mm: f64) {
        let count = self.all.len() as f64;
        let rms_mm = (self.all.iter().map(|c| c.error_mm.powi(2)).sum::<f64>() / count).sqrt();
        let worst_mm = self.all.iter().map(|c| c.error_mm.abs()).fold(0.0, f64::max);
        let coverage = self.all.iter().filter(|c| c.error_mm.abs() <= c.u95_mm).count() as f64 / count;
        println!("{count} widths: RMS {rms_mm:.2} mm, worst {worst_mm:.2} mm, u95 covers {coverage:.2}");
        assert!(self.missing.is_empty(), "not measured: {}", self.missing.join(", "));
        assert!(
            rms_mm <= most_rms_mm && worst_mm <= most_mm && coverage >= LEAST_COVERAGE,
            "RMS {rms_mm:.2} mm, worst {worst_mm:.2} mm, u95 covers {coverage:.2}"
        );
    }
}

#[test]
fn named_widths_of_rendered_photos_are_true_where_ends_are_given() {
    let Some(folder) = photos_folder() else { return };
    let measured = Measured::of(&folder, request);
    assert!(measured.refused.is_empty(), "refused: {}", measured.refused.join(", "));
    measured.assert_within(MOST_RMS_MM, WORST_MM);
}

/// The same with nothing given but the lifts.
const MOST_RMS_FOUND_MM: f64 = 1.0;
const WORST_FOUND_MM: f64 = 3.0;

#[test]
fn saddles_are_found_and_measured_with_neither_view_nor_ends_given() {
    let Some(folder) = photos_folder() else { return };
    let measured = Measured::of(&folder, |truth| Request { view: None, ends: None, ..request(truth) });
    assert!(measured.refused.is_empty(), "refused: {}", measured.refused.join(", "));
    measured.assert_within(MOST_RMS_FOUND_MM, WORST_FOUND_MM);
}

/// The same for pairs of photos of one saddle, with neither view, ends nor lifts given: the lifts come from the photos.
const MOST_RMS_TOGETHER_MM: f64 = 1.5;
const WORST_TOGETHER_MM: f64 = 3.0;
const MOST_LIFT_MM: f64 = 6.0;

#[test]
fn pairs_of_photos_tell_the_lift_and_the_widths() {
    let Some(folder) = photos_folder() else { return };
    let mut measured = Measured::default();
    for name in ["hazel", "bramble"] {
        let photos =
            ["a", "b"].map(|n| Arc::new(Photo::open(&folder.join(format!("{name}-{n}.jpg"))).unwrap()));
        let requests = vec![Request { name: name.into(), ..Request::default() }; photos.len()];
        let together = measure_together(&photos, &requests).map_err(|refused| refused.refusal).unwrap();
        let (sheet, _) = record_together(&requests, &together);
        let file = folder.join(format!("{name}-a.truth.json"));
        let truth: Value = serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap();
        measured.add(name, &truth, &sheet);
        for row in sheet.lift.unwrap().seat.unwrap() {
            let [at, mm] = row;
            let error_mm = mm - true_lift_mm(&truth, at);
            println!("{name:10} lift at {at:.1} {error_mm:+6.2} mm");
            // At the ends the edges run across the midline, and a lift does not show in a width.
            assert!(
                !(0.1..=0.9).contains(&at) || error_mm.abs() < MOST_LIFT_MM,
                "{name} {at}: {error_mm} mm"
            );
        }
    }
    measured.assert_within(MOST_RMS_TOGETHER_MM, WORST_TOGETHER_MM);
}

/// Mean lift of the seat's edges at a station, mm, between the truth's points.
fn true_lift_mm(truth: &Value, station: f64) -> f64 {
    let rows = truth["lift_dense"]["seat"].as_array().unwrap();
    let points: Vec<(f64, f64)> =
        rows.iter().map(|row| (row[0].as_f64().unwrap(), row[1].as_f64().unwrap())).collect();
    LiftProfile::measured(points).unwrap().at_mm(station)
}

#[test]
fn a_card_on_a_floor_of_boards_is_no_saddle() {
    let Some(folder) = crate::shared::shared_folder().map(|f| f.join("photos/lens")).filter(|f| f.is_dir())
    else {
        return;
    };
    for n in 1..=7 {
        let photo = Photo::open(&folder.join(format!("lens-{n}.jpg"))).unwrap();
        let nothing = Request { name: "none".into(), ..Request::default() };
        let refusal = measure(photo, &nothing).expect_err("there is no saddle in it");
        assert_eq!(refusal.code, RefusalCode::NoSaddle, "lens-{n}: {}", refusal.text);
    }
}
