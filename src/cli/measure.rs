//! `seatspan measure`: a photo in, a sheet and an overlay out.

use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::Args as ClapArgs;

use crate::camera::lens_file::LensFile;
use crate::ground::frame::PhotoPoint;
use crate::ground::words::View;
use crate::measure::{Request, walk};
use crate::outline::lift::LiftProfile;
use crate::photo::{Photo, PhotoError};
use crate::record::{photo_entry, record};
use crate::refusal::Refusal;
use crate::report::draw::{Picture, png, svg};
use crate::report::overlay::{OverlayGeometry, drawing};
use crate::report::text::{TextOptions, text};
use crate::report::units::Units;
use crate::sheet::{self, Output, Sheet, output_path, safe_write};

/// Options of `seatspan measure`.
#[derive(Debug, ClapArgs)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The photo
    #[arg(required = true, value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// How the saddle is seen: upright from above, or lying upside down
    #[arg(long, value_name = "top|underside", value_parser = parse_view)]
    pub view: Option<View>,
    /// Front end of the seat form, in pixels of the upright photo
    #[arg(long, value_name = "X,Y", value_parser = parse_point, requires = "rear", allow_hyphen_values = true)]
    pub front: Option<PhotoPoint>,
    /// Rear end of the seat form, in pixels of the upright photo
    #[arg(long, value_name = "X,Y", value_parser = parse_point, requires = "front", allow_hyphen_values = true)]
    pub rear: Option<PhotoPoint>,
    /// Height of the edges over the card's plane, as seat=STATION:MM,... or channel=STATION:MM,...
    #[arg(long, value_name = "PART=S:MM,...", value_parser = parse_lift)]
    pub lift: Vec<(Part, LiftProfile)>,
    /// Lens file of the camera
    #[arg(long, value_name = "FILE")]
    pub lens: Option<PathBuf>,
    /// Name of the saddle; the photo's name without it
    #[arg(long)]
    pub name: Option<String>,
    /// Where to write the sheet and the overlay; beside the photo without it
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the sheet, and nothing else
    #[arg(long)]
    pub json: bool,
    /// Overwrite results that are already there
    #[arg(long)]
    pub force: bool,
    /// Write a picture of every stage there
    #[arg(long, value_name = "DIR")]
    pub explain: Option<PathBuf>,
    /// Also write the overlay as SVG
    #[arg(long)]
    pub svg: bool,
    /// List the widths at all stations
    #[arg(long)]
    pub stations: bool,
    /// Leave the camera's name and the photo's time out of the sheet as well
    #[arg(long)]
    pub private: bool,
}

const EXAMPLES: &str = "\
Examples:
  seatspan measure fixtures/demo/willow.jpg --view top --front 1022.7,1437.4 --rear 2335.6,2021.9 \\
      --lift seat=0:44,0.25:26,0.5:11,0.75:31,1:68 --out results
  seatspan measure fixtures/demo/fern.jpg --view underside --front 1173.8,2199.1 --rear 2194.1,1390.5 \\
      --lift seat=0:-3,0.25:14,0.5:22,0.75:14,1:-6 --lift channel=0.1:5,0.35:23,0.6:25,0.9:6 --json --out results";

pub use crate::ground::words::Part;

fn parse_view(text: &str) -> Result<View, String> {
    match text {
        "top" => Ok(View::Top),
        "underside" => Ok(View::Underside),
        _ => Err("write top or underside".into()),
    }
}

fn parse_point(text: &str) -> Result<PhotoPoint, String> {
    let numbers: Option<Vec<f64>> = text.split(',').map(|t| t.trim().parse().ok()).collect();
    match numbers.as_deref() {
        Some(&[x, y]) if x.is_finite() && y.is_finite() => Ok(PhotoPoint::new(x, y)),
        _ => {
            Err("write two numbers with a comma between them and a point as decimal sign, such as 812.5,440"
                .into())
        }
    }
}

