//! The report on sheets of paper: pieces one below the other, a new page where one does not fit.

use super::document::Document;
use super::pieces::{Piece, head, section};
use crate::canvas::{Anchor, Canvas, Paper, TextStyle, fitted};
use crate::report::figure::chart::CHART_MM;
use crate::report::palette::{HAIRLINE, SOFT};

/// Above the first line of a page, and below the last, mm.
const TOP_MM: f64 = 17.0;
const BOTTOM_MM: f64 = 19.0;
/// Between sections, mm.
const SECTION_MM: f64 = 5.5;
/// Gaps smaller than this share of the usual ones look crowded.
const LEAST_SPACING: f64 = 0.45;
/// A last page that is filled less than this is hardly worth its paper, mm: some lines under a heading.
const SPARSE_MM: f64 = 70.0;

/// The document on numbered pages.
pub fn pages(document: &Document, paper: Paper) -> Vec<Canvas> {
    let mut pages = filled(document, paper);
    let count = pages.len();
    for (i, page) in pages.iter_mut().enumerate() {
        let y = page.height_mm - 10.0;
        let [left, right] = [-CHART_MM, CHART_MM].map(|mm| (page.width_mm + mm) / 2.0);
        let style = TextStyle::regular(2.6, SOFT);
        page.line("foot", [[left, y - 4.0], [right, y - 4.0]], HAIRLINE);
        page.text([left, y], Anchor::Start, fitted(&document.foot, style, CHART_MM - 25.0), style);
        page.text([right, y], Anchor::End, format!("{} of {count}", i + 1), style);
    }
    pages
}

/// The document on as many pages as it needs, without the foot. A last page of a few lines is saved by smaller gaps; where
/// that is not enough, the section before them moves to it.
fn filled(document: &Document, paper: Paper) -> Vec<Canvas> {
    let sections: Vec<Vec<Piece>> =
        std::iter::once(head(document)).chain(document.sections.iter().map(section)).collect();
    let is_sparse = |flow: &Flow| flow.pages.len() > 1 && flow.y <= TOP_MM + SPARSE_MM;
    let usual = flow(&sections, paper, 1.0, None);
    if !is_sparse(&usual) {
        return usual.pages;
    }
    let tighter = flow(&sections, paper, LEAST_SPACING, None);
    let (best, spacing) =
        if tighter.pages.len() < usual.pages.len() { (tighter, LEAST_SPACING) } else { (usual, 1.0) };
    if !is_sparse(&best) {
        return best.pages;
    }
    let moved = flow(&sections, paper, spacing, sections.len().checked_sub(2));
    if moved.pages.len() == best.pages.len() { moved.pages } else { best.pages }
}

/// Pages that fill from the top.
struct Flow {
    paper: Paper,
    pages: Vec<Canvas>,
    /// Where the next piece begins.
    y: f64,
}

/// Places the pieces of all sections; `spacing` scales the gaps, and one section may begin a new page.
fn flow(sections: &[Vec<Piece>], paper: Paper, spacing: f64, new_page_before: Option<usize>) -> Flow {
    let mut flow = Flow { paper, pages: vec![Canvas::new(paper.size_mm(), "")], y: TOP_MM };
    for (i, pieces) in sections.iter().enumerate() {
        let mut gap = if i > 1 { SECTION_MM * spacing } else { 0.0 };
        if new_page_before == Some(i) {
            flow.new_page();
        }
        for group in pieces.split_inclusive(|piece| !piece.keep_with_next) {
            let height: f64 = group.iter().map(|p| p.canvas.height_mm + p.gap_mm * spacing).sum();
            let last_gap = group.last().map_or(0.0, |p| p.gap_mm * spacing);
            flow.make_space(gap + height - last_gap);
            let before = std::mem::take(&mut gap);
            flow.y += if flow.y > TOP_MM { before } else { 0.0 };
            for piece in group {
                flow.place(piece);
                flow.y += piece.gap_mm * spacing;
            }
        }
    }
    flow
}

impl Flow {
    fn new_page(&mut self) {
        if self.y > TOP_MM {
            self.pages.push(Canvas::new(self.paper.size_mm(), ""));
            self.y = TOP_MM;
        }
    }

    fn make_space(&mut self, height_mm: f64) {
        if self.y + height_mm > self.paper.size_mm()[1] - BOTTOM_MM {
            self.new_page();
        }
    }

    fn place(&mut self, piece: &Piece) {
        // Matters only in a group that is taller than a page.
        self.make_space(piece.canvas.height_mm);
        let left = (self.paper.size_mm()[0] - CHART_MM) / 2.0;
        let page = self.pages.last_mut().expect("there is a page from the beginning");
        page.place(&piece.canvas, [left, self.y]);
        self.y += piece.canvas.height_mm;
    }
}

#[cfg(test)]
mod tests {
    use super::super::document::{Block, Captioned, KeyFigure, Note, Section};
    use super::*;
    use crate::canvas::Text;
    use crate::canvas::tests::assert_texts_apart;

