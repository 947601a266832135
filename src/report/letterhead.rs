//! The fitter's letterhead, from a settings file.

use std::path::Path;

use crate::fit::given::{RiderFileError, read_text};
use crate::fit::text::{TextError, TomlText};

/// Name and address of a fitter.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Letterhead {
    /// The name.
    pub name: String,
    /// Address, telephone and whatever else stands on a letter, a line each.
    pub lines: Vec<String>,
}

impl Letterhead {
    /// Reads a settings file.
    ///
    /// # Errors
    /// The first mistake, with its line.
    pub fn read(path: &Path) -> Result<Self, RiderFileError> {
        Ok(Self::from_text(&path.display().to_string(), &read_text(path)?)?)
    }

    /// Reads the text of a settings file: `[letterhead]` with `name` and `lines`.
    ///
    /// # Errors
    /// The first mistake, with its line.
    pub fn from_text(file: &str, text: &str) -> Result<Self, TextError> {
        let mut root = TomlText { file, text }.root()?;
        let mut letterhead = Self::default();
        if let Some(mut t) = root.table("letterhead")? {
            letterhead.name = t.need_string("name")?.value;
            letterhead.lines = t.strings("lines")?.into_iter().map(|p| p.value).collect();
            t.finish()?;
        }
        root.finish()?;
        Ok(letterhead)
    }

    /// The lines of the head of a letter.
    pub fn all_lines(&self) -> Vec<String> {
        std::iter::once(&self.name).chain(&self.lines).filter(|line| !line.is_empty()).cloned().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_letterhead_is_read_and_a_slip_has_its_line() {
        let text =
            "[letterhead]\nname = \"Vale Saddle Fitting (invented)\"\nlines = [\"1 Mill Lane\", \"Vale\"]\n";
        let read = Letterhead::from_text("settings.toml", text).unwrap();
        assert_eq!(read.all_lines(), ["Vale Saddle Fitting (invented)", "1 Mill Lane", "Vale"]);
        let slip = Letterhead::from_text("settings.toml", "[letterhed]\n").unwrap_err().to_string();
        assert!(slip.starts_with("settings.toml:1:"), "{slip}");
    }
}
