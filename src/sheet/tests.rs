use super::*;
use crate::numeric::words::{NamedWidth, Pair};
use crate::refusal::{Refusal, RefusalCode};
use crate::warning::{Warning, WarningCode};
use crate::width::influence::Influence;
use crate::width::influences::{Influences, MeasuredPlace, SharedError};
use proptest::prelude::*;
use std::path::{Path, PathBuf};

fn in_repository(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn asked() -> Asked {
    Asked {
        view: Some(View::Underside),
        heights: AskedHeights { seat: Some(vec![[0.0, 60.0], [0.35, 20.0]]), channel: None },
        scale: AskedScale::Bar { mm: 149.6 },
        photos: vec![AskedOfPhoto {
            ends_px: Some([[2011.04, 640.0], [2020.0, 2410.123]]),
            hints: vec![AskedHint { part: Part::Seat, px: [1801.25, 900.0], zoom: Some(3.5) }],
            hidden: vec![HiddenRecord { part: Part::Channel, side: Side::Left, from_at: 0.3, to_at: 0.42 }],
            lens_sha256: None,
        }],
    }
}

fn influences() -> Influences {
    let place = |part, at, name| MeasuredPlace { part, at, name };
    let places = vec![
        place(Part::Seat, 0.05, None),
        place(Part::Channel, 0.05, None),
        place(Part::Seat, 0.72, Some(NamedWidth::SeatWidest)),
        place(Part::Channel, 0.1, Some(NamedWidth::ChannelNarrowest)),
    ];
    let mut all = Influences::at(places, 431.0);
    let effects = [0.5, 0.25, 0.125, -0.5].map(|left| Pair { left, right: 0.375 });
    all.shared.push(SharedError::new(Influence::FocalLength, 0, &effects).with_length(0.5));
    all.shared.push(SharedError::new(Influence::StationPosition, 1, &effects).with_ends_along([0.0, 1.5]));
    all.add_own(Influence::EdgeLocalisation, &effects.map(|half| half.times(half.left.signum())));
    all
}

/// Every key filled, with invented figures.
pub(crate) fn sample() -> Sheet {
    let pair = |half: f64| EdgePair {
        left: vec![
            [0.05, half, 0.3],
            [0.06, half + 0.4, 0.3],
            [0.2, half + 2.0, 0.4],
            [0.21, half + 2.1, 0.4],
        ],
        right: vec![[0.05, half - 0.2, 0.3], [0.06, half, 0.3], [0.07, half, 0.3], [0.08, half, 0.3]],
    };
    let px = |x: f64| EdgePairPx {
        left: vec![[x, 700.0], [x - 2.0, 716.0], [x - 9.0, 940.0], [x - 9.5, 956.0]],
        right: vec![[4020.0 - x, 700.0], [4021.0 - x, 716.0], [4022.0 - x, 732.0], [4022.5 - x, 748.0]],
    };
    let width = |name, at, mm: f64| Width {
        name,
        at,
        mm,
        u95: 1.8,
        left_half: Some(mm / 2.0 + 0.25),
        right_half: Some(mm / 2.0 - 0.25),
        u: Some(0.9),
        at_u: Some(0.004),
        one_card_u95: None,
        one_photo_u95: None,
    };
    let station = StationWidth { mm: 102.0, u95: 1.1, left_half: 51.2, right_half: 50.8 };
    Sheet {
        schema: SCHEMA.into(),
        software: Some(Software { name: "seatspan".into(), version: "0.1.0".into() }),
        saddle: Saddle { name: "bracken".into(), note: Some("Invented data: no such saddle exists.".into()) },
        asked: Some(asked()),
        view: Some(View::Underside),
        photos: vec![PhotoRecord {
            file: "bracken.jpg".into(),
            sha256: "0".repeat(64),
            width_px: 4032,
            height_px: 3024,
            taken: Some("2026-05-02T10:11:12".into()),
            camera: None,
        }],
        cards: vec![Card {
            pattern: "strip".into(),
            copy: 1,
            tags: 5,
            rms_px: 0.113,
            print_scale: 0.9975,
            print_scale_u: Some(0.0017),
            print_scale_by: Some(ScaleSource::Bar),
        }],
        camera: Some(CameraRecord {
            focal_px: 2913.2,
            focal_u_px: 12.0,
            focal_source: FocalSource::LensFile,
            principal_px: Some([2015.5, 1511.5]),
            principal_u_px: Some([9.0, 8.0]),
            distortion: [-0.061, 0.014, 0.0, 0.0, 0.0],
            height_mm: 1310.0,
            tilt_deg: 7.2,
            rotation: Some([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]]),
            translation_mm: Some([-12.5, 8.25, 1310.0]),
            reprojection_rms_px: Some(0.12),
            card_bend_mm: Some(0.4),
            card_bend_u_mm: Some(0.3),
        }),
        midline: Some(MidlineRecord {
            front_px: [2011.0, 640.0],
            rear_px: [2020.0, 2410.0],
            length_mm: 431.0,
            source: MidlineSource::Found,
        }),
        lift: Some(Lift {
            seat: Some(vec![[0.0, 60.0], [0.35, 20.0]]),
            channel: Some(vec![[0.0, 10.0]]),
            source: LiftSource::Photos,
            seat_u: None,
            channel_u: None,
        }),
        level: Some(Level {
            source: LevelSource::Photos,
            card_u_deg: 0.5787,
            saddle_u_deg: 0.7506,
            lean_deg: Some(0.31),
            lean_u_deg: Some(0.12),
        }),
        edges: Some(Edges { seat: Some(pair(51.2)), channel: Some(pair(25.0)) }),
        edges_px: Some(EdgesPx { seat: Some(px(1800.0)), channel: Some(px(1900.0)) }),
        stations: vec![
            Station { at: 0.05, seat: Some(station.clone()), channel: Some(station) },
            Station { at: 0.1, seat: None, channel: None },
        ],
        widths: vec![
            width(NamedWidth::SeatWidest, 0.72, 231.4),
            width(NamedWidth::ChannelNarrowest, 0.1, 49.3),
        ],
        front_taper: Some(Taper { deg: 14.1, u95: 0.9 }),
        budget: vec![BudgetLine { of: NamedWidth::SeatWidest, from: Influence::Height, u: 0.5 }],
        influences: Some(influences()),
        hints: Vec::new(),
        hidden: Vec::new(),
        doubts: vec![Doubt {
            part: Part::Channel,
            side: Side::Left,
            from_at: 0.3,
            to_at: 0.4,
            apart_mm: -9.0,
            probability: 0.2,
        }],
        rivals: vec![RivalRecord {
            part: Part::Seat,
            side: Some(Side::Right),
            from: 0.69,
            to: 0.94,
            offset_mm: 7.3,
            probability: 0.22,
            widths: vec![RivalWidth { name: NamedWidth::SeatWidest, mm: 248.9, u95: 3.4, at: 0.71 }],
        }],
        warnings: vec![Warning::new(
            WarningCode::LiftUnknown,
            "The lift is not known.",
            "Give it with --lift.",
        )],
        refused: None,
    }
}

