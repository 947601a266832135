//! What stays of a photo while it is worked on: decoded, its cards found, the camera in its place, so that a correction traces
//! the edges anew and nothing else.

use std::path::Path;
use std::sync::Arc;

use super::answer::Trouble;
use super::edits::{Edits, Told};
use super::lens::{ChosenLens, choose};
use super::stage::Stage;
use crate::camera::print_scale::ScaleBy;
use crate::card::{FoundCards, find_cards};
use crate::measure::{Placed, Request, place, walk_placed};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::View;
use crate::photo::Photo;
use crate::record::{record, record_together};
use crate::refusal::Refusal;
use crate::sheet::Sheet;
use crate::sheet::geometry::OverlayGeometry;
use crate::together::{measure_found_together, same_twice};

/// Where the saddle was found, so that it is not looked for again.
pub type Near = (View, [PhotoPoint; 2]);

/// A measured photo.
#[derive(Debug, Clone)]
pub struct Measured {
    /// The sheet.
    pub sheet: Sheet,
    /// Where its contents lie in the photo.
    pub geometry: OverlayGeometry,
    /// The other photos that were measured together with it, and where its contents lie in each.
    pub others: Vec<(u64, OverlayGeometry)>,
    /// The lens file that was used.
    pub lens: Option<String>,
}

/// A photo while it is worked on.
pub struct Opened {
    photo: Arc<Photo>,
    found: FoundCards,
    standing: Option<Standing>,
}

/// The camera, for what tells the scale of the print and one wish for a lens.
struct Standing {
    scale_by: ScaleBy,
    wish: Option<String>,
    lens: ChosenLens,
    placed: Placed,
}

/// What came of a photo: trouble of the machine or of what was asked, or what the photo says.
pub type Came<T> = Result<Result<T, Refusal>, Trouble>;

impl Opened {
    /// Finds the cards in a photo.
    ///
    /// # Errors
    /// The photo's refusal.
    pub fn of(photo: Arc<Photo>) -> Result<Self, Refusal> {
        find_cards(&photo).map(|found| Self { photo, found, standing: None })
    }

    /// What of it is measured together with other photos.
    pub fn seen(&self) -> (Arc<Photo>, FoundCards) {
        (self.photo.clone(), self.found.clone())
    }

    /// Measures it alone; beside the result where the saddle was found. `near` is where it was found earlier; `at` is told how
    /// far the walk has come.
    ///
    /// # Errors
    /// Where the edits make no sense; within, the photo's refusal.
    pub fn walk(
        &mut self,
        edits: &Edits,
        near: Option<Near>,
        folder: &Path,
        at: impl Fn(Stage),
    ) -> Came<(Measured, Option<Near>)> {
        let (lens, placed) = match self.stand(edits, folder, &at)? {
            Ok(standing) => (standing.lens.clone(), standing.placed.clone()),
            Err(refusal) => return Ok(Err(refusal)),
        };
        let request = edits.request(near, lens.prior)?;
        at(Stage::Tracing);
        let walk = match walk_placed(&self.photo, &request, placed) {
            Ok(walk) => walk,
            Err(refusal) => return Ok(Err(refusal)),
        };
        let (mut sheet, geometry) = record(&self.photo, &request, &walk);
        sheet.warnings.extend(lens.warning);
        let near = walk.midline_ends_px().map(|ends| (walk.view, ends));
        Ok(Ok((Measured { sheet, geometry, others: Vec::new(), lens: lens.file }, near)))
    }

    /// The camera as the edits want it.
    fn stand(&mut self, edits: &Edits, folder: &Path, at: impl Fn(Stage)) -> Came<&Standing> {
        let scale_by = edits.scale_by()?;
        let stands = |s: &Standing| s.scale_by == scale_by && s.wish == edits.lens;
        if !self.standing.as_ref().is_some_and(stands) {
            at(Stage::Camera);
            let lens = choose(folder, edits.lens.as_deref(), &self.photo)?;
            let request = edits.request(None, lens.prior)?;
            let placed = match place(&self.photo, &request, self.found.clone()) {
                Ok(placed) => placed,
                Err(refusal) => return Ok(Err(refusal)),
            };
            let wish = edits.lens.clone();
            self.standing = Some(Standing { scale_by, wish, lens, placed });
        }
        self.standing.as_ref().map(Ok).ok_or_else(|| Trouble::missing("the photo"))
    }
}

/// Measures several photos of one saddle together; the first is the one that is worked on. `near` is where an earlier walk has
/// found the saddle in each.
///
/// # Errors
/// Where the edits make no sense; within, the refusal of a photo or of all together.
pub fn walk_together(
    seen: Vec<(Arc<Photo>, FoundCards)>,
    near: Option<Vec<Near>>,
    told: &Told,
    folder: &Path,
) -> Came<Measured> {
    let (photos, found): (Vec<Arc<Photo>>, Vec<FoundCards>) = seen.into_iter().unzip();
    if let Some([one, same]) = same_twice(&photos) {
        let text = format!("{} and {} are the same photo", one.name(), same.name());
        return Err(Trouble::new(422, text, "choose another one of the same saddle"));
    }
    let (mut requests, mut lenses): (Vec<Request>, Vec<ChosenLens>) = (Vec::new(), Vec::new());
    for (i, edits) in std::iter::once(&told.own).chain(&told.others).enumerate() {
        let lens = choose(folder, edits.lens.as_deref(), &photos[i])?;
        requests.push(edits.request(near.as_ref().map(|near| near[i]), lens.prior)?);
        lenses.push(lens);
    }
    Ok(measure_found_together(&photos, &requests, found).map(|together| {
        let (mut sheet, mut geometries) = record_together(&photos, &requests, &together);
        for warning in lenses.iter().filter_map(|lens| lens.warning.as_ref()) {
            if !sheet.warnings.contains(warning) {
                sheet.warnings.push(warning.clone());
            }
        }
        let geometry = geometries.remove(0);
        let others = told.own.with.iter().copied().zip(geometries).collect();
        Measured { sheet, geometry, others, lens: lenses.swap_remove(0).file }
    }))
}
