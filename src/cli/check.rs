//! `seatspan check`: photos in, a verdict for each.

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;
use schemars::JsonSchema;
use serde::Serialize;

use crate::camera::lens_choice::{none_of_its_camera, prior_of, readable};
use crate::check::{Judgement, Reason, Verdict, judge, unreadable};
use crate::photo::{Photo, PhotoError, file_name};

/// Options of `seatspan check`.
#[derive(Debug, ClapArgs)]
#[command(after_help = AFTER_HELP)]
pub struct Args {
    /// The photos
    #[arg(required = true, value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// Lens file of the camera, or a folder of them to pick from by maker and model
    #[arg(long, value_name = "FILE|DIR")]
    pub lens: Option<PathBuf>,
    /// Print the judgements as JSON, and nothing else
    #[arg(long)]
    pub json: bool,
}

const AFTER_HELP: &str = "\
The figure is the uncertainty (95 %) that a width of 230 mm in the middle of the picture would
have, where the heights of its edges over the card are measured with a ruler. What a reason costs
is its part of that.

Examples:
  seatspan check fixtures/demo/willow.jpg
  seatspan check inbox/*.jpg --json

Exit status: 0 all usable, 1 at least one is to be taken again, 2 an error of use or the machine.";

/// Name and version of what `--json` prints.
const SCHEMA: &str = "seatspan-check/1";

/// What `--json` prints.
#[derive(Debug, Serialize, JsonSchema)]
struct Report {
    schema: &'static str,
    photos: Vec<Judgement>,
}

/// Judges every photo: one that cannot be read does not keep the others from it.
///
/// # Errors
/// A lens file that cannot be read.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    args.lens.as_deref().map_or(Ok(()), readable)?;
    let mut judged = Vec::new();
    let mut failed = false;
    for path in &args.photos {
        match judge_file(path, args.lens.as_deref()) {
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
    let again = judged.iter().any(|j| j.verdict == Verdict::TakeAgain);
    if args.json {
        super::say(&serde_json::to_string_pretty(&Report { schema: SCHEMA, photos: judged })?);
    } else if !judged.is_empty() {
        super::say(NOT_JUDGED);
    }
    Ok(if failed { 2 } else { u8::from(again) })
}

const NOT_JUDGED: &str = "Not judged here: whether the whole saddle is in the picture, and whether the card is level with its edges.";

/// A judgement, or the one line that says why the file could not be judged.
fn judge_file(path: &Path, lens: Option<&Path>) -> Result<Judgement, String> {
    let photo = match Photo::open(path) {
        Ok(photo) => photo,
        Err(PhotoError::Refused(refusal)) => return Ok(unreadable(&file_name(path), &refusal)),
        Err(PhotoError::Io(error)) => return Err(error.to_string()),
    };
    let prior = lens.map(|given| prior_of(given, &photo)).transpose();
    let prior = prior.map_err(|e| format!("{}: {e}", path.display()))?;
    if matches!(prior, Some(None)) {
        eprintln!("{}: {}", path.display(), none_of_its_camera().text);
    }
    Ok(judge(&photo, prior.flatten()))
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
