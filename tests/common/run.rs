//! The program as a user runs it, from the project's folder.

use std::process::{Command, Output};

/// Runs the program.
pub fn seatspan(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_seatspan"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(args)
        .output()
        .unwrap()
}
