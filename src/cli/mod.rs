//! Side entrance: the command line. One file a command.

pub mod measure;
pub mod stress;

use clap::error::ErrorKind;
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
    /// Draw photos of invented saddles under all conditions, measure them, and say where it breaks down
    Stress(stress::Args),
}

/// The command line, or the exit status where there is nothing to run: help was asked for, or the arguments are
/// wrong, which is said in one line.
///
/// # Errors
/// The exit status.
pub fn parse() -> Result<Cli, u8> {
    Cli::try_parse().map_err(|error| {
        let asked_for_help = matches!(
            error.kind(),
            ErrorKind::DisplayHelp
                | ErrorKind::DisplayVersion
                | ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
        );
        if asked_for_help {
            // A reader that has gone away (a closed pipe) is no error of ours.
            let _ = error.print();
        } else {
            eprintln!("seatspan: {}; see seatspan --help", one_line(&error.to_string()));
        }
        u8::try_from(error.exit_code()).unwrap_or(2)
    })
}

/// The part of an argument error that says what is wrong, without the usage that follows it.
fn one_line(message: &str) -> String {
    let what: Vec<&str> = message
        .lines()
        .map(str::trim)
        .take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more information"))
        .filter(|line| !line.is_empty())
        .collect();
    let line = what.join(" ");
    line.strip_prefix("error: ").unwrap_or(&line).to_owned()
}

/// Runs a command and gives the exit status.
///
/// # Errors
/// What goes wrong with the machine or with the arguments: exit status 2.
pub fn run(cli: Cli) -> anyhow::Result<u8> {
    match cli.command {
        Command::Measure(args) => measure::run(&args),
        Command::Stress(args) => stress::run(&args),
    }
}
