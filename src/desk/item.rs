//! One photo on the desk: how far it has come, what was said of it, and what came of that.

use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Instant;

use anyhow::Context;
use serde::Serialize;
use serde_json::{Value, json};

use super::answer::Trouble;
use super::drawing::{drawing, findings};
use super::edits::{Edits, Told};
use super::lock::locked;
use super::opened::{Came, Measured, Near, Opened};
use super::stage::Stage;
use crate::photo::{Photo, PhotoError, file_name};
use crate::refusal::{Refusal, RefusalCode};

/// A photo on the desk.
pub struct Item {
    /// Its number on this desk.
    pub id: u64,
    /// The file's name, as it was given; shown, never used as a path.
    pub file: String,
    /// Length of the file.
    pub bytes: u64,
    /// Where the file lies meanwhile.
    pub path: PathBuf,
    /// Held while it is measured and its edits are taken, so that a result belongs to its edits.
    pub turn: Mutex<()>,
    state: Mutex<State>,
    /// What stays of it while it is worked on.
    pub opened: Mutex<Option<Opened>>,
    /// The photo of that, to be looked at meanwhile.
    pub decoded: Mutex<Option<Arc<Photo>>>,
}

/// Why a photo has no result.
#[derive(Debug, Clone, Serialize)]
pub struct Unmeasured {
    /// The photo's refusal; none where it is the program or the machine that has failed.
    code: Option<RefusalCode>,
    text: String,
    hint: String,
}

impl From<Refusal> for Unmeasured {
    fn from(refusal: Refusal) -> Self {
        Self { code: Some(refusal.code), text: refusal.text, hint: refusal.hint }
    }
}

impl From<Trouble> for Unmeasured {
    fn from(trouble: Trouble) -> Self {
        let [text, hint] = trouble.words();
        Self { code: None, text, hint }
    }
}

#[derive(Debug, Clone)]
struct State {
    stage: Stage,
    edits: Edits,
    size_px: Option<[usize; 2]>,
    result: Option<Measured>,
    refusal: Option<Unmeasured>,
    near: Option<Near>,
    kept: Option<String>,
    took_ms: f64,
    /// What was said earlier and what it gave, so that undoing gives the same, at once. The first stays.
    earlier: Vec<(Told, Measured)>,
}

/// Earlier results that are kept, some 100 kB each.
const MOST_EARLIER: usize = 16;

impl Item {
    /// A photo that waits for its turn.
    pub fn new(id: u64, file: &str, bytes: u64, path: PathBuf, edits: Edits) -> Self {
        let state = State {
            stage: Stage::Waiting,
            edits,
            size_px: None,
            result: None,
            refusal: None,
            near: None,
            kept: None,
            took_ms: 0.0,
            earlier: Vec::new(),
        };
        Self {
            id,
            file: shown_name(file),
            bytes,
            path,
            turn: Mutex::default(),
            state: Mutex::new(state),
            opened: Mutex::default(),
            decoded: Mutex::default(),
        }
    }

    /// How far it has come.
    pub fn stage(&self) -> Stage {
        locked(&self.state).stage
    }

    /// Says how far it has come.
    pub fn at(&self, stage: Stage) {
        locked(&self.state).stage = stage;
    }

    /// What was said of it.
    pub fn edits(&self) -> Edits {
        locked(&self.state).edits.clone()
    }

    /// Takes what is said of it now; what was said before.
    pub fn say(&self, edits: Edits) -> Edits {
        std::mem::replace(&mut locked(&self.state).edits, edits)
    }

    /// Where the saddle was found in it.
    pub fn near(&self) -> Option<Near> {
        locked(&self.state).near
    }

    /// Where the saddle was found when it was measured together with these others: in this photo, then in each of them.
    pub fn near_together(&self, with: &[u64]) -> Option<Vec<Near>> {
        let state = locked(&self.state);
        let (_, measured) = state.earlier.iter().find(|(t, _)| t.own.with == with && t.nothing_shown())?;
        let own = std::iter::once(&measured.geometry);
        let all = own.chain(measured.others.iter().map(|(_, geometry)| geometry));
        all.map(|geometry| Some((measured.sheet.view?, geometry.midline?))).collect()
    }

    /// Decodes it.
    ///
    /// # Errors
    /// Where its file cannot be read any more; within, why it is no photo.
    pub fn decode(&self) -> Came<Photo> {
        match Photo::from_bytes(&self.file, self.bytes()?) {
            Ok(photo) => {
                locked(&self.state).size_px = Some([photo.width_px(), photo.height_px()]);
                Ok(Ok(photo))
            }
            Err(PhotoError::Refused(refusal)) => Ok(Err(refusal)),
            Err(PhotoError::Io(error)) => Err(anyhow::Error::from(error).into()),
        }
    }