    fn key(label: &str, second: &str) -> KeyFigure {
        let (value, uncertainty) = ("54.3 mm".into(), "± 1.6 mm".into());
        KeyFigure { key: Some("F".into()), label: label.into(), value, uncertainty, second: second.into() }
    }

    fn document(block: Block) -> Document {
        Document {
            kind: "a kind".into(),
            title: "a name".into(),
            subtitle: "a subtitle".into(),
            sections: vec![Section::new("x", "A heading", vec![block])],
            ..Document::default()
        }
    }

    #[test]
    fn key_figures_keep_to_their_columns() {
        let items = vec![
            key("Seat at its widest", "8.29 in"),
            key("Seat at its waist", "5.93 in"),
            key("Channel at its narrowest", "2.14 in"),
            key("Front taper", "neither widens nor narrows for sure"),
        ];
        for page in pages(&document(Block::KeyFigures(items)), Paper::A4) {
            assert_texts_apart(&page);
            let right = (page.width_mm + CHART_MM) / 2.0;
            assert!(page.texts().all(|t| t.bounds()[2] <= right + 1e-6), "within the text's width");
        }
    }

    #[test]
    fn facts_keep_to_their_columns() {
        let long = "A name of a saddle that is far longer than its column on the page".to_owned();
        let items = vec![[long.clone(), "the reason".into()], ["Short".into(), long]];
        for page in pages(&document(Block::Facts(items)), Paper::Letter) {
            assert_texts_apart(&page);
        }
    }

    fn long_note() -> Document {
        document(Block::Notes(vec![Note::plain("A title", "word ".repeat(2000))]))
    }

    #[test]
    fn a_note_longer_than_a_page_continues_on_the_next() {
        let pages = filled(&long_note(), Paper::A4);
        assert!(pages.len() > 1);
        for page in &pages {
            assert!(page.texts().all(|t| t.at[1] < page.height_mm - BOTTOM_MM + 1.0));
        }
    }

    /// A document whose sections are facts of one line, each as many as given.
    fn sections(lines: &[usize]) -> Document {
        let mut whole = document(Block::Text(String::new()));
        let facts = |count: &usize| Block::Facts(vec![["a fact".into(), "is so".into()]; *count]);
        whole.sections = lines.iter().map(|n| Section::new("x", "A heading", vec![facts(n)])).collect();
        whole
    }

    #[test]
    fn a_last_page_of_a_few_lines_is_saved_or_filled() {
        // A heading and two facts of two texts.
        let alone =
            |pages: &[Canvas]| pages.len() > 1 && pages.last().is_some_and(|page| page.texts().count() <= 5);
        let mut remedies = [false; 2];
        // Through every place at which the last section can come to lie.
        for first in 4..60 {
            let whole = sections(&[first, 4, 5, 2]);
            let pieces: Vec<Vec<Piece>> =
                std::iter::once(head(&whole)).chain(whole.sections.iter().map(section)).collect();
            let plain = flow(&pieces, Paper::A4, 1.0, None).pages;
            let pages = filled(&whole, Paper::A4);
            assert!(pages.len() <= plain.len() && !alone(&pages), "{first}: the last section stands alone");
            if alone(&plain) {
                remedies[usize::from(pages.len() == plain.len())] = true;
            }
        }
        assert_eq!(remedies, [true, true], "both were needed");
    }

    #[test]
    fn a_heading_stays_with_its_figure_and_the_caption() {
        for before in 4..60 {
            let mut whole = sections(&[before, 0]);
            let figure = Canvas::new([60.0, 90.0], "a figure");
            let item = Captioned::new(figure, None, "caption ".repeat(30));
            let blocks = vec![Block::Text("A word on it.".into()), Block::Figures(vec![item])];
            whole.sections[1] = Section::new("y", "Its heading", blocks);
            for page in filled(&whole, Paper::Letter) {
                let has = |start: &str| page.texts().any(|t| t.text.starts_with(start));
                assert_eq!(has("Its heading"), has("caption"), "{before}");
            }
        }
    }

    #[test]
    fn no_line_of_a_paragraph_stands_alone_on_a_page() {
        for before in 20..60 {
            let mut whole = sections(&[before]);
            whole.sections[0].blocks.push(Block::Text("word ".repeat(160)));
            let lines = |page: &Canvas| page.texts().filter(|t| t.text.starts_with("word")).count();
            assert!(filled(&whole, Paper::A4).iter().all(|page| lines(page) != 1), "{before}");
        }
    }

    #[test]
    fn every_page_has_its_number_and_the_foot_below_its_contents() {
        let mut document = long_note();
        document.foot = "a foot".into();
        let pages = pages(&document, Paper::Letter);
        for (i, page) in pages.iter().enumerate() {
            assert_texts_apart(page);
            let number = format!("{} of {}", i + 1, pages.len());
            let is_foot = |t: &&Text| t.text == "a foot" || t.text == number;
            let top = page.texts().filter(is_foot).map(|t| t.bounds()[1]).fold(f64::INFINITY, f64::min);
            assert_eq!(page.texts().filter(is_foot).count(), 2);
            assert!(page.texts().filter(|t| !is_foot(t)).all(|t| t.bounds()[3] < top));
        }
    }
}
