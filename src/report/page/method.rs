//! How a saddle was measured, and from which files.

use super::document::{Block, Section};
use super::single::ReportSubject;
use crate::numeric::words::View;
use crate::report::words::{self, unbroken, with_minus};
use crate::sheet::{Level, LevelSource, Lift, LiftSource, MidlineSource, Sheet, Software};
use crate::width::COVERAGE;

const METHOD: &str = "The printed card gives the scale and the camera’s position. The edges are traced in the photo; \
    each line of sight is cut at the height of the edge over the card, and widths are measured level, at right angles to \
    the midline from the front end to the rear end. The 95 % uncertainty follows JCGM 100 (GUM) with a coverage factor \
    of 1.96 or, by the degrees of freedom, a little more: the width that a level caliper shows is meant to lie within \
    it in about 95 of 100 cases.";

/// The facts of the measurement.
pub fn method(sheet: &Sheet) -> Section {
    let mut items: Vec<[String; 2]> = Vec::new();
    let mut fact = |word: &str, is: String| items.push([word.into(), is]);
    let count = sheet.photos.len();
    for (i, photo) in sheet.photos.iter().enumerate() {
        let camera = photo.camera.as_ref().map_or(String::new(), |c| format!(", {c}"));
        let taken =
            photo.taken.as_ref().map_or(String::new(), |t| format!(", taken {}", t.replace('T', " ")));
        let is = format!("{}, {} × {} px{camera}{taken}", photo.file, photo.width_px, photo.height_px);
        fact(&numbered("Photo", i, count), is);
    }
    // A sheet keeps the camera and the cards of its first photo.
    let of_which = if count > 1 { " (in the first photo)" } else { "" };
    for (i, card) in sheet.cards.iter().enumerate() {
        let (scale, rms) = (words::printed_at(card), card.rms_px);
        let is = format!("{} {}: {} tags, fits to {rms:.2} px{scale}", card.pattern, card.copy, card.tags);
        fact(&numbered("Reference card", i, sheet.cards.len()), is + of_which);
    }
    if let Some(c) = &sheet.camera {
        let place = format!("{:.0} mm above the card, tilted {:.1}°", c.height_mm, c.tilt_deg);
        let (focal, u95, source) = (c.focal_px, COVERAGE * c.focal_u_px, c.focal_source.in_words());
        fact("Camera", format!("{place}; focal length {focal:.0} ± {u95:.0} px, {source}{of_which}"));
    }
    if let Some(m) = &sheet.midline {
        let source = match m.source {
            MidlineSource::Given => "its ends were given by hand",
            MidlineSource::Found if count > 1 => "found in the photos",
            MidlineSource::Found => "found in the photo",
        };
        fact("Midline", format!("{:.1} mm long; {source}", m.length_mm));
    }
    fact("Level", level(sheet.level.as_ref()));
    match sheet.hints.len() {
        0 => {}
        1 => fact("Edges", "traced through a point shown by hand".into()),
        points => fact("Edges", format!("traced through {points} points shown by hand")),
    }
    for stretch in &sheet.hidden {
        fact("Left out by hand", stretch.in_words());
    }
    if let Some(lift) = &sheet.lift {
        fact("Heights of the seat", heights(lift, lift.seat.as_deref(), lift.seat_u.as_deref()));
        if lift.channel.is_some() || sheet.view == Some(View::Underside) {
            let is = heights(lift, lift.channel.as_deref(), lift.channel_u.as_deref());
            fact("Heights of the channel", is);
        }
    }
    Section::new("method", "How it was measured", vec![Block::Text(METHOD.into()), Block::Facts(items)])
}

/// What was assumed or found of how level card and saddle are.
fn level(level: Option<&Level>) -> String {
    // Limits of a rectangular distribution.
    let limit = |u_deg: f64| format!("{:.1}°", 3f64.sqrt() * u_deg);
    let allowed = "; the uncertainty allows for that";
    match level {
        Some(Level { lean_deg: Some(deg), lean_u_deg: Some(u_deg), .. }) => {
            let side = if *deg < 0.0 { "right" } else { "left" };
            let (deg, u95) = (deg.abs(), COVERAGE * u_deg);
            format!("the photos show the saddle’s {side} side higher over the card by {deg:.1} ± {u95:.1}°")
        }
        Some(level) => {
            let card = match level.source {
                LevelSource::Cards => "the cards together are taken to be level to",
                _ => "the card is assumed level to",
            };
            let (card_to, saddle_to) = (limit(level.card_u_deg), limit(level.saddle_u_deg));
            format!("{card} {card_to}, the saddle to {saddle_to} across its midline{allowed}")
        }
        None => format!("the card is assumed level to 1°, the saddle to 1.3° across its midline{allowed}"),
    }
}

/// A word before a fact, with its number where there are several.
fn numbered(word: &str, i: usize, count: usize) -> String {
    if count > 1 { format!("{word} {}", i + 1) } else { word.to_owned() }
}

/// Heights over the card at their stations with, where it is kept, their 95 % uncertainty, and their source.
fn heights(lift: &Lift, rows: Option<&[[f64; 2]]>, us: Option<&[f64]>) -> String {
    let unknown = "not known, and allowed for in the uncertainty";
    let source = match lift.source {
        LiftSource::Given => "measured by hand",
        LiftSource::Photos => "from the photos",
        LiftSource::Assumed => unknown,
    };
    let Some(rows) = rows else { return unknown.into() };
    let height = |(i, [at, mm]): (usize, &[f64; 2])| match us.and_then(|us| us.get(i)) {
        Some(u) => format!("{mm:.0} ± {:.0} mm at\u{a0}{at:.2}", COVERAGE * u),
        None => format!("{mm:.0} mm at\u{a0}{at:.2}"),
    };
    let heights: Vec<String> = rows.iter().enumerate().map(height).collect();
    let sure = if us.is_some() { "; ± is the 95 % uncertainty" } else { "" };
    unbroken(&with_minus(&format!("{} (over the card, {source}{sure})", heights.join(", "))))
}

/// What identifies the files and the program.
pub fn trace(subjects: &[ReportSubject]) -> Section {
    let program = |s: &Software| format!("{} {}", s.name, s.version);
    let mut items = vec![["Report by".to_owned(), program(&Software::this())]];
    for subject in subjects {
        trace_of(subject, program, &mut items);
    }
    Section::new("trace", "Files", vec![Block::Facts(items)])
}

fn trace_of(subject: &ReportSubject, program: impl Fn(&Software) -> String, items: &mut Vec<[String; 2]>) {
    let sheet = subject.sheet;
    items.extend(sheet.software.as_ref().map(|s| ["Measured by".to_owned(), program(s)]));
    items.push(["Sheet".into(), format!("{} ({})", subject.file, sheet.schema)]);
    items.push(["SHA-256 of the sheet".into(), subject.sha256.clone()]);
    for (i, photo) in sheet.photos.iter().enumerate() {
        let word = numbered("Photo", i, sheet.photos.len());
        let hash = format!("SHA-256 of {}", word.to_lowercase());
        items.extend([[word, photo.file.clone()], [hash, photo.sha256.clone()]]);
    }
}
