//! One photo on the desk: its progress, edits and results.

use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Instant;

use anyhow::Context;
use serde::Serialize;
use serde_json::{Value, json};

use super::drawing::{drawing, findings};
use super::edits::{EditSet, Edits};
use super::lock::locked;
use super::open_photo::{Near, OpenPhoto, Outcome, PhotoResult};
use super::response::Problem;
use super::stage::Stage;
use crate::instruction::on_desk;
use crate::photo::{Photo, PhotoError, file_name};
use crate::refusal::{Refusal, RefusalCode};

/// A photo on the desk.
pub struct DeskPhoto {
    /// Its id on this desk.
    pub id: u64,
    /// The file's name: displayed, never used as a path.
    pub file: String,
    /// Length of the file.
    pub bytes: u64,
    /// The temporary file.
    pub path: PathBuf,
    /// Held while the photo is measured and its edits replaced, so that a result belongs to its edits.
    pub turn: Mutex<()>,
    state: Mutex<State>,
    /// The photo while it is worked on.
    pub opened: Mutex<Option<OpenPhoto>>,
    /// The decoded photo, for pictures meanwhile.
    pub decoded: Mutex<Option<Arc<Photo>>>,
}

/// Why a photo has no result.
#[derive(Debug, Clone, Serialize)]
pub struct Unmeasured {
    /// The photo's refusal; `None` where the program or the machine failed.
    code: Option<RefusalCode>,
    text: String,
    hint: String,
}

impl From<Refusal> for Unmeasured {
    fn from(refusal: Refusal) -> Self {
        Self { code: Some(refusal.code), text: refusal.text, hint: on_desk(&refusal.hint) }
    }
}

impl From<Problem> for Unmeasured {
    fn from(problem: Problem) -> Self {
        let [text, hint] = problem.words();
        Self { code: None, text, hint }
    }
}

#[derive(Debug, Clone)]
struct State {
    stage: Stage,
    edits: Edits,
    size_px: Option<[usize; 2]>,
    result: Option<PhotoResult>,
    refusal: Option<Unmeasured>,
    near: Option<Near>,
    kept: Option<String>,
    took_ms: f64,
    /// Earlier edits with their results, so that undo is immediate. The first stays.
    earlier: Vec<(EditSet, PhotoResult)>,
}

/// Most earlier results, some 100 kB each.
const MOST_EARLIER: usize = 16;

impl DeskPhoto {
    /// A photo that waits to be measured.
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

    /// Its progress.
    pub fn stage(&self) -> Stage {
        locked(&self.state).stage
    }

    /// Sets its progress.
    pub fn at(&self, stage: Stage) {
        locked(&self.state).stage = stage;
    }

    /// Its edits.
    pub fn edits(&self) -> Edits {
        locked(&self.state).edits.clone()
    }

    /// Replaces its edits; returns the previous ones.
    pub fn replace_edits(&self, edits: Edits) -> Edits {
        std::mem::replace(&mut locked(&self.state).edits, edits)
    }

    /// Where the saddle was found.
    pub fn near(&self) -> Option<Near> {
        locked(&self.state).near
    }

    /// Where the saddle was found together with these others: in this photo, then in each of them.
    pub fn near_together(&self, with: &[u64]) -> Option<Vec<Near>> {
        let state = locked(&self.state);
        let all_used = |(t, measured): &&(EditSet, PhotoResult)| {
            t.own.with == with && measured.others.len() == with.len() && t.finds_all_ends()
        };
        let (_, measured) = state.earlier.iter().find(all_used)?;
        let own = std::iter::once(&measured.geometry);
        let all = own.chain(measured.others.iter().map(|(_, geometry)| geometry));
        all.map(|geometry| Some((measured.sheet.view?, geometry.midline?))).collect()
    }

    /// Decodes it.
    ///
    /// # Errors
    /// A file that cannot be read; within, the photo's refusal.
    pub fn decode(&self) -> Outcome<Photo> {
        match Photo::from_bytes(&self.file, self.bytes()?) {
            Ok(photo) => {
                locked(&self.state).size_px = Some([photo.width_px(), photo.height_px()]);
                Ok(Ok(photo))
            }
            Err(PhotoError::Refused(refusal)) => Ok(Err(refusal)),
            Err(PhotoError::Io(error)) => Err(anyhow::Error::from(error).into()),
        }
    }

    /// Restores the result of earlier edits that give the same measurement; returns whether there was one.
    pub fn settle_as_before(&self, set: &EditSet, began: Instant) -> bool {
        let mut state = locked(&self.state);
        let Some(measured) = state.earlier.iter().find(|(t, _)| t.measures_as(set)).map(|(_, m)| m.clone())
        else {
            return false;
        };
        state.done(measured, began);
        true
    }

    /// Stores a result; `near` is where the saddle was found in this photo alone.
    pub fn settle(&self, measured: PhotoResult, near: Option<Near>, set: EditSet, began: Instant) {
        let mut state = locked(&self.state);
        let is_new =
            |(view, _): &Near| set.own.ends.is_none() && state.near.is_none_or(|(before, _)| before != *view);
        if let Some(near) = near.filter(is_new) {
            state.near = Some(near);
        }
        if state.earlier.len() == MOST_EARLIER {
            state.earlier.remove(1);
        }
        state.earlier.push((set, measured.clone()));
        state.done(measured, began);
    }

    /// Stores a refusal.
    pub fn refuse(&self, why: impl Into<Unmeasured>) {
        let mut state = locked(&self.state);
        state.refusal = Some(why.into());
        state.result = None;
        state.stage = Stage::Refused;
    }

    /// The bytes of the photo's file.
    ///
    /// # Errors
    /// Where it cannot be read.
    pub fn bytes(&self) -> Result<Vec<u8>, Problem> {
        Ok(std::fs::read(&self.path).context("the photo can no longer be read")?)
    }

    /// The result with the user's name and remark.
    ///
    /// # Errors
    /// Where there is none.
    pub fn measured(&self) -> Result<PhotoResult, Problem> {
        let state = locked(&self.state);
        let settled = state.result.as_ref().filter(|_| state.stage == Stage::Measured);
        let mut measured = settled
            .cloned()
            .ok_or_else(|| Problem::new(409, "the photo is not measured", "see the message beside it"))?;
        measured.sheet.saddle.name = saddle_name(&state.edits, &self.file);
        let note = state.edits.note.trim();
        measured.sheet.saddle.note = (!note.is_empty()).then(|| note.to_owned());
        Ok(measured)
    }

    /// Notes that it was saved on the shelf as this sheet.
    pub fn keep_as(&self, sheet: &str) {
        locked(&self.state).kept = Some(sheet.to_owned());
    }

    /// In brief, for the tray.
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

    /// In full, for the page.
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
    fn done(&mut self, measured: PhotoResult, began: Instant) {
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

/// A file's name for display: one line without folders.
fn shown_name(file: &str) -> String {
    let name = file_name(std::path::Path::new(&file.replace('\\', "/")));
    name.chars().take(120).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_displayed_without_folders() {
        assert_eq!(shown_name("../../etc/passwd"), "passwd");
        assert_eq!(shown_name("C:\\photos\\a\u{7}.jpg"), "a .jpg");
    }
}
