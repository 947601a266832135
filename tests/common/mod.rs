//! What several of the integration tests need.

use std::path::{Path, PathBuf};

/// The folder of shared data: `SEATSPAN_SHARED`, else `../shared` beside the project; none, with a printed line,
/// where absent.
pub fn shared() -> Option<PathBuf> {
    let folder = std::env::var_os("SEATSPAN_SHARED")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared"), PathBuf::from);
    if folder.join("real").is_dir() {
        return Some(folder);
    }
    println!("skipped: no shared data");
    None
}
