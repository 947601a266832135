//! The floor: boards, tiles, straw, concrete, or one colour.

use nalgebra::{Vector2, Vector3};

use super::light::{Colour, heading, linear, step};
use super::noise::{cell, smooth};
use super::scenario::{FloorKind, FloorSet};

/// The floor of a scene.
#[derive(Debug, Clone)]
pub struct Floor {
    /// Its parameters.
    pub set: FloorSet,
    colour: Colour,
    along: Vector2<f64>,
    salt: u64,
    /// Sine and cosine of the directions of straw.
    turns: [(f64, f64); 6],
}

impl Floor {
    /// A floor; `salt` varies its texture.
    pub fn new(set: &FloorSet, salt: u64) -> Self {
        let turns = [0.0f64, 97.0, 41.0, 138.0, 68.0, 17.0].map(|d| d.to_radians().sin_cos());
        Self { set: set.clone(), colour: linear(set.colour), along: heading(set.turn_deg), salt, turns }
    }

    /// Its colour at a point of the plan.
    pub fn colour(&self, p: Vector2<f64>) -> Colour {
        let (u, v) = (p.dot(&self.along), p.perp(&self.along));
        match self.set.kind {
            FloorKind::Plain => self.colour,
            FloorKind::Planks => self.planks(u, v),
            FloorKind::Tiles => self.tiles(u, v),
            FloorKind::Straw => self.straw(u, v),
            FloorKind::Concrete => {
                let mottle =
                    smooth(u / 70.0, v / 70.0, self.salt) + 0.6 * smooth(u / 14.0, v / 14.0, self.salt);
                self.colour * (1.0 + 0.1 * mottle + 0.06 * smooth(u / 2.0, v / 2.0, self.salt + 1))
            }
        }
    }

    fn planks(&self, u: f64, v: f64) -> Colour {
        const WIDTH: f64 = 115.0;
        const LENGTH: f64 = 1400.0;
        let row = (v / WIDTH).floor();
        let shift = cell(row as i64, 3, self.salt) * LENGTH;
        let board = ((u + shift) / LENGTH).floor();
        let own = |n: i64| cell(row as i64 * 7 + n, board as i64, self.salt);
        let across = (v / WIDTH - row) * WIDTH;
        let along = ((u + shift) / LENGTH - board) * LENGTH;
        let seam = across.min(WIDTH - across).min(along).min(LENGTH - along);
        let wander = 4.0 * smooth(u / 150.0, v / 30.0, self.salt);
        let grain = smooth(u / 90.0, (v + wander) / 2.6, self.salt + board as u64)
            + 0.7 * smooth(u / 200.0, (v + wander) / 9.0, self.salt + 5);
        let warm = Vector3::new(1.0 + 0.10 * (own(1) - 0.5), 1.0, 1.0 - 0.12 * (own(1) - 0.5));
        let tone = (0.82 + 0.36 * own(2)) * (1.0 + 0.10 * grain) * (0.45 + 0.55 * step(0.3, 1.6, seam));
        self.colour.component_mul(&warm) * tone
    }

    fn tiles(&self, u: f64, v: f64) -> Colour {
        const SIDE: f64 = 298.0;
        let (i, j) = ((u / SIDE).floor(), (v / SIDE).floor());
        let (a, b) = (u - i * SIDE, v - j * SIDE);
        let joint = a.min(SIDE - a).min(b).min(SIDE - b);
        let tone =
            0.92 + 0.16 * cell(i as i64, j as i64, self.salt) + 0.04 * smooth(u / 40.0, v / 40.0, self.salt);
        self.colour * tone * (0.6 + 0.4 * step(1.2, 2.4, joint))
    }

    fn straw(&self, u: f64, v: f64) -> Colour {
        let mut tone: f64 = 0.4 + 0.1 * smooth(u / 60.0, v / 60.0, self.salt);
        for (layer, (sin, cos)) in self.turns.iter().enumerate() {
            let (a, b) = (u * cos + v * sin, v * cos - u * sin);
            let stalk = smooth(a / 70.0, b / 3.0, self.salt.wrapping_mul(7).wrapping_add(layer as u64));
            tone = tone.max((0.5 + 0.09 * layer as f64) * step(0.2, 0.5, stalk));
        }
        self.colour * (0.35 + 0.8 * tone)
    }
}
