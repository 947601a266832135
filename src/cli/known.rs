//! Options for what is known before a photo is located: its lens and the print scale of its card.

use std::path::PathBuf;

use clap::Args;

use super::values::parse_bar;
use crate::camera::print_scale::ScaleBy;

/// Lens and print scale.
#[derive(Debug, Args)]
pub struct KnownBefore {
    /// Lens file of the camera, or a folder of lens files to choose from by camera
    #[arg(long, value_name = "FILE|DIR")]
    pub lens: Option<PathBuf>,
    /// Length of the bar on the printed card by your ruler: 150 at true scale
    #[arg(long, value_name = "LENGTH", value_parser = parse_bar)]
    pub bar: Option<f64>,
    /// A card of bank-card size (ISO/IEC 7810, ID-1) lies in the printed frame and gives the true scale
    #[arg(long, conflicts_with = "bar")]
    pub bank_card: bool,
}

impl KnownBefore {
    /// Source of the print scale.
    pub fn scale_by(&self) -> ScaleBy {
        match self.bar {
            Some(bar_mm) => ScaleBy::Bar(bar_mm),
            None if self.bank_card => ScaleBy::BankCard,
            None => ScaleBy::Printer,
        }
    }
}
