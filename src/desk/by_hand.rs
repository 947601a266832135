//! What was measured by hand on a saddle: its saddle file in the shelf's folder.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::keep::file_stem;
use super::response::Problem;
use super::rider::{toml_files, without_blanks};
use crate::fit::saddle::SaddleFile;
use crate::sheet::safe_write;

/// The saddle file of a name, and its content as the page's form.
fn existing(folder: &Path, name: &str) -> Option<(PathBuf, Value)> {
    let is_its = |path: &PathBuf| SaddleFile::read(path).is_ok_and(|saddle| saddle.name == name);
    let path = toml_files(folder).into_iter().find(is_its)?;
    let table = std::fs::read_to_string(&path).ok()?.parse::<toml::Table>().ok()?;
    Some((path, serde_json::to_value(table).ok()?))
}

/// What is known of a saddle; only its name where it has no file.
pub fn of_saddle(folder: &Path, name: &str) -> Value {
    existing(folder, name).map_or_else(|| json!({ "name": name }), |(_, form)| form)
}

/// Writes the form as the file of the saddle.
///
/// # Errors
/// The first mistake in the form.
pub fn keep(folder: &Path, name: &str, form: &Value) -> Result<Value, Problem> {
    let mut filled = without_blanks(form);
    filled["name"] = name.into();
    let mistake = |what: String| Problem::new(422, what, "check this field");
    let text = toml::to_string(&filled).map_err(|e| mistake(format!("the form has a mistake: {e}")))?;
    SaddleFile::from_text("saddle", &text).map_err(|e| mistake(e.what))?;
    let known = existing(folder, name);
    let path = known
        .as_ref()
        .map_or_else(|| folder.join(format!("{}.saddle.toml", file_stem(name))), |(path, _)| path.clone());
    safe_write(&path, text.as_bytes(), known.is_some()).map_err(anyhow::Error::from)?;
    Ok(filled)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_becomes_the_file_of_its_saddle() {
        let folder = tempfile::tempdir().unwrap();
        let form = json!({ "by_hand": { "bars": "23 cm", "piping": " " }, "sale": { "size": "" } });
        keep(folder.path(), "Rush (invented)", &form).unwrap();
        let saddle = SaddleFile::read(&folder.path().join("rush-invented.saddle.toml")).unwrap();
        assert_eq!(saddle.name, "Rush (invented)");
        assert_eq!(of_saddle(folder.path(), "Rush (invented)")["by_hand"]["bars"], "23 cm");
        assert!(keep(folder.path(), "Rush (invented)", &json!({ "by_hand": { "bars": "3 mm" } })).is_err());
        keep(folder.path(), "Rush (invented)", &json!({ "by_hand": { "bars": "231 mm" } })).unwrap();
        assert_eq!(of_saddle(folder.path(), "Rush (invented)")["by_hand"], json!({ "bars": "231 mm" }));
        assert_eq!(of_saddle(folder.path(), "Sedge (invented)"), json!({ "name": "Sedge (invented)" }));
    }
}
