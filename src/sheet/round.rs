//! Rounding for a readable file: fewer digits, none that matters.
//!
//! A value is rounded to a fixed number of decimals (below); where its uncertainty stands beside it and is so
//! small that this would cost more than 1 % of the standard uncertainty, to as many decimals more as it takes.
//! Uncertainties keep four significant digits, which costs at most 0.05 % of them.

use super::capture::CameraRecord;
use super::lines::{EdgePair, EdgePairPx, EdgesPx};
use super::types::Sheet;
use super::widths::{StationWidth, Width};
use crate::width::influences::Influences;

/// Lengths: 0.001 mm.
const MM: i32 = 3;
/// Positions and lengths in the photo: 0.01 px.
const PX: i32 = 2;
/// Angles: 0.001 degrees.
const DEG: i32 = 3;
/// Stations: 0.00001, some 0.005 mm along a saddle.
const STATION: i32 = 5;
/// Distortion and print scale: 0.000001, under 0.002 px at a photo's corner.
const RATIO: i32 = 6;
/// A rotation's elements: 1e-9, a thousandth of a millimetre at a kilometre.
const ROTATION: i32 = 9;
/// Probabilities: 0.0001.
const PROBABILITY: i32 = 4;
/// Significant digits of an uncertainty.
const DIGITS: i32 = 4;
/// Coverage factor between a standard uncertainty and an expanded one; only sets the number of digits.
const COVERAGE: f64 = 2.0;

/// `x` with `decimals` digits after the point (no -0). What cannot be rounded is left alone.
fn to_decimals(x: f64, decimals: i32) -> f64 {
    let factor = 10_f64.powi(decimals.abs());
    let rounded =
        if decimals >= 0 { (x * factor).round() / factor } else { (x / factor).round() * factor } + 0.0;
    if rounded.is_finite() { rounded } else { x }
}

/// An uncertainty with four significant digits.
fn uncertainty(u: f64) -> f64 {
    if u == 0.0 || !u.is_normal() {
        return u;
    }
    to_decimals(u, DIGITS - 1 - u.abs().log10().floor() as i32)
}

/// `x` with `decimals` digits, or more where half of the last digit would exceed 1 % of `u`.
fn value(x: f64, u: f64, decimals: i32) -> f64 {
    if !u.is_normal() || u < 0.0 {
        return to_decimals(x, decimals);
    }
    to_decimals(x, decimals.max((50.0 / u).log10().ceil() as i32))
}

fn point(p: [f64; 2]) -> [f64; 2] {
    p.map(|v| to_decimals(v, PX))
}

fn camera(c: &mut CameraRecord) {
    c.focal_px = value(c.focal_px, c.focal_u_px, PX);
    c.focal_u_px = uncertainty(c.focal_u_px);
    let u = c.principal_u_px.map_or(f64::INFINITY, |u| u[0].min(u[1]));
    c.principal_px = c.principal_px.map(|p| p.map(|v| value(v, u, PX)));
    c.principal_u_px = c.principal_u_px.map(|u| u.map(uncertainty));
    c.distortion = c.distortion.map(|k| to_decimals(k, RATIO));
    c.height_mm = to_decimals(c.height_mm, MM);
    c.tilt_deg = to_decimals(c.tilt_deg, DEG);
    c.rotation = c.rotation.map(|m| m.map(|row| row.map(|v| to_decimals(v, ROTATION))));
    c.translation_mm = c.translation_mm.map(|t| t.map(|v| to_decimals(v, MM)));
    c.reprojection_rms_px = c.reprojection_rms_px.map(uncertainty);
    c.card_bend_mm = c.card_bend_mm.map(|b| value(b, c.card_bend_u_mm.unwrap_or(f64::INFINITY), MM));
    c.card_bend_u_mm = c.card_bend_u_mm.map(uncertainty);
}

fn edge_pair(pair: &mut EdgePair) {
    for row in pair.left.iter_mut().chain(&mut pair.right) {
        *row = [to_decimals(row[0], STATION), value(row[1], row[2], MM), uncertainty(row[2])];
    }
}

fn edge_pair_px(pair: &mut EdgePairPx) {
    for p in pair.left.iter_mut().chain(&mut pair.right) {
        *p = point(*p);
    }
}

fn station_width(w: &mut StationWidth) {
    let u = w.u95 / COVERAGE;
    w.mm = value(w.mm, u, MM);
    w.left_half = value(w.left_half, u, MM);
    w.right_half = value(w.right_half, u, MM);
    w.u95 = uncertainty(w.u95);
}

