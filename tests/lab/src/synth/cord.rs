//! Piping as a round cord along an edge.

use nalgebra::{Vector2, Vector3};

use super::form::{Form, SINK, Spot};
use super::light::{Colour, linear, step};
use super::noise::smooth;
use super::outline::Outline;
use super::place::Ray;
use super::saddle::WeltSet;

/// The piping along the outer edge or along the channel's edge.
pub struct Cord<'a> {
    /// Its parameters.
    pub welt: &'a WeltSet,
    /// Its form.
    pub form: &'a Form<'a>,
    /// Whether it belongs to the channel's edge.
    pub channel: bool,
}

/// Intersection of a ray with a cord.
pub struct CordHit {
    /// The ray's parameter.
    pub t: f64,
    point: Vector3<f64>,
    station: f64,
    left_mm: f64,
    /// Position in the cross-section relative to the cord's centre, inwards and upwards, in radii.
    across: Vector2<f64>,
}

impl Cord<'_> {
    /// A point in the cross-section: distance inwards from the edge and height above the edge, mm.
    #[inline]
    fn section(&self, p: Vector3<f64>) -> Option<Vector2<f64>> {
        let outline = &self.form.outline;
        let (s, y) = outline.place(p.xy());
        let side = Outline::side(y);
        if self.channel {
            let inside = outline.beside_channel_mm(s, y);
            return Some(Vector2::new(inside, p.z - outline.channel_lift_mm(side, s)?));
        }
        Some(Vector2::new(outline.inside_mm(s, y), p.z - outline.edge_lift_mm(side, s.clamp(0.0, 1.0))))
    }

    /// Intersection with a ray, given the ray's intersection with the leather and its distance inside the edge. Within a cord's
    /// width of the edge the ray is straight in the cross-section; it is linearised at the point closest to the cord's centre,
    /// so that the silhouette is exact.
    pub fn meet(&self, ray: &Ray, spot: &Spot, inside: f64) -> Option<CordHit> {
        let r = self.welt.radius_mm;
        if r <= 0.0 || !(-3.0 * r - 1.0..5.0 * r).contains(&inside) {
            return None;
        }
        let centre = Vector2::new(r, 0.0);
        let down = 0.5 / ray.along.z.abs();
        let mut t = spot.t;
        let mut rate = Vector2::zeros();
        for _ in 0..2 {
            let here = self.section(ray.at(t))?;
            rate = (self.section(ray.at(t + down))? - here) / down;
            t -= (here - centre).dot(&rate) / rate.norm_squared();
        }
        let nearest = self.section(ray.at(t))? - centre;
        let depth = r * r - nearest.norm_squared();
        if depth <= 0.0 {
            return None;
        }
        let back = depth.sqrt() / rate.norm();
        let across = (nearest - rate * back) / r;
        // Below the leather's surface the cord is buried.
        if across.x > 0.0 && across.y < -SINK {
            return None;
        }
        let t = t - back;
        let point = ray.at(t);
        let (station, left_mm) = self.form.outline.place(point.xy());
        Some(CordHit { t, point, station, left_mm, across })
    }

    /// Light reflected by the cord.
    pub fn colour(&self, ray: &Ray, hit: &CordHit) -> Colour {
        let form = self.form;
        let set = form.outline.set();
        let (s, y) = (hit.station, hit.left_mm);
        let outward = if self.channel { form.toward_channel(s, y) } else { form.outward(s, y) };
        let run = if self.channel { s * set.length_mm } else { form.outline.run_mm(s, y) };
        // Leather around a cord is slightly creased across it.
        let crease = 0.10 * smooth(run / 2.3, 3.0 * hit.across.x, 71)
            + 0.05 * smooth(run / 0.9, 2.0 * hit.across.x, 72);
        let lean = outward * -hit.across.x;
        let normal = Vector3::new(lean.x, lean.y, hit.across.y).normalize();
        let strong = set.texture.min(0.5);
        let tone = 1.0 + 0.5 * strong * smooth(run / 60.0, 0.0, 73) + strong * crease;
        let own = self.welt.colour.map_or(form.leather, linear);
        let worn = form.worn(s, y) * step(0.2, 0.9, hit.across.y);
        let colour = form.rubbed(own, 1.4 * worn) * tone;
        let open = self.open(hit);
        let lit = form.light.shade(hit.point, normal, open, 1.0);
        let eye = -ray.along.normalize();
        let shine = set.gloss.max(0.12) * form.light.glint(hit.point, normal, eye, open);
        colour * lit + Vector3::repeat(shine * open)
    }

    /// Fraction of the sky not hidden by the leather inside and the surface below.
    fn open(&self, hit: &CordHit) -> f64 {
        let contact = self.form.light.set.contact;
        // Height above the inner crease, in radii.
        let over = hit.across.y + SINK;
        let inner = if hit.across.x > 0.0 { 0.75 * (-over.max(0.0) / 0.45).exp() } else { 0.0 };
        let outer = if hit.across.x < 0.0 { 0.5 * (1.0 - step(-0.6, 0.7, hit.across.y)) } else { 0.0 };
        1.0 - (0.4 + 0.6 * contact) * inner.max(outer)
    }
}
