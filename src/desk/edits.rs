//! The user's edits of a photo, as the page sends them.

use serde::{Deserialize, Serialize};

use super::response::Problem;
use crate::camera::lens_choice::ChosenLens;
use crate::camera::print_scale::{ScaleBy, is_bar};
use crate::fit::heights::{Reading, heights_mm};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Part, Side, View};
use crate::outline::HiddenStretch;
use crate::outline::hint::Hint;
use crate::outline::lift::LiftProfile;
use crate::pipeline::Request;

/// Longest list of corrections or heights.
const MOST_ROWS: usize = 200;

/// The user's edits of a photo. Pixels are those of the upright photo, lengths millimetres.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Edits {
    /// The saddle's name.
    pub name: String,
    /// A remark on it.
    pub note: String,
    /// The view; found where null.
    pub view: Option<View>,
    /// Front and rear end of the midline; found where null.
    pub ends: Option<[[f64; 2]; 2]>,
    /// Points on edges.
    pub hints: Vec<EdgeHint>,
    /// Hidden stretches of edges.
    pub hidden: Vec<HiddenRange>,
    /// Heights of the seat's edges over the card by station, mm or as written; unknown where empty.
    pub seat_lift: Vec<(f64, Reading)>,
    /// Heights of the channel's edges.
    pub channel_lift: Vec<(f64, Reading)>,
    /// Reading down from a straight-edge to the card; all heights are then readings down to the edge.
    pub to_card: Option<Reading>,
    /// Measured length of the card's bar; true scale where null.
    pub bar_mm: Option<f64>,
    /// Whether a bank card is in the card's frame.
    pub bank_card: bool,
    /// Other photos of the same saddle and card, left in place: all are measured together.
    pub with: Vec<u64>,
    /// Name of a lens file in the shelf's folder, or [`NO_LENS`]; the camera's own where null.
    pub lens: Option<String>,
}

/// Choice of no lens file.
pub const NO_LENS: &str = "none";

/// A point on an edge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EdgeHint {
    /// Of which pair of edges.
    pub part: Part,
    /// Where.
    pub px: [f64; 2],
}

/// A hidden stretch of an edge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HiddenRange {
    /// Of which pair of edges.
    pub part: Part,
    /// Which of the two.
    pub side: Side,
    /// First and last station.
    pub from: f64,
    /// See `from`.
    pub to: f64,
}

impl Edits {
    /// Whether both give the same measurement: they may differ in name and remark.
    pub fn measures_as(&self, other: &Self) -> bool {
        let Self {
            view,
            ends,
            hints,
            hidden,
            seat_lift,
            channel_lift,
            to_card,
            bar_mm,
            bank_card,
            with,
            lens,
            name: _,
            note: _,
        } = self;
        (view, ends, hints) == (&other.view, &other.ends, &other.hints)
            && (hidden, seat_lift, channel_lift) == (&other.hidden, &other.seat_lift, &other.channel_lift)
            && to_card == &other.to_card
            && (bar_mm, bank_card, with, lens) == (&other.bar_mm, &other.bank_card, &other.with, &other.lens)
    }

    /// The edits of another photo measured together with this one: its own ends, corrections and lens, and this photo's view,
    /// heights and print scale.
    pub fn beside(&self, other: &Self) -> Self {
        Self {
            view: self.view.or(other.view),
            seat_lift: self.seat_lift.clone(),
            channel_lift: self.channel_lift.clone(),
            to_card: self.to_card.clone(),
            bar_mm: self.bar_mm,
            bank_card: self.bank_card,
            with: Vec::new(),
            ..other.clone()
        }
    }

    /// The source of the print scale.
    ///
    /// # Errors
    /// Two sources, or an impossible length of the bar.
    pub fn scale_by(&self) -> Result<ScaleBy, Problem> {
        match (bar(self.bar_mm)?, self.bank_card) {
            (Some(_), true) => Err(invalid(
                "the bar's length and a bank card both give the print scale",
                "clear one of them",
            )),
            (Some(mm), false) => Ok(ScaleBy::Bar(mm)),
            (None, true) => Ok(ScaleBy::BankCard),
            (None, false) => Ok(ScaleBy::Printer),
        }
    }

