//! The one page that a client follows: print, check, place, photograph, send. Plain words and drawings.

use super::page::{Outline, Page, Spot, at};
use super::scene::{self, Stage};
use super::{Paper, Turned};

const MARGIN_MM: f64 = 14.0;
/// Size of the text, of headings, of small print, mm.
const TEXT_MM: f64 = 3.25;
const HEADING_MM: f64 = 4.6;
const SMALL_MM: f64 = 2.7;
/// Heights of the four rows on the lower of both papers (US Letter), mm; what A4 has more goes between them.
const ROWS_MM: [f64; 4] = [45.0, 63.0, 69.0, 48.0];
const HEAD_MM: f64 = 29.0;
const FOOT_MM: f64 = 10.0;

/// Draws one row, its top-left corner at a place.
type Row = fn(&mut Page, Spot);

/// The guide for clients.
pub fn guide_page(paper: Paper) -> Page {
    let title = format!("How to photograph a saddle for measuring, {}", paper.name());
    let mut page = Page::new(paper, Turned::Portrait, title);
    page.text("How to photograph your saddle", at(MARGIN_MM, 19.0), 8.0);
    let about = "You need the printed card, a ruler, something flat and stiff, and your phone. It takes a quarter of an hour.";
    page.text(about, at(MARGIN_MM, 25.5), 3.2);
    let spare = page.height_mm - HEAD_MM - FOOT_MM - ROWS_MM.iter().sum::<f64>();
    let gap = spare / (ROWS_MM.len() as f64);
    let rows: [Row; 4] = [print_and_check, place, photograph, send_and_note];
    let mut top = HEAD_MM;
    for (row, height) in rows.into_iter().zip(ROWS_MM) {
        let rule = [at(MARGIN_MM, top), at(page.width_mm - MARGIN_MM, top)];
        page.line(Outline::line(&rule), 0.25);
        row(&mut page, at(MARGIN_MM, top + gap / 2.0));
        top += height + gap;
    }
    page
}

/// A numbered heading at the top of a part; gives where its text begins.
fn heading(page: &mut Page, corner: Spot, number: u32, words: &str) -> Spot {
    scene::number(page, corner.moved(3.4, 6.4), number);
    page.text(words, corner.moved(9.0, 8.0), HEADING_MM);
    corner.moved(0.0, 15.0)
}

fn paragraphs(page: &mut Page, from: Spot, width_mm: f64, texts: &[&str]) -> Spot {
    texts.iter().fold(from, |pen, text| page.paragraph(text, pen, width_mm, TEXT_MM).moved(0.0, 1.3))
}

/// From the left half to the right half of the page, mm.
fn half_mm(page: &Page) -> f64 {
    (page.width_mm - 2.0 * MARGIN_MM) / 2.0
}

fn print_and_check(page: &mut Page, corner: Spot) {
    let half = half_mm(page);
    let pen = heading(page, corner, 1, "Print the card");
    let texts = [
        "Choose “actual size” or “100 %” in the print window, never “fit to page”.",
        "Plain white paper will do.",
    ];
    paragraphs(page, pen, half - 46.0, &texts);
    scene::sheet_at_actual_size(page, corner.moved(half - 42.0, 11.5));
    let right = corner.moved(half + 4.0, 0.0);
    let pen = heading(page, right, 2, "Check it with a ruler");
    let text = "The bar must be 150 mm long. If it is not, print again: a card printed too small makes every width wrong. Glue the sheet to something flat and stiff.";
    let pen = paragraphs(page, pen, half - 4.0, &[text]);
    scene::ruler_on_bar(page, pen.moved(1.0, 1.6));
}

fn place(page: &mut Page, corner: Spot) {
    let pen = heading(page, corner, 3, "Place saddle and card");
    let texts = [
        "Set the saddle on a stand over a plain floor, in even light: by a window or under a cloudy sky. No hard shadows, no flash.",
        "Take off girth, straps and stirrups.",
        "Put the card close beside the saddle, level, on a box or books, as high as the edges of the seat.",
    ];
    paragraphs(page, pen, 62.0, &texts);
    let above = Stage { origin: corner.moved(83.0, 31.0), mm_per_cm: 0.85 };
    scene::saddle_from_above(page, &above, 0.0, 0.0);
    scene::card_from_above(page, &above, 37.0, 0.0);
    page.text_about("from above", above.spot(16.0, -31.0), SMALL_MM);
    let behind = Stage { origin: corner.moved(page.width_mm - 2.0 * MARGIN_MM - 34.0, 54.0), mm_per_cm: 0.5 };
    scene::floor(page, &behind, -24.0, 62.0);
    scene::saddle_from_behind(page, &behind);
    scene::card_on_box(page, &behind, 26.0);
    scene::level_line(page, &behind, 11.4, 26.0);
    page.text_about("from behind", behind.spot(16.0, -6.5), SMALL_MM);
    page.text_about("card and edges of the seat", behind.spot(22.0, 82.0), SMALL_MM);
    page.text_about("at one height", behind.spot(22.0, 74.5), SMALL_MM);
}

