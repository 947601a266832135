//! The one-page guide for clients: print, check, place, photograph, send. Plain words and drawings.

use super::sketch::{self, Sketch};
use super::{black, letters};
use crate::canvas::{Anchor, Canvas, Paper, Point, TextStyle};

const MARGIN_MM: f64 = 14.0;
const TEXT: TextStyle = letters(3.25);
const HEADING: TextStyle = letters(4.6);
/// Angle of the two photos from the sides, degrees from upright.
const SIDE_DEG: f64 = 25.0;
/// Heights of the four rows on the lower of both papers (US Letter), mm. A4 has more, which goes between them.
const ROWS_MM: [f64; 4] = [45.0, 63.0, 69.0, 48.0];
const HEAD_MM: f64 = 29.0;
const FOOT_MM: f64 = 10.0;

/// Draws one row on a canvas of its own.
type Row = fn(&mut Canvas);

/// The guide for clients.
pub fn guide_page(paper: Paper) -> Canvas {
    let [w, h] = paper.size_mm();
    let mut page = Canvas::new([w, h], format!("How to photograph a saddle for measuring, {}", paper.name()));
    page.text([MARGIN_MM, 19.0], Anchor::Start, "How to photograph your saddle", letters(8.0));
    let about = "You need the printed card, a ruler, something flat and stiff, and your phone. It takes a quarter of an hour.";
    page.text([MARGIN_MM, 25.5], Anchor::Start, about, letters(3.2));
    let gap = (h - HEAD_MM - FOOT_MM - ROWS_MM.iter().sum::<f64>()) / ROWS_MM.len() as f64;
    let rows: [Row; 4] = [print_and_check, place, photograph, send_and_note];
    let mut top = HEAD_MM;
    for (draw, height) in rows.into_iter().zip(ROWS_MM) {
        page.line("rule", [[MARGIN_MM, top], [w - MARGIN_MM, top]], black(0.25));
        let mut row = Canvas::new([w - 2.0 * MARGIN_MM, height], "");
        draw(&mut row);
        page.place(&row, [MARGIN_MM, top + gap / 2.0]);
        top += height + gap;
    }
    page
}

/// A numbered heading at the top of a row; returns where its text begins.
fn heading(row: &mut Canvas, x: f64, number: u32, words: &str) -> Point {
    sketch::number(row, [x + 3.4, 6.4], number);
    row.text([x + 9.0, 8.0], Anchor::Start, words, HEADING);
    [x, 15.0]
}

fn paragraphs(row: &mut Canvas, from: Point, width_mm: f64, texts: &[&str]) -> Point {
    texts.iter().fold(from, |at, text| {
        let [x, y] = row.paragraph(at, text, TEXT, width_mm);
        [x, y + 1.3]
    })
}

fn print_and_check(row: &mut Canvas) {
    let half = row.width_mm / 2.0;
    let from = heading(row, 0.0, 1, "Print the card");
    let texts = [
        "Choose “actual size” or “100\u{a0}%” in the print window, never “fit to page”.",
        "Plain white paper will do.",
    ];
    paragraphs(row, from, half - 46.0, &texts);
    sketch::card_at_actual_size(row, [half - 25.0, 23.5]);
    let from = heading(row, half + 4.0, 2, "Check it with a ruler");
    let text = "The bar must be 150 mm long. If it is not, print again: a card printed too small makes every width wrong. Glue the sheet to something flat and stiff.";
    let [x, y] = paragraphs(row, from, half - 4.0, &[text]);
    row.place(&sketch::ruler_on_bar(), [x + 1.0, y + 1.6]);
}

fn place(row: &mut Canvas) {
    let from = heading(row, 0.0, 3, "Place saddle and card");
    let texts = [
        "Set the saddle on a stand over a plain floor, in even light: by a window or under a cloudy sky. No hard shadows, no flash.",
        "Take off girth, straps and stirrups.",
        "Put the card close beside the saddle, on a box or books, as high as the edges of the seat. It must lie level to 1 degree: check it with the level of a phone.",
    ];
    paragraphs(row, from, 62.0, &texts);
    let mut above = Sketch::new(row, [83.0, 31.0], 0.85);
    above.saddle_from_above([0.0, 0.0]);
    above.card_from_above([37.0, 0.0]);
    above.words([16.0, -31.0], "from above");
    let right = row.width_mm - 34.0;
    let mut behind = Sketch::new(row, [right, 54.0], 0.5);
    behind.saddle_and_card_from_behind(26.0);
    behind.level_line(11.4, 26.0);
    behind.words([16.0, -6.5], "from behind");
    behind.words([22.0, 82.0], "card and edges of the seat");
    behind.words([22.0, 74.5], "at one height");
}

fn photograph(row: &mut Canvas) {
    let from = heading(row, 0.0, 4, "Take three photos");
    let texts = [
        "Take them one after the other, without moving saddle or card: from above, from the rider’s left and from the rider’s right.",
        "Stay 1.5 m away or more, and zoom in until saddle and card fill the picture. Stand on something firm for the photo from above.",
        "The whole saddle and the whole card must be in each, sharp, without glare.",
        "Then do the same with the saddle upside down, if you were asked to.",
    ];
    paragraphs(row, from, 60.0, &texts);
    let mut places = Sketch::new(row, [103.0, 66.0], 0.37);
    places.saddle_and_card_from_behind(24.0);
    for (side, words) in [(-1.0, "from the left"), (0.0, "from above"), (1.0, "from the right")] {
        places.phone(side * SIDE_DEG, words);
    }
    places.angle(SIDE_DEG);
    let x = row.width_mm - 17.0;
    let mut whole = Sketch::new(row, [x, 20.0], 0.38);
    whole.saddle_from_above([-17.0, 0.0]);
    whole.card_from_above([20.0, 0.0]);
    whole.photo_border([84.0, 63.0]);
    whole.right_mark([0.0, 40.0]);
    let mut cut = Sketch::new(row, [x, 52.0], 0.38);
    cut.saddle_from_above([-23.0, 6.0]);
    cut.card_from_above([34.0, 6.0]);
    cut.photo_border([84.0, 63.0]);
    cut.wrong_mark([0.0, 40.0]);
}

fn send_and_note(row: &mut Canvas) {
    let half = row.width_mm / 2.0;
    let from = heading(row, 0.0, 5, "Send");
    let texts = [
        "Send the photos as files (by e-mail or a link), as the phone made them: not cropped, not edited, no screenshots, not through a messenger that makes them smaller.",
        "If you could take only one photo, write down how high the edges of the seat lie over the card, in front, in the middle and behind.",
    ];
    paragraphs(row, from, half - 6.0, &texts);
    let right = half + 4.0;
    row.text([right, 8.0], Anchor::Start, "Please note", HEADING);
    let texts = [
        "If riding hurts, numbs or makes you bleed, stop and see a doctor. If the horse’s back is sore, call a vet. Never ride on a broken tree.",
        "A photo does not replace a qualified saddle fitter.",
    ];
    paragraphs(row, [right, 15.0], half - 4.0, &texts);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_guide_keeps_to_its_page_and_its_texts_apart() {
        for paper in Paper::ALL {
            let page = guide_page(paper);
            for item in &page.items {
                let b = item.bounds();
                assert!(b[0] >= 8.0 && b[1] >= 8.0, "{} {item:?}", paper.name());
                let inside = b[2] <= page.width_mm - 8.0 && b[3] <= page.height_mm - 6.0;
                assert!(inside, "{} {item:?}", paper.name());
            }
            crate::canvas::tests::assert_texts_apart(&page);
        }
    }
}
