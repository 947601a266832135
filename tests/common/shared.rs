//! What several tests need.

use std::path::{Path, PathBuf};

/// The folder of shared data: `SEATSPAN_SHARED`, else `../shared` beside the project. Where it is absent a line says
/// so, and the test that asked passes without it.
pub fn shared_folder() -> Option<PathBuf> {
    let folder = std::env::var_os("SEATSPAN_SHARED")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared"), PathBuf::from);
    if folder.is_dir() {
        return Some(folder);
    }
    println!("skipped: no shared data");
    None
}
