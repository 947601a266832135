//! The page of strips: several to a page, each another copy, with lines to cut along.

use super::card::{bar, tag_margin_mm, tags};
use super::{BLACK, black, letters};
use crate::canvas::{Anchor, Canvas, Paper, Stroke};
use crate::card::pattern::Pattern;

/// White around a strip's pattern on the cut strip, mm: more than a module of its tags.
const WHITE_MM: f64 = 7.0;
/// Height of the band over the strips, mm, and of the border below them.
const HEAD_MM: f64 = 24.0;
const FOOT_MM: f64 = 6.0;
const CUT: Stroke = Stroke::dashed(BLACK, 0.2, &[3.0, 2.0]);

/// The strips from a copy on, as many as fit on the page and as there are.
pub(super) fn strips_page(pattern: &Pattern, first: u32, paper: Paper) -> Canvas {
    let [height, width] = paper.size_mm();
    let pitch = pattern.height_mm + 2.0 * WHITE_MM;
    let rows = ((height - HEAD_MM - FOOT_MM) / pitch).floor() as u32;
    let copies: Vec<u32> = (first..pattern.copies).take(rows as usize).collect();
    let last = copies.last().copied().unwrap_or(first);
    let label = format!("seatspan reference strips, copies {first} to {last}, {}", paper.name());
    let mut page = Canvas::new([width, height], label);
    let left = (width - pattern.width_mm) / 2.0 - WHITE_MM;
    let right = width - left;
    draw_head(&mut page, left, right);
    let top = |row: usize| HEAD_MM + pitch * row as f64;
    for (row, copy) in copies.iter().enumerate() {
        page.place(&strip(pattern, *copy), [left + WHITE_MM, top(row) + WHITE_MM]);
    }
    for row in 0..=copies.len() {
        page.line("cut", [[left, top(row)], [right, top(row)]], CUT);
    }
    for x in [left, right] {
        page.line("cut", [[x, HEAD_MM], [x, top(copies.len())]], CUT);
    }
    page
}

fn draw_head(page: &mut Canvas, left: f64, right: f64) {
    page.place(&bar(), [left, 8.5]);
    let texts = [
        "Print at actual size (100 %) and check the bar with a ruler.",
        "Cut along the dashed lines; keep the white around the tags.",
        "Glue each strip to something flat and stiff. Lay it level, as",
        "high as the edges of the seat. No two alike in one photo.",
    ];
    for (i, text) in texts.into_iter().enumerate() {
        page.text([right, 9.6 + 3.9 * i as f64], Anchor::End, text, letters(2.9));
    }
}

/// The tags of a copy with labels between them.
fn strip(pattern: &Pattern, copy: u32) -> Canvas {
    let mut strip = tags(pattern, copy);
    let gap = |pair: &[crate::card::pattern::TagPlace]| {
        let margin = tag_margin_mm(pair[0].side_mm) + 0.3;
        [pair[0].x_mm + pair[0].side_mm + margin, pair[1].x_mm - margin]
    };
    let gaps: Vec<[f64; 2]> = pattern.tags.windows(2).map(gap).collect();
    let side_mm = pattern.tags.first().map_or(0.0, |t| t.side_mm);
    let ids = [0, pattern.tags.len() - 1].map(|index| pattern.tag_id(copy, index));
    for (gap, y, text) in [
        (0, 9.0, format!("card {}", pattern.name)),
        (0, 13.0, format!("copy {copy}")),
        (0, 20.0, "tags".into()),
        (0, 24.0, format!("{} to {}", ids[0], ids[1])),
        (1, 9.0, "Saddle".into()),
        (2, 9.0, "Date".into()),
        (3, 9.0, "black squares".into()),
        (3, 13.0, format!("{side_mm:.1} mm")),
    ] {
        if let Some([from, to]) = gaps.get(gap) {
            strip.text([(from + to) / 2.0, y], Anchor::Middle, text, letters(2.3));
        }
    }
    for [from, to] in gaps.into_iter().skip(1).take(2) {
        for y in [17.0, 25.0] {
            strip.line("blank", [[from, y], [to, y]], black(0.2));
        }
    }
    strip
}
