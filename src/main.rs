//! Front door: arguments in, exit status out.

use std::process::ExitCode;

use clap::Parser;
use seatspan::cli::{Cli, run};

fn main() -> ExitCode {
    match run(Cli::parse()) {
        Ok(status) => ExitCode::from(status),
        Err(error) => {
            eprintln!("seatspan: {error:#}");
            ExitCode::from(2)
        }
    }
}
