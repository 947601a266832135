//! The visible limb of a round piping against a darker ground.
//!
//! Light from above falls on a cord by the cosine of its surface's slope, so the cord darkens toward its silhouette like
//! `sqrt(1 - (x/r)^2)` and meets a dark ground without a step: where the light has risen half-way lies a quarter of a
//! radius inside the silhouette that a caliper would touch. So not a step is fitted but the cord's own profile.

use nalgebra::Vector2;

use crate::photo::Photo;

/// Bins of the profile across the edge.
const BINS: usize = 24;
/// Radii of piping that are tried, mm.
const RADII_MM: [f64; 5] = [1.6, 2.0, 2.5, 3.0, 3.6];
/// Places of the silhouette that are tried: steps of this part of the window.
const PLACES: usize = 49;

/// A window across an edge in the photo: `outward` leads from the cord to the dark ground.
#[derive(Debug, Clone, Copy)]
pub struct LimbWindow {
    /// Where the edge was traced, pixels.
    pub middle: Vector2<f64>,
    /// Unit vector from the cord outwards, in the photo.
    pub outward: Vector2<f64>,
    /// Scale.
    pub px_per_mm: f64,
    /// Half-length along the edge, mm.
    pub along_mm: f64,
    /// Reach over the cord and over the ground beyond it, mm.
    pub reach_mm: (f64, f64),
}

/// Offset of the silhouette outwards from the window's middle and its standard uncertainty, mm. `None` where the window
/// leaves the photo or no cord's profile stands out of the ground.
pub fn limb_offset(photo: &Photo, window: &LimbWindow) -> Option<(f64, f64)> {
    let profile = window.profile(photo)?;
    let mut best: Option<(f64, f64, f64)> = None;
    let mut costs = Vec::new();
    for radius in RADII_MM {
        for i in 0..PLACES {
            let (low, high) = (-window.reach_mm.0 * 0.6, window.reach_mm.1 * 0.85);
            let place = low + (high - low) * i as f64 / (PLACES - 1) as f64;
            let Some((cost, height)) = fit_profile(&profile, place, radius) else { continue };
            if height <= 0.0 {
                continue;
            }
            costs.push((place, cost));
            if best.is_none_or(|b| cost < b.1) {
                best = Some((place, cost, height));
            }
        }
    }
    let (place, cost, height) = best?;
    let noise = (cost / (profile.len() as f64 - 4.0)).sqrt();
    if height < 4.0 * noise {
        return None;
    }
    Some((place, spread_of(&costs, place, cost, profile.len())))
}

/// One bin: place across the edge (outwards, mm), mean light and number of pixels.
type Bin = (f64, f64, f64);

impl LimbWindow {
    fn profile(&self, photo: &Photo) -> Option<Vec<Bin>> {
        let along = Vector2::new(-self.outward.y, self.outward.x);
        let (inside, outside) = (self.reach_mm.0 * self.px_per_mm, self.reach_mm.1 * self.px_per_mm);
        let half = self.along_mm * self.px_per_mm;
        let centre = self.middle + self.outward * (outside - inside) / 2.0;
        let ext = along.abs() * half + self.outward.abs() * (outside + inside) / 2.0;
        let (low, high) = (centre - ext, centre + ext);
        let (w, h) = ((photo.width_px() - 1) as f64, (photo.height_px() - 1) as f64);
        if low.x < 0.0 || low.y < 0.0 || high.x > w || high.y > h {
            return None;
        }
        let mut sums = [(0.0, 0.0, 0.0); BINS];
        for y in low.y.ceil() as usize..=high.y.floor() as usize {
            for x in low.x.ceil() as usize..=high.x.floor() as usize {
                let p = Vector2::new(x as f64, y as f64) - self.middle;
                let (d, t) = (p.dot(&self.outward), p.dot(&along));
                let bin = (d + inside) / (inside + outside) * BINS as f64;
                if t.abs() <= half && bin >= 0.0 && bin < BINS as f64 {
                    let s = &mut sums[bin as usize];
                    let light = f64::from(photo.linear_luma_pixel(x, y));
                    *s = (s.0 + d / self.px_per_mm, s.1 + light, s.2 + 1.0);
                }
            }
        }
        let bins: Vec<Bin> =
            sums.into_iter().filter(|s| s.2 > 0.0).map(|s| (s.0 / s.2, s.1 / s.2, s.2)).collect();
        (bins.len() >= 8).then_some(bins)
    }
}

/// Least squares of ground plus cord; the weighted sum of squares and the cord's height over the ground.
fn fit_profile(profile: &[Bin], place: f64, radius: f64) -> Option<(f64, f64)> {
    let shape = |x: f64| {
        // Distance inwards from the silhouette; the cord's far side is its near side's mirror image.
        let u = (place - x) / radius - 1.0;
        if x < place { (1.0 - u * u).max(0.0).sqrt() } else { 0.0 }
    };
    let (mut n, mut sx, mut sy, mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for &(x, y, w) in profile {
        let s = shape(x);
        n += w;
        sx += w * s;
        sy += w * y;
        sxx += w * s * s;
        sxy += w * s * y;
        syy += w * y * y;
    }
    let spread = sxx - sx * sx / n;
    if spread <= 1e-9 * n {
        return None;
    }
    let height = (sxy - sx * sy / n) / spread;
    let cost = (syy - sy * sy / n - height * height * spread) / n * profile.len() as f64;
    Some((cost.max(1e-12), height))
}

/// Standard uncertainty by the likelihood's width: the places whose cost, with noise as found, is within one unit.
fn spread_of(costs: &[(f64, f64)], place: f64, cost: f64, bins: usize) -> f64 {
    let variance = cost / (bins as f64 - 4.0);
    let within = costs.iter().filter(|c| (c.1 - cost) <= variance).map(|c| (c.0 - place).abs());
    within.fold(0.1, f64::max)
}
