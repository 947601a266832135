//! The saddle as it looks: leather, piping, stitching, flaps, channel and straps.

use nalgebra::{Vector2, Vector3};

use super::light::{Colour, Light, heading, linear, step};
use super::noise::smooth;
use super::outline::Outline;
use super::place::Ray;
use super::saddle::{ChannelSet, FlapSet, SeamSet, StrapSet, WeltSet};

/// What a ray meets: how far along it, and the light that comes back.
#[derive(Debug, Clone, Copy)]
pub struct Hit {
    /// The ray's parameter.
    pub t: f64,
    /// Light.
    pub colour: Colour,
}

/// A place on the form's surface.
#[derive(Clone, Copy)]
struct Spot {
    t: f64,
    point: Vector3<f64>,
    station: f64,
    left_mm: f64,
}

/// The saddle of a scene.
pub struct Form<'a> {
    /// Its shape.
    pub outline: Outline,
    light: &'a Light,
    leather: Colour,
}

/// Height of a strap over the form, mm.
const STRAP_MM: f64 = 3.0;
/// Width of a stitch, mm.
const THREAD_MM: f64 = 1.1;
/// Reach of the dark line just outside the edge, mm.
const RIM_MM: f64 = 1.1;

impl<'a> Form<'a> {
    /// A saddle with its shape in a light.
    pub fn new(outline: Outline, light: &'a Light) -> Self {
        let leather = linear(outline.set().colour);
        Self { outline, light, leather }
    }

    /// The place where a ray meets the form's surface, or the surface raised by `above` mm, continued outside it.
    #[inline]
    fn spot(&self, ray: &Ray, above: f64) -> Spot {
        let at = |z: f64| {
            let t = ray.t_at_height(z);
            let point = ray.at(t);
            let (station, left_mm) = self.outline.place(point.xy());
            Spot { t, point, station, left_mm }
        };
        let error = |z: f64, s: &Spot| self.outline.height_mm(s.station, s.left_mm) + above - z;
        let mut z0 = self.outline.set().lift.at(0.5) + above;
        let mut spot = at(z0);
        let mut e0 = error(z0, &spot);
        let mut z1 = z0 + e0;
        for _ in 0..12 {
            spot = at(z1);
            let e1 = error(z1, &spot);
            if e1.abs() < 1e-4 {
                break;
            }
            let slope = if (z1 - z0).abs() > 1e-9 { (e1 - e0) / (z1 - z0) } else { -1.0 };
            (z0, e0) = (z1, e1);
            z1 -= e1 / if slope < -0.2 { slope } else { -1.0 };
        }
        spot
    }

    /// What a ray sees of the form itself, and the darkness of the gap just outside its edge (1 for none).
    pub fn look(&self, ray: &Ray) -> (Option<Hit>, f64) {
        if let Some(hit) = self.strap(ray) {
            return (Some(hit), 1.0);
        }
        let spot = self.spot(ray, 0.0);
        let outline = &self.outline;
        let half = outline.half_mm(Outline::hand(spot.left_mm), spot.station);
        if spot.left_mm.abs() > half || half <= 0.0 {
            let gap = outline.inside_mm(spot.station, spot.left_mm).min(0.0);
            return (None, 1.0 - 0.75 * self.light.set.contact * (gap / RIM_MM).exp());
        }
        if let Some(channel) = &outline.set().channel {
            let beside = outline.beside_channel_mm(spot.station, spot.left_mm);
            if beside < 0.0 {
                return (Some(Hit { t: spot.t, colour: self.channel(ray, &spot, channel) }), 1.0);
            }
        }
        (Some(Hit { t: spot.t, colour: self.leather(&spot) }), 1.0)
    }

