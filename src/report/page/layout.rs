//! The report on sheets of paper: blocks one below the other, a new page where one has no room.

use super::document::{Block, Captioned, Document, KeyFigure, Note, Section, Table};
use super::paper::Paper;
use super::pdf::width_mm;
use super::single::GAP_MM;
use super::wrap::wrap;
use crate::report::figure::chart::CHART_MM;
use crate::report::figure::{Anchor, Figure, HAIR, Item, Letters, Stroke, Tone};

/// Size of running text and from one line to the next, mm: 10 on 14 points.
const TEXT: [f64; 2] = [3.5, 4.95];
/// The same for captions and the foot.
const SMALL: [f64; 2] = [3.0, 4.2];
/// Above the first line of a page, and below the last, mm.
const TOP_MM: f64 = 17.0;
const BOTTOM_MM: f64 = 19.0;
/// Width of the words before facts, mm.
const FACT_MM: f64 = 42.0;

/// Pages that fill from the top.
struct Flow {
    paper: Paper,
    pages: Vec<Figure>,
    left: f64,
    y: f64,
    /// How much of the usual room stands between parts: 1, or less where that saves a page.
    loose: f64,
    /// The section that begins a page whatever room there is, by its place.
    breaks_before: Option<usize>,
}

/// The document on numbered pages.
pub fn pages(document: &Document, paper: Paper) -> Vec<Figure> {
    let mut pages = filled(document, paper);
    number(&mut pages, &document.foot);
    pages
}

/// Less room between parts than this looks crowded.
const LEAST_LOOSE: f64 = 0.45;
/// A last page that is filled less than this is hardly worth its paper, mm: some lines under a heading.
const SPARSE_MM: f64 = 70.0;

/// The document's blocks on as many pages as they need, without the foot. A last page of a few lines is saved by drawing
/// the parts nearer together; where that does not do, the section before them goes with them.
fn filled(document: &Document, paper: Paper) -> Vec<Figure> {
    let flow = flowed(document, paper, 1.0, None);
    if flow.pages.len() < 2 || flow.y > TOP_MM + SPARSE_MM {
        return flow.pages;
    }
    let nearer = flowed(document, paper, LEAST_LOOSE, None);
    if nearer.pages.len() < flow.pages.len() {
        return nearer.pages;
    }
    let with_them = flowed(document, paper, 1.0, document.sections.len().checked_sub(2));
    if with_them.pages.len() == flow.pages.len() { with_them.pages } else { flow.pages }
}

fn flowed(document: &Document, paper: Paper, loose: f64, breaks_before: Option<usize>) -> Flow {
    let left = (paper.size_mm()[0] - CHART_MM) / 2.0;
    let mut flow = Flow { paper, pages: Vec::new(), left, y: 0.0, loose, breaks_before };
    flow.new_page();
    flow.head(document);
    for (i, section) in document.sections.iter().enumerate() {
        if flow.breaks_before == Some(i) {
            flow.need(f64::INFINITY);
        }
        flow.section(section);
    }
    flow
}

/// Writes the foot with the page numbers on every page.
fn number(pages: &mut [Figure], foot: &str) {
    let count = pages.len();
    for (i, page) in pages.iter_mut().enumerate() {
        let y = page.height_mm - 10.0;
        let left = (page.width_mm - CHART_MM) / 2.0;
        let right = left + CHART_MM;
        let foot = wrap(foot, 2.6, false, CHART_MM - 25.0).into_iter().next().unwrap_or_default();
        page.line("foot", vec![[left, y - 4.0], [right, y - 4.0]], HAIR);
        page.text([left, y], foot, Anchor::Start, 2.6, Tone::Soft);
        page.text([right, y], format!("{} of {count}", i + 1), Anchor::End, 2.6, Tone::Soft);
    }
}

impl Flow {
    fn new_page(&mut self) {
        let [w, h] = self.paper.size_mm();
        self.pages.push(Figure::new(w, h, ""));
        self.y = TOP_MM;
    }

    fn page(&mut self) -> &mut Figure {
        self.pages.last_mut().expect("there is a page from the beginning")
    }

    fn room(&self) -> f64 {
        self.paper.size_mm()[1] - BOTTOM_MM - self.y
    }