fn parse_lift(text: &str) -> Result<(Part, LiftProfile), String> {
    let (part, profile) =
        text.split_once('=').ok_or("begin with seat= or channel=, such as seat=0:60,0.35:20,1:70")?;
    let part = match part {
        "seat" => Part::Seat,
        "channel" => Part::Channel,
        other => return Err(format!("'{other}' is no part that has a lift: write seat= or channel=")),
    };
    Ok((part, profile.parse()?))
}

/// Runs the command on each photo: 0 when all were measured, 1 when one was refused.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    let (Some(view), Some(front), Some(rear)) = (args.view, args.front, args.rear) else {
        bail!("give --view, --front and --rear: this version does not find the saddle by itself");
    };
    let [photo] = args.photos.as_slice() else {
        bail!("give one photo at a time: --front and --rear are pixels of one photo");
    };
    check_lifts(&args.lift, view)?;
    let outputs = Outputs::for_photo(args, photo)?;
    let read = match Photo::open(photo) {
        Ok(read) => read,
        Err(PhotoError::Refused(refusal)) => return refuse(args, &outputs, photo, None, refusal),
        Err(PhotoError::Io(error)) => return Err(error.into()),
    };
    let request = request(args, &read, photo, view, [front, rear])?;
    let walked = match walk(&read, &request) {
        Ok(walked) => walked,
        Err(refusal) => return refuse(args, &outputs, photo, Some((&read, view)), refusal),
    };
    let (mut sheet, geometry) = record(&read, &request, &walked);
    if args.private {
        sheet.photos.iter_mut().for_each(forget_camera);
    }
    outputs.write(args, &read, &sheet, &geometry)?;
    if let Some(folder) = &args.explain {
        std::fs::create_dir_all(folder)
            .with_context(|| format!("cannot make the folder {}", folder.display()))?;
        crate::explain::explain(&read, &walked, folder, args.force)?;
    }
    print_result(args, &sheet)?;
    Ok(0)
}

/// A lift that would be passed over in silence is a slip.
fn check_lifts(lifts: &[(Part, LiftProfile)], view: View) -> anyhow::Result<()> {
    for part in [Part::Seat, Part::Channel] {
        let count = lifts.iter().filter(|l| l.0 == part).count();
        if count > 1 {
            bail!("give --lift {}= once, with all its stations", part.as_str());
        }
        if count == 1 && part == Part::Channel && view == View::Top {
            bail!("--lift channel= goes with --view underside: the channel is not seen from above");
        }
    }
    Ok(())
}

fn request(
    args: &Args,
    photo: &Photo,
    path: &Path,
    view: View,
    ends: [PhotoPoint; 2],
) -> anyhow::Result<Request> {
    let lift = |part: Part| args.lift.iter().find(|l| l.0 == part).map(|l| l.1.clone());
    let lens = args
        .lens
        .as_ref()
        .map(|file| {
            LensFile::read(file)?.prior_for(photo.width_px(), photo.height_px(), &file.display().to_string())
        })
        .transpose()?;
    Ok(Request {
        name: args.name.clone().unwrap_or_else(|| stem(path)),
        view,
        ends,
        seat_lift: lift(Part::Seat),
        channel_lift: lift(Part::Channel),
        lens,
        explain: args.explain.clone(),
    })
}

fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| "saddle".into(), |s| s.to_string_lossy().into_owned())
}

/// The files that will be written; looked at before the work, so that it is not done in vain.
struct Outputs {
    sheet: PathBuf,
    png: PathBuf,
    svg: Option<PathBuf>,
}

