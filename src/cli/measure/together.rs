//! Several photos of one saddle: one sheet, and an overlay for each photo.

use std::path::Path;
use std::sync::Arc;

use anyhow::bail;

use super::MeasureArgs;
use super::jobs::{Job, single};
use super::one::{self, Outputs, forget_camera, lens, refuse_existing, unread_entry, written};
use crate::camera::lens_file::LensFileError;
use crate::cli::say;
use crate::photo::{Photo, PhotoError};
use crate::pipeline::Request;
use crate::record::{photo_entry, record_refused_together, record_together};
use crate::refusal::Refusal;
use crate::report::text::{TextOptions, text};
use crate::sheet::{self, Sheet};
use crate::together::{measure_together, same_twice};

/// Measures the photos together, and prints their table or sheet.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &MeasureArgs) -> anyhow::Result<u8> {
    check_use(args)?;
    let jobs: Vec<Job> = args.photos.iter().map(|photo| single(args, photo)).collect::<Result<_, _>>()?;
    let outputs = Outputs::together(args, &jobs[0], jobs.len())?;
    let sheet_file = &outputs[0].sheet;
    let drawings = outputs.iter().flat_map(Outputs::drawings);
    refuse_existing(args, std::iter::once(sheet_file).chain(drawings))?;
    let mut photos = Vec::new();
    for job in &jobs {
        match Photo::open(&job.photo) {
            Ok(photo) => photos.push(Arc::new(photo)),
            Err(PhotoError::Refused(refusal)) => {
                let sheet = unreadable(&jobs, &photos, refusal)?;
                return finish(args, sheet, sheet_file, &outputs);
            }
            Err(PhotoError::Io(error)) => return Err(error.into()),
        }
    }
    if let Some([one, same]) = same_twice(&photos) {
        bail!("{} and {} are the same photo: choose two different photos", one.name(), same.name());
    }
    let request = |(job, photo): (&Job, &Arc<Photo>)| Ok(one::request(args, job, lens(job, Some(photo))?));
    let requests: Vec<Request> =
        jobs.iter().zip(&photos).map(request).collect::<Result<_, LensFileError>>()?;
    match measure_together(&photos, &requests) {
        Ok(together) => {
            let (sheet, geometries) = record_together(&requests, &together);
            for ((outputs, number), geometry) in outputs.iter().zip(&together.numbers).zip(&geometries) {
                outputs.write_overlay(args, &photos[*number], &sheet, geometry, args.force)?;
            }
            finish(args, sheet, sheet_file, &outputs[..geometries.len()])
        }
        Err(refused) => {
            finish(args, record_refused_together(&photos, &requests, &refused), sheet_file, &outputs)
        }
    }
}

/// Writes and prints the result; the exit status.
fn finish(
    args: &MeasureArgs,
    mut sheet: Sheet,
    sheet_file: &Path,
    outputs: &[Outputs],
) -> anyhow::Result<u8> {
    if args.private {
        sheet.photos.iter_mut().for_each(forget_camera);
    }
    sheet::write(sheet_file, &sheet, args.force)?;
    if let Some(refusal) = &sheet.refused {
        eprintln!("{}; {}", refusal.text, refusal.hint);
    }
    if args.json {
        say(&sheet::to_json(&sheet)?);
    } else if sheet.refused.is_none() {
        say(&text(&sheet, TextOptions { units: args.units, stations: args.stations }));
        say(&written(outputs));
    }
    Ok(u8::from(sheet.refused.is_some()))
}

fn check_use(args: &MeasureArgs) -> anyhow::Result<()> {
    if args.photos.len() < 2 {
        bail!("--together needs two or more photos of one saddle");
    }
    if let Some(folder) = args.photos.iter().find(|photo| photo.is_dir()) {
        bail!("{} is a folder: with --together name the photos of one saddle", folder.display());
    }
    if args.front.is_some() || !args.through.is_empty() || !args.hidden.is_empty() || args.explain.is_some() {
        bail!(
            "--front, --rear, --through, --hidden and --explain belong to one photo: leave them out with --together"
        );
    }
    Ok(())
}

/// The sheet of photos of which one cannot be decoded. It names all, so that nobody takes it for the sheet of one of them.
fn unreadable(jobs: &[Job], photos: &[Arc<Photo>], refusal: Refusal) -> anyhow::Result<Sheet> {
    let entry = |(i, job): (usize, &Job)| {
        photos.get(i).map_or_else(|| unread_entry(&job.photo), |photo| Ok(photo_entry(photo)))
    };
    let entries = jobs.iter().enumerate().map(entry).collect::<Result<_, _>>()?;
    let saddle = sheet::Saddle { name: jobs[0].name.clone(), note: None };
    Ok(Sheet::refused(saddle, jobs[0].view, entries, refusal))
}
