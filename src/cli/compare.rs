//! `seatspan compare`: sheets of several saddles in, side by side and ranked for a rider.

use std::path::PathBuf;

use anyhow::anyhow;
use clap::{Args as ClapArgs, ValueEnum};

use super::assess::{Judging, read_sheets};
use crate::fit::compare::{Wish, compare};
use crate::report::comparison::{csv, text};

/// Options of `seatspan compare`.
#[derive(Debug, ClapArgs)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// Sheets of two saddles or more; those of one saddle's name are one saddle
    #[arg(required = true, value_name = "SHEET")]
    pub sheets: Vec<PathBuf>,
    /// Rider file: the saddles are ranked for this rider
    #[arg(long, value_name = "FILE")]
    pub rider: Option<PathBuf>,
    /// Rules and confidence
    #[command(flatten)]
    pub judging: Judging,
    /// How to print it
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Saddle that differences are taken from; the first shown without it
    #[arg(long, value_name = "NAME")]
    pub against: Option<String>,
    /// Order of the saddles: rank, name, given, or a width such as seat.widest (largest first)
    #[arg(long, value_name = "BY", default_value = "rank")]
    pub sort: String,
}

/// How a comparison is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// A table for people
    Text,
    /// A line for each value, for spreadsheets
    Csv,
    /// Everything, for programs
    Json,
}

const EXAMPLES: &str = "\
Examples:
  seatspan compare fixtures/fit/saddles/*.sheet.json --rider fixtures/fit/riders/ilse.toml
  seatspan compare shelf/*.sheet.json --sort seat.widest --format csv > widths.csv

Exit status: 0 compared; 2 an error of use or of the machine.";

/// Runs the command.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    let (rules, rider) = args.judging.read(args.rider.as_deref())?;
    let sheets = read_sheets(&args.sheets)?;
    let wish = Wish {
        sheets: &sheets,
        rider: rider.as_ref(),
        rules: &rules,
        confidence: args.judging.confidence,
        against: args.against.as_deref(),
        sort: &args.sort,
    };
    let comparison = compare(&wish).map_err(|e| anyhow!(e))?;
    match args.format {
        Format::Text => super::say(&text(&comparison)),
        Format::Csv => super::say(&csv(&comparison)?),
        Format::Json => super::say(&serde_json::to_string_pretty(&comparison)?),
    }
    Ok(0)
}
