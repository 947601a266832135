//! `lab stress`: measures random synthetic photos and tabulates the errors by condition.

mod conditions;
mod table;
mod trial;

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use anyhow::Context;
use clap::Args as ClapArgs;

use seatspan::report::overlay::overlay_png;
use seatspan::report::units::Units;
use seatspan::sheet::{safe_write, to_json};
use trial::{Aim, Trial, Tried};

/// Options of `lab stress`.
#[derive(Debug, ClapArgs)]
#[command(after_help = HELP)]
pub struct Args {
    /// How many photos
    #[arg(long, default_value_t = 500, value_parser = clap::value_parser!(u64).range(1..=100_000))]
    pub count: u64,
    /// Seed of the first photo; a seed always gives the same photo
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Folder for every photo with its truth, sheet and overlay
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Give view, ends and lifts as a fitter would: the default
    #[arg(long, conflicts_with = "found")]
    pub given: bool,
    /// Give view and ends, but no lifts
    #[arg(long, conflicts_with_all = ["given", "found"])]
    pub no_lift: bool,
    /// Give only the lifts; view and ends are found
    #[arg(long)]
    pub found: bool,
    /// Give nothing, but two photos of each saddle from different sides, measured together
    #[arg(long, conflicts_with_all = ["given", "found", "no_lift"])]
    pub pairs: bool,
    /// Print everything as JSON, photo by photo, and nothing else
    #[arg(long)]
    pub json: bool,
    /// Overwrite files that are already there
    #[arg(long)]
    pub force: bool,
}

const HELP: &str = "\
Every saddle is invented. A synthetic photo is easier than a real one in some ways and harder in others: results here need not
hold for real photos.

Examples:
  cargo run --release -p lab -- stress --count 60 --out stress";

/// Measures all photos and prints the table: status 0 whatever the outcome.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    let aim = match args {
        Args { pairs: true, .. } => Aim::Pair,
        Args { no_lift: true, .. } => Aim::Unlifted,
        Args { found: true, .. } => Aim::Found,
        _ => Aim::Given,
    };
    if let Some(folder) = &args.out {
        std::fs::create_dir_all(folder)
            .with_context(|| format!("cannot make the folder {}", folder.display()))?;
    }
    let trials = try_all(args, aim)?;
    let said =
        if args.json { table::json(args.seed, aim, &trials)? } else { table::text(args.seed, aim, &trials) };
    println!("{said}");
    Ok(0)
}

/// Renders and measures every photo, one per core at a time, in the order of the seeds.
fn try_all(args: &Args, aim: Aim) -> anyhow::Result<Vec<Trial>> {
    let (next, trials) = (AtomicU64::new(0), Mutex::new(Vec::new()));
    let work = || -> anyhow::Result<()> {
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            if i >= args.count {
                return Ok(());
            }
            let seed = args.seed.wrapping_add(i);
            let tried =
                trial::attempt(seed, aim).inspect_err(|_| next.store(args.count, Ordering::Relaxed))?;
            if let Some(folder) = &args.out {
                keep(folder, &tried, args.force)
                    .inspect_err(|_| next.store(args.count, Ordering::Relaxed))?;
            }
            let mut done = trials.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            done.push(tried.trial);
            progress(done.len() as u64, args.count);
        }
    };
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        let running: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
        let ended = running.into_iter().map(|w| w.join().unwrap_or_else(|p| std::panic::resume_unwind(p)));
        ended.collect::<anyhow::Result<Vec<()>>>()
    })?;
    let mut trials = trials.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    trials.sort_by_key(|t: &Trial| t.seed.wrapping_sub(args.seed));
    Ok(trials)
}

fn progress(done: u64, count: u64) {
    let mut err = std::io::stderr();
    if err.is_terminal() {
        let end = if done == count { "\r\x1b[K" } else { "" };
        let _ = write!(err, "\r{done} of {count} photos{end}");
        let _ = err.flush();
    }
}

/// Writes a trial's photo and truth, and its sheet and overlay where it was measured.
fn keep(folder: &Path, tried: &Tried, force: bool) -> anyhow::Result<()> {
    let path = |ending: &str| folder.join(format!("{}.{ending}", tried.trial.name));
    let drawn = &tried.drawn;
    safe_write(&path(drawn.extension()), &drawn.bytes, force)?;
    let truth = serde_json::to_string_pretty(&drawn.truth.to_json())?;
    safe_write(&path("truth.json"), truth.as_bytes(), force)?;
    let Some((sheet, geometry)) = &tried.measured else { return Ok(()) };
    safe_write(&path("sheet.json"), to_json(sheet)?.as_bytes(), force)?;
    let Some(photo) = &tried.photo else { return Ok(()) };
    let overlay = overlay_png(photo, sheet, geometry, Units::Millimetres)?;
    Ok(safe_write(&path("overlay.png"), &overlay, force)?)
}
