//! The band: the photo straightened along a first trace, in which every line that runs round the form is straight; and
//! which of those lines is the edge.
//!
//! All rows show the same group of lines (seam, inner and outer side of the welt), so a template of the group is
//! found together with each row's shift against it, by turns: the shifts by the boundary programme, the template as
//! the mean of the shifted rows. No row can then lie on another line than its neighbours do. The edge is the group's
//! outermost line (for a channel the innermost): the last one that stands out of what lies beyond it.

use nalgebra::Vector2;
use rayon::prelude::*;

use super::chart::Chart;
use super::lift::LiftProfile;
use super::midline::Midline;
use super::strip::{Evidence, Strip};
use super::trace::Programme;
use crate::camera::Camera;
use crate::ground::frame::CardPoint;
use crate::photo::Photo;

/// Columns of a band stand this far apart, mm.
pub const STEP_MM: f64 = 0.2;
/// A band reaches this far to either side of its line, mm.
pub const HALF_WIDTH_MM: f64 = 26.0;
/// Rows of a band stand this far apart along the line, mm.
pub const ROW_MM: f64 = 1.0;

/// A line in the card's horizontal with its outward normals, one point a millimetre.
#[derive(Debug, Clone)]
pub struct Curve {
    /// The points, mm.
    pub points: Vec<Vector2<f64>>,
    /// Unit normals, outwards: away from the form.
    pub normals: Vec<Vector2<f64>>,
    /// 1 when outwards is to the right of the direction of travel (x right, y up), -1 when it is to the left.
    turn: f64,
}

impl Curve {
    /// The curve of a trace given as a reach in each row of its chart, smoothed over some millimetres. Outwards is away
    /// from the midline, or toward it for the edge of a channel.
    pub fn from_reach(chart: &Chart, reach_mm: &[f64], toward_midline: bool) -> Self {
        let points: Vec<Vector2<f64>> =
            chart.rays.iter().zip(reach_mm).map(|(ray, r)| ray.start_mm + ray.direction * *r).collect();
        let middle = chart.rays[chart.rays.len() / 2].direction;
        let travel = points[points.len() - 1] - points[0];
        let right = if travel.perp(&middle) < 0.0 { 1.0 } else { -1.0 };
        Self::through(&points, SMOOTHING_MM, if toward_midline { -right } else { right })
    }

    /// A smooth curve through points in order, resampled to one a millimetre; outwards is to the right of the direction
    /// of travel when `turn` is 1, to the left when it is -1.
    pub fn through(points: &[Vector2<f64>], smoothing_mm: f64, turn: f64) -> Self {
        let even = resampled(points);
        let smooth = resampled(&smoothed(&even, smoothing_mm));
        let n = smooth.len();
        let normals = (0..n)
            .map(|i| (smooth[(i + 1).min(n - 1)] - smooth[i.saturating_sub(1)]).normalize())
            .map(|t| Vector2::new(t.y, -t.x) * turn)
            .collect();
        Self { points: smooth, normals, turn }
    }

    /// The curve moved along its normals by an offset of each point, mm, and smoothed again.
    pub fn moved(&self, offsets_mm: &[f64], smoothing_mm: f64) -> Self {
        let points: Vec<_> =
            self.points.iter().zip(&self.normals).zip(offsets_mm).map(|((p, n), o)| p + n * *o).collect();
        Self::through(&points, smoothing_mm, self.turn)
    }

    /// The point at an offset from the curve, at the profile's lift there.
    pub fn point(&self, row: usize, offset_mm: f64, midline: &Midline, lift: &LiftProfile) -> CardPoint {
        let p = self.points[row] + self.normals[row] * offset_mm;
        let (station, _) = midline.station_and_offset(p, super::Side::Left);
        CardPoint::new(p.x, p.y, lift.at_mm(station))
    }
}

/// Rounds off the steps of a coarse trace; a bend of 60 mm radius moves by a quarter of a millimetre.
const SMOOTHING_MM: f64 = 5.0;

