//! What can go wrong between a path and a photo.

pub use crate::numeric::file::FileError;
use crate::refusal::Refusal;

/// Why there is no photo: an answer about the photo, or a fault on the way to it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PhotoError {
    /// The file was read and is no photo that can be measured (exit status 1).
    #[error("{0}")]
    Refused(#[from] Refusal),
    /// The file could not be read at all: missing, no permission, a folder (exit status 2).
    #[error("{0}")]
    Io(#[from] FileError),
}

impl PhotoError {
    /// The refusal, where it is one.
    pub fn refusal(&self) -> Option<&Refusal> {
        match self {
            Self::Refused(refusal) => Some(refusal),
            Self::Io(_) => None,
        }
    }
}
