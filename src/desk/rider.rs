//! The rider for whom saddles are judged: a file in the shelf's folder, or the page's form.

use std::path::{Path, PathBuf};
use std::sync::Mutex;

use serde::Deserialize;
use serde_json::{Value, json};

use super::Desk;
use super::keep::file_stem;
use super::lock::locked;
use super::response::Problem;
use crate::fit::assess::{AssessmentRequest, assess};
use crate::fit::entered::Entered;
use crate::fit::result::Assessment;
use crate::fit::rider::Rider;
use crate::fit::rule::RuleSet;
use crate::fit::saddle::SaddleFile;
use crate::fit::text::TextError;
use crate::fit::verdict::CONFIDENCE;
use crate::sheet::{OutputError, Sheet, safe_write};

/// The chosen rider: the page's form, and what the rules read from it.
#[derive(Debug, Default)]
pub struct ChosenRider(Mutex<Option<(Value, Rider)>>);

/// A form without its empty fields, which a file leaves out.
pub(super) fn without_blanks(value: &Value) -> Value {
    match value {
        Value::Object(map) => {
            let filled = map.iter().map(|(k, v)| (k.clone(), without_blanks(v)));
            let blank = |v: &Value| {
                v.is_null()
                    || v.as_str().is_some_and(|s| s.trim().is_empty())
                    || v.as_object().is_some_and(serde_json::Map::is_empty)
            };
            Value::Object(filled.filter(|(_, v)| !blank(v)).collect())
        }
        other => other.clone(),
    }
}

/// The form without empty fields, its rider file's text, and the rider; none for an empty form.
fn read(form: &Value, rules: &RuleSet) -> Result<Option<(Value, String, Rider)>, Problem> {
    let filled = without_blanks(form);
    if filled.as_object().is_none_or(|m| m.is_empty()) {
        return Ok(None);
    }
    let text = toml::to_string(&filled)
        .map_err(|e| Problem::new(422, format!("the rider's form has a mistake: {e}"), "check the fields"))?;
    let mistake = |e: TextError| Problem::new(422, e.what, "check this field");
    let rider = Rider::from_text("rider", &text).map_err(mistake)?;
    rules.check_complaints(&rider).map_err(mistake)?;
    Ok(Some((filled, text, rider)))
}

impl ChosenRider {
    /// Chooses the rider of a form; an empty form chooses none.
    ///
    /// # Errors
    /// The first mistake in the form.
    pub fn choose(&self, form: &Value, rules: &RuleSet) -> Result<(), Problem> {
        let chosen = read(form, rules)?.map(|(filled, _, rider)| (filled, rider));
        *locked(&self.0) = chosen;
        Ok(())
    }

    /// The chosen rider.
    pub fn get(&self) -> Option<Rider> {
        locked(&self.0).as_ref().map(|(_, rider)| rider.clone())
    }

    fn form(&self) -> Value {
        let chosen = locked(&self.0);
        chosen.as_ref().map_or(Value::Null, |(form, _)| form.clone())
    }
}

/// A request to save a rider file.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeepRider {
    /// The form.
    rider: Value,
    /// Whether a rider file of the same name may be replaced.
    #[serde(default)]
    replace: bool,
}

/// Writes a rider file named after the rider into the shelf's folder, and chooses the rider.
///
/// # Errors
/// A mistake in the form, no name, or an existing file.
pub fn keep(desk: &Desk, request: &KeepRider) -> Result<Value, Problem> {
    let read = read(&request.rider, &desk.rules)?.filter(|(_, _, rider)| rider.name.is_some());
    let (_, text, rider) = read
        .ok_or_else(|| Problem::new(422, "the rider has no name", "enter one: it becomes the file's name"))?;
    let file = format!("{}.toml", file_stem(&rider.name.unwrap_or_default()));
    let path = desk.folder.join(&file);
    if request.replace && path.exists() && Rider::read(&path).is_err() {
        let text = format!("{file} in the shelf's folder is not a rider file");
        return Err(Problem::new(409, text, "give the rider another name"));
    }
    safe_write(&path, text.as_bytes(), request.replace).map_err(|e| match e {
        OutputError::Exists(_) => Problem::new(
            412,
            format!("{file} is already in the shelf's folder"),
            "give the rider another name, or replace the file",
        ),
        other => anyhow::Error::from(other).into(),
    })?;
    desk.rider.choose(&request.rider, &desk.rules)?;
    Ok(json!({ "file": file, "chosen": desk.rider.form(), "found": found(&desk.folder) }))
}

/// Files of riders and saddles read in the folder.
const MOST_FILES: usize = 200;

/// The chosen rider, and those in the shelf's folder.
pub fn riders(desk: &Desk) -> Value {
    json!({ "chosen": desk.rider.form(), "found": found(&desk.folder) })
}

/// The first TOML files of a folder, by name.
pub(super) fn toml_files(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut files: Vec<_> = entries
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    files.truncate(MOST_FILES);
    files
}

fn found(folder: &Path) -> Vec<Value> {
    let read = toml_files(folder).into_iter().filter_map(|path| {
        let text = std::fs::read_to_string(&path).ok()?;
        Rider::from_text("rider", &text).ok()?;
        let form = serde_json::to_value(text.parse::<toml::Table>().ok()?).ok()?;
        let file = path.file_stem()?.to_string_lossy().into_owned();
        Some(json!({ "file": file, "rider": form }))
    });
    read.collect()
}

/// What was entered by hand: the chosen rider with the horse, and the saddle files in the shelf's folder.
pub fn entered(desk: &Desk) -> Entered {
    let saddles = toml_files(&desk.folder).into_iter().filter_map(|file| SaddleFile::read(&file).ok());
    Entered { saddles: saddles.collect(), ..Entered::of_rider(desk.rider.get().unwrap_or_default()) }
}

/// Judges one saddle for the chosen rider, or for nobody in particular.
///
/// # Errors
/// Where the sheets do not belong to one saddle.
pub fn assess_saddle(desk: &Desk, sheets: &[Sheet]) -> Result<Assessment, Problem> {
    let entered = entered(desk);
    assess(&AssessmentRequest { sheets, entered: &entered, rules: &desk.rules, confidence: CONFIDENCE })
        .map_err(|e| Problem::new(422, e, "measure it again"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_is_read_as_a_rider_file() {
        let rules = RuleSet::built_in().unwrap();
        let chosen = ChosenRider::default();
        let form = json!({
            "name": "Ilse (invented)", "pattern": "women", "thighs": "",
            "seat_bones": { "spacing": "128 mm", "how": "imprint-centres" }, "horse": { "channel": "" },
        });
        chosen.choose(&form, &rules).unwrap();
        assert_eq!(chosen.get().unwrap().name.as_deref(), Some("Ilse (invented)"));
        let wrong = json!({ "seat_bones": { "spacing": "12.8", "how": "imprint-centres" } });
        assert!(chosen.choose(&wrong, &rules).is_err());
        assert!(chosen.get().is_some(), "a mistake keeps the previous rider");
        chosen.choose(&json!({ "name": " " }), &rules).unwrap();
        assert!(chosen.get().is_none());
    }
}
