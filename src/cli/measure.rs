//! `seatspan measure`: photos in, a sheet and an overlay out for each.

mod batch;
mod jobs;
mod one;
mod together;

use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::values::{parse_bar, parse_hidden, parse_hint, parse_lift, parse_point, parse_units, parse_view};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::View;
use crate::outline::HiddenStretch;
use crate::outline::hint::Hint;
use crate::outline::lift::LiftProfile;
use crate::report::units::Units;
use jobs::Shard;
pub use one::scale_by;

pub use crate::numeric::words::Part;

/// Options of `seatspan measure`.
#[derive(Debug, ClapArgs)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The photo; or many, or folders of photos
    #[arg(required_unless_present = "list", value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// The photos show one saddle from several places, with saddle and card left where they are: one result, and the height
    /// of the edges from the photos themselves
    #[arg(long, conflicts_with_all = ["list", "same_place", "jobs", "shard"])]
    pub together: bool,
    /// How the saddle is seen: upright from above, or lying upside down; found without it
    #[arg(long, value_name = "top|underside", value_parser = parse_view)]
    pub view: Option<View>,
    /// Front end of the seat form, in pixels of the upright photo; found without it
    #[arg(long, value_name = "X,Y", value_parser = parse_point, requires = "rear", allow_hyphen_values = true)]
    pub front: Option<PhotoPoint>,
    /// Rear end of the seat form, in pixels of the upright photo; found without it
    #[arg(long, value_name = "X,Y", value_parser = parse_point, requires = "front", allow_hyphen_values = true)]
    pub rear: Option<PhotoPoint>,
    /// A point through which an edge runs, in pixels of the upright photo, as seat=X,Y or channel=X,Y: the edge is traced
    /// anew, and what lies beside the point follows
    #[arg(long, value_name = "PART=X,Y", value_parser = parse_hint)]
    pub through: Vec<Hint>,
    /// A stretch of an edge that something hides, as PART.SIDE=FROM..TO in stations: nothing is measured along it
    #[arg(long, value_name = "PART.SIDE=S..S", value_parser = parse_hidden)]
    pub hidden: Vec<HiddenStretch>,
    /// Height of the edges over the card's plane, as seat=STATION:MM,... or channel=STATION:MM,...
    #[arg(long, value_name = "PART=S:MM,...", value_parser = parse_lift)]
    pub lift: Vec<(Part, LiftProfile)>,
    /// Lens file of the camera, or a folder of them to pick from by maker and model
    #[arg(long, value_name = "FILE|DIR")]
    pub lens: Option<PathBuf>,
    /// Length of the bar on the printed card, measured with a ruler: 150 when it was printed true
    #[arg(long, value_name = "MM", value_parser = parse_bar)]
    pub bar: Option<f64>,
    /// A bank card (ISO/IEC 7810, ID-1) lies in the frame on the printed card: its size tells the scale of the print
    #[arg(long, conflicts_with = "bar")]
    pub bank_card: bool,
    /// Name of the saddle; the photo's name without it
    #[arg(long)]
    pub name: Option<String>,
    /// Where to write the sheet and the overlay; beside the photo without it
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the sheet, and nothing else; of many photos one line each
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
    /// Which unit comes first in the table and on the overlay
    #[arg(long, value_name = "mm|in", value_parser = parse_units, default_value = "mm")]
    pub units: Units,
    /// A table (CSV) of the photos with what is known of each: name, view, ends, lifts
    #[arg(long, value_name = "FILE", help_heading = "Many photos")]
    pub list: Option<PathBuf>,
    /// The ends given hold for every photo: camera and saddle stood still
    #[arg(long, help_heading = "Many photos")]
    pub same_place: bool,
    /// Photos measured at the same time; as many as there are processors without it
    #[arg(long, value_name = "N", help_heading = "Many photos", value_parser = clap::value_parser!(u16).range(1..=512))]
    pub jobs: Option<u16>,
    /// Only the K-th of N equal parts of the photos, for several machines
    #[arg(long, value_name = "K/N", help_heading = "Many photos")]
    pub shard: Option<Shard>,
    /// Leave the camera's name and the photo's time out of the sheet as well
    #[arg(long)]
    pub private: bool,
}

const EXAMPLES: &str = "\
Many photos: a result that is there already is kept and not made again, so an interrupted run
goes on where it was when the same command is given again.
Exit status: 0 all measured, 1 some refused, 2 some failed, 130 interrupted.

Examples:
  seatspan measure fixtures/demo/willow.jpg --out results
  seatspan measure fixtures/demo/willow.jpg --view top \\
      --front 1022.7,1437.4 --rear 2335.6,2021.9 \\
      --lift seat=0:44,0.25:26,0.5:11,0.75:31,1:68 --out results
  seatspan measure fixtures/demo/fern.jpg --view underside \\
      --front 1173.8,2199.1 --rear 2194.1,1390.5 \\
      --lift seat=0:-3,0.25:14,0.5:22,0.75:14,1:-6 \\
      --lift channel=0.1:5,0.35:23,0.6:25,0.9:6 --json --out results
  seatspan measure from-above.jpg from-the-left.jpg --together --out results
  seatspan measure --list fixtures/demo/photos.csv --out results
  seatspan measure clients/2026 --out results
  seatspan measure stand/monday stand/tuesday --same-place --view top \\
      --front 812,440 --rear 2100,452 --out results
  seatspan measure --list catalogue.csv --shard 3/40 --json --out results > part-3.jsonl";

/// Runs the command: 0 when all were measured, 1 when one was refused, 2 when one of many failed.
///
/// # Errors
/// Errors of use or of the machine.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    match args.photos.as_slice() {
        _ if args.together => together::run(args),
        [photo] if args.list.is_none() && args.shard.is_none() && !photo.is_dir() => {
            let job = jobs::single(args, photo)?;
            one::run(args, &job)
        }
        _ => batch::run(args, jobs::many(args)?),
    }
}
