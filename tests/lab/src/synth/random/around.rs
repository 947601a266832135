//! Random surroundings: position, floor, light, clutter and card.

use std::ops::Range;

use fastrand::Rng;
use nalgebra::{Vector2, Vector3};

use super::{between, chance, one, varied};
use crate::synth::form::Form;
use crate::synth::light::{Light, heading};
use crate::synth::outline::Outline;
use crate::synth::paper::Paper;
use crate::synth::saddle::SaddleSet;
use crate::synth::scenario::*;
use seatspan::numeric::words::SIDES;

/// Least gap between the form and the card's sheet, mm.
const CARD_GAP_MM: f64 = 30.0;
/// Share of forms on a cloth.
const CLOTH_UNDER: f64 = 0.25;

/// Places the form near the card, without overlap.
pub(super) fn place(r: &mut Rng, form: &mut SaddleSet) {
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
            return;
        }
        away += 5.0;
    }
}

/// Points around the form and its flaps.
pub(super) fn extent(form: &SaddleSet) -> Vec<Vector3<f64>> {
    let light = Light::new(&LightSet::default());
    let outline = Outline::new(form);
    let edges = SIDES.map(|side| {
        (0..=40).map(|i| f64::from(i) / 40.0).map(|s| outline.edge(side, s).vector()).collect::<Vec<_>>()
    });
    let drawn = Form::new(outline.clone(), &light, 1.0);
    let flaps = form.flaps.iter().flat_map(|f| {
        // The corners of the bounds are further out than the flaps.
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

pub(super) fn floor(r: &mut Rng, leather: Rgb) -> FloorSet {
    let kinds =
        [FloorKind::Plain, FloorKind::Planks, FloorKind::Tiles, FloorKind::Straw, FloorKind::Concrete];
    let kind = one(r, &kinds);
    let colour = match kind {
        FloorKind::Planks => one(r, &[[150, 112, 82], [110, 84, 66], [184, 150, 112]]),
        FloorKind::Straw => [178, 150, 96],
        // Sometimes the leather's own colour.
        FloorKind::Plain if chance(r, 0.25) => leather,
        _ => one(r, &[[176, 170, 160], [84, 84, 86], [120, 112, 104], [200, 196, 188]]),
    };
    let colour = varied(r, colour, 0.2);
    FloorSet { kind, colour, height_mm: between(r, -150.0, -85.0), turn_deg: between(r, 0.0, 180.0) }
}

pub(super) fn light(r: &mut Rng, form: &SaddleSet) -> LightSet {
    let sunny = chance(r, 0.35);
    let total = between(r, 0.65, 1.05);
    let sun = if sunny { between(r, 0.4, 0.65) } else { between(r, 0.0, 0.25) };
    let at = Outline::new(form).plan(between(r, 0.2, 0.9), between(r, -60.0, 60.0));
    let shadow = (sunny && chance(r, 0.55)).then(|| ShadowSet {
        at_mm: at.into(),
        toward_deg: between(r, 0.0, 360.0),
        soft_mm: between(r, 2.0, 15.0),
        depth: between(r, 0.3, 0.7),
    });
    LightSet {
        overhead: between(r, 0.0, 0.7),
        sky: total * (1.0 - sun),
        sun: total * sun,
        sun_azimuth_deg: between(r, 0.0, 360.0),
        sun_elevation_deg: between(r, 35.0, 75.0),
        gradient: between(r, -0.35, 0.35),
        contact: between(r, 0.3, 0.95),
        contact_reach: if chance(r, 0.5) { 1.0 } else { between(r, 0.1, 1.0) },
        shadow,
    }
}

/// Boxes and tools that hide neither card nor saddle.
pub(super) fn boxes(r: &mut Rng, form: &SaddleSet) -> Vec<BoxSet> {
    let clear = extent(form);
    let mut out = Vec::new();
    for _ in 0..r.usize(..5) {
        let is_tool = chance(r, 0.35);
        let size = if is_tool {
            [between(r, 200.0, 320.0), between(r, 16.0, 28.0), between(r, 12.0, 25.0)]
        } else {
            [between(r, 60.0, 260.0), between(r, 60.0, 200.0), between(r, 20.0, 110.0)]
        };
        let reach = size[0].hypot(size[1]) / 2.0 + 0.8 * size[2] + 20.0;
        for _ in 0..20 {
            let at = heading(between(r, 0.0, 360.0)) * between(r, 250.0, 800.0);
            let free = clear.iter().all(|p| (p.xy() - at).norm() > reach) && at.norm() > 185.0 + reach;
            if free {
                let colour = thing_colour(r);
                let set = BoxSet { at_mm: at.into(), size_mm: size, yaw_deg: between(r, 0.0, 180.0), colour };
                if is_tool {
                    out.push(tool_head(&set));
                }
                out.push(set);
                break;
            }
        }
    }
    out
}

/// The steel head of a hammer with the given handle.
fn tool_head(handle: &BoxSet) -> BoxSet {
    let end = Vector2::from(handle.at_mm) + heading(handle.yaw_deg) * (handle.size_mm[0] / 2.0);
    BoxSet {
        at_mm: end.into(),
        size_mm: [32.0, 110.0, handle.size_mm[2] + 12.0],
        yaw_deg: handle.yaw_deg,
        colour: [120, 122, 126],
    }
}

/// An object on the card that hides a tag or two.
pub(super) fn on_card(r: &mut Rng) -> BoxSet {
    let corner =
        [one(r, &[-1.0, 1.0]) * between(r, 80.0, 125.0), one(r, &[-1.0, 1.0]) * between(r, 55.0, 90.0)];
    BoxSet {
        at_mm: corner,
        size_mm: [between(r, 50.0, 110.0), between(r, 35.0, 70.0), between(r, 3.0, 25.0)],
        yaw_deg: between(r, 0.0, 180.0),
        colour: thing_colour(r),
    }
}

/// Cloths on the floor, sometimes one under the form.
pub(super) fn cloths(r: &mut Rng, form: &SaddleSet) -> Vec<ClothSet> {
    let mut cloths: Vec<_> = (0..r.usize(..3))
        .map(|_| {
            let at = heading(between(r, 0.0, 360.0)) * between(r, 200.0, 700.0);
            cloth(r, at, 90.0..240.0)
        })
        .collect();
    if chance(r, CLOTH_UNDER) {
        cloths.push(cloth(r, Outline::new(form).plan(0.5, 0.0), 180.0..360.0));
    }
    cloths
}

fn cloth(r: &mut Rng, at: Vector2<f64>, radius_mm: Range<f64>) -> ClothSet {
    ClothSet {
        at_mm: at.into(),
        radius_mm: between(r, radius_mm.start, radius_mm.end),
        yaw_deg: between(r, 0.0, 180.0),
        colour: thing_colour(r),
    }
}

pub(super) fn box_instead(r: &mut Rng, form: &SaddleSet, floor_mm: f64) -> BoxSet {
    let middle = Outline::new(form).plan(0.5, 0.0);
    BoxSet {
        at_mm: middle.into(),
        size_mm: [between(r, 300.0, 440.0), between(r, 140.0, 230.0), between(r, 60.0, 110.0).min(-floor_mm)],
        yaw_deg: form.heading_deg,
        colour: form.colour,
    }
}

pub(super) fn card(r: &mut Rng) -> CardSet {
    let bow_mm = if chance(r, 0.2) { between(r, -1.2, 1.2) } else { 0.0 };
    CardSet { bow_mm, copy: r.u32(..10), ..CardSet::default() }
}

/// Colours of boxes, cloths and handles.
const THINGS: [Rgb; 9] = [
    [150, 116, 82],
    [196, 190, 178],
    [120, 44, 40],
    [52, 66, 92],
    [66, 84, 60],
    [40, 40, 42],
    [214, 208, 192],
    [146, 140, 130],
    [164, 128, 70],
];

fn thing_colour(r: &mut Rng) -> Rgb {
    let colour = one(r, &THINGS);
    varied(r, colour, 0.25)
}