    /// Begins a new page where `height` has no room on this one.
    fn need(&mut self, height: f64) {
        if height > self.room() && self.y > TOP_MM {
            self.new_page();
        }
    }

    fn write(&mut self, x: f64, text: &str, size: f64, bold: bool, tone: Tone) {
        let at = [x, self.y + size];
        let letters = Letters { at, text: text.into(), size_mm: size, anchor: Anchor::Start, bold, tone };
        self.page().items.push(Item::Letters(letters));
    }

    /// Lines one below the other; none is left alone at the foot of a page, nor at the head of the next.
    fn paragraph(&mut self, x: f64, text: &str, [size, line]: [f64; 2], bold: bool, tone: Tone, room: f64) {
        let lines = wrap(text, size, bold, room);
        let whole = lines.len() <= WHOLE_LINES;
        self.need(line * if whole { lines.len() } else { 3 } as f64);
        for (i, said) in lines.iter().enumerate() {
            let last_two = !whole && i + 2 == lines.len();
            self.need(line * if last_two { 2.0 } else { 1.0 });
            self.write(x, said, size, bold, tone);
            self.y += line;
        }
    }

    fn head(&mut self, document: &Document) {
        let left = self.left;
        self.paragraph(left, &document.kind, [3.4, 5.2], false, Tone::Soft, CHART_MM);
        // A name that is a sentence takes smaller letters, so that the photo stays on the first page.
        let large = [8.8, 11.0];
        let title =
            if wrap(&document.title, large[0], true, CHART_MM).len() > 2 { [5.6, 7.4] } else { large };
        self.paragraph(left, &document.title, title, true, Tone::Ink, CHART_MM);
        self.y += 0.8;
        self.paragraph(left, &document.subtitle, TEXT, false, Tone::Ink, CHART_MM);
        self.y += 2.5;
        let y = self.y;
        self.page().line("rule", vec![[left, y], [left + CHART_MM, y]], Stroke::solid(Tone::Ink, 0.7));
        self.y += 1.0;
    }

    fn section(&mut self, section: &Section) {
        self.need(13.0 + least_beginning(&section.blocks));
        if self.y > TOP_MM {
            self.y += 5.5 * self.loose;
        }
        self.write(self.left, &section.heading, 4.6, true, Tone::Ink);
        self.y += 6.6 + self.loose;
        for block in &section.blocks {
            match block {
                Block::Text { text } => {
                    self.paragraph(self.left, text, TEXT, false, Tone::Ink, CHART_MM);
                    self.y += 1.6 * self.loose;
                }
                Block::Keys { items } => self.keys(items),
                Block::Figures { items } => self.figures(items),
                Block::Table(table) => self.table(table),
                Block::Facts { items } => self.facts(items),
                Block::Notes { items } => self.notes(items),
            }
        }
    }

    /// Lesser lines below one another; moves the pen below them.
    fn lines(&mut self, [x, y]: [f64; 2], lines: &[String], size: f64) {
        self.y = y;
        for line in lines {
            self.write(x, line, size, false, Tone::Soft);
            self.y += SMALL[1];
        }
    }

    fn keys(&mut self, items: &[KeyFigure]) {
        let column = CHART_MM / items.len().max(3) as f64;
        let lesser = |size: f64, text: &str, indent: f64| wrap(text, size, false, column - 5.0 - indent);
        let indent = |item: &KeyFigure| if item.key.is_some() { 5.0 } else { 0.0 };
        let labels: Vec<_> = items.iter().map(|item| lesser(3.2, &item.label, indent(item))).collect();
        let seconds: Vec<_> = items.iter().map(|item| lesser(3.0, &item.second, 0.0)).collect();
        let more = |lines: &[Vec<String>]| lines.iter().map(Vec::len).max().unwrap_or(1).max(1) as f64 - 1.0;
        let value = 5.2 + SMALL[1] * more(&labels);
        let height = value + 17.8 + SMALL[1] * more(&seconds);
        self.need(height);
        let top = self.y;
        for (i, item) in items.iter().enumerate() {
            let x = self.left + i as f64 * column;
            let rule = vec![[x, top + 0.4], [x, top + height - 1.5]];
            self.page().line("key-rule", rule, Stroke::solid(Tone::Seat, 0.8));
            let x = x + 2.8;
            if let Some(key) = &item.key {
                self.page().key([x + 1.9, top + 2.2], key);
            }
            self.lines([x + indent(item), top + 0.3], &labels[i], 3.2);
            self.y = top + value;
            self.write(x, &item.value, 6.4, true, Tone::Ink);
            self.y = top + value + 8.0;
            self.write(x, &item.uncertainty, 3.4, false, Tone::Ink);
            self.lines([x, top + value + 12.5], &seconds[i], 3.0);
        }
        self.y = top + height + 1.5;
    }

