//! Leather within the piping: grain, stitches, quilting, wear and polish.

use nalgebra::{Vector2, Vector3};

use super::form::{Form, SINK, Spot};
use super::light::{Colour, linear, step};
use super::noise::smooth;
use super::place::Ray;
use super::saddle::{SeamSet, WeltSet};

/// Half-width of the groove along a seam, mm.
const GROOVE_MM: f64 = 1.0;
/// Reflectance of a stud.
const METAL: f64 = 0.55;
/// Distance of the quilting from the edge, mm.
const QUILT_INSIDE_MM: f64 = 22.0;

/// Thread at a point, and its groove.
#[derive(Clone, Copy)]
pub struct Thread {
    /// Fraction covered by thread.
    pub cover: f64,
    /// Factor on the leather's light; 1 is no groove.
    pub groove: f64,
}

/// Stitches along a line: `off` is the distance from the line, `run` the length along it, mm.
pub fn stitches(seam: &SeamSet, off: f64, run: f64, pixel_mm: f64) -> Thread {
    let soft = (0.5 * pixel_mm).max(0.12);
    let half = seam.thread_mm / 2.0;
    // A thread finer than a pixel covers part of it.
    let across = (1.0 - step(half - soft, half + soft, off.abs())) * (2.0 * half / soft).min(1.0);
    let period = seam.period_mm.max(0.5);
    let place = (run.rem_euclid(period) / period - 0.5).abs();
    let along = 1.0 - step(0.33 - soft / period, 0.33 + soft / period, place);
    let groove = 1.0 - 0.22 * (-(off / GROOVE_MM).powi(2)).exp();
    let hole = 1.0 - 0.3 * across * (1.0 - along);
    Thread { cover: across * along, groove: groove * hole }
}

