//! `seatspan rider`: writes a file of rider, horse or saddle to fill in, or a form to print.

use std::path::PathBuf;

use clap::Args;

use crate::fit::rider::{Rider, TEMPLATE};
use crate::fit::rule::RuleSet;
use crate::fit::{horse, saddle};
use crate::report::intake;
use crate::sheet::safe_write;

/// Options of `seatspan rider`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct RiderArgs {
    /// The file to write [default: print it]
    #[arg(value_name = "FILE")]
    pub file: Option<PathBuf>,
    /// A horse file instead
    #[arg(long, conflicts_with_all = ["saddle", "form"])]
    pub horse: bool,
    /// A saddle file instead: what a photo does not show, and what a buyer asks
    #[arg(long, conflicts_with = "form")]
    pub saddle: bool,
    /// Write the intake form instead: one HTML page to print
    #[arg(long)]
    pub form: bool,
    /// Check an existing file
    #[arg(long, conflicts_with_all = ["form", "force"], requires = "file")]
    pub check: bool,
    /// Overwrite an existing file
    #[arg(long)]
    pub force: bool,
}

const EXAMPLES: &str = "\
Every field is optional; comments in the file explain each.

Examples:
  seatspan rider ilse.toml
  seatspan rider ilse.toml --check
  seatspan rider moss.toml --horse
  seatspan rider willow.toml --saddle
  seatspan rider --form > intake.html";

/// Runs the command.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &RiderArgs) -> anyhow::Result<u8> {
    let text = match args {
        RiderArgs { form: true, .. } => intake::html(),
        RiderArgs { horse: true, .. } => horse::TEMPLATE,
        RiderArgs { saddle: true, .. } => saddle::TEMPLATE,
        _ => TEMPLATE,
    };
    match &args.file {
        None => super::say(text),
        Some(file) if args.check => {
            match args {
                RiderArgs { horse: true, .. } => drop(horse::Horse::read(file)?),
                RiderArgs { saddle: true, .. } => drop(saddle::SaddleFile::read(file)?),
                _ => RuleSet::built_in()?.check_complaints(&Rider::read(file)?)?,
            }
            super::say(&format!("{}: no mistakes", file.display()));
        }
        Some(file) => safe_write(file, text.as_bytes(), args.force)?,
    }
    Ok(0)
}
