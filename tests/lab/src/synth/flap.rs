//! Flaps, panels and straps around the form.

use nalgebra::Vector3;

use super::form::{Form, Hit, Spot};
use super::leather::stitches;
use super::light::{heading, linear, step};
use super::noise::smooth;
use super::outline::{Outline, sign};
use super::place::Ray;
use super::saddle::{FlapSet, PanelSet, StrapSet};
use seatspan::numeric::words::Side;

/// Least depth of a flap below the piping, mm.
const UNDER_MM: f64 = 1.5;
/// Width of a panel's rounded rim, mm.
const PANEL_RIM_MM: f64 = 9.0;
/// Height of a strap above the piping, mm.
const STRAP_OVER_MM: f64 = 2.5;
/// Decay length of a strap's shadow, mm.
const STRAP_SHADE_MM: f64 = 4.0;
/// Extra stretch of an edge hidden beside a strap, mm: its thickness seen from the side, and its shadow.
const STRAP_HIDES_MM: f64 = 4.0;

impl Form<'_> {
    fn strap_height_mm(&self) -> f64 {
        self.outline.set().welt.radius_mm + STRAP_OVER_MM
    }

    /// First strap on a ray.
    pub(super) fn strap(&self, ray: &Ray) -> Option<Hit> {
        let straps = &self.outline.set().straps;
        if straps.is_empty() {
            return None;
        }
        let spot = self.spot(ray, self.strap_height_mm(), true);
        straps.iter().rev().find_map(|strap| {
            let (along, across) = on_strap(&self.outline, strap, spot.station, spot.left_mm);
            let half = strap.width_mm / 2.0;
            let ends = if along >= 0.0 { strap.reach_mm[0] } else { strap.reach_mm[1] };
            if across.abs() > half || along.abs() > ends {
                return None;
            }
            // Rounded rims and a slightly wavy surface.
            let rim = step(0.0, 1.5, half - across.abs());
            let wave = 0.08 * smooth(along / 40.0, 0.0, 32);
            let turn = heading(strap.turn_deg);
            let side = self.outline.direction(turn.x, -turn.y) * (across.signum() * 0.8 * (1.0 - rim) + wave);
            let normal = Vector3::new(side.x, side.y, 1.0).normalize();
            let grain = 1.0
                + 0.06 * smooth(along / 5.0, across / 1.5, 31)
                + 0.08 * smooth(along / 50.0, across / 20.0, 33);
            let lit = self.light.shade(spot.point, normal, 0.8 + 0.2 * rim, 1.0);
            let shine = 0.5
                * self.outline.set().gloss
                * self.light.glint(spot.point, normal, -ray.along.normalize(), 1.0);
            Some(Hit { t: spot.t, colour: linear(strap.colour) * (grain * lit) + Vector3::repeat(shine) })
        })
    }

    /// Fraction of the light that straps leave to the form beside them.
    pub(super) fn beside_strap(&self, spot: &Spot) -> f64 {
        let contact = self.light.set.contact;
        self.outline
            .set()
            .straps
            .iter()
            .map(|strap| {
                let (along, across) = on_strap(&self.outline, strap, spot.station, spot.left_mm);
                let ends = if along >= 0.0 { strap.reach_mm[0] } else { strap.reach_mm[1] };
                let away = across.abs() - strap.width_mm / 2.0;
                if along.abs() > ends {
                    1.0
                } else {
                    1.0 - 0.7 * contact * (-away.max(0.0) / STRAP_SHADE_MM).exp()
                }
            })
            .product()
    }

    /// Intersection of a ray with a flap's sloping surface: the ray's parameter, the position along and across the flap
    /// relative to its size, and the distance inside its rim, mm.
    fn on_flap(&self, ray: &Ray, flap: &FlapSet) -> Option<(f64, [f64; 2], f64)> {
        // It stays below the form, however steep it is.
        let below = self.outline.set().welt.radius_mm + UNDER_MM;
        let height = |p: Vector3<f64>| {
            let (s, y) = self.outline.place(p.xy());
            let edge = self.outline.edge_lift_mm(Outline::side(y), s.clamp(0.0, 1.0));
            (flap.lift_mm - flap.fall * (y.abs() - flap.out_mm)).min(edge - below)
        };
        let mut t = ray.t_at_height(flap.lift_mm);
        for _ in 0..4 {
            t = ray.t_at_height(height(ray.at(t)));
        }
        let (s, y) = self.outline.place(ray.at(t).xy());
        let (x, out) = ((flap.station - s) * self.outline.set().length_mm, y.abs() - flap.out_mm);
        let turn = heading(flap.turn_deg);
        let (a, b) = (out * turn.x + x * turn.y, x * turn.x - out * turn.y);
        // Slightly wider at its outer end.
        let width = flap.half_width_mm * (1.0 + 0.12 * (a / flap.half_length_mm));
        let (a, b) = (a / flap.half_length_mm, b / width);
        let q = a.abs().powi(3) + b.abs().powi(3);
        let inside = (1.0 - q.cbrt()) * flap.half_length_mm.min(flap.half_width_mm);
        (q <= 1.0).then_some((t, [a, b], inside))
    }

    /// Intersection of a ray with a flap on either side; `shaded` gives the fraction of sunlight that other objects let through.
    pub fn flap(&self, ray: &Ray, flap: &FlapSet, shaded: impl Fn(Vector3<f64>) -> f64) -> Option<Hit> {
        let (t, [a, b], inside) = self.on_flap(ray, flap)?;
        let point = ray.at(t);
        let (s, y) = self.outline.place(point.xy());
        let set = self.outline.set();
        let leather = flap.colour.map_or(self.leather, linear);
        let mut colour =
            self.rubbed(leather, self.worn(s + 5.0, y)) * self.texture(s + 3.0, y, set.texture.min(0.4));
        if set.seam.inside_mm > 0.0 && (inside - 7.0).abs() < 6.0 {
            let run = b.atan2(a) * flap.half_length_mm;
            let thread = stitches(&set.seam, inside - 7.0, run, self.pixel_mm);
            colour = colour * thread.groove * (1.0 - thread.cover) + linear(set.seam.colour) * thread.cover;
        }
        // Sloping away from the midline, with a bevelled rim.
        let bevel = if set.padding > 0.0 { 1.0 - step(0.0, 2.0, inside) } else { 0.0 };
        let slope = flap.fall + 0.5 * bevel + 0.12 * set.texture * smooth(3.0 * s, y / 60.0, 23);
        let lean = self.outline.direction(0.0, y.signum() * slope);
        let normal = Vector3::new(lean.x, lean.y, 1.0).normalize();
        let sunny = self.sunny(point) * shaded(point);
        let open = self.under(point);
        let lit = self.light.shade(point, normal, open, sunny);
        let shine = 0.7 * set.gloss * self.light.glint(point, normal, -ray.along.normalize(), sunny);
        Some(Hit { t, colour: colour * lit + Vector3::repeat(shine * open) })
    }

    /// Intersection of a ray with the panel beneath the form; `shaded` as for a flap.
    pub fn panel(&self, ray: &Ray, panel: &PanelSet, shaded: impl Fn(Vector3<f64>) -> f64) -> Option<Hit> {
        let height = |p: Vector3<f64>| {
            let (s, y) = self.outline.place(p.xy());
            self.outline.edge_lift_mm(Outline::side(y), s.clamp(0.0, 1.0)) - panel.below_mm
        };
        let mut t = ray.t_at_height(self.outline.set().lift.at(0.5) - panel.below_mm);
        for _ in 0..4 {
            t = ray.t_at_height(height(ray.at(t)));
        }
        let point = ray.at(t);
        let (s, y) = self.outline.place(point.xy());
        let within = self.outline.inside_mm(s, y) + panel.beyond_mm.at(s.clamp(0.0, 1.0));
        if within < 0.0 {
            return None;
        }
        // Rounded rim.
        let lean = self.outward(s, y) * (1.2 * (1.0 - step(0.0, PANEL_RIM_MM, within)));
        let normal = Vector3::new(lean.x, lean.y, 1.0).normalize();
        let colour = linear(panel.colour) * self.texture(s + 7.0, y, self.outline.set().texture.min(0.4));
        let sunny = self.sunny(point) * shaded(point);
        Some(Hit { t, colour: colour * self.light.shade(point, normal, self.under(point), sunny) })
    }

    /// Fraction of the light that the flaps leave to a lower point.
    pub fn under_flaps(&self, p: Vector3<f64>) -> f64 {
        let set = self.outline.set();
        let contact = self.light.set.contact;
        let Some(flap) = set.flaps.first().filter(|_| contact > 0.0) else { return 1.0 };
        let (s, y) = self.outline.place(p.xy());
        let (x, out) = ((flap.station - s) * set.length_mm, y.abs() - flap.out_mm);
        let turn = heading(flap.turn_deg);
        let (a, b) = (out * turn.x + x * turn.y, x * turn.x - out * turn.y);
        let q = ((a / flap.half_length_mm).abs().powi(3) + (b / flap.half_width_mm).abs().powi(3)).cbrt();
        let inside = (1.0 - q) * flap.half_length_mm.min(flap.half_width_mm);
        let gap = (flap.lift_mm - p.z).max(4.0);
        1.0 - 0.8 * contact * step(-0.8 * gap, 0.5 * gap, inside)
    }

    /// Points around a flap on both sides, for its pixel bounds.
    pub fn flap_hull(&self, flap: &FlapSet) -> Vec<Vector3<f64>> {
        let reach = 1.15 * (flap.half_length_mm.max(flap.half_width_mm * 1.12)) * 2f64.sqrt();
        let along = reach / self.outline.set().length_mm;
        let far = flap.out_mm + reach;
        let corner = |s: f64, out: f64| {
            let p = self.outline.plan(flap.station + s, out);
            [-1.0, 1.0].map(|sign| Vector3::new(p.x, p.y, flap.lift_mm + sign * flap.fall * reach))
        };
        [(-along, far), (along, far), (along, -far), (-along, -far)].map(|(s, out)| corner(s, out)).concat()
    }
}

/// Position along and across a strap, mm.
fn on_strap(outline: &Outline, strap: &StrapSet, station: f64, left_mm: f64) -> (f64, f64) {
    let turn = heading(strap.turn_deg);
    let x = (station - strap.station) * outline.set().length_mm;
    (left_mm * turn.x + x * turn.y, x * turn.x - left_mm * turn.y)
}

/// Whether a strap hides a point at this distance from the midline.
pub fn is_under_strap(outline: &Outline, station: f64, side: Side, half_mm: f64) -> bool {
    outline.set().straps.iter().any(|strap| {
        let (along, across) = on_strap(outline, strap, station, sign(side) * half_mm);
        let ends = if along >= 0.0 { strap.reach_mm[0] } else { strap.reach_mm[1] };
        across.abs() < strap.width_mm / 2.0 + STRAP_HIDES_MM && along.abs() < ends + STRAP_HIDES_MM
    })
}
