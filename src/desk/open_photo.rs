//! A photo while it is worked on: decoded, with its cards and camera, so that a correction only traces the edges again.

use std::path::Path;
use std::sync::Arc;

use super::edits::{EditSet, Edits};
use super::lens::{self, choose};
use super::response::Problem;
use super::stage::Stage;
use crate::camera::lens_choice::ChosenLens;
use crate::camera::print_scale::ScaleBy;
use crate::card::{FoundCards, find_cards};
use crate::explain::Explanation;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::View;
use crate::photo::Photo;
use crate::pipeline::{Located, Request};
use crate::record::{record, record_together};
use crate::refusal::Refusal;
use crate::sheet::Sheet;
use crate::sheet::geometry::OverlayGeometry;
use crate::together::{Together, measure_over_cards, same_twice};

/// Where the saddle was found, so that it need not be searched again.
pub type Near = (View, [PhotoPoint; 2]);

/// The result of a photo.
#[derive(Debug, Clone)]
pub struct PhotoResult {
    /// The sheet.
    pub sheet: Sheet,
    /// The sheet's lines in the photo.
    pub geometry: OverlayGeometry,
    /// The other photos measured together with it, and the lines in each.
    pub others: Vec<(u64, OverlayGeometry)>,
    /// The lens file that was used.
    pub lens: Option<String>,
}

/// A photo while it is worked on.
pub struct OpenPhoto {
    photo: Arc<Photo>,
    found: Result<FoundCards, Refusal>,
    located: Option<LocatedPhoto>,
}

/// The camera for one choice of print scale and lens.
pub struct LocatedPhoto {
    scale_by: ScaleBy,
    lens_choice: Option<String>,
    lens: ChosenLens,
    /// The photo with its camera.
    pub located: Located,
}

/// A result, or the photo's refusal, or a problem of the machine or the edits.
pub type Outcome<T> = Result<Result<T, Refusal>, Problem>;

impl OpenPhoto {
    /// Finds the cards in a photo.
    pub fn of(photo: Arc<Photo>) -> Self {
        let found = find_cards(&photo);
        Self { photo, found, located: None }
    }

    /// The photo with its cards, to be measured together with others.
    pub fn with_cards(&self) -> (Arc<Photo>, Result<FoundCards, Refusal>) {
        (self.photo.clone(), self.found.clone())
    }

    /// The photo.
    pub fn photo(&self) -> &Arc<Photo> {
        &self.photo
    }

    /// Measures the photo alone; beside the result, where the saddle was found. `near` is where it was found before; `at`
    /// receives the progress.
    ///
    /// # Errors
    /// Where the edits make no sense; within, the photo's refusal.
    pub fn measure(
        &mut self,
        edits: &Edits,
        near: Option<Near>,
        folder: &Path,
        at: impl Fn(Stage),
    ) -> Outcome<(PhotoResult, Option<Near>)> {
        let (lens, located) = match self.locate(edits, folder, &at)? {
            Ok(photo) => (photo.lens.clone(), photo.located.clone()),
            Err(refusal) => return Ok(Err(refusal)),
        };
        let file = lens::file(&lens);
        let request = edits.request(near, lens)?;
        at(Stage::Tracing);
        let traced = located.trace(&request, Explanation::OFF);
        Ok(match traced.and_then(|traced| traced.measure(&request)) {
            Ok(measured) => {
                let (sheet, geometry) = record(&request, &measured);
                let near = measured.traced.midline_ends_px().map(|ends| (measured.traced.view, ends));
                Ok((PhotoResult { sheet, geometry, others: Vec::new(), lens: file }, near))
            }
            Err(refused) => Err(refused.refusal),
        })
    }

    /// The camera as the edits want it; fitted again only when print scale or lens have changed.
    ///
    /// # Errors
    /// Where the edits make no sense; within, the photo's refusal.
    pub fn locate(&mut self, edits: &Edits, folder: &Path, at: impl Fn(Stage)) -> Outcome<&LocatedPhoto> {
        let scale_by = edits.scale_by()?;
        let is_current = |s: &LocatedPhoto| s.scale_by == scale_by && s.lens_choice == edits.lens;
        if !self.located.as_ref().is_some_and(is_current) {
            let found = match &self.found {
                Ok(found) => found.clone(),
                Err(refusal) => return Ok(Err(refusal.clone())),
            };
            at(Stage::Camera);
            let lens = choose(folder, edits.lens.as_deref(), &self.photo)?;
            let request = edits.request(None, lens.clone())?;
            let located =
                match Located::over_cards(self.photo.clone(), found, None, &request, Explanation::OFF) {
                    Ok(located) => located,
                    Err(refused) => return Ok(Err(refused.refusal)),
                };
            self.located = Some(LocatedPhoto { scale_by, lens_choice: edits.lens.clone(), lens, located });
        }
        self.located.as_ref().map(Ok).ok_or_else(|| Problem::missing("the photo"))
    }
}

/// Measures several photos of one saddle together; the first is the one that is worked on. `near` is where the saddle was found
/// before in each.
///
/// # Errors
/// Where the edits make no sense; within, the refusal of a photo or of all together.
pub fn measure_set(
    seen: Vec<(Arc<Photo>, Result<FoundCards, Refusal>)>,
    near: Option<Vec<Near>>,
    edits: &EditSet,
    folder: &Path,
) -> Outcome<PhotoResult> {
    let photos: Vec<Arc<Photo>> = seen.iter().map(|(photo, _)| photo.clone()).collect();
    if let Some([one, same]) = same_twice(&photos) {
        let text = format!("{} and {} are the same photo", one.name(), same.name());
        return Err(Problem::new(422, text, "choose two different photos of the saddle"));
    }
    let mut requests: Vec<Request> = Vec::new();
    for (i, own) in std::iter::once(&edits.own).chain(&edits.others).enumerate() {
        let lens = choose(folder, own.lens.as_deref(), &photos[i])?;
        requests.push(own.request(near.as_ref().map(|near| near[i]), lens)?);
    }
    Ok(match measure_over_cards(seen, &requests) {
        Ok(Together { left_out, .. }) if left_out.iter().any(|photo| photo.number == 0) => {
            Err(left_out[0].refusal.clone())
        }
        Ok(together) => {
            let (sheet, mut geometries) = record_together(&requests, &together);
            let geometry = geometries.remove(0);
            let others = together.numbers[1..].iter().map(|number| edits.own.with[number - 1]);
            let others = others.zip(geometries).collect();
            Ok(PhotoResult { sheet, geometry, others, lens: lens::file(&requests[0].lens) })
        }
        Err(refused) => Err(refused.refusal),
    })
}
