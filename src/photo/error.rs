//! Errors of reading a photo.

pub use crate::numeric::file::FileError;
use crate::refusal::Refusal;

/// Why there is no photo: a refusal of its content, or an error of the file system.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PhotoError {
    /// The file is not a photo that can be measured (exit status 1).
    #[error("{0}")]
    Refused(#[from] Refusal),
    /// The file cannot be read: missing, no permission, a folder (exit status 2).
    #[error("{0}")]
    Io(#[from] FileError),
}

impl PhotoError {
    /// The refusal, if it is one.
    pub fn refusal(&self) -> Option<&Refusal> {
        match self {
            Self::Refused(refusal) => Some(refusal),
            Self::Io(_) => None,
        }
    }
}
