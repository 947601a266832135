//! What was asked, exactly as it was given.

use crate::camera::print_scale::ScaleBy;
use crate::outline::lift::LiftProfile;
use crate::pipeline::Request;
use crate::sheet::{Asked, AskedHeights, AskedHint, AskedOfPhoto, AskedScale};

/// The requests for the photos of one sheet, which differ in ends, corrections and lens.
pub fn asked(requests: &[Request]) -> Asked {
    let Some(first) = requests.first() else { return Asked::default() };
    let rows = |lift: &Option<LiftProfile>| lift.as_ref().map(super::lift_rows);
    Asked {
        view: first.view,
        heights: AskedHeights { seat: rows(&first.seat_lift), channel: rows(&first.channel_lift) },
        scale: match first.scale_by {
            ScaleBy::Printer => AskedScale::Printer,
            ScaleBy::Bar(mm) => AskedScale::Bar { mm },
            ScaleBy::BankCard => AskedScale::BankCard,
        },
        photos: requests.iter().map(of_photo).collect(),
    }
}

fn of_photo(request: &Request) -> AskedOfPhoto {
    let hints = request.hints.iter();
    AskedOfPhoto {
        ends_px: request.ends.map(|ends| ends.map(|p| [p.x_px, p.y_px])),
        hints: hints
            .map(|h| AskedHint { part: h.part, px: [h.pixel.x_px, h.pixel.y_px], zoom: None })
            .collect(),
        hidden: request.hidden.iter().map(super::hidden).collect(),
        lens_sha256: request.lens.sha256.clone(),
    }
}