    fn leather(&self, spot: &Spot) -> Colour {
        let set = self.outline.set();
        let (s, y) = (spot.station, spot.left_mm);
        let inside = self.outline.inside_mm(s, y);
        let (mut inner, mut inner_welt) = (1e3, None);
        if let Some(channel) = &set.channel {
            inner = self.outline.beside_channel_mm(s, y);
            inner_welt = Some(&channel.welt);
        }
        let outward = self.outward(s, y);
        if let Some(lit) = self.welt(&set.welt, inside, outward, spot) {
            return lit;
        }
        if let Some(lit) = inner_welt.and_then(|w| self.welt(w, inner, self.toward_middle(y), spot)) {
            return lit;
        }
        let past = inside - 2.0 * set.welt.radius_mm;
        let mut colour = self.leather * self.texture(s, y, set.texture);
        let run = self.outline.run_mm(s, y);
        if is_stitch(&set.seam, inside, run) || is_stitch(&set.seam, inner, s * set.length_mm) {
            colour = linear(set.seam.colour);
        }
        for cross in &set.cross_seams {
            let d = (s - cross) * set.length_mm - 0.002 * y * y;
            colour *= 1.0 - 0.5 * (-d.abs() / 0.8).exp();
            if is_stitch(&SeamSet { inside_mm: 4.0, ..set.seam.clone() }, d, y + 500.0) {
                colour = linear(set.seam.colour);
            }
        }
        let lean = outward * (0.55 * set.padding * (-past.max(0.0) / 22.0).exp());
        let normal = Vector3::new(lean.x, lean.y, 1.0).normalize();
        let creases = crease(&set.welt, inside) * inner_welt.map_or(1.0, |w| crease(w, inner));
        let shine = set.gloss * (-((s - 0.66) / 0.11).powi(2) - ((y - 30.0) / 26.0).powi(2)).exp();
        let light = self.light.on(spot.point, normal, 1.0);
        (colour + Vector3::repeat(0.35 * shine)) * (light * creases)
    }

    /// Outward across the outer edge, in the plan.
    fn outward(&self, s: f64, y: f64) -> Vector2<f64> {
        let length = self.outline.set().length_mm;
        let here = self.outline.inside_mm(s, y);
        let along = (here - self.outline.inside_mm(s + 0.3 / length, y)) / 0.3;
        let left = (here - self.outline.inside_mm(s, y + 0.3)) / 0.3;
        self.outline.direction(along, left).try_normalize(1e-6).unwrap_or_else(Vector2::zeros)
    }

    fn toward_middle(&self, y: f64) -> Vector2<f64> {
        self.outline.direction(0.0, -y.signum())
    }

    /// The cord along an edge, lit as a cylinder; `None` beside it.
    fn welt(&self, welt: &WeltSet, inside: f64, outward: Vector2<f64>, spot: &Spot) -> Option<Colour> {
        let r = welt.radius_mm;
        if r <= 0.0 || inside > 2.0 * r {
            return None;
        }
        let across = (1.0 - inside / r).clamp(-1.0, 1.0);
        let lean = outward * across;
        let normal = Vector3::new(lean.x, lean.y, (1.0 - across * across).sqrt());
        let colour = welt.colour.map_or(self.leather, linear);
        Some(colour * self.light.on(spot.point, normal, 1.0))
    }

    fn texture(&self, s: f64, y: f64, strength: f64) -> f64 {
        if strength <= 0.0 {
            return 1.0;
        }
        let x = s * self.outline.set().length_mm;
        let grain = 0.5 * smooth(x / 1.3, y / 1.3, 11) + 0.4 * smooth(x / 4.0, y / 4.0, 12);
        (1.0 + strength * (0.45 * grain + 0.3 * smooth(x / 45.0, y / 45.0, 13))).max(0.05)
    }

    fn channel(&self, ray: &Ray, rim: &Spot, channel: &ChannelSet) -> Colour {
        let point = ray.at(ray.t_at_height(rim.point.z - channel.depth_mm));
        let (s, y) = self.outline.place(point.xy());
        let beside = self.outline.beside_channel_mm(s, y);
        if beside >= 0.0 {
            let normal = Vector3::new(0.0, 0.0, 0.3);
            return self.leather * (0.4 * self.light.on(rim.point, normal, 0.3));
        }
        let shade = 0.45 + 0.55 * step(0.0, 14.0, -beside);
        let ribs = 1.0 + 0.12 * (s * self.outline.set().length_mm * std::f64::consts::TAU / 3.5).sin();
        let (colour, depth) = if y.abs() < channel.web_mm {
            (linear(channel.web_colour) * ribs, 0.75)
        } else {
            (linear(channel.colour), 0.7)
        };
        colour * (shade * depth * self.light.on(point, Vector3::z(), 0.6))
    }

    fn strap(&self, ray: &Ray) -> Option<Hit> {
        let straps = &self.outline.set().straps;
        if straps.is_empty() {
            return None;
        }
        let spot = self.spot(ray, STRAP_MM);
        straps.iter().rev().find_map(|strap| {
            let (along, across) = self.on_strap(strap, &spot);
            let half = strap.width_mm / 2.0;
            let ends = if along >= 0.0 { strap.reach_mm[0] } else { strap.reach_mm[1] };
            if across.abs() > half || along.abs() > ends {
                return None;
            }
            let rim = 0.75 + 0.25 * step(0.0, 2.0, half - across.abs());
            let colour = linear(strap.colour) * (rim * (1.0 + 0.06 * smooth(along / 5.0, across / 1.5, 31)));
            Some(Hit { t: spot.t, colour: colour * self.light.on(spot.point, Vector3::z(), 1.0) })
        })
    }

