//! `seatspan assess`: judges one saddle for a rider and a horse.

use std::path::PathBuf;

use anyhow::bail;
use clap::Args;

use super::judge::Judge;
use crate::fit::entered::{Entered, Visit};
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
    /// Rider file; of several, by their dates, the latest is judged, and what changed is stated
    #[arg(long, value_name = "FILE")]
    pub rider: Vec<PathBuf>,
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
    /// Horse file; it replaces the horse of the rider file; of several, the latest is judged
    #[arg(long, value_name = "FILE")]
    pub horse: Vec<PathBuf>,
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
    pub fn read(&self, riders: &[PathBuf]) -> anyhow::Result<Judge> {
        let rules = self.rule_set()?;
        let riders = riders.iter().map(|file| Rider::read(file)).collect::<Result<Vec<_>, _>>()?;
        riders.iter().try_for_each(|rider| rules.check_complaints(rider))?;
        let horses = self.horse.iter().map(|file| Horse::read(file)).collect::<Result<Vec<_>, _>>()?;
        let mut riders = latest_first(riders, "rider", |rider| &rider.date)?.into_iter();
        let mut horses = latest_first(horses, "horse", |horse| &horse.date)?.into_iter();
        let mut entered = Entered::of_rider(riders.next().unwrap_or_default());
        entered.horse = horses.next().unwrap_or(entered.horse);
        let [rider_day, horse_day] =
            [&entered.rider.date, &entered.horse.date].map(|d| d.clone().unwrap_or_default());
        let visit = |date: &Option<String>, until: &String, entered| {
            let date = date.clone().unwrap_or_default();
            Visit { date, until: until.clone(), entered: Box::new(entered) }
        };
        entered.earlier =
            riders
                .map(|rider| visit(&rider.date.clone(), &rider_day, Entered { rider, ..Entered::default() }))
                .chain(horses.map(|horse| {
                    visit(&horse.date.clone(), &horse_day, Entered { horse, ..Entered::default() })
                }))
                .collect();
        entered.saddles = self.saddle.iter().map(|file| SaddleFile::read(file)).collect::<Result<_, _>>()?;
        Ok(Judge { entered, rules, confidence: self.confidence })
    }
}

/// Files of one rider or horse, the latest first.
///
/// # Errors
/// Where one of several has no date, or two have one.
fn latest_first<T>(mut files: Vec<T>, of: &str, day: fn(&T) -> &Option<String>) -> anyhow::Result<Vec<T>> {
    files.sort_by(|a, b| day(b).cmp(day(a)));
    if files.len() > 1 && files.iter().any(|file| day(file).is_none()) {
        bail!("give each {of} file its date");
    }
    if files.windows(2).any(|pair| day(&pair[0]) == day(&pair[1])) {
        bail!("two {of} files are of one day; leave one out");
    }
    Ok(files)
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
    let judge = args.judging.read(&args.rider)?;
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
