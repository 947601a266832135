//! Scenarios drawn from broad ranges, for stress sets.

use fastrand::Rng;
use nalgebra::{Vector2, Vector3};

use super::Curve;
use super::form::Form;
use super::light::{Light, heading};
use super::outline::{Hand, Outline};
use super::paper::Paper;
use super::presets;
use super::saddle::*;
use super::scenario::*;
use crate::ground::frame::CardPoint;

/// Parts of the drawn scenarios without anything to measure, and with a box in its place.
const SHARE_NONE: f64 = 0.10;
const SHARE_BOX: f64 = 0.10;
/// Nearest that the form comes to the card's sheet, mm.
const CARD_GAP_MM: f64 = 30.0;
/// Diagonal of a 35 mm frame, mm.
const FRAME_DIAGONAL_MM: f64 = 43.267;

/// A scenario drawn from broad ranges: shape, pose, colours, light, clutter, occlusion, blur, size of the picture;
/// a tenth without a saddle, a tenth with a box in its place. The same seed draws the same scenario. Card and
/// subject always lie wholly within the picture.
pub fn random(seed: u64) -> Scenario {
    let mut rng = Rng::with_seed(seed ^ 0x5EA7_59A4);
    let r = &mut rng;
    let what = r.f64();
    let mut form = shape(r);
    let colour = place_saddle(r, &mut form);
    let floor = floor(r, colour);
    let light = light(r, &form);
    let boxes = boxes(r, &form);
    let cloths = cloths(r);
    let points = extent(&form);
    let (subject, name) = if what < SHARE_NONE {
        (Subject::None, "none")
    } else if what < SHARE_NONE + SHARE_BOX {
        (Subject::Box(box_instead(r, &form, floor.height_mm)), "box")
    } else {
        (Subject::Saddle(Box::new(form)), "saddle")
    };
    let camera = camera(r, &points);
    Scenario {
        name: format!("{name}-{seed}"),
        about: "drawn from broad ranges; the scenario is invented".into(),
        seed,
        supersample: 3,
        sensor: sensor(r, &camera),
        camera,
        cards: vec![card(r)],
        subject,
        floor,
        light,
        boxes,
        cloths,
    }
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

const LEATHERS: [Rgb; 6] =
    [[98, 58, 38], [60, 40, 30], [34, 32, 33], [172, 116, 70], [128, 78, 48], [88, 44, 34]];
const PANELS: [Rgb; 5] = [[196, 186, 166], [92, 60, 44], [36, 34, 34], [150, 104, 66], [120, 116, 112]];

fn shape(r: &mut Rng) -> SaddleSet {
    if chance(r, 0.45) { shape_below(r) } else { shape_above(r) }
}

fn shape_above(r: &mut Rng) -> SaddleSet {
    let leather = one(r, &LEATHERS);
    let mut form = presets::saddle(varied(r, leather, 0.2));
    let waist = between(r, 38.0, 60.0);
    let knob = waist + between(r, 4.0, 24.0);
    let widest = between(r, 88.0, 124.0);
    let (at, rear) = (between(r, 0.68, 0.78), between(r, 0.96, 1.0));
    form.half_width = Curve::through(&[
        [0.0, knob],
        [between(r, 0.07, 0.13), knob * 0.98],
        [between(r, 0.22, 0.36), waist],
        [at, widest],
        [1.0, widest * rear],
    ]);
    form.front_round = between(r, 0.08, 0.14);
    form.rear_round = between(r, 0.2, 1.0 - at);
    let low = between(r, -15.0, 30.0);
    form.lift = Curve::through(&[
        [0.0, low + between(r, 20.0, 50.0)],
        [0.22, low + between(r, 8.0, 20.0)],
        [0.45, low],
        [0.72, low + between(r, 5.0, 18.0)],
        [1.0, low + between(r, 20.0, 45.0)],
    ]);
    dress(r, &mut form);
    form
}

fn shape_below(r: &mut Rng) -> SaddleSet {
    let panel = one(r, &PANELS);
    let mut form = presets::underside(varied(r, panel, 0.15), between(r, 0.1, 0.8));
    let front = between(r, 78.0, 95.0);
    let waist = front - between(r, 6.0, 18.0);
    let widest = between(r, 94.0, 116.0);
    form.half_width = Curve::through(&[
        [0.0, front],
        [0.12, front],
        [between(r, 0.26, 0.4), waist],
        [0.7, widest],
        [1.0, widest],
    ]);
    let low = between(r, -15.0, 10.0);
    let rise = between(r, 14.0, 30.0);
    let arch = |edge: f64| {
        Curve::through(&[[0.0, low + edge], [0.35, low + rise], [0.6, low + rise], [1.0, low + edge]])
    };
    form.lift = arch(0.0);
    if let Some(channel) = &mut form.channel {
        let (a, b) = (between(r, 22.0, 36.0), between(r, 20.0, 36.0));
        channel.half_width =
            Curve::through(&[[0.0, a], [0.5, (a + b) / 2.0 + between(r, -3.0, 3.0)], [1.0, b]]);
        channel.lift = arch(between(r, 2.0, 6.0));
        channel.web_mm = if chance(r, 0.6) { between(r, 10.0, 17.0) } else { 0.0 };
        channel.web_colour = varied(r, [190, 180, 158], 0.25);
    }
    dress(r, &mut form);
    form
}

/// What both views share: asymmetry, piping, stitching, flaps, straps.
fn dress(r: &mut Rng, form: &mut SaddleSet) {
    form.length_mm = between(r, 390.0, 470.0);
    form.asymmetry = if chance(r, 0.4) { between(r, -0.06, 0.06) } else { 0.0 };
    form.welt.radius_mm = if chance(r, 0.1) { 0.0 } else { between(r, 1.8, 3.4) };
    form.welt.colour = match r.usize(..4) {
        0 => Some(varied(r, [36, 28, 24], 0.2)),
        1 => {
            let leather = one(r, &LEATHERS);
            Some(varied(r, leather, 0.1))
        }
        _ => None,
    };
    form.seam.inside_mm = if chance(r, 0.15) { 0.0 } else { between(r, 8.0, 12.0) };
    form.seam.period_mm = between(r, 3.5, 6.0);
    let thread = one(r, &[[196, 170, 136], [60, 50, 44], [220, 214, 200]]);
    form.seam.colour = varied(r, thread, 0.1);
    form.gloss = if chance(r, 0.25) { between(r, 0.2, 1.0) } else { 0.0 };
    let flap = match r.usize(..3) {
        0 => Some(one(r, &LEATHERS)),
        _ => None,
    };
    for f in &mut form.flaps {
        f.colour = flap.or(f.colour.filter(|_| form.view == SeenFrom::Underside));
        f.station += between(r, -0.04, 0.06);
        f.turn_deg += between(r, -12.0, 12.0);
    }
    if chance(r, 0.1) {
        form.flaps.clear();
    }
    if chance(r, 0.2) {
        let reach = between(r, 120.0, 180.0);
        let other = if chance(r, 0.5) { reach } else { 20.0 };
        form.straps.push(StrapSet {
            station: between(r, 0.2, 0.85),
            turn_deg: between(r, -25.0, 25.0),
            width_mm: between(r, 15.0, 32.0),
            reach_mm: if chance(r, 0.5) { [reach, other] } else { [other, reach] },
            colour: one(r, &LEATHERS),
        });
    }
}

/// Puts the saddle somewhere round the card, near but not on it, and gives its colour.
fn place_saddle(r: &mut Rng, form: &mut SaddleSet) -> Rgb {
    form.heading_deg = between(r, 0.0, 360.0);
    let toward = heading(between(r, 0.0, 360.0));
    let half = Paper::new(&CardSet::default()).map_or(Vector2::zeros(), |p| p.half_sheet());
    let mut away = 150.0;
    loop {
        let middle = toward * away - heading(form.heading_deg) * (form.length_mm / 2.0);
        form.front_mm = middle.into();
        let clear = extent(form).iter().all(|p| {
            let d = p.xy().abs() - half;
            d.x.max(d.y) > CARD_GAP_MM
        });
        if clear || away > 900.0 {
            return form.colour;
        }
        away += 5.0;
    }
}

/// Points round the form and its flaps.
fn extent(form: &SaddleSet) -> Vec<Vector3<f64>> {
    let light = Light::new(&LightSet::default());
    let outline = Outline::new(form);
    let edges = [Hand::Left, Hand::Right].map(|hand| {
        (0..=40).map(|i| f64::from(i) / 40.0).map(|s| outline.edge(hand, s).vector()).collect::<Vec<_>>()
    });
    let drawn = Form::new(outline.clone(), &light);
    let flaps = form.flaps.iter().flat_map(|f| {
        // The corners of the flaps' boxes lie further out than the flaps.
        drawn.flap_hull(f).into_iter().map(|p| {
            let (s, y) = outline.place(p.xy());
            let q = outline.plan(
                f.station + 0.75 * (s - f.station),
                y.signum() * (f.out_mm + 0.75 * (y.abs() - f.out_mm)),
            );
            Vector3::new(q.x, q.y, f.lift_mm)
        })
    });
    edges.concat().into_iter().chain(flaps).collect()
}

fn floor(r: &mut Rng, leather: Rgb) -> FloorSet {
    let kinds =
        [FloorKind::Plain, FloorKind::Planks, FloorKind::Tiles, FloorKind::Straw, FloorKind::Concrete];
    let kind = one(r, &kinds);
    let colour = match kind {
        FloorKind::Planks => one(r, &[[150, 112, 82], [110, 84, 66], [184, 150, 112]]),
        FloorKind::Straw => [178, 150, 96],
        // Sometimes the floor has the leather's own colour.
        FloorKind::Plain if chance(r, 0.25) => leather,
        _ => one(r, &[[176, 170, 160], [84, 84, 86], [120, 112, 104], [200, 196, 188]]),
    };
    let colour = varied(r, colour, 0.2);
    FloorSet { kind, colour, height_mm: between(r, -150.0, -85.0), turn_deg: between(r, 0.0, 180.0) }
}

fn light(r: &mut Rng, form: &SaddleSet) -> LightSet {
    let sunny = chance(r, 0.3);
    let total = between(r, 0.5, 1.0);
    let sun = if sunny { between(r, 0.4, 0.65) } else { between(r, 0.0, 0.25) };
    let at = Outline::new(form).plan(between(r, 0.2, 0.9), between(r, -60.0, 60.0));
    let shadow = (sunny && chance(r, 0.6)).then(|| ShadowSet {
        at_mm: at.into(),
        toward_deg: between(r, 0.0, 360.0),
        soft_mm: between(r, 2.0, 15.0),
        depth: between(r, 0.3, 0.7),
    });
    LightSet {
        sky: total * (1.0 - sun),
        sun: total * sun,
        sun_azimuth_deg: between(r, 0.0, 360.0),
        sun_elevation_deg: between(r, 35.0, 75.0),
        gradient: between(r, -0.35, 0.35),
        contact: between(r, 0.3, 0.8),
        shadow,
    }
}

/// Boxes far enough from card and saddle to hide neither.
fn boxes(r: &mut Rng, form: &SaddleSet) -> Vec<BoxSet> {
    let clear = extent(form);
    let mut out = Vec::new();
    for _ in 0..r.usize(..4) {
        let size = [between(r, 60.0, 260.0), between(r, 60.0, 200.0), between(r, 20.0, 110.0)];
        let reach = size[0].hypot(size[1]) / 2.0 + 0.8 * size[2] + 20.0;
        for _ in 0..20 {
            let at = heading(between(r, 0.0, 360.0)) * between(r, 250.0, 800.0);
            let free = clear.iter().all(|p| (p.xy() - at).norm() > reach) && at.norm() > 185.0 + reach;
            if free {
                let colour = [r.u8(40..220), r.u8(40..200), r.u8(40..200)];
                out.push(BoxSet { at_mm: at.into(), size_mm: size, yaw_deg: between(r, 0.0, 180.0), colour });
                break;
            }
        }
    }
    out
}

fn cloths(r: &mut Rng) -> Vec<ClothSet> {
    (0..r.usize(..3))
        .map(|_| ClothSet {
            at_mm: (heading(between(r, 0.0, 360.0)) * between(r, 200.0, 700.0)).into(),
            radius_mm: between(r, 90.0, 240.0),
            yaw_deg: between(r, 0.0, 180.0),
            colour: [r.u8(30..230), r.u8(30..230), r.u8(30..230)],
        })
        .collect()
}

fn box_instead(r: &mut Rng, form: &SaddleSet, floor_mm: f64) -> BoxSet {
    let middle = Outline::new(form).plan(0.5, 0.0);
    BoxSet {
        at_mm: middle.into(),
        size_mm: [between(r, 300.0, 440.0), between(r, 140.0, 230.0), between(r, 60.0, 110.0).min(-floor_mm)],
        yaw_deg: form.heading_deg,
        colour: form.colour,
    }
}

fn card(r: &mut Rng) -> CardSet {
    let bow_mm = if chance(r, 0.2) { between(r, -1.2, 1.2) } else { 0.0 };
    CardSet { bow_mm, copy: r.u32(..10), ..CardSet::default() }
}

/// A camera that sees all the given points and the card with a border to spare.
fn camera(r: &mut Rng, points: &[Vector3<f64>]) -> CameraSet {
    let (width, height) =
        one(r, &[(1200, 900), (1600, 1200), (1200, 1600), (2016, 1512), (1512, 2016), (2400, 1800)]);
    let diagonal = (width as f64).hypot(height as f64);
    let focal = between(r, 23.5, 28.5) / FRAME_DIAGONAL_MM * diagonal;
    let sheet = Paper::new(&CardSet::default()).map(|p| p.sheet_corners()).unwrap_or_default();
    let all: Vec<Vector3<f64>> = points.iter().copied().chain(sheet).collect();
    let (low, high) = all.iter().fold((all[0], all[0]), |(l, h), p| (l.inf(p), h.sup(p)));
    let middle = (low + high) / 2.0;
    let mut set = CameraSet {
        width,
        height,
        focal_px: focal,
        principal_offset_px: [between(r, -0.004, 0.004) * diagonal, between(r, -0.004, 0.004) * diagonal],
        distortion: [between(r, -0.07, 0.06), between(r, -0.02, 0.02), 0.0003, -0.0002, 0.0],
        aim_mm: [middle.x + between(r, -30.0, 30.0), middle.y + between(r, -30.0, 30.0), 0.0],
        distance_mm: between(r, 700.0, 1200.0),
        tilt_deg: between(r, 2.0, 32.0),
        azimuth_deg: between(r, 0.0, 360.0),
        roll_deg: between(r, 0.0, 360.0),
    };
    let border = 0.02 * width.min(height) as f64;
    let seen = |set: &CameraSet| {
        let Ok(camera) = set.camera() else { return false };
        all.iter().all(|p| {
            camera.photo_from_card(CardPoint::from(*p)).is_some_and(|q| {
                q.x_px > border
                    && q.y_px > border
                    && q.x_px < width as f64 - border
                    && q.y_px < height as f64 - border
            })
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
