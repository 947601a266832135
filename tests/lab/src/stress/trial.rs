//! One synthetic photo, measured and compared with its truth.

use std::sync::Arc;

use serde::Serialize;

use super::conditions::{Condition, conditions};
use crate::synth::{self, Drawn, Truth};
use seatspan::numeric::frame::PhotoPoint;
use seatspan::numeric::words::View;
use seatspan::outline::lift::LiftProfile;
use seatspan::photo::{Photo, PhotoError};
use seatspan::pipeline::Request;
use seatspan::record::{measure, record_together};
use seatspan::refusal::{Refusal, RefusalCode};
use seatspan::sheet::Sheet;
use seatspan::sheet::geometry::OverlayGeometry;
use seatspan::together::measure_together;

/// What is given beside the photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Aim {
    /// View, ends (or those of the object in the saddle's place) and lifts.
    Given,
    /// View and ends.
    Unlifted,
    /// The lifts.
    Found,
    /// A second photo from another side.
    Pair,
}

impl Aim {
    /// What is given, in words.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Given => "view, ends and lifts given",
            Self::Unlifted => "view and ends given, lifts unknown",
            Self::Found => "lifts given",
            Self::Pair => "two photos of each saddle and nothing given",
        }
    }
}

/// Result for one seed.
#[derive(Debug, Clone, Serialize)]
pub struct Trial {
    /// The seed.
    pub seed: u64,
    /// Its name.
    pub name: String,
    /// Whether there is a whole saddle.
    pub to_measure: bool,
    /// Its conditions.
    pub conditions: Vec<Condition>,
    /// The outcome.
    pub outcome: Outcome,
}

/// Outcome of a photo.
#[derive(Debug, Clone, Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Outcome {
    /// It was measured.
    Measured {
        /// Named widths against the truth; empty without a saddle.
        named: Vec<Compared>,
        /// Widths at the set stations.
        stations: Vec<Compared>,
        /// Named widths of the saddle that were not given.
        missing: Vec<&'static str>,
    },
    /// It was refused.
    Refused {
        /// Why.
        code: RefusalCode,
        /// In words.
        text: String,
    },
}

/// A width compared with its truth.
#[derive(Debug, Clone, Serialize)]
pub struct Compared {
    /// Its name, or its part at a station.
    pub name: String,
    /// Its station.
    pub at: f64,
    /// Measured width minus truth, mm.
    pub error_mm: f64,
    /// Stated uncertainty, mm.
    pub u95_mm: f64,
    /// Whether one of its edges is hidden.
    pub hidden: bool,
}

impl Compared {
    /// Whether the truth is outside the stated uncertainty, also when the error is not a number.
    pub fn is_outside(&self) -> bool {
        !(self.error_mm.abs() <= self.u95_mm)
    }
}

/// A trial with its files.
pub struct Tried {
    /// The trial.
    pub trial: Trial,
    /// The rendered photo and its truth.
    pub drawn: Drawn,
    /// The decoded photo, unless refused.
    pub photo: Option<Arc<Photo>>,
    /// Sheet and overlay geometry, if measured.
    pub measured: Option<(Sheet, OverlayGeometry)>,
}

