//! Writing results: whole or not at all, and never over something else.

use std::io::Write;
use std::path::{Path, PathBuf};

/// Why an output could not be written. Every message is one line that names the file.
#[derive(Debug, thiserror::Error)]
pub enum OutputError {
    /// There is a file already.
    #[error("{} is there already; use --force to replace it, or give another name", .0.display())]
    Exists(PathBuf),
    /// The machine could not write it.
    #[error("cannot write {}: {why}", file.display())]
    Write {
        /// The file.
        file: PathBuf,
        /// What the machine says.
        why: std::io::ErrorKind,
    },
    /// The folder that it should go to is not there.
    #[error("cannot write {}: there is no folder {}; make it first", file.display(), folder.display())]
    NoFolder {
        /// The file.
        file: PathBuf,
        /// Its folder.
        folder: PathBuf,
    },
    /// There is something that is no plain file: a folder, a device, a pipe.
    #[error("{} is not a plain file, so it is not replaced; give another name", .0.display())]
    NoFile(PathBuf),
    /// The photo's path has no file name to make an output's name of.
    #[error("{} has no file name", .0.display())]
    NoName(PathBuf),
}

/// Writes `bytes` to `path` through a temporary file in the same folder, flushed to the disk and then renamed: an
/// interruption leaves either the whole new file or what was there before.
///
/// Without `overwrite` an existing file is left alone, also when it appears while this one is being written. A rename
/// would put a file in the place of a device, so what is no plain file is never replaced.
pub fn safe_write(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), OutputError> {
    // The temporary file's own name would say nothing to anybody.
    let failed = |e: std::io::Error| OutputError::Write { file: path.into(), why: e.kind() };
    match path.metadata() {
        Ok(there) if !there.is_file() => return Err(OutputError::NoFile(path.into())),
        _ if !overwrite && path.symlink_metadata().is_ok() => return Err(OutputError::Exists(path.into())),
        _ => {}
    }
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if !folder.is_dir() {
        return Err(OutputError::NoFolder { file: path.into(), folder: folder.into() });
    }
    let mut temporary = new_temporary(folder).map_err(failed)?;
    temporary.write_all(bytes).map_err(failed)?;
    temporary.as_file().sync_all().map_err(failed)?;
    if overwrite {
        temporary.persist(path).map_err(|e| failed(e.error))?;
    } else {
        temporary.persist_noclobber(path).map_err(|e| match e.error.kind() {
            std::io::ErrorKind::AlreadyExists => OutputError::Exists(path.into()),
            _ => failed(e.error),
        })?;
    }
    // The name is on the disk when its folder is; where a folder cannot be flushed the file is complete all the same.
    let _ = std::fs::File::open(folder).and_then(|f| f.sync_all());
    Ok(())
}

/// What the name of a file begins with while it is being written.
pub const PART_PREFIX: &str = ".seatspan-";

/// A hidden temporary file with the permissions that any new file of the user has.
fn new_temporary(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(PART_PREFIX).suffix(".part");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

/// What is written beside a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Output {
    /// The sheet, `.sheet.json`.
    Sheet,
    /// The picture over the reduced photo, `.overlay.png`.
    OverlayPng,
    /// The same as a drawing, `.overlay.svg`.
    OverlaySvg,
}

impl Output {
    /// What follows the photo's name without its extension.
    pub fn suffix(self) -> &'static str {
        match self {
            Self::Sheet => ".sheet.json",
            Self::OverlayPng => ".overlay.png",
            Self::OverlaySvg => ".overlay.svg",
        }
    }
}

/// The path of an output in `folder` for a photo: `IMG 12.jpg` gives `IMG 12.sheet.json`.
pub fn output_path(photo: &Path, folder: &Path, output: Output) -> Result<PathBuf, OutputError> {
    let mut name = photo.file_stem().ok_or_else(|| OutputError::NoName(photo.into()))?.to_owned();
    name.push(output.suffix());
    Ok(folder.join(name))
}
