//! `check` on drawn photos, each with one fault in rising steps: the predicted uncertainty rises with the fault, the
//! fault is named, and what is then measured is as far off as was said.

use rayon::prelude::*;
use seatspan::check::{Judgement, Verdict, judge};
use seatspan::ground::frame::PhotoPoint;
use seatspan::ground::words::View;
use seatspan::measure::{Request, measure};
use seatspan::photo::Photo;
use seatspan::synth::{self, Scenario, presets};

/// A photo as the guide asks for it, seen from 1.5 m: 0.5 mm to a pixel.
fn good() -> Scenario {
    let mut scenario = presets::plain();
    let camera = &mut scenario.camera;
    (camera.width, camera.height, camera.focal_px) = (2400, 1800, 3000.0);
    (camera.distance_mm, camera.tilt_deg) = (1500.0, 2.0);
    scenario.supersample = 2;
    scenario.sensor.blur_px = 0.7;
    scenario.sensor.jpeg_quality = Some(95);
    scenario.sensor.exif_focal_35mm = Some(43);
    scenario.sensor.shot = 0.0003;
    scenario
}

/// One step of a ladder: what was judged, and what measuring then gave (error and its own u95 of the widest, mm).
struct Step {
    fault: f64,
    judged: Judgement,
    measured: Option<(f64, f64)>,
}

fn step(fault: f64, scenario: &Scenario, spoil: &(dyn Fn(f64, Vec<u8>) -> Vec<u8> + Sync)) -> Step {
    let drawn = synth::draw(scenario).unwrap();
    let photo = Photo::from_bytes("step.jpg", spoil(fault, drawn.bytes)).unwrap();
    let judged = judge(&photo, None);
    let midline = drawn.truth.midline.as_ref().unwrap();
    let end = |p: [f64; 2]| PhotoPoint::new(p[0], p[1]);
    let request = Request {
        name: "step".into(),
        view: View::Top,
        ends: [end(midline.front_px), end(midline.rear_px)],
        seat_lift: drawn.truth.lifts.iter().find(|l| l.0 == "seat").map(|l| l.1.parse().unwrap()),
        channel_lift: None,
        lens: None,
        explain: None,
    };
    let truth = drawn.truth.named_mm("seat.widest").unwrap();
    let measured = measure(&photo, &request).ok().and_then(|(sheet, _)| {
        let w = sheet.widths.iter().find(|w| w.name == "seat.widest")?;
        Some((w.mm - truth, w.u95))
    });
    Step { fault, judged, measured }
}

type Set = fn(&mut Scenario, f64);

fn ladder(
    name: &str,
    faults: &[f64],
    set: Set,
    spoil: &(dyn Fn(f64, Vec<u8>) -> Vec<u8> + Sync),
) -> Vec<Step> {
    let steps: Vec<Step> = faults
        .par_iter()
        .map(|&fault| {
            let mut scenario = good();
            set(&mut scenario, fault);
            step(fault, &scenario, spoil)
        })
        .collect();
    for s in &steps {
        let codes: Vec<String> = s
            .judged
            .reasons
            .iter()
            .map(|r| format!("{} {:.2}", r.code, r.costs_mm.unwrap_or(f64::NAN)))
            .collect();
        println!(
            "{name:10} {:6.2}  {:?} predicted {:?}  measured (error, u95) {:?}  {codes:?}",
            s.fault, s.judged.verdict, s.judged.u95_mm, s.measured
        );
    }
    steps
}

fn as_drawn(_: f64, bytes: Vec<u8>) -> Vec<u8> {
    bytes
}

/// Predictions of neighbouring steps may differ by noise, mm: the drawn noise changes with the picture.
const NOISE_MM: f64 = 0.05;
/// The prediction against what measuring states and what it gets wrong.
const FACTOR: f64 = 1.5;

/// A photo that is to be taken again has the largest uncertainty there is.
fn predicted(step: &Step) -> f64 {
    step.judged.u95_mm.unwrap_or(f64::INFINITY)
}

fn assert_rises(steps: &[Step], code: &str) {
    for pair in steps.windows(2) {
        assert!(
            predicted(&pair[1]) >= predicted(&pair[0]) - NOISE_MM,
            "{code}: {} at {}, {} at {}",
            predicted(&pair[0]),
            pair[0].fault,
            predicted(&pair[1]),
            pair[1].fault
        );
    }
    let (first, last) = (&steps[0], &steps[steps.len() - 1]);
    assert!(predicted(last) > predicted(first) + NOISE_MM, "{code} has no price");
    assert_eq!(first.judged.verdict, Verdict::Usable, "{code}: the good photo is good");
    assert!(last.judged.reasons.iter().any(|r| r.code == code), "{code}: {:?}", last.judged.reasons);
    assert!(first.judged.reasons.iter().all(|r| r.code != code), "{code}: {:?}", first.judged.reasons);
}

