//! The photos on the desk. Their files lie in a temporary folder; decoded are only the few looked at last, with the cards found
//! and the camera fitted, so that a correction traces the edges anew and nothing else.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use anyhow::Context;
use serde::Serialize;
use serde_json::{Value, json};

use super::answer::Trouble;
use super::drawing::{drawing, findings};
use super::edits::Edits;
use crate::card::{FoundCards, find_cards};
use crate::ground::frame::PhotoPoint;
use crate::ground::words::View;
use crate::measure::{Placed, Request, ScaleBy, Walk, place, walk_placed};
use crate::photo::{Photo, PhotoError, file_name};
use crate::record::record;
use crate::refusal::Refusal;
use crate::report::overlay::OverlayGeometry;
use crate::sheet::Sheet;

/// Photos that may lie on the desk, and the bytes that all of them may have.
pub const MOST_PHOTOS: usize = 60;
pub const MOST_BYTES: u64 = 1_500_000_000;
/// Bytes of one photo: a phone writes 60 MB at most.
pub const MOST_PHOTO_BYTES: u64 = 100_000_000;
/// Photos that stay decoded: the one looked at, and the one measured meanwhile. A 12-megapixel photo takes 36 MB so.
const MOST_OPEN: usize = 2;

/// How far a photo has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// Others come first.
    Waiting,
    /// The file is being read.
    Reading,
    /// The reference card is being looked for.
    Card,
    /// The camera's place is being computed.
    Camera,
    /// The saddle is being found and its edges traced.
    Tracing,
    /// Measured.
    Measured,
    /// It cannot be measured.
    Refused,
}

/// A photo on the desk.
pub struct Item {
    /// Its number on this desk.
    pub id: u64,
    /// The file's name, as it was given; shown, never used as a path.
    pub file: String,
    bytes: u64,
    path: PathBuf,
    state: Mutex<State>,
    opened: Mutex<Option<Opened>>,
}

#[derive(Debug, Clone)]
struct State {
    stage: Stage,
    edits: Edits,
    size_px: Option<[usize; 2]>,
    result: Option<Measured>,
    refusal: Option<Refusal>,
    /// Where the saddle was found, so that it is not looked for again.
    near: Option<(View, [PhotoPoint; 2])>,
    kept: Option<String>,
    took_ms: f64,
    /// What earlier edits gave, so that undoing them gives the same, at once. The first stays.
    earlier: Vec<(Edits, Measured)>,
}

/// A measured photo.
#[derive(Debug, Clone)]
pub struct Measured {
    /// The sheet.
    pub sheet: Sheet,
    /// Where its contents lie in the photo.
    pub geometry: OverlayGeometry,
}

/// Earlier results that are kept, some 100 kB each.
const MOST_EARLIER: usize = 16;

/// What stays of a photo while it is worked on.
struct Opened {
    photo: Arc<Photo>,
    found: FoundCards,
    /// The camera at the scale that this tells.
    placed: Option<(ScaleBy, Placed)>,
}

/// All photos on the desk.
pub struct Photos {
    folder: tempfile::TempDir,
    next: AtomicU64,
    items: Mutex<Vec<Arc<Item>>>,
    queue: Mutex<VecDeque<u64>>,
    waiting: Condvar,
    /// Photos decoded, the one used last at the end.
    open: Mutex<Vec<u64>>,
}

