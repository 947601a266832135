//! One drawn saddle, seen from several places.

use lab::synth::{Scenario, Subject, presets};

/// The saddle of a preset as a camera sees it that leans by `tilt_deg` toward a side.
pub fn seen_from(azimuth_deg: f64, tilt_deg: f64, seed: u64) -> Scenario {
    let mut scenario = presets::acorn();
    scenario.name = format!("acorn-{azimuth_deg}-{seed}");
    scenario.seed = seed;
    scenario.camera.azimuth_deg = azimuth_deg;
    scenario.camera.tilt_deg = tilt_deg;
    scenario.camera.distance_mm = 1150.0;
    scenario
}

/// Photos from the saddle's two sides.
pub fn two_sides() -> [Scenario; 2] {
    let across = 90.0
        + match presets::acorn().subject {
            Subject::Saddle(form) => form.heading_deg,
            _ => unreachable!("the preset is a saddle"),
        };
    [seen_from(across, 20.0, 11), seen_from(across + 180.0, 20.0, 12)]
}
