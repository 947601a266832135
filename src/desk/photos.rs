//! The photos on the desk: files in a private temporary folder, of which only the last few used stay decoded. One thread
//! measures the queue.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};
use std::time::Instant;

use anyhow::Context;
use serde_json::Value;

use super::edits::{EditSet, Edits};
use super::item::DeskPhoto;
use super::lock::locked;
use super::open_photo::{Near, OpenPhoto, Outcome, PhotoResult, measure_set};
use super::response::Problem;
use super::stage::Stage;
use crate::check::{Judgement, judge};
use crate::instruction::on_desk;
use crate::photo::Photo;
use crate::refusal::Refusal;
use crate::together::of_photo;

/// Most photos on the desk, and most bytes of them all.
pub const MOST_PHOTOS: usize = 60;
pub const MOST_BYTES: u64 = 1_500_000_000;
/// Most bytes of one photo: phones write up to 60 MB.
pub const MOST_PHOTO_BYTES: u64 = 100_000_000;
/// Photos that stay decoded: a pair measured together, and the one measured meanwhile. 12 megapixels take 36 MB.
const MOST_OPEN: usize = 3;
/// Most other photos measured together with one: beyond four sides more add little.
const MOST_OTHERS: usize = 4;

/// All photos on the desk.
pub struct Photos {
    /// The shelf's folder with its lens files.
    shelf: PathBuf,
    folder: tempfile::TempDir,
    next: AtomicU64,
    items: Mutex<Vec<Arc<DeskPhoto>>>,
    queue: Sender<u64>,
    waiting: Mutex<Receiver<u64>>,
    /// Decoded photos, the last used at the end.
    open: Mutex<Vec<u64>>,
    /// Held while several are measured together, all decoded.
    together: Mutex<()>,
}

impl Photos {
    /// No photos yet.
    ///
    /// # Errors
    /// Where no temporary folder can be made.
    pub fn new(shelf: PathBuf) -> anyhow::Result<Self> {
        let (queue, waiting) = channel();
        Ok(Self {
            shelf,
            folder: private_folder().context("cannot create a temporary folder")?,
            next: AtomicU64::new(1),
            items: Mutex::default(),
            queue,
            waiting: Mutex::new(waiting),
            open: Mutex::default(),
            together: Mutex::default(),
        })
    }

    /// Adds a photo and queues it.
    ///
    /// # Errors
    /// Where the desk is full, or the file cannot be written.
    pub fn add(&self, file: &str, bytes: &[u8], edits: Edits) -> Result<u64, Problem> {
        let mut items = locked(&self.items);
        let total: u64 = items.iter().map(|i| i.bytes).sum();
        if items.len() >= MOST_PHOTOS || total + bytes.len() as u64 > MOST_BYTES {
            let hint = "save finished photos on the shelf and remove them from the desk";
            return Err(Problem::new(409, format!("the desk is full with {} photos", items.len()), hint));
        }
        let id = self.next.fetch_add(1, Ordering::Relaxed);
        let path = self.folder.path().join(id.to_string());
        std::fs::write(&path, bytes).context("the photo could not be stored")?;
        items.push(Arc::new(DeskPhoto::new(id, file, bytes.len() as u64, path, edits)));
        drop(items);
        self.enqueue(id);
        Ok(id)
    }

    fn enqueue(&self, id: u64) {
        // Fails only when the receiver, which `self` owns, is gone.
        let _ = self.queue.send(id);
    }

    /// A photo by its id.
    ///
    /// # Errors
    /// An unknown id.
    pub fn get(&self, id: u64) -> Result<Arc<DeskPhoto>, Problem> {
        locked(&self.items).iter().find(|i| i.id == id).cloned().ok_or_else(|| Problem::missing("the photo"))
    }

    /// The photos whose edits link this one.
    fn leading(&self, id: u64) -> Vec<Arc<DeskPhoto>> {
        let items = locked(&self.items);
        items.iter().filter(|i| i.edits().with.contains(&id)).cloned().collect()
    }

    /// Removes a photo from the desk.
    ///
    /// # Errors
    /// An unknown id, or another photo measured together with it.
    pub fn remove(&self, id: u64) -> Result<(), Problem> {
        let item = self.get(id)?;
        if let Some(leads) = self.leading(id).first() {
            let text = format!("{} is measured together with {}", leads.file, item.file);
            return Err(Problem::new(409, text, "measure that photo alone first"));
        }
        locked(&self.items).retain(|i| i.id != id);
        locked(&self.open).retain(|o| *o != id);
        // Otherwise removed with the temporary folder.
        let _ = std::fs::remove_file(&item.path);
        Ok(())
    }

    /// Removes all files when the desk closes.
    pub fn clear_away(&self) {
        // The system clears its temporary folder of what cannot be removed.
        let _ = std::fs::remove_dir_all(self.folder.path());
    }

    /// All photos in brief.
    pub fn list(&self) -> Vec<Value> {
        locked(&self.items).iter().map(|i| i.brief()).collect()
    }

