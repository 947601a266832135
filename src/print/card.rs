//! The page of a reference card: its tags where the pattern has them, and between them what a person needs to print
//! it true and to use it. Nothing is printed within a module of a tag: there the program expects white.

use super::page::{BLACK, Outline, Page, Spot, at};
use super::tag::tag_outline;
use super::{Paper, Turned, strip};
use crate::card::bank_card::{BRACKET_MM, FRAME_AT_MM, FRAME_LINE_MM, ID1_MM};
use crate::card::pattern::{BAR_MM, MODULES, Pattern};

/// The greys by which the exposure of a photo is judged, from black to white.
pub const GREYS: [u8; 5] = [0, 64, 128, 192, 255];

/// Why a card's page cannot be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CardError {
    /// There are not that many copies.
    #[error("there is no copy {copy} of the card {pattern}: its copies are 0 to {}", .copies - 1)]
    NoCopy {
        /// The pattern's name.
        pattern: String,
        /// The copy asked for.
        copy: u32,
        /// How many copies there are.
        copies: u32,
    },
    /// The pattern does not go on the paper.
    #[error(
        "the card {pattern} is {width_mm} x {height_mm} mm and does not go on {paper}: choose another paper"
    )]
    TooLarge {
        /// The pattern's name.
        pattern: String,
        /// Its width in whole millimetres, as it is said.
        width_mm: String,
        /// Its height, likewise.
        height_mm: String,
        /// The paper's name.
        paper: &'static str,
    },
}

/// Least white between the pattern and the page's border, mm: what printers cannot print, and a tag's white margin.
const LEAST_BORDER_MM: f64 = 10.0;
/// A pattern lower than this is a strip: several go on a page.
const STRIP_BELOW_MM: f64 = 100.0;

/// The page with a copy of a pattern, or with the strips from that copy on.
///
/// # Errors
/// [`CardError`]: no such copy, or a pattern larger than the paper.
pub fn card_page(pattern: &Pattern, copy: u32, paper: Paper) -> Result<Page, CardError> {
    if copy >= pattern.copies {
        return Err(CardError::NoCopy { pattern: pattern.name.clone(), copy, copies: pattern.copies });
    }
    let [width_mm, height_mm] = Turned::Landscape.size_mm(paper);
    let room = [width_mm - 2.0 * LEAST_BORDER_MM, height_mm - 2.0 * LEAST_BORDER_MM];
    if pattern.width_mm > room[0] || pattern.height_mm > room[1] {
        return Err(CardError::TooLarge {
            pattern: pattern.name.clone(),
            width_mm: format!("{:.0}", pattern.width_mm),
            height_mm: format!("{:.0}", pattern.height_mm),
            paper: paper.name(),
        });
    }
    if pattern.height_mm < STRIP_BELOW_MM {
        return Ok(strip::strips_page(pattern, copy, paper));
    }
    let title = format!("seatspan reference card {}, copy {copy}, {}", pattern.name, paper.name());
    let mut page = Page::new(paper, Turned::Landscape, title);
    let corner = at((page.width_mm - pattern.width_mm) / 2.0, (page.height_mm - pattern.height_mm) / 2.0);
    draw_tags(&mut page, pattern, copy, corner);
    draw_inside(&mut page, pattern, copy, corner);
    Ok(page)
}

/// The tags of a copy, the pattern's top-left corner at `corner`.
pub(super) fn draw_tags(page: &mut Page, pattern: &Pattern, copy: u32, corner: Spot) {
    for (index, tag) in pattern.tags.iter().enumerate() {
        let place = corner.moved(tag.x_mm, tag.y_mm);
        // Every copy of every pattern has its codes: a test of the patterns sees to that.
        if let Some(outline) = tag_outline(pattern.tag_id(copy, index), place, tag.side_mm) {
            page.fill(outline, BLACK);
        }
    }
}

/// The white that belongs to a tag on each side: one module, mm.
pub fn tag_margin_mm(side_mm: f64) -> f64 {
    side_mm / MODULES as f64
}

/// Left and right end of what is printed between the tags, from the pattern's left, mm.
const INSIDE_MM: [f64; 2] = [46.5, 203.5];

