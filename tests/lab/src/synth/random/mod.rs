//! Random scenarios from broad ranges, for stress sets and training.

mod around;
mod shape;

use fastrand::Rng;
use nalgebra::Vector3;

use super::outline::Outline;
use super::paper::Paper;
use super::saddle::SaddleSet;
use super::scenario::*;
use super::truth::LEAST_LENGTH_PX;
use seatspan::numeric::frame::CardPoint;
use seatspan::numeric::words::SIDES;

/// Diagonal of a 35 mm frame, mm.
const FRAME_DIAGONAL_MM: f64 = 43.267;
/// Picture sizes: copies as messengers send them, reduced photos and full photos, in both orientations.
const SIZES: [(usize, usize); 10] = [
    (1600, 1200),
    (1200, 1600),
    (1280, 960),
    (960, 1280),
    (2016, 1512),
    (1512, 2016),
    (2400, 1800),
    (1800, 2400),
    (4032, 3024),
    (3024, 4032),
];
/// Indices into the sizes with their shares of 20: a full photo renders ten times as long as a copy.
const SIZE_SHARES: [usize; 20] = [0, 0, 0, 0, 1, 1, 1, 2, 2, 3, 3, 4, 4, 4, 5, 5, 6, 7, 8, 9];
/// Pictures with more pixels than this need less supersampling.
const FINE_PIXELS: usize = 5_000_000;
/// Percentages of scenarios with nothing, a box, a cushion or a chair in the saddle's place, with a saddle cut off by the
/// border, or too far away.
const NOTHING: usize = 4;
const BOX: usize = 4;
const CUSHION: usize = 4;
const CHAIR: usize = 3;
const CUT_OFF: usize = 3;
const FAR: usize = 2;
/// Distance of a saddle that is too far, relative to that at which it is just long enough in the picture.
const TOO_FAR: f64 = 1.3;
/// Share of scenarios with an object on the card.
const CARD_COVERED: f64 = 0.12;

/// Kind of scenario.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Nothing,
    Box,
    Cushion,
    Chair,
    CutOff,
    Far,
    Saddle,
}

fn kind(r: &mut Rng) -> Kind {
    use Kind::*;
    let shares =
        [(NOTHING, Nothing), (BOX, Box), (CUSHION, Cushion), (CHAIR, Chair), (CUT_OFF, CutOff), (FAR, Far)];
    let mut drawn = r.usize(..100);
    for (share, kind) in shares {
        if drawn < share {
            return kind;
        }
        drawn -= share;
    }
    Saddle
}

/// A random scenario: shape, pose, colours, light, clutter, occlusion, blur and picture size; a fifth without a whole saddle. The
/// same seed gives the same scenario. Card and subject are within the picture, except for a saddle that is cut off on purpose.
pub fn random(seed: u64) -> Scenario {
    let mut rng = Rng::with_seed(seed ^ 0x5EA7_59A4);
    let r = &mut rng;
    let kind = kind(r);
    let mut form = match kind {
        Kind::Cushion => shape::cushion(r),
        Kind::Chair => shape::chair_seat(r),
        _ => shape::saddle(r),
    };
    around::place(r, &mut form);
    let floor = around::floor(r, form.colour);
    let light = around::light(r, &form);
    let boxes = around::boxes(r, &form);
    let cloths = around::cloths(r, &form);
    let on_card = if chance(r, CARD_COVERED) { vec![around::on_card(r)] } else { Vec::new() };
    let mut camera = camera(r, &around::extent(&form));
    match kind {
        Kind::CutOff => cut_off(&mut camera, &form),
        Kind::Far => {
            camera.distance_mm = TOO_FAR * form.length_mm * camera.focal_px / LEAST_LENGTH_PX;
        }
        _ => {}
    }
    let (subject, name) = match kind {
        Kind::Nothing => (Subject::None, "none"),
        Kind::Box => (Subject::Box(around::box_instead(r, &form, floor.height_mm)), "box"),
        Kind::Cushion => (Subject::Cushion(Box::new(form)), "cushion"),
        Kind::Chair => (Subject::Chair(Box::new(form)), "chair"),
        Kind::CutOff => (Subject::Saddle(Box::new(form)), "cut"),
        Kind::Far => (Subject::Saddle(Box::new(form)), "far"),
        Kind::Saddle => (Subject::Saddle(Box::new(form)), "saddle"),
    };
    Scenario {
        name: format!("{name}-{seed}"),
        about: "random; the scenario is invented".into(),
        seed,
        supersample: if camera.width * camera.height > FINE_PIXELS { 2 } else { 3 },
        sensor: sensor(r, &camera),
        camera,
        cards: vec![around::card(r)],
        subject,
        floor,
        light,
        boxes,
        on_card,
        cloths,
    }
}

/// The scenario of [`random`] in two photos by one phone, the second from another side.
pub fn random_pair(seed: u64) -> [Scenario; 2] {
    let first = random(seed);
    let mut rng = Rng::with_seed(seed ^ 0x2BAC_57E9);
    let seen = match &first.subject {
        Subject::Saddle(form) | Subject::Cushion(form) | Subject::Chair(form) => around::extent(form),
        Subject::None | Subject::Box(_) => Vec::new(),
    };
    let second = Scenario {
        name: format!("{}-again", first.name),
        seed: seed ^ 0x9E37_79B9,
        camera: moved(&mut rng, &first.camera, &seen),
        ..first.clone()
    };
    [first, second]
}

fn between(r: &mut Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * r.f64()
}

