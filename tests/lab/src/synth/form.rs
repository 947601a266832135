//! The form as a body: intersection of viewing rays with its leather, piping, side and channel.
//!
//! Near an edge the form is intersected in its cross-section: `inside` is the horizontal distance inwards from the edge, `above`
//! the height above the edge. The piping is a circle of radius r around `(r, 0)`, so that its outermost horizontal extent is the
//! edge, and an oblique camera sees its true silhouette.

use nalgebra::{Vector2, Vector3};

use super::cord::{Cord, CordHit};
use super::light::{Colour, Light, linear, step};
use super::noise::smooth;
use super::outline::Outline;
use super::place::Ray;
use super::saddle::ChannelSet;

/// Intersection of a ray and the light reflected there.
#[derive(Debug, Clone, Copy)]
pub struct Hit {
    /// The ray's parameter.
    pub t: f64,
    /// Reflected light.
    pub colour: Colour,
}

/// A point of the form's surface.
#[derive(Clone, Copy)]
pub struct Spot {
    /// The ray's parameter.
    pub t: f64,
    /// The point, mm.
    pub point: Vector3<f64>,
    /// Its station.
    pub station: f64,
    /// Its distance to the left of the midline, mm.
    pub left_mm: f64,
}

/// The padded form of a scene.
pub struct Form<'a> {
    /// Its shape.
    pub outline: Outline,
    pub(super) light: &'a Light,
    pub(super) leather: Colour,
    /// Size of a pixel on the form, mm: finer details cover part of it.
    pub(super) pixel_mm: f64,
}

/// Rise of a fully padded form within its edges, mm, and the distance over which it rises.
const RISE_MM: f64 = 6.0;
const RISE_OVER_MM: f64 = 13.0;
/// Depth below the cord's centre line at which the leather meets the piping, in radii.
pub(super) const SINK: f64 = 0.25;
/// Distance of the form's side inside the edge, in radii of the cord.
const SIDE_IN: f64 = 1.1;
/// Inward slope of the side, mm per mm of depth.
const SIDE_LEAN: f64 = 0.12;
/// Reach of wool fibres over the edge, mm.
const FIBRE_MM: f64 = 2.2;
/// Panels with more texture than this are woollen.
const WOOL: f64 = 0.5;

impl<'a> Form<'a> {
    /// A form in a light; `pixel_mm` is the size of a pixel on it.
    pub fn new(outline: Outline, light: &'a Light, pixel_mm: f64) -> Self {
        let leather = linear(outline.set().colour);
        Self { outline, light, leather, pixel_mm }
    }

    /// Height of the padding above the line between the edges, mm.
    #[inline]
    fn rise_mm(&self, station: f64, left_mm: f64) -> f64 {
        let set = self.outline.set();
        let mut past = self.outline.inside_mm(station, left_mm) - 2.0 * set.welt.radius_mm;
        let mut radius = set.welt.radius_mm;
        if let Some(channel) = &set.channel {
            let inner = self.outline.beside_channel_mm(station, left_mm) - 2.0 * channel.welt.radius_mm;
            if inner < past {
                (past, radius) = (inner, channel.welt.radius_mm);
            }
        }
        RISE_MM * set.padding * (1.0 - (-past.max(0.0) / RISE_OVER_MM).exp()) - SINK * radius
    }