/// Everything between the tags of the sheet.
fn draw_inside(page: &mut Page, pattern: &Pattern, copy: u32, corner: Spot) {
    let from = |x: f64, y: f64| corner.moved(x, y);
    let [left, right] = INSIDE_MM;
    page.text("Reference card for measuring a saddle", from(left, 51.0), 4.6);
    page.text_up_to(&format!("card {} · copy {copy}", pattern.name), from(right, 51.0), 3.4);
    let bar = from((pattern.width_mm - BAR_MM) / 2.0, 55.5);
    draw_bar(page, bar, "this bar: 150 mm (5.91 in)");
    let frame = from(FRAME_AT_MM[0], FRAME_AT_MM[1]);
    draw_frame(page, frame);
    draw_steps(page, frame.moved(3.0, 5.6), ID1_MM[0] - 6.0);
    draw_right_column(page, from(138.5, 70.0), right - 138.5);
    let side_mm = pattern.tags.first().map_or(0.0, |t| t.side_mm);
    let last = pattern.tag_id(copy, pattern.tags.len() - 1);
    let small = format!(
        "AprilTag 36h11, tags {} to {last}, black squares {side_mm:.1} mm wide, field {:.0} x {:.0} mm",
        pattern.tag_id(copy, 0),
        pattern.width_mm,
        pattern.height_mm
    );
    page.text(small, from(left, 131.5), 2.3);
}

/// The corners of the frame for a bank card. Their line lies outside: a bank card just fills the white.
fn draw_frame(page: &mut Page, corner: Spot) {
    let out = FRAME_LINE_MM / 2.0;
    let [width_mm, height_mm] = ID1_MM.map(|mm| mm + FRAME_LINE_MM);
    let outer = corner.moved(-out, -out);
    let mut brackets = Outline::default();
    for (x, inwards) in [(0.0, BRACKET_MM), (width_mm, -BRACKET_MM)] {
        for (y, down) in [(0.0, BRACKET_MM), (height_mm, -BRACKET_MM)] {
            let at = outer.moved(x, y);
            let bracket = Outline::line(&[at.moved(inwards, 0.0), at, at.moved(0.0, down)]);
            brackets.steps.extend(bracket.steps);
        }
    }
    page.line(brackets, FRAME_LINE_MM);
}

/// The bar with its ticks and figures. Its black is 150 mm from end to end; a tick a centimetre, the middle of each
/// tick in its place, those at the ends inside.
pub(super) fn draw_bar(page: &mut Page, corner: Spot, label: &str) {
    const HEIGHT_MM: f64 = 1.2;
    const TICK_MM: f64 = 0.25;
    page.fill(Outline::rect(corner, BAR_MM, HEIGHT_MM), BLACK);
    for tick in 0..=15 {
        let x = f64::from(tick) * 10.0;
        let x = (x - TICK_MM / 2.0).clamp(0.0, BAR_MM - TICK_MM);
        let reach = if tick % 5 == 0 { 4.2 } else { 3.0 };
        page.fill(Outline::rect(corner.moved(x, 0.0), TICK_MM, reach), BLACK);
        if tick % 5 == 0 {
            let middle = corner.moved(f64::from(tick) * 10.0, 7.2);
            page.text_about(&format!("{}", tick * 10), middle, 2.8);
        }
    }
    page.text_about(label, corner.moved(BAR_MM / 2.0, 7.2), 2.8);
}

const STEPS: [&str; 6] = [
    "Print at actual size (100 %), never “fit to page”.",
    "Check with a ruler: the bar is 150 mm long, and a bank card just fills this frame.",
    "Glue the sheet to something flat and stiff.",
    "Lay it level beside the saddle, as high as the edges of the seat, its black squares free.",
    "Photograph from straight above, from as far as practical; zoom in instead of stepping closer.",
    "The whole saddle and the whole card are in the picture, sharp and in even light.",
];

fn draw_steps(page: &mut Page, from: Spot, width_mm: f64) {
    const SIZE_MM: f64 = 3.0;
    let mut pen = from;
    for (i, step) in STEPS.iter().enumerate() {
        page.text(format!("{}", i + 1), pen, SIZE_MM);
        pen = page.paragraph(step, pen.moved(4.2, 0.0), width_mm - 4.2, SIZE_MM).moved(-4.2, 1.0);
    }
}

