//! Reproducible randomness: textures as functions of position, and normal deviates.

use std::f64::consts::TAU;

/// A hash of a lattice cell, 0 to 1.
#[inline]
pub fn cell(i: i64, j: i64, salt: u64) -> f64 {
    let mut h = (i as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15)
        ^ (j as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F)
        ^ salt.wrapping_mul(0x1656_67B1_9E37_79F9);
    h ^= h >> 29;
    h = h.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    h ^= h >> 32;
    (h >> 11) as f64 / (1u64 << 53) as f64
}

/// Value noise from -1 to 1 with features of about one unit.
#[inline]
pub fn smooth(x: f64, y: f64, salt: u64) -> f64 {
    let (i, j) = (x.floor(), y.floor());
    let ease = |t: f64| t * t * (3.0 - 2.0 * t);
    let (u, v) = (ease(x - i), ease(y - j));
    let (i, j) = (i as i64, j as i64);
    let (a, b) = (cell(i, j, salt), cell(i + 1, j, salt));
    let (c, d) = (cell(i, j + 1, salt), cell(i + 1, j + 1, salt));
    let top = a + u * (b - a);
    2.0 * (top + v * (c + u * (d - c) - top)) - 1.0
}

/// Two independent standard normal deviates (G. E. P. Box and M. E. Muller 1958).
#[inline]
pub fn normal_pair(rng: &mut fastrand::Rng) -> (f64, f64) {
    let radius = (-2.0 * (1.0 - rng.f64()).ln()).sqrt();
    let (sin, cos) = (TAU * rng.f64()).sin_cos();
    (radius * cos, radius * sin)
}

/// A generator for one row of a picture, so that rows are independent of their order.
pub fn row_generator(seed: u64, row: usize) -> fastrand::Rng {
    let mixed = (cell(row as i64, 77, seed) * (1u64 << 53) as f64) as u64;
    fastrand::Rng::with_seed(mixed ^ seed.rotate_left(17))
}