    /// Figures beside one another as far as they fit, each with its caption below.
    fn figures(&mut self, items: &[Captioned]) {
        let mut rest = items;
        while !rest.is_empty() {
            let row = first_row(rest);
            self.figure_row(row);
            rest = &rest[row.len()..];
        }
    }

    fn figure_row(&mut self, row: &[Captioned]) {
        let captions: Vec<Vec<String>> = row.iter().map(caption_lines).collect();
        let height = row_height(row);
        self.need(height);
        let top = self.y;
        let mut x = self.left;
        for (item, caption) in row.iter().zip(&captions) {
            place(self.page(), &item.figure, [x, top]);
            for (k, line) in caption.iter().enumerate() {
                self.y = top + item.figure.height_mm + 1.5 + SMALL[1] * k as f64;
                self.write(x, line, SMALL[0], false, Tone::Soft);
            }
            x += item.figure.width_mm + GAP_MM;
        }
        self.y = top + height + 2.0 * self.loose;
    }

    fn table(&mut self, table: &Table) {
        let columns = Columns::of(table);
        let line = TEXT[1] + 1.5;
        let caption = 1.2 + SMALL[1] * wrap(&table.caption, SMALL[0], false, CHART_MM).len() as f64;
        let whole = if table.rows.len() <= 8 { caption } else { 0.0 };
        self.need(line * (table.rows.len().min(8) + 2) as f64 + whole);
        self.row(&columns, table, &table.head, Tone::Soft, Stroke::solid(Tone::Ink, 0.35));
        for (i, row) in table.rows.iter().enumerate() {
            // The caption does not stand alone on the next page.
            let last = i + 1 == table.rows.len();
            self.need(line + if last { caption } else { 0.0 });
            self.row(&columns, table, row, Tone::Ink, HAIR);
        }
        self.y += 1.2;
        self.paragraph(self.left, &table.caption, SMALL, false, Tone::Soft, CHART_MM);
        self.y += 2.5;
    }

    fn row(&mut self, columns: &Columns, table: &Table, row: &[String], tone: Tone, rule: Stroke) {
        let cells: Vec<Vec<String>> = row
            .iter()
            .zip(&columns.widths)
            .map(|(cell, w)| wrap(cell, columns.size, false, w + 0.05))
            .collect();
        let lines = cells.iter().map(Vec::len).max().unwrap_or(1).max(1);
        let height = lines as f64 * columns.size * 1.4 + 1.6;
        self.need(height);
        let top = self.y;
        let mut x = self.left;
        for (i, (cell, w)) in cells.iter().zip(&columns.widths).enumerate() {
            for (k, said) in cell.iter().enumerate() {
                self.y = top + 0.6 + k as f64 * columns.size * 1.4;
                let end = table.figures.get(i).copied().unwrap_or(false);
                let back = if end { w - width_mm(said, columns.size, false) } else { 0.0 };
                self.write(x + back, said, columns.size, false, tone);
            }
            x += w + Columns::GAP;
        }
        let (left, y) = (self.left, top + height);
        self.page().line("row", vec![[left, y], [x - Columns::GAP, y]], rule);
        self.y = y;
    }

    fn facts(&mut self, items: &[[String; 2]]) {
        for [word, is] in items {
            let words = wrap(word, 3.2, false, FACT_MM - 3.0);
            let lines = wrap(is, 3.2, false, CHART_MM - FACT_MM);
            self.need(4.5 * lines.len().max(words.len()) as f64);
            let top = self.y;
            for (x, lines, tone) in
                [(self.left, &words, Tone::Soft), (self.left + FACT_MM, &lines, Tone::Ink)]
            {
                for (k, line) in lines.iter().enumerate() {
                    self.y = top + 4.5 * k as f64;
                    self.write(x, line, 3.2, false, tone);
                }
            }
            self.y = top + 4.5 * lines.len().max(words.len()).max(1) as f64;
        }
        self.y += 1.5;
    }

