//! One photo: read, measured, and its results written.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;

use super::MeasureArgs;
use super::jobs::Job;
use crate::camera::lens_choice::ChosenLens;
use crate::camera::lens_file::LensFileError;
use crate::canvas::Letters;
use crate::explain::Explanation;
use crate::numeric::words::Part;
use crate::photo::{Photo, PhotoError, file_name, sha256_of_file};
use crate::pipeline::{self, Request};
use crate::record::{asked, record, record_refused};
use crate::refusal::Refusal;
use crate::report::overlay::overlay;
use crate::report::text::{TextOptions, text};
use crate::sheet::geometry::OverlayGeometry;
use crate::sheet::{self, Output, Sheet, output_path, safe_write};

/// Measures a photo alone, and prints its table or sheet.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &MeasureArgs, job: &Job) -> anyhow::Result<u8> {
    let outputs = Outputs::of(args, job)?;
    outputs.refuse_existing(args)?;
    let sheet = measure(args, job, &outputs, args.force)?;
    if let Some(refusal) = &sheet.refused {
        eprintln!("{}: {}", job.photo.display(), reason(&job.photo, refusal));
    }
    if args.json {
        super::super::say(&sheet::to_json(&sheet)?);
    } else if sheet.refused.is_none() {
        super::super::say(&text(&sheet, TextOptions { units: args.units, stations: args.stations }));
        super::super::say(&written(std::slice::from_ref(&outputs)));
    }
    Ok(u8::from(sheet.refused.is_some()))
}

/// Measures a photo and writes its results, the sheet last: where it exists, the results are complete. A refused photo has a
/// sheet too.
///
/// # Errors
/// Errors of use or of the machine.
pub fn measure(args: &MeasureArgs, job: &Job, outputs: &Outputs, overwrite: bool) -> anyhow::Result<Sheet> {
    let photo = match Photo::open(&job.photo) {
        Ok(photo) => Arc::new(photo),
        Err(PhotoError::Refused(refusal)) => return unreadable(args, job, outputs, refusal, overwrite),
        Err(PhotoError::Io(error)) => return Err(error.into()),
    };
    let request = request(args, job, lens(job, Some(&photo))?);
    let explain = if args.explain.is_some() { Explanation::on() } else { Explanation::default() };
    let (mut sheet, geometry) = match pipeline::measure(photo.clone(), &request, &explain) {
        Ok(measured) => record(&request, &measured),
        Err(refused) => record_refused(&request, &refused),
    };
    if args.private {
        sheet.photos.iter_mut().for_each(forget_camera);
    }
    if let Some(folder) = &args.explain {
        std::fs::create_dir_all(folder)
            .with_context(|| format!("cannot make the folder {}", folder.display()))?;
        for (name, png) in explain.files() {
            safe_write(&folder.join(name), &png, overwrite)?;
        }
    }
    // Without a card there is nothing to draw.
    if !geometry.cards.is_empty() {
        outputs.write_overlay(args, &photo, &sheet, &geometry, overwrite)?;
    }
    sheet::write(&outputs.sheet, &sheet, overwrite)?;
    Ok(sheet)
}

/// The lens of a job's photo; of one that is not decoded only the file.
///
/// # Errors
/// A lens file that cannot be read.
pub fn lens(job: &Job, photo: Option<&Photo>) -> Result<ChosenLens, LensFileError> {
    match (&job.lens, photo) {
        (None, _) => Ok(ChosenLens::default()),
        (Some(given), Some(photo)) => ChosenLens::from_path(given, photo),
        (Some(given), None) => Ok(ChosenLens { sha256: sha256_of_file(given).ok(), ..ChosenLens::default() }),
    }
}

/// What the arguments ask of a photo.
pub fn request(args: &MeasureArgs, job: &Job, lens: ChosenLens) -> Request {
    let lift = |part: Part| job.lifts.iter().find(|l| l.0 == part).map(|l| l.1.clone());
    Request {
        name: job.name.clone(),
        view: job.view,
        ends: job.ends,
        hints: args.through.clone(),
        hidden: args.hidden.clone(),
        near: None,
        shown: None,
        seat_lift: lift(Part::Seat),
        channel_lift: lift(Part::Channel),
        lens,
        scale_by: args.known.scale_by(),
    }
}

/// The files that will be written for a photo.
#[derive(Debug)]
pub struct Outputs {
    /// The sheet.
    pub sheet: PathBuf,
    png: PathBuf,
    svg: Option<PathBuf>,
}

