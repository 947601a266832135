//! A sheet as a short table for the terminal.

use super::units::{Units, half_width};
use super::words::{self, plain};
use crate::sheet::{LiftSource, Sheet, StationWidth, Width};
use crate::width::COVERAGE;
use std::fmt::Write;

/// What the table shows.
#[derive(Debug, Clone, Copy, Default)]
pub struct TextOptions {
    /// Which unit comes first.
    pub units: Units,
    /// Whether the widths at the set stations are listed too.
    pub stations: bool,
}

/// The cautions below every table.
pub const CAUTIONS: &str = "\
Widths from a photo help a qualified saddle fitter and do not replace one.
If riding hurts, numbs or makes you bleed, stop and see a doctor; if the horse's back is sore, call a vet.
Never ride on a broken tree.";

/// Column in which the value of a line begins.
const COLUMN: usize = 11;

/// The sheet in words, ending with a line break.
pub fn text(sheet: &Sheet, options: TextOptions) -> String {
    let mut out = String::new();
    head(sheet, &mut out);
    if let Some(refusal) = &sheet.refused {
        let _ = writeln!(out, "\nNot measured: {} [{}]", plain(&refusal.text), refusal.code.as_str());
        let _ = writeln!(out, "What to do:   {}", plain(&refusal.hint));
        return out;
    }
    heights(sheet, &mut out);
    widths(sheet, options.units, &mut out);
    if options.stations {
        stations(sheet, options.units, &mut out);
    }
    notes(sheet, &mut out);
    let _ = writeln!(out, "\n{CAUTIONS}");
    out
}

fn line(out: &mut String, key: &str, value: &str) {
    let _ = writeln!(out, "{key:COLUMN$}{}", plain(value));
}

/// Photo, camera and cards.
fn head(sheet: &Sheet, out: &mut String) {
    line(out, "saddle", &sheet.saddle.name);
    for photo in &sheet.photos {
        let size = match photo.width_px {
            0 => String::new(),
            width => format!(", {width} x {} px", photo.height_px),
        };
        line(out, "photo", &format!("{}{size}", photo.file));
    }
    if let Some(view) = sheet.view {
        line(out, "view", view.as_str());
    }
    if let Some(c) = &sheet.camera {
        let of = of_the_first_photo(sheet);
        let place = format!("{of}{:.0} mm above the card, tilted {:.1} deg", c.height_mm, c.tilt_deg);
        let focal = format!("focal length {:.0} ± {:.0} px", c.focal_px, COVERAGE * c.focal_u_px);
        line(out, "camera", &format!("{place}; {focal}, {}", c.focal_source.in_words()));
    }
    if !sheet.hints.is_empty() {
        let count = sheet.hints.len();
        let points = if count == 1 { "point" } else { "points" };
        line(out, "edges", &format!("traced through {count} {points} shown by hand"));
    }
    for stretch in &sheet.hidden {
        line(out, "left out", &format!("{} by hand", stretch.in_words()));
    }
    for card in &sheet.cards {
        let tags = if card.tags == 1 { "tag" } else { "tags" };
        let scale = words::printed_at(card);
        let card_is =
            format!("{} {}: {} {tags}, fits to {:.2} px", card.pattern, card.copy, card.tags, card.rms_px);
        line(out, "card", &format!("{}{card_is}{scale}", of_the_first_photo(sheet)));
    }
}

/// A sheet of several photos keeps the camera and the cards of the first.
fn of_the_first_photo(sheet: &Sheet) -> String {
    match sheet.photos.as_slice() {
        [first, .., _] => format!("of {}: ", first.file),
        _ => String::new(),
    }
}

/// Heights that were measured from several photos.
fn heights(sheet: &Sheet, out: &mut String) {
    let Some(lift) = sheet.lift.as_ref().filter(|l| l.source == LiftSource::Photos) else { return };
    for (part, rows, us) in [("seat", &lift.seat, &lift.seat_u), ("channel", &lift.channel, &lift.channel_u)]
    {
        let (Some(rows), Some(us)) = (rows, us) else { continue };
        let shown: Vec<String> = lifts_shown(rows, us)
            .map(|([at, mm], u)| format!("{at:.1}: {mm:.0} ± {:.0}", COVERAGE * u))
            .collect();
        line(
            out,
            "heights",
            &format!("of the {part} over the card, from the photos, mm: {}", shown.join(", ")),
        );
    }
}

/// The heights `[station, mm]` that are shown, each with its standard uncertainty, mm.
pub fn lifts_shown<'a>(rows: &'a [[f64; 2]], us: &'a [f64]) -> impl Iterator<Item = ([f64; 2], f64)> + 'a {
    let shown = |row: &[f64; 2]| LIFTS_SHOWN.iter().any(|s| (row[0] - s).abs() < 1e-6);
    rows.iter().copied().zip(us.iter().copied()).filter(move |(row, _)| shown(row))
}

/// Stations at which a height is shown.
const LIFTS_SHOWN: [f64; 5] = [0.0, 0.3, 0.5, 0.7, 1.0];

/// A stretch of an edge, by its stations.
pub fn stretch(stations: [f64; 2]) -> String {
    let [from, to] = stations.map(|at| format!("{:.2}", at.clamp(0.0, 1.0)));
    if from == to { format!("at {from}") } else { format!("from {from} to {to}") }
}