fn chance(r: &mut Rng, share: f64) -> bool {
    r.f64() < share
}

fn one<T: Copy>(r: &mut Rng, of: &[T]) -> T {
    of[r.usize(..of.len())]
}

fn varied(r: &mut Rng, colour: Rgb, by: f64) -> Rgb {
    let all = between(r, 1.0 - by, 1.0 + by);
    colour.map(|v| (f64::from(v) * all * between(r, 0.96, 1.04)).clamp(4.0, 250.0) as u8)
}

/// Turns the camera until the border cuts off part of the seat.
fn cut_off(camera: &mut CameraSet, form: &SaddleSet) {
    let outline = Outline::new(form);
    let away = -outline.plan(0.5, 0.0).normalize();
    let depth = 0.04 * camera.width.min(camera.height) as f64;
    let (w, h) = (camera.width as f64, camera.height as f64);
    let lost = |set: &CameraSet| {
        let Ok(camera) = set.camera() else { return true };
        let seen = |s: f64, side| camera.photo_from_card(outline.edge(side, s));
        (0..=40).flat_map(|i| SIDES.map(|side| seen(f64::from(i) / 40.0, side))).any(|p| {
            p.is_none_or(|p| p.x_px < -depth || p.y_px < -depth || p.x_px > w + depth || p.y_px > h + depth)
        })
    };
    for _ in 0..200 {
        if lost(camera) {
            return;
        }
        camera.aim_mm[0] += 10.0 * away.x;
        camera.aim_mm[1] += 10.0 * away.y;
    }
}

/// Points and the corners of the card's sheet.
fn with_card(points: &[Vector3<f64>]) -> Vec<Vector3<f64>> {
    let sheet = Paper::new(&CardSet::default()).map(|p| p.sheet_corners()).unwrap_or_default();
    points.iter().copied().chain(sheet).collect()
}

/// Centre of the points' bounding box.
fn middle(points: &[Vector3<f64>]) -> Vector3<f64> {
    let (low, high) = points.iter().fold((points[0], points[0]), |(l, h), p| (l.inf(p), h.sup(p)));
    (low + high) / 2.0
}

/// A camera that sees all points and the card, with a margin.
fn camera(r: &mut Rng, points: &[Vector3<f64>]) -> CameraSet {
    let (width, height) = SIZES[one(r, &SIZE_SHARES)];
    let diagonal = (width as f64).hypot(height as f64);
    let focal = between(r, 23.5, 28.5) / FRAME_DIAGONAL_MM * diagonal;
    let all = with_card(points);
    let middle = middle(&all);
    let set = CameraSet {
        width,
        height,
        focal_px: focal,
        principal_offset_px: [between(r, -0.004, 0.004) * diagonal, between(r, -0.004, 0.004) * diagonal],
        distortion: [between(r, -0.07, 0.06), between(r, -0.02, 0.02), 0.0003, -0.0002, 0.0],
        aim_mm: [middle.x + between(r, -30.0, 30.0), middle.y + between(r, -30.0, 30.0), 0.0],
        distance_mm: between(r, 700.0, 1200.0),
        tilt_deg: between(r, 1.0, 35.0),
        azimuth_deg: between(r, 0.0, 360.0),
        roll_deg: between(r, 0.0, 360.0),
    };
    far_enough(set, &all)
}

/// The same camera on about the other side of the saddle.
fn moved(r: &mut Rng, first: &CameraSet, points: &[Vector3<f64>]) -> CameraSet {
    let all = with_card(points);
    let middle = middle(&all);
    let set = CameraSet {
        aim_mm: [middle.x + between(r, -30.0, 30.0), middle.y + between(r, -30.0, 30.0), 0.0],
        distance_mm: between(r, 700.0, 1200.0),
        tilt_deg: between(r, 8.0, 30.0),
        azimuth_deg: first.azimuth_deg + between(r, 100.0, 260.0),
        roll_deg: between(r, 0.0, 360.0),
        ..first.clone()
    };
    far_enough(set, &all)
}

/// Moves the camera back until it sees all points, with a margin.
fn far_enough(mut set: CameraSet, points: &[Vector3<f64>]) -> CameraSet {
    let (w, h) = (set.width as f64, set.height as f64);
    let border = 0.02 * w.min(h);
    let within = |x: f64, length: f64| x > border && x < length - border;
    let seen = |set: &CameraSet| {
        let Ok(camera) = set.camera() else { return false };
        points.iter().all(|p| {
            camera
                .photo_from_card(CardPoint::from(*p))
                .is_some_and(|q| within(q.x_px, w) && within(q.y_px, h))
        })
    };
    while !seen(&set) && set.distance_mm < 4000.0 {
        set.distance_mm *= 1.03;
    }
    set
}

fn sensor(r: &mut Rng, camera: &CameraSet) -> SensorSet {
    let diagonal = (camera.width as f64).hypot(camera.height as f64);
    let shaken = chance(r, 0.15);
    let known = camera.focal_px / diagonal * FRAME_DIAGONAL_MM;
    SensorSet {
        blur_px: between(r, 0.45, 1.4),
        motion_px: if shaken { between(r, 1.0, 4.0) } else { 0.0 },
        motion_deg: between(r, 0.0, 180.0),
        shot: between(r, 0.0001, 0.0015),
        read: between(r, 0.0005, 0.005),
        vignette: between(r, 0.0, 0.3),
        exposure: between(r, 0.75, 1.15),
        jpeg_quality: Some(r.u8(70..95)),
        exif_focal_35mm: chance(r, 0.7).then_some(known.round() as u16),
    }
}
