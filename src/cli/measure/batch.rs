//! Many photos, as many at a time as there are processors, with progress. An interrupted run continues when the same command
//! is given again.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use anyhow::{Context, bail};
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::{Map, Value};

use super::MeasureArgs;
use super::jobs::Job;
use super::one::{self, Outputs};
use crate::photo::{Photo, sha256_hex};
use crate::pipeline::Request;
use crate::record::asked;
use crate::sheet::summary::SheetSummary;
use crate::sheet::{self, Asked, Sheet};

/// Set by the first interruption: photos in progress are finished, no new one is started.
static STOP: AtomicBool = AtomicBool::new(false);
/// Exit status of an interrupted run: 128 and the number of the signal SIGINT (POSIX shells' convention).
const INTERRUPTED: u8 = 130;

/// Outcome for a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Measured,
    Refused,
    Failed,
    /// Its sheet existed already.
    There,
}

impl State {
    fn word(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Refused => "refused",
            Self::Failed => "failed",
            Self::There => "there",
        }
    }
}

/// Counts of outcomes.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    measured: usize,
    refused: usize,
    failed: usize,
    there: usize,
    /// Existing sheets of refused photos.
    refused_before: usize,
}

/// Measures the photos. Exit status 0 when all were measured, 1 when some were refused, 2 when some failed, 130 when
/// the run was interrupted.
///
/// # Errors
/// Where no worker can be made.
pub fn run(args: &MeasureArgs, jobs: Vec<Job>) -> anyhow::Result<u8> {
    on_interruption()?;
    let processors = std::thread::available_parallelism().map_or(1, usize::from);
    let workers = args.jobs.map_or(processors, usize::from).clamp(1, jobs.len().max(1));
    let progress = Progress::new(jobs.len(), args.json);
    let next = AtomicUsize::new(0);
    // A photo's own parallel steps stay within its worker's pool of one thread: a shared pool would begin further
    // photos while one waits, and the memory would grow with them.
    let pools: Vec<rayon::ThreadPool> = (0..workers)
        .map(|_| rayon::ThreadPoolBuilder::new().num_threads(1).build())
        .collect::<Result<_, _>>()
        .context("no thread could be started")?;
    let hook = std::panic::take_hook();
    std::panic::set_hook(Box::new(|_| {}));
    std::thread::scope(|scope| {
        for pool in &pools {
            scope.spawn(|| {
                while !STOP.load(Ordering::SeqCst) {
                    let Some(job) = jobs.get(next.fetch_add(1, Ordering::SeqCst)) else { break };
                    progress.report(job, pool.install(|| outcome(args, job)));
                }
            });
        }
    });
    std::panic::set_hook(hook);
    Ok(progress.close(jobs.len()))
}

/// The first signal stops after the photos in progress, the second at once: every file is written beside its place and then
/// renamed.
fn on_interruption() -> anyhow::Result<()> {
    ctrlc::set_handler(|| {
        if STOP.swap(true, Ordering::SeqCst) {
            std::process::exit(i32::from(INTERRUPTED));
        }
        eprintln!("seatspan: stopping after the photos in progress; press again to stop at once");
    })
    .context("cannot listen for an interruption")
}

/// Measures a photo unless its sheet exists; an error does not end the other photos.
fn outcome(args: &MeasureArgs, job: &Job) -> (State, anyhow::Result<(Sheet, Outputs)>) {
    let made = catch_unwind(AssertUnwindSafe(|| {
        if let Some(other) = &job.same_result_as {
            bail!(
                "{} would have the same result: give one of the two another name, or take it out",
                other.display()
            );
        }
        let outputs = Outputs::of(args, job)?;
        if !args.force
            && let Some(sheet) = there(args, job, &outputs.sheet)?
        {
            return Ok((true, sheet, outputs));
        }
        // An overlay without a sheet is left over from an interrupted run.
        let sheet = one::measure(args, job, &outputs, true)?;
        Ok((false, sheet, outputs))
    }));
    match made {
        Ok(Ok((true, sheet, outputs))) => (State::There, Ok((sheet, outputs))),
        Ok(Ok((false, sheet, outputs))) if sheet.refused.is_some() => (State::Refused, Ok((sheet, outputs))),
        Ok(Ok((false, sheet, outputs))) => (State::Measured, Ok((sheet, outputs))),
        Ok(Err(error)) => (State::Failed, Err(error)),
        Err(_) => (
            State::Failed,
            Err(anyhow::anyhow!("the program failed on this photo; please report it with the photo")),
        ),
    }
}

