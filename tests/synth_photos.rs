//! Drawn photos keep what their truth says.

use nalgebra::{Vector2, Vector3};
use seatspan::card::find_cards;
use seatspan::ground::frame::{CardPoint, PhotoPoint};
use seatspan::photo::Photo;
use seatspan::synth::{self, Scenario, Subject, presets};

fn luma(picture: &synth::LinearPicture, p: Vector2<f64>) -> f64 {
    let (x, y) = (p.x.floor() as usize, p.y.floor() as usize);
    let (u, v) = (p.x - p.x.floor(), p.y - p.y.floor());
    let at = |x: usize, y: usize| f64::from(picture.light[y * picture.width + x][1]);
    let top = at(x, y) * (1.0 - u) + at(x + 1, y) * u;
    let bottom = at(x, y + 1) * (1.0 - u) + at(x + 1, y + 1) * u;
    top * (1.0 - v) + bottom * v
}

/// Where the light steps across an edge, pixels from the true edge along the normal: the step's place by the area
/// under its profile.
fn step_offset(picture: &synth::LinearPicture, at: Vector2<f64>, normal: Vector2<f64>) -> f64 {
    const REACH: f64 = 6.0;
    const STEPS: i32 = 240;
    let profile: Vec<f64> = (0..=STEPS)
        .map(|i| luma(picture, at + normal * (REACH * (2.0 * f64::from(i) / f64::from(STEPS) - 1.0))))
        .collect();
    let (first, last) = (profile[0], profile[profile.len() - 1]);
    let mean = (profile.iter().sum::<f64>() - (first + last) / 2.0) / f64::from(STEPS);
    REACH * (2.0 * (mean - last) / (first - last) - 1.0)
}

#[test]
fn the_true_edge_lies_on_the_picture_s_step() {
    let scenario = presets::plain();
    let (picture, camera) = synth::draw_linear(&scenario).unwrap();
    let truth = synth::Truth::of(&scenario, &camera);
    let edges = truth.edges.unwrap().seat;
    // A single profile crosses a few pixels of nine samples each; nine neighbours together average that out.
    let mut offsets = Vec::new();
    for side in [&edges.left, &edges.right] {
        let px = |p: [f64; 3]| camera.photo_from_card(CardPoint::from(Vector3::from(p))).unwrap().vector();
        let each: Vec<f64> = side
            .windows(3)
            .map(|w| {
                let along = (px(w[2]) - px(w[0])).normalize();
                step_offset(&picture, px(w[1]), Vector2::new(along.y, -along.x))
            })
            .collect();
        offsets.extend(each.chunks_exact(9).map(|c| c.iter().sum::<f64>() / 9.0));
    }
    let mean = offsets.iter().sum::<f64>() / offsets.len() as f64;
    let worst = offsets.iter().fold(0f64, |a, o| a.max(o.abs()));
    println!("{} places: mean {mean:.4}, worst {worst:.4} px", offsets.len());
    assert!(mean.abs() < 0.01 && worst < 0.1, "mean {mean}, worst {worst} px");
}

#[test]
fn widths_are_twice_the_half_width() {
    let mut scenario = presets::plain();
    let Subject::Saddle(saddle) = &mut scenario.subject else { panic!("plain has a saddle") };
    saddle.asymmetry = 0.1;
    let half = saddle.half_width.clone();
    let truth = synth::draw(&scenario).unwrap().truth;
    // Between the rounded ends the width is the half-width function's; 0.15 to 0.7 lies between them.
    for s in truth.stations.iter().filter(|s| (0.15..0.7).contains(&s.at)) {
        assert!((s.seat_mm - 2.0 * half.at(s.at)).abs() < 1e-9);
        assert!((s.seat_left_half_mm - 1.05 * half.at(s.at)).abs() < 1e-9);
    }
    assert!((truth.named_mm("seat.waist").unwrap() - 92.0).abs() < 1e-6);
    let edges = truth.edges.unwrap().seat;
    assert_eq!((edges.left.len(), edges.right.len()), (361, 361));
    assert_eq!((edges.left[0], edges.left[360]), (edges.right[0], edges.right[360]));
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let mut small = presets::larkspur();
    (small.camera.width, small.camera.height, small.camera.focal_px) = (400, 300, 295.0);
    let first = synth::draw(&small).unwrap();
    assert_eq!(first.bytes, synth::draw(&small).unwrap().bytes);
    small.seed += 1;
    assert_ne!(first.bytes, synth::draw(&small).unwrap().bytes);
    assert_eq!(synth::random(5), synth::random(5));
    assert_ne!(synth::random(5), synth::random(6));
}

#[test]
fn scenarios_survive_a_text_file() {
    for scenario in presets::all().into_iter().chain((0..20).map(synth::random)) {
        let text = toml::to_string(&scenario).unwrap();
        let back: Scenario = toml::from_str(&text).unwrap();
        assert_eq!(back.name, scenario.name);
        assert_eq!(toml::to_string(&back).unwrap(), text);
    }
}

#[test]
fn the_card_is_found_in_every_preset_where_the_truth_has_it() {
    for scenario in presets::all() {
        let drawn = synth::draw(&scenario).unwrap();
        let name = format!("{}.{}", scenario.name, drawn.extension());
        let photo = Photo::from_bytes(name, drawn.bytes).unwrap();
        let found = find_cards(&photo).unwrap_or_else(|e| panic!("{}: {e}", scenario.name));
        assert_eq!(found.cards.len(), scenario.cards.len(), "{}", scenario.name);
        let mut errors: Vec<Vector2<f64>> = Vec::new();
        for card in &found.cards {
            for tag in &card.tags {
                let id = card.pattern.tag_id(card.copy, tag.index);
                let (.., truth) = drawn.truth.tag_corners_px.iter().find(|t| t.1 == id).unwrap();
                for (seen, [x, y]) in tag.corners().iter().zip(truth) {
                    errors.extend(seen.map(|s| s.vector() - PhotoPoint::new(*x, *y).vector()));
                }
            }
        }
        let rms = (errors.iter().map(Vector2::norm_squared).sum::<f64>() / errors.len() as f64).sqrt();
        println!("{}: {} corners, rms {rms:.3} px", scenario.name, errors.len());
        assert!(errors.len() >= 32 && rms < 0.1, "{}: {} corners, rms {rms} px", scenario.name, errors.len());
    }
}