impl Outputs {
    /// Their paths; makes the folder.
    pub fn of(args: &MeasureArgs, job: &Job) -> anyhow::Result<Self> {
        if args.out.is_some() {
            std::fs::create_dir_all(&job.out)
                .with_context(|| format!("cannot make the folder {}", job.out.display()))?;
        }
        Ok(Self {
            sheet: output_path(&job.photo, &job.out, Output::Sheet)?,
            png: output_path(&job.photo, &job.out, Output::OverlayPng)?,
            svg: args.svg.then(|| output_path(&job.photo, &job.out, Output::OverlaySvg)).transpose()?,
        })
    }

    /// The paths for photos measured together, all beside the first one's sheet and under its name: none is ever confused with
    /// the result of a photo measured by itself.
    pub fn together(args: &MeasureArgs, first: &Job, count: usize) -> anyhow::Result<Vec<Self>> {
        let of = |i: usize| match i {
            0 => Self::of(args, first),
            _ => {
                let mut name = first.photo.file_stem().unwrap_or_default().to_owned();
                name.push(format!(".photo-{}.jpg", i + 1));
                Self::of(args, &Job { photo: first.photo.with_file_name(name), ..first.clone() })
            }
        };
        (0..count).map(of).collect()
    }

    /// Checks before the work for results that exist.
    ///
    /// # Errors
    /// One exists already.
    pub fn refuse_existing(&self, args: &MeasureArgs) -> anyhow::Result<()> {
        refuse_existing(args, std::iter::once(&self.sheet).chain(self.drawings()))
    }

    /// The photo's drawings.
    pub fn drawings(&self) -> impl Iterator<Item = &PathBuf> {
        std::iter::once(&self.png).chain(&self.svg)
    }

    /// Draws the photo's overlay.
    pub fn write_overlay(
        &self,
        args: &MeasureArgs,
        photo: &Photo,
        sheet: &Sheet,
        geometry: &OverlayGeometry,
        overwrite: bool,
    ) -> anyhow::Result<()> {
        let overlay = overlay(photo, sheet, geometry, args.units);
        safe_write(&self.png, &overlay.to_png()?, overwrite)?;
        if let Some(path) = &self.svg {
            safe_write(path, overlay.to_svg(Letters::Typed)?.as_bytes(), overwrite)?;
        }
        Ok(())
    }
}

/// Refuses to overwrite files without `--force`.
///
/// # Errors
/// One of them exists.
pub fn refuse_existing<'a>(
    args: &MeasureArgs,
    mut files: impl Iterator<Item = &'a PathBuf>,
) -> anyhow::Result<()> {
    if let Some(path) = files.find(|path| !args.force && path.exists()) {
        let refused = sheet::read(path).is_ok_and(|sheet| sheet.refused.is_some());
        let of = if refused { ", of a photo that was refused" } else { "" };
        anyhow::bail!(
            "{} is there already{of}; give --force to overwrite it, or another --out",
            path.display()
        );
    }
    Ok(())
}

/// Lists the files written.
pub fn written(outputs: &[Outputs]) -> String {
    let drawings = outputs.iter().flat_map(Outputs::drawings);
    let files = outputs.first().map(|first| &first.sheet).into_iter().chain(drawings);
    format!("\nwritten: {}", files.map(|file| file.display().to_string()).collect::<Vec<_>>().join(", "))
}

/// The sheet of a file that could not be decoded.
fn unreadable(
    args: &MeasureArgs,
    job: &Job,
    outputs: &Outputs,
    refusal: Refusal,
    overwrite: bool,
) -> anyhow::Result<Sheet> {
    let saddle = sheet::Saddle { name: job.name.clone(), note: None };
    let refused = Sheet::refused(saddle, job.view, vec![unread_entry(&job.photo)?], refusal);
    let sheet = Sheet { asked: Some(asked(&[request(args, job, lens(job, None)?)])), ..refused };
    sheet::write(&outputs.sheet, &sheet, overwrite)?;
    Ok(sheet)
}

/// Drops camera and time; no other camera data reaches the sheet.
pub fn forget_camera(photo: &mut sheet::PhotoRecord) {
    (photo.taken, photo.camera) = (None, None);
}

/// Why a photo was refused and what to do, to be printed after its path; refusals of the file itself begin with its name.
pub fn reason(photo: &Path, refusal: &Refusal) -> String {
    let name = format!("{}: ", file_name(photo));
    let text = refusal.text.strip_prefix(&name).unwrap_or(&refusal.text);
    format!("{text}; {}", refusal.hint)
}

/// The sheet's entry for a file that could not be decoded.
///
/// # Errors
/// A file that cannot be read any more.
pub fn unread_entry(path: &Path) -> anyhow::Result<sheet::PhotoRecord> {
    let sha256 = sha256_of_file(path).with_context(|| format!("cannot read {}", path.display()))?;
    let file = file_name(path);
    Ok(sheet::PhotoRecord { file, sha256, width_px: 0, height_px: 0, taken: None, camera: None })
}
