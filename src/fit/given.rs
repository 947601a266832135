//! Amounts entered by hand in a file of rider, horse or saddle.

use std::collections::BTreeMap;
use std::path::Path;

use super::expr::Field;
use super::text::{Placed, TextError, TomlTable};
use super::unit::{Amount, Dim};
use crate::numeric::file::FileError as Unread;

/// Amounts by field, with the standard uncertainty where one was entered.
pub type Given = BTreeMap<Field, (Amount, Option<f64>)>;

/// Why a file of rider, horse, saddle or rules could not be used: one line.
#[derive(Debug, thiserror::Error)]
pub enum RiderFileError {
    /// The machine could not read it.
    #[error(transparent)]
    Read(#[from] Unread),
    /// Its text is wrong.
    #[error(transparent)]
    Text(#[from] TextError),
}

/// The text of a file that may have some tens of lines.
///
/// # Errors
/// Where it cannot be read, or is no text.
pub fn read_text(path: &Path) -> Result<String, RiderFileError> {
    let read = std::fs::read_to_string(path);
    read.map_err(|e| Unread::from_io(path, &e).into())
}

/// A key of a file, its field, and the least and largest value that is believed, mm.
pub type LengthKey = (&'static str, Field, [f64; 2]);

/// Reads lengths, each with its uncertainty `KEY_u`. A number without a unit is in millimetres.
///
/// # Errors
/// The first that is no length, or that nobody would have.
pub fn read_lengths(given: &mut Given, t: &mut TomlTable, keys: &[LengthKey]) -> Result<(), TextError> {
    for &(key, field, [least, most]) in keys {
        let u = t.amount(&format!("{key}_u"), &LENGTH_UNITS)?;
        let Some((amount, at)) = t.amount(key, &LENGTH_UNITS)? else {
            match u {
                Some((_, at)) => {
                    return Err(t.text().error(at, format!("`{key}_u` is given without `{key}`")));
                }
                None => continue,
            }
        };
        let slip = |at: usize, what: String| Err(t.text().error(at, what));
        match amount {
            Amount::Plain(mm, Dim::LENGTH) if (least..=most).contains(&mm) => {}
            Amount::Fingers(n) if field != Field::Finger && n > 0.0 && n <= 12.0 => {}
            Amount::Plain(mm, Dim::LENGTH) => {
                let what =
                    format!("`{key}` of {mm} mm is not between {least} and {most} mm; check number and unit");
                return slip(at, what);
            }
            _ => {
                let what = format!("`{key}` is no length; write \"... mm\", \"... in\" or \"... fingers\"");
                return slip(at, what);
            }
        }
        let u = match u {
            None => None,
            Some((Amount::Plain(u, Dim::LENGTH), _)) if u >= 0.0 => Some(u),
            Some((_, at)) => return slip(at, format!("`{key}_u` is no length; write \"2 mm\"")),
        };
        given.insert(field, (amount, u));
    }
    Ok(())
}

/// Units that may end a key of a length; the first is that of a bare number.
pub const LENGTH_UNITS: [&str; 3] = ["mm", "cm", "in"];

/// A day, `2026-05-02`; what is compared by date is ordered by it.
///
/// # Errors
/// Where it is written otherwise.
pub fn read_day(t: &mut TomlTable) -> Result<Option<String>, TextError> {
    let Some(Placed { value, at }) = t.string("date")? else { return Ok(None) };
    let digit = |(i, c): (usize, char)| if i == 4 || i == 7 { c == '-' } else { c.is_ascii_digit() };
    match value.len() == 10 && value.chars().enumerate().all(digit) {
        true => Ok(Some(value)),
        false => {
            Err(t.text().error(at, "`date` is a day; write it as year-month-day, such as \"2026-05-02\""))
        }
    }
}
