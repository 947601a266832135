//! The photos on the desk. Their files lie in a temporary folder; decoded are only the few looked at last. One thread measures
//! what waits.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::Instant;

use anyhow::Context;
use serde_json::Value;

use super::answer::Trouble;
use super::edits::{Edits, Told};
use super::item::Item;
use super::lock::locked;
use super::opened::{Came, Measured, Near, Opened, measure_set};
use super::stage::Stage;
use crate::card::FoundCards;
use crate::check::{Judgement, judge};
use crate::photo::Photo;
use crate::refusal::Refusal;
use crate::together::of_photo;

/// Photos that may lie on the desk, and the bytes that all of them may have.
pub const MOST_PHOTOS: usize = 60;
pub const MOST_BYTES: u64 = 1_500_000_000;
/// Bytes of one photo: a phone writes 60 MB at most.
pub const MOST_PHOTO_BYTES: u64 = 100_000_000;
/// Photos that stay decoded: a pair measured together, and the one measured meanwhile. A 12-megapixel photo takes 36 MB so.
const MOST_OPEN: usize = 3;
/// Photos measured together with one: from four sides more tells little.
const MOST_OTHERS: usize = 4;

/// All photos on the desk.
pub struct Photos {
    /// The shelf's folder, where lens files lie.
    shelf: PathBuf,
    folder: tempfile::TempDir,
    next: AtomicU64,
    items: Mutex<Vec<Arc<Item>>>,
    queue: Mutex<VecDeque<u64>>,
    waiting: Condvar,
    /// Photos decoded, the one used last at the end.
    open: Mutex<Vec<u64>>,
    /// Held while several are measured together: they are all decoded then.
    together: Mutex<()>,
}

impl Photos {
    /// An empty desk before a shelf.
    ///
    /// # Errors
    /// Where no temporary folder can be made.
    pub fn new(shelf: PathBuf) -> anyhow::Result<Self> {
        Ok(Self {
            shelf,
            folder: tempfile::Builder::new()
                .prefix("seatspan-desk-")
                .tempdir()
                .context("no room for temporary files")?,
            next: AtomicU64::new(1),
            items: Mutex::default(),
            queue: Mutex::default(),
            waiting: Condvar::new(),
            open: Mutex::default(),
            together: Mutex::default(),
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
        items.push(Arc::new(Item::new(id, file, bytes.len() as u64, path, edits)));
        drop(items);
        self.enqueue(id);
        Ok(id)
    }

    fn enqueue(&self, id: u64) {
        locked(&self.queue).push_back(id);
        self.waiting.notify_one();
    }

    /// A photo by its number.
    ///
    /// # Errors
    /// Where it is not there.
    pub fn get(&self, id: u64) -> Result<Arc<Item>, Trouble> {
        locked(&self.items).iter().find(|i| i.id == id).cloned().ok_or_else(|| Trouble::missing("the photo"))
    }

    /// The photos that are measured together with this one.
    fn leading(&self, id: u64) -> Vec<Arc<Item>> {
        let items = locked(&self.items);
        items.iter().filter(|i| i.edits().with.contains(&id)).cloned().collect()
    }

    /// Takes a photo off the desk.
    ///
    /// # Errors
    /// Where it is not there, or another is measured together with it.
    pub fn remove(&self, id: u64) -> Result<(), Trouble> {
        let item = self.get(id)?;
        if let Some(leads) = self.leading(id).first() {
            let text = format!("{} is measured together with {}", leads.file, item.file);
            return Err(Trouble::new(409, text, "measure it alone again first"));
        }
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
        let _turn = locked(&item.turn);
        if let Err(trouble) = self.try_measure(item, &item.edits()) {
            item.refuse(trouble);
        }
    }

    fn try_measure(&self, item: &Item, edits: &Edits) -> Result<(), Trouble> {
        let began = Instant::now();
        let others = self.others(item, edits)?;
        let told =
            Told { own: edits.clone(), others: others.iter().map(|o| edits.beside(&o.edits())).collect() };
        if item.settle_as_before(&told, began) {
            return Ok(());
        }
        let before = item.stage();
        let measured = catch_unwind(AssertUnwindSafe(|| match others.as_slice() {
            [] => self.measure_alone(item, &told),
            others => self.measure_together(item, others, &told),
        }));
        match measured {
            Ok(Ok(Ok((measured, near)))) => item.settle(measured, near, told, began),
            Ok(Ok(Err(refusal))) => item.refuse(refusal),
            Ok(Err(trouble)) => {
                item.at(before);
                return Err(trouble);
            }
            Err(_) => item.refuse(broken()),
        }
        Ok(())
    }

    /// The photos that are to be measured together with this one.
    fn others(&self, item: &Item, edits: &Edits) -> Result<Vec<Arc<Item>>, Trouble> {
        let with = &edits.with;
        let twice = with.iter().enumerate().any(|(i, id)| with[..i].contains(id));
        if twice || with.contains(&item.id) {
            return Err(Trouble::new(
                422,
                "a photo cannot be measured together with itself",
                "choose another",
            ));
        }
        if with.len() > MOST_OTHERS {
            let text = format!("more than {} photos would be measured together", MOST_OTHERS + 1);
            return Err(Trouble::new(422, text, "leave out those that look alike"));
        }
        let gone = |_| {
            Trouble::new(
                422,
                "a photo measured together with this one is not on the desk any more",
                "choose anew",
            )
        };
        with.iter().map(|id| self.get(*id).map_err(gone)).collect()
    }

    /// Takes new edits and measures anew; on trouble with the edits themselves nothing changes.
    ///
    /// # Errors
    /// Where the edits make no sense.
    pub fn edit(&self, id: u64, edits: Edits) -> Result<Value, Trouble> {
        let item = self.get(id)?;
        let turn = locked(&item.turn);
        if item.stage() == Stage::Waiting {
            return Err(Trouble::new(409, "the photo is not measured yet", "wait until it is its turn"));
        }
        self.try_measure(&item, &edits)?;
        let before = item.say(edits.clone());
        drop(turn);
        if !edits.measures_as(&before) {
            self.measure_leading(id);
        }
        Ok(item.whole())
    }

    /// What is measured together with a photo that was corrected is measured anew.
    fn measure_leading(&self, id: u64) {
        for leads in self.leading(id) {
            leads.at(Stage::Waiting);
            self.enqueue(leads.id);
        }
    }

    /// Measures a photo alone.
    fn measure_alone(&self, item: &Item, told: &Told) -> Came<(Measured, Option<Near>)> {
        let measure =
            |open: &mut Opened| open.measure(&told.own, item.near(), &self.shelf, |stage| item.at(stage));
        self.opened(item, |stage| item.at(stage), measure)
    }

    /// Judges a photo as its edits say now.
    ///
    /// # Errors
    /// Where it cannot be decoded, or the edits make no sense.
    pub fn judge(&self, item: &Item) -> Result<Judgement, Trouble> {
        let edits = item.edits();
        let judged = self.opened(
            item,
            |_| (),
            |open| {
                let photo = open.photo().clone();
                let outcome = open.locate(&edits, &self.shelf, |_| ())?;
                Ok(Ok(judge(&photo, outcome.as_ref().map(|standing| &standing.located))))
            },
        )?;
        judged.map_err(|refusal| Trouble::new(422, refusal.text, refusal.hint))
    }

    /// Measures a photo and others of the same saddle.
    fn measure_together(
        &self,
        item: &Item,
        others: &[Arc<Item>],
        told: &Told,
    ) -> Came<(Measured, Option<Near>)> {
        let _alone = locked(&self.together);
        let see = |open: &mut Opened| Ok(open.seen());
        let mut seen: Vec<(Arc<Photo>, FoundCards)> = Vec::new();
        match self.opened(item, |stage| item.at(stage), see)? {
            Ok(own) => seen.push(own),
            Err(refusal) => return Ok(Err(refusal)),
        }
        for other in others {
            match self.opened(other, |_| (), see)? {
                Ok(one) => seen.push(one),
                Err(refusal) => return Ok(Err(named(other, refusal))),
            }
        }
        item.at(Stage::Tracing);
        let together = measure_set(seen, item.near_together(&told.own.with), told, &self.shelf)?;
        Ok(together.map(|measured| (measured, None)))
    }

    /// Does something with a photo that stays open for the next time; `at` is told how far it has come.
    fn opened<T>(&self, item: &Item, at: impl Fn(Stage), work: impl Fn(&mut Opened) -> Came<T>) -> Came<T> {
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
            *opened = Some(Opened::of(photo));
        }
        let Some(open) = opened.as_mut() else { return Err(Trouble::missing("the photo")) };
        work(open)
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
            *locked(&item.decoded) = None;
        }
    }

