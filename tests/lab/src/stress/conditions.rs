//! Conditions of a synthetic photo, as the table lists them.

use serde::Serialize;

use crate::synth::{Rgb, Scenario, Truth};

/// A condition and the band of a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Condition {
    /// The condition.
    pub of: &'static str,
    /// The band.
    pub band: &'static str,
}

/// Conditions and their bands, in the table's order. A photo may have several bands of `leather` and `occlusion`.
pub const BANDS: &[(&str, &[&str])] = &[
    ("what is there", &["whole saddle", "nothing", "box", "cushion", "chair", "cut off", "too small"]),
    ("view", &["top", "underside"]),
    ("tilt", &["under 10 deg", "10-20 deg", "20-30 deg", "30 deg and more"]),
    ("distance", &["under 1 m", "1-1.3 m", "1.3 m and more"]),
    ("light", &["even", "sun", "hard shadow"]),
    ("seat and flap", &["no flap", "one leather", "alike", "apart"]),
    ("seat and floor", &["alike", "apart"]),
    ("cord and seat", &["one leather", "alike", "apart"]),
    ("thread", &["none", "faint", "plain to see"]),
    ("leather", &["plain", "quilted", "worn", "polished", "woolly"]),
    ("clutter", &["none", "1-2 things", "3 and more"]),
    ("occlusion", &["none", "strap or girth", "card partly hidden"]),
    ("cant", &["under 1 deg", "1 deg and more"]),
    ("blur", &["under 1 px", "1-1.5 px", "1.5 px and more"]),
    ("focal length", &["known", "unknown"]),
    ("picture", &["up to 1600 px", "up to 2400 px", "4032 px"]),
];

/// Largest ratio of luminance of two colours that count as alike (judgement: less than that of shading).
const ALIKE: f64 = 1.5;

/// The conditions of a photo; without a whole saddle only what is there.
pub fn conditions(scenario: &Scenario, truth: &Truth) -> Vec<Condition> {
    let mut all = Conditions(vec![Condition { of: "what is there", band: what_is_there(scenario, truth) }]);
    if truth.expect == "measure" {
        all.of_the_photo(scenario);
        all.of_the_saddle(scenario);
    }
    all.0
}

fn what_is_there(scenario: &Scenario, truth: &Truth) -> &'static str {
    match (scenario.subject.kind(), truth.saddle) {
        ("saddle", "cut-off") => "cut off",
        ("saddle", "too-small") => "too small",
        ("saddle", _) => "whole saddle",
        ("none", _) => "nothing",
        (other, _) => other,
    }
}

struct Conditions(Vec<Condition>);

impl Conditions {
    /// Adds the band with this index.
    fn add(&mut self, of: &'static str, place: usize) {
        let bands = BANDS.iter().find(|b| b.0 == of).map_or(&[][..], |b| b.1);
        self.0.extend(bands.get(place).map(|band| Condition { of, band }));
    }

    fn of_the_photo(&mut self, scenario: &Scenario) {
        let (camera, sensor, light) = (&scenario.camera, &scenario.sensor, &scenario.light);
        self.add("tilt", past(camera.tilt_deg, &[10.0, 20.0, 30.0]));
        self.add("distance", past(camera.distance_mm, &[1000.0, 1300.0]));
        let sunny = light.sun > light.sky / 2.0;
        self.add("light", if light.shadow.is_some() { 2 } else { usize::from(sunny) });
        // A movement spreads like a rectangle of its length.
        let blur_px = sensor.blur_px.hypot(sensor.motion_px / 12f64.sqrt());
        self.add("blur", past(blur_px, &[1.0, 1.5]));
        self.add("focal length", usize::from(sensor.exif_focal_35mm.is_none()));
        self.add("picture", past(camera.width.max(camera.height) as f64, &[1601.0, 2401.0]));
        self.add("clutter", past((scenario.boxes.len() + scenario.cloths.len()) as f64, &[1.0, 3.0]));
    }

    fn of_the_saddle(&mut self, scenario: &Scenario) {
        let Some(saddle) = scenario.subject.saddle() else { return };
        let alike = |other: Rgb| usize::from(times(saddle.colour, other) >= ALIKE);
        self.add("view", usize::from(saddle.view == seatspan::numeric::words::View::Underside));
        let flap = saddle.flaps.first().map(|f| f.colour.map_or(1, |c| 2 + alike(c)));
        self.add("seat and flap", flap.unwrap_or(0));
        self.add("seat and floor", alike(scenario.floor.colour));
        self.add("cord and seat", saddle.welt.colour.map_or(0, |c| 1 + alike(c)));
        let thread = if saddle.seam.inside_mm > 0.0 { 1 + alike(saddle.seam.colour) } else { 0 };
        self.add("thread", thread);
        let looks = [saddle.quilt_mm > 0.0, saddle.wear > 0.0, saddle.gloss > 0.2, saddle.texture > 0.5];
        if !looks.contains(&true) {
            self.add("leather", 0);
        }
        (1..).zip(looks).filter(|l| l.1).for_each(|(place, _)| self.add("leather", place));
        let hides = [!saddle.straps.is_empty(), !scenario.on_card.is_empty()];
        if !hides.contains(&true) {
            self.add("occlusion", 0);
        }
        (1..).zip(hides).filter(|h| h.1).for_each(|(place, _)| self.add("occlusion", place));
        self.add("cant", past(saddle.roll_deg.abs(), &[1.0]));
    }
}

/// How many of the ascending limits a value has reached.
fn past(value: f64, limits: &[f64]) -> usize {
    limits.iter().filter(|limit| value >= **limit).count()
}

/// Ratio of the luminance of two colours, at least 1 (ITU-R BT.709, power law of 2.2, close enough for sorting).
fn times(a: Rgb, b: Rgb) -> f64 {
    let light = |c: Rgb| {
        let [r, g, b] = c.map(|v| (f64::from(v) / 255.0).powf(2.2));
        0.2126 * r + 0.7152 * g + 0.0722 * b + 1e-4
    };
    let ratio = light(a) / light(b);
    ratio.max(1.0 / ratio)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synth::{self, presets};

    #[test]
    fn every_band_is_in_the_table() {
        for seed in 0..200 {
            let scenario = synth::random(seed);
            let truth = Truth::of(&scenario, &scenario.camera.camera().unwrap());
            let all = conditions(&scenario, &truth);
            for c in &all {
                assert!(BANDS.iter().any(|(of, bands)| of == &c.of && bands.contains(&c.band)), "{c:?}");
            }
            let groups = if truth.expect == "measure" { BANDS.len() } else { 1 };
            let fallen = BANDS.iter().filter(|(of, _)| all.iter().any(|c| c.of == *of)).count();
            assert_eq!(fallen, groups, "{}", scenario.name);
        }
    }

    #[test]
    fn colours_are_compared_by_luminance() {
        assert!((times([100, 100, 100], [100, 100, 100]) - 1.0).abs() < 1e-12);
        assert!(times([98, 58, 38], [34, 32, 33]) > ALIKE);
        let acorn = presets::acorn();
        let truth = Truth::of(&acorn, &acorn.camera.camera().unwrap());
        let all = conditions(&acorn, &truth);
        assert!(all.contains(&Condition { of: "seat and flap", band: "alike" }), "{all:?}");
    }
}
