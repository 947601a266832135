//! The rider that saddles are judged for: chosen from the shelf's folder or filled in on the page.

use std::path::Path;
use std::sync::Mutex;

use serde::Deserialize;
use serde_json::{Value, json};

use super::Room;
use super::answer::Trouble;
use super::keep::file_stem;
use super::lock::locked;
use crate::fit::assess::{Request, assess};
use crate::fit::result::Assessment;
use crate::fit::rider::Rider;
use crate::fit::rule::RuleSet;
use crate::fit::text::TextError;
use crate::fit::verdict::CONFIDENCE;
use crate::sheet::{OutputError, Sheet, safe_write};

/// The rider as the page has filled it in, and as the rules read it.
#[derive(Debug, Default)]
pub struct ChosenRider(Mutex<Option<(Value, Rider)>>);

/// An empty field of the form is a field left out of the file.
fn without_blanks(value: &Value) -> Value {
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

/// A rider as the form says it, its file's text, and as the rules read it; none where the form is empty.
fn read(form: &Value, rules: &RuleSet) -> Result<Option<(Value, String, Rider)>, Trouble> {
    let filled = without_blanks(form);
    if filled.as_object().is_none_or(|m| m.is_empty()) {
        return Ok(None);
    }
    let text = toml::to_string(&filled).map_err(|e| {
        Trouble::new(422, format!("the rider cannot be read: {e}"), "look at the fields again")
    })?;
    let mistake = |e: TextError| Trouble::new(422, e.what, "look at the field again");
    let rider = Rider::from_text("rider", &text).map_err(mistake)?;
    rules.check_complaints(&rider).map_err(mistake)?;
    Ok(Some((filled, text, rider)))
}

impl ChosenRider {
    /// Takes what the form says; an empty form is no rider.
    ///
    /// # Errors
    /// The first mistake, in the words of rider files.
    pub fn choose(&self, form: &Value, rules: &RuleSet) -> Result<(), Trouble> {
        let chosen = read(form, rules)?.map(|(filled, _, rider)| (filled, rider));
        *locked(&self.0) = chosen;
        Ok(())
    }

    /// The rider chosen.
    pub fn get(&self) -> Option<Rider> {
        locked(&self.0).as_ref().map(|(_, rider)| rider.clone())
    }

    fn form(&self) -> Value {
        let chosen = locked(&self.0);
        chosen.as_ref().map_or(Value::Null, |(form, _)| form.clone())
    }
}

/// A rider to keep.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wish {
    /// What the form says.
    rider: Value,
    /// Whether a rider file that is there under the name may be replaced.
    #[serde(default)]
    replace: bool,
}

/// Writes the rider's file into the shelf's folder, under the rider's name, and chooses the rider.
///
/// # Errors
/// A mistake in the form, no name, or something that is there already.
pub fn keep(room: &Room, wish: &Wish) -> Result<Value, Trouble> {
    let read = read(&wish.rider, &room.rules)?.filter(|(_, _, rider)| rider.name.is_some());
    let (_, text, rider) = read.ok_or_else(|| {
        Trouble::new(422, "the rider has no name", "write one: the file is called after it")
    })?;
    let file = format!("{}.toml", file_stem(&rider.name.unwrap_or_default()));
    let path = room.folder.join(&file);
    if wish.replace && path.exists() && Rider::read(&path).is_err() {
        let text = format!("{file} is in the shelf's folder already and is no rider file");
        return Err(Trouble::new(409, text, "give the rider another name"));
    }
    safe_write(&path, text.as_bytes(), wish.replace).map_err(|e| match e {
        OutputError::Exists(_) => Trouble::new(
            412,
            format!("{file} is in the shelf's folder already"),
            "give the rider another name, or replace what is there",
        ),
        other => anyhow::Error::from(other).into(),
    })?;
    room.rider.choose(&wish.rider, &room.rules)?;
    Ok(json!({ "file": file, "chosen": room.rider.form(), "found": found(&room.folder) }))
}

/// Rider files looked at in the folder.
const MOST_RIDERS: usize = 200;

/// The rider chosen, and those that lie in the shelf's folder.
pub fn riders(room: &Room) -> Value {
    json!({ "chosen": room.rider.form(), "found": found(&room.folder) })
}

fn found(folder: &Path) -> Vec<Value> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut files: Vec<_> = entries
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    files.truncate(MOST_RIDERS);
    let read = files.iter().filter_map(|path| {
        let text = std::fs::read_to_string(path).ok()?;
        Rider::from_text("rider", &text).ok()?;
        let form = serde_json::to_value(text.parse::<toml::Table>().ok()?).ok()?;
        let file = path.file_stem()?.to_string_lossy().into_owned();
        Some(json!({ "file": file, "rider": form }))
    });
    read.collect()
}

/// What the rules say of sheets of one saddle, for the rider chosen or for nobody.
///
/// # Errors
/// Where the sheets do not belong together.
pub fn assessed(room: &Room, sheets: &[Sheet]) -> Result<Assessment, Trouble> {
    let rider = room.rider.get().unwrap_or_default();
    assess(&Request { sheets, rider: &rider, rules: &room.rules, confidence: CONFIDENCE })
        .map_err(|e| Trouble::new(422, e, "measure it again"))
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
        let wrong = json!({ "seat_bones": { "spacing": "128", "how": "imprint-centres" } });
        assert!(chosen.choose(&wrong, &rules).is_err());
        assert!(chosen.get().is_some(), "a mistake leaves the rider that was there");
        chosen.choose(&json!({ "name": " " }), &rules).unwrap();
        assert!(chosen.get().is_none());
    }
}
