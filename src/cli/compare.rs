//! `seatspan compare`: compares saddles side by side, ranked for a rider.

use std::path::PathBuf;

use anyhow::anyhow;
use clap::{Args, ValueEnum};

use super::assess::{Judging, read_sheets};
use crate::fit::compare::{ComparisonRequest, compare};
use crate::report::comparison::{csv, text};

/// Options of `seatspan compare`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct CompareArgs {
    /// Sheets of two or more saddles; sheets with one name are one saddle
    #[arg(required = true, value_name = "SHEET")]
    pub sheets: Vec<PathBuf>,
    /// Rank the saddles for the rider in this file
    #[arg(long, value_name = "FILE")]
    pub rider: Option<PathBuf>,
    /// Rules and confidence
    #[command(flatten)]
    pub judging: Judging,
    /// Output format
    #[arg(long, value_enum, default_value_t = ComparisonFormat::Text)]
    pub format: ComparisonFormat,
    /// Saddle with which the others are compared [default: the first]
    #[arg(long, value_name = "NAME")]
    pub against: Option<String>,
    /// Order of the saddles: rank, name, given, or a width such as seat.widest (largest first)
    #[arg(long, value_name = "BY", default_value = "rank")]
    pub sort: String,
}

/// Output format of a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ComparisonFormat {
    /// A table for people
    Text,
    /// One line per value, for spreadsheets
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
pub fn run(args: &CompareArgs) -> anyhow::Result<u8> {
    let judge = args.judging.read(args.rider.as_slice())?;
    let sheets = read_sheets(&args.sheets)?;
    let request = ComparisonRequest {
        sheets: &sheets,
        entered: &judge.entered,
        rules: &judge.rules,
        confidence: judge.confidence,
        against: args.against.as_deref(),
        sort: &args.sort,
    };
    let comparison = compare(&request).map_err(|e| anyhow!(e))?;
    match args.format {
        ComparisonFormat::Text => super::say(&text(&comparison)),
        ComparisonFormat::Csv => super::say(&csv(&comparison)?),
        ComparisonFormat::Json => super::say(&serde_json::to_string_pretty(&comparison)?),
    }
    Ok(0)
}
