//! `seatspan desk`: opens the local page.

use std::path::PathBuf;

use clap::Args;

use crate::desk::{DeskOptions, DeskServer};

/// Options of `seatspan desk`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct DeskArgs {
    /// The shelf: the folder where saddles are kept, the only one that is written
    #[arg(value_name = "FOLDER", default_value = ".")]
    pub folder: PathBuf,
    /// Port to serve on [default: a free one]
    #[arg(long, value_name = "N")]
    pub port: Option<u16>,
    /// Print the address without opening the browser
    #[arg(long)]
    pub no_open: bool,
    /// Admit other devices of this network that have the printed address; the connection is not encrypted
    #[arg(long)]
    pub let_in: bool,
}

const EXAMPLES: &str = "\
Only this machine can reach the page, and only a browser that opened the printed address.
Photos stay here; saddles are kept in FOLDER. Press Ctrl-C to close the desk.

Examples:
  seatspan desk ~/saddles
  seatspan desk ~/saddles --port 8700 --no-open";

/// Serves until interrupted.
///
/// # Errors
/// A folder that does not exist, or a port in use.
pub fn run(args: &DeskArgs) -> anyhow::Result<u8> {
    let options = DeskOptions { folder: args.folder.clone(), port: args.port, let_in: args.let_in };
    let server = DeskServer::bind(&options)?;
    super::say(&server.greeting());
    if !args.no_open {
        server.open_browser();
    }
    server.serve()?;
    Ok(0)
}
