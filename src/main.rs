//! The program: arguments in, exit status out.

use std::process::ExitCode;

use seatspan::cli::{parse, run};

fn main() -> ExitCode {
    let cli = match parse() {
        Ok(cli) => cli,
        Err(status) => return ExitCode::from(status),
    };
    match run(cli) {
        Ok(status) => ExitCode::from(status),
        Err(error) => {
            eprintln!("seatspan: {error:#}");
            ExitCode::from(2)
        }
    }
}
