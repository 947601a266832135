//! Jobs: from arguments, folders and lists to one job per photo.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use anyhow::{Context, bail};
use sha2::{Digest, Sha256};

use super::MeasureArgs;
use crate::cli::heights::parse_heights;
use crate::cli::photo_file::is_photo;
use crate::cli::values::{parse_number, parse_view};
use crate::numeric::file::FileError;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Part, View};
use crate::outline::lift::LiftProfile;

/// One photo to measure.
#[derive(Debug, Clone)]
pub struct Job {
    /// The photo.
    pub photo: PathBuf,
    /// The folder of its results.
    pub out: PathBuf,
    /// Name of the saddle.
    pub name: String,
    /// How the saddle is seen; found where not given.
    pub view: Option<View>,
    /// Front and rear end of the seat form; found where not given.
    pub ends: Option<[PhotoPoint; 2]>,
    /// Lifts of the edges.
    pub lifts: Vec<(Part, LiftProfile)>,
    /// A lens file.
    pub lens: Option<PathBuf>,
    /// Another photo whose result would have the same name; neither is measured.
    pub same_result_as: Option<PathBuf>,
}

/// A part of the photos: the `part`-th of `of`, from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shard {
    part: u32,
    of: u32,
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts = text.split_once('/').and_then(|(k, n)| Some((k.parse().ok()?, n.parse().ok()?)));
        match parts {
            Some((part, of)) if (1..=of).contains(&part) => Ok(Self { part, of }),
            _ => Err("write the part and how many there are, such as 3/40".into()),
        }
    }
}

impl Shard {
    /// Whether a photo belongs to the part: decided by its path, so that other photos do not move it.
    fn holds(self, photo: &Path) -> bool {
        let digest = Sha256::digest(photo.to_string_lossy().as_bytes());
        let number = digest[..8].iter().fold(0_u64, |n, byte| (n << 8) | u64::from(*byte));
        number % u64::from(self.of) == u64::from(self.part - 1)
    }
}

/// The job for a single photo.
///
/// # Errors
/// Arguments that are missing or contradict each other.
pub fn single(args: &MeasureArgs, photo: &Path) -> anyhow::Result<Job> {
    check_lifts(&args.lift, args.view)?;
    Ok(Job {
        photo: photo.to_path_buf(),
        out: out_folder(args, photo, Path::new("")),
        name: args.name.clone().unwrap_or_else(|| stem(photo)),
        view: args.view,
        ends: args.front.zip(args.rear).map(Into::into),
        lifts: args.lift.clone(),
        lens: args.known.lens.clone(),
        same_result_as: None,
    })
}

/// The jobs of many photos, in the order of the list or of their paths.
///
/// # Errors
/// Arguments that are missing or contradict each other.
pub fn many(args: &MeasureArgs) -> anyhow::Result<Vec<Job>> {
    if args.explain.is_some() || args.stations {
        bail!("--explain and --stations go with one photo");
    }
    if !args.through.is_empty() || !args.hidden.is_empty() {
        bail!("--through and --hidden are about one photo: measure that photo by itself");
    }
    let mut jobs = match &args.list {
        Some(list) => listed(args, list)?,
        None => from_folders(args)?,
    };
    mark_same_results(&mut jobs);
    if let Some(shard) = args.shard {
        jobs.retain(|job| shard.holds(&job.photo));
    }
    Ok(jobs)
}

fn from_folders(args: &MeasureArgs) -> anyhow::Result<Vec<Job>> {
    if args.name.is_some() {
        bail!("--name goes with one photo; a --list gives each photo its name");
    }
    if args.front.is_some() && !args.same_place {
        bail!(
            "--front and --rear are pixels of one photo: leave them out, give a --list with the ends of each, or \
             --same-place when camera and saddle stood still"
        );
    }
    let mut jobs = Vec::new();
    for given in &args.photos {
        let mut photos = Vec::new();
        if given.is_dir() {
            gather(given, Path::new(""), &mut photos)?;
        } else {
            photos.push((given.clone(), PathBuf::new()));
        }
        photos.sort();
        for (photo, below) in photos {
            jobs.push(Job { out: out_folder(args, &photo, &below), ..single(args, &photo)? });
        }
    }
    if jobs.is_empty() {
        bail!("there is no photo in the folders given");
    }
    Ok(jobs)
}

