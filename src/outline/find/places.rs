//! Where a saddle may be in a view from above, by a network that maps its inside and its two ends.

use nalgebra::Vector2;

use super::plane::{CELL_MM, PlaneView};
use crate::outline::network::net::{MULTIPLE, Planes};
use crate::outline::network::{DARK, PLACE_CHANNELS, PLACES, relative};
use crate::outline::strip::CHANNELS;

/// A place where a saddle may be.
#[derive(Debug, Clone, Copy)]
pub struct Candidate {
    /// Front and rear end, mm in the card's horizontal.
    pub ends_mm: [Vector2<f64>; 2],
    /// Log odds of both ends and of the inside between them: the order in which candidates are examined.
    pub score: f32,
}

/// Lengths of a seat form, mm: wider than any saddle's, children's and draught horses' included (common practice, no source).
const LENGTHS_MM: (f64, f64) = (250.0, 600.0);
/// Peaks of a map that are nearer than this are one, mm.
const APART_MM: f64 = 40.0;
/// Peaks of each end's map.
const PEAKS: usize = 4;
/// Points between two ends at which the map of the inside is read.
const BETWEEN: usize = 9;

/// Places where a saddle may be, best first.
pub fn candidates(plane: &PlaneView) -> Vec<Candidate> {
    let picture = picture(plane);
    let columns = picture.columns;
    let [inside, front, rear] = PLACES.maps(picture);
    let at = |map: &[f32], p: Vector2<f64>| {
        let (c, r) = (p.x.round().max(0.0) as usize, p.y.round().max(0.0) as usize);
        map[r.min(plane.rows - 1) * columns + c.min(plane.columns - 1)]
    };
    let peaks = |map: &[f32]| peaks(map, columns, (plane.rows, plane.columns));
    let (fronts, rears) = (peaks(&front), peaks(&rear));
    let pairs = fronts.iter().flat_map(|front| rears.iter().map(move |rear| (front, rear)));
    let mut candidates: Vec<Candidate> = pairs
        .filter_map(|(front, rear)| {
            let along = rear.0 - front.0;
            let length_mm = along.norm() * CELL_MM;
            if !(LENGTHS_MM.0..=LENGTHS_MM.1).contains(&length_mm) {
                return None;
            }
            let between =
                (1..=BETWEEN).map(|i| at(&inside, front.0 + along * (i as f64 / (BETWEEN + 1) as f64)));
            let score = front.1 + rear.1 + between.sum::<f32>() / BETWEEN as f32;
            Some(Candidate { ends_mm: [front.0, rear.0].map(|cell| plane.point_of(cell)), score })
        })
        .collect();
    candidates.sort_by(|a, b| b.score.total_cmp(&a.score));
    candidates
}

/// The network's picture of a view: its colours relative to the mean light of open cells, and whether a cell is open.
pub fn picture(plane: &PlaneView) -> Planes {
    let (rows, columns) = (plane.rows.next_multiple_of(MULTIPLE), plane.columns.next_multiple_of(MULTIPLE));
    let mut picture = Planes::zeros(rows, columns, PLACE_CHANNELS);
    let open = || plane.samples.iter().zip(&plane.open).enumerate().filter(|(_, (_, open))| **open);
    let mean = open().map(|(_, (sample, _))| sample[0]).sum::<f32>() / open().count().max(1) as f32 + DARK;
    for (cell, (sample, _)) in open() {
        let (row, column) = (cell / plane.columns, cell % plane.columns);
        for (k, value) in sample.iter().enumerate() {
            picture.line_mut(row, k)[column] = relative(*value, k, mean);
        }
        picture.line_mut(row, CHANNELS)[column] = 1.0;
    }
    picture
}

/// The highest local maxima of a map, to a part of a cell, with their values.
fn peaks(map: &[f32], stride: usize, (rows, columns): (usize, usize)) -> Vec<(Vector2<f64>, f32)> {
    let value = |row: usize, column: usize| map[row * stride + column];
    let mut all: Vec<(Vector2<f64>, f32)> = Vec::new();
    for row in 1..rows.saturating_sub(1) {
        for column in 1..columns.saturating_sub(1) {
            let own = value(row, column);
            let near = (row - 1..=row + 1).flat_map(|r| (column - 1..=column + 1).map(move |c| (r, c)));
            if near.into_iter().all(|(r, c)| value(r, c) <= own) {
                // The vertex of the parabola through three neighbours.
                let vertex = |before: f32, after: f32| {
                    let bend = 2.0 * own - before - after;
                    if bend > 0.0 { f64::from(0.5 * (after - before) / bend) } else { 0.0 }
                };
                let x = column as f64 + vertex(value(row, column - 1), value(row, column + 1));
                let y = row as f64 + vertex(value(row - 1, column), value(row + 1, column));
                all.push((Vector2::new(x, y), own));
            }
        }
    }
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut kept: Vec<(Vector2<f64>, f32)> = Vec::new();
    for peak in all {
        if kept.len() == PEAKS {
            break;
        }
        if kept.iter().all(|k| (k.0 - peak.0).norm() * CELL_MM >= APART_MM) {
            kept.push(peak);
        }
    }
    kept
}