    /// The decoded photo.
    ///
    /// # Errors
    /// Where it cannot be decoded.
    pub fn photo(&self, item: &Item) -> Result<Arc<Photo>, Trouble> {
        if let Some(photo) = locked(&item.decoded).as_ref() {
            return Ok(photo.clone());
        }
        item.decode()?.map(Arc::new).map_err(|r| Trouble::new(422, r.text, r.hint))
    }
}

/// The refusal of another photo, with its name where it does not begin with it.
fn named(item: &Item, refusal: Refusal) -> Refusal {
    let prefix = format!("{}: ", item.file);
    let text = refusal.text.strip_prefix(&prefix).unwrap_or(&refusal.text).to_owned();
    of_photo(&item.file, Refusal { text, ..refusal })
}

/// A panic is a fault of the program; what the user needs to know is what it means for the photo.
fn broken() -> Trouble {
    Trouble::new(
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
    fn a_file_that_is_no_photo_is_refused_and_the_desk_goes_on() {
        let photos = desk();
        let id = photos.add("a.jpg", b"no photo", Edits::default()).unwrap();
        photos.measure(&photos.get(id).unwrap());
        let brief = photos.get(id).unwrap().brief();
        assert_eq!(brief["stage"], "refused");
        assert_eq!(brief["refusal"]["code"], "photo-unreadable");
    }

    #[test]
    fn a_full_desk_takes_no_more() {
        let photos = desk();
        for _ in 0..MOST_PHOTOS {
            photos.add("a.jpg", b"x", Edits::default()).unwrap();
        }
        assert!(photos.add("a.jpg", b"x", Edits::default()).is_err());
        photos.remove(1).unwrap();
        assert!(photos.add("a.jpg", b"x", Edits::default()).is_ok());
    }

    #[test]
    fn a_photo_goes_with_others_that_are_there() {
        let photos = desk();
        let ids = [(); 2].map(|()| photos.add("a.jpg", b"x", Edits::default()).unwrap());
        let item = photos.get(ids[0]).unwrap();
        for with in [vec![ids[0]], vec![99], vec![ids[1], ids[1]], (2..9).collect()] {
            assert!(
                photos.others(&item, &Edits { with: with.clone(), ..Edits::default() }).is_err(),
                "{with:?}"
            );
        }
        item.say(Edits { with: vec![ids[1]], ..Edits::default() });
        assert!(photos.remove(ids[1]).is_err(), "it is needed by the other");
        assert!(photos.remove(ids[0]).is_ok() && photos.remove(ids[1]).is_ok());
    }
}
