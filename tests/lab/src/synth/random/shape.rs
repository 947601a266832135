//! Random shapes and looks of saddles, cushions and chairs.

use fastrand::Rng;

use super::{between, chance, one, varied};
use crate::synth::Curve;
use crate::synth::presets;
use crate::synth::saddle::*;
use crate::synth::scenario::Rgb;
use seatspan::numeric::words::View;

const LEATHERS: [Rgb; 9] = [
    [98, 58, 38],
    [60, 40, 30],
    [34, 32, 33],
    [172, 116, 70],
    [128, 78, 48],
    [88, 44, 34],
    [38, 44, 62],
    [112, 104, 96],
    [200, 172, 132],
];
const PANELS: [Rgb; 6] =
    [[196, 186, 166], [92, 60, 44], [36, 34, 34], [27, 26, 27], [150, 104, 66], [120, 116, 112]];

/// A saddle, slightly more often from above than from below.
pub(super) fn saddle(r: &mut Rng) -> SaddleSet {
    if chance(r, 0.45) { shape_below(r) } else { shape_above(r) }
}

fn shape_above(r: &mut Rng) -> SaddleSet {
    let leather = one(r, &LEATHERS);
    let mut form = presets::saddle(varied(r, leather, 0.2));
    form.side_mm = between(r, 20.0, 60.0);
    form.quilt_mm = if chance(r, 0.2) { between(r, 22.0, 36.0) } else { 0.0 };
    if chance(r, 0.4) {
        let at = between(r, 0.08, 0.2);
        form.studs = [-1.0, 1.0].map(|side| [at, side * between(r, 14.0, 22.0), 3.5]).to_vec();
    }
    if chance(r, 0.5) {
        form.cross_seams.clear();
    }
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
    if chance(r, 0.4) {
        form.panel = Some(panel(r));
    }
    form
}

/// A panel that extends beyond the seat in places, mostly dark.
fn panel(r: &mut Rng) -> PanelSet {
    let mut beyond = |at: f64| [at, between(r, -10.0, 9.0)];
    let beyond_mm = Curve::through(&[beyond(0.0), beyond(0.3), beyond(0.6), beyond(0.8), beyond(1.0)]);
    let colour = if chance(r, 0.5) { varied(r, [34, 32, 33], 0.3) } else { varied_one(r) };
    PanelSet { beyond_mm, below_mm: between(r, 8.0, 35.0), colour }
}

fn shape_below(r: &mut Rng) -> SaddleSet {
    let panel = one(r, &PANELS);
    let mut form = presets::underside(varied(r, panel, 0.15), between(r, 0.1, 0.8));
    // Deep panels show their side to a tilted camera, in the same leather or another.
    form.side_mm = match between(r, 0.0, 1.0) {
        t if t < 0.35 => 0.0,
        t if t < 0.65 => between(r, 8.0, 25.0),
        _ => between(r, 25.0, 65.0),
    };
    form.side_colour = if chance(r, 0.4) { Some(varied_one(r)) } else { None };
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
        webbing(r, channel, a.min(b));
        channel.depth_mm = between(r, 14.0, 35.0);
        channel.welt.radius_mm = between(r, 1.5, 2.8);
        channel.wall_colour = if chance(r, 0.6) { Some(varied_one(r)) } else { None };
    }
    dress(r, &mut form);
    form
}

/// The channel's ground and webbing. Webbing nearly as wide as the channel adds lines beside its edge.
fn webbing(r: &mut Rng, channel: &mut ChannelSet, half_mm: f64) {
    channel.web_mm = match between(r, 0.0, 1.0) {
        t if t < 0.35 => 0.0,
        t if t < 0.65 => between(r, 10.0, 17.0),
        _ => half_mm * between(r, 0.5, 0.92),
    };
    // Sometimes askew, and shorter than the channel.
    let mut askew = || if chance(r, 0.5) { between(r, -7.0, 7.0) } else { 0.0 };
    channel.web_off = Curve::through(&[[0.0, askew()], [0.5, askew()], [1.0, askew()]]);
    channel.web_reach = [between(r, -0.05, 0.12), between(r, 0.86, 1.05)];
    channel.web_colour = if chance(r, 0.8) { varied(r, [190, 180, 158], 0.25) } else { varied_one(r) };
    channel.colour = match between(r, 0.0, 1.0) {
        t if t < 0.4 => [38, 26, 20],
        t if t < 0.8 => varied(r, [26, 25, 25], 0.4),
        _ => varied_one(r),
    };
}

/// Parameters of both views: asymmetry, roll, piping, stitching, gloss and wear, flaps, straps.
fn dress(r: &mut Rng, form: &mut SaddleSet) {
    form.length_mm = between(r, 390.0, 470.0);
    form.asymmetry = if chance(r, 0.4) { between(r, -0.06, 0.06) } else { 0.0 };
    form.roll_deg = if chance(r, 0.35) { between(r, -2.5, 2.5) } else { 0.0 };
    form.padding = between(r, 0.3, 1.1);
    form.gloss = if chance(r, 0.3) { between(r, 0.3, 1.0) } else { between(r, 0.0, 0.15) };
    form.wear = if chance(r, 0.35) { between(r, 0.2, 0.9) } else { 0.0 };
    piping(r, form);
    stitching(r, form);
    flaps(r, form);
    if chance(r, 0.15) {
        form.straps.push(strap(r));
    }
}