/// The files stay as they are: a key added later is compared at what it is when a file does not have it.
#[test]
fn sheets_of_version_1_are_read_for_ever() {
    let plain = read(&in_repository("fixtures/sheets/v1-fixed-keys.json")).unwrap();
    assert_eq!(plain.width(NamedWidth::SeatWidest).map(|w| w.mm), Some(231.4));
    assert_eq!(plain.stations[1].seat, None);
    assert_eq!(plain.software, None);
    let mut all = sample().rounded();
    (all.asked, all.level, all.rivals, all.influences) = (None, None, Vec::new(), None);
    let camera = all.camera.as_mut().unwrap();
    (camera.rotation, camera.translation_mm) = (None, None);
    let card = &mut all.cards[0];
    (card.print_scale_u, card.print_scale_by) = (None, None);
    let all = version1::upgraded(all);
    assert!(all.influences.as_ref().unwrap().guessed);
    assert_eq!(read(&in_repository("fixtures/sheets/v1-all-keys.json")).unwrap(), all);
}

/// Compares a generated text with the file kept for it, or renews the file.
fn kept(path: &str, text: &str) {
    let file = in_repository(path);
    if std::env::var_os("SEATSPAN_RENEW").is_some() {
        safe_write(&file, text.as_bytes(), true).unwrap();
        panic!("{path} was renewed: look at the difference, then run the tests again without SEATSPAN_RENEW");
    }
    let found = std::fs::read_to_string(&file).unwrap_or_default();
    assert!(found == text, "{path} is stale; renew it with `SEATSPAN_RENEW=1 cargo test sheet_schema`");
}