impl Form<'_> {
    /// Light reflected by the leather, `inside` mm within the outer edge.
    pub(super) fn leather(&self, ray: &Ray, spot: &Spot, inside: f64) -> Colour {
        let set = self.outline.set();
        let (s, y) = (spot.station, spot.left_mm);
        let outward = self.outward(s, y);
        let mut edge = (inside, &set.welt, outward);
        let mut inner = 1e3;
        if let Some(channel) = &set.channel {
            inner = self.outline.beside_channel_mm(s, y);
            if inner - 2.0 * channel.welt.radius_mm < inside - 2.0 * set.welt.radius_mm {
                edge = (inner, &channel.welt, self.toward_channel(s, y));
            }
        }
        let (nearest, welt, across) = edge;
        let past = (nearest - 2.0 * welt.radius_mm).max(0.0);
        // Slope of the padding and of the grain.
        let mut lean = across * (set.padding * 0.46 * (-past / 13.0).exp()) + self.grain_lean(s, y);
        let mut colour = self.rubbed(self.leather, self.worn(s, y)) * self.texture(s, y, set.texture);
        let mut thread = Thread { cover: 0.0, groove: 1.0 };
        let mut sew = |new: Thread| {
            thread = Thread { cover: thread.cover.max(new.cover), groove: thread.groove * new.groove };
        };
        let run = self.outline.run_mm(s, y);
        for row in 0..set.seam.rows.min(3) {
            let at = set.seam.inside_mm + 2.6 * f64::from(row);
            if set.seam.inside_mm > 0.0 && (inside - at).abs() < 6.0 {
                sew(stitches(&set.seam, inside - at, run, self.pixel_mm));
            }
            if set.seam.inside_mm > 0.0 && (inner - at).abs() < 6.0 {
                sew(stitches(&set.seam, inner - at, s * set.length_mm, self.pixel_mm));
            }
        }
        for cross in &set.cross_seams {
            let d = (s - cross) * set.length_mm - 0.002 * y * y;
            colour *= 1.0 - 0.5 * (-d.abs() / 0.8).exp();
            if set.seam.inside_mm > 0.0 && (d.abs() - 3.5).abs() < 6.0 {
                sew(stitches(&set.seam, d.abs() - 3.5, y, self.pixel_mm));
            }
            lean += self.outline.direction(0.25 * d.signum() * (-d.abs() / 3.0).exp(), 0.0) * -1.0;
        }
        if set.quilt_mm > 0.0 && inside > QUILT_INSIDE_MM && s > 0.38 {
            let (slope, sewn) = self.quilt(s, y);
            lean += slope;
            sew(sewn);
        }
        colour = colour * thread.groove * (1.0 - thread.cover) + linear(set.seam.colour) * thread.cover;
        let normal = Vector3::new(lean.x, lean.y, 1.0).normalize();
        let (open, sunny) = self.beside_cord(welt, nearest, across);
        let lit = self.light.shade(spot.point, normal, open, sunny);
        let polish = set.gloss * (1.0 + self.worn(s, y)) * (1.0 - thread.cover);
        let shine = polish * self.light.glint(spot.point, normal, -ray.along.normalize(), sunny);
        let seen = colour * lit + Vector3::repeat(shine * open);
        self.stud(spot, ray).unwrap_or(seen)
    }

    /// Fractions of sky and sunlight that the piping leaves to the leather `inside` mm within the edge.
    fn beside_cord(&self, welt: &WeltSet, inside: f64, outward: Vector2<f64>) -> (f64, f64) {
        let r = welt.radius_mm;
        if r <= 0.0 || inside > 12.0 * r {
            return (1.0, 1.0);
        }
        // The cord's centre relative to the leather: outwards, up.
        let (x, up) = ((inside - r).max(0.05), SINK * r);
        let distance = x.hypot(up);
        let horizon = up.atan2(x) + (r / distance).min(1.0).asin();
        let hidden = (1.0 - horizon.cos()) / 2.0;
        // Little light is reflected within a crease.
        let crease = 0.35 * (-(inside - 2.0 * r).max(0.0) / 0.6).exp();
        let sun = self.light.sun();
        let (away, high) = (outward.dot(&sun.xy()), sun.z);
        let off = (x * high - up * away).abs() / away.hypot(high).max(1e-9);
        let behind = x * away + up * high > 0.0;
        let sunny = if behind && away > 0.0 { step(r - 0.2, r + 0.2, off) } else { 1.0 };
        (1.0 - (0.4 + 0.6 * self.light.set.contact) * (hidden + crease).min(0.85), sunny)
    }

    /// Local brightness of the leather's colour.
    pub(super) fn texture(&self, s: f64, y: f64, strength: f64) -> f64 {
        if strength <= 0.0 {
            return 1.0;
        }
        let x = s * self.outline.set().length_mm;
        let grain = 0.35 * smooth(x / 1.3, y / 1.3, 11) + 0.35 * smooth(x / 4.0, y / 4.0, 12);
        (1.0 + strength * (0.45 * grain + 0.4 * smooth(x / 45.0, y / 45.0, 13))).max(0.05)
    }

    /// Slope of the surface by its grain.
    fn grain_lean(&self, s: f64, y: f64) -> Vector2<f64> {
        let strength = self.outline.set().texture;
        if strength <= 0.0 {
            return Vector2::zeros();
        }
        let x = s * self.outline.set().length_mm;
        let along = smooth(x / 1.1, y / 1.1, 14);
        let left = smooth(x / 1.1, y / 1.1, 15);
        self.outline.direction(along, left) * (0.45 * strength)
    }

    /// Local wear, 0 to 1.
    pub(super) fn worn(&self, s: f64, y: f64) -> f64 {
        let wear = self.outline.set().wear;
        if wear <= 0.0 {
            return 0.0;
        }
        let x = s * self.outline.set().length_mm;
        wear * step(-0.15, 0.75, smooth(x / 75.0, y / 45.0, 18) + 0.35 * smooth(x / 12.0, y / 9.0, 19))
    }

    /// A colour rubbed pale.
    pub(super) fn rubbed(&self, colour: Colour, worn: f64) -> Colour {
        let grey = colour.sum() / 3.0;
        colour + (Vector3::repeat(0.5 * grey + 0.02) + colour * 0.15) * worn.min(1.0)
    }

    /// Slope and stitches of diamond quilting.
    fn quilt(&self, s: f64, y: f64) -> (Vector2<f64>, Thread) {
        let set = self.outline.set();
        let x = s * set.length_mm;
        let diagonal = std::f64::consts::FRAC_1_SQRT_2;
        let seam = SeamSet { rows: 1, ..set.seam.clone() };
        let mut lean = Vector2::zeros();
        let mut thread = Thread { cover: 0.0, groove: 1.0 };
        for (u, v, sign) in
            [((x + y) * diagonal, (x - y) * diagonal, 1.0), ((x - y) * diagonal, (x + y) * diagonal, -1.0)]
        {
            let off = u - (u / set.quilt_mm).round() * set.quilt_mm;
            let slope = -0.4 * off.signum() * (-off.abs() / 4.0).exp();
            lean += self.outline.direction(slope * diagonal, slope * diagonal * sign);
            let new = stitches(&seam, off, v, self.pixel_mm);
            thread = Thread { cover: thread.cover.max(new.cover), groove: thread.groove * new.groove };
        }
        (lean, thread)
    }

    fn stud(&self, spot: &Spot, ray: &Ray) -> Option<Colour> {
        let length = self.outline.set().length_mm;
        self.outline.set().studs.iter().find_map(|&[s, y, radius]| {
            let d = Vector2::new((spot.station - s) * length, spot.left_mm - y) / radius;
            let r2 = d.norm_squared();
            if r2 > 1.0 {
                return None;
            }
            let lean = self.outline.direction(d.x, d.y) * 0.8;
            let normal = Vector3::new(lean.x, lean.y, (1.0 - 0.64 * r2).sqrt());
            let lit = self.light.shade(spot.point, normal, 1.0 - 0.5 * r2 * r2, 1.0);
            let shine = 2.0 * self.light.glint(spot.point, normal, -ray.along.normalize(), 1.0);
            Some(Vector3::repeat(METAL * lit + shine))
        })
    }
}