    /// The bar beside a note, from `top` to the pen.
    fn note_rule(&mut self, top: f64) {
        let bar = vec![[self.left + 0.5, top + 0.3], [self.left + 0.5, self.y - 0.6]];
        self.page().line("note-rule", bar, Stroke::solid(Tone::Ink, 0.6));
    }

    fn notes(&mut self, items: &[Note]) {
        for note in items {
            let room = CHART_MM - 4.0;
            let title = wrap(&note.title, TEXT[0], true, room);
            let text = wrap(&note.text, TEXT[0], false, room);
            let word = if note.word.is_some() { WORD_MM } else { 0.0 };
            self.need(word + TEXT[1] * (title.len() + text.len()) as f64);
            let (top, x) = (self.y, self.left + 4.0);
            let mut top = top;
            let mut title = title.as_slice();
            if let Some(word) = &note.word {
                let beside = self.word(x, word);
                // The title's only line goes beside the word where it has room there.
                if let [line] = title
                    && beside + width_mm(line, TEXT[0], true) <= self.left + CHART_MM
                {
                    self.y += 0.7;
                    self.write(beside, line, TEXT[0], true, Tone::Ink);
                    self.y -= 0.7;
                    title = &[];
                }
                self.y += WORD_MM;
            }
            for (lines, bold) in [(title, true), (&text, false)] {
                for line in lines {
                    // Only a note longer than a page is parted.
                    if TEXT[1] > self.room() {
                        self.note_rule(top);
                        self.new_page();
                        top = self.y;
                    }
                    self.write(x, line, TEXT[0], bold, Tone::Ink);
                    self.y += TEXT[1];
                }
            }
            self.note_rule(top);
            self.y += 2.0;
        }
    }

    /// A word in a frame; gives where what stands beside it may begin.
    fn word(&mut self, x: f64, word: &str) -> f64 {
        let width = width_mm(word, TEXT[0], true) + 3.0;
        let frame = [x, self.y, width, 5.2];
        self.page().rect("word", frame, None, Some(Stroke::solid(Tone::Ink, 0.4)));
        self.y += 0.7;
        self.write(x + 1.5, word, TEXT[0], true, Tone::Ink);
        self.y -= 0.7;
        x + width + 2.0
    }
}

/// As many figures as stand beside one another, one at least.
fn first_row(items: &[Captioned]) -> &[Captioned] {
    let mut used = 0.0;
    let fits = |item: &&Captioned| {
        used += item.figure.width_mm + GAP_MM;
        used - GAP_MM <= CHART_MM + 0.1
    };
    &items[..items.iter().take_while(fits).count().max(1).min(items.len())]
}

fn caption_lines(item: &Captioned) -> Vec<String> {
    wrap(&item.caption, SMALL[0], false, item.figure.width_mm - 2.0)
}

/// Height of figures beside one another with the longest of their captions, mm.
fn row_height(row: &[Captioned]) -> f64 {
    let tallest = row.iter().map(|c| c.figure.height_mm).fold(0.0, f64::max);
    let most = row.iter().map(|c| caption_lines(c).len()).max().unwrap_or(0) as f64;
    tallest + 1.5 + most * SMALL[1]
}

/// The height of a line with a framed word, mm.
const WORD_MM: f64 = 6.6;
/// A paragraph of at most so many lines is not parted.
const WHOLE_LINES: usize = 6;

/// The least height of what may stand below a heading at the foot of a page, mm: a word on a figure stays with it.
fn least_beginning(blocks: &[Block]) -> f64 {
    match blocks {
        [Block::Text { .. }, figures @ Block::Figures { .. }, ..] => 3.0 * TEXT[1] + least_height(figures),
        [first, ..] => least_height(first),
        [] => 0.0,
    }
}

