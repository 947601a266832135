//! The scale of a print by a bank card in its frame, on drawn photos of known truth.

use lab::synth::{self, Scenario, presets};
use nalgebra::Vector2;
use seatspan::camera::placement::lens_prior;
use seatspan::camera::print_scale::{ScaleBy, print_scale};
use seatspan::card::bank_card::{ID1_MM, ID1_THICK_MM, frame_middle_mm};
use seatspan::card::pattern::patterns;
use seatspan::outline::lift::LiftProfile;
use seatspan::photo::Photo;
use seatspan::pipeline::Request;
use seatspan::record::measure;
use seatspan::refusal::RefusalCode;

const DARK_BLUE: [u8; 3] = [30, 50, 110];

/// A thing of this size in the frame of a print of this scale, so far from its middle, mm, and turned.
fn with_card(scale: f64, size_mm: [f64; 2], off_mm: [f64; 2], yaw_deg: f64, colour: [u8; 3]) -> Scenario {
    let mut scenario = presets::acorn();
    let sheet = patterns().iter().find(|p| p.name == "sheet").unwrap();
    let at = frame_middle_mm(sheet) * scale + Vector2::from(off_mm);
    scenario.cards[0].print_scale = scale;
    scenario.on_card = vec![synth::BoxSet {
        at_mm: at.into(),
        size_mm: [size_mm[0], size_mm[1], ID1_THICK_MM],
        yaw_deg,
        colour,
    }];
    scenario
}

fn photo(scenario: &Scenario) -> (Photo, synth::Truth) {
    let synth::Drawn { bytes, truth } = synth::draw(scenario).unwrap();
    (Photo::from_bytes("drawn.jpg", bytes).unwrap(), truth)
}

fn by_bank_card() -> Request {
    Request { scale_by: ScaleBy::BankCard, ..Request::default() }
}

fn scale_in(scenario: &Scenario) -> Result<(f64, f64), RefusalCode> {
    let (photo, _) = photo(scenario);
    let found = seatspan::card::find_cards(&photo).unwrap();
    let prior = lens_prior(&photo, None).0;
    print_scale(&photo, &found, ScaleBy::BankCard, &prior)
        .map(|s| (s.value, s.relative_u))
        .map_err(|r| r.code)
}

#[test]
fn a_bank_card_tells_the_scale_of_the_print() {
    let cases = [
        (1.0, [0.2, -0.2], 0.4, DARK_BLUE),
        (0.97, [0.0, 0.0], 0.0, [20, 20, 20]),
        (0.943, [0.5, 0.5], -1.2, [120, 30, 30]),
        (1.02, [-1.0, 0.6], 2.0, [70, 90, 80]),
    ];
    for (scale, off_mm, yaw_deg, colour) in cases {
        let (found, u) = scale_in(&with_card(scale, ID1_MM, off_mm, yaw_deg, colour)).unwrap();
        println!("printed at {scale}: found {found:.4} ± {:.4}", 2.0 * u);
        assert!((found - scale).abs() <= 2.0 * u, "{scale}: {found} ± {}", 2.0 * u);
        // As good as a ruler on the bar, 0.17 %, within a half.
        assert!(u < 0.0026, "{scale}: u {u}");
    }
}

#[test]
fn sunlight_with_its_narrow_shadow_is_within_the_uncertainty() {
    let sunny =
        Scenario { light: presets::larkspur().light, ..with_card(0.98, ID1_MM, [0.0; 2], 1.0, DARK_BLUE) };
    let (found, u) = scale_in(&sunny).unwrap();
    println!("in the sun, printed at 0.98: found {found:.4} ± {:.4}", 2.0 * u);
    assert!((found - 0.98).abs() <= 2.0 * u);
}

#[test]
fn widths_are_true_on_a_print_that_was_fitted_to_the_page() {
    let (photo, truth) = photo(&with_card(0.94, ID1_MM, [0.0, 0.0], 0.6, DARK_BLUE));
    let seat_lift: LiftProfile = truth.lifts.iter().find(|lift| lift.0 == "seat").unwrap().1.parse().unwrap();
    let request = Request { seat_lift: Some(seat_lift), ..by_bank_card() };
    let (sheet, _) = measure(photo.clone(), &request).unwrap();
    let (blind, _) = measure(photo, &Request { scale_by: ScaleBy::Printer, ..request }).unwrap();
    for named in &truth.named {
        let width = sheet.width(named.name.parse().unwrap()).unwrap();
        println!("{}: {:.1} ± {:.1} mm, truth {:.1}", named.name, width.mm, width.u95, named.mm);
        assert!((width.mm - named.mm).abs() <= width.u95);
        assert!(
            blind.width(named.name.parse().unwrap()).unwrap().mm > 1.04 * named.mm,
            "what the print would do unnoticed"
        );
    }
}

#[test]
fn what_is_no_bank_card_tells_nothing() {
    let cases = [
        ("nothing", presets::acorn()),
        ("a note, 76 mm square", with_card(1.0, [76.0, 76.0], [0.0; 2], 0.0, DARK_BLUE)),
        ("a card of 89 x 51 mm", with_card(1.0, [89.0, 51.0], [0.0; 2], 0.0, DARK_BLUE)),
        ("white on white", with_card(1.0, ID1_MM, [0.0; 2], 0.0, [240, 240, 238])),
    ];
    for (what, scenario) in cases {
        assert_eq!(scale_in(&scenario), Err(RefusalCode::BankCardNotSeen), "{what}");
    }
}
