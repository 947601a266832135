//! What can go wrong between a path and a photo.

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

/// A file that could not be read; the message is one line with the path and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FileError {
    /// Nothing is there.
    #[error("{path}: there is no such file; check the name and the folder")]
    Missing {
        /// The path as given.
        path: String,
    },
    /// The file may not be read.
    #[error(
        "{path}: no permission to read this file; change its permissions or copy it to a folder of yours"
    )]
    Permission {
        /// The path as given.
        path: String,
    },
    /// A folder, a device or a pipe.
    #[error("{path}: this is not a file; give the photo itself")]
    NotAFile {
        /// The path as given.
        path: String,
    },
    /// Anything else the operating system reports.
    #[error("{path}: reading failed ({reason}); check the disk or copy the file and try again")]
    Failed {
        /// The path as given.
        path: String,
        /// What the operating system said.
        reason: String,
    },
}

impl FileError {
    /// The error for a path from what the operating system reported.
    pub(super) fn from_io(path: &std::path::Path, error: &std::io::Error) -> Self {
        let path = super::limits::one_line(&path.display().to_string());
        match error.kind() {
            std::io::ErrorKind::NotFound => Self::Missing { path },
            std::io::ErrorKind::PermissionDenied => Self::Permission { path },
            std::io::ErrorKind::IsADirectory => Self::NotAFile { path },
            _ => Self::Failed { path, reason: super::limits::one_line(&error.to_string()) },
        }
    }
}
