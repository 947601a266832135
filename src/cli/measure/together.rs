//! Several photos of one saddle: one sheet, and an overlay for each photo.

use anyhow::bail;

use super::Args;
use super::jobs::{Job, each_its_own_result, single};
use super::one::{Outputs, forget_camera, reason, refuse, request};
use crate::cli::lens_choice::none_of_its_camera;
use crate::measure::Request;
use crate::photo::{Photo, PhotoError};
use crate::record::record_together;
use crate::report::text::{TextOptions, text};
use crate::sheet;
use crate::together::measure_together;

/// Measures the photos together, and prints their table or sheet.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    check_use(args)?;
    let jobs: Vec<Job> = args.photos.iter().map(|photo| single(args, photo)).collect::<Result<_, _>>()?;
    each_its_own_result(&jobs)?;
    let outputs: Vec<Outputs> = jobs.iter().map(|job| Outputs::of(args, job)).collect::<Result<_, _>>()?;
    outputs.iter().try_for_each(|outputs| outputs.refuse_existing(args))?;
    let mut photos = Vec::new();
    for job in &jobs {
        match Photo::open(&job.photo) {
            Ok(photo) => photos.push(photo),
            Err(PhotoError::Refused(refusal)) => {
                return refused(args, &jobs[0], &outputs[0], &photos, refusal);
            }
            Err(PhotoError::Io(error)) => return Err(error.into()),
        }
    }
    let requests: Vec<Request> =
        jobs.iter().zip(&photos).map(|(job, photo)| request(args, job, photo)).collect::<Result<_, _>>()?;
    let together = match measure_together(&photos, &requests) {
        Ok(together) => together,
        Err(refusal) => return refused(args, &jobs[0], &outputs[0], &photos, refusal),
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
    sheet::write(&outputs[0].sheet, &sheet, args.force)?;
    if args.json {
        super::super::say(&sheet::to_json(&sheet)?);
    } else {
        super::super::say(&text(&sheet, TextOptions { units: args.units, stations: args.stations }));
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
    let twice = args.photos.iter().enumerate().find(|(i, photo)| args.photos[..*i].contains(photo));
    if let Some((_, photo)) = twice {
        bail!("{} is named twice: a second photo tells something when it is another one", photo.display());
    }
    if args.front.is_some() || !args.through.is_empty() || !args.hidden.is_empty() || args.explain.is_some() {
        bail!(
            "--front, --rear, --through, --hidden and --explain are about one photo: leave them out with --together"
        );
    }
    Ok(())
}

fn refused(
    args: &Args,
    job: &Job,
    outputs: &Outputs,
    photos: &[Photo],
    refusal: crate::refusal::Refusal,
) -> anyhow::Result<u8> {
    let sheet = refuse(args, job, outputs, photos.first(), refusal, args.force)?;
    if let Some(refusal) = &sheet.refused {
        eprintln!("{}: {}", job.photo.display(), reason(&job.photo, refusal));
    }
    if args.json {
        super::super::say(&sheet::to_json(&sheet)?);
    }
    Ok(1)
}
