//! seatspan measures a saddle's widths from a photo with a printed reference card in it.
//!
//! The rooms, in the order in which a photo walks through them:
//!
//! 0. [`ground`]: frames, uncertainty, least squares; [`refusal`]: every reason to say no.
//! 1. [`photo`]: bytes to an upright photo with its focal hint.
//! 6. [`sheet`]: the versioned record: schema, reading old versions, writing safely.
//! 8. [`report`]: renderers only: text and overlay; they compute nothing.
//!
//! Beside the walk: [`synth`]: photos of known widths, drawn for tests, benches and the self-test.

pub mod camera;
pub mod card;
pub mod ground;
pub mod outline;
pub mod photo;
pub mod refusal;
pub mod report;
pub mod sheet;
pub mod synth;