/// Points one `ROW_MM` apart along the polyline.
fn resampled(points: &[Vector2<f64>]) -> Vec<Vector2<f64>> {
    let mut out = vec![points[0]];
    let mut left = ROW_MM;
    for pair in points.windows(2) {
        let length = (pair[1] - pair[0]).norm();
        let mut at = left;
        while at <= length {
            out.push(pair[0] + (pair[1] - pair[0]) * (at / length));
            at += ROW_MM;
        }
        left = at - length;
    }
    let last = points[points.len() - 1];
    if (last - out[out.len() - 1]).norm() > 0.5 * ROW_MM || out.len() < 2 {
        out.push(last);
    }
    out
}

/// Gaussian smoothing along the points; the ends stay where they are, since the curve is continued there by its
/// reflection through them.
fn smoothed(points: &[Vector2<f64>], sigma_mm: f64) -> Vec<Vector2<f64>> {
    if sigma_mm <= 0.0 {
        return points.to_vec();
    }
    let reach = (3.0 * sigma_mm / ROW_MM).ceil() as isize;
    let n = points.len() as isize;
    let at = |i: isize| -> Vector2<f64> {
        if i < 0 {
            points[0] * 2.0 - points[(-i).min(n - 1) as usize]
        } else if i >= n {
            points[(n - 1) as usize] * 2.0 - points[(2 * (n - 1) - i).max(0) as usize]
        } else {
            points[i as usize]
        }
    };
    let weights: Vec<f64> =
        (-reach..=reach).map(|k| (-0.5 * (k as f64 * ROW_MM / sigma_mm).powi(2)).exp()).collect();
    let total: f64 = weights.iter().sum();
    (0..n)
        .map(|i| (-reach..=reach).zip(&weights).map(|(k, w)| at(i + k) * *w).sum::<Vector2<f64>>() / total)
        .collect()
}

/// Rows on either side that the band's evidence takes along: 11 mm in all, along a line that is straight in the band.
const EVIDENCE_ROWS: usize = 5;
/// Windows on either side of a boundary: this long in photo pixels, since finer detail is blurred, but no shorter than
/// the second value, mm.
const WINDOW_PX: f64 = 1.4;
const WINDOW_MM: f64 = 0.6;

/// Columns of a band.
pub fn columns() -> usize {
    (2.0 * HALF_WIDTH_MM / STEP_MM).round() as usize + 1
}

/// Offset of a band's column, mm.
pub fn offset_mm(column: usize) -> f64 {
    column as f64 * STEP_MM - HALF_WIDTH_MM
}

/// Samples the band of a curve.
pub fn sample(photo: &Photo, camera: &Camera, midline: &Midline, lift: &LiftProfile, curve: &Curve) -> Strip {
    Strip::sample(photo, camera, curve.points.len(), columns(), |row, column| {
        curve.point(row, offset_mm(column), midline, lift)
    })
}

/// Evidence for lines along the band, sharp steps only; `mm_per_px` is what a photo pixel covers.
pub fn evidence(band: &Strip, mm_per_px: f64) -> Evidence {
    Evidence::of_sharp_steps(band, window_columns(mm_per_px), EVIDENCE_ROWS)
}

fn window_columns(mm_per_px: f64) -> usize {
    ((WINDOW_PX * mm_per_px).max(WINDOW_MM) / STEP_MM).round() as usize
}

/// How the lines of a band run: each row's shift against the look that all rows share.
#[derive(Debug, Clone)]
pub struct Aligned {
    /// Shift of each row, mm: a line at offset o in row r of the aligned band lies at o + shift in the band.
    pub shifts_mm: Vec<f64>,
    /// Share of the rows whose look agrees with the common one.
    pub agreement: f64,
}