    /// Intersection of a ray with the form's surface raised by `above` mm and continued outside its edges.
    #[inline]
    pub(super) fn spot(&self, ray: &Ray, above: f64, padded: bool) -> Spot {
        let at = |z: f64| {
            let t = ray.t_at_height(z);
            let point = ray.at(t);
            let (station, left_mm) = self.outline.place(point.xy());
            Spot { t, point, station, left_mm }
        };
        let error = |z: f64, s: &Spot| {
            let rise = if padded { self.rise_mm(s.station, s.left_mm) } else { 0.0 };
            self.outline.height_mm(s.station, s.left_mm) + rise + above - z
        };
        let mut z0 = self.outline.set().lift.at(0.5) + above;
        let mut spot = at(z0);
        let mut e0 = error(z0, &spot);
        let mut z1 = z0 + e0;
        for _ in 0..12 {
            spot = at(z1);
            let e1 = error(z1, &spot);
            if e1.abs() < 1e-3 {
                break;
            }
            let slope = if (z1 - z0).abs() > 1e-9 { (e1 - e0) / (z1 - z0) } else { -1.0 };
            (z0, e0) = (z1, e1);
            z1 -= e1 / if slope < -0.2 { slope } else { -1.0 };
        }
        spot
    }

    /// Intersection of a ray with the form and its straps.
    pub fn look(&self, ray: &Ray) -> Option<Hit> {
        if let Some(hit) = self.strap(ray) {
            return Some(hit);
        }
        let set = self.outline.set();
        let spot = self.spot(ray, 0.0, true);
        let inside = self.outline.inside_mm(spot.station, spot.left_mm);
        let reach = 12.0 + set.side_mm;
        if inside < -reach {
            return None;
        }
        let shade = self.beside_strap(&spot);
        let hit = self.body(ray, &spot, inside)?;
        Some(Hit { colour: hit.colour * shade, ..hit })
    }

    fn body(&self, ray: &Ray, spot: &Spot, inside: f64) -> Option<Hit> {
        let set = self.outline.set();
        let outer = Cord { welt: &set.welt, form: self, channel: false };
        if set.texture > WOOL && inside.abs() < 8.0 && self.is_fibre(spot, inside) {
            let open = 0.8 + 0.2 * step(-FIBRE_MM, 3.0, inside);
            let lit = self.light.shade(spot.point, Vector3::z(), open, 1.0);
            return Some(Hit { t: spot.t, colour: self.leather * (1.1 * lit) });
        }
        if let Some(hit) = outer.meet(ray, spot, inside) {
            return Some(self.lit_cord(ray, &outer, &hit));
        }
        if let Some(channel) = &set.channel {
            let beside = self.outline.beside_channel_mm(spot.station, spot.left_mm);
            let inner = Cord { welt: &channel.welt, form: self, channel: true };
            if let Some(hit) = inner.meet(ray, spot, beside) {
                return Some(self.lit_cord(ray, &inner, &hit));
            }
            if beside < channel.welt.radius_mm && inside > set.welt.radius_mm {
                return Some(Hit { t: spot.t, colour: self.channel(ray, spot, channel) });
            }
        }
        if inside >= set.welt.radius_mm {
            return Some(Hit { t: spot.t, colour: self.leather(ray, spot, inside) });
        }
        self.side(ray, spot)
    }

    fn lit_cord(&self, ray: &Ray, cord: &Cord, hit: &CordHit) -> Hit {
        Hit { t: hit.t, colour: cord.colour(ray, hit) }
    }

    /// The form's side below the piping, visible where the camera looks under its near edge.
    fn side(&self, ray: &Ray, spot: &Spot) -> Option<Hit> {
        let set = self.outline.set();
        let recess = SIDE_IN * set.welt.radius_mm;
        let gap_at = |p: Vector3<f64>| {
            let (s, y) = self.outline.place(p.xy());
            let below = self.outline.edge_lift_mm(Outline::side(y), s.clamp(0.0, 1.0)) - p.z;
            Some((self.outline.inside_mm(s, y) - recess - SIDE_LEAN * below, below))
        };
        let (t, below) = wall_below(ray, spot.t, set.side_mm, gap_at)?;
        let point = ray.at(t);
        let (s, y) = self.outline.place(point.xy());
        let out = self.outward(s, y);
        let normal = Vector3::new(out.x, out.y, -SIDE_LEAN).normalize();
        let grain = 1.0 + 0.1 * smooth(self.outline.run_mm(s, y) / 2.0, below / 2.0, 17);
        let colour = set.side_colour.map_or(self.leather, linear) * grain;
        let open = below_cord(below);
        Some(Hit { t, colour: colour * self.light.shade(point, normal, open, open) })
    }

