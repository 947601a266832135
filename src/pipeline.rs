//! The pipeline: one photo, from its pixels to widths.
//!
//! `Photo -> Located -> Traced -> Measured`: each stage consumes the one before it and returns the next, or a [`Refused`] with
//! whatever was reached. Several photos of one saddle take the same path in [`crate::together`]; [`crate::check`] judges a
//! [`Located`]; [`crate::record`] writes the end of the path down as a sheet. A front end that keeps a [`Located`] only traces
//! again when the user corrects an edge.

mod pictures;
mod refused;
mod request;

use std::sync::Arc;

use crate::camera::fit::CameraFit;
use crate::camera::placement::{LensSource, PlacedCamera, camera_over_cards, lens_prior, place_camera};
use crate::camera::print_scale::{PrintScale, print_scale};
use crate::camera::prior::LensPrior;
use crate::card::{FoundCards, find_cards_explained};
use crate::explain::Explanation;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Part, Side, View};
use crate::outline::Outline;
use crate::outline::channel::trace_channel;
use crate::outline::find::{FoundSaddle, SearchScene, find_saddle, trace_between, trace_near, trace_shown};
use crate::outline::lift::LiftProfile;
use crate::outline::midline::Midline;
use crate::photo::Photo;
use crate::refusal::Refusal;
use crate::width::response::Inputs;
use crate::width::rivals::{RivalLine, rival_lines};
use crate::width::{Subject, Widths, measure_widths};
pub use refused::{Reached, Refused};
pub use request::Request;

/// The result of a stage.
pub type Staged<T> = Result<T, Box<Refused>>;

/// Measures one photo.
///
/// # Errors
/// The refusal of the first stage that fails.
pub fn measure(photo: impl Into<Arc<Photo>>, request: &Request, explain: &Explanation) -> Staged<Measured> {
    Located::find(photo.into(), request, explain)?.trace(request, explain)?.measure(request)
}

/// A photo with its reference cards and the camera over them; the first card's frame is that of all millimetres.
#[derive(Debug, Clone)]
pub struct Located {
    /// The photo.
    pub photo: Arc<Photo>,
    /// The cards in it, at least one.
    pub found: FoundCards,
    /// The scale at which they were printed.
    pub print_scale: PrintScale,
    /// The prior of the lens.
    pub lens: LensPrior,
    /// Its source.
    pub lens_source: LensSource,
    /// The camera.
    pub fit: CameraFit,
}

impl Located {
    /// Finds the cards and fits the camera.
    ///
    /// # Errors
    /// As [`find_cards_explained`] and [`Located::over_cards`].
    pub fn find(photo: Arc<Photo>, request: &Request, explain: &Explanation) -> Staged<Self> {
        match find_cards_explained(&photo, explain) {
            Ok(found) => Self::over_cards(photo, found, None, request, explain),
            Err(refusal) => Err(Refused::new(refusal, photo, Reached::Nothing)),
        }
    }

    /// Fits the camera to cards that were found before, at a known print scale or at the one that the request asks for.
    ///
    /// # Errors
    /// As [`print_scale`] and [`place_camera`].
    pub fn over_cards(
        photo: Arc<Photo>,
        mut found: FoundCards,
        scale: Option<PrintScale>,
        request: &Request,
        explain: &Explanation,
    ) -> Staged<Self> {
        let asked =
            || print_scale(&photo, &found, request.scale_by, &lens_prior(&photo, request.lens.prior).0);
        let scale = scale.map_or_else(asked, Ok);
        let placed = scale.and_then(|scale| {
            found.cards.iter_mut().for_each(|card| card.print_scale = scale.value);
            Ok((scale, place_camera(&photo, &found, request.lens.prior)?))
        });
        match placed {
            Ok((print_scale, PlacedCamera { fit, prior: lens, source: lens_source, warning })) => {
                found.warnings.extend(warning);
                let located = Self { photo, found, print_scale, lens, lens_source, fit };
                explain.add(|| pictures::plane(&located));
                Ok(located)
            }
            Err(refusal) => Err(Refused::new(refusal, photo, Reached::Cards(found))),
        }
    }

    /// Finds the saddle and traces its edges.
    ///
    /// # Errors
    /// As [`Request::check_hints`], [`find_saddle`], [`trace_near`], [`trace_shown`] and [`trace_between`].
    pub fn trace(self, request: &Request, explain: &Explanation) -> Staged<Traced> {
        match self.outline(request, explain) {
            Ok((found, outline)) => {
                let (view, midline) = (found.view, found.midline);
                let [seat_lift, channel_lift] = request.lifts();
                let traced = Traced { located: self, view, midline, outline, seat_lift, channel_lift };
                explain.add(|| pictures::edges(&traced));
                Ok(traced)
            }
            Err(refusal) => {
                let refusal = request.without_redundant_hint(refusal);
                Err(Refused::new(refusal, self.photo.clone(), Reached::Located(self)))
            }
        }
    }

