//! `seatspan completions` and `seatspan manual`.

use std::path::PathBuf;

use anyhow::Context;
use clap::{Args, CommandFactory};
use clap_complete::Shell;

use crate::sheet::safe_write;

/// Options of `seatspan completions`.
#[derive(Debug, Args)]
#[command(after_help = COMPLETIONS)]
pub struct Completions {
    /// The shell
    pub shell: Shell,
}

const COMPLETIONS: &str = "\
Examples:
  seatspan completions bash > ~/.local/share/bash-completion/completions/seatspan
  seatspan completions fish > ~/.config/fish/completions/seatspan.fish
  seatspan completions zsh > ~/.zfunc/_seatspan";

/// Prints a completion script.
///
/// # Errors
/// None.
pub fn completions(args: &Completions) -> anyhow::Result<u8> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut super::Cli::command(), "seatspan", &mut script);
    super::say(&String::from_utf8_lossy(&script));
    Ok(0)
}

/// Options of `seatspan manual`.
#[derive(Debug, Args)]
#[command(after_help = MANUAL)]
pub struct Manual {
    /// Output folder
    #[arg(value_name = "DIR")]
    pub out: PathBuf,
    /// Overwrite existing pages
    #[arg(long)]
    pub force: bool,
}

const MANUAL: &str = "\
Examples:
  seatspan manual ~/.local/share/man/man1
  man seatspan-measure";

/// Writes a manual page for the program and for each command.
///
/// # Errors
/// Where a page cannot be written.
pub fn manual(args: &Manual) -> anyhow::Result<u8> {
    std::fs::create_dir_all(&args.out)
        .with_context(|| format!("cannot create the folder {}", args.out.display()))?;
    // Written elsewhere first, so that no existing page is overwritten without --force.
    let made = tempfile::tempdir().context("cannot create a temporary folder")?;
    let program = super::Cli::command().disable_help_subcommand(true);
    clap_mangen::generate_to(program, made.path()).context("the pages could not be written")?;
    let mut pages: Vec<PathBuf> =
        std::fs::read_dir(made.path())?.map(|entry| Ok(entry?.path())).collect::<std::io::Result<_>>()?;
    pages.sort();
    for page in pages {
        let path = args.out.join(page.file_name().unwrap_or_default());
        safe_write(&path, &std::fs::read(&page)?, args.force)?;
        super::say(&path.display().to_string());
    }
    Ok(0)
}