/// Renders the photo of a seed, or its two photos, and measures it.
///
/// # Errors
/// A failure to render or to read; a refusal is an outcome.
pub fn attempt(seed: u64, aim: Aim) -> anyhow::Result<Tried> {
    let scenarios = match aim {
        Aim::Pair => synth::random_pair(seed).to_vec(),
        Aim::Given | Aim::Unlifted | Aim::Found => vec![synth::random(seed)],
    };
    let mut drawn = scenarios.iter().map(synth::draw).collect::<Result<Vec<Drawn>, _>>()?;
    let read = drawn
        .iter()
        .map(|d| Photo::from_bytes(format!("{}.{}", d.truth.name, d.extension()), d.bytes.clone()));
    let photos = match read.map(|photo| photo.map(Arc::new)).collect::<Result<Vec<_>, PhotoError>>() {
        Ok(photos) => Ok(photos),
        Err(PhotoError::Refused(refusal)) => Err(refusal),
        Err(PhotoError::Io(error)) => return Err(error.into()),
    };
    let truth = &drawn[0].truth;
    let result = photos.as_ref().map_err(Refusal::clone).and_then(|photos| measured(photos, truth, aim));
    let outcome = match &result {
        Ok((sheet, _)) => compared(truth, sheet),
        Err(refusal) => Outcome::Refused { code: refusal.code, text: refusal.text.clone() },
    };
    let trial = Trial {
        seed,
        name: truth.name.clone(),
        to_measure: truth.expect == "measure",
        conditions: conditions(&scenarios[0], truth),
        outcome,
    };
    let photo = photos.ok().map(|mut photos| photos.swap_remove(0));
    Ok(Tried { trial, drawn: drawn.swap_remove(0), photo, measured: result.ok() })
}

/// Sheet of a photo or a pair, and the overlay geometry in the first photo.
fn measured(photos: &[Arc<Photo>], truth: &Truth, aim: Aim) -> Result<(Sheet, OverlayGeometry), Refusal> {
    let request = request(truth, aim);
    if aim != Aim::Pair {
        return measure(photos[0].clone(), &request);
    }
    let requests = vec![request; photos.len()];
    let together = measure_together(photos, &requests)?;
    let (sheet, mut geometries) = record_together(&requests, &together);
    Ok((sheet, geometries.swap_remove(0)))
}

/// The request for an aim.
fn request(truth: &Truth, aim: Aim) -> Request {
    // A person points to a tenth of a pixel at best.
    let point = |p: [f64; 2]| {
        let [x, y] = p.map(|v| (v * 10.0).round() / 10.0);
        PhotoPoint::new(x, y)
    };
    let view = truth.view.unwrap_or(View::Top);
    let lift = |part: &str| -> Option<LiftProfile> {
        truth
            .lifts
            .iter()
            .filter(|_| matches!(aim, Aim::Given | Aim::Found))
            .find(|l| l.0 == part)
            .and_then(|l| l.1.parse().ok())
    };
    let given = matches!(aim, Aim::Given | Aim::Unlifted);
    Request {
        name: truth.name.clone(),
        view: given.then_some(view),
        ends: given.then(|| truth.pointed_px.map(point)),
        seat_lift: lift("seat"),
        channel_lift: lift("channel"),
        ..Request::default()
    }
}

fn compared(truth: &Truth, sheet: &Sheet) -> Outcome {
    let hidden = |name: &str, at: f64| {
        let part = name.split('.').next().unwrap_or(name);
        truth.hidden.iter().any(|h| h.part == part && (h.from..=h.to).contains(&at))
    };
    let one = |name: &str, at: f64, mm: f64, truth_mm: f64, u95_mm: f64| Compared {
        name: name.to_owned(),
        at,
        error_mm: mm - truth_mm,
        u95_mm,
        hidden: hidden(name, at),
    };
    let mut missing = Vec::new();
    let mut named = Vec::new();
    for t in &truth.named {
        match t.name.parse().ok().and_then(|name| sheet.width(name)) {
            Some(w) => named.push(one(t.name, t.at, w.mm, t.mm, w.u95)),
            None => missing.push(t.name),
        }
    }
    let mut stations = Vec::new();
    for s in &sheet.stations {
        let Some(t) = truth.stations.iter().find(|t| (t.at - s.at).abs() < 1e-6) else { continue };
        stations.extend(s.seat.as_ref().map(|w| one("seat", t.at, w.mm, t.seat_mm, w.u95)));
        if let (Some(w), Some(mm)) = (&s.channel, t.channel_mm) {
            stations.push(one("channel", t.at, w.mm, mm, w.u95));
        }
    }
    Outcome::Measured { named, stations, missing }
}
