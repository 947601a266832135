//! A sheet as a source of quantities: which errors it has, and which of them it shares with other sheets.

use std::sync::Arc;

use super::fields::Missing;
use super::quantity::{Cause, ErrorId, Quantity};
use crate::numeric::words::Pair;
use crate::sheet::Sheet;
use crate::width::influence::ErrorScope;
use crate::width::influences::Influences;

/// A measured sheet with what its errors belong to.
#[derive(Debug, Clone)]
pub struct Seen<'a> {
    /// The sheet.
    pub sheet: &'a Sheet,
    /// Its influences.
    pub influences: &'a Influences,
    photo: Arc<str>,
    lens: Arc<str>,
    print: Arc<str>,
}

impl<'a> Seen<'a> {
    /// A sheet with its influences.
    ///
    /// # Errors
    /// Where the sheet has none.
    pub fn of(sheet: &'a Sheet) -> Result<Self, Missing> {
        let influences = sheet.influences.as_ref().ok_or("the sheet does not say what its widths rest on")?;
        let photo = photo_of(sheet);
        // Guessed signs cancel nothing between two photos.
        let lens = lens_of(sheet).filter(|_| !influences.guessed).unwrap_or_else(|| photo.clone());
        let print = print_of(sheet).unwrap_or_else(|| photo.clone());
        Ok(Self { sheet, influences, photo: photo.into(), lens: lens.into(), print: print.into() })
    }

    /// An error that the photo has, and no other.
    pub fn own_error(&self, cause: Cause, what: &str) -> ErrorId {
        ErrorId::new(format!("{}: {what}", self.photo), cause)
    }

    fn owner(&self, scope: ErrorScope) -> Arc<str> {
        match scope {
            ErrorScope::Lens => self.lens.clone(),
            ErrorScope::Print => self.print.clone(),
            ErrorScope::Photo | ErrorScope::Setup | ErrorScope::Edge => self.photo.clone(),
        }
    }

    /// A value that depends on half-widths by its derivatives.
    pub fn quantity(&self, value: f64, gradient: &[(usize, Pair<f64>)]) -> Quantity {
        let errors = self.influences.errors(gradient).into_iter().map(|(key, moves)| {
            let cause = Cause::Photo(key.from);
            (ErrorId { of: self.owner(key.scope), cause, edge: key.edge, number: key.number }, moves)
        });
        Quantity::exact(value).with_all(errors)
    }

    /// A value that depends on the midline's length and ends: what each shared error adds to it, from the change of the
    /// length and of the ends along the saddle, mm.
    pub fn of_midline(&self, value: f64, moves: impl Fn(f64, Option<[f64; 2]>) -> f64) -> Quantity {
        let errors = self.influences.shared.iter().map(|e| {
            let of = self.owner(e.scope);
            let id = ErrorId { of, cause: Cause::Photo(e.from), edge: None, number: e.number };
            (id, moves(e.length_mm, e.ends_along_mm))
        });
        Quantity::exact(value).with_all(errors)
    }

    /// Whether both sheets share a print of the card.
    pub fn shares_print(&self, other: &Self) -> bool {
        self.print == other.print
    }

    /// Whether both sheets share a lens.
    pub fn shares_lens(&self, other: &Self) -> bool {
        self.lens == other.lens
    }
}

/// The photos by their hashes; a sheet that was not made from a photo has noughts, and is known by its saddle and view.
fn photo_of(sheet: &Sheet) -> String {
    let hashes: Vec<&str> = sheet.photos.iter().map(|p| p.sha256.as_str()).collect();
    match hashes.iter().any(|hash| hash.chars().any(|c| c != '0')) {
        true => format!("photo {}", hashes.join(" ")),
        false => format!("sheet {} {:?}", sheet.saddle.name, sheet.view),
    }
}

/// The lens by its file, or by camera and size of the picture.
fn lens_of(sheet: &Sheet) -> Option<String> {
    let first = sheet.photos.first()?;
    let file = sheet.asked.as_ref().and_then(|asked| asked.photos.first()?.lens_sha256.as_ref());
    let (w, h) = (first.width_px, first.height_px);
    match file {
        Some(hash) => Some(format!("lens {hash} {w} x {h}")),
        None => Some(format!("camera {} {w} x {h}", first.camera.as_ref()?)),
    }
}

/// The print of the card by pattern, copy and day: nobody prints a card twice on one day.
fn print_of(sheet: &Sheet) -> Option<String> {
    let day = sheet.photos.first()?.taken.as_ref()?.get(..10)?;
    let cards: Vec<String> = sheet.cards.iter().map(|c| format!("{} {}", c.pattern, c.copy)).collect();
    (!cards.is_empty()).then(|| format!("print {} {day}", cards.join(", ")))
}
