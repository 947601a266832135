//! The saddle file: what a photo does not show, taken by hand or read from the saddle, and what a buyer asks.

use std::path::Path;

use super::expr::Field;
use super::given::{Given, LengthKey, RiderFileError, read_day, read_lengths, read_text};
use super::text::{TextError, TomlText};

/// A saddle as described by hand.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SaddleFile {
    /// Its name, as on its sheets.
    pub name: String,
    /// Day on which it was looked at.
    pub date: Option<String>,
    /// Lengths taken by hand.
    pub given: Given,
    /// What a buyer asks: a title and the answer.
    pub sale: Vec<[String; 2]>,
}

const LENGTHS: [LengthKey; 7] = [
    ("fall_away", Field::FallAway, [0.0, 100.0]),
    ("piping", Field::Piping, [0.0, 30.0]),
    ("front_height", Field::FrontHeight, [0.0, 400.0]),
    ("front_breadth", Field::FrontBreadth, [5.0, 300.0]),
    ("bars", Field::Bars, [50.0, 500.0]),
    ("lowest", Field::Lowest, [20.0, 500.0]),
    ("stirrup_bar", Field::StirrupBar, [50.0, 700.0]),
];

/// Keys of `[sale]` with their titles.
const SALE: [(&str, &str); 6] = [
    ("size", "Size as sold"),
    ("serial", "Serial number"),
    ("tree", "Tree"),
    ("condition", "Condition"),
    ("flocking", "Flocking"),
    ("photos", "Photos, uncropped"),
];

impl SaddleFile {
    /// Reads a saddle file.
    ///
    /// # Errors
    /// The first mistake, with its line.
    pub fn read(path: &Path) -> Result<Self, RiderFileError> {
        Ok(Self::from_text(&path.display().to_string(), &read_text(path)?)?)
    }

    /// Reads the text of a saddle file.
    ///
    /// # Errors
    /// The first mistake, with its line.
    pub fn from_text(file: &str, text: &str) -> Result<Self, TextError> {
        let mut root = TomlText { file, text }.root()?;
        let mut saddle =
            Self { name: root.need_string("name")?.value, date: read_day(&mut root)?, ..Self::default() };
        if let Some(mut t) = root.table("by_hand")? {
            read_lengths(&mut saddle.given, &mut t, &LENGTHS)?;
            t.finish()?;
        }
        if let Some(mut t) = root.table("sale")? {
            for (key, title) in SALE {
                saddle.sale.extend(t.string(key)?.map(|p| [title.to_owned(), p.value]));
            }
            t.finish()?;
        }
        root.finish()?;
        Ok(saddle)
    }
}

/// A commented file to fill in.
pub const TEMPLATE: &str = include_str!("templates/saddle.toml");