fn width(w: &mut Width) {
    w.mm = value(w.mm, w.u.unwrap_or(w.u95 / COVERAGE), MM);
    let u = w.u.unwrap_or(w.u95 / COVERAGE);
    w.left_half = w.left_half.map(|mm| value(mm, u, MM));
    w.right_half = w.right_half.map(|mm| value(mm, u, MM));
    w.at = value(w.at, w.at_u.unwrap_or(f64::INFINITY), STATION);
    w.u95 = uncertainty(w.u95);
    w.u = w.u.map(uncertainty);
    w.at_u = w.at_u.map(uncertainty);
    w.one_card_u95 = w.one_card_u95.map(uncertainty);
    w.one_photo_u95 = w.one_photo_u95.map(uncertainty);
}

fn influences(all: &mut Influences) {
    all.places.iter_mut().for_each(|place| place.at = to_decimals(place.at, STATION));
    for error in &mut all.shared {
        error.left.iter_mut().chain(&mut error.right).for_each(|mm| *mm = to_decimals(*mm, MM));
        error.length_mm = to_decimals(error.length_mm, MM);
        error.ends_along_mm = error.ends_along_mm.map(|ends| ends.map(|mm| to_decimals(mm, MM)));
    }
    for error in &mut all.own {
        error.left.iter_mut().chain(&mut error.right).for_each(|mm| *mm = to_decimals(*mm, MM));
    }
    all.fading = uncertainty(all.fading);
}

/// The traced edges and heights, rounded.
fn lines(s: &mut Sheet) {
    if let Some(lift) = &mut s.lift {
        for row in lift.seat.iter_mut().chain(&mut lift.channel).flatten() {
            *row = [to_decimals(row[0], STATION), to_decimals(row[1], MM)];
        }
        for u in lift.seat_u.iter_mut().chain(&mut lift.channel_u).flatten() {
            *u = uncertainty(*u);
        }
    }
    if let Some(edges) = &mut s.edges {
        edges.seat.iter_mut().chain(&mut edges.channel).for_each(edge_pair);
    }
    if let Some(EdgesPx { seat, channel }) = &mut s.edges_px {
        seat.iter_mut().chain(channel).for_each(edge_pair_px);
    }
}

impl Sheet {
    /// The sheet as it is written.
    pub fn rounded(mut self) -> Self {
        let s = &mut self;
        for card in &mut s.cards {
            card.rms_px = uncertainty(card.rms_px);
            card.print_scale = to_decimals(card.print_scale, RATIO);
            card.print_scale_u = card.print_scale_u.map(uncertainty);
        }
        s.camera.iter_mut().for_each(camera);
        if let Some(m) = &mut s.midline {
            m.front_px = point(m.front_px);
            m.rear_px = point(m.rear_px);
            m.length_mm = to_decimals(m.length_mm, MM);
        }
        lines(s);
        if let Some(level) = &mut s.level {
            level.card_u_deg = uncertainty(level.card_u_deg);
            level.saddle_u_deg = uncertainty(level.saddle_u_deg);
            level.lean_deg = level.lean_deg.map(|deg| to_decimals(deg, DEG));
            level.lean_u_deg = level.lean_u_deg.map(uncertainty);
        }
        for station in &mut s.stations {
            station.at = to_decimals(station.at, STATION);
            station.seat.iter_mut().chain(&mut station.channel).for_each(station_width);
        }
        s.widths.iter_mut().for_each(width);
        if let Some(t) = &mut s.front_taper {
            t.deg = value(t.deg, t.u95 / COVERAGE, DEG);
            t.u95 = uncertainty(t.u95);
        }
        for line in &mut s.budget {
            line.u = uncertainty(line.u);
        }
        s.influences.iter_mut().for_each(influences);
        for hint in &mut s.hints {
            hint.px = point(hint.px);
        }
        for h in &mut s.hidden {
            h.from_at = to_decimals(h.from_at, STATION);
            h.to_at = to_decimals(h.to_at, STATION);
        }
        for d in &mut s.doubts {
            d.from_at = to_decimals(d.from_at, STATION);
            d.to_at = to_decimals(d.to_at, STATION);
            d.apart_mm = to_decimals(d.apart_mm, MM);
            d.probability = to_decimals(d.probability, PROBABILITY);
        }
        for r in &mut s.rivals {
            r.from = to_decimals(r.from, STATION);
            r.to = to_decimals(r.to, STATION);
            r.offset_mm = to_decimals(r.offset_mm, MM);
            r.probability = to_decimals(r.probability, PROBABILITY);
            for w in &mut r.widths {
                w.mm = value(w.mm, w.u95 / COVERAGE, MM);
                w.u95 = uncertainty(w.u95);
                w.at = to_decimals(w.at, STATION);
            }
        }
        self
    }
}