fn photograph(page: &mut Page, corner: Spot) {
    let pen = heading(page, corner, 4, "Photograph");
    let texts = [
        "Hold the phone flat, straight above the saddle. Stand on something firm.",
        "Stay as far away as practical, and zoom in until saddle and card fill the picture.",
        "The whole saddle and the whole card must be in it, sharp, without glare.",
        "Take three photos without moving saddle or card. Then the same with the saddle upside down, if you were asked for it.",
    ];
    paragraphs(page, pen, 62.0, &texts);
    let side = Stage { origin: corner.moved(86.0, 62.0), mm_per_cm: 0.33 };
    scene::floor(page, &side, -26.0, 60.0);
    scene::saddle_from_behind(page, &side);
    scene::card_on_box(page, &side, 24.0);
    scene::phone_with_view(page, &side, (18.0, 152.0), 0.0);
    scene::measure_line(page, side.spot(18.0, EDGE_TOP_CM), side.spot(18.0, 148.0));
    // The line is broken for its words, so that neither stands on the other.
    scene::cover(page, &side, 10.0, 83.0, 16.0, 26.0);
    page.text_about("1.5 m", side.spot(18.0, 98.5), SMALL_MM);
    page.text_about("or more", side.spot(18.0, 86.5), SMALL_MM);
    scene::right_mark(page, side.spot(40.0, 152.0));
    let tilted = Stage { origin: corner.moved(126.0, 62.0), ..side };
    scene::floor(page, &tilted, -26.0, 60.0);
    scene::saddle_from_behind(page, &tilted);
    scene::card_on_box(page, &tilted, 24.0);
    scene::phone_with_view(page, &tilted, (-22.0, 128.0), 22.0);
    scene::wrong_mark(page, tilted.spot(0.0, 148.0));
    page.text("from the side", tilted.spot(9.0, 145.0), SMALL_MM);
    let frames = page.width_mm - 2.0 * MARGIN_MM - 17.0;
    let whole = Stage { origin: corner.moved(frames, 20.0), mm_per_cm: 0.38 };
    scene::saddle_from_above(page, &whole, -17.0, 0.0);
    scene::card_from_above(page, &whole, 20.0, 0.0);
    scene::photo_border(page, &whole, (0.0, 0.0), (84.0, 63.0));
    scene::right_mark(page, whole.spot(0.0, 40.0));
    let cut = Stage { origin: corner.moved(frames, 52.0), ..whole };
    scene::saddle_from_above(page, &cut, -23.0, 6.0);
    scene::card_from_above(page, &cut, 34.0, 6.0);
    scene::cover(page, &cut, 42.0, -20.0, 9.0, 52.0);
    scene::cover(page, &cut, -51.0, -30.0, 9.0, 62.0);
    scene::photo_border(page, &cut, (0.0, 0.0), (84.0, 63.0));
    scene::wrong_mark(page, cut.spot(0.0, 40.0));
}

/// Top of the seat in the view from behind, cm.
const EDGE_TOP_CM: f64 = scene::EDGE_CM + 7.5;

fn send_and_note(page: &mut Page, corner: Spot) {
    let half = half_mm(page);
    let pen = heading(page, corner, 5, "Send");
    let texts = [
        "Send the photos as files (by e-mail or a link), as the phone made them: not cropped, not edited, no screenshots, not through a messenger that makes them smaller.",
        "Write down how high the edges of the seat lie over the card, in front, in the middle and behind, if you could measure it.",
    ];
    paragraphs(page, pen, half - 6.0, &texts);
    let right = corner.moved(half + 4.0, 0.0);
    page.text("Please note", right.moved(0.0, 8.0), HEADING_MM);
    let texts = [
        "If riding hurts, numbs or makes you bleed, stop and see a doctor. If the horse’s back is sore, call a vet. Never ride on a broken tree.",
        "A photo does not replace a qualified saddle fitter.",
    ];
    paragraphs(page, right.moved(0.0, 15.0), half - 4.0, &texts);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_guide_keeps_to_its_page_and_its_texts_apart() {
        for paper in Paper::ALL {
            let page = guide_page(paper);
            for mark in &page.marks {
                let b = mark.bounds();
                assert!(b[0] >= 8.0 && b[1] >= 8.0, "{} {mark:?}", paper.name());
                assert!(
                    b[2] <= page.width_mm - 8.0 && b[3] <= page.height_mm - 6.0,
                    "{} {mark:?}",
                    paper.name()
                );
            }
            crate::print::tests::assert_texts_apart(&page);
        }
    }
}