/// Once version 3 is there the file stays as it is, and is read and compared like those of version 1.
#[test]
fn sheet_schema_has_a_file_with_every_key() {
    kept("fixtures/sheets/v2-all-keys.json", &to_json(&sample()).unwrap());
}

#[test]
fn sheet_schema_in_docs_is_current() {
    let text = serde_json::to_string_pretty(&json_schema()).unwrap() + "\n";
    kept("docs/sheet.schema.json", &text);
}

/// The reasons with what helps, from the documentation of [`crate::refusal::RefusalCode`].
#[test]
fn refusals_in_docs_are_current() {
    let schema = serde_json::to_value(schemars::schema_for!(crate::refusal::RefusalCode)).unwrap();
    let mut page = "# Refusals\n\nFor fitters. Every refusal names the photo, what is wrong and what to do next. Made from \
        `src/refusal.rs`.\n\n| code | reason | what helps |\n| --- | --- | --- |\n"
        .to_owned();
    for code in schema["oneOf"].as_array().unwrap() {
        let (reason, help) = code["description"].as_str().unwrap().split_once(". ").unwrap();
        page += &format!(
            "| `{}` | {reason} | {} |\n",
            code["const"].as_str().unwrap(),
            help.trim_end_matches('.')
        );
    }
    kept("docs/refusals.md", &page);
}

#[test]
fn the_json_keeps_the_order_of_the_keys_and_one_row_a_line() {
    let text = to_json(&sample()).unwrap();
    assert!(text.starts_with("{\n  \"schema\": \"seatspan-sheet/2\",\n"), "{text}");
    assert!(text.contains("\n        [0.05,51.2,0.3],\n"), "{text}");
}

fn rejected(change: impl Fn(&mut Sheet)) -> String {
    let mut sheet = sample();
    change(&mut sheet);
    to_json(&sheet).unwrap_err().to_string()
}

#[test]
fn a_number_that_is_not_finite_is_an_error_and_never_a_null() {
    assert!(rejected(|s| s.widths[1].mm = f64::NAN).contains("widths[1].mm"));
    assert!(
        rejected(|s| s.edges.as_mut().unwrap().seat.as_mut().unwrap().left[2][1] = f64::INFINITY)
            .contains("edges.seat.left[2][1]")
    );
    assert!(rejected(|s| s.widths[0].u = Some(f64::NAN)).contains("widths"));
    assert!(rejected(|s| s.camera.as_mut().unwrap().card_bend_mm = Some(f64::INFINITY)).contains("camera"));
}

#[test]
fn a_refused_photo_has_no_width() {
    let refusal =
        Refusal::new(RefusalCode::NoCard, "No reference card was found.", "Lay the card in the picture.");
    let sheet = Sheet::refused(sample().saddle, None, sample().photos, refusal);
    assert_eq!(from_json(to_json(&sheet).unwrap().as_bytes()).unwrap(), sheet);
    assert!(rejected(|s| s.refused = sheet.refused.clone()).contains("refused"));
}

fn problem(change: impl Fn(&mut serde_json::Value)) -> String {
    let mut value = serde_json::to_value(sample()).unwrap();
    change(&mut value);
    from_json(value.to_string().as_bytes()).unwrap_err()
}

#[test]
fn a_foreign_file_gets_one_line_that_says_what_to_do() {
    assert!(problem(|v| v["schema"] = "seatspan-sheet/3".into()).contains("update the program"));
    assert!(problem(|v| v["schema"] = "other/1".into()).contains("\"other/1\""));
    assert!(problem(|v| *v = serde_json::json!([1])).contains("no key `schema`"));
    let missing = problem(|v| drop(v["widths"][1].as_object_mut().unwrap().remove("mm")));
    assert!(missing.contains("widths[1]") && missing.contains("`mm`"), "{missing}");
    let nullable = problem(|v| drop(v.as_object_mut().unwrap().remove("refused")));
    assert!(nullable.contains("`refused`"), "{nullable}");
    let wrong = problem(|v| v["camera"]["focal_px"] = serde_json::Value::Null);
    assert!(wrong.contains("camera.focal_px") && !wrong.contains('\n'), "{wrong}");
}

