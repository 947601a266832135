//! The horse file: what was measured on a horse, and when. A rider file may hold the same fields under `[horse]`.

use std::path::Path;

use super::expr::Field;
use super::given::{Given, LengthKey, RiderFileError, read_day, read_lengths, read_text};
use super::text::{TextError, TomlTable, TomlText};

/// A horse as described.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Horse {
    /// Its name.
    pub name: Option<String>,
    /// Day on which it was measured.
    pub date: Option<String>,
    /// Remark.
    pub note: Option<String>,
    /// Amounts entered.
    pub given: Given,
}

const LENGTHS: [LengthKey; 3] = [
    ("channel", Field::ChannelNeed, [20.0, 200.0]),
    ("channel_most", Field::ChannelMost, [20.0, 250.0]),
    ("panel", Field::PanelNeed, [20.0, 300.0]),
];

impl Horse {
    /// Reads a horse file.
    ///
    /// # Errors
    /// The first mistake, with its line.
    pub fn read(path: &Path) -> Result<Self, RiderFileError> {
        Ok(Self::from_text(&path.display().to_string(), &read_text(path)?)?)
    }

    /// Reads the text of a horse file.
    ///
    /// # Errors
    /// The first mistake, with its line.
    pub fn from_text(file: &str, text: &str) -> Result<Self, TextError> {
        Self::from_table(TomlText { file, text }.root()?)
    }

    pub(super) fn from_table(mut t: TomlTable) -> Result<Self, TextError> {
        let mut horse = Self {
            name: t.string("name")?.map(|p| p.value),
            date: read_day(&mut t)?,
            note: t.string("note")?.map(|p| p.value),
            given: Given::new(),
        };
        read_lengths(&mut horse.given, &mut t, &LENGTHS)?;
        t.finish()?;
        Ok(horse)
    }
}

/// A commented file to fill in.
pub const TEMPLATE: &str = include_str!("templates/horse.toml");