/// Rows may be shifted by this much, mm: more than the distance from a seam to the edge.
const MOST_SHIFT_MM: f64 = 13.0;
const ROUNDS: usize = 6;
/// Steepest slope against the band, columns a row.
const MAX_SLOPE: usize = 2;
const BEND_COST: f32 = 1.0;
/// The part of the look that rows are matched with, mm from the middle: as far inwards as a seam lies from the edge,
/// and hardly outwards, since what lies beyond the edge changes along it.
const MATCH_MM: (f64, f64) = (-12.0, 3.0);

/// Aligns the rows of a band by the look of the form's own rim: the common profile of light across it and each row's
/// shift are found by turns.
pub fn align(band: &Strip) -> Option<Aligned> {
    let profiles = row_profiles(band);
    let mut shifts = vec![0.0; band.rows];
    let mut agreement = 0.0;
    for _ in 0..ROUNDS {
        let template = mean_profile(&profiles, &shifts);
        let likeness = likeness(&profiles, &template, MOST_SHIFT_MM);
        (shifts, agreement) = shifts_by(&likeness, band.rows)?;
        centre(&mut shifts);
    }
    Some(Aligned { shifts_mm: shifts, agreement })
}

/// How much every row of a band looks, at every shift out to `most_mm`, like the welt does along it: from -1 to 1, row by
/// row. What the welt looks like is taken from the rows nearby and from all others, half and half: light changes along
/// the outline, and a stretch that lies on another line must not keep to itself.
pub fn likeness_to_mean(band: &Strip, most_mm: f64, mm_per_px: f64) -> Vec<f32> {
    let welt = (WELT_INSIDE_MM, -WELT_BLUR_PX * mm_per_px);
    let profiles = row_profiles(band);
    let windows: Vec<Option<Vec<f32>>> = profiles.iter().map(|p| window(p, 0, welt)).collect();
    let skipped = (band.rows as f64 * END_PART) as usize;
    let middle = &windows[skipped..band.rows - skipped];
    let all = unit_mean(middle, middle.len() as f32, middle.len() as f32 / 2.0);
    let most = (most_mm / STEP_MM).round() as isize;
    profiles
        .par_iter()
        .enumerate()
        .flat_map_iter(|(row, profile)| {
            let at = row.clamp(skipped, band.rows - skipped - 1) - skipped;
            let near = unit_mean(middle, NEAR_ROWS, at as f32);
            let template: Vec<f32> = all.iter().zip(&near).map(|(a, n)| 0.5 * (a + n)).collect();
            (-most..=most)
                .map(|shift| {
                    window(profile, shift, welt)
                        .map_or(0.0, |w| w.iter().zip(&template).map(|(a, b)| a * b).sum::<f32>())
                })
                .collect::<Vec<_>>()
        })
        .collect()
}

/// The part of the look that is the welt's own, its crease and its rounding, begins here, mm from the edge.
const WELT_INSIDE_MM: f64 = -7.0;
/// And it ends so many photo pixels inside the edge: nearer to it blur mixes in what lies beyond.
const WELT_BLUR_PX: f64 = 0.7;
/// Rows over which the light along the outline stays much the same (a standard deviation).
const NEAR_ROWS: f32 = 40.0;
/// The ends of a band, this part of it each, say nothing of how the welt looks.
const END_PART: f64 = 0.125;

/// Mean of the windows around a row, brought to norm 1.
fn unit_mean(windows: &[Option<Vec<f32>>], sigma_rows: f32, at: f32) -> Vec<f32> {
    let length = windows.iter().flatten().map(Vec::len).next().unwrap_or(0);
    let mut sum = vec![0.0; length];
    for (row, window) in windows.iter().enumerate() {
        let z = (row as f32 - at) / sigma_rows;
        if let (Some(window), true) = (window, z.abs() < 3.0) {
            let weight = (-0.5 * z * z).exp();
            sum.iter_mut().zip(window).for_each(|(s, w)| *s += weight * w);
        }
    }
    let norm = sum.iter().map(|v| v * v).sum::<f32>().sqrt().max(1e-6);
    sum.iter_mut().for_each(|v| *v /= norm);
    sum
}

