//! `seatspan rider`: writes a rider file to fill in, or a form to print.

use std::path::PathBuf;

use clap::Args;

use crate::fit::rider::{Rider, TEMPLATE};
use crate::fit::rule::RuleSet;
use crate::report::intake;
use crate::sheet::safe_write;

/// Options of `seatspan rider`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct RiderArgs {
    /// The file to write [default: print it]
    #[arg(value_name = "FILE")]
    pub file: Option<PathBuf>,
    /// Write the intake form instead: one HTML page to print
    #[arg(long)]
    pub form: bool,
    /// Check an existing rider file
    #[arg(long, conflicts_with_all = ["form", "force"], requires = "file")]
    pub check: bool,
    /// Overwrite an existing file
    #[arg(long)]
    pub force: bool,
}

const EXAMPLES: &str = "\
Every field of a rider file is optional; comments in it explain each.

Examples:
  seatspan rider ilse.toml
  seatspan rider ilse.toml --check
  seatspan rider --form > intake.html";

/// Runs the command.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &RiderArgs) -> anyhow::Result<u8> {
    let text = if args.form { intake::html() } else { TEMPLATE };
    match &args.file {
        None => super::say(text),
        Some(file) if args.check => {
            RuleSet::built_in()?.check_complaints(&Rider::read(file)?)?;
            super::say(&format!("{}: no mistakes", file.display()));
        }
        Some(file) => safe_write(file, text.as_bytes(), args.force)?,
    }
    Ok(0)
}