/// The least height of a block that may stand below its heading at the foot of a page, mm.
fn least_height(block: &Block) -> f64 {
    match block {
        Block::Figures { items } => row_height(first_row(items)),
        Block::Table(table) => 7.0 * (table.rows.len().min(8) + 2) as f64,
        Block::Keys { .. } => 32.0,
        Block::Facts { items } => (4.8 * items.len() as f64).min(50.0),
        // A short paragraph is not parted.
        Block::Text { .. } => WHOLE_LINES as f64 * TEXT[1],
        _ => 3.0 * TEXT[1],
    }
}

/// The columns of a table and the size of its letters, mm.
struct Columns {
    widths: Vec<f64>,
    size: f64,
}

impl Columns {
    /// Between columns, mm.
    const GAP: f64 = 4.5;

    /// As wide as their cells; where that is too wide for the page, in smaller letters, and where that is too wide too,
    /// the widest columns narrower, as far as they must.
    fn of(table: &Table) -> Self {
        let room = CHART_MM - Self::GAP * table.head.len().saturating_sub(1) as f64;
        let whole = Self::natural(table, 3.3);
        if whole.widths.iter().sum::<f64>() <= room {
            return whole;
        }
        let mut small = Self::natural(table, 2.9);
        let most = widest_allowed(&small.widths, room);
        small.widths.iter_mut().for_each(|w| *w = w.min(most));
        small
    }

    /// As wide as their cells.
    fn natural(table: &Table, size: f64) -> Self {
        let widest = |i: usize| {
            let cells = table.rows.iter().chain([&table.head]).filter_map(|r| r.get(i));
            cells.map(|c| width_mm(c, size, false) + 0.2).fold(3.0, f64::max)
        };
        Self { widths: (0..table.head.len()).map(widest).collect(), size }
    }
}

/// The width to which columns are cut so that together they take no more than `room`: those narrower than an equal
/// share keep their own, and the others share what is left.
fn widest_allowed(widths: &[f64], room: f64) -> f64 {
    let mut sorted = widths.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut left = room;
    for (i, w) in sorted.iter().enumerate() {
        let share = left / (sorted.len() - i) as f64;
        if *w > share {
            return share;
        }
        left -= w;
    }
    f64::INFINITY
}

