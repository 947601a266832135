//! `seatspan assess`: judges one saddle for a rider and a horse.

use std::path::{Path, PathBuf};

use clap::Args;

use super::judge::Judge;
use crate::fit::entered::Entered;
use crate::fit::given::read_text;
use crate::fit::horse::Horse;
use crate::fit::rider::Rider;
use crate::fit::rule::RuleSet;
use crate::fit::saddle::SaddleFile;
use crate::fit::verdict::{CONFIDENCE, LEAST_CONFIDENCE};
use crate::report::assessment::{AssessmentOptions, text};
use crate::sheet::{self, Sheet};

/// Options of `seatspan assess`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct AssessArgs {
    /// Sheets of one saddle: top, underside, or both
    #[arg(required = true, value_name = "SHEET")]
    pub sheets: Vec<PathBuf>,
    /// Rider file; without it only the saddle itself is judged
    #[arg(long, value_name = "FILE")]
    pub rider: Option<PathBuf>,
    /// Rules and confidence
    #[command(flatten)]
    pub judging: Judging,
    /// Print the assessment as JSON, and nothing else
    #[arg(long)]
    pub json: bool,
    /// Show the sources of every rule and of its uncertainty
    #[arg(long, conflicts_with = "json")]
    pub sources: bool,
    /// Show chances in per cent
    #[arg(long, conflicts_with = "json")]
    pub numbers: bool,
    /// Show rules that were not judged, with the reason
    #[arg(long, conflicts_with = "json")]
    pub all: bool,
}

const EXAMPLES: &str = "\
Examples:
  seatspan assess fixtures/fit/saddles/harebell-*.sheet.json --rider fixtures/fit/riders/ilse.toml
  seatspan assess willow-top.sheet.json --rider ilse.toml --horse fjord.toml --saddle willow.toml
  seatspan assess results/willow.sheet.json --sources

Exit status: 0 assessed, whatever the verdict; 2 an error of use or of the machine.";

/// Options of every command that judges.
#[derive(Debug, Args)]
pub struct Judging {
    /// Horse file; it replaces the horse of the rider file
    #[arg(long, value_name = "FILE")]
    pub horse: Option<PathBuf>,
    /// Saddle file: what was taken by hand on the saddle of that name
    #[arg(long, value_name = "FILE")]
    pub saddle: Vec<PathBuf>,
    /// Rules file, added to the default rules; a rule of the same id replaces the default
    #[arg(long, value_name = "FILE")]
    pub rules: Vec<PathBuf>,
    /// Confidence needed for a firm verdict, such as 0.95 or 95
    #[arg(long, value_name = "P", value_parser = parse_confidence, default_value_t = CONFIDENCE)]
    pub confidence: f64,
}

impl Judging {
    /// The default rules with the files given.
    ///
    /// # Errors
    /// The first mistake, with its file and line.
    pub fn rule_set(&self) -> anyhow::Result<RuleSet> {
        rule_set(&self.rules)
    }

    /// The rules, and what was entered by hand, with complaints checked against the rules.
    ///
    /// # Errors
    /// The first mistake in a file, with its line.
    pub fn read(&self, rider: Option<&Path>) -> anyhow::Result<Judge> {
        let rules = self.rule_set()?;
        let rider = rider.map(Rider::read).transpose()?.unwrap_or_default();
        rules.check_complaints(&rider)?;
        let mut entered = Entered::of_rider(rider);
        if let Some(horse) = &self.horse {
            entered.horse = Horse::read(horse)?;
        }
        entered.saddles = self.saddle.iter().map(|file| SaddleFile::read(file)).collect::<Result<_, _>>()?;
        Ok(Judge { entered, rules, confidence: self.confidence })
    }
}

/// The default rules with those of `files`.
///
/// # Errors
/// The first mistake, with its file and line.
pub fn rule_set(files: &[PathBuf]) -> anyhow::Result<RuleSet> {
    let mut set = RuleSet::built_in()?;
    for file in files {
        set.add(&file.display().to_string(), &read_text(file)?)?;
    }
    Ok(set)
}

fn parse_confidence(text: &str) -> Result<f64, String> {
    let hint = || format!("write a confidence from {LEAST_CONFIDENCE} to 0.9999, such as 0.95 or 95");
    let number: f64 = text.trim_end_matches(['%', ' ']).parse().map_err(|_| hint())?;
    let share = if number > 1.0 { number / 100.0 } else { number };
    if (LEAST_CONFIDENCE..=0.9999).contains(&share) { Ok(share) } else { Err(hint()) }
}

/// Reads sheets.
///
/// # Errors
/// The first that cannot be read.
pub fn read_sheets(paths: &[PathBuf]) -> anyhow::Result<Vec<Sheet>> {
    paths.iter().map(|p| Ok(sheet::read(p)?)).collect()
}

/// Runs the command.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &AssessArgs) -> anyhow::Result<u8> {
    let judge = args.judging.read(args.rider.as_deref())?;
    let assessment = judge.saddle(&read_sheets(&args.sheets)?)?;
    if args.json {
        super::say(&serde_json::to_string_pretty(&assessment)?);
    } else {
        super::say(&text(
            &assessment,
            AssessmentOptions { sources: args.sources, numbers: args.numbers, all: args.all },
        ));
    }
    Ok(0)
}
