//! Boxes and cloths.

use nalgebra::{Vector2, Vector3};

use super::light::{Colour, heading, linear};
use super::noise::smooth;
use super::place::Ray;
use super::scenario::{BoxSet, ClothSet};

/// A box that stands on the floor.
#[derive(Debug, Clone)]
pub struct Block {
    centre: Vector2<f64>,
    x_axis: Vector2<f64>,
    half: Vector2<f64>,
    /// Height of its top, mm.
    pub top_mm: f64,
    bottom_mm: f64,
    /// Its colour.
    pub colour: Colour,
}

impl Block {
    /// A box on a floor at the given height.
    pub fn new(set: &BoxSet, floor_mm: f64) -> Self {
        Self {
            centre: set.at_mm.into(),
            x_axis: heading(set.yaw_deg),
            half: Vector2::new(set.size_mm[0], set.size_mm[1]) / 2.0,
            top_mm: floor_mm + set.size_mm[2],
            bottom_mm: floor_mm,
            colour: linear(set.colour),
        }
    }

    fn to_own(&self, v: Vector2<f64>) -> Vector2<f64> {
        Vector2::new(v.dot(&self.x_axis), -v.perp(&self.x_axis))
    }

    fn to_world(&self, v: Vector2<f64>) -> Vector2<f64> {
        self.x_axis * v.x + Vector2::new(-self.x_axis.y, self.x_axis.x) * v.y
    }

    /// Its corners.
    pub fn corners(&self) -> Vec<Vector3<f64>> {
        let signs = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
        let plan =
            signs.map(|(a, b)| self.centre + self.to_world(Vector2::new(a * self.half.x, b * self.half.y)));
        plan.iter().flat_map(|p| [self.bottom_mm, self.top_mm].map(|z| Vector3::new(p.x, p.y, z))).collect()
    }

    /// First intersection with a ray and the normal there.
    pub fn meet(&self, ray: &Ray) -> Option<(f64, Vector3<f64>)> {
        let from = self.to_own(ray.from.xy() - self.centre);
        let along = self.to_own(ray.along.xy());
        let mut near = (ray.t_at_height(self.top_mm), Vector3::z());
        let mut far = ray.t_at_height(self.bottom_mm);
        for axis in 0..2 {
            if along[axis].abs() < 1e-12 {
                if from[axis].abs() > self.half[axis] {
                    return None;
                }
                continue;
            }
            let side = -along[axis].signum();
            let enter = (side * self.half[axis] - from[axis]) / along[axis];
            far = far.min((-side * self.half[axis] - from[axis]) / along[axis]);
            if enter > near.0 {
                let own = if axis == 0 { Vector2::new(side, 0.0) } else { Vector2::new(0.0, side) };
                let n = self.to_world(own);
                near = (enter, Vector3::new(n.x, n.y, 0.0));
            }
        }
        (near.0 < far).then_some(near)
    }

    /// Whether it is between a point and the sun.
    pub fn shades(&self, p: Vector3<f64>, sun: Vector3<f64>) -> bool {
        if sun.z <= 0.0 || p.z >= self.top_mm {
            return false;
        }
        let from = self.to_own(p.xy() - self.centre);
        let along = self.to_own(sun.xy());
        let mut near = ((self.bottom_mm - p.z) / sun.z).max(1e-3);
        let mut far = (self.top_mm - p.z) / sun.z;
        for axis in 0..2 {
            let (a, b) =
                ((-self.half[axis] - from[axis]) / along[axis], (self.half[axis] - from[axis]) / along[axis]);
            near = near.max(a.min(b));
            far = far.min(a.max(b));
        }
        near < far
    }

    /// Fraction of a uniform sky hidden by its wall from a point at the height of its base: the view factor of a strip
    /// perpendicular to a long wall (from memory).
    pub fn darkens_above(&self, p: Vector3<f64>) -> f64 {
        if self.bottom_mm < p.z - 5.0 || self.bottom_mm > p.z + 5.0 {
            return 0.0;
        }
        let d = self.to_own(p.xy() - self.centre).abs() - self.half;
        let away = Vector2::new(d.x.max(0.0), d.y.max(0.0)).norm();
        0.5 * (1.0 - away / away.hypot(self.top_mm - self.bottom_mm))
    }

    /// Strength of its contact shadow on the ground, 0 to 1.
    pub fn darkens(&self, p: Vector2<f64>) -> f64 {
        let d = self.to_own(p - self.centre).abs() - self.half;
        let away = Vector2::new(d.x.max(0.0), d.y.max(0.0)).norm();
        let part = away / (0.3 * (self.top_mm - self.bottom_mm)).max(1.0);
        // Zero beyond six times its reach.
        if part > 6.0 { 0.0 } else { 0.6 * (-part).exp() * (1.0 - part / 6.0) }
    }
}

/// A cloth on the floor.
#[derive(Debug, Clone)]
pub struct Cloth {
    centre: Vector2<f64>,
    x_axis: Vector2<f64>,
    radius: f64,
    /// Its height, mm.
    pub height_mm: f64,
    colour: Colour,
    salt: u64,
}

/// Thickness of a cloth, mm.
const CLOTH_MM: f64 = 3.0;

impl Cloth {
    /// A cloth on a floor at the given height.
    pub fn new(set: &ClothSet, floor_mm: f64, salt: u64) -> Self {
        Self {
            centre: set.at_mm.into(),
            x_axis: heading(set.yaw_deg),
            radius: set.radius_mm,
            height_mm: floor_mm + CLOTH_MM,
            colour: linear(set.colour),
            salt,
        }
    }

    /// Corners of a square around it.
    pub fn corners(&self) -> [Vector3<f64>; 4] {
        let r = 1.6 * self.radius;
        [(-r, -r), (r, -r), (r, r), (-r, r)]
            .map(|(x, y)| Vector3::new(self.centre.x + x, self.centre.y + y, self.height_mm))
    }

    /// Its colour at a point of the plan; `None` outside.
    pub fn colour(&self, p: Vector2<f64>) -> Option<Colour> {
        let v = p - self.centre;
        let (x, y) = (v.dot(&self.x_axis), v.perp(&self.x_axis));
        let wave = 0.09 * self.radius * smooth(x / 90.0, y / 90.0, self.salt);
        let side = (x.abs().powi(6) + (y.abs() * 1.25).powi(6)).powf(1.0 / 6.0);
        let folds =
            smooth(x / 80.0, y / 50.0, self.salt + 1) + 0.5 * smooth(x / 25.0, y / 60.0, self.salt + 2);
        (side < self.radius + wave).then(|| self.colour * (1.0 + 0.16 * folds))
    }
}
