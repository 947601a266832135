//! The page of a reference card: its tags, and between them what a person needs to print it true and to use it. Nothing
//! is printed within a module of a tag, where the detector expects white.

use super::tag::tag_path;
use super::{BLACK, black, letters, strip};
use crate::canvas::{Anchor, Canvas, Colour, Paper, Path, Point};
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
    /// The pattern does not fit the paper.
    #[error(
        "the card {pattern} is {width_mm} x {height_mm} mm and does not fit on {paper}: choose another paper"
    )]
    TooLarge {
        /// The pattern's name.
        pattern: String,
        /// Its width in whole millimetres.
        width_mm: String,
        /// Its height in whole millimetres.
        height_mm: String,
        /// The paper's name.
        paper: &'static str,
    },
}

/// Least white around the pattern, mm: what printers cannot print, and a tag's white margin.
const LEAST_BORDER_MM: f64 = 10.0;
/// A pattern lower than this is a strip: several go on a page.
const STRIP_BELOW_MM: f64 = 100.0;

/// The page with a copy of a pattern, or with the strips from that copy on.
///
/// # Errors
/// [`CardError`]: no such copy, or a pattern larger than the paper.
pub fn card_page(pattern: &Pattern, copy: u32, paper: Paper) -> Result<Canvas, CardError> {
    if copy >= pattern.copies {
        return Err(CardError::NoCopy { pattern: pattern.name.clone(), copy, copies: pattern.copies });
    }
    let [height_mm, width_mm] = paper.size_mm();
    let border = [(width_mm - pattern.width_mm) / 2.0, (height_mm - pattern.height_mm) / 2.0];
    if border.iter().any(|mm| *mm < LEAST_BORDER_MM) {
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
    let label = format!("seatspan reference card {}, copy {copy}, {}", pattern.name, paper.name());
    let mut page = Canvas::new([width_mm, height_mm], label);
    let mut card = tags(pattern, copy);
    draw_inside(&mut card, pattern, copy);
    page.place(&card, border);
    Ok(page)
}

/// A canvas of the pattern's size with the tags of a copy.
pub(super) fn tags(pattern: &Pattern, copy: u32) -> Canvas {
    let mut card = Canvas::new([pattern.width_mm, pattern.height_mm], "");
    for (index, tag) in pattern.tags.iter().enumerate() {
        // Every copy of every pattern has its codes, as a test of the patterns checks.
        if let Some(path) = tag_path(pattern.tag_id(copy, index), [tag.x_mm, tag.y_mm], tag.side_mm) {
            card.fill("tag", path, BLACK);
        }
    }
    card
}

/// The white that belongs to a tag on each side: one module, mm.
pub(super) fn tag_margin_mm(side_mm: f64) -> f64 {
    side_mm / MODULES as f64
}

/// Left and right end of what is printed between the tags, from the pattern's left, mm.
const INSIDE_MM: [f64; 2] = [46.5, 203.5];

/// Everything between the tags of the sheet.
fn draw_inside(card: &mut Canvas, pattern: &Pattern, copy: u32) {
    let [left, right] = INSIDE_MM;
    card.text([left, 51.0], Anchor::Start, "Reference card for measuring a saddle", letters(4.6));
    card.text([right, 51.0], Anchor::End, format!("card {} · copy {copy}", pattern.name), letters(3.4));
    card.place(&bar(), [(pattern.width_mm - BAR_MM) / 2.0, 55.5]);
    draw_frame(card);
    let [x, y] = FRAME_AT_MM;
    draw_steps(card, [x + 3.0, y + 5.6], ID1_MM[0] - 6.0);
    draw_right_column(card, [138.5, 70.0], right - 138.5);
    let side_mm = pattern.tags.first().map_or(0.0, |t| t.side_mm);
    let small = format!(
        "AprilTag 36h11, tags {} to {}, black squares {side_mm:.1} mm wide, field {:.0} x {:.0} mm",
        pattern.tag_id(copy, 0),
        pattern.tag_id(copy, pattern.tags.len() - 1),
        pattern.width_mm,
        pattern.height_mm
    );
    card.text([left, 131.5], Anchor::Start, small, letters(2.3));
}

/// The corners of the frame for a bank card. Their line is outside it: a bank card just fills the white.
fn draw_frame(card: &mut Canvas) {
    let [left, top] = FRAME_AT_MM.map(|mm| mm - FRAME_LINE_MM / 2.0);
    let [width, height] = ID1_MM.map(|mm| mm + FRAME_LINE_MM);
    let mut brackets = Path::default();
    for (x, inwards) in [(left, BRACKET_MM), (left + width, -BRACKET_MM)] {
        for (y, down) in [(top, BRACKET_MM), (top + height, -BRACKET_MM)] {
            brackets = brackets.and(Path::line([[x + inwards, y], [x, y], [x, y + down]]));
        }
    }
    card.stroke("frame", brackets, black(FRAME_LINE_MM));
}

/// The bar with its ticks and figures. Its black is 150 mm from end to end. There is a tick at every centimetre, its
/// middle in its place; those at the ends lie inside.
pub(super) fn bar() -> Canvas {
    const HEIGHT_MM: f64 = 1.2;
    const TICK_MM: f64 = 0.25;
    let mut bar = Canvas::new([BAR_MM, 8.0], "");
    bar.fill("bar", Path::rect([0.0, 0.0, BAR_MM, HEIGHT_MM]), BLACK);
    for tick in 0..=15 {
        let middle = f64::from(tick) * 10.0;
        let x = (middle - TICK_MM / 2.0).clamp(0.0, BAR_MM - TICK_MM);
        let height = if tick % 5 == 0 { 4.2 } else { 3.0 };
        bar.fill("tick", Path::rect([x, 0.0, TICK_MM, height]), BLACK);
        if tick % 5 == 0 {
            bar.text([middle, 7.2], Anchor::Middle, (tick * 10).to_string(), letters(2.8));
        }
    }
    bar.text([BAR_MM / 2.0, 7.2], Anchor::Middle, "this bar: 150 mm (5.91 in)", letters(2.8));
    bar
}

const STEPS: [&str; 6] = [
    "Print at actual size (100 %), never “fit to page”.",
    "Check with a ruler: the bar is 150 mm long, and a bank card just fills this frame.",
    "Glue the sheet to something flat and stiff.",
    "Lay it level beside the saddle, as high as the edges of the seat, its black squares free.",
    "Photograph from above, from the rider’s left and right, some 25° from upright; move nothing. Stand back and zoom in.",
    "The whole saddle and the whole card are in each photo, sharp and in even light.",
];

fn draw_steps(card: &mut Canvas, [x, mut y]: Point, width_mm: f64) {
    for (i, step) in STEPS.iter().enumerate() {
        card.text([x, y], Anchor::Start, (i + 1).to_string(), letters(3.0));
        y = card.paragraph([x + 4.2, y], step, letters(3.0), width_mm - 4.2)[1] + 1.0;
    }
}

fn draw_right_column(card: &mut Canvas, [x, y]: Point, width_mm: f64) {
    for (label, y) in [("Saddle", y + 4.0), ("Date", y + 13.0)] {
        card.text([x, y], Anchor::Start, label, letters(3.0));
        let start = x + letters(3.0).width_mm(label) + 1.2;
        card.line("blank", [[start, y + 0.6], [x + width_mm, y + 0.6]], black(0.2));
    }
    let side = width_mm / GREYS.len() as f64;
    let top = y + 19.0;
    for (i, grey) in GREYS.into_iter().enumerate() {
        card.fill("grey", Path::rect([x + side * i as f64, top, side, side]), Colour::grey(grey));
    }
    card.stroke("greys", Path::rect([x, top, width_mm, side]), black(0.2));
    let greys = "Five greys: the photo must show a step from each to the next.";
    let [x, y] = card.paragraph([x, top + side + 4.4], greys, letters(2.7), width_mm);
    let caution = "A photo does not replace a qualified saddle fitter.";
    card.paragraph([x, y + 1.6], caution, letters(2.7), width_mm);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::canvas::Item;
    use crate::card::pattern::patterns;

    fn is_tag(item: &Item) -> bool {
        matches!(item, Item::Path { class: "tag", .. })
    }

    /// Every tag of the page with its margin: left, top, right, bottom, mm.
    fn tags_with_margin(page: &Canvas) -> Vec<[f64; 4]> {
        let bounds = page.items.iter().filter(|item| is_tag(item)).map(Item::bounds);
        bounds
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
                    for item in &page.items {
                        let b = item.bounds();
                        assert!(b[0] >= 4.0 && b[1] >= 4.0, "{item:?} is where printers print nothing");
                        assert!(b[2] <= page.width_mm - 4.0 && b[3] <= page.height_mm - 4.0, "{item:?}");
                        for t in &tags {
                            let apart = b[0] >= t[2] || b[2] <= t[0] || b[1] >= t[3] || b[3] <= t[1];
                            let inside = b[0] > t[0] && b[2] < t[2] && b[1] > t[1] && b[3] < t[3];
                            assert!(apart || (inside && is_tag(item)), "{item:?} in a tag's margin {t:?}");
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn texts_do_not_overlap() {
        for pattern in patterns() {
            for paper in Paper::ALL {
                let page = card_page(pattern, pattern.copies - 1, paper).unwrap();
                crate::canvas::tests::assert_texts_apart(&page);
            }
        }
    }

    #[test]
    fn a_copy_that_does_not_exist_is_refused_with_those_that_do() {
        let sheet = patterns().iter().find(|p| p.name == "sheet").unwrap();
        let error = card_page(sheet, 10, Paper::A4).unwrap_err();
        assert_eq!(error.to_string(), "there is no copy 10 of the card sheet: its copies are 0 to 9");
        let wide = Pattern { width_mm: 300.0, ..sheet.clone() };
        assert!(card_page(&wide, 0, Paper::A4).unwrap_err().to_string().contains("does not fit on A4"));
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