    /// The wall of the channel below its piping, visible on the far side.
    fn channel_wall(&self, ray: &Ray, rim: &Spot, channel: &ChannelSet) -> Option<Colour> {
        let recess = SIDE_IN * channel.welt.radius_mm;
        let gap_at = |p: Vector3<f64>| {
            let (s, y) = self.outline.place(p.xy());
            let below = self.outline.channel_lift_mm(Outline::side(y), s)? - p.z;
            Some((self.outline.beside_channel_mm(s, y) - recess, below))
        };
        let (t, below) = wall_below(ray, rim.t, channel.depth_mm, gap_at)?;
        let point = ray.at(t);
        let (s, y) = self.outline.place(point.xy());
        let toward = self.toward_channel(s, y);
        let normal = Vector3::new(toward.x, toward.y, 0.0);
        // The opposite panel and the ground hide more of the sky with depth.
        let open = below_cord(below) * (1.0 - 0.5 * below / channel.depth_mm);
        let colour = channel.wall_colour.map_or(self.leather, linear);
        Some(colour * self.light.shade(point, normal, open, open))
    }

    /// Outward normal of the outer edge, in the plan.
    pub(super) fn outward(&self, s: f64, y: f64) -> Vector2<f64> {
        let length = self.outline.set().length_mm;
        let here = self.outline.inside_mm(s, y);
        let along = (here - self.outline.inside_mm(s + 0.3 / length, y)) / 0.3;
        let left = (here - self.outline.inside_mm(s, y + 0.3)) / 0.3;
        self.outline.direction(along, left).try_normalize(1e-6).unwrap_or_else(Vector2::zeros)
    }

    /// From the panel across the channel's edge toward the channel, in the plan.
    pub(super) fn toward_channel(&self, s: f64, y: f64) -> Vector2<f64> {
        let length = self.outline.set().length_mm;
        let ahead = self.outline.beside_channel_mm(s + 0.3 / length, y);
        let behind = self.outline.beside_channel_mm(s - 0.3 / length, y);
        let along = if ahead.max(behind) > 500.0 { 0.0 } else { (behind - ahead) / 0.6 };
        self.outline.direction(along, -y.signum()).normalize()
    }

    /// Whether a wool fibre covers the point: short streaks across the edge, sparser further out.
    fn is_fibre(&self, spot: &Spot, inside: f64) -> bool {
        let run = self.outline.run_mm(spot.station, spot.left_mm);
        let bent = run + 1.2 * smooth(run / 7.0, inside / 2.5, 51);
        let streak = smooth(bent / 0.3, inside / 4.0, 52) + 0.5 * smooth(bent / 3.0, 0.5, 53);
        let radius = self.outline.set().welt.radius_mm;
        // Densest at the cord, none beyond their reach.
        let beyond = ((2.0 * radius - inside) / (2.0 * radius + FIBRE_MM)).max(0.0);
        let rare = 0.5 + 0.75 * beyond;
        inside > -FIBRE_MM && inside < 3.0 * radius + 1.0 && streak > rare
    }

