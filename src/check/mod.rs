//! Judgement of a located photo: can it be measured, how well, and what would make it better.
//!
//! It follows from one figure: the expanded uncertainty that a width of 230 mm in the middle of the frame would have
//! ([`predict`]). The cost of a fault is what that figure gains when the photo is simulated without it ([`view`]), so no fault
//! needs a threshold of taste. The saddle itself is judged when it is measured.

mod faults;
mod look;
mod predict;
mod view;

use schemars::JsonSchema;
use serde::Serialize;

use crate::photo::Photo;
use crate::pipeline::Located;
use crate::refusal::Refusal;
use faults::{reasons_of_loss, reasons_of_refusal};
use look::CardLook;
use view::PhotoView;

/// Verdict on a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PhotoVerdict {
    /// No better photo would make a width much more certain.
    Usable,
    /// It can be measured, less certainly than a better one.
    UsableWithLoss,
    /// Take it again.
    TakeAgain,
}

/// A fault of a photo.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Reason {
    /// Machine-readable kind, such as `too-oblique`.
    pub code: String,
    /// What is wrong, in plain words.
    pub text: String,
    /// What to do about it.
    pub hint: String,
    /// Its part of the uncertainty (95 %) of a 230 mm width, mm; null where the photo cannot be measured.
    pub costs_mm: Option<f64>,
}

/// Measurements of the card and the camera.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Facts {
    /// Pattern of the first card.
    pub pattern: String,
    /// Its copy number.
    pub copy: u32,
    /// Tags measured and tags there are on it.
    pub tags: [usize; 2],
    /// Median side of its tags in the photo, px.
    pub tag_side_px: f64,
    /// Blur of its edges (standard deviation), px.
    pub blur_px: f64,
    /// Ratio of the blur across the most and the least blurred direction: 1 for a photo that is sharp or out of focus.
    pub blur_ratio: f64,
    /// Light of its white paper, linear, 0 to 1.
    pub white: f64,
    /// Part of its white paper that is burnt out.
    pub burnt_out: f64,
    /// Camera over the card's plane, mm.
    pub height_mm: f64,
    /// Camera against the card's normal, degrees.
    pub tilt_deg: f64,
    /// Millimetres of the card's plane to a pixel, in the middle of the frame.
    pub mm_per_px: f64,
    /// Bend of the card, mm.
    pub bend_mm: f64,
}

/// The judgement of one photo.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Judgement {
    /// The photo's file name, without folders.
    pub file: String,
    /// The verdict.
    pub verdict: PhotoVerdict,
    /// Predicted expanded uncertainty (95 %) of a 230 mm width in the middle of the frame, where the heights of its
    /// edges are measured with a ruler, mm; null where the photo cannot be measured.
    pub u95_mm: Option<f64>,
    /// The same where these heights are not known, mm.
    pub u95_lift_unknown_mm: Option<f64>,
    /// The part of the first that a better photo would avoid, mm.
    pub loss_mm: Option<f64>,
    /// At most three reasons, the most important first.
    pub reasons: Vec<Reason>,
    /// Measurements; null where no card was measured.
    pub facts: Option<Facts>,
}

impl Judgement {
    /// The verdict in a line.
    pub fn headline(&self) -> String {
        let verdict = match self.verdict {
            PhotoVerdict::Usable => "usable",
            PhotoVerdict::UsableWithLoss => "usable with loss",
            PhotoVerdict::TakeAgain => "take it again",
        };
        let Some(u95) = self.u95_mm else { return verdict.into() };
        let loss = match self.loss_mm {
            Some(loss) if self.verdict != PhotoVerdict::Usable => {
                format!(", {loss:.1} mm of it could be avoided")
            }
            _ => String::new(),
        };
        let unknown = self
            .u95_lift_unknown_mm
            .map_or_else(String::new, |u| format!("; ± {u:.1} mm where the edges' heights are not measured"));
        format!("{verdict}: 230 mm ± {u95:.1} mm{loss}{unknown}")
    }
}

/// Further reasons are left out: after three corrections there is another photo to judge.
pub const MOST_REASONS: usize = 3;
/// A loss below this is not worth another photo, mm: a quarter of what the best photo leaves uncertain.
const LOSS_TO_MENTION_MM: f64 = 0.5;
/// Beyond this uncertainty a width cannot be distinguished from one a quarter of an inch away, the step in which the trade
/// speaks of seat widths (common practice, no source), mm.
const TAKE_AGAIN_MM: f64 = 6.35;

/// Judges a photo that was located or refused.
pub fn judge(photo: &Photo, outcome: Result<&Located, &Refusal>) -> Judgement {
    let viewed = outcome.map_err(Refusal::clone).and_then(|located| {
        let look = CardLook::of(photo, &located.found);
        let view = PhotoView::of(located, &look).ok_or_else(too_far_off)?;
        Ok((located, view, look))
    });
    match viewed {
        Ok((located, view, look)) => judge_view(located, &view, &look),
        Err(refusal) => refused(photo.name(), reasons_of_refusal(photo, &refusal)),
    }
}

/// The judgement of a file that could not be opened as a photo.
pub fn unreadable(file: &str, refusal: &Refusal) -> Judgement {
    // The judgement gives the file's name already.
    let text = refusal.text.strip_prefix(&format!("{file}: ")).unwrap_or(&refusal.text).to_owned();
    refused(file, vec![faults::plain(&Refusal { text, ..refusal.clone() })])
}

fn too_far_off() -> Refusal {
    Refusal::new(
        crate::refusal::RefusalCode::PoseFailed,
        "the middle of the photo does not lie on the card's plane",
        "photograph again from nearer to straight above, with saddle and card in the middle of the picture",
    )
}

fn refused(file: &str, mut reasons: Vec<Reason>) -> Judgement {
    reasons.truncate(MOST_REASONS);
    Judgement {
        file: file.to_owned(),
        verdict: PhotoVerdict::TakeAgain,
        u95_mm: None,
        u95_lift_unknown_mm: None,
        loss_mm: None,
        reasons,
        facts: None,
    }
}

fn judge_view(located: &Located, view: &PhotoView, look: &CardLook) -> Judgement {
    let Located { photo, found, .. } = located;
    let u95_mm = view.u95_mm();
    let best = view.at_its_best().simulated_u95_mm();
    let loss_mm = best.map(|best| u95_mm - best).filter(|loss| loss.is_finite()).map(|loss| loss.max(0.0));
    let verdict = if !(u95_mm <= TAKE_AGAIN_MM) {
        PhotoVerdict::TakeAgain
    } else if loss_mm.is_none_or(|loss| loss >= LOSS_TO_MENTION_MM) {
        PhotoVerdict::UsableWithLoss
    } else {
        PhotoVerdict::Usable
    };
    let mut reasons = reasons_of_loss(photo, found, view, look);
    reasons.truncate(MOST_REASONS);
    Judgement {
        file: photo.name().to_owned(),
        verdict,
        u95_mm: Some(u95_mm),
        u95_lift_unknown_mm: view.u95_lift_unknown_mm(),
        loss_mm,
        reasons,
        facts: Some(view.facts(found, look)),
    }
}