/// A lock is only poisoned where a photo's walk has panicked, which leaves what it guards as it was.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Photos {
    /// An empty desk.
    ///
    /// # Errors
    /// Where no temporary folder can be made.
    pub fn new() -> anyhow::Result<Self> {
        Ok(Self {
            folder: tempfile::Builder::new()
                .prefix("seatspan-desk-")
                .tempdir()
                .context("no room for temporary files")?,
            next: AtomicU64::new(1),
            items: Mutex::default(),
            queue: Mutex::default(),
            waiting: Condvar::new(),
            open: Mutex::default(),
        })
    }

    /// Lays a photo on the desk; it is measured when its turn comes.
    ///
    /// # Errors
    /// Where the desk is full, or the file cannot be written.
    pub fn add(&self, file: &str, bytes: &[u8], edits: Edits) -> Result<u64, Trouble> {
        let mut items = locked(&self.items);
        let lying: u64 = items.iter().map(|i| i.bytes).sum();
        if items.len() >= MOST_PHOTOS || lying + bytes.len() as u64 > MOST_BYTES {
            let hint = "keep on the shelf what is done, and take it off the desk";
            return Err(Trouble::new(409, format!("the desk is full with {} photos", items.len()), hint));
        }
        let id = self.next.fetch_add(1, Ordering::Relaxed);
        let path = self.folder.path().join(id.to_string());
        std::fs::write(&path, bytes).context("the photo could not be put aside")?;
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
        items.push(Arc::new(Item {
            id,
            file: shown_name(file),
            bytes: bytes.len() as u64,
            path,
            state: Mutex::new(state),
            opened: Mutex::new(None),
        }));
        drop(items);
        locked(&self.queue).push_back(id);
        self.waiting.notify_one();
        Ok(id)
    }

    /// A photo by its number.
    ///
    /// # Errors
    /// Where it is not there.
    pub fn get(&self, id: u64) -> Result<Arc<Item>, Trouble> {
        locked(&self.items).iter().find(|i| i.id == id).cloned().ok_or_else(|| Trouble::missing("the photo"))
    }

    /// Takes a photo off the desk.
    ///
    /// # Errors
    /// Where it is not there.
    pub fn remove(&self, id: u64) -> Result<(), Trouble> {
        let item = self.get(id)?;
        locked(&self.items).retain(|i| i.id != id);
        locked(&self.open).retain(|o| *o != id);
        // The file goes with the temporary folder at the latest.
        let _ = std::fs::remove_file(&item.path);
        Ok(())
    }

    /// Removes the files of all photos; the desk is closing.
    pub fn clear_away(&self) {
        // What cannot be removed lies in the system's temporary folder, which it clears itself.
        let _ = std::fs::remove_dir_all(self.folder.path());
    }

    /// All photos in a few words each.
    pub fn list(&self) -> Vec<Value> {
        locked(&self.items).iter().map(|i| i.brief()).collect()
    }

    /// Measures what waits, one after the other, for ever.
    pub fn work(&self) {
        loop {
            let mut queue = locked(&self.queue);
            let id = loop {
                match queue.pop_front() {
                    Some(id) => break id,
                    None => queue = self.waiting.wait(queue).unwrap_or_else(PoisonError::into_inner),
                }
            };
            drop(queue);
            if let Ok(item) = self.get(id) {
                self.measure(&item);
            }
        }
    }

    /// Measures a photo as its edits say now.
    fn measure(&self, item: &Item) {
        let edits = locked(&item.state).edits.clone();
        if let Err(Trouble { .. }) = self.try_measure(item, &edits) {
            item.refuse(broken());
        }
    }

    fn try_measure(&self, item: &Item, edits: &Edits) -> Result<(), Trouble> {
        let began = Instant::now();
        if item.settle_as_before(edits, began) {
            return Ok(());
        }
        let near = locked(&item.state).near;
        let request = edits.request(near)?;
        let walked = catch_unwind(AssertUnwindSafe(|| self.walk(item, &request)));
        match walked {
            Ok(Ok(Ok(measured))) => item.settle(measured, edits, began),
            Ok(Ok(Err(refusal))) => item.refuse(refusal),
            Ok(Err(trouble)) => return Err(trouble),
            Err(_) => item.refuse(broken()),
        }
        Ok(())
    }

    /// Takes new edits and measures anew; on trouble with the edits themselves nothing changes.
    ///
    /// # Errors
    /// Where the edits make no sense.
    pub fn edit(&self, id: u64, edits: Edits) -> Result<Value, Trouble> {
        let item = self.get(id)?;
        if locked(&item.state).stage == Stage::Waiting {
            return Err(Trouble::new(409, "the photo is not measured yet", "wait until it is its turn"));
        }
        self.try_measure(&item, &edits)?;
        locked(&item.state).edits = edits;
        Ok(item.whole())
    }

    /// The walk over a photo that stays open for the next one.
    fn walk(&self, item: &Item, request: &Request) -> Result<Result<(Measured, Walk), Refusal>, Trouble> {
        self.note_open(item.id);
        let mut opened = locked(&item.opened);
        if opened.is_none() {
            match item.open()? {
                Ok(fresh) => *opened = Some(fresh),
                Err(refusal) => return Ok(Err(refusal)),
            }
        }
        let Some(open) = opened.as_mut() else { return Err(Trouble::missing("the photo")) };
        Ok(open.walk(item, request))
    }

    /// Remembers that a photo is decoded, and lets go of those that were not used for longest.
    fn note_open(&self, id: u64) {
        let mut open = locked(&self.open);
        open.retain(|o| *o != id);
        open.push(id);
        let surplus = open.len().saturating_sub(MOST_OPEN);
        let old: Vec<u64> = open.drain(..surplus).collect();
        drop(open);
        for item in old.into_iter().filter_map(|id| self.get(id).ok()) {
            *locked(&item.opened) = None;
        }
    }

    /// The decoded photo.
    ///
    /// # Errors
    /// Where it cannot be decoded.
    pub fn photo(&self, item: &Item) -> Result<Arc<Photo>, Trouble> {
        if let Some(open) = locked(&item.opened).as_ref() {
            return Ok(open.photo.clone());
        }
        item.decode()?.map(Arc::new).map_err(|r| Trouble::new(422, r.text, r.hint))
    }
}

