//! `seatspan rider`: a rider file to fill in, or a form to print.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use crate::fit::rider::{Rider, TEMPLATE};
use crate::fit::rule::RuleSet;
use crate::report::intake;
use crate::sheet::safe_write;

/// Options of `seatspan rider`.
#[derive(Debug, ClapArgs)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// Write it there; it is printed without it
    #[arg(value_name = "FILE")]
    pub file: Option<PathBuf>,
    /// The intake form instead, one page of HTML to print
    #[arg(long)]
    pub form: bool,
    /// Only check a rider file that is there
    #[arg(long, conflicts_with_all = ["form", "force"], requires = "file")]
    pub check: bool,
    /// Overwrite a file that is already there
    #[arg(long)]
    pub force: bool,
}

const EXAMPLES: &str = "\
Every field of a rider file may be left out; the file says what each means.

Examples:
  seatspan rider ilse.toml
  seatspan rider ilse.toml --check
  seatspan rider --form > intake.html";

/// Runs the command.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    let text = if args.form { intake::html() } else { TEMPLATE };
    match &args.file {
        None => super::say(text),
        Some(file) if args.check => {
            RuleSet::built_in()?.check_complaints(&Rider::read(file)?)?;
            super::say(&format!("{}: nothing wrong", file.display()));
        }
        Some(file) => safe_write(file, text.as_bytes(), args.force)?,
    }
    Ok(0)
}
