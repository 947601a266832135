//! `seatspan measure`: measures saddles in photos and writes a sheet and an overlay for each.

mod batch;
mod jobs;
mod one;
mod together;

use std::path::PathBuf;

use clap::Args;

use super::heights::parse_heights;
use super::known::KnownBefore;
use super::values::{parse_hidden, parse_hint, parse_point, parse_units, parse_view};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::View;
use crate::outline::HiddenStretch;
use crate::outline::hint::Hint;
use crate::outline::lift::LiftProfile;
use crate::report::units::Units;
use jobs::Shard;

pub use crate::numeric::words::Part;

/// Options of `seatspan measure`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct MeasureArgs {
    /// Photos, or folders of photos
    #[arg(required_unless_present = "list", value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// The photos show one saddle and card, left in place, from several sides: one result, with the heights of the edges
    /// from the photos
    #[arg(long, conflicts_with_all = ["list", "same_place", "jobs", "shard"])]
    pub together: bool,
    /// View of the saddle: upright from above, or upside down [default: found]
    #[arg(long, value_name = "top|underside", value_parser = parse_view)]
    pub view: Option<View>,
    /// Front end of the seat, in pixels of the upright photo [default: found]
    #[arg(long, value_name = "X,Y", value_parser = parse_point, requires = "rear", allow_hyphen_values = true)]
    pub front: Option<PhotoPoint>,
    /// Rear end of the seat, in pixels of the upright photo [default: found]
    #[arg(long, value_name = "X,Y", value_parser = parse_point, requires = "front", allow_hyphen_values = true)]
    pub rear: Option<PhotoPoint>,
    /// A point on an edge, where another line was traced, in pixels of the upright photo
    #[arg(long, value_name = "PART=X,Y", value_parser = parse_hint)]
    pub through: Vec<Hint>,
    /// A hidden stretch of an edge, from station to station, such as seat.left=0.30..0.42: nothing is measured along it
    #[arg(long, value_name = "PART.SIDE=S..S", value_parser = parse_hidden)]
    pub hidden: Vec<HiddenStretch>,
    /// Heights of the edges over the card at places from 0 (front) to 1 (rear), such as seat=0:44mm,0.5:1.1cm,1:68mm; read
    /// downward from a straight-edge, with the reading at the card first: seat=card:120mm,0:76mm,0.5:109mm,1:52mm
    #[arg(long = "heights", alias = "lift", value_name = "PART=S:HEIGHT,...", value_parser = parse_heights)]
    pub lift: Vec<(Part, LiftProfile)>,
    /// Lens and print scale
    #[command(flatten)]
    pub known: KnownBefore,
    /// Name of the saddle [default: the photo's name]
    #[arg(long)]
    pub name: Option<String>,
    /// Output folder [default: beside the photo]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the sheet, and nothing else; one line per photo if there are many
    #[arg(long)]
    pub json: bool,
    /// Overwrite existing results
    #[arg(long)]
    pub force: bool,
    /// Write a picture of every stage into this folder
    #[arg(long, value_name = "DIR")]
    pub explain: Option<PathBuf>,
    /// Also write the overlay as SVG
    #[arg(long)]
    pub svg: bool,
    /// List the width at every station
    #[arg(long)]
    pub stations: bool,
    /// Unit shown first
    #[arg(long, value_name = "mm|in", value_parser = parse_units, default_value = "mm")]
    pub units: Units,
    /// CSV list of photos with the name, view, ends and heights of each
    #[arg(long, value_name = "FILE", help_heading = "Many photos")]
    pub list: Option<PathBuf>,
    /// View and ends apply to every photo: camera and saddles have fixed places
    #[arg(long, help_heading = "Many photos")]
    pub same_place: bool,
    /// Photos measured at a time [default: the number of processors]
    #[arg(long, value_name = "N", help_heading = "Many photos", value_parser = clap::value_parser!(u16).range(1..=512))]
    pub jobs: Option<u16>,
    /// Measure only the K-th of N parts of the photos, for several machines
    #[arg(long, value_name = "K/N", help_heading = "Many photos")]
    pub shard: Option<Shard>,
    /// Omit the camera's name and the time of the photo from the sheet
    #[arg(long)]
    pub private: bool,
}

const EXAMPLES: &str = "\
PART is seat, or channel for the underside. A pixel is X,Y; the centre of the top-left one is 0,0.
Existing results are kept: run the same command again to resume an interrupted run.

Exit status: 0 all measured, 1 some refused, 2 an error, or some failed, 130 interrupted.

Examples:
  seatspan measure fixtures/demo/willow.jpg --heights seat=0:44,0.25:26,0.5:11,0.75:31,1:68 \\
      --out results
  seatspan measure above.jpg left.jpg right.jpg --together --name hazel --out results
  seatspan measure fixtures/demo/fern.jpg --view underside \\
      --front 1173.8,2199.1 --rear 2194.1,1390.5 \\
      --heights seat=0:-3,0.25:14,0.5:22,0.75:14,1:-6 \\
      --heights channel=0.1:5,0.35:23,0.6:25,0.9:6 --json --out results
  seatspan measure --list fixtures/demo/photos.csv --out results
  seatspan measure clients/2026 --out results
  seatspan measure stand/monday stand/tuesday --same-place --view top \\
      --front 812,440 --rear 2100,452 --out results
  seatspan measure --list catalogue.csv --shard 3/40 --json --out results > part-3.jsonl";

/// Runs the command: 0 when all were measured, 1 when one was refused, 2 when one of many failed.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &MeasureArgs) -> anyhow::Result<u8> {
    match args.photos.as_slice() {
        _ if args.together => together::run(args),
        [photo] if args.list.is_none() && args.shard.is_none() && !photo.is_dir() => {
            let job = jobs::single(args, photo)?;
            one::run(args, &job)
        }
        _ => batch::run(args, jobs::many(args)?),
    }
}
