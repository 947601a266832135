//! Printed cards as flat or slightly bowed sheets of paper.

use nalgebra::{Rotation3, Vector2, Vector3};

use super::light::Colour;
use super::place::Ray;
use super::scenario::CardSet;
use seatspan::card::bank_card::{BRACKET_MM, FRAME_LINE_MM, ID1_MM, frame_middle_mm};
use seatspan::card::pattern::{MODULES, Pattern, modules, patterns};

/// Reflectance of white paper and of black ink.
const PAPER: f64 = 0.84;
const INK: f64 = 0.035;

/// A card in the scene.
pub struct Paper {
    /// Its parameters.
    pub set: CardSet,
    /// Its pattern.
    pub pattern: &'static Pattern,
    /// Rotation from its own frame to that of the first card.
    pub rotation: Rotation3<f64>,
    /// Its centre in the frame of the first card, mm.
    pub centre: Vector3<f64>,
    codes: Vec<[[bool; MODULES]; MODULES]>,
}

impl Paper {
    /// A card; `None` where its pattern or copy is unknown.
    pub fn new(set: &CardSet) -> Option<Self> {
        let pattern = patterns().iter().find(|p| p.name == set.pattern && set.copy < p.copies)?;
        let codes =
            (0..pattern.tags.len()).map(|i| modules(pattern.tag_id(set.copy, i))).collect::<Option<_>>()?;
        let yaw = Rotation3::from_axis_angle(&Vector3::z_axis(), set.yaw_deg.to_radians());
        let tilt = Rotation3::from_axis_angle(&Vector3::x_axis(), set.tilt_deg.to_radians());
        Some(Self { set: set.clone(), pattern, rotation: yaw * tilt, centre: set.at_mm.into(), codes })
    }

    /// Half the sheet's sides, mm, with the margins of a printed page.
    pub fn half_sheet(&self) -> Vector2<f64> {
        let margin = if self.pattern.height_mm > 100.0 { (23.5, 15.0) } else { (23.5, 10.0) };
        Vector2::new(self.pattern.width_mm / 2.0 + margin.0, self.pattern.height_mm / 2.0 + margin.1)
    }

    /// Height of the bowed paper above its plane, mm: a parabola with zeros at the pattern's left and right.
    pub fn bow_at(&self, x_mm: f64) -> f64 {
        self.set.bow_mm * (1.0 - (2.0 * x_mm / self.pattern.width_mm).powi(2))
    }

    /// A nominal point of the pattern in the frame of the first card, mm.
    pub fn printed(&self, nominal: Vector2<f64>) -> Vector3<f64> {
        self.point(nominal * self.set.print_scale)
    }

    /// A point of the paper in the frame of the first card, mm.
    pub fn point(&self, on_card: Vector2<f64>) -> Vector3<f64> {
        self.rotation * Vector3::new(on_card.x, on_card.y, self.bow_at(on_card.x)) + self.centre
    }

    /// The sheet's corners, in the order top-left, top-right, bottom-right, bottom-left.
    pub fn sheet_corners(&self) -> [Vector3<f64>; 4] {
        let h = self.half_sheet();
        [(-h.x, h.y), (h.x, h.y), (h.x, -h.y), (-h.x, -h.y)].map(|(x, y)| self.point(Vector2::new(x, y)))
    }

    /// Intersection with a ray: the ray's parameter and the point on the card.
    #[inline]
    pub fn meet(&self, ray: &Ray) -> Option<(f64, Vector2<f64>)> {
        let back = self.rotation.inverse();
        let (from, along) = (back * (ray.from - self.centre), back * ray.along);
        let half = self.half_sheet();
        let mut t = -from.z / along.z;
        let mut p = from + along * t;
        if self.set.bow_mm != 0.0 {
            for _ in 0..4 {
                t = (self.bow_at(p.x) - from.z) / along.z;
                p = from + along * t;
            }
        }
        (t > 0.0 && p.x.abs() <= half.x && p.y.abs() <= half.y).then(|| (t, p.xy()))
    }

    /// Reflectance at a point of the card.
    #[inline]
    pub fn colour(&self, on_card: Vector2<f64>) -> Colour {
        let part = if self.is_ink(on_card) { INK } else { PAPER };
        Vector3::new(part, part, part * 0.98)
    }

    fn is_ink(&self, on_paper: Vector2<f64>) -> bool {
        let p = on_paper / self.set.print_scale;
        let (x, y) = (p.x + self.pattern.width_mm / 2.0, self.pattern.height_mm / 2.0 - p.y);
        for (tag, code) in self.pattern.tags.iter().zip(&self.codes) {
            let (u, v) = ((x - tag.x_mm) / tag.side_mm, (y - tag.y_mm) / tag.side_mm);
            if (0.0..1.0).contains(&u) && (0.0..1.0).contains(&v) {
                let n = MODULES as f64;
                return !code[(v * n) as usize][(u * n) as usize];
            }
        }
        self.pattern.bank_card_frame && (is_bar(p) || is_frame(p - frame_middle_mm(self.pattern)))
    }
}

/// The bar for checking the print scale.
fn is_bar(p: Vector2<f64>) -> bool {
    let bar = p.x.abs() <= 75.0 && (p.y - 42.0).abs() <= 0.5;
    let ticks =
        p.x.abs() <= 75.3 && (38.0..42.0).contains(&p.y) && ((p.x + 75.0).rem_euclid(10.0) - 5.0).abs() > 4.7;
    bar || ticks
}

/// The corners of the frame for a bank card.
fn is_frame(from_middle: Vector2<f64>) -> bool {
    let beyond = from_middle.abs() - Vector2::from(ID1_MM) / 2.0;
    let on_line = (0.0..=FRAME_LINE_MM).contains(&beyond.max());
    on_line && beyond.min() >= -BRACKET_MM
}
