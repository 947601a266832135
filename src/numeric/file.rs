//! Messages for files that cannot be read.

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
    #[error("{path}: this is not a file; give the file itself")]
    NotAFile {
        /// The path as given.
        path: String,
    },
    /// Not text.
    #[error("{path}: this is not a text file; give another")]
    NoText {
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
    pub fn from_io(path: &std::path::Path, error: &std::io::Error) -> Self {
        let path = one_line(&path.display().to_string());
        match error.kind() {
            std::io::ErrorKind::NotFound => Self::Missing { path },
            std::io::ErrorKind::PermissionDenied => Self::Permission { path },
            std::io::ErrorKind::IsADirectory => Self::NotAFile { path },
            std::io::ErrorKind::InvalidData => Self::NoText { path },
            _ => Self::Failed { path, reason: one_line(&error.to_string()) },
        }
    }
}

/// Text from elsewhere, as from a decoder or a file, as part of one line: control characters become spaces, length is bounded.
pub fn one_line(text: &str) -> String {
    let clean: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(160).collect();
    clean.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decoder_text_stays_on_one_line() {
        assert_eq!(one_line("bad\n\tthing\u{7} here"), "bad thing here");
        assert!(one_line(&"x".repeat(10_000)).len() <= 160);
    }
}
