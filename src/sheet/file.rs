//! Sheets as files: JSON text in, JSON text out, every refusal of it in one line.

use super::output::{OutputError, safe_write};
use super::types::{SCHEMA, Sheet, VERSION_1};
use super::version1::upgraded;
use crate::numeric::file::FileError;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// The largest file accepted as a sheet, in bytes; a sheet of four edges at every millimetre has some 0.2 MB.
const LARGEST: u64 = 64 << 20;

/// What the names of all versions of the format begin with.
const FAMILY: &str = "seatspan-sheet/";

/// Why a sheet could not be read or written. Every message is one line that names the file.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    /// The file could not be read.
    #[error(transparent)]
    Read(FileError),
    /// The file is no sheet of a known version.
    #[error("{}: {problem}", file.display())]
    Format {
        /// The file.
        file: PathBuf,
        /// What is wrong and what to do.
        problem: String,
    },
    /// The sheet breaks its own rules and was not written.
    #[error("the sheet was not written: {0}")]
    Invalid(String),
    /// The file could not be written.
    #[error(transparent)]
    Output(#[from] OutputError),
}

/// Reads a sheet of any published version. Unknown keys are passed over, a missing key is named.
pub fn read(path: &Path) -> Result<Sheet, SheetError> {
    read_with_bytes(path).map(|(sheet, _)| sheet)
}

/// Reads a sheet as [`read`] does, with the bytes that it was read from.
pub fn read_with_bytes(path: &Path) -> Result<(Sheet, Vec<u8>), SheetError> {
    let failed = |e: std::io::Error| SheetError::Read(FileError::from_io(path, &e));
    let size = std::fs::metadata(path).map_err(failed)?.len();
    let foreign = |problem| SheetError::Format { file: path.into(), problem };
    if size > LARGEST {
        return Err(foreign(format!("{size} bytes are too many for a sheet; is it another file?")));
    }
    let text = std::fs::read(path).map_err(failed)?;
    let sheet = from_json(&text).map_err(foreign)?;
    Ok((sheet, text))
}

/// A sheet from its JSON text, or one line that says what is wrong with it.
pub fn from_json(text: &[u8]) -> Result<Sheet, String> {
    let value: Value = serde_json::from_slice(text)
        .map_err(|e| format!("not a sheet: the file is not complete JSON ({e}); measure the photo again"))?;
    match value.get("schema").and_then(Value::as_str) {
        Some(SCHEMA) => from_value(value).and_then(sound),
        Some(VERSION_1) => from_value(value).and_then(sound).map(upgraded),
        Some(newer) if newer.starts_with(FAMILY) => Err(format!(
            "a sheet of version {:?}, and this program reads {SCHEMA:?}; update the program",
            &newer[FAMILY.len()..]
        )),
        Some(other) => Err(format!("its schema is {other:?}, not {SCHEMA:?}; give a sheet")),
        None => Err(format!("not a sheet: there is no key `schema` that says {SCHEMA:?}; give a sheet")),
    }
}

/// A sheet from parsed JSON; the message names the key that is missing or wrong.
fn from_value(value: Value) -> Result<Sheet, String> {
    serde_path_to_error::deserialize(value).map_err(|e| {
        let key = e.path().to_string();
        let place = if key == "." { String::new() } else { format!("at `{key}`: ") };
        format!("{place}{}; correct the sheet or measure the photo again", e.inner())
    })
}

/// No length of a saddle is longer, mm.
const LONGEST_MM: f64 = 10_000.0;

/// Refuses lengths that no saddle has, too long to draw, and influences that are not whole.
fn sound(sheet: Sheet) -> Result<Sheet, String> {
    if sheet.influences.as_ref().is_some_and(|influences| !influences.is_whole()) {
        return Err("at `influences`: a list is not as long as `places`; measure the photo again".into());
    }
    let pairs = sheet.edges.iter().flat_map(|e| [&e.seat, &e.channel]).flatten();
    let edges = pairs.flat_map(|p| p.left.iter().chain(&p.right)).map(|row| row[1]);
    let stations = sheet.stations.iter().flat_map(|s| [&s.seat, &s.channel]).flatten();
    let mut lengths = sheet
        .midline
        .iter()
        .map(|m| m.length_mm)
        .chain(sheet.widths.iter().flat_map(|w| [w.mm, w.u95]))
        .chain(stations.flat_map(|w| [w.mm, w.u95, w.left_half, w.right_half]))
        .chain(sheet.budget.iter().map(|l| l.u))
        .chain(edges);
    let absurd = lengths.find(|mm| mm.abs() > LONGEST_MM);
    drop(lengths);
    match absurd {
        Some(mm) => {
            Err(format!("a length of {mm} mm is no saddle's; correct the sheet or measure the photo again"))
        }
        None => Ok(sheet),
    }
}

