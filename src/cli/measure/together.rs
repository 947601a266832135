//! Several photos of one saddle: one sheet, and an overlay for each photo.

use std::path::Path;

use anyhow::bail;

use super::Args;
use super::jobs::{Job, single};
use super::one::{Outputs, forget_camera, refuse_existing, request, unread_entry, written};
use crate::camera::lens_choice::none_of_its_camera;
use crate::measure::Request;
use crate::photo::{Photo, PhotoError};
use crate::record::{photo_entry, record_together};
use crate::refusal::Refusal;
use crate::report::text::{TextOptions, text};
use crate::sheet::{self, Sheet};
use crate::together::{measure_together, same_twice};

/// Measures the photos together, and prints their table or sheet.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    check_use(args)?;
    let jobs: Vec<Job> = args.photos.iter().map(|photo| single(args, photo)).collect::<Result<_, _>>()?;
    let outputs = Outputs::together(args, &jobs[0], jobs.len())?;
    let sheet_file = &outputs[0].sheet;
    let drawings = outputs.iter().flat_map(Outputs::drawings);
    refuse_existing(args, std::iter::once(sheet_file).chain(drawings))?;
    let mut photos = Vec::new();
    for job in &jobs {
        match Photo::open(&job.photo) {
            Ok(photo) => photos.push(photo),
            Err(PhotoError::Refused(refusal)) => {
                return refused(args, &jobs, sheet_file, &photos, refusal);
            }
            Err(PhotoError::Io(error)) => return Err(error.into()),
        }
    }
    if let Some([one, same]) = same_twice(&photos) {
        let (one, same) = (one.name(), same.name());
        bail!("{one} and {same} are the same photo: a second one tells something when it is another");
    }
    let requests: Vec<Request> =
        jobs.iter().zip(&photos).map(|(job, photo)| request(args, job, photo)).collect::<Result<_, _>>()?;
    let together = match measure_together(&photos, &requests) {
        Ok(together) => together,
        Err(refusal) => return refused(args, &jobs, sheet_file, &photos, refusal),
    };
    let (mut sheet, geometries) = record_together(&photos, &requests, &together);
    if args.lens.is_some() && requests.iter().any(|request| request.lens.is_none()) {
        sheet.warnings.push(none_of_its_camera());
    }
    if args.private {
        sheet.photos.iter_mut().for_each(forget_camera);
    }
    for ((outputs, photo), geometry) in outputs.iter().zip(&photos).zip(&geometries) {
        outputs.write_overlay(args, photo, &sheet, geometry, args.force)?;
    }
    sheet::write(sheet_file, &sheet, args.force)?;
    if args.json {
        super::super::say(&sheet::to_json(&sheet)?);
    } else {
        super::super::say(&text(&sheet, TextOptions { units: args.units, stations: args.stations }));
        super::super::say(&written(&outputs));
    }
    Ok(0)
}

fn check_use(args: &Args) -> anyhow::Result<()> {
    if args.photos.len() < 2 {
        bail!("--together goes with two photos of a saddle or more");
    }
    if let Some(folder) = args.photos.iter().find(|photo| photo.is_dir()) {
        bail!("{} is a folder: with --together name the photos of the one saddle", folder.display());
    }
    if args.front.is_some() || !args.through.is_empty() || !args.hidden.is_empty() || args.explain.is_some() {
        bail!(
            "--front, --rear, --through, --hidden and --explain are about one photo: leave them out with --together"
        );
    }
    Ok(())
}

/// The sheet that says why. It names all photos, also those that were not read, so that nobody takes it for the answer
/// about one of them.
fn refused(
    args: &Args,
    jobs: &[Job],
    sheet_file: &Path,
    photos: &[Photo],
    refusal: Refusal,
) -> anyhow::Result<u8> {
    eprintln!("{}; {}", refusal.text, refusal.hint);
    let entry = |(i, job): (usize, &Job)| {
        photos.get(i).map_or_else(|| unread_entry(&job.photo), |photo| Ok(photo_entry(photo)))
    };
    let mut entries: Vec<sheet::Photo> = jobs.iter().enumerate().map(entry).collect::<Result<_, _>>()?;
    if args.private {
        entries.iter_mut().for_each(forget_camera);
    }
    let saddle = sheet::Saddle { name: jobs[0].name.clone(), note: None };
    let sheet = Sheet::refused(saddle, jobs[0].view, entries, refusal);
    sheet::write(sheet_file, &sheet, args.force)?;
    if args.json {
        super::super::say(&sheet::to_json(&sheet)?);
    }
    Ok(1)
}
