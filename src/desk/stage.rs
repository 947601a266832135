//! Progress of a photo.

use serde::Serialize;

/// Progress of a photo, as the page shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// Queued behind others.
    Waiting,
    /// Reading the file.
    Reading,
    /// Detecting the reference card.
    Card,
    /// Fitting the camera.
    Camera,
    /// Finding the saddle and tracing its edges.
    Tracing,
    /// Measured.
    Measured,
    /// Refused.
    Refused,
}