    /// The request to the pipeline. `near` is where the saddle was found before.
    ///
    /// # Errors
    /// Invalid edits, with what to do.
    pub fn request(
        &self,
        near: Option<(View, [PhotoPoint; 2])>,
        lens: ChosenLens,
    ) -> Result<Request, Problem> {
        let point = |[x, y]: [f64; 2]| PhotoPoint::new(x, y);
        if self.hints.len() > MOST_ROWS || self.hidden.len() > MOST_ROWS {
            return Err(invalid("too many corrections", "undo some"));
        }
        if self.hidden.iter().any(|s| !(s.from < s.to)) {
            return Err(invalid("a hidden stretch ends before it begins", "mark it again"));
        }
        let hidden = |s: &HiddenRange| HiddenStretch { part: s.part, side: s.side, from: s.from, to: s.to };
        Ok(Request {
            name: self.name.clone(),
            view: self.view,
            ends: self.ends.map(|ends| ends.map(point)),
            hints: self.hints.iter().map(|h| Hint { part: h.part, pixel: point(h.px) }).collect(),
            hidden: self.hidden.iter().map(hidden).collect(),
            near,
            shown: None,
            seat_lift: self.profile(Part::Seat, &self.seat_lift)?,
            channel_lift: self.profile(Part::Channel, &self.channel_lift)?,
            lens,
            scale_by: self.scale_by()?,
        })
    }

    fn profile(&self, part: Part, rows: &[(f64, Reading)]) -> Result<Option<LiftProfile>, Problem> {
        if rows.is_empty() {
            return Ok(None);
        }
        if rows.len() > MOST_ROWS {
            return Err(invalid(format!("too many heights of the {part}"), "give five places"));
        }
        let mut points = heights_mm(part, self.to_card.as_ref(), rows)
            .map_err(|question| invalid(question, "check the heights"))?;
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        LiftProfile::measured(points).map(Some).ok_or_else(|| {
            invalid(
                format!("invalid heights of the {part}"),
                "give each place once, from 0 (front) to 1 (rear), with its height",
            )
        })
    }
}

/// The edits of a photo and of those measured together with it.
#[derive(Debug, Clone)]
pub struct EditSet {
    /// The edits of the photo.
    pub own: Edits,
    /// The edits of each of the others in this measurement.
    pub others: Vec<Edits>,
}

impl EditSet {
    /// Whether the ends are found by the program in every photo.
    pub fn finds_all_ends(&self) -> bool {
        std::iter::once(&self.own).chain(&self.others).all(|edits| edits.ends.is_none())
    }

    /// Whether both give the same measurement.
    pub fn measures_as(&self, other: &Self) -> bool {
        let others = self.others.iter().zip(&other.others);
        self.own.measures_as(&other.own) && others.into_iter().all(|(a, b)| a.measures_as(b))
    }
}

fn invalid(text: impl Into<String>, hint: &str) -> Problem {
    Problem::new(422, text, hint)
}

fn bar(bar_mm: Option<f64>) -> Result<Option<f64>, Problem> {
    match bar_mm {
        Some(mm) if !is_bar(mm) => Err(invalid(
            format!("a bar of {mm} mm is impossible"),
            "measure it with a ruler: it is 150 mm long at true scale",
        )),
        other => Ok(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heights_are_sorted() {
        let edits = Edits { seat_lift: vec![(1.0, 68.0.into()), (0.0, 44.0.into())], ..Edits::default() };
        let lift = edits.request(None, ChosenLens::default()).unwrap().seat_lift.unwrap();
        assert_eq!(lift.points(), [(0.0, 44.0), (1.0, 68.0)]);
    }

    #[test]
    fn invalid_edits_are_rejected() {
        let twice = Edits { seat_lift: vec![(0.5, 1.0.into()), (0.5, 2.0.into())], ..Edits::default() };
        let cases = [
            (twice, "heights"),
            (Edits { bar_mm: Some(15.0), ..Edits::default() }, "bar"),
            (Edits { bar_mm: Some(f64::NAN), ..Edits::default() }, "bar"),
            (Edits { bar_mm: Some(149.0), bank_card: true, ..Edits::default() }, "bank card"),
        ];
        for (edits, word) in cases {
            let message = format!("{:?}", edits.request(None, ChosenLens::default()).unwrap_err());
            assert!(message.contains(word), "{message}");
        }
    }

    #[test]
    fn another_photo_keeps_its_corrections_and_shares_the_heights() {
        let hidden = HiddenRange { part: Part::Seat, side: Side::Left, from: 0.2, to: 0.3 };
        let other = Edits { hidden: vec![hidden], seat_lift: vec![(0.5, 99.0.into())], ..Edits::default() };
        let own = Edits {
            seat_lift: vec![(0.5, 12.0.into())],
            ends: Some([[0.0; 2], [9.0; 2]]),
            with: vec![7],
            bar_mm: Some(149.0),
            ..Edits::default()
        };
        let beside = own.beside(&other);
        assert_eq!((beside.seat_lift, beside.bar_mm), (own.seat_lift, own.bar_mm));
        assert_eq!((beside.hidden, beside.ends, beside.with), (other.hidden, None, vec![]));
    }

    #[test]
    fn edits_of_another_photo_count() {
        let set = |bar_mm| EditSet {
            own: Edits { with: vec![2], ..Edits::default() },
            others: vec![Edits { bar_mm, ..Edits::default() }],
        };
        assert!(set(None).measures_as(&set(None)));
        assert!(!set(None).measures_as(&set(Some(149.0))));
    }
}
