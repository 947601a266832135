//! `seatspan check`: a verdict for each photo.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use super::known::KnownBefore;
use crate::camera::lens_choice::{ChosenLens, readable};
use crate::check::{Judgement, PhotoVerdict, Reason, judge, unreadable};
use crate::explain::Explanation;
use crate::photo::{Photo, PhotoError, file_name};
use crate::pipeline::{Located, Request};

/// Options of `seatspan check`.
#[derive(Debug, Args)]
#[command(after_help = AFTER_HELP)]
pub struct CheckArgs {
    /// The photos
    #[arg(required = true, value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// Lens and print scale
    #[command(flatten)]
    pub known: KnownBefore,
    /// Print the judgements as JSON, and nothing else
    #[arg(long)]
    pub json: bool,
}

const AFTER_HELP: &str = "\
The figure is the uncertainty (95 %) of a width of 230 mm in the middle of the picture, with the
heights of its edges over the card measured with a ruler. The cost of a fault is its part of that.

Examples:
  seatspan check fixtures/demo/willow.jpg
  seatspan check inbox/*.jpg --json

Exit status: 0 all usable, 1 at least one must be taken again, 2 an error of use or the machine.";

/// Name and version of what `--json` prints.
const SCHEMA: &str = "seatspan-check/1";

/// What `--json` prints.
#[derive(Debug, Serialize, JsonSchema)]
struct Report {
    schema: &'static str,
    photos: Vec<Judgement>,
}

/// Judges every photo, also after one that cannot be read.
///
/// # Errors
/// A lens file that cannot be read.
pub fn run(args: &CheckArgs) -> anyhow::Result<u8> {
    args.known.lens.as_deref().map_or(Ok(()), readable)?;
    let mut judged = Vec::new();
    let mut failed = false;
    for path in &args.photos {
        match judge_file(path, args) {
            Ok(judgement) => {
                if !args.json {
                    super::say(&text(&judgement));
                }
                judged.push(judgement);
            }
            Err(message) => {
                eprintln!("seatspan: {message}");
                failed = true;
            }
        }
    }
    let again = judged.iter().any(|j| j.verdict == PhotoVerdict::TakeAgain);
    if args.json {
        super::say(&serde_json::to_string_pretty(&Report { schema: SCHEMA, photos: judged })?);
    } else if !judged.is_empty() {
        super::say(NOT_JUDGED);
    }
    Ok(if failed { 2 } else { u8::from(again) })
}

const NOT_JUDGED: &str =
    "Not judged: whether the whole saddle is in the picture, and whether the card is level with its edges.";

/// A judgement, or the one line that says why the file could not be judged.
fn judge_file(path: &Path, args: &CheckArgs) -> Result<Judgement, String> {
    let photo = match Photo::open(path) {
        Ok(photo) => photo,
        Err(PhotoError::Refused(refusal)) => return Ok(unreadable(&file_name(path), &refusal)),
        Err(PhotoError::Io(error)) => return Err(error.to_string()),
    };
    let lens = args.known.lens.as_ref().map(|given| ChosenLens::from_path(given, &photo)).transpose();
    let lens = lens.map_err(|e| format!("{}: {e}", path.display()))?.unwrap_or_default();
    if let Some(warning) = &lens.warning {
        eprintln!("{}: {}", path.display(), warning.text);
    }
    let request = Request { lens, scale_by: args.known.scale_by(), ..Request::default() };
    let photo = Arc::new(photo);
    let located = Located::find(photo.clone(), &request, Explanation::OFF);
    Ok(judge(&photo, located.as_ref().map_err(|refused| &refused.refusal)))
}

/// A judgement for people.
fn text(judgement: &Judgement) -> String {
    let mut lines = vec![format!("{}: {}", judgement.file, judgement.headline())];
    lines.extend(judgement.reasons.iter().enumerate().map(|(i, r)| reason(i + 1, r)));
    lines.join("\n")
}

fn reason(number: usize, reason: &Reason) -> String {
    let cost = match reason.costs_mm {
        Some(cost) if cost >= 0.05 => format!(" (costs {cost:.1} mm)"),
        _ => String::new(),
    };
    format!("  {number}. {}{cost}: {}", reason.text, reason.hint)
}