    fn outline(&self, request: &Request, explain: &Explanation) -> Result<(FoundSaddle, Outline), Refusal> {
        request.check_hints(&self.photo)?;
        let [seat_lift, channel_lift] = request.lifts();
        let (photo, camera, cards) = (&*self.photo, &self.fit.camera, &*self.found.cards);
        let search = SearchScene { photo, camera, cards, hints: &request.hints, explain };
        let saddle = saddle(&search, &seat_lift, request)?.within_photo(&search, &seat_lift)?;
        let scene = search.scene(&saddle.midline);
        let channel = match saddle.view {
            View::Top => None,
            // Without a channel the seat still counts; a warning says what is missing.
            View::Underside => trace_channel(&scene, &saddle.pictures, &channel_lift).ok(),
        };
        let mut outline = Outline { seat: saddle.seat.clone(), channel };
        outline.hide(&scene, &seat_lift, &channel_lift, &request.hidden);
        Ok((saddle, outline))
    }
}

/// The seat's edges between the ends given, near those found before, or wherever a saddle is found.
fn saddle(search: &SearchScene, lift: &LiftProfile, request: &Request) -> Result<FoundSaddle, Refusal> {
    let size_px = (search.photo.width_px(), search.photo.height_px());
    let between = |ends, view| Midline::from_photo(search.camera, size_px, ends, lift, view);
    match (request.ends, request.near, request.view) {
        (Some(ends), _, view) => trace_between(search, lift, &between(ends, View::Top)?, view),
        (None, Some((view, near)), asked) if asked.is_none_or(|asked| asked == view) => {
            trace_near(search, lift, &between(near, view)?, view)
        }
        (None, _, view) => match &request.shown {
            Some(shown) => trace_shown(search, lift, shown),
            None => find_saddle(search, lift, view),
        },
    }
}

/// A located saddle with its traced edges.
#[derive(Debug, Clone)]
pub struct Traced {
    /// The stage before.
    pub located: Located,
    /// How the saddle is seen.
    pub view: View,
    /// The midline.
    pub midline: Midline,
    /// The edges.
    pub outline: Outline,
    /// Height of the seat's edges over the card.
    pub seat_lift: LiftProfile,
    /// Height of the channel's edges.
    pub channel_lift: LiftProfile,
}

impl Traced {
    /// Takes the widths between the edges.
    ///
    /// # Errors
    /// `edges-not-found` when there is no width, or the two halves contradict each other.
    pub fn measure(self, request: &Request) -> Staged<Measured> {
        let measured = self.measure_as_traced(request)?;
        let subject = measured.traced.subject(&measured.traced.located.fit);
        let rivals = rival_lines(&subject, &measured.widths);
        let first_alone = measured.traced.located.first_card_alone();
        let one_card = first_alone.and_then(|fit| measure_widths(&measured.traced.subject(&fit)));
        Ok(Measured { rivals, one_card, ..measured })
    }

    /// As [`Self::measure`], without what is shown of a single photo alone: rival lines, and the widths by one card.
    ///
    /// # Errors
    /// As [`Self::measure`].
    pub fn measure_as_traced(self, request: &Request) -> Staged<Measured> {
        let photo = self.located.photo.clone();
        let refused =
            |refusal, reached| Refused::new(request.without_redundant_hint(refusal), photo, reached);
        let Some(widths) = measure_widths(&self.subject(&self.located.fit)) else {
            return Err(refused(refused::no_width(), Reached::Traced(self)));
        };
        let measured = Measured { traced: self, widths, rivals: Vec::new(), one_card: None };
        match refused::implausible(&measured.widths) {
            None => Ok(measured),
            Some(refusal) => Err(refused(refusal, Reached::Measured(measured))),
        }
    }

    /// The input of the widths, with a camera fitted to all of the cards or to some.
    pub fn subject<'a>(&'a self, fit: &'a CameraFit) -> Subject<'a> {
        let inputs = Inputs {
            fit,
            midline: &self.midline,
            seat_lift: &self.seat_lift,
            channel_lift: &self.channel_lift,
            print_scale_u: self.located.print_scale.relative_u,
        };
        Subject { inputs, outline: &self.outline }
    }

    /// Height of a part's edges over the card.
    pub fn lift(&self, part: Part) -> &LiftProfile {
        match part {
            Part::Seat => &self.seat_lift,
            Part::Channel => &self.channel_lift,
        }
    }

    /// The midline's ends in the photo, each at its own height.
    pub fn midline_ends_px(&self) -> Option<[PhotoPoint; 2]> {
        let end = |station: f64| {
            let at = self.midline.point(station, 0.0, Side::Left, self.seat_lift.at_mm(station));
            self.located.fit.camera.photo_from_card(at)
        };
        Some([end(0.0)?, end(1.0)?])
    }
}

impl Located {
    /// The camera over the first of several cards, as if it were alone.
    fn first_card_alone(&self) -> Option<CameraFit> {
        let [first, _, ..] = self.found.cards.as_slice() else { return None };
        let alone = FoundCards { cards: vec![first.clone()], warnings: Vec::new() };
        camera_over_cards(&alone, &self.lens).ok()
    }
}

/// A traced saddle with its widths.
#[derive(Debug, Clone)]
pub struct Measured {
    /// The stage before.
    pub traced: Traced,
    /// The widths.
    pub widths: Widths,
    /// Lines that may be the edge instead and would change a named width.
    pub rivals: Vec<RivalLine>,
    /// The widths as the first of several cards alone gives them.
    pub one_card: Option<Widths>,
}
