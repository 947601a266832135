//! Side entrance: the command line. One file a command.

pub mod measure;

use clap::{Parser, Subcommand};

/// Measures a saddle's widths from a photo with a printed reference card in it.
#[derive(Debug, Parser)]
#[command(name = "seatspan", version, about, max_term_width = 100, after_help = AFTER_HELP)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

const AFTER_HELP: &str = "\
Exit status: 0 measured, 1 the photo was refused (why, and what to do next, on stderr), 2 an error of use or of the machine.
A photo does not replace a qualified saddle fitter.";

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Measure a saddle from a photo
    Measure(measure::Args),
}

/// Runs a command and gives the exit status.
///
/// # Errors
/// What goes wrong with the machine or with the arguments: exit status 2.
pub fn run(cli: Cli) -> anyhow::Result<u8> {
    match cli.command {
        Command::Measure(args) => measure::run(&args),
    }
}
