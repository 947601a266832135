//! What the user asks of a photo.

use crate::camera::lens_choice::ChosenLens;
use crate::camera::print_scale::ScaleBy;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::View;
use crate::outline::HiddenStretch;
use crate::outline::find::ShownElsewhere;
use crate::outline::hint::Hint;
use crate::outline::lift::LiftProfile;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};

/// What the user asks of a photo; what is not given is found.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// Name of the saddle.
    pub name: String,
    /// How the saddle is seen.
    pub view: Option<View>,
    /// Front and rear end of the seat form, in the photo.
    pub ends: Option<[PhotoPoint; 2]>,
    /// Points given by hand through which edges run.
    pub hints: Vec<Hint>,
    /// Stretches of edges that something hides: no point there counts.
    pub hidden: Vec<HiddenStretch>,
    /// View and ends that were found in this photo before: without `ends` the saddle is traced there instead of searched.
    pub near: Option<(View, [PhotoPoint; 2])>,
    /// Where other photos show the saddle: without `ends` and `near` it is traced there instead of searched.
    pub shown: Option<ShownElsewhere>,
    /// Height of the seat's edges over the card.
    pub seat_lift: Option<LiftProfile>,
    /// Height of the channel's edges.
    pub channel_lift: Option<LiftProfile>,
    /// The lens file of the camera.
    pub lens: ChosenLens,
    /// Source of the print scale.
    pub scale_by: ScaleBy,
}

impl Request {
    /// Heights of the edges of seat and channel, unknown where not given.
    pub fn lifts(&self) -> [LiftProfile; 2] {
        [&self.seat_lift, &self.channel_lift].map(|lift| lift.clone().unwrap_or_else(LiftProfile::unknown))
    }

    /// Refuses hints outside the photo.
    ///
    /// # Errors
    /// `edges-not-found`.
    pub fn check_hints(&self, photo: &Photo) -> Result<(), Refusal> {
        let (w, h) = (photo.width_px(), photo.height_px());
        let within = |p: PhotoPoint| {
            (0.0..=w as f64 - 1.0).contains(&p.x_px) && (0.0..=h as f64 - 1.0).contains(&p.y_px)
        };
        match self.hints.iter().find(|hint| !within(hint.pixel)) {
            None => Ok(()),
            Some(Hint { pixel, .. }) => Err(Refusal::new(
                RefusalCode::EdgesNotFound,
                format!("the point {},{} is outside the photo of {w} x {h} pixels", pixel.x_px, pixel.y_px),
                "give a point in pixels of the upright photo, whose top-left pixel is 0,0",
            )),
        }
    }

    /// The refusal without the advice to give what was given already.
    pub fn without_redundant_hint(&self, refusal: Refusal) -> Refusal {
        let hint = match refusal.code {
            RefusalCode::EdgesNotFound | RefusalCode::NoSaddle if !self.hints.is_empty() => {
                "check that an edge runs through the point given, or leave the point out"
            }
            RefusalCode::EdgesNotFound if self.ends.is_some() => {
                "check that both ends lie on the seat form and that front and rear are not swapped, or leave them out"
            }
            _ => return refusal,
        };
        Refusal { hint: hint.into(), ..refusal }
    }
}
