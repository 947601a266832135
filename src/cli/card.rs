//! `seatspan card`: writes the reference card or the guide for clients, to print.

use std::path::PathBuf;

use anyhow::{Context, bail};
use clap::Args;

use super::values::parse_paper;
use crate::canvas::{Canvas, Letters, Paper, pdf};
use crate::card::pattern::{Pattern, patterns};
use crate::print::card::card_page;
use crate::print::guide::guide_page;
use crate::sheet::safe_write;

/// Options of `seatspan card`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct CardArgs {
    /// The full card, or strips (several on a page)
    #[arg(value_name = "sheet|strip", default_value = "sheet", value_parser = parse_pattern)]
    pub pattern: &'static Pattern,
    /// Paper to print on
    #[arg(long, value_name = "a4|letter", default_value = "a4", value_parser = parse_paper)]
    pub paper: Paper,
    /// Copy number (of strips, the first on the page); cards in one photo must be different copies
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub copy: u32,
    /// Write the guide for clients instead
    #[arg(long, conflicts_with = "copy")]
    pub guide: bool,
    /// Also write SVG
    #[arg(long)]
    pub svg: bool,
    /// Write every card on every paper, and the guide
    #[arg(long, conflicts_with_all = ["guide", "paper"])]
    pub all: bool,
    /// Output folder
    #[arg(long, value_name = "DIR", default_value = ".")]
    pub out: PathBuf,
    /// Overwrite existing files
    #[arg(long)]
    pub force: bool,
}

const EXAMPLES: &str = "\
Examples:
  seatspan card                      card-sheet-0-a4.pdf, in the current folder
  seatspan card strip --paper letter --out pages
  seatspan card --guide --svg --out pages
Print at actual size (100 %), then check the bar with a ruler: it must be 150 mm long.";

fn parse_pattern(text: &str) -> Result<&'static Pattern, String> {
    let known: Vec<&str> = patterns().iter().map(|p| p.name.as_str()).collect();
    patterns().iter().find(|p| p.name == text).ok_or_else(|| format!("write {}", known.join(" or ")))
}

/// Writes the pages and prints their paths.
///
/// # Errors
/// A copy that does not exist, an existing file, or an error of the machine.
pub fn run(args: &CardArgs) -> anyhow::Result<u8> {
    let files = files(args)?;
    if let Some((path, _)) = files.iter().find(|(path, _)| !args.force && path.exists()) {
        bail!("{} already exists; use --force to overwrite it, or another --out", path.display());
    }
    std::fs::create_dir_all(&args.out)
        .with_context(|| format!("cannot create the folder {}", args.out.display()))?;
    for (path, bytes) in &files {
        safe_write(path, bytes, args.force)?;
        super::say(&path.display().to_string());
    }
    Ok(0)
}

/// The path and bytes of every file, complete before any is written.
fn files(args: &CardArgs) -> anyhow::Result<Vec<(PathBuf, Vec<u8>)>> {
    let mut files = Vec::new();
    for (name, page) in pages(args)? {
        let path = |extension: &str| args.out.join(format!("{name}.{extension}"));
        files.push((path("pdf"), pdf(std::slice::from_ref(&page), &page.label)?));
        if args.svg {
            files.push((path("svg"), page.to_svg(Letters::Drawn)?.into_bytes()));
        }
    }
    Ok(files)
}

fn pages(args: &CardArgs) -> anyhow::Result<Vec<(String, Canvas)>> {
    let card = |pattern: &Pattern, paper: Paper| {
        let name = format!("card-{}-{}-{}", pattern.name, args.copy, paper.as_str());
        card_page(pattern, args.copy, paper).map(|page| (name, page))
    };
    let guide = |paper: Paper| (format!("guide-{}", paper.as_str()), guide_page(paper));
    if args.guide {
        return Ok(vec![guide(args.paper)]);
    }
    if !args.all {
        return Ok(vec![card(args.pattern, args.paper)?]);
    }
    let mut all = Vec::new();
    for paper in Paper::ALL {
        for pattern in patterns() {
            all.push(card(pattern, paper)?);
        }
        all.push(guide(paper));
    }
    Ok(all)
}