    /// Measures the queue, one photo after the other, for ever.
    pub fn work(&self) {
        for id in locked(&self.waiting).iter() {
            if let Ok(item) = self.get(id) {
                self.measure(&item);
            }
        }
    }

    /// Measures a photo by its current edits.
    fn measure(&self, item: &DeskPhoto) {
        let _turn = locked(&item.turn);
        if let Err(problem) = self.try_measure(item, &item.edits()) {
            item.refuse(problem);
        }
    }

    fn try_measure(&self, item: &DeskPhoto, edits: &Edits) -> Result<(), Problem> {
        let began = Instant::now();
        let others = self.others(item, edits)?;
        let set =
            EditSet { own: edits.clone(), others: others.iter().map(|o| edits.beside(&o.edits())).collect() };
        if item.settle_as_before(&set, began) {
            return Ok(());
        }
        let before = item.stage();
        let measured = catch_unwind(AssertUnwindSafe(|| match others.as_slice() {
            [] => self.measure_alone(item, &set),
            others => self.measure_together(item, others, &set),
        }));
        match measured {
            Ok(Ok(Ok((measured, near)))) => item.settle(measured, near, set, began),
            Ok(Ok(Err(refusal))) => item.refuse(refusal),
            Ok(Err(problem)) => {
                item.at(before);
                return Err(problem);
            }
            Err(_) => item.refuse(broken()),
        }
        Ok(())
    }

    /// The photos to be measured together with this one.
    fn others(&self, item: &DeskPhoto, edits: &Edits) -> Result<Vec<Arc<DeskPhoto>>, Problem> {
        let with = &edits.with;
        let twice = with.iter().enumerate().any(|(i, id)| with[..i].contains(id));
        if twice || with.contains(&item.id) {
            return Err(Problem::new(
                422,
                "a photo cannot be measured together with itself",
                "choose another",
            ));
        }
        if with.len() > MOST_OTHERS {
            let text = format!("at most {} photos can be measured together", MOST_OTHERS + 1);
            return Err(Problem::new(422, text, "leave out similar ones"));
        }
        let missing = |_| {
            Problem::new(
                422,
                "a photo measured together with this one is no longer on the desk",
                "choose again",
            )
        };
        with.iter().map(|id| self.get(*id).map_err(missing)).collect()
    }

    /// Replaces the edits and measures again. Invalid edits change nothing.
    ///
    /// # Errors
    /// Invalid edits.
    pub fn edit(&self, id: u64, edits: Edits) -> Result<Value, Problem> {
        let item = self.get(id)?;
        let turn = locked(&item.turn);
        if item.stage() == Stage::Waiting {
            return Err(Problem::new(409, "the photo is still waiting to be measured", "wait a moment"));
        }
        self.try_measure(&item, &edits)?;
        let before = item.replace_edits(edits.clone());
        drop(turn);
        if !edits.measures_as(&before) {
            self.measure_leading(id);
        }
        Ok(item.whole())
    }

    /// Measures again the photos that link a corrected one.
    fn measure_leading(&self, id: u64) {
        for leads in self.leading(id) {
            leads.at(Stage::Waiting);
            self.enqueue(leads.id);
        }
    }

    /// Measures a photo alone.
    fn measure_alone(&self, item: &DeskPhoto, set: &EditSet) -> Outcome<(PhotoResult, Option<Near>)> {
        let measure =
            |open: &mut OpenPhoto| open.measure(&set.own, item.near(), &self.shelf, |stage| item.at(stage));
        self.opened(item, |stage| item.at(stage), measure)
    }

    /// Checks a photo with its current edits.
    ///
    /// # Errors
    /// A photo that cannot be decoded, or invalid edits.
    pub fn judge(&self, item: &DeskPhoto) -> Result<Judgement, Problem> {
        let edits = item.edits();
        let judged = self.opened(
            item,
            |_| (),
            |open| {
                let photo = open.photo().clone();
                let outcome = open.locate(&edits, &self.shelf, |_| ())?;
                let mut judged = judge(&photo, outcome.as_ref().map(|photo| &photo.located));
                judged.reasons.iter_mut().for_each(|reason| reason.hint = on_desk(&reason.hint));
                Ok(Ok(judged))
            },
        )?;
        judged.map_err(Problem::from)
    }

    /// Measures a photo and others of the same saddle.
    fn measure_together(
        &self,
        item: &DeskPhoto,
        others: &[Arc<DeskPhoto>],
        set: &EditSet,
    ) -> Outcome<(PhotoResult, Option<Near>)> {
        let _alone = locked(&self.together);
        let with_cards = |open: &mut OpenPhoto| Ok(Ok(open.with_cards()));
        let mut photos = Vec::new();
        match self.opened(item, |stage| item.at(stage), with_cards)? {
            Ok(own) => photos.push(own),
            Err(refusal) => return Ok(Err(refusal)),
        }
        for other in others {
            match self.opened(other, |_| (), with_cards)? {
                Ok(one) => photos.push(one),
                Err(refusal) => return Ok(Err(named(other, refusal))),
            }
        }
        item.at(Stage::Tracing);
        let together = measure_set(photos, item.near_together(&set.own.with), set, &self.shelf)?;
        Ok(together.map(|measured| (measured, None)))
    }

