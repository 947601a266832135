//! What the user has said of a photo: everything that may be changed, as the page sends it.

use serde::{Deserialize, Serialize};

use super::answer::Trouble;
use crate::camera::lens_choice::ChosenLens;
use crate::camera::print_scale::{ScaleBy, is_bar};
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Part, Side, View};
use crate::outline::HiddenStretch;
use crate::outline::hint::Hint;
use crate::outline::lift::LiftProfile;
use crate::pipeline::Request;

/// Lists longer than this are no fitter's.
const MOST_ROWS: usize = 200;

/// What the user says of a photo. Pixels are those of the upright photo, lengths millimetres.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Edits {
    /// The saddle's name.
    pub name: String,
    /// A remark on it.
    pub note: String,
    /// How it is seen; found where null.
    pub view: Option<View>,
    /// Front and rear end of the midline; found where null.
    pub ends: Option<[[f64; 2]; 2]>,
    /// Points through which edges run.
    pub hints: Vec<ShownPoint>,
    /// Stretches that are hidden.
    pub hidden: Vec<Struck>,
    /// Rows `[station, mm]` of the seat's lift; not known where empty.
    pub seat_lift: Vec<[f64; 2]>,
    /// The same of the channel's.
    pub channel_lift: Vec<[f64; 2]>,
    /// Length of the card's bar as measured; printed true where null.
    pub bar_mm: Option<f64>,
    /// Whether a bank card lies in the frame on the card.
    pub bank_card: bool,
    /// Other photos on the desk of the same saddle, left beside its card where it was: all are measured together.
    pub with: Vec<u64>,
    /// A lens file in the shelf's folder by its name; where null that of the photo's camera, with [`NO_LENS`] none.
    pub lens: Option<String>,
}

/// The wish to measure without a lens file.
pub const NO_LENS: &str = "none";

/// A point through which an edge runs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShownPoint {
    /// Of which pair of edges.
    pub part: Part,
    /// Where.
    pub px: [f64; 2],
}

/// A hidden stretch of an edge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Struck {
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
    /// Whether both say the same to the walk: they may differ in name and remark.
    pub fn measures_as(&self, other: &Self) -> bool {
        let Self {
            view,
            ends,
            hints,
            hidden,
            seat_lift,
            channel_lift,
            bar_mm,
            bank_card,
            with,
            lens,
            name: _,
            note: _,
        } = self;
        (view, ends, hints) == (&other.view, &other.ends, &other.hints)
            && (hidden, seat_lift, channel_lift) == (&other.hidden, &other.seat_lift, &other.channel_lift)
            && (bar_mm, bank_card, with, lens) == (&other.bar_mm, &other.bank_card, &other.with, &other.lens)
    }

    /// What is asked of another photo that is measured together with this one: its own ends, corrections and lens, with what is
    /// said here of saddle and card.
    pub fn beside(&self, other: &Self) -> Self {
        Self {
            view: self.view.or(other.view),
            seat_lift: self.seat_lift.clone(),
            channel_lift: self.channel_lift.clone(),
            bar_mm: self.bar_mm,
            bank_card: self.bank_card,
            with: Vec::new(),
            ..other.clone()
        }
    }

    /// What tells the scale of the printed card.
    ///
    /// # Errors
    /// Where it is told twice, or the bar is of no length that a print has.
    pub fn scale_by(&self) -> Result<ScaleBy, Trouble> {
        match (bar(self.bar_mm)?, self.bank_card) {
            (Some(_), true) => Err(nonsense(
                "the bar's length and a bank card would both tell the scale of the print",
                "clear the one or the other",
            )),
            (Some(mm), false) => Ok(ScaleBy::Bar(mm)),
            (None, true) => Ok(ScaleBy::BankCard),
            (None, false) => Ok(ScaleBy::Printer),
        }
    }

    /// The request to the pipeline. `near` is where the saddle was found before.
    ///
    /// # Errors
    /// Where something makes no sense, with what to do.
    pub fn request(
        &self,
        near: Option<(View, [PhotoPoint; 2])>,
        lens: ChosenLens,
    ) -> Result<Request, Trouble> {
        let point = |[x, y]: [f64; 2]| PhotoPoint::new(x, y);
        if self.hints.len() > MOST_ROWS || self.hidden.len() > MOST_ROWS {
            return Err(nonsense("there are more corrections than a photo can have", "undo some"));
        }
        if self.hidden.iter().any(|s| !(s.from < s.to)) {
            return Err(nonsense("a stretch ends before it begins", "strike it out again"));
        }
        let hidden = |s: &Struck| HiddenStretch { part: s.part, side: s.side, from: s.from, to: s.to };
        Ok(Request {
            name: self.name.clone(),
            view: self.view,
            ends: self.ends.map(|ends| ends.map(point)),
            hints: self.hints.iter().map(|h| Hint { part: h.part, pixel: point(h.px) }).collect(),
            hidden: self.hidden.iter().map(hidden).collect(),
            near,
            seat_lift: profile("seat", &self.seat_lift)?,
            channel_lift: profile("channel", &self.channel_lift)?,
            lens,
            scale_by: self.scale_by()?,
        })
    }
}