impl Outputs {
    fn for_photo(args: &Args, photo: &Path) -> anyhow::Result<Self> {
        let folder = match &args.out {
            Some(folder) => folder.clone(),
            None => photo.parent().map(Path::to_path_buf).unwrap_or_default(),
        };
        if args.out.is_some() {
            std::fs::create_dir_all(&folder)
                .with_context(|| format!("cannot make the folder {}", folder.display()))?;
        }
        let outputs = Self {
            sheet: output_path(photo, &folder, Output::Sheet)?,
            png: output_path(photo, &folder, Output::OverlayPng)?,
            svg: args.svg.then(|| output_path(photo, &folder, Output::OverlaySvg)).transpose()?,
        };
        let there = [Some(&outputs.sheet), Some(&outputs.png), outputs.svg.as_ref()];
        if let Some(path) = there.into_iter().flatten().find(|p| !args.force && p.exists()) {
            bail!("{} is there already; give --force to overwrite it, or another --out", path.display());
        }
        Ok(outputs)
    }

    fn write(
        &self,
        args: &Args,
        photo: &Photo,
        sheet: &Sheet,
        geometry: &OverlayGeometry,
    ) -> anyhow::Result<()> {
        let size = (photo.width_px() as u32, photo.height_px() as u32);
        let drawing = drawing(sheet, geometry, size, Units::Millimetres);
        let (rgb, w, h) = photo.thumbnail_rgb(OVERLAY_PX);
        let picture = Picture::new(&rgb, w as u32, h as u32)?;
        safe_write(&self.png, &png::render(&drawing, picture)?, args.force)?;
        if let Some(path) = &self.svg {
            safe_write(path, svg::render(&drawing, picture)?.as_bytes(), args.force)?;
        }
        Ok(sheet::write(&self.sheet, sheet, args.force)?)
    }
}

/// Long side of the photo under the overlay.
const OVERLAY_PX: usize = 1280;

fn print_result(args: &Args, sheet: &Sheet) -> anyhow::Result<()> {
    use std::io::Write as _;
    let said = if args.json {
        sheet::to_json(sheet)?
    } else {
        text(sheet, TextOptions { units: Units::Millimetres, stations: args.stations })
    };
    // A reader that has gone away (a closed pipe) is no error of ours.
    let _ = writeln!(std::io::stdout(), "{}", said.trim_end());
    Ok(())
}

/// A refused photo: the reason on stderr, and the sheet that says so.
fn refuse(
    args: &Args,
    outputs: &Outputs,
    path: &Path,
    photo: Option<(&Photo, View)>,
    refusal: Refusal,
) -> anyhow::Result<u8> {
    eprintln!("{}", refusal_line(path, &refusal));
    let mut entry = photo.map_or_else(|| unread_entry(path), |(p, _)| photo_entry(p));
    if args.private {
        forget_camera(&mut entry);
    }
    let saddle = sheet::Saddle { name: args.name.clone().unwrap_or_else(|| stem(path)), note: None };
    let sheet = Sheet::refused(saddle, photo.map(|(_, v)| v).or(args.view), vec![entry], refusal);
    sheet::write(&outputs.sheet, &sheet, args.force)?;
    if args.json {
        print_result(args, &sheet)?;
    }
    Ok(1)
}

/// Drops what the camera said of itself and of the time. Nothing else of its data gets as far as the sheet.
fn forget_camera(photo: &mut sheet::Photo) {
    (photo.taken, photo.camera) = (None, None);
}

/// A refusal in one line that names the file once: refusals of the file itself begin with its name.
fn refusal_line(path: &Path, refusal: &Refusal) -> String {
    let name = path.file_name().map_or_else(String::new, |n| format!("{}: ", n.to_string_lossy()));
    let text = refusal.text.strip_prefix(&name).unwrap_or(&refusal.text);
    format!("{}: {text}; {}", path.display(), refusal.hint)
}

/// What can be said of a photo that could not be decoded.
fn unread_entry(path: &Path) -> sheet::Photo {
    let file = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let sha256 = std::fs::read(path).map(|b| crate::photo::sha256_hex(&b)).unwrap_or_default();
    sheet::Photo { file, sha256, width_px: 0, height_px: 0, taken: None, camera: None }
}