    /// Works on a photo, which stays open for the next time; `at` receives the progress.
    fn opened<T>(
        &self,
        item: &DeskPhoto,
        at: impl Fn(Stage),
        work: impl Fn(&mut OpenPhoto) -> Outcome<T>,
    ) -> Outcome<T> {
        self.note_open(item.id);
        let mut opened = locked(&item.opened);
        if opened.is_none() {
            at(Stage::Reading);
            let photo = match item.decode()? {
                Ok(photo) => Arc::new(photo),
                Err(refusal) => return Ok(Err(refusal)),
            };
            *locked(&item.decoded) = Some(photo.clone());
            at(Stage::Card);
            *opened = Some(OpenPhoto::of(photo));
        }
        let Some(open) = opened.as_mut() else { return Err(Problem::missing("the photo")) };
        work(open)
    }

    /// Notes a decoded photo, and releases those unused for longest.
    fn note_open(&self, id: u64) {
        let mut open = locked(&self.open);
        open.retain(|o| *o != id);
        open.push(id);
        let surplus = open.len().saturating_sub(MOST_OPEN);
        let old: Vec<u64> = open.drain(..surplus).collect();
        drop(open);
        for item in old.into_iter().filter_map(|id| self.get(id).ok()) {
            *locked(&item.opened) = None;
            *locked(&item.decoded) = None;
        }
    }

    /// The decoded photo.
    ///
    /// # Errors
    /// Where it cannot be decoded.
    pub fn photo(&self, item: &DeskPhoto) -> Result<Arc<Photo>, Problem> {
        if let Some(photo) = locked(&item.decoded).as_ref() {
            return Ok(photo.clone());
        }
        item.decode()?.map(Arc::new).map_err(Problem::from)
    }
}

/// A temporary folder that only this user can read.
fn private_folder() -> std::io::Result<tempfile::TempDir> {
    let mut builder = tempfile::Builder::new();
    builder.prefix("seatspan-desk-");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
    builder.tempdir()
}

/// The refusal of another photo, prefixed with its name.
fn named(item: &DeskPhoto, refusal: Refusal) -> Refusal {
    let prefix = format!("{}: ", item.file);
    let text = refusal.text.strip_prefix(&prefix).unwrap_or(&refusal.text).to_owned();
    of_photo(&item.file, Refusal { text, ..refusal })
}

/// A panic is a fault of the program; what the user needs to know is what it means for the photo.
fn broken() -> Problem {
    Problem::new(
        500,
        "the program failed on this photo",
        "photograph the saddle again; if it fails again, please report it with the photo",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn desk() -> Photos {
        Photos::new(std::env::temp_dir()).unwrap()
    }

    #[test]
    fn a_name_is_never_used_as_a_path() {
        let photos = desk();
        let id = photos.add("../../a.jpg", b"no photo", Edits::default()).unwrap();
        let item = photos.get(id).unwrap();
        assert_eq!(item.path.parent(), Some(photos.folder.path()));
    }

    #[test]
    fn a_file_that_is_not_a_photo_is_refused() {
        let photos = desk();
        let id = photos.add("a.jpg", b"no photo", Edits::default()).unwrap();
        photos.measure(&photos.get(id).unwrap());
        let brief = photos.get(id).unwrap().brief();
        assert_eq!(brief["stage"], "refused");
        assert_eq!(brief["refusal"]["code"], "photo-unreadable");
    }

    #[test]
    fn a_full_desk_accepts_no_more() {
        let photos = desk();
        for _ in 0..MOST_PHOTOS {
            photos.add("a.jpg", b"x", Edits::default()).unwrap();
        }
        assert!(photos.add("a.jpg", b"x", Edits::default()).is_err());
        photos.remove(1).unwrap();
        assert!(photos.add("a.jpg", b"x", Edits::default()).is_ok());
    }

    #[test]
    fn a_photo_is_linked_with_existing_others() {
        let photos = desk();
        let ids = [(); 2].map(|()| photos.add("a.jpg", b"x", Edits::default()).unwrap());
        let item = photos.get(ids[0]).unwrap();
        for with in [vec![ids[0]], vec![99], vec![ids[1], ids[1]], (2..9).collect()] {
            assert!(
                photos.others(&item, &Edits { with: with.clone(), ..Edits::default() }).is_err(),
                "{with:?}"
            );
        }
        item.replace_edits(Edits { with: vec![ids[1]], ..Edits::default() });
        assert!(photos.remove(ids[1]).is_err(), "the other needs it");
        assert!(photos.remove(ids[0]).is_ok() && photos.remove(ids[1]).is_ok());
    }
}
