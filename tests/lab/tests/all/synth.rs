//! The renderer against its own ground truth.

use lab::synth::{self, Subject, WeltSet, presets};
use nalgebra::{Vector2, Vector3};
use seatspan::card::find_cards;
use seatspan::numeric::frame::{CardPoint, PhotoPoint};
use seatspan::photo::Photo;

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

/// Where a round cord of radius r ends in the picture: its tangent along the view, which crosses the height of its
/// centre line r (1 / cos a - 1) beyond the edge, a being the view's angle from the vertical across the edge.
#[test]
fn a_round_cord_ends_in_the_picture_where_its_tangent_does() {
    let mut scenario = presets::plain();
    scenario.camera.tilt_deg = 30.0;
    scenario.floor.colour = [235, 235, 235];
    let Subject::Saddle(saddle) = &mut scenario.subject else { panic!("plain has a saddle") };
    // Black throughout, so that the picture has one step, at the silhouette.
    saddle.colour = [4, 4, 4];
    saddle.welt = WeltSet { radius_mm: 4.0, colour: Some([4, 4, 4]) };
    saddle.padding = 0.7;
    let (picture, camera) = synth::draw_linear(&scenario).unwrap();
    let edges = synth::Truth::of(&scenario, &camera).edges.unwrap().seat;
    let centre = camera.pose.centre_in_card().vector();
    let px = |p: Vector3<f64>| camera.photo_from_card(CardPoint::from(p)).unwrap().vector();
    let (mut offsets, mut shifts) = (Vec::new(), Vec::new());
    for (side, sign) in [(&edges.left, 1.0), (&edges.right, -1.0)] {
        let points: Vec<Vector3<f64>> = side.iter().map(|p| Vector3::from(*p)).collect();
        let each: Vec<f64> = points
            .windows(3)
            .map(|w| {
                let along = (w[2] - w[0]).normalize();
                let outward = Vector3::new(along.y, -along.x, 0.0) * sign;
                let ray = w[1] - centre;
                let slant = ray.dot(&outward) / ray.z;
                let beyond = 4.0 * ((1.0 + slant * slant).sqrt() - 1.0);
                let seen = px(w[1] + outward * beyond);
                shifts.push((seen - px(w[1])).norm());
                let across = px(w[1] + outward) - px(w[1] - outward);
                step_offset(&picture, seen, across.normalize())
            })
            .collect();
        offsets.extend(each.chunks_exact(9).map(|c| c.iter().sum::<f64>() / 9.0));
    }
    let mean = offsets.iter().sum::<f64>() / offsets.len() as f64;
    let worst = offsets.iter().fold(0f64, |a, o| a.max(o.abs()));
    let most = shifts.iter().fold(0f64, |a, s| a.max(*s));
    println!(
        "{} places: mean {mean:.4}, worst {worst:.4} px; roundness moves up to {most:.2} px",
        offsets.len()
    );
    // Without its roundness the cord would be off by up to `most`.
    assert!(most > 0.5, "roundness moves the silhouette by {most} px only");
    assert!(mean.abs() < 0.03 && worst < 0.15, "mean {mean}, worst {worst} px");
}

#[test]
fn a_cant_raises_one_edge_and_keeps_the_widths() {
    let mut scenario = presets::acorn();
    let camera = scenario.camera.camera().unwrap();
    let level = synth::Truth::of(&scenario, &camera);
    let Subject::Saddle(saddle) = &mut scenario.subject else { panic!("acorn has a saddle") };
    saddle.roll_deg = 4.0;
    let canted = synth::Truth::of(&scenario, &camera);
    assert_eq!(level.named, canted.named);
    let edges = canted.edges.unwrap().seat;
    let (left, right) = (edges.left[240], edges.right[240]);
    let wide = (left[0] - right[0]).hypot(left[1] - right[1]);
    // Points are spaced along the curve in space, so left and right lie a millimetre apart along the midline, where the
    // lift rises by some 0.15 mm per mm.
    assert!((left[2] - right[2] - wide * 4f64.to_radians().tan()).abs() < 0.3, "{left:?} {right:?}");
    assert_eq!(level.lifts, canted.lifts, "a straight-edge across both sides lies as before");
}

#[test]
fn a_strap_hides_the_edges_that_it_crosses() {
    let scenario = presets::marten();
    let truth = synth::Truth::of(&scenario, &scenario.camera.camera().unwrap());
    let seat: Vec<_> = truth.hidden.iter().filter(|h| h.part == "seat").collect();
    assert_eq!(seat.len(), 1, "{seat:?}");
    // The strap reaches over the left edge only; it is 24 mm wide and turned by 12 degrees.
    assert_eq!(seat[0].side, "left");
    let wide_mm = (seat[0].to - seat[0].from) * 430.0;
    assert!((28.0..38.0).contains(&wide_mm), "{wide_mm} mm hidden");
    assert_eq!(truth.hidden.iter().filter(|h| h.part == "channel").count(), 2);
}

#[test]
fn random_scenarios_hold_every_kind_and_say_what_to_refuse() {
    let mut seen = std::collections::BTreeMap::new();
    for seed in 0..400 {
        let scenario = synth::random(seed);
        let truth = synth::Truth::of(&scenario, &scenario.camera.camera().unwrap());
        *seen.entry((scenario.subject.kind(), truth.saddle)).or_insert(0) += 1;
        assert_eq!(truth.expect == "measure", truth.saddle == "whole", "{}", scenario.name);
        assert!(truth.pointed_px.iter().flatten().all(|v| v.is_finite()), "{}", scenario.name);
        let meant = match scenario.name.split('-').next().unwrap() {
            "saddle" => Some("whole"),
            "cut" => Some("cut-off"),
            "far" => Some("too-small"),
            _ => None,
        };
        assert_eq!(truth.saddle, meant.unwrap_or("none"), "{}", scenario.name);
    }
    println!("{seen:?}");
    assert_eq!(seen.len(), 7, "{seen:?}");
}

#[test]
fn widths_are_twice_the_half_width() {
    let mut scenario = presets::plain();
    let Subject::Saddle(saddle) = &mut scenario.subject else { panic!("plain has a saddle") };
    saddle.asymmetry = 0.1;
    let half = saddle.half_width.clone();
    let truth = synth::draw(&scenario).unwrap().truth;
    // Between the rounded ends the width is the half-width function's; 0.15 to 0.7 is between them.
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