/// The photos of a folder and the folders in it, each with where it is below the one given.
fn gather(folder: &Path, below: &Path, found: &mut Vec<(PathBuf, PathBuf)>) -> anyhow::Result<()> {
    let entries =
        std::fs::read_dir(folder).with_context(|| format!("cannot read the folder {}", folder.display()))?;
    for entry in entries {
        let entry = entry.with_context(|| format!("cannot read the folder {}", folder.display()))?;
        let (path, name) = (entry.path(), entry.file_name());
        // A link to a folder is not followed: it may lead back here.
        if entry.file_type().is_ok_and(|t| t.is_dir()) {
            if !name.to_string_lossy().starts_with('.') {
                gather(&path, &below.join(&name), found)?;
            }
        } else if is_photo(&path) {
            found.push((path, below.to_path_buf()));
        }
    }
    Ok(())
}

/// A row of a list; where a column is left out, the option holds.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    photo: PathBuf,
    #[serde(default)]
    name: String,
    #[serde(default)]
    view: String,
    #[serde(default)]
    front_x: String,
    #[serde(default)]
    front_y: String,
    #[serde(default)]
    rear_x: String,
    #[serde(default)]
    rear_y: String,
    #[serde(default)]
    lift_seat: String,
    #[serde(default)]
    lift_channel: String,
    #[serde(default)]
    lens: String,
}

fn listed(args: &MeasureArgs, list: &Path) -> anyhow::Result<Vec<Job>> {
    if !args.photos.is_empty() || args.name.is_some() || args.front.is_some() {
        bail!("--list names the photos, their ends and names: leave out PHOTO, --front, --rear and --name");
    }
    let shown = list.display();
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_path(list)
        .map_err(|e| anyhow::anyhow!("{}", csv_error(list, &e)))?;
    let head = reader.headers().map_err(|e| anyhow::anyhow!("{}", csv_error(list, &e)))?;
    if head.len() == 1 && head.get(0).is_some_and(|h| h.contains([';', '\t'])) {
        bail!("{shown}: the columns must be separated by commas");
    }
    let beside = list.parent().map(Path::to_path_buf).unwrap_or_default();
    let mut jobs = Vec::new();
    for row in reader.deserialize::<Row>() {
        let row = row.map_err(|e| anyhow::anyhow!("{}", csv_error(list, &e)))?;
        let shown_row = format!("{shown}: {}", row.photo.display());
        jobs.push(row_job(args, row, &beside).with_context(|| shown_row)?);
    }
    if jobs.is_empty() {
        bail!("{shown}: there is no photo in the list");
    }
    Ok(jobs)
}

/// The fault of a list, and its line.
fn csv_error(list: &Path, error: &csv::Error) -> String {
    let shown = list.display();
    let line = |pos: &Option<csv::Position>| pos.as_ref().map_or(0, csv::Position::line);
    match error.kind() {
        csv::ErrorKind::Io(e) => FileError::from_io(list, e).to_string(),
        csv::ErrorKind::Utf8 { .. } => format!("{shown}: this is not text; give a table of photos as CSV"),
        csv::ErrorKind::UnequalLengths { pos, expected_len, len } => format!(
            "{shown}: line {} has {len} cells, and the heading has {expected_len}; put a comma for each empty cell",
            line(pos)
        ),
        csv::ErrorKind::Deserialize { pos, err } => format!("{shown}: line {}: {err}", line(pos)),
        _ => format!("{shown}: {error}"),
    }
}

