//! Illumination of a point; colours in linear light.

use nalgebra::{Vector2, Vector3};

use super::scenario::{LightSet, Rgb};
use seatspan::photo::srgb::srgb_to_linear;

/// Linear red, green and blue.
pub type Colour = Vector3<f64>;

/// Linear light of an 8-bit sRGB colour.
pub fn linear(rgb: Rgb) -> Colour {
    rgb.map(|level| srgb_to_linear(f64::from(level) / 255.0)).into()
}

/// Smooth step: 0 up to `low`, 1 from `high`.
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
    /// Its parameters.
    pub set: LightSet,
    sun: Vector3<f64>,
    toward_sun: Vector2<f64>,
    into_shadow: Vector2<f64>,
}

impl Light {
    /// A light with these parameters.
    pub fn new(set: &LightSet) -> Self {
        let (sin, cos) = set.sun_elevation_deg.clamp(5.0, 90.0).to_radians().sin_cos();
        let toward_sun = heading(set.sun_azimuth_deg);
        let h = toward_sun * cos;
        let into_shadow = heading(set.shadow.as_ref().map_or(0.0, |s| s.toward_deg));
        Self { set: set.clone(), sun: Vector3::new(h.x, h.y, sin), toward_sun, into_shadow }
    }

    /// Intersection of the sun ray through a point with a height, mm.
    #[inline]
    pub fn along_sun(&self, p: Vector3<f64>, height_mm: f64) -> Vector2<f64> {
        p.xy() + self.sun.xy() * ((height_mm - p.z) / self.sun.z)
    }

    /// Light on an unobstructed surface, 1 on a level one in full light; `sunny` is the fraction of sunlight that reaches it.
    #[inline]
    pub fn on(&self, p: Vector3<f64>, normal: Vector3<f64>, sunny: f64) -> f64 {
        self.shade(p, normal, 1.0, sunny)
    }

    /// Light on a matt surface (Lambert 1760); `open` is the fraction of the sky that nothing hides. A uniform dome lights a
    /// slope by (1 + cos) / 2, a lamp or a window overhead by its cosine.
    #[inline]
    pub fn shade(&self, p: Vector3<f64>, normal: Vector3<f64>, open: f64, sunny: f64) -> f64 {
        let far = p.xy().dot(&self.toward_sun) / 1000.0;
        let dome = 0.5 + 0.5 * normal.z;
        let overhead = self.set.overhead;
        let fall = dome + overhead * (normal.z.max(0.0) - dome);
        let sky = self.set.sky * (1.0 + self.set.gradient * far).max(0.1) * fall * open;
        let sun = self.set.sun * (normal.dot(&self.sun) / self.sun.z).max(0.0) * sunny;
        (sky + sun) * self.through_shadow(p)
    }

    /// Specular reflection toward the eye by a half-polished surface (Blinn 1977): a narrow lobe of the sun and a broad one of
    /// the brightest part of the sky. `toward_eye` has length 1.
    #[inline]
    pub fn glint(&self, p: Vector3<f64>, normal: Vector3<f64>, toward_eye: Vector3<f64>, sunny: f64) -> f64 {
        let lobe = |from: Vector3<f64>, power: i32| {
            let half = (from + toward_eye).normalize();
            normal.dot(&half).max(0.0).powi(power)
        };
        let window = Vector3::new(0.5 * self.toward_sun.x, 0.5 * self.toward_sun.y, 0.87);
        let sun = self.set.sun * sunny * lobe(self.sun, 48);
        let sky = self.set.sky * lobe(window, 14);
        (0.30 * sun + 0.10 * sky) * self.through_shadow(p)
    }

    /// Unit vector toward the sun.
    pub fn sun(&self) -> Vector3<f64> {
        self.sun
    }

    fn through_shadow(&self, p: Vector3<f64>) -> f64 {
        let Some(shadow) = &self.set.shadow else { return 1.0 };
        let d = (self.along_sun(p, 0.0) - Vector2::from(shadow.at_mm)).dot(&self.into_shadow);
        1.0 - shadow.depth * step(-shadow.soft_mm / 2.0, shadow.soft_mm / 2.0, d)
    }
}
