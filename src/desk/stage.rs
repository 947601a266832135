//! How far a photo has come, as the page shows it.

use serde::Serialize;

/// How far a photo has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// Others come first.
    Waiting,
    /// The file is being read.
    Reading,
    /// The reference card is being looked for.
    Card,
    /// The camera's place is being computed.
    Camera,
    /// The saddle is being found and its edges traced.
    Tracing,
    /// Measured.
    Measured,
    /// It cannot be measured.
    Refused,
}