/// The sheet as JSON text, rounded, one key a line, rows of numbers on one.
///
/// Fails when a number is not finite, or when a refused photo's sheet has a width.
pub fn to_json(sheet: &Sheet) -> Result<String, SheetError> {
    check(sheet)?;
    let value =
        serde_json::to_value(sheet.clone().rounded()).map_err(|e| SheetError::Invalid(e.to_string()))?;
    let mut text = String::new();
    layout(&value, 0, &mut text);
    text.push('\n');
    Ok(text)
}

/// Refuses what must never be written. JSON has no NaN and the serialiser would write null for it, so the sheet
/// is read back from its JSON: it is equal to itself only when every number is finite.
fn check(sheet: &Sheet) -> Result<(), SheetError> {
    let invalid = |what: String| Err(SheetError::Invalid(what));
    if sheet.schema != SCHEMA {
        return invalid(format!("its schema is {:?}, not {SCHEMA:?}", sheet.schema));
    }
    if sheet.refused.is_some() && !(sheet.widths.is_empty() && sheet.stations.is_empty()) {
        return invalid("the photo was refused, and yet there are widths".into());
    }
    let value = serde_json::to_value(sheet).map_err(|e| SheetError::Invalid(e.to_string()))?;
    let back: Result<Sheet, _> = serde_path_to_error::deserialize(&value);
    match back {
        Err(e) => invalid(format!("`{}` is not a finite number", e.path())),
        Ok(back) if &back != sheet => {
            invalid(format!("a number in `{}` is not finite", differing(sheet, &back)))
        }
        Ok(_) => Ok(()),
    }
}

/// The part of the sheet where an optional number became null: only these have optional numbers.
fn differing(sheet: &Sheet, back: &Sheet) -> &'static str {
    let parts = [(sheet.camera != back.camera, "camera"), (sheet.cards != back.cards, "cards")];
    parts.into_iter().find(|part| part.0).map_or("widths", |part| part.1)
}

/// Writes `value` with two spaces a level; arrays of numbers stay on one line, so that edges read as a table.
fn layout(value: &Value, level: usize, out: &mut String) {
    let indent = |level: usize, out: &mut String| {
        out.push('\n');
        out.extend(std::iter::repeat_n(' ', 2 * level));
    };
    match value {
        Value::Object(map) if !map.is_empty() => {
            for (i, (key, inner)) in map.iter().enumerate() {
                out.push(if i == 0 { '{' } else { ',' });
                indent(level + 1, out);
                out.push_str(&Value::from(key.as_str()).to_string());
                out.push_str(": ");
                layout(inner, level + 1, out);
            }
            indent(level, out);
            out.push('}');
        }
        Value::Array(items) if items.iter().any(|v| v.is_object() || v.is_array()) => {
            for (i, inner) in items.iter().enumerate() {
                out.push(if i == 0 { '[' } else { ',' });
                indent(level + 1, out);
                layout(inner, level + 1, out);
            }
            indent(level, out);
            out.push(']');
        }
        other => out.push_str(&other.to_string()),
    }
}

/// Writes the sheet atomically: either the whole file is there, or what was there before.
///
/// Without `overwrite` an existing file is left alone and an error says so.
pub fn write(path: &Path, sheet: &Sheet, overwrite: bool) -> Result<(), SheetError> {
    Ok(safe_write(path, to_json(sheet)?.as_bytes(), overwrite)?)
}

/// The JSON Schema of sheets of the current version (`docs/sheet.schema.json`).
///
/// Keys that not every writer of the version fills in have a default and are not required.
pub fn json_schema() -> Value {
    let settings = schemars::generate::SchemaSettings::draft2020_12().for_serialize();
    let mut value = settings.into_generator().into_root_schema_for::<Sheet>().to_value();
    release_defaults(&mut value);
    if let Some(types) = value.get_mut("$defs").and_then(Value::as_object_mut) {
        types.values_mut().for_each(release_defaults);
    }
    if let Some(schema) = value.pointer_mut("/properties/schema").and_then(Value::as_object_mut) {
        schema.insert("const".into(), SCHEMA.into());
    }
    value
}

/// Takes the keys that have a default off the list of required ones.
fn release_defaults(object: &mut Value) {
    let properties = object.get("properties").cloned().unwrap_or_default();
    let has_default = |key: &Value| {
        key.as_str().and_then(|key| properties.get(key)).is_some_and(|p| p.get("default").is_some())
    };
    if let Some(required) = object.get_mut("required").and_then(Value::as_array_mut) {
        required.retain(|key| !has_default(key));
    }
}