/// The sheet of an earlier run, when it is of this photo and of what is asked now.
///
/// # Errors
/// Where something else is in its place.
fn there(args: &MeasureArgs, job: &Job, path: &Path) -> anyhow::Result<Option<Sheet>> {
    if path.symlink_metadata().is_err() {
        return Ok(None);
    }
    let shown = path.display();
    let Ok(sheet) = sheet::read(path) else {
        bail!("{shown} is there already and is no whole sheet; delete it, or give --force");
    };
    if let [first, .., _] = sheet.photos.as_slice() {
        bail!(
            "{shown} is there already, of {} photos measured together, {} the first; give another --out, or --force to \
             measure this photo by itself in its place",
            sheet.photos.len(),
            first.file
        );
    }
    let bytes = std::fs::read(&job.photo).with_context(|| format!("cannot read {}", job.photo.display()))?;
    if sheet.photos.first().is_none_or(|p| p.sha256 != sha256_hex(&bytes)) {
        bail!("{shown} is there already and was made from another photo; give --force, or another --out");
    }
    if sheet.saddle.name != job.name {
        bail!(
            "{shown} is there already, of a saddle named {:?} and not {:?}; give --force to measure it again",
            sheet.saddle.name,
            job.name
        );
    }
    let Some(then) = &sheet.asked else {
        bail!(
            "{shown} is from an earlier version, which did not note what was asked; give --force to measure again"
        );
    };
    if let Some(other) = difference(then, &asked(&[request(args, job, &sheet)?])) {
        bail!("{shown} is there already and was measured with {other}; give --force to measure again");
    }
    Ok(Some(sheet))
}

/// The request for a photo; with a folder of lens files its camera decides the lens.
fn request(args: &MeasureArgs, job: &Job, sheet: &Sheet) -> anyhow::Result<Request> {
    let from_folder = job.lens.as_ref().is_some_and(|given| given.is_dir());
    let decoded = from_folder && sheet.photos.iter().any(|photo| photo.width_px > 0);
    let photo = decoded.then(|| Photo::open(&job.photo)).transpose()?;
    Ok(one::request(args, job, one::lens(job, photo.as_ref())?))
}

/// How what was asked then differs from what is asked now. Corrections of edges made since are kept.
fn difference(then: &Asked, now: &Asked) -> Option<&'static str> {
    let [ends, other_ends] =
        [then, now].map(|asked| asked.photos.iter().map(|p| p.ends_px).collect::<Vec<_>>());
    let [lens, other_lens] =
        [then, now].map(|asked| asked.photos.iter().map(|p| &p.lens_sha256).collect::<Vec<_>>());
    let alike = [
        (then.view == now.view, "another view"),
        (ends == other_ends, "other ends"),
        (then.heights == now.heights, "other heights"),
        (then.scale == now.scale, "another scale of the print"),
        (lens == other_lens, "another lens file"),
    ];
    alike.into_iter().find(|(alike, _)| !alike).map(|(_, what)| what)
}

/// Progress: a bar on a terminal, a line for each photo that failed, and with `--json` a line for each photo.
struct Progress {
    bar: ProgressBar,
    json: bool,
    tally: Mutex<Tally>,
}

impl Progress {
    fn new(count: usize, json: bool) -> Self {
        // Drawn on stderr, and only where that is a terminal.
        let bar = ProgressBar::new(count as u64);
        if let Ok(style) = ProgressStyle::with_template("{bar:24} {pos} of {len}: {msg}; {eta} left") {
            bar.set_style(style.progress_chars("█▌░"));
        }
        bar.set_message("started");
        Self { bar, json, tally: Mutex::new(Tally::default()) }
    }

    fn report(&self, job: &Job, (state, made): (State, anyhow::Result<(Sheet, Outputs)>)) {
        let photo = job.photo.display();
        let reason = match &made {
            Err(error) => Some(format!("{error:#}")),
            Ok((sheet, _)) => sheet.refused.as_ref().map(|r| one::reason(&job.photo, r)),
        };
        let mut tally = self.tally.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        match state {
            State::Measured => tally.measured += 1,
            State::Refused => tally.refused += 1,
            State::Failed => tally.failed += 1,
            State::There => {
                tally.there += 1;
                tally.refused_before += usize::from(reason.is_some());
            }
        }
        let said =
            reason.as_ref().filter(|_| state != State::There).map(|reason| format!("{photo}: {reason}"));
        self.bar.suspend(|| {
            if let Some(said) = said {
                eprintln!("{said}");
            }
            if self.json {
                let sheet =
                    made.as_ref().ok().map(|(sheet, outputs)| SheetSummary::of(sheet, &outputs.sheet));
                crate::cli::say(&json_line(job, state, reason, sheet.as_ref()));
            }
        });
        self.bar.set_message(tally.words());
        self.bar.inc(1);
    }

    /// Ends the bar, prints the counts, and returns the exit status.
    fn close(self, count: usize) -> u8 {
        self.bar.finish_and_clear();
        let tally = self.tally.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
        let done = tally.measured + tally.refused + tally.failed + tally.there;
        eprintln!("{count} photos: {}", tally.words());
        if done < count {
            eprintln!("{} are left; give the same command again to go on", count - done);
            return INTERRUPTED;
        }
        match (tally.failed, tally.refused + tally.refused_before) {
            (0, 0) => 0,
            (0, _) => 1,
            _ => 2,
        }
    }
}

impl Tally {
    fn words(&self) -> String {
        let Self { measured, refused, failed, there, .. } = self;
        format!("{measured} measured, {refused} refused, {failed} failed, {there} there already")
    }
}

/// One line per photo: its outcome, the reason, and its sheet as a row.
fn json_line(job: &Job, state: State, reason: Option<String>, sheet: Option<&SheetSummary>) -> String {
    let mut line = Map::new();
    line.insert("photo_path".into(), job.photo.display().to_string().into());
    line.insert("state".into(), state.word().into());
    line.insert("reason".into(), reason.into());
    line.extend(sheet.map(SheetSummary::columns).unwrap_or_default());
    Value::Object(line).to_string()
}
