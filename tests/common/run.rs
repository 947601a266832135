//! The program as a user runs it, from the project's folder.

use std::process::Output;

/// Runs the program.
pub fn seatspan(args: &[&str]) -> Output {
    assert_cmd::Command::new(env!("CARGO_BIN_EXE_seatspan"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(args)
        .output()
        .unwrap()
}
