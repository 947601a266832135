//! Synthetic photos with exact ground truth: a saddle-like form beside a printed card, seen by a known camera.
//!
//! [`draw`] renders a [`Scenario`]; [`Truth`] holds what a perfect measurement of the photo would find. Every scenario is
//! invented. The scene consists of objects on a floor: cards, boxes, flaps and the form itself, whose edge is the outermost
//! horizontal extent of a round piping cord at the height of its centre line. The same seed gives the same bytes.
//!
//! Lengths are in millimetres in the frame of the first card (x right and y up on the sheet, z out of the paper), angles in
//! degrees. Pixel coordinates have their origin at the centre of the top-left pixel.

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
pub use outline::Outline;
pub use random::{random, random_pair};
pub use saddle::*;
pub use scenario::*;
pub use truth::*;

use seatspan::camera::Camera;

/// A rendered photo and its ground truth.
#[derive(Debug, Clone)]
pub struct Drawn {
    /// The encoded file: JPEG if the sensor has a JPEG quality, else PNG.
    pub bytes: Vec<u8>,
    /// Its ground truth.
    pub truth: Truth,
}

impl Drawn {
    /// File name extension of the encoding.
    pub fn extension(&self) -> &'static str {
        if self.bytes.starts_with(b"\x89PNG") { "png" } else { "jpg" }
    }
}

/// A picture in linear light, row by row; 1 is full scale.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearPicture {
    /// Width, pixels.
    pub width: usize,
    /// Height, pixels.
    pub height: usize,
    /// Red, green and blue of each pixel.
    pub light: Vec<[f32; 3]>,
}

/// Renders and encodes a scenario.
///
/// # Errors
/// An invalid camera (see [`CameraSet::camera`]) or a picture that cannot be encoded.
pub fn draw(scenario: &Scenario) -> Result<Drawn, SynthError> {
    let camera = scenario.camera.camera()?;
    let picture = scene::render(scenario, &camera);
    let levels = sensor::expose(picture, &scenario.sensor, scenario.seed);
    let bytes = sensor::encode(&levels, &scenario.camera, &scenario.sensor)?;
    Ok(Drawn { bytes, truth: Truth::of(scenario, &camera) })
}

/// The scene in linear light, without blur and noise.
///
/// # Errors
/// As for [`draw`].
pub fn draw_linear(scenario: &Scenario) -> Result<(LinearPicture, Camera), SynthError> {
    let camera = scenario.camera.camera()?;
    Ok((scene::render(scenario, &camera), camera))
}

/// Why a scenario cannot be rendered.
#[derive(Debug, thiserror::Error)]
pub enum SynthError {
    /// The camera is invalid.
    #[error("invalid camera: {0}")]
    Camera(String),
    /// The picture could not be encoded.
    #[error("the picture could not be encoded: {0}")]
    Encode(#[from] image::ImageError),
}