    /// Whether the same was said before, but for name and remark: that result stands again.
    pub fn settle_as_before(&self, told: &Told, began: Instant) -> bool {
        let mut state = locked(&self.state);
        let Some(measured) = state.earlier.iter().find(|(t, _)| t.measures_as(told)).map(|(_, m)| m.clone())
        else {
            return false;
        };
        state.done(measured, began);
        true
    }

    /// Takes a result; `near` is where the walk over this photo alone has found the saddle.
    pub fn settle(&self, measured: Measured, near: Option<Near>, told: Told, began: Instant) {
        let mut state = locked(&self.state);
        let looked_for = |(view, _): &Near| {
            told.own.ends.is_none() && state.near.is_none_or(|(before, _)| before != *view)
        };
        if let Some(near) = near.filter(looked_for) {
            state.near = Some(near);
        }
        if state.earlier.len() == MOST_EARLIER {
            state.earlier.remove(1);
        }
        state.earlier.push((told, measured.clone()));
        state.done(measured, began);
    }

    /// Takes why it has no result.
    pub fn refuse(&self, why: impl Into<Unmeasured>) {
        let mut state = locked(&self.state);
        state.refusal = Some(why.into());
        state.result = None;
        state.stage = Stage::Refused;
    }

    /// The photo's file as it came.
    ///
    /// # Errors
    /// Where it cannot be read.
    pub fn bytes(&self) -> Result<Vec<u8>, Trouble> {
        Ok(std::fs::read(&self.path).context("the photo cannot be read any more")?)
    }

    /// The measurement with the name and the remark that the user gave.
    ///
    /// # Errors
    /// Where there is none.
    pub fn measured(&self) -> Result<Measured, Trouble> {
        let state = locked(&self.state);
        let settled = state.result.as_ref().filter(|_| state.stage == Stage::Measured);
        let mut measured = settled
            .cloned()
            .ok_or_else(|| Trouble::new(409, "the photo is not measured", "see what is said beside it"))?;
        measured.sheet.saddle.name = saddle_name(&state.edits, &self.file);
        let note = state.edits.note.trim();
        measured.sheet.saddle.note = (!note.is_empty()).then(|| note.to_owned());
        Ok(measured)
    }

    /// Says that it was kept on the shelf as a sheet of this name.
    pub fn keep_as(&self, sheet: &str) {
        locked(&self.state).kept = Some(sheet.to_owned());
    }

    /// In a few words, for the tray.
    pub fn brief(&self) -> Value {
        self.brief_of(&locked(&self.state))
    }

    fn brief_of(&self, state: &State) -> Value {
        json!({
            "id": self.id,
            "file": self.file,
            "name": saddle_name(&state.edits, &self.file),
            "stage": state.stage,
            "with": state.edits.with,
            "refusal": state.refusal,
            "kept": state.kept,
            "widths": state.result.as_ref().map(|r| findings(&r.sheet)["widths"].clone()),
        })
    }

    /// All that the page shows of it.
    pub fn whole(&self) -> Value {
        let state = locked(&self.state);
        let mut all = self.brief_of(&state);
        all["size_px"] = json!(state.size_px);
        all["edits"] = json!(state.edits);
        all["took_ms"] = json!(state.took_ms.round());
        all["lens"] = json!(state.result.as_ref().and_then(|r| r.lens.as_ref()));
        all["findings"] = state.result.as_ref().map_or(Value::Null, |r| findings(&r.sheet));
        all["drawing"] = state.result.as_ref().map_or(Value::Null, |r| drawing(&r.sheet, &r.geometry));
        all
    }
}

impl State {
    fn done(&mut self, measured: Measured, began: Instant) {
        self.result = Some(measured);
        self.refusal = None;
        self.stage = Stage::Measured;
        self.took_ms = began.elapsed().as_secs_f64() * 1000.0;
    }
}

fn saddle_name(edits: &Edits, file: &str) -> String {
    let given = edits.name.trim();
    let stem = || file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    if given.is_empty() { stem().to_owned() } else { given.to_owned() }
}

/// A file's name as it is shown: without folders, in one line, not longer than a line.
fn shown_name(file: &str) -> String {
    let name = file_name(std::path::Path::new(&file.replace('\\', "/")));
    name.chars().take(120).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_shown_without_folders() {
        assert_eq!(shown_name("../../etc/passwd"), "passwd");
        assert_eq!(shown_name("C:\\photos\\a\u{7}.jpg"), "a .jpg");
    }
}