    /// Light from the channel's ground, walls and webbing.
    fn channel(&self, ray: &Ray, rim: &Spot, channel: &ChannelSet) -> Colour {
        if let Some(wall) = self.channel_wall(ray, rim, channel) {
            return wall;
        }
        let recess = SIDE_IN * channel.welt.radius_mm;
        let point = ray.at(ray.t_at_height(rim.point.z - channel.depth_mm));
        let (s, y) = self.outline.place(point.xy());
        // The walls hide the sky up to an elevation of atan(depth / distance) on either side (Lambert).
        let half = self.outline.channel_half_mm(s).unwrap_or(0.0) + recess;
        let sky = |away: f64| (1.0 + away.max(0.0) / away.max(0.0).hypot(channel.depth_mm)) / 2.0;
        let mut open = (sky(half - y) + sky(half + y)) / 2.0;
        open *= 0.35 + 0.65 * open;
        let sun = self.light.sun();
        let toward = self.light.along_sun(point, rim.point.z);
        let (ss, ys) = self.outline.place(toward);
        let sunny =
            if sun.z > 0.0 { 1.0 - step(-2.0, 2.0, self.outline.beside_channel_mm(ss, ys)) } else { 0.0 };
        let x = s * self.outline.set().length_mm;
        let weave =
            1.0 + 0.10 * (x * std::f64::consts::TAU / 2.2).sin() * (y * std::f64::consts::TAU / 2.2).sin();
        let [from, to] = channel.web_reach;
        let beside_web = if (from..=to).contains(&s) {
            (y - channel.web_off.at(s)).abs() - channel.web_mm
        } else {
            (from - s).max(s - to) * self.outline.set().length_mm
        };
        let colour = if beside_web < 0.0 && channel.web_mm > 0.0 {
            linear(channel.web_colour) * (weave * (1.0 + 0.12 * smooth(x / 20.0, y / 12.0, 61)))
        } else {
            let edge = step(0.0, 3.0, beside_web);
            let under_web = if channel.web_mm > 0.0 { 0.6 + 0.4 * edge } else { 1.0 };
            linear(channel.colour) * (under_web * (1.0 + 0.1 * smooth(x / 2.0, y / 2.0, 62)))
        };
        colour * self.light.shade(point, Vector3::z(), open, sunny)
    }

    /// Fraction of sunlight that the form lets through to a lower point.
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

    /// Fraction of the sky that the form leaves to a lower point.
    pub fn under(&self, p: Vector3<f64>) -> f64 {
        let (s, y) = self.outline.place(p.xy());
        if self.light.set.contact <= 0.0 || !(-0.6..1.6).contains(&s) || y.abs() > 300.0 {
            return 1.0;
        }
        let lift = self.outline.edge_lift_mm(Outline::side(y), s.clamp(0.0, 1.0));
        let reach = self.light.set.contact_reach * (lift - p.z).max(4.0);
        1.0 - self.light.set.contact * step(-0.9 * reach, 0.5 * reach, self.outline.inside_mm(s, y)) * 0.9
    }
}

/// Fraction of the light that the overhanging cord leaves at a depth below it, mm.
fn below_cord(below: f64) -> f64 {
    0.2 + 0.6 * step(0.0, 9.0, below)
}

/// Intersection of a ray with the wall under a cord: the ray's parameter and the depth below the edge, mm. `gap_at` gives the
/// distance of a point behind the wall and below the edge.
fn wall_below(
    ray: &Ray,
    from_t: f64,
    deep_mm: f64,
    gap_at: impl Fn(Vector3<f64>) -> Option<(f64, f64)>,
) -> Option<(f64, f64)> {
    if deep_mm <= 0.0 {
        return None;
    }
    let down = 1.0 / ray.along.z.abs();
    let (mut t0, mut t1) = (from_t, from_t + 4.0 * down);
    let mut g0 = gap_at(ray.at(t0))?.0;
    for _ in 0..8 {
        let g1 = gap_at(ray.at(t1))?.0;
        let rate = (g1 - g0) / (t1 - t0);
        if rate <= 1e-6 {
            return None;
        }
        (t0, g0) = (t1, g1);
        t1 -= (g1 / rate).clamp(-20.0 * down, 20.0 * down);
        if g1.abs() < 0.02 {
            break;
        }
    }
    let (gap, below) = gap_at(ray.at(t0))?;
    (gap.abs() < 0.1 && (0.0..deep_mm).contains(&below)).then_some((t0, below))
}