fn draw_right_column(page: &mut Page, from: Spot, width_mm: f64) {
    const SIZE_MM: f64 = 3.0;
    page.write_in("Saddle", from.moved(0.0, 4.0), width_mm, SIZE_MM);
    page.write_in("Date", from.moved(0.0, 13.0), width_mm, SIZE_MM);
    let side = width_mm / GREYS.len() as f64;
    let patches = from.moved(0.0, 19.0);
    for (i, grey) in GREYS.into_iter().enumerate() {
        page.fill(Outline::rect(patches.moved(side * i as f64, 0.0), side, side), grey);
    }
    page.line(Outline::rect(patches, width_mm, side), 0.2);
    let pen = patches.moved(0.0, side + 4.4);
    let pen =
        page.paragraph("Five greys: the photo must show a step from each to the next.", pen, width_mm, 2.7);
    let caution = "A photo does not replace a qualified saddle fitter.";
    page.paragraph(caution, pen.moved(0.0, 1.6), width_mm, 2.7);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::pattern::patterns;
    use crate::print::page::Mark;

    /// Every tag of the page with its margin: left, top, right, bottom, mm.
    fn tags_with_margin(page: &Page) -> Vec<[f64; 4]> {
        let tag = |m: &Mark| match m {
            Mark::Fill { grey: BLACK, outline } if outline.steps.len() > 20 => Some(m.bounds()),
            _ => None,
        };
        page.marks
            .iter()
            .filter_map(tag)
            .map(|[l, t, r, b]| {
                let m = tag_margin_mm(r - l);
                [l - m, t - m, r + m, b + m]
            })
            .collect()
    }

    #[test]
    fn nothing_is_printed_within_a_module_of_a_tag_nor_off_the_page() {
        for pattern in patterns() {
            for paper in Paper::ALL {
                for copy in 0..pattern.copies {
                    let page = card_page(pattern, copy, paper).unwrap();
                    let tags = tags_with_margin(&page);
                    assert!(tags.len() >= pattern.tags.len());
                    for mark in &page.marks {
                        let b = mark.bounds();
                        assert!(b[0] >= 4.0 && b[1] >= 4.0, "{mark:?} lies where printers print nothing");
                        assert!(b[2] <= page.width_mm - 4.0 && b[3] <= page.height_mm - 4.0, "{mark:?}");
                        for t in &tags {
                            let apart = b[0] >= t[2] || b[2] <= t[0] || b[1] >= t[3] || b[3] <= t[1];
                            let inside = b[0] > t[0] && b[2] < t[2] && b[1] > t[1] && b[3] < t[3];
                            let is_tag =
                                matches!(mark, Mark::Fill { outline, .. } if outline.steps.len() > 20);
                            assert!(apart || (inside && is_tag), "{mark:?} stands in a tag's margin {t:?}");
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn texts_do_not_run_into_one_another() {
        for pattern in patterns() {
            for paper in Paper::ALL {
                let page = card_page(pattern, pattern.copies - 1, paper).unwrap();
                crate::print::tests::assert_texts_apart(&page);
            }
        }
    }

    #[test]
    fn a_copy_that_is_not_there_is_said_with_those_that_are() {
        let sheet = patterns().iter().find(|p| p.name == "sheet").unwrap();
        let error = card_page(sheet, 10, Paper::A4).unwrap_err();
        assert_eq!(error.to_string(), "there is no copy 10 of the card sheet: its copies are 0 to 9");
        let wide = Pattern { width_mm: 300.0, ..sheet.clone() };
        assert!(card_page(&wide, 0, Paper::A4).unwrap_err().to_string().contains("does not go on A4"));
    }

    #[test]
    fn strips_on_a_page_are_different_copies() {
        let strip = patterns().iter().find(|p| p.name == "strip").unwrap();
        let page = card_page(strip, 0, Paper::A4).unwrap();
        assert_eq!(tags_with_margin(&page).len(), 4 * strip.tags.len());
        let last = card_page(strip, strip.copies - 1, Paper::A4).unwrap();
        assert_eq!(tags_with_margin(&last).len(), strip.tags.len(), "no strip beyond the last copy");
    }
}
