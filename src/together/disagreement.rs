//! What differs between photos that contradict each other.

use crate::instruction::LOOK_AT_OVERLAY;
use crate::numeric::frame::PhotoPoint;
use crate::outline::bisect::half_widths_mm;
use crate::outline::find::{edges_in_horizontal, midline_at_lift};
use crate::outline::lift::LiftProfile;
use crate::pipeline::{Request, Traced};
use crate::refusal::{Refusal, RefusalCode};

/// An end of one midline is found to some millimetres in each photo: further apart are two places, or two lengths.
const END_APART_MM: f64 = 15.0;
/// Widths of one saddle, its edges a few centimetres higher or lower than assumed, differ by less between photos: 40 mm at a
/// distance of 1.2 m are 3 % of 230 mm.
const WIDTH_APART_MM: f64 = 8.0;
/// Stations at which widths are compared.
const STATIONS: [f64; 5] = [0.3, 0.4, 0.5, 0.6, 0.7];
/// Heights at which an end of the midline may be, mm over the card, lowest and highest, and how many are tried.
const HEIGHTS_MM: [f64; 2] = [-60.0, 120.0];
const HEIGHTS: usize = 37;

/// What two photos that contradict each other differ in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Difference {
    /// The saddle: it is longer or shorter, or broader.
    Saddle,
    /// Its place beside the card.
    Place,
    /// The course of an edge.
    Edge,
}

impl Difference {
    /// How one photo differs from another, whatever the heights of the edges. `None` where one has no midline, or halves that
    /// do not match: its lines show neither shape nor place.
    pub fn of(photo: &Traced, other: &Traced) -> Option<Self> {
        let matches = |traced: &Traced| traced.clone().measure_as_traced(&Request::default()).is_ok();
        if ![photo, other].into_iter().all(matches) {
            return None;
        }
        let [shape, others] = [Shape::of(photo)?, Shape::of(other)?];
        if (shape.length_mm - others.length_mm).abs() > END_APART_MM {
            return Some(Self::Saddle);
        }
        let (ends, other_ends) = (photo.midline_ends_px()?, other.midline_ends_px()?);
        let apart_mm = |i: usize| least_apart_mm([(photo, ends[i]), (other, other_ends[i])]);
        let moved = apart_mm(0)?.max(apart_mm(1)?) > END_APART_MM;
        let mut apart: Vec<f64> = shape
            .widths_mm
            .iter()
            .zip(&others.widths_mm)
            .filter_map(|(a, b)| Some((a.as_ref()? - b.as_ref()?).abs()))
            .collect();
        apart.sort_by(f64::total_cmp);
        // In one place all of them must differ, as a wrong line changes some.
        let decides = if moved { apart.get(apart.len() / 2) } else { apart.first() };
        if decides.is_some_and(|mm| *mm > WIDTH_APART_MM) {
            return Some(Self::Saddle);
        }
        Some(if moved { Self::Place } else { Self::Edge })
    }

    /// The refusal of one of several photos, by how it differs from the others.
    pub fn of_one(self) -> Refusal {
        let (text, hint) = match self {
            Self::Saddle => {
                ("it shows another saddle than the other photos", "measure photos of one saddle together")
            }
            Self::Place => (
                "the saddle is elsewhere beside the card than in the other photos: saddle or card was moved",
                "leave saddle and card in place between the photos",
            ),
            Self::Edge => {
                ("an edge that was traced in it contradicts the other photos", "take this photo again")
            }
        };
        Refusal::new(RefusalCode::PhotosDisagree, text, hint)
    }

    /// The refusal of all photos.
    pub fn of_all(of: Option<Self>) -> Refusal {
        let text = match of {
            Some(Self::Saddle) => "the photos show different saddles",
            Some(Self::Place) => "the photos do not agree: saddle or card was moved between them",
            Some(Self::Edge) => "the photos do not agree: an edge was traced along different lines",
            None => {
                "the photos do not agree: saddle or card was moved between them, or an edge was lost in one"
            }
        };
        let hint = format!(
            "measure each photo by itself and {LOOK_AT_OVERLAY}; leave saddle and card in place between photos"
        );
        Refusal::new(RefusalCode::PhotosDisagree, text, hint)
    }
}

/// Distance between an end of the midline in two photos, at the height at which they show it nearest together, mm.
fn least_apart_mm(seen: [(&Traced, PhotoPoint); 2]) -> Option<f64> {
    let [lowest, highest] = HEIGHTS_MM;
    let at = |i: usize| {
        let height_mm = lowest + (highest - lowest) * i as f64 / (HEIGHTS - 1) as f64;
        let shown = |(traced, pixel): (&Traced, PhotoPoint)| {
            Some(traced.located.fit.camera.card_from_photo(pixel, height_mm)?.horizontal())
        };
        Some((shown(seen[0])? - shown(seen[1])?).norm())
    };
    (0..HEIGHTS).filter_map(at).min_by(f64::total_cmp)
}

/// A saddle's length and its widths at the stations, in the card's plane.
struct Shape {
    length_mm: f64,
    widths_mm: [Option<f64>; STATIONS.len()],
}

impl Shape {
    fn of(traced: &Traced) -> Option<Self> {
        let (camera, seat, lift) = (&traced.located.fit.camera, &traced.outline.seat, LiftProfile::unknown());
        let midline = midline_at_lift(camera, &traced.midline, seat, &traced.seat_lift, &lift)?;
        let sides = edges_in_horizontal(camera, &midline, &lift, seat);
        let width =
            |station| half_widths_mm(&midline, &sides, station).map(|[left, right]| left.abs() + right.abs());
        Some(Self { length_mm: midline.length_mm(), widths_mm: STATIONS.map(width) })
    }
}