/// The zero of the look is nobody's business: keep the median shift at nothing.
fn centre(shifts: &mut [f64]) {
    let mut all = shifts.to_vec();
    let middle = all.len() / 2;
    let (_, median, _) = all.select_nth_unstable_by(middle, f64::total_cmp);
    let median = *median;
    shifts.iter_mut().for_each(|s| *s -= median);
}

/// Light across the band, each row averaged with its neighbours along the line.
fn row_profiles(band: &Strip) -> Vec<Vec<f32>> {
    const AVERAGED_ROWS: usize = 4;
    (0..band.rows)
        .into_par_iter()
        .map(|row| {
            let near = row.saturating_sub(AVERAGED_ROWS)..(row + AVERAGED_ROWS + 1).min(band.rows);
            let n = near.len() as f32;
            (0..band.columns).map(|c| near.clone().map(|r| band.row(r)[c][0]).sum::<f32>() / n).collect()
        })
        .collect()
}

fn column_of(offset: f64) -> isize {
    ((offset + HALF_WIDTH_MM) / STEP_MM).round() as isize
}

/// The window of a profile at a shift, brought to mean 0 and norm 1; `None` outside the photo.
fn window(profile: &[f32], shift_columns: isize, reach_mm: (f64, f64)) -> Option<Vec<f32>> {
    let (from, to) = (column_of(reach_mm.0) + shift_columns, column_of(reach_mm.1) + shift_columns);
    let raw = profile.get(usize::try_from(from).ok()?..=usize::try_from(to).ok()?)?;
    let mean = raw.iter().sum::<f32>() / raw.len() as f32;
    let norm = raw.iter().map(|v| (v - mean) * (v - mean)).sum::<f32>().sqrt();
    (norm.is_finite()).then(|| raw.iter().map(|v| (v - mean) / norm.max(LEAST_PROFILE_NORM)).collect())
}

/// Below this the profile is noise: a hundredth of full scale over the window.
const LEAST_PROFILE_NORM: f32 = 0.03;

fn mean_profile(profiles: &[Vec<f32>], shifts: &[f64]) -> Vec<f32> {
    let length = (column_of(MATCH_MM.1) - column_of(MATCH_MM.0) + 1) as usize;
    let mut sum = vec![0.0; length];
    for (profile, shift) in profiles.iter().zip(shifts) {
        if let Some(window) = window(profile, (shift / STEP_MM).round() as isize, MATCH_MM) {
            sum.iter_mut().zip(window).for_each(|(s, w)| *s += w);
        }
    }
    let norm = sum.iter().map(|v| v * v).sum::<f32>().sqrt().max(1e-6);
    sum.iter().map(|v| v / norm).collect()
}

fn likeness(profiles: &[Vec<f32>], template: &[f32], most_mm: f64) -> Vec<f32> {
    let most = (most_mm / STEP_MM).round() as isize;
    profiles
        .par_iter()
        .flat_map_iter(|profile| {
            (-most..=most).map(move |shift| {
                window(profile, shift, MATCH_MM)
                    .map_or(0.0, |w| w.iter().zip(template).map(|(a, b)| a * b).sum::<f32>())
            })
        })
        .collect()
}

fn shifts_by(likeness: &[f32], rows: usize) -> Option<(Vec<f64>, f64)> {
    let places = likeness.len() / rows;
    let cost = likeness.iter().map(|l| -l).collect();
    let traced = Programme { rows, places, cost, max_slope: MAX_SLOPE, bend_cost: BEND_COST }.run()?;
    let agreeing =
        traced.path.iter().enumerate().filter(|(row, p)| likeness[row * places + **p] > 0.5).count();
    let shifts = traced.path.iter().map(|&p| (p as f64 - (places / 2) as f64) * STEP_MM).collect();
    Some((shifts, agreeing as f64 / rows as f64))
}