/// A cord of the seat's own leather, darker, or of another leather.
fn piping(r: &mut Rng, form: &mut SaddleSet) {
    form.welt.radius_mm = between(r, 1.5, 3.0);
    form.welt.colour = match r.usize(..20) {
        0..=10 => None,
        11..=15 => Some(varied(r, form.colour.map(|v| (f64::from(v) * 0.55) as u8), 0.1)),
        _ => Some(varied_one(r)),
    };
    if let Some(channel) = &mut form.channel {
        channel.welt.colour = form.welt.colour;
    }
}

fn varied_one(r: &mut Rng) -> Rgb {
    let leather = one(r, &LEATHERS);
    varied(r, leather, 0.15)
}

/// Thread of about the leather's brightness, sometimes contrasting.
fn stitching(r: &mut Rng, form: &mut SaddleSet) {
    form.seam.inside_mm = if chance(r, 0.12) { 0.0 } else { between(r, 7.5, 12.0) };
    form.seam.period_mm = between(r, 2.8, 5.0);
    form.seam.thread_mm = between(r, 0.5, 1.0);
    form.seam.rows = if chance(r, 0.2) { 2 } else { 1 };
    form.seam.colour = if chance(r, 0.25) {
        let thread = one(r, &[[196, 170, 136], [220, 214, 200], [40, 34, 30]]);
        varied(r, thread, 0.1)
    } else {
        let by = between(r, 0.7, 1.45);
        varied(r, form.colour.map(|v| (f64::from(v) * by + 6.0).min(250.0) as u8), 0.05)
    };
}

/// Flaps and skirts of the seat's own or another leather, sometimes larger than the seat, rarely none; sometimes the cord
/// matches them.
fn flaps(r: &mut Rng, form: &mut SaddleSet) {
    let colours = [flap_colour(r, form), flap_colour(r, form)];
    let size = if chance(r, 0.25) { between(r, 1.1, 1.35) } else { between(r, 0.8, 1.05) };
    let fall = between(r, 0.0, 0.35);
    // The second is a skirt, not always of the flaps' leather.
    form.flaps.truncate(if chance(r, 0.75) { 2 } else { 1 });
    let skirt = usize::from(chance(r, 0.4));
    for (f, colour) in form.flaps.iter_mut().zip([colours[0], colours[skirt]]) {
        f.colour = colour;
        f.station += between(r, -0.04, 0.06);
        f.turn_deg += between(r, -12.0, 12.0);
        f.half_length_mm *= size;
        f.half_width_mm *= size;
        f.lift_mm += between(r, -12.0, 4.0);
        f.fall = fall;
    }
    if chance(r, 0.12) {
        form.welt.colour = colours[0];
    }
    if chance(r, 0.1) {
        form.flaps.clear();
    }
}

/// The seat's own leather, a similar colour, or another.
fn flap_colour(r: &mut Rng, form: &SaddleSet) -> Option<Rgb> {
    match r.usize(..20) {
        0..=8 if form.view == View::Top => None,
        9..=12 => Some(varied(r, form.colour, 0.25)),
        _ => Some(varied_one(r)),
    }
}

/// A stirrup leather or a girth across one edge or both.
fn strap(r: &mut Rng) -> StrapSet {
    let reach = between(r, 120.0, 180.0);
    let other = if chance(r, 0.5) { reach } else { 20.0 };
    let width_mm = if chance(r, 0.3) { between(r, 50.0, 80.0) } else { between(r, 15.0, 32.0) };
    StrapSet {
        station: between(r, 0.2, 0.85),
        turn_deg: between(r, -25.0, 25.0),
        width_mm,
        reach_mm: if chance(r, 0.5) { [reach, other] } else { [other, reach] },
        colour: varied_one(r),
    }
}

/// A square cushion with a piped edge.
pub(super) fn cushion(r: &mut Rng) -> SaddleSet {
    let half = between(r, 150.0, 210.0);
    let mut form = padded(r, 2.0 * half);
    form.half_width = Curve::constant(half);
    (form.front_round, form.rear_round) = (0.14, 0.14);
    form.lift = Curve::constant(between(r, -30.0, 10.0));
    form
}

/// The padded seat of a chair, slightly narrower at its back.
pub(super) fn chair_seat(r: &mut Rng) -> SaddleSet {
    let depth = between(r, 380.0, 440.0);
    let mut form = padded(r, depth);
    let (front, back) = (between(r, 200.0, 225.0), between(r, 170.0, 195.0));
    form.half_width = Curve::through(&[[0.0, front], [1.0, back]]);
    (form.front_round, form.rear_round) = (0.16, 0.10);
    form.lift = Curve::constant(between(r, -10.0, 40.0));
    form
}

fn padded(r: &mut Rng, length_mm: f64) -> SaddleSet {
    let colour = if chance(r, 0.6) { varied_one(r) } else { [r.u8(30..220), r.u8(30..210), r.u8(30..210)] };
    let mut form =
        SaddleSet { length_mm, colour, texture: between(r, 0.1, 0.4), side_mm: 50.0, ..SaddleSet::default() };
    form.padding = between(r, 0.6, 1.4);
    piping(r, &mut form);
    stitching(r, &mut form);
    form.quilt_mm = if chance(r, 0.3) { between(r, 40.0, 80.0) } else { 0.0 };
    form
}