/// Puts a figure on a page.
fn place(page: &mut Figure, figure: &Figure, [dx, dy]: [f64; 2]) {
    let moved = |[x, y]: [f64; 2]| [x + dx, y + dy];
    page.items.extend(figure.items.iter().cloned().map(|item| match item {
        Item::Path { class, points, closed, stroke, fill } => {
            Item::Path { class, points: points.into_iter().map(moved).collect(), closed, stroke, fill }
        }
        Item::Letters(letters) => Item::Letters(Letters { at: moved(letters.at), ..letters }),
        Item::Picture { jpeg, rect: [x, y, w, h] } => Item::Picture { jpeg, rect: [x + dx, y + dy, w, h] },
    }));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn narrow_columns_keep_their_width_and_wide_ones_share_the_rest() {
        let most = widest_allowed(&[10.0, 80.0, 20.0, 60.0], 100.0);
        assert_eq!(most, 35.0);
        assert_eq!(widest_allowed(&[10.0, 20.0], 100.0), f64::INFINITY);
    }

    fn key(label: &str, second: &str) -> KeyFigure {
        let (value, uncertainty) = ("54.3 mm".into(), "± 1.6 mm".into());
        KeyFigure { key: Some("F".into()), label: label.into(), value, uncertainty, second: second.into() }
    }

    /// Texts of one page as left, top, right, bottom, mm.
    fn texts(page: &Figure) -> Vec<(String, [f64; 4])> {
        page.letters()
            .filter(|l| l.anchor == Anchor::Start)
            .map(|l| {
                let right = l.at[0] + width_mm(&l.text, l.size_mm, l.bold);
                (l.text.clone(), [l.at[0], l.at[1] - 0.75 * l.size_mm, right, l.at[1]])
            })
            .collect()
    }

    fn assert_apart(page: &Figure) {
        let texts = texts(page);
        for (i, (a, p)) in texts.iter().enumerate() {
            for (b, q) in &texts[i + 1..] {
                let apart = p[0] >= q[2] || q[0] >= p[2] || p[1] >= q[3] || q[1] >= p[3];
                assert!(apart, "{a} and {b} run into one another");
            }
        }
    }

    fn document(block: Block) -> Document {
        let section = Section { id: "x", heading: "A heading".into(), blocks: vec![block] };
        let title = "a name".into();
        Document {
            kind: "a kind".into(),
            title,
            subtitle: String::new(),
            sections: vec![section],
            foot: String::new(),
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
        for page in pages(&document(Block::Keys { items }), Paper::A4) {
            assert_apart(&page);
            let right = page.width_mm - (page.width_mm - CHART_MM) / 2.0;
            assert!(texts(&page).iter().all(|(_, t)| t[2] <= right), "within the text's width");
        }
    }

    #[test]
    fn facts_keep_to_their_columns() {
        let long = "A name of a saddle that is far longer than its column on the page".to_owned();
        let items = vec![[long.clone(), "the reason".into()], ["Short".into(), long]];
        for page in pages(&document(Block::Facts { items }), Paper::Letter) {
            assert_apart(&page);
        }
    }

    #[test]
    fn a_note_longer_than_a_page_goes_on_upon_the_next() {
        let items = vec![Note::plain("A title", "word ".repeat(2000))];
        let pages = filled(&document(Block::Notes { items }), Paper::A4);
        assert!(pages.len() > 1);
        for page in &pages {
            assert!(texts(page).iter().all(|(_, t)| t[3] < page.height_mm - BOTTOM_MM + 1.0));
        }
    }

    /// A document whose sections are facts of one line, each as many as given.
    fn sections(lines: &[usize]) -> Document {
        let mut whole = document(Block::text(""));
        let of = |count: &usize| Section {
            id: "x",
            heading: "A heading".into(),
            blocks: vec![Block::Facts { items: vec![["a fact".into(), "is so".into()]; *count] }],
        };
        whole.sections = lines.iter().map(of).collect();
        whole
    }

    #[test]
    fn a_last_page_of_a_few_lines_is_saved_or_filled() {
        // A heading and two facts of two texts.
        let alone =
            |pages: &[Figure]| pages.len() > 1 && pages.last().is_some_and(|page| texts(page).len() <= 5);
        let mut remedies = [false; 2];
        // Through every place at which the last section can come to lie.
        for first in 4..60 {
            let whole = sections(&[first, 4, 5, 2]);
            let plain = flowed(&whole, Paper::A4, 1.0, None).pages;
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
            let figure = || Figure::new(60.0, 90.0, "a figure");
            let item = Captioned::new(figure(), None, "caption ".repeat(30));
            whole.sections[1] = Section {
                id: "y",
                heading: "Its heading".into(),
                blocks: vec![Block::text("A word on it."), Block::Figures { items: vec![item] }],
            };
            for page in filled(&whole, Paper::Letter) {
                let said = texts(&page);
                let has = |start: &str| said.iter().any(|(t, _)| t.starts_with(start));
                assert_eq!(has("Its heading"), has("caption"), "{before}");
            }
        }
    }

    #[test]
    fn no_line_of_a_paragraph_stands_alone_on_a_page() {
        let long = "word ".repeat(160);
        for before in 20..60 {
            let mut whole = sections(&[before]);
            whole.sections[0].blocks.push(Block::text(&*long));
            let pages = filled(&whole, Paper::A4);
            let of_it = |page: &Figure| texts(page).iter().filter(|(t, _)| t.starts_with("word")).count();
            assert!(pages.iter().all(|page| of_it(page) != 1), "{before}");
        }
    }

    #[test]
    fn every_page_says_which_of_how_many_below_what_it_holds() {
        let items = vec![Note::plain("A title", "word ".repeat(2000))];
        let mut document = document(Block::Notes { items });
        document.foot = "a foot".into();
        let pages = pages(&document, Paper::Letter);
        for (i, page) in pages.iter().enumerate() {
            assert_apart(page);
            let said = format!("{} of {}", i + 1, pages.len());
            let number = page.letters().find(|l| l.text == said).expect("the page's number");
            let lowest =
                texts(page).iter().filter(|(t, _)| t != "a foot").map(|(_, t)| t[3]).fold(0.0, f64::max);
            assert!(number.at[1] - number.size_mm > lowest, "the foot stands below the text");
        }
    }
}