    fn on_strap(&self, strap: &StrapSet, spot: &Spot) -> (f64, f64) {
        let turn = heading(strap.turn_deg);
        let x = (spot.station - strap.station) * self.outline.set().length_mm;
        (spot.left_mm * turn.x + x * turn.y, x * turn.x - spot.left_mm * turn.y)
    }

    /// What a ray sees of a flap, on either side.
    pub fn flap(&self, ray: &Ray, flap: &FlapSet) -> Option<Hit> {
        let t = ray.t_at_height(flap.lift_mm);
        let point = ray.at(t);
        let (s, y) = self.outline.place(point.xy());
        let (x, out) = ((flap.station - s) * self.outline.set().length_mm, y.abs() - flap.out_mm);
        let turn = heading(flap.turn_deg);
        let (a, b) = (out * turn.x + x * turn.y, x * turn.x - out * turn.y);
        // A little wider outside than inside, as flaps are.
        let width = flap.half_width_mm * (1.0 + 0.12 * (a / flap.half_length_mm));
        let q = (a / flap.half_length_mm).abs().powi(3) + (b / width).abs().powi(3);
        if q > 1.0 {
            return None;
        }
        let q = q.cbrt();
        let set = self.outline.set();
        let inside = (1.0 - q) * flap.half_length_mm.min(flap.half_width_mm);
        let mut colour =
            flap.colour.map_or(self.leather, linear) * self.texture(s + 3.0, y, set.texture.min(0.4));
        if set.seam.inside_mm > 0.0 && (inside - 7.0).abs() < THREAD_MM / 2.0 {
            let dash = (b.atan2(a) * flap.half_length_mm).rem_euclid(set.seam.period_mm.max(0.5));
            if dash < 0.6 * set.seam.period_mm {
                colour = linear(set.seam.colour);
            }
        }
        let rim = if set.padding > 0.0 { 0.7 + 0.3 * step(0.0, 2.5, inside) } else { 1.0 };
        let light = self.light.on(point, Vector3::z(), self.sunny(point)) * self.under(point);
        Some(Hit { t, colour: colour * (rim * light) })
    }

    /// The part of the sun that the form lets through to a lower point.
    pub fn sunny(&self, p: Vector3<f64>) -> f64 {
        let z = self.outline.set().lift.at(0.5);
        if self.light.set.sun <= 0.0 || p.z >= z {
            return 1.0;
        }
        let (s, y) = self.outline.place(self.light.along_sun(p, z));
        if !(-0.1..1.1).contains(&s) || y.abs() > 250.0 {
            return 1.0;
        }
        1.0 - step(-3.0, 3.0, self.outline.inside_mm(s, y))
    }

    /// The part of the sky that the form leaves to a lower point.
    pub fn under(&self, p: Vector3<f64>) -> f64 {
        let (s, y) = self.outline.place(p.xy());
        if self.light.set.contact <= 0.0 || !(-0.6..1.6).contains(&s) || y.abs() > 300.0 {
            return 1.0;
        }
        let gap = (self.outline.set().lift.at(s) - p.z).max(4.0);
        1.0 - self.light.set.contact * step(-0.8 * gap, 0.5 * gap, self.outline.inside_mm(s, y)) * 0.85
    }

    /// Points round a flap on both sides, for its box of pixels.
    pub fn flap_hull(&self, flap: &FlapSet) -> Vec<Vector3<f64>> {
        let reach = 1.15 * (flap.half_length_mm.max(flap.half_width_mm * 1.12)) * 2f64.sqrt();
        let along = reach / self.outline.set().length_mm;
        let corner = |s: f64, out: f64| {
            let p = self.outline.plan(flap.station + s, out);
            Vector3::new(p.x, p.y, flap.lift_mm)
        };
        let far = flap.out_mm + reach;
        vec![corner(-along, far), corner(along, far), corner(along, -far), corner(-along, -far)]
    }
}

fn crease(welt: &WeltSet, inside: f64) -> f64 {
    let past = (inside - 2.0 * welt.radius_mm).max(0.0);
    if welt.radius_mm > 0.0 { 1.0 - 0.6 * (-past / 0.9).exp() } else { 1.0 }
}

fn is_stitch(seam: &SeamSet, inside: f64, run: f64) -> bool {
    seam.inside_mm > 0.0
        && (inside - seam.inside_mm).abs() < THREAD_MM / 2.0
        && run.rem_euclid(seam.period_mm.max(0.5)) < 0.62 * seam.period_mm
}