/// What was said of a photo, and of those that are measured together with it.
#[derive(Debug, Clone)]
pub struct Told {
    /// Of the photo.
    pub own: Edits,
    /// Of each of the others, as this measurement takes it.
    pub others: Vec<Edits>,
}

impl Told {
    /// Whether the ends were found in every photo.
    pub fn nothing_shown(&self) -> bool {
        std::iter::once(&self.own).chain(&self.others).all(|edits| edits.ends.is_none())
    }

    /// Whether both say the same to the walk.
    pub fn measures_as(&self, other: &Self) -> bool {
        let others = self.others.iter().zip(&other.others);
        self.own.measures_as(&other.own) && others.into_iter().all(|(a, b)| a.measures_as(b))
    }
}

fn nonsense(text: impl Into<String>, hint: &str) -> Trouble {
    Trouble::new(422, text, hint)
}

fn profile(part: &str, rows: &[[f64; 2]]) -> Result<Option<LiftProfile>, Trouble> {
    if rows.is_empty() {
        return Ok(None);
    }
    if rows.len() > MOST_ROWS {
        return Err(nonsense(format!("the {part}'s lift has too many rows"), "give five places"));
    }
    let mut points: Vec<(f64, f64)> = rows.iter().map(|r| (r[0], r[1])).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    LiftProfile::measured(points).map(Some).ok_or_else(|| {
        nonsense(
            format!("the {part}'s lift cannot be so"),
            "give each place once, from 0 (front) to 1 (rear), with its height in millimetres",
        )
    })
}

fn bar(bar_mm: Option<f64>) -> Result<Option<f64>, Trouble> {
    match bar_mm {
        Some(mm) if !is_bar(mm) => Err(nonsense(
            format!("the card's bar cannot be {mm} mm long"),
            "measure it with a ruler: it is 150 mm when it was printed true",
        )),
        other => Ok(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lift_out_of_order_is_put_in_order() {
        let edits = Edits { seat_lift: vec![[1.0, 68.0], [0.0, 44.0]], ..Edits::default() };
        let lift = edits.request(None, ChosenLens::default()).unwrap().seat_lift.unwrap();
        assert_eq!(lift.points(), [(0.0, 44.0), (1.0, 68.0)]);
    }

    #[test]
    fn nonsense_is_told_and_not_measured() {
        let twice = Edits { seat_lift: vec![[0.5, 1.0], [0.5, 2.0]], ..Edits::default() };
        let cases = [
            (twice, "lift"),
            (Edits { bar_mm: Some(15.0), ..Edits::default() }, "bar"),
            (Edits { bar_mm: Some(f64::NAN), ..Edits::default() }, "bar"),
            (Edits { bar_mm: Some(149.0), bank_card: true, ..Edits::default() }, "bank card"),
        ];
        for (edits, word) in cases {
            let told = format!("{:?}", edits.request(None, ChosenLens::default()).unwrap_err());
            assert!(told.contains(word), "{told}");
        }
    }

    #[test]
    fn another_photo_keeps_its_corrections_and_takes_what_is_said_of_the_saddle() {
        let struck = Struck { part: Part::Seat, side: Side::Left, from: 0.2, to: 0.3 };
        let other = Edits { hidden: vec![struck], seat_lift: vec![[0.5, 99.0]], ..Edits::default() };
        let own = Edits {
            seat_lift: vec![[0.5, 12.0]],
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
    fn what_was_said_of_another_photo_counts_too() {
        let told = |bar_mm| Told {
            own: Edits { with: vec![2], ..Edits::default() },
            others: vec![Edits { bar_mm, ..Edits::default() }],
        };
        assert!(told(None).measures_as(&told(None)));
        assert!(!told(None).measures_as(&told(Some(149.0))));
    }
}
