//! `seatspan desk`: opens the local page.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use crate::desk::{self, Wish};

/// Options of `seatspan desk`.
#[derive(Debug, ClapArgs)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// The shelf: the folder where saddles are kept, and the only one that is written
    #[arg(value_name = "FOLDER", default_value = ".")]
    pub folder: PathBuf,
    /// Port to serve on; a free one without it
    #[arg(long, value_name = "N")]
    pub port: Option<u16>,
    /// Do not open the browser, only print the address
    #[arg(long)]
    pub no_open: bool,
    /// Also let in other devices of this network that have the printed address, over a connection that is not encrypted
    #[arg(long)]
    pub let_in: bool,
}

const EXAMPLES: &str = "\
The page is served to this machine alone, and only to a browser that was opened with the printed
address. Photos stay here; saddles are kept in FOLDER. Press Ctrl-C to close the desk.

Examples:
  seatspan desk ~/saddles
  seatspan desk ~/saddles --port 8700 --no-open";

/// Serves until interrupted.
///
/// # Errors
/// Where the folder is none, or the port is taken.
pub fn run(args: &Args) -> anyhow::Result<u8> {
    let wish = Wish { folder: args.folder.clone(), port: args.port, let_in: args.let_in };
    let desk = desk::Desk::open(&wish)?;
    super::say(&desk.greeting());
    if !args.no_open {
        desk.show();
    }
    desk.serve()?;
    Ok(0)
}
