//! Refusals of the pipeline, with whatever was reached before.

use std::sync::Arc;

use super::{Located, Measured, Traced};
use crate::card::FoundCards;
use crate::instruction::GIVE_ENDS_EXACTLY;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use crate::width::Widths;

/// A photo that cannot be measured.
#[derive(Debug, Clone)]
pub struct Refused {
    /// Why.
    pub refusal: Refusal,
    /// The photo.
    pub photo: Arc<Photo>,
    /// The stages before.
    pub reached: Reached,
}

/// The last stage that was reached.
#[expect(clippy::large_enum_variant, reason = "it is always part of a boxed refusal")]
#[derive(Debug, Clone)]
pub enum Reached {
    /// No card was found.
    Nothing,
    /// The cards, but no camera.
    Cards(FoundCards),
    /// The camera, but no saddle.
    Located(Located),
    /// The edges, but no width.
    Traced(Traced),
    /// Widths that contradict each other.
    Measured(Measured),
}

impl Refused {
    /// A refusal after a stage.
    pub fn new(refusal: Refusal, photo: Arc<Photo>, reached: Reached) -> Box<Self> {
        Box::new(Self { refusal, photo, reached })
    }

    /// The same refusal in other words.
    pub fn map(mut self: Box<Self>, words: impl FnOnce(Refusal) -> Refusal) -> Box<Self> {
        self.refusal = words(self.refusal);
        self
    }
}

impl Reached {
    /// The cards, if they were found.
    pub fn cards(&self) -> Option<&FoundCards> {
        match self {
            Self::Nothing => None,
            Self::Cards(found) => Some(found),
            _ => self.located().map(|located| &located.found),
        }
    }

    /// The camera over them, if it was fitted.
    pub fn located(&self) -> Option<&Located> {
        match self {
            Self::Located(located) => Some(located),
            _ => self.traced().map(|traced| &traced.located),
        }
    }

    /// The edges, if they were traced.
    pub fn traced(&self) -> Option<&Traced> {
        match self {
            Self::Traced(traced) => Some(traced),
            _ => self.measured().map(|measured| &measured.traced),
        }
    }

    /// The widths, if there are any.
    pub fn measured(&self) -> Option<&Measured> {
        if let Self::Measured(measured) = self { Some(measured) } else { None }
    }
}

impl From<Box<Refused>> for Refusal {
    fn from(refused: Box<Refused>) -> Self {
        refused.refusal
    }
}

/// No two halves of one width differ by this, mm (common practice, no source): one edge is something else's, or the ends are.
const MOST_UNEVEN_MM: f64 = 18.0;

/// Why widths cannot be those of a saddle, if so.
pub fn implausible(widths: &Widths) -> Option<Refusal> {
    if widths.named.is_empty() {
        return Some(no_width());
    }
    let uneven = !(widths.most_uneven_mm() <= MOST_UNEVEN_MM);
    uneven.then(|| {
        Refusal::new(
            RefusalCode::EdgesNotFound,
            "the left and the right edge do not match",
            format!("{GIVE_ENDS_EXACTLY}, or photograph it on a plain floor"),
        )
    })
}

/// The refusal of edges without a width.
pub fn no_width() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the edges were traced in too few places for any width",
        "photograph the whole saddle on a plain floor, with nothing lying across it",
    )
}
