//! The command line, one file per command.

pub mod assess;
pub mod card;
pub mod check;
pub mod compare;
pub mod conveniences;
pub mod desk;
mod heights;
mod judge;
pub mod known;
pub mod lens;
pub mod measure;
mod photo_file;
pub mod repeat;
pub mod report;
pub mod rider;
pub mod rules;
pub mod shelf;
mod values;

use clap::error::ErrorKind;
use clap::{Parser, Subcommand};

/// Measures a saddle's widths from a photo with a printed reference card in it.
#[derive(Debug, Parser)]
#[command(name = "seatspan", version, about, max_term_width = 100, after_help = AFTER_HELP)]
pub struct Cli {
    /// The command.
    #[command(subcommand)]
    pub command: Command,
}

const AFTER_HELP: &str = "\
Examples:
  seatspan card
  seatspan measure above.jpg left.jpg right.jpg --together --name willow
  seatspan report willow.sheet.json
  seatspan shelf ~/saddles --width seat.widest=205..225
  seatspan desk ~/saddles

Exit status: 0 done, 1 a photo was refused (the reason and what to do are on stderr), 2 an error
of use or of the machine.
A photo does not replace a qualified saddle fitter.";

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Measure saddles in photos
    Measure(Box<measure::MeasureArgs>),
    /// Check photos before measuring: usable, usable with loss, or to be taken again
    Check(check::CheckArgs),
    /// Calibrate a phone's lens from photos of the card
    Lens(lens::LensArgs),
    /// Compare repeated measurements of a saddle, or those of two people
    Repeat(repeat::RepeatArgs),
    /// Write the reference card to print, or the guide for clients
    Card(card::CardArgs),
    /// Write a report of a sheet, or a comparison of several, as HTML and PDF
    Report(report::ReportArgs),
    /// Judge a saddle for a rider and a horse
    Assess(assess::AssessArgs),
    /// Compare saddles side by side, ranked for a rider
    Compare(compare::CompareArgs),
    /// List, explain or check the rules
    Rules(rules::RulesArgs),
    /// Write a rider file to fill in, or an intake form to print
    Rider(rider::RiderArgs),
    /// List, search and export the sheets in a folder
    Shelf(shelf::ShelfArgs),
    /// Open the desk: a page in your browser for measuring, correcting and saving saddles
    Desk(desk::DeskArgs),
    /// Print a completion script for a shell
    Completions(conveniences::Completions),
    /// Write the manual pages
    Manual(conveniences::Manual),
}

/// Prints a command's output. A closed pipe is not an error.
fn say(text: &str) {
    use std::io::Write as _;
    let _ = writeln!(std::io::stdout(), "{}", text.trim_end());
}

/// Parses the command line. Help is printed whole, an argument error in one line.
///
/// # Errors
/// The exit status, where there is nothing to run.
pub fn parse() -> Result<Cli, u8> {
    Cli::try_parse().map_err(|error| {
        let asked_for_help = matches!(
            error.kind(),
            ErrorKind::DisplayHelp
                | ErrorKind::DisplayVersion
                | ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
        );
        if asked_for_help {
            let _ = error.print();
        } else {
            let message = error.to_string();
            eprintln!("seatspan: {}; see {} --help", one_line(&message), command_in(&message));
        }
        u8::try_from(error.exit_code()).unwrap_or(2)
    })
}

/// The first part of an argument error, without the usage.
fn one_line(message: &str) -> String {
    let what: Vec<&str> = message
        .lines()
        .map(str::trim)
        .take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more information"))
        .filter(|line| !line.is_empty())
        .collect();
    let line = what.join(" ").replace(" tip: ", "; ");
    line.strip_prefix("error: ").unwrap_or(&line).to_owned()
}

/// The command in the usage of an argument error.
fn command_in(message: &str) -> String {
    let usage = message.lines().find_map(|line| line.trim().strip_prefix("Usage: "));
    let words = usage.unwrap_or("seatspan").split(' ');
    words
        .take_while(|word| {
            word.chars().all(|c| c.is_ascii_lowercase() || c == '-') && !word.starts_with("--")
        })
        .collect::<Vec<_>>()
        .join(" ")
}

/// Runs a command; returns its exit status.
///
/// # Errors
/// Errors of use or of the machine: exit status 2.
pub fn run(cli: Cli) -> anyhow::Result<u8> {
    match cli.command {
        Command::Measure(args) => measure::run(&args),
        Command::Report(args) => report::run(&args),
        Command::Shelf(args) => shelf::run(&args),
        Command::Completions(args) => conveniences::completions(&args),
        Command::Manual(args) => conveniences::manual(&args),
        Command::Assess(args) => assess::run(&args),
        Command::Compare(args) => compare::run(&args),
        Command::Rules(args) => rules::run(&args),
        Command::Rider(args) => rider::run(&args),
        Command::Check(args) => check::run(&args),
        Command::Card(args) => card::run(&args),
        Command::Lens(args) => lens::run(&args),
        Command::Repeat(args) => repeat::run(&args),
        Command::Desk(args) => desk::run(&args),
    }
}