#[test]
fn a_length_that_no_saddle_has_is_refused() {
    let said = problem(|sheet| sheet["midline"]["length_mm"] = 1e10.into());
    assert!(said.contains("no saddle's"), "{said}");
}

#[test]
fn a_broken_file_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("half.sheet.json");
    std::fs::write(&path, "{\"schema\": \"seatspan-sheet/1\", ").unwrap();
    let message = read(&path).unwrap_err().to_string();
    assert!(message.contains("half.sheet.json") && message.contains("not complete"), "{message}");
    assert!(read(&folder.path().join("none.json")).unwrap_err().to_string().contains("none.json"));
}

#[test]
fn an_existing_result_is_replaced_only_when_asked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.sheet.json");
    write(&path, &sample(), false).unwrap();
    assert!(matches!(safe_write(folder.path(), b"x", true), Err(OutputError::NoFile(_))));
    assert!(matches!(safe_write(&path, b"x", false), Err(OutputError::Exists(_))));
    assert_eq!(read(&path).unwrap(), sample().rounded());
    safe_write(&path, b"x", true).unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), b"x");
    let names: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(names, ["a.sheet.json"], "no temporary file is left");
}

#[test]
fn outputs_are_named_after_the_photo() {
    let name = |output| output_path(Path::new("in/IMG 12.jpg"), Path::new("out"), output).unwrap();
    assert_eq!(name(Output::Sheet), Path::new("out/IMG 12.sheet.json"));
    assert_eq!(name(Output::OverlayPng), Path::new("out/IMG 12.overlay.png"));
    assert_eq!(name(Output::OverlaySvg), Path::new("out/IMG 12.overlay.svg"));
    assert!(output_path(Path::new(".."), Path::new("out"), Output::Sheet).is_err());
}

/// Sheets with any length and any uncertainty from a micrometre to a kilometre, any text, and gaps.
fn sheets() -> impl Strategy<Value = Sheet> {
    let row = (0.0..1.0, -500.0..500.0, 1e-3..1e3).prop_map(|(s, mm, u)| [s, mm, u]);
    let rows = proptest::collection::vec(row, 0..20);
    let name = proptest::sample::select(NamedWidth::ALL.to_vec());
    let width = (name, 0.0..1.0, -1e4..1e4, 1e-4..1e4, proptest::option::of(1e-4..1e4)).prop_map(
        |(name, at, mm, u95, u)| Width {
            name,
            at,
            mm,
            u95,
            left_half: Some(mm / 2.0),
            right_half: None,
            u,
            at_u: None,
            one_card_u95: None,
            one_photo_u95: None,
        },
    );
    let widths = proptest::collection::vec(width, 0..6);
    (rows.clone(), rows, widths, ".*", proptest::array::uniform5(-1.0..1.0), any::<bool>()).prop_map(
        |(left, right, widths, name, distortion, gaps)| {
            let mut sheet = sample();
            sheet.saddle.name = name;
            sheet.widths = widths;
            sheet.camera.as_mut().unwrap().distortion = distortion;
            sheet.edges.as_mut().unwrap().seat = Some(EdgePair { left, right });
            if gaps {
                (sheet.edges_px, sheet.camera, sheet.front_taper) = (None, None, None);
            }
            sheet
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_is_read_again(sheet in sheets()) {
        let back = from_json(to_json(&sheet).unwrap().as_bytes()).unwrap();
        prop_assert_eq!(&back, &sheet.clone().rounded());
        prop_assert_eq!(&back.clone().rounded(), &back);
    }

    #[test]
    fn rounding_costs_at_most_a_hundredth_of_the_uncertainty(sheet in sheets()) {
        let back = sheet.clone().rounded();
        for (w, r) in sheet.widths.iter().zip(&back.widths) {
            let u = w.u.unwrap_or(w.u95 / 2.0);
            prop_assert!((w.mm - r.mm).abs() <= 0.01 * u * (1.0 + 1e-9) + 1e-12, "{w:?} {r:?}");
            prop_assert!((w.u95 - r.u95).abs() <= 0.0005 * w.u95);
        }
        let rows = |s: &Sheet| s.edges.clone().unwrap().seat.unwrap().left;
        for (e, r) in rows(&sheet).iter().zip(rows(&back)) {
            prop_assert!((e[1] - r[1]).abs() <= 0.01 * e[2] * (1.0 + 1e-9) + 1e-12, "{e:?} {r:?}");
        }
    }
}
