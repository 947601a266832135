//! Draws photos of known widths: a saddle-like form beside a printed card, seen by a known camera.
//!
//! A [`Scenario`] says what stands where; [`draw`] gives the picture and [`Truth`] what a perfect measurement would
//! find in it. Every scenario is invented. The scene is made of things over a floor: cards, boxes, flaps, and the seat
//! form, whose edges are the outermost horizontal extent of a round cord at the height of its centre line. The same seed
//! gives the same bytes.
//!
//! Lengths are millimetres in the frame of the first card (x right and y up on the sheet, z out of the paper), angles
//! degrees, pixels those of the photo with the origin at the centre of its top-left pixel.

mod clutter;
mod cord;
mod curve;
mod flap;
mod form;
mod ground;
mod leather;
mod light;
mod noise;
mod outline;
mod paper;
mod place;
pub mod presets;
mod random;
mod saddle;
mod scenario;
mod scene;
mod sensor;
pub mod tag_patch;
mod truth;

pub use curve::Curve;
pub use outline::{Hand, Outline};
pub use random::{random, random_pair};
pub use saddle::*;
pub use scenario::*;
pub use truth::*;

use seatspan::camera::Camera;

/// A drawn photo: the encoded file and what is true of it.
#[derive(Debug, Clone)]
pub struct Drawn {
    /// The file's bytes: a JPEG where the sensor has a quality, else a PNG.
    pub bytes: Vec<u8>,
    /// What a perfect measurement would find.
    pub truth: Truth,
}

impl Drawn {
    /// The file name extension that suits the bytes.
    pub fn extension(&self) -> &'static str {
        if self.bytes.starts_with(b"\x89PNG") { "png" } else { "jpg" }
    }
}

/// A picture in linear light, row by row, 1 being the brightest that is recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearPicture {
    /// Width, pixels.
    pub width: usize,
    /// Height, pixels.
    pub height: usize,
    /// Red, green and blue of each pixel.
    pub light: Vec<[f32; 3]>,
}

/// Draws a scenario and says what is true of it.
///
/// # Errors
/// Where the camera of the scenario cannot be (see [`Scenario::camera`]) or the picture cannot be encoded.
pub fn draw(scenario: &Scenario) -> Result<Drawn, SynthError> {
    let camera = scenario.camera.camera()?;
    let picture = scene::render(scenario, &camera);
    let levels = sensor::expose(picture, &scenario.sensor, scenario.seed);
    let bytes = sensor::encode(&levels, &scenario.camera, &scenario.sensor)?;
    Ok(Drawn { bytes, truth: Truth::of(scenario, &camera) })
}

/// The scene in linear light before the sensor: no blur, no noise.
///
/// # Errors
/// As for [`draw`].
pub fn draw_linear(scenario: &Scenario) -> Result<(LinearPicture, Camera), SynthError> {
    let camera = scenario.camera.camera()?;
    Ok((scene::render(scenario, &camera), camera))
}

/// Why a scenario cannot be drawn.
#[derive(Debug, thiserror::Error)]
pub enum SynthError {
    /// The camera's numbers make no camera.
    #[error("the scenario's camera cannot be: {0}")]
    Camera(String),
    /// The picture could not be encoded.
    #[error("the picture could not be encoded: {0}")]
    Encode(#[from] image::ImageError),
}