fn row_job(args: &MeasureArgs, row: Row, beside: &Path) -> anyhow::Result<Job> {
    let photo = beside.join(&row.photo);
    let number = |column: &str, text: &str| match text {
        "" => Err(anyhow::anyhow!("{column} is missing")),
        text => parse_number(text).map_err(|e| anyhow::anyhow!("{column}: {e}")),
    };
    let point = |x: &str, y: &str, end: &str| -> anyhow::Result<PhotoPoint> {
        Ok(PhotoPoint::new(number(&format!("{end}_x"), x)?, number(&format!("{end}_y"), y)?))
    };
    let given = [&row.front_x, &row.front_y, &row.rear_x, &row.rear_y].into_iter().any(|x| !x.is_empty());
    let ends = given
        .then(|| {
            anyhow::Ok([
                point(&row.front_x, &row.front_y, "front")?,
                point(&row.rear_x, &row.rear_y, "rear")?,
            ])
        })
        .transpose()?;
    let view = match row.view.as_str() {
        "" => args.view,
        text => Some(parse_view(text).map_err(|e| anyhow::anyhow!("view: {e}"))?),
    };
    let mut lifts = args.lift.clone();
    for (part, text) in [(Part::Seat, &row.lift_seat), (Part::Channel, &row.lift_channel)] {
        if !text.is_empty() {
            let lift = parse_heights(&format!("{}={text}", part.as_str()))
                .map_err(|e| anyhow::anyhow!("lift_{}: {e}", part.as_str()))?;
            lifts.retain(|l| l.0 != part);
            lifts.push(lift);
        }
    }
    check_lifts(&lifts, view)?;
    Ok(Job {
        out: out_folder(
            args,
            &photo,
            row.photo.parent().filter(|p| p.is_relative()).unwrap_or(Path::new("")),
        ),
        name: if row.name.is_empty() { stem(&photo) } else { row.name },
        view,
        ends,
        lifts,
        lens: if row.lens.is_empty() { args.known.lens.clone() } else { Some(beside.join(row.lens)) },
        same_result_as: None,
        photo,
    })
}

/// The folder of a photo's results: below `--out` as the photo is below what was given, else beside the photo.
fn out_folder(args: &MeasureArgs, photo: &Path, below: &Path) -> PathBuf {
    let plain = below.components().all(|c| matches!(c, std::path::Component::Normal(_)));
    match &args.out {
        Some(out) if plain => out.join(below),
        Some(out) => out.clone(),
        None => photo.parent().map(Path::to_path_buf).unwrap_or_default(),
    }
}

fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| "saddle".into(), |s| s.to_string_lossy().into_owned())
}

/// Refuses heights that would be ignored silently.
fn check_lifts(lifts: &[(Part, LiftProfile)], view: Option<View>) -> anyhow::Result<()> {
    for part in [Part::Seat, Part::Channel] {
        let count = lifts.iter().filter(|l| l.0 == part).count();
        if count > 1 {
            bail!("give --heights {}= once, with all its stations", part.as_str());
        }
        if count == 1 && part == Part::Channel && view == Some(View::Top) {
            bail!("--heights channel= needs --view underside: the channel is not seen from above");
        }
    }
    Ok(())
}

/// Marks photos whose results would have one name, such as a phone's `IMG_1.HEIC` and `IMG_1.JPG`: they fail, and the others
/// are measured.
fn mark_same_results(jobs: &mut [Job]) {
    let mut seen: BTreeMap<(PathBuf, String), usize> = BTreeMap::new();
    for i in 0..jobs.len() {
        match seen.entry((jobs[i].out.clone(), stem(&jobs[i].photo))) {
            Entry::Vacant(free) => drop(free.insert(i)),
            Entry::Occupied(taken) => {
                let first = *taken.get();
                jobs[i].same_result_as = Some(jobs[first].photo.clone());
                jobs[first].same_result_as = Some(jobs[i].photo.clone());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_photo_is_in_one_part() {
        for i in 0..200 {
            let photo = PathBuf::from(format!("stand/{i}.jpg"));
            let parts = (1..=7).filter(|part| Shard { part: *part, of: 7 }.holds(&photo));
            assert_eq!(parts.count(), 1);
        }
    }

    #[test]
    fn a_part_is_written_with_a_stroke() {
        assert_eq!("3/40".parse(), Ok(Shard { part: 3, of: 40 }));
        for text in ["0/4", "5/4", "3", "3,40", "a/b"] {
            assert!(text.parse::<Shard>().is_err(), "{text}");
        }
    }
}
