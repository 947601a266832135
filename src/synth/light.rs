//! The light that falls on a point, and colours as linear light.

use nalgebra::{Vector2, Vector3};

use super::scenario::{LightSet, Rgb};

/// Linear red, green and blue.
pub type Colour = Vector3<f64>;

/// Linear light of an 8-bit sRGB colour (IEC 61966-2-1:1999).
pub fn linear(rgb: Rgb) -> Colour {
    let decode = |level: u8| {
        let v = f64::from(level) / 255.0;
        if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    };
    Vector3::new(decode(rgb[0]), decode(rgb[1]), decode(rgb[2]))
}

/// 0 up to `low`, 1 from `high`, smooth between.
#[inline]
pub fn step(low: f64, high: f64, x: f64) -> f64 {
    let t = ((x - low) / (high - low)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A unit vector of the plan from an angle, degrees from x to y.
pub fn heading(degrees: f64) -> Vector2<f64> {
    let (sin, cos) = degrees.to_radians().sin_cos();
    Vector2::new(cos, sin)
}

/// The light of a scene.
#[derive(Debug, Clone)]
pub struct Light {
    /// What was set.
    pub set: LightSet,
    sun: Vector3<f64>,
    toward_sun: Vector2<f64>,
    into_shadow: Vector2<f64>,
}

impl Light {
    /// The light that was set.
    pub fn new(set: &LightSet) -> Self {
        let (sin, cos) = set.sun_elevation_deg.clamp(5.0, 90.0).to_radians().sin_cos();
        let toward_sun = heading(set.sun_azimuth_deg);
        let h = toward_sun * cos;
        let into_shadow = heading(set.shadow.as_ref().map_or(0.0, |s| s.toward_deg));
        Self { set: set.clone(), sun: Vector3::new(h.x, h.y, sin), toward_sun, into_shadow }
    }

    /// Where a ray of the sun through a point meets a height, mm.
    #[inline]
    pub fn along_sun(&self, p: Vector3<f64>, height_mm: f64) -> Vector2<f64> {
        p.xy() + self.sun.xy() * ((height_mm - p.z) / self.sun.z)
    }

    /// Light on a surface, 1 on a level one in full light; `sunny` is the part of the sun that reaches it.
    #[inline]
    pub fn on(&self, p: Vector3<f64>, normal: Vector3<f64>, sunny: f64) -> f64 {
        let far = p.xy().dot(&self.toward_sun) / 1000.0;
        let sky = self.set.sky * (1.0 + self.set.gradient * far).max(0.1) * (0.55 + 0.45 * normal.z);
        let sun = self.set.sun * (normal.dot(&self.sun) / self.sun.z).max(0.0) * sunny;
        (sky + sun) * self.through_shadow(p)
    }

    fn through_shadow(&self, p: Vector3<f64>) -> f64 {
        let Some(shadow) = &self.set.shadow else { return 1.0 };
        let d = (self.along_sun(p, 0.0) - Vector2::from(shadow.at_mm)).dot(&self.into_shadow);
        1.0 - shadow.depth * step(-shadow.soft_mm / 2.0, shadow.soft_mm / 2.0, d)
    }
}