/// The uncertainty that the first of several cards or photos alone would have given.
fn gained(sheet: &Sheet, of: &str, alone_u95: fn(&Width) -> Option<f64>, out: &mut String) {
    let each = sheet.widths.iter().filter_map(|w| {
        let alone = alone_u95(w).filter(|alone| half_width(*alone, 1) != half_width(w.u95, 1))?;
        Some(format!("{} ± {}", words::code(sheet.view, w.name), half_width(alone, 1)))
    });
    let each: Vec<String> = each.collect();
    if !each.is_empty() {
        let _ = writeln!(out, "  with the first {of} alone: {} mm", each.join(", "));
    }
}

/// The named widths and the front taper.
fn widths(sheet: &Sheet, units: Units, out: &mut String) {
    out.push_str("\nwidths, with 95 % uncertainty\n");
    for w in &sheet.widths {
        let (first, second) = (units.first(w.mm, w.u95), units.second(w.mm));
        let _ = writeln!(
            out,
            "  {:18} {first:>17}  {second:>9}   at {:.2}",
            words::code(sheet.view, w.name),
            w.at
        );
    }
    gained(sheet, "card", |w| w.one_card_u95, out);
    gained(sheet, "photo", |w| w.one_photo_u95, out);
    if sheet.widths.is_empty() {
        out.push_str("  none could be measured\n");
    }
    if let Some(t) = &sheet.front_taper {
        let how = words::taper(t.deg, t.u95);
        let angle = format!("{:.1} ± {} deg", t.deg, half_width(t.u95, 1));
        let _ = writeln!(out, "  {:18} {angle:>17}  {how}", "front taper");
    }
}

/// The set stations: width, and the halves left and right of the midline.
fn stations(sheet: &Sheet, units: Units, out: &mut String) {
    let channel = sheet.stations.iter().any(|s| s.channel.is_some());
    let head = |part: &str| format!("{:>18}  {:>6} {:>6}", part, "left", "right");
    let _ = write!(
        out,
        "\nplaces (0 front, 1 rear; halves in mm)\n  {:>4}{}",
        "at",
        head(if channel { "panels" } else { "seat" })
    );
    out.push_str(&if channel { head("channel") + "\n" } else { "\n".into() });
    for s in &sheet.stations {
        let _ = write!(out, "  {:4.2}{}", s.at, station_width(s.seat.as_ref(), units));
        out.push_str(&if channel { station_width(s.channel.as_ref(), units) } else { String::new() });
        out.truncate(out.trim_end().len());
        out.push('\n');
    }
}

fn station_width(width: Option<&StationWidth>, units: Units) -> String {
    match width {
        Some(w) => format!("{:>18}  {:6.1} {:6.1}", units.first(w.mm, w.u95), w.left_half, w.right_half),
        None => format!("{:>18}  {:>6} {:>6}", "not traced", "-", "-"),
    }
}

/// Doubts and warnings with their hints.
fn notes(sheet: &Sheet, out: &mut String) {
    for d in &sheet.doubts {
        let place = format!("{} {} edge {}", d.part.as_str(), d.side.as_str(), stretch([d.from_at, d.to_at]));
        let side = if d.apart_mm < 0.0 { "inside" } else { "outside" };
        let share = 100.0 * d.probability;
        let _ = writeln!(
            out,
            "\ndoubt: {place}: a line {:.1} mm further {side} may be the edge ({share:.0} %).",
            d.apart_mm.abs()
        );
    }
    for w in &sheet.warnings {
        let _ = writeln!(out, "\nwarning: {} [{}]", plain(&sheet.warning_text(w)), plain(&w.code.as_str()));
        let _ = writeln!(out, "  {}", plain(&w.hint));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::refusal::{Refusal, RefusalCode};
    use crate::sheet::tests::sample;

    #[test]
    fn the_table_has_widths_warnings_and_cautions() {
        let table = text(&sample(), TextOptions { units: Units::Millimetres, stations: true });
        let expected = [
            "bracken.jpg, 4032 x 3024 px",
            "231.4 ± 1.8 mm    9.11 in   at 0.72",
            "14.1 ± 0.9 deg  widens toward the rear",
            "not traced",
            "channel left edge from 0.30 to 0.40: a line 9.0 mm further inside may be the edge (20 %)",
            "warning: The lift is not known. [lift-unknown]\n  Give it with --lift.",
            CAUTIONS,
        ];
        for part in expected {
            assert!(table.contains(part), "{part:?} in\n{table}");
        }
        assert!(!text(&sample(), TextOptions::default()).contains("places ("));
    }

    #[test]
    fn the_table_of_a_refused_photo_has_the_reason_and_no_width() {
        let mut sheet = sample();
        sheet.refused =
            Some(Refusal::new(RefusalCode::NoCard, "No card was found.", "Lay the card in the picture."));
        let table = text(&sheet, TextOptions::default());
        assert!(
            table.contains("No card was found. [no-card]") && table.contains("Lay the card in the picture.")
        );
        assert!(!table.contains("widest"));
    }

    #[test]
    fn a_name_cannot_control_the_terminal() {
        let mut sheet = sample();
        sheet.saddle.name = "a\u{1b}[2Jb".into();
        assert!(!text(&sheet, TextOptions::default()).contains('\u{1b}'));
    }
}
