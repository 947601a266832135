//! JSON of a measured photo for the page: its figures and its lines. Nothing is computed here.

use serde_json::{Value, json};

use crate::instruction::on_desk;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::NamedWidth;
use crate::record::is_poorly_known;
use crate::report::text::lifts_shown;
use crate::report::units::{MM_PER_INCH, half_width};
use crate::report::words::{better, taper, width};
use crate::sheet::geometry::OverlayGeometry;
use crate::sheet::{EdgePair, EdgePairPx, LiftSource, Part, Sheet};
use crate::width::COVERAGE;

fn at(p: PhotoPoint) -> [f64; 2] {
    [rounded(p.x_px), rounded(p.y_px)]
}

/// A tenth of a pixel is finer than any screen.
fn rounded(px: f64) -> f64 {
    (px * 10.0).round() / 10.0
}

fn points(line: &[PhotoPoint]) -> Vec<[f64; 2]> {
    line.iter().copied().map(at).collect()
}

/// The lines to draw over the photo.
pub fn drawing(sheet: &Sheet, geometry: &OverlayGeometry) -> Value {
    let line = |ends: &[PhotoPoint; 2]| ends.map(at);
    let edge = |e: &crate::sheet::geometry::EdgeLine| json!({ "part": e.part, "side": e.side, "points": points(&e.points) });
    json!({
        "cards": geometry.cards.iter().map(|c| json!({
            "outline": points(&c.outline),
            "tags": c.tags.iter().map(|t| points(t)).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "midline": geometry.midline.as_ref().map(line),
        "stations": geometry.stations.iter().map(|s| json!({ "at": s.at, "ends": line(&s.ends) })).collect::<Vec<_>>(),
        "named": geometry.named.iter().map(|n| json!({ "name": n.name, "ends": line(&n.ends) })).collect::<Vec<_>>(),
        "edges": geometry.edges.iter().map(edge).collect::<Vec<_>>(),
        "doubts": geometry.doubts.iter().map(|d| points(&d.rival)).collect::<Vec<_>>(),
        "traced": traced(sheet),
    })
}

/// Every traced point with its station, so that clicks can delimit a stretch.
fn traced(sheet: &Sheet) -> Vec<Value> {
    let (Some(mm), Some(px)) = (&sheet.edges, &sheet.edges_px) else { return Vec::new() };
    let parts = [(Part::Seat, &mm.seat, &px.seat), (Part::Channel, &mm.channel, &px.channel)];
    let of = |(part, mm, px): (Part, &Option<EdgePair>, &Option<EdgePairPx>)| {
        let (Some(mm), Some(px)) = (mm, px) else { return Vec::new() };
        let side = |name: &str, rows: &[[f64; 3]], px: &[[f64; 2]]| {
            let points: Vec<_> =
                rows.iter().zip(px).map(|(row, [x, y])| [rounded(*x), rounded(*y), row[0]]).collect();
            json!({ "part": part, "side": name, "points": points })
        };
        vec![side("left", &mm.left, &px.left), side("right", &mm.right, &px.right)]
    };
    parts.into_iter().flat_map(of).collect()
}

/// A length in both units, rounded as in every report.
pub fn shown(mm: f64, u95: f64) -> Value {
    json!({
        "mm": format!("{mm:.1}"),
        "mm_u95": half_width(u95, 1),
        "in": format!("{:.2}", mm / MM_PER_INCH),
        "in_u95": half_width(u95 / MM_PER_INCH, 2),
    })
}

/// The photos measured together and the heights found from them; null for a single photo.
fn together(sheet: &Sheet) -> Value {
    let Some(lift) = sheet.lift.as_ref().filter(|l| l.source == LiftSource::Photos) else {
        return Value::Null;
    };
    let lifts = [
        heights_from_photos(Part::Seat, lift.seat.as_deref(), lift.seat_u.as_deref()),
        heights_from_photos(Part::Channel, lift.channel.as_deref(), lift.channel_u.as_deref()),
    ];
    json!({
        "photos": sheet.photos.iter().map(|p| &p.file).collect::<Vec<_>>(),
        "lifts": lifts.into_iter().flatten().collect::<Vec<_>>(),
    })
}

/// Some heights of a part's edges, with their uncertainty.
fn heights_from_photos(part: Part, rows: Option<&[[f64; 2]]>, us: Option<&[f64]>) -> Option<Value> {
    let row = |([at, mm], u): ([f64; 2], f64)| json!({ "at": format!("{at:.2}"), "shown": shown(mm, COVERAGE * u), "uncertain": is_poorly_known(u) });
    let rows: Vec<_> = lifts_shown(rows?, us?).map(row).collect();
    Some(json!({ "part": part, "rows": rows }))
}

/// The sheet's findings as the page shows them: figures rounded as in every report, codes in words.
pub fn findings(sheet: &Sheet) -> Value {
    let budget = |of: NamedWidth| {
        let mut lines: Vec<_> = sheet.budget.iter().filter(|l| l.of == of).collect();
        lines.sort_by(|a, b| b.u.total_cmp(&a.u));
        let largest = lines.into_iter().take(4).map(
            |l| json!({ "from": l.from.in_words(), "better": better(l.from), "u_mm": format!("{:.2}", l.u) }),
        );
        largest.collect::<Vec<_>>()
    };
    json!({
        "view": sheet.view,
        "widths": sheet.widths.iter().map(|w| json!({
            "name": w.name,
            "label": width(sheet.view, w.name),
            "at": format!("{:.2}", w.at),
            "shown": shown(w.mm, w.u95),
            "mm": w.mm,
            "u95": w.u95,
            "budget": budget(w.name),
        })).collect::<Vec<_>>(),
        "stations": sheet.stations.iter().map(|s| json!({
            "at": format!("{:.2}", s.at),
            "seat": s.seat.as_ref().map(|w| shown(w.mm, w.u95)),
            "channel": s.channel.as_ref().map(|w| shown(w.mm, w.u95)),
        })).collect::<Vec<_>>(),
        "taper": sheet.front_taper.as_ref().map(|t| json!({
            "deg": format!("{:.1}", t.deg), "u95": half_width(t.u95, 1), "words": taper(t.deg, t.u95),
        })),
        "midline": sheet.midline.as_ref().map(|m| json!({ "length_mm": m.length_mm, "source": m.source })),
        "lift_known": sheet.lift.as_ref().is_some_and(|l| l.seat.is_some()),
        "together": together(sheet),
        "camera": sheet.camera.as_ref().map(|c| json!({
            "height_mm": c.height_mm, "tilt_deg": c.tilt_deg,
        })),
        "cards": sheet.cards,
        "doubts": sheet.doubts,
        "hidden": sheet.hidden.iter().map(|h| h.in_words()).collect::<Vec<_>>(),
        "hints": sheet.hints.len(),
        "warnings": sheet.warnings.iter().map(|w| json!({
            "code": w.code, "text": sheet.warning_text(w), "hint": on_desk(&w.hint),
        })).collect::<Vec<_>>(),
    })
}
