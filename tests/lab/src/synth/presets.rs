//! Named scenarios. Names, shapes and colours are invented and follow no real product.

use super::Curve;
use super::saddle::*;
use super::scenario::*;
use seatspan::numeric::words::View;

/// Every preset.
pub fn all() -> Vec<Scenario> {
    vec![plain(), acorn(), larkspur(), thistle(), fennel(), marten(), sedge()]
}

fn about(what: &str) -> String {
    format!("{what}; the scenario is invented")
}

/// Flat colours, uniform light, almost no noise, no piping: the edge is one clean step.
pub fn plain() -> Scenario {
    let camera = CameraSet { tilt_deg: 12.0, azimuth_deg: -70.0, roll_deg: 7.0, ..CameraSet::default() };
    let sensor = SensorSet { shot: 0.0001, read: 0.001, ..SensorSet::default() };
    Scenario { about: about("a flat brown form on a pale floor"), camera, sensor, ..Scenario::default() }
}

/// Brown leather on boards, seen from above, with flaps in the same leather.
pub fn acorn() -> Scenario {
    Scenario {
        name: "acorn".into(),
        about: about("brown leather on boards, flaps in the same leather"),
        seed: 11,
        camera: CameraSet {
            focal_px: 1180.0,
            distortion: [-0.05, 0.012, 0.0, 0.0, 0.0],
            distance_mm: 1020.0,
            tilt_deg: 10.0,
            azimuth_deg: -40.0,
            roll_deg: 24.0,
            aim_mm: [0.0, 215.0, 0.0],
            ..CameraSet::default()
        },
        subject: Subject::Saddle(Box::new(saddle([98, 58, 38]))),
        floor: FloorSet {
            kind: FloorKind::Planks,
            colour: [150, 112, 82],
            height_mm: -120.0,
            turn_deg: 57.0,
        },
        light: daylight(),
        sensor: phone(),
        ..Scenario::default()
    }
}

/// Tan with dark piping on tiles, in the sun, under a hard shadow.
pub fn larkspur() -> Scenario {
    let mut form = saddle([172, 116, 70]);
    form.welt.colour = Some([42, 30, 24]);
    form.heading_deg = 170.0;
    form.front_mm = [210.0, 410.0];
    form.gloss = 0.5;
    let mut scenario = acorn();
    scenario.name = "larkspur".into();
    scenario.about = about("tan leather, dark piping, on tiles in the sun, a hard shadow across the seat");
    scenario.seed = 12;
    scenario.camera.tilt_deg = 22.0;
    scenario.camera.azimuth_deg = -120.0;
    scenario.camera.roll_deg = -15.0;
    scenario.subject = Subject::Saddle(Box::new(form));
    scenario.floor =
        FloorSet { kind: FloorKind::Tiles, colour: [186, 178, 166], height_mm: -110.0, turn_deg: 12.0 };
    scenario.light = LightSet {
        sky: 0.3,
        sun: 0.55,
        sun_azimuth_deg: 60.0,
        sun_elevation_deg: 48.0,
        contact: 0.6,
        shadow: Some(ShadowSet { at_mm: [70.0, 350.0], toward_deg: 20.0, soft_mm: 5.0, depth: 0.6 }),
        ..LightSet::default()
    };
    scenario
}

/// Black on a dark floor, seen obliquely.
pub fn thistle() -> Scenario {
    let mut form = saddle([34, 32, 33]);
    form.seam.colour = [70, 68, 66];
    form.asymmetry = 0.05;
    let mut scenario = acorn();
    scenario.name = "thistle".into();
    scenario.about = about("black leather on dark concrete, the left half 5 % wider than the right");
    scenario.seed = 13;
    scenario.camera.tilt_deg = 27.0;
    scenario.camera.distance_mm = 1080.0;
    scenario.subject = Subject::Saddle(Box::new(form));
    scenario.floor =
        FloorSet { kind: FloorKind::Concrete, colour: [84, 84, 86], height_mm: -130.0, turn_deg: 0.0 };
    scenario.light.sky = 1.0;
    scenario.boxes = vec![BoxSet {
        at_mm: [-420.0, 20.0],
        size_mm: [210.0, 120.0, 70.0],
        yaw_deg: 32.0,
        colour: [70, 92, 70],
    }];
    scenario
}

/// The underside with pale woolly panels and webbing in the channel.
pub fn fennel() -> Scenario {
    let mut scenario = acorn();
    scenario.name = "fennel".into();
    scenario.about = about("the underside with pale woolly panels, webbing in the channel");
    scenario.seed = 14;
    scenario.subject = Subject::Saddle(Box::new(underside([196, 186, 166], 0.7)));
    scenario.floor =
        FloorSet { kind: FloorKind::Planks, colour: [110, 84, 66], height_mm: -110.0, turn_deg: -20.0 };
    scenario
}

