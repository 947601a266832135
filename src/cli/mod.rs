//! Side entrance: the command line. One file a command.

pub mod assess;
pub mod card;
pub mod check;
pub mod compare;
pub mod conveniences;
pub mod desk;
pub mod lens;
pub mod measure;
mod photo_file;
pub mod repeat;
pub mod report;
pub mod rider;
pub mod rules;
pub mod shelf;
mod suits;
mod values;

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
Examples:
  seatspan card
  seatspan check saddle.jpg
  seatspan measure saddle.jpg --lift seat=0:44,0.5:11,1:68
  seatspan report saddle.sheet.json
  seatspan shelf ~/saddles --width seat.widest=205..225

Exit status: 0 measured, 1 the photo was refused (why, and what to do next, on stderr), 2 an error
of use or of the machine.
A photo does not replace a qualified saddle fitter.";

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Measure saddles from photos
    Measure(Box<measure::Args>),
    /// Judge photos before measuring: usable, usable with loss, or take it again
    Check(check::Args),
    /// Calibrate a phone's lens from photos of the card
    Lens(lens::Args),
    /// Say how well repeated measurements of a saddle, or two people, agree
    Repeat(repeat::Args),
    /// Make the reference card to print, or the guide for clients
    Card(card::Args),
    /// Make a page and a PDF from a sheet, or a comparison of several
    Report(report::Args),
    /// Judge a saddle's sheets for a rider and a horse, by rules
    Assess(assess::Args),
    /// Set saddles side by side, ranked for a rider
    Compare(compare::Args),
    /// List, explain and check the rules
    Rules(rules::Args),
    /// Write a rider file to fill in, or an intake form to print
    Rider(rider::Args),
    /// List, search and export the sheets of a folder
    Shelf(shelf::Args),
    /// Open the desk: a page in your browser that measures, corrects and keeps saddles, on this machine only
    Desk(desk::Args),
    /// Print the completions of a shell
    Completions(conveniences::Completions),
    /// Write the manual pages
    Manual(conveniences::Manual),
}

/// Prints what a command has to say. A reader that has gone away (a closed pipe) is no error of ours.
fn say(text: &str) {
    use std::io::Write as _;
    let _ = writeln!(std::io::stdout(), "{}", text.trim_end());
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
            let said = error.to_string();
            eprintln!("seatspan: {}; see {} --help", one_line(&said), command_in(&said));
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
    let line = what.join(" ").replace(" tip: ", "; ");
    line.strip_prefix("error: ").unwrap_or(&line).to_owned()
}

/// The command whose usage an argument error shows.
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

/// Runs a command and gives the exit status.
///
/// # Errors
/// What goes wrong with the machine or with the arguments: exit status 2.
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