impl Opened {
    fn walk(&mut self, item: &Item, request: &Request) -> Result<(Measured, Walk), Refusal> {
        let placed = match &self.placed {
            Some((by, placed)) if *by == request.scale_by => placed.clone(),
            _ => {
                item.at(Stage::Camera);
                let placed = place(&self.photo, request, self.found.clone())?;
                self.placed = Some((request.scale_by, placed.clone()));
                placed
            }
        };
        item.at(Stage::Tracing);
        let walk = walk_placed(&self.photo, request, placed)?;
        let (sheet, geometry) = record(&self.photo, request, &walk);
        Ok((Measured { sheet, geometry }, walk))
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

impl Item {
    fn at(&self, stage: Stage) {
        locked(&self.state).stage = stage;
    }

    fn decode(&self) -> Result<Result<Photo, Refusal>, Trouble> {
        let bytes = std::fs::read(&self.path).context("the photo cannot be read any more")?;
        match Photo::from_bytes(&self.file, bytes) {
            Ok(photo) => {
                locked(&self.state).size_px = Some([photo.width_px(), photo.height_px()]);
                Ok(Ok(photo))
            }
            Err(PhotoError::Refused(refusal)) => Ok(Err(refusal)),
            Err(PhotoError::Io(error)) => Err(anyhow::Error::from(error).into()),
        }
    }

    /// Decodes the photo and finds its cards.
    fn open(&self) -> Result<Result<Opened, Refusal>, Trouble> {
        self.at(Stage::Reading);
        let photo = match self.decode()? {
            Ok(photo) => photo,
            Err(refusal) => return Ok(Err(refusal)),
        };
        self.at(Stage::Card);
        let found = match find_cards(&photo) {
            Ok(found) => found,
            Err(refusal) => return Ok(Err(refusal)),
        };
        Ok(Ok(Opened { photo: Arc::new(photo), found, placed: None }))
    }

    /// Whether the same edits, but for name and remark, were measured before: that result stands again.
    fn settle_as_before(&self, edits: &Edits, began: Instant) -> bool {
        let mut state = locked(&self.state);
        let Some(measured) = state.earlier.iter().find(|(e, _)| e.measures_as(edits)).map(|(_, m)| m.clone())
        else {
            return false;
        };
        state.done(measured, began);
        true
    }

    fn settle(&self, (measured, walk): (Measured, Walk), edits: &Edits, began: Instant) {
        let mut state = locked(&self.state);
        let looked_for = edits.ends.is_none() && state.near.is_none_or(|(view, _)| view != walk.view);
        if looked_for {
            state.near = walk.midline_ends_px().map(|ends| (walk.view, ends));
        }
        if state.earlier.len() == MOST_EARLIER {
            state.earlier.remove(1);
        }
        state.earlier.push((edits.clone(), measured.clone()));
        state.done(measured, began);
    }

    fn refuse(&self, refusal: Refusal) {
        let mut state = locked(&self.state);
        state.refusal = Some(refusal);
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
        let mut measured = state
            .result
            .clone()
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
        let state = locked(&self.state);
        json!({
            "id": self.id,
            "file": self.file,
            "name": saddle_name(&state.edits, &self.file),
            "stage": state.stage,
            "refusal": state.refusal,
            "kept": state.kept,
            "widths": state.result.as_ref().map(|r| findings(&r.sheet)["widths"].clone()),
        })
    }

    /// All that the page shows of it.
    pub fn whole(&self) -> Value {
        let mut all = self.brief();
        let state = locked(&self.state);
        all["size_px"] = json!(state.size_px);
        all["edits"] = json!(state.edits);
        all["took_ms"] = json!(state.took_ms.round());
        all["findings"] = state.result.as_ref().map_or(Value::Null, |r| findings(&r.sheet));
        all["drawing"] = state.result.as_ref().map_or(Value::Null, |r| drawing(&r.sheet, &r.geometry));
        all
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

/// A walk that has panicked: a mistake of the program, told as what it means for the photo.
fn broken() -> Refusal {
    Refusal::new(
        crate::refusal::RefusalCode::EdgesNotFound,
        "the program failed on this photo",
        "photograph the saddle again; if it fails again, please report it with the photo",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_shown_without_folders_and_never_used_as_a_path() {
        assert_eq!(shown_name("../../etc/passwd"), "passwd");
        assert_eq!(shown_name("C:\\photos\\a\u{7}.jpg"), "a .jpg");
        let photos = Photos::new().unwrap();
        let id = photos.add("../../a.jpg", b"no photo", Edits::default()).unwrap();
        let item = photos.get(id).unwrap();
        assert_eq!(item.path.parent(), Some(photos.folder.path()));
    }

    #[test]
    fn a_file_that_is_no_photo_is_refused_and_the_desk_goes_on() {
        let photos = Photos::new().unwrap();
        let id = photos.add("a.jpg", b"no photo", Edits::default()).unwrap();
        photos.measure(&photos.get(id).unwrap());
        let brief = photos.get(id).unwrap().brief();
        assert_eq!(brief["stage"], "refused");
        assert_eq!(brief["refusal"]["code"], "photo-unreadable");
    }

    #[test]
    fn a_full_desk_takes_no_more() {
        let photos = Photos::new().unwrap();
        for _ in 0..MOST_PHOTOS {
            photos.add("a.jpg", b"x", Edits::default()).unwrap();
        }
        assert!(photos.add("a.jpg", b"x", Edits::default()).is_err());
        photos.remove(1).unwrap();
        assert!(photos.add("a.jpg", b"x", Edits::default()).is_ok());
    }
}