/// The underside in brown leather on straw, a strap across, a second card at another height.
pub fn marten() -> Scenario {
    let mut form = underside([92, 60, 44], 0.25);
    form.straps = vec![StrapSet {
        station: 0.42,
        turn_deg: 12.0,
        width_mm: 24.0,
        reach_mm: [190.0, 60.0],
        colour: [58, 40, 30],
    }];
    let mut scenario = acorn();
    scenario.name = "marten".into();
    scenario.about =
        about("the underside in brown leather on straw, a strap across its left edge, two cards");
    scenario.seed = 15;
    scenario.camera.tilt_deg = 16.0;
    scenario.subject = Subject::Saddle(Box::new(form));
    scenario.floor =
        FloorSet { kind: FloorKind::Straw, colour: [178, 150, 96], height_mm: -110.0, turn_deg: 0.0 };
    scenario.cards.push(CardSet {
        pattern: "strip".into(),
        at_mm: [250.0, 30.0, -30.0],
        yaw_deg: 75.0,
        ..CardSet::default()
    });
    scenario
}

/// No saddle at all.
pub fn sedge() -> Scenario {
    let mut scenario = thistle();
    scenario.name = "sedge".into();
    scenario.about = about("a card, a box and a cloth, and no saddle");
    scenario.seed = 16;
    scenario.subject = Subject::None;
    scenario.cloths =
        vec![ClothSet { at_mm: [60.0, 420.0], radius_mm: 170.0, yaw_deg: 20.0, colour: [150, 152, 160] }];
    scenario
}

/// A leather saddle seen from above, with flaps and skirts.
pub(super) fn saddle(colour: Rgb) -> SaddleSet {
    SaddleSet {
        front_mm: [-215.0, 405.0],
        lift: Curve::through(&[[0.0, 46.0], [0.22, 24.0], [0.45, 8.0], [0.72, 22.0], [1.0, 44.0]]),
        colour,
        texture: 0.22,
        padding: 0.7,
        welt: WeltSet { radius_mm: 2.6, colour: None },
        seam: SeamSet { inside_mm: 9.5, period_mm: 4.0, colour: [150, 112, 84], ..SeamSet::default() },
        side_mm: 45.0,
        cross_seams: vec![0.4],
        flaps: vec![
            FlapSet { colour: Some(colour.map(|v| (f64::from(v) * 0.92) as u8)), ..FlapSet::default() },
            FlapSet {
                station: 0.22,
                out_mm: 66.0,
                half_length_mm: 62.0,
                half_width_mm: 74.0,
                turn_deg: 4.0,
                lift_mm: -16.0,
                fall: 0.1,
                colour: None,
            },
        ],
        ..SaddleSet::default()
    }
}

/// A saddle upside down, with panels of the given colour and texture.
pub(super) fn underside(panel: Rgb, texture: f64) -> SaddleSet {
    SaddleSet {
        view: View::Underside,
        half_width: Curve::through(&[[0.0, 84.0], [0.12, 88.0], [0.32, 76.0], [0.7, 104.0], [1.0, 100.0]]),
        front_round: 0.13,
        rear_round: 0.2,
        lift: Curve::through(&[[0.0, -3.0], [0.25, 14.0], [0.5, 22.0], [0.75, 14.0], [1.0, -6.0]]),
        colour: panel,
        texture,
        welt: WeltSet { radius_mm: 2.8, colour: Some([104, 64, 42]) },
        seam: SeamSet { inside_mm: 9.0, period_mm: 4.0, colour: [112, 92, 74], ..SeamSet::default() },
        side_mm: 0.0,
        cross_seams: Vec::new(),
        flaps: vec![FlapSet {
            colour: Some([122, 76, 52]),
            lift_mm: -60.0,
            turn_deg: -14.0,
            ..FlapSet::default()
        }],
        channel: Some(ChannelSet {
            lift: Curve::through(&[[0.0, 2.0], [0.35, 23.0], [0.6, 25.0], [1.0, 2.0]]),
            welt: WeltSet { radius_mm: 2.2, colour: Some([104, 64, 42]) },
            ..ChannelSet::default()
        }),
        ..saddle(panel)
    }
}

fn daylight() -> LightSet {
    LightSet { sky: 0.6, sun: 0.2, gradient: 0.1, contact: 0.65, ..LightSet::default() }
}

fn phone() -> SensorSet {
    SensorSet {
        blur_px: 0.7,
        shot: 0.0004,
        read: 0.002,
        vignette: 0.15,
        jpeg_quality: Some(90),
        exif_focal_35mm: Some(26),
        ..SensorSet::default()
    }
}
