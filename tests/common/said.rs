//! What the program says of an error of use.

use std::process::Output;

/// The line that it says: status 2, one line, nothing on standard output.
pub fn error_line(output: &Output) -> String {
    assert_eq!((output.status.code(), output.stdout.len()), (Some(2), 0), "{output:?}");
    let said = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(said.lines().count(), 1, "{said}");
    said
}