fn assert_foretells(steps: &[Step]) {
    for s in steps {
        let (Some(predicted), Some((error, u95))) = (s.judged.u95_mm, s.measured) else { continue };
        let ratio = u95 / predicted;
        assert!((1.0 / FACTOR..=FACTOR).contains(&ratio), "at {}: {u95} mm, predicted {predicted}", s.fault);
        assert!(error.abs() <= FACTOR * predicted, "at {}: off by {error} mm, predicted {predicted}", s.fault);
    }
}

#[test]
fn blur() {
    let set: Set = |s, blur| s.sensor.blur_px = blur;
    let steps = ladder("blur", &[0.7, 1.5, 2.5, 4.0, 7.0], set, &as_drawn);
    assert_rises(&steps, "out-of-focus");
    assert_foretells(&steps);
}

#[test]
fn movement() {
    let set: Set = |s, length| (s.sensor.motion_px, s.sensor.motion_deg) = (length, 20.0);
    let steps = ladder("movement", &[0.0, 4.0, 8.0, 14.0], set, &as_drawn);
    assert_rises(&steps, "moved");
    assert_foretells(&steps);
}

#[test]
fn obliquity() {
    let set: Set = |s, tilt| s.camera.tilt_deg = tilt;
    let steps = ladder("obliquity", &[2.0, 15.0, 30.0, 42.0, 54.0], set, &as_drawn);
    assert_rises(&steps, "too-oblique");
    assert_foretells(&steps);
}

#[test]
fn size() {
    let set: Set = |s, part| {
        let camera = &mut s.camera;
        camera.width = (camera.width as f64 / part) as usize;
        camera.height = (camera.height as f64 / part) as usize;
        camera.focal_px /= part;
    };
    let steps = ladder("size", &[1.0, 1.5, 2.2, 3.2], set, &as_drawn);
    assert_rises(&steps, "photo-small");
    assert_foretells(&steps);
}

#[test]
fn nearness() {
    // Nearer with a wider lens, so that everything keeps its size.
    let set: Set = |s, distance| {
        s.camera.focal_px = 3000.0 * distance / 1500.0;
        s.camera.distance_mm = distance;
        s.sensor.exif_focal_35mm = Some((43.0 * distance / 1500.0).round() as u16);
    };
    let steps = ladder("nearness", &[1500.0, 1000.0, 750.0, 600.0], set, &as_drawn);
    assert_rises(&steps, "wide-angle");
    assert_foretells(&steps);
}

/// A burnt-out spot of the given radius (px) over the card.
fn with_glare(radius: f64, bytes: Vec<u8>) -> Vec<u8> {
    if radius == 0.0 {
        return bytes;
    }
    let photo = Photo::from_bytes("plain.jpg", bytes).unwrap();
    let found = seatspan::card::find_cards(&photo).unwrap();
    let corner = found.cards[0].tags[0].corners()[0].unwrap();
    let (w, h) = (photo.width_px() as u32, photo.height_px() as u32);
    let picture = image::RgbImage::from_fn(w, h, |x, y| {
        let far = (f64::from(x) - corner.x_px).hypot(f64::from(y) - corner.y_px);
        // Light that falls off over a fifth of the spot.
        let glare = (255.0 * ((radius - far) / (0.2 * radius) + 1.0)).clamp(0.0, 255.0) as u8;
        image::Rgb(photo.pixel(x as usize, y as usize).map(|v| v.saturating_add(glare)))
    });
    let mut out = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 95).encode_image(&picture).unwrap();
    out
}

#[test]
fn glare() {
    let steps = ladder("glare", &[0.0, 120.0, 260.0, 400.0], |_, _| {}, &with_glare);
    assert_rises(&steps, "glare");
    assert_foretells(&steps);
}

#[test]
fn compression() {
    let set: Set = |s, coarse| s.sensor.jpeg_quality = Some((100.0 - coarse) as u8);
    let steps = ladder("compression", &[5.0, 30.0, 60.0, 80.0, 92.0], set, &as_drawn);
    assert_rises(&steps, "compressed");
    assert_foretells(&steps);
}

#[test]
fn darkness() {
    let set: Set = |s, stops| s.sensor.exposure = 0.5f64.powf(stops);
    let steps = ladder("darkness", &[0.0, 2.0, 4.0, 5.5], set, &as_drawn);
    assert_rises(&steps, "too-dark");
    assert_foretells(&steps);
}
