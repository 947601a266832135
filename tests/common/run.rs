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

/// What it says of an error of use: status 2, one line, nothing on standard output.
pub fn error_line(output: &Output) -> String {
    assert_eq!((output.status.code(), output.stdout.len()), (Some(2), 0), "{output:?}");
    let said = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(said.lines().count(), 1, "{said}");
    said
}
