//! The page of strips: several to a page, each another copy, with lines to cut along.

use super::card::{draw_bar, draw_tags};
use super::page::{Outline, Page, Spot, at};
use super::{Paper, Turned};
use crate::card::pattern::Pattern;

/// White about a strip's pattern on the cut strip, mm: more than a module of its tags.
const WHITE_MM: f64 = 7.0;
/// Height of the band over the strips, mm, and of the border below them.
const HEAD_MM: f64 = 24.0;
const FOOT_MM: f64 = 6.0;

/// The strips from a copy on, as many as go on the page and as there are.
pub(super) fn strips_page(pattern: &Pattern, first: u32, paper: Paper) -> Page {
    let mut page = Page::new(paper, Turned::Landscape, "");
    let pitch = pattern.height_mm + 2.0 * WHITE_MM;
    let rows = ((page.height_mm - HEAD_MM - FOOT_MM) / pitch).floor() as u32;
    let copies: Vec<u32> = (first..pattern.copies).take(rows as usize).collect();
    let last = copies.last().copied().unwrap_or(first);
    page.title = format!("seatspan reference strips, copies {first} to {last}, {}", paper.name());
    let left = (page.width_mm - pattern.width_mm) / 2.0 - WHITE_MM;
    let right = page.width_mm - left;
    draw_head(&mut page, left, right);
    for (row, copy) in copies.iter().enumerate() {
        let corner = at(left + WHITE_MM, HEAD_MM + WHITE_MM + pitch * row as f64);
        draw_tags(&mut page, pattern, *copy, corner);
        draw_labels(&mut page, pattern, *copy, corner);
    }
    let bottom = HEAD_MM + pitch * copies.len() as f64;
    for row in 0..=copies.len() {
        let y = HEAD_MM + pitch * row as f64;
        cut(&mut page, at(left, y), at(right, y));
    }
    cut(&mut page, at(left, HEAD_MM), at(left, bottom));
    cut(&mut page, at(right, HEAD_MM), at(right, bottom));
    page
}

fn cut(page: &mut Page, from: Spot, to: Spot) {
    page.dashed(Outline::line(&[from, to]), 0.2, [3.0, 2.0]);
}

fn draw_head(page: &mut Page, left: f64, right: f64) {
    draw_bar(page, at(left, 8.5), "this bar: 150 mm (5.91 in)");
    let texts = [
        "Print at actual size (100 %) and check the bar with a ruler.",
        "Cut along the dashed lines; keep the white about the tags.",
        "Glue each strip to something flat and stiff. Lay it level, as",
        "high as the edges of the seat. No two alike in one photo.",
    ];
    for (i, text) in texts.iter().enumerate() {
        page.text_up_to(text, at(right, 9.6 + 3.9 * i as f64), 2.9);
    }
}

/// What stands between the tags of a strip.
fn draw_labels(page: &mut Page, pattern: &Pattern, copy: u32, corner: Spot) {
    const SIZE_MM: f64 = 2.3;
    let gaps: Vec<(f64, f64)> = pattern
        .tags
        .windows(2)
        .map(|pair| {
            let margin = super::card::tag_margin_mm(pair[0].side_mm) + 0.3;
            (pair[0].x_mm + pair[0].side_mm + margin, pair[1].x_mm - margin)
        })
        .collect();
    let mut gap_text = |gap: usize, row: f64, text: &str| {
        if let Some(&(from, to)) = gaps.get(gap) {
            page.text_about(text, corner.moved((from + to) / 2.0, row), SIZE_MM);
        }
    };
    gap_text(0, 9.0, &format!("card {}", pattern.name));
    gap_text(0, 13.0, &format!("copy {copy}"));
    gap_text(0, 20.0, "tags");
    gap_text(
        0,
        24.0,
        &format!("{} to {}", pattern.tag_id(copy, 0), pattern.tag_id(copy, pattern.tags.len() - 1)),
    );
    gap_text(1, 9.0, "Saddle");
    gap_text(2, 9.0, "Date");
    gap_text(3, 9.0, "black squares");
    let side_mm = pattern.tags.first().map_or(0.0, |t| t.side_mm);
    gap_text(3, 13.0, &format!("{side_mm:.1} mm"));
    for &(from, to) in gaps.iter().skip(1).take(2) {
        for row in [17.0, 25.0] {
            page.line(Outline::line(&[corner.moved(from, row), corner.moved(to, row)]), 0.2);
        }
    }
}
