//! The blocks of a report as pieces that are never split over two pages.

use super::document::{Block, Captioned, Document, KeyFigure, Note, Section};
use super::table::table;
use crate::canvas::{Anchor, Canvas, Path, Point, Stroke, TextStyle, wrap};
use crate::report::figure::chart::CHART_MM;
use crate::report::figure::key;
use crate::report::palette::{INK, SEAT, SOFT};

/// A drawing of the text's width, with the gap below it.
pub struct Piece {
    /// The drawing.
    pub canvas: Canvas,
    /// The gap to the next piece, mm.
    pub gap_mm: f64,
    /// Whether the next piece stands on the same page.
    pub keep_with_next: bool,
}

impl Piece {
    pub(super) fn new(height_mm: f64) -> Self {
        Self { canvas: Canvas::new([CHART_MM, height_mm], ""), gap_mm: 0.0, keep_with_next: false }
    }

    fn text(&mut self, [x, y]: Point, text: impl Into<String>, style: TextStyle) {
        self.canvas.text([x, y + style.size_mm], Anchor::Start, text, style);
    }

    /// Lines below one another, the top of the first at a point.
    fn lines(&mut self, [x, y]: Point, lines: &[String], (style, pitch_mm): Lines) {
        for (i, line) in lines.iter().enumerate() {
            self.text([x, y + pitch_mm * i as f64], &**line, style);
        }
    }
}

/// A style with the distance of its lines, mm.
type Lines = (TextStyle, f64);

/// Running text, 10 on 14 points.
const TEXT: Lines = (TextStyle::regular(3.5, INK), 4.95);
const BOLD: Lines = (TextStyle::bold(3.5, INK), 4.95);
const CAPTION: Lines = (TextStyle::regular(3.0, SOFT), 4.2);
const FACT: Lines = (TextStyle::regular(3.2, INK), 4.5);
/// Width of the words before facts, mm.
const FACT_MM: f64 = 42.0;
/// Height of a line with a framed word, mm.
const WORD_MM: f64 = 6.6;
/// From the bar beside a note to its text, mm.
const NOTE_MM: f64 = 4.0;
/// A paragraph of at most so many lines is not split.
const WHOLE_LINES: usize = 6;
/// So much of a list of facts stays with its heading, mm.
const FACTS_WITH_HEADING_MM: f64 = 45.0;
/// Between figures side by side, mm.
pub const GAP_MM: f64 = 4.0;

/// Sets the gap below the last of the pieces.
fn ended(mut pieces: Vec<Piece>, gap_mm: f64) -> Vec<Piece> {
    if let Some(last) = pieces.last_mut() {
        last.gap_mm = gap_mm;
    }
    pieces
}

fn kept_together(pieces: &mut [Piece]) {
    let before_last = pieces.len().saturating_sub(1);
    pieces[..before_last].iter_mut().for_each(|piece| piece.keep_with_next = true);
}

/// Lines of which none stands alone at the foot or at the head of a page.
pub(super) fn paragraph(text: &str, (style, pitch_mm): Lines) -> Vec<Piece> {
    let lines = wrap(text, style, CHART_MM);
    let count = lines.len();
    let piece = |(i, line): (usize, String)| {
        let mut piece = Piece::new(pitch_mm);
        piece.text([0.0, 0.0], line, style);
        let whole = count <= WHOLE_LINES || i < 2 || i + 2 == count;
        piece.keep_with_next = whole && i + 1 < count;
        piece
    };
    lines.into_iter().enumerate().map(piece).collect()
}

pub(super) fn caption(text: &str) -> Vec<Piece> {
    paragraph(text, CAPTION)
}

/// The head of the first page.
pub fn head(document: &Document) -> Vec<Piece> {
    // A long name in smaller letters, so that the photo stays on the first page.
    let large = (TextStyle::bold(8.8, INK), 11.0);
    let small = (TextStyle::bold(5.6, INK), 7.4);
    let long = wrap(&document.title, large.0, CHART_MM).len() > 2;
    let mut pieces: Vec<Piece> = document.letterhead.iter().flat_map(|line| paragraph(line, FACT)).collect();
    pieces = ended(pieces, 5.0);
    pieces.extend(paragraph(&document.kind, (TextStyle::regular(3.4, SOFT), 5.2)));
    pieces.extend(ended(paragraph(&document.title, if long { small } else { large }), 0.8));
    pieces.extend(ended(paragraph(&document.subtitle, TEXT), 2.5));
    let mut rule = Piece::new(6.5);
    rule.canvas.line("rule", [[0.0, 0.0], [CHART_MM, 0.0]], Stroke::solid(INK, 0.7));
    pieces.push(rule);
    kept_together(&mut pieces);
    pieces
}

/// A section with its heading, which stays with what follows.
pub fn section(section: &Section) -> Vec<Piece> {
    let mut heading = Piece::new(6.6);
    heading.text([0.0, 0.0], &*section.heading, TextStyle::bold(4.6, INK));
    heading.gap_mm = 1.0;
    heading.keep_with_next = true;
    let mut pieces = vec![heading];
    for (i, block) in section.blocks.iter().enumerate() {
        let mut of_block = match block {
            Block::Text(text) => ended(paragraph(text, TEXT), 1.6),
            Block::KeyFigures(items) => vec![key_figures(items)],
            Block::Figures(items) => figure_rows(items),
            Block::Table(block) => table(block),
            Block::Facts(items) => facts(items),
            Block::Notes(items) => items.iter().flat_map(note).collect(),
        };
        // A text at the beginning stays with what it introduces.
        if i == 0 && section.blocks.len() > 1 && matches!(block, Block::Text(_)) {
            of_block.iter_mut().for_each(|piece| piece.keep_with_next = true);
        }
        pieces.extend(of_block);
    }
    pieces
}

fn key_figures(items: &[KeyFigure]) -> Piece {
    let column = CHART_MM / items.len().max(3) as f64;
    let (label, second) = ((TextStyle::regular(3.2, SOFT), CAPTION.1), CAPTION);
    let indent = |item: &KeyFigure| if item.key.is_some() { 5.0 } else { 0.0 };
    let labels: Vec<_> =
        items.iter().map(|item| wrap(&item.label, label.0, column - 5.0 - indent(item))).collect();
    let seconds: Vec<_> = items.iter().map(|item| wrap(&item.second, second.0, column - 5.0)).collect();
    let more =
        |lines: &[Vec<String>]| lines.iter().map(|l| l.len().saturating_sub(1)).max().unwrap_or(0) as f64;
    let value = 5.2 + CAPTION.1 * more(&labels);
    let height = value + 17.8 + CAPTION.1 * more(&seconds);
    let mut piece = Piece::new(height);
    piece.gap_mm = 1.5;
    for (i, item) in items.iter().enumerate() {
        let x = i as f64 * column;
        piece.canvas.line("key-rule", [[x, 0.4], [x, height - 1.5]], Stroke::solid(SEAT, 0.8));
        let x = x + 2.8;
        if let Some(letter) = &item.key {
            key(&mut piece.canvas, [x + 1.9, 2.2], letter);
        }
        piece.lines([x + indent(item), 0.3], &labels[i], label);
        piece.text([x, value], &*item.value, TextStyle::bold(6.4, INK));
        piece.text([x, value + 8.0], &*item.uncertainty, TextStyle::regular(3.4, INK));
        piece.lines([x, value + 12.5], &seconds[i], second);
    }
    piece
}

/// Figures beside one another as far as they fit, each with its caption below.
fn figure_rows(items: &[Captioned]) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut rest = items;
    while !rest.is_empty() {
        let mut used = 0.0;
        let fits = |item: &&Captioned| {
            used += item.figure.width_mm + GAP_MM;
            used - GAP_MM <= CHART_MM + 0.1
        };
        let (row, after) = rest.split_at(rest.iter().take_while(fits).count().max(1));
        rest = after;
        let captions: Vec<_> =
            row.iter().map(|item| wrap(&item.caption, CAPTION.0, item.figure.width_mm - 2.0)).collect();
        let tallest = row.iter().map(|item| item.figure.height_mm).fold(0.0, f64::max);
        let most = captions.iter().map(Vec::len).max().unwrap_or(0) as f64;
        let mut piece = Piece::new(tallest + 1.5 + most * CAPTION.1);
        piece.gap_mm = 2.0;
        let mut x = 0.0;
        for (item, caption) in row.iter().zip(&captions) {
            piece.canvas.place(&item.figure, [x, 0.0]);
            piece.lines([x, item.figure.height_mm + 1.5], caption, CAPTION);
            x += item.figure.width_mm + GAP_MM;
        }
        pieces.push(piece);
    }
    pieces
}

fn facts(items: &[[String; 2]]) -> Vec<Piece> {
    let mut down = 0.0;
    let fact = |(i, [word, is]): (usize, &[String; 2])| {
        let (words, lines) = (wrap(word, FACT.0, FACT_MM - 3.0), wrap(is, FACT.0, CHART_MM - FACT_MM));
        let mut piece = Piece::new(FACT.1 * words.len().max(lines.len()).max(1) as f64);
        piece.lines([0.0, 0.0], &words, (TextStyle { colour: SOFT, ..FACT.0 }, FACT.1));
        piece.lines([FACT_MM, 0.0], &lines, FACT);
        down += piece.canvas.height_mm;
        piece.keep_with_next = down < FACTS_WITH_HEADING_MM && i + 1 < items.len();
        piece
    };
    ended(items.iter().enumerate().map(fact).collect(), 1.5)
}

/// A note with a bar beside it, line by line, so that one longer than a page can be split.
fn note(note: &Note) -> Vec<Piece> {
    let width = CHART_MM - NOTE_MM;
    let mut title = wrap(&note.title, BOLD.0, width);
    let mut pieces = Vec::new();
    if let Some(word) = &note.word {
        let mut piece = Piece::new(WORD_MM);
        let frame = [NOTE_MM, 0.0, BOLD.0.width_mm(word) + 3.0, 5.2];
        piece.canvas.stroke("word", Path::rect(frame), Stroke::solid(INK, 0.4));
        piece.text([NOTE_MM + 1.5, 0.7], &**word, BOLD.0);
        // A title of one line stands beside the word where it fits.
        let beside = frame[0] + frame[2] + 2.0;
        if let Some(line) = title.pop_if(|line| beside + BOLD.0.width_mm(line) <= CHART_MM) {
            if title.is_empty() {
                piece.text([beside, 0.7], line, BOLD.0);
            } else {
                title.push(line);
            }
        }
        pieces.push(piece);
    }
    let text = wrap(&note.text, TEXT.0, width);
    for (line, style) in title.iter().map(|l| (l, BOLD.0)).chain(text.iter().map(|l| (l, TEXT.0))) {
        let mut piece = Piece::new(TEXT.1);
        piece.text([NOTE_MM, 0.0], &**line, style);
        pieces.push(piece);
    }
    let last = pieces.len().saturating_sub(1);
    for (i, piece) in pieces.iter_mut().enumerate() {
        let top = if i == 0 { 0.3 } else { 0.0 };
        let bottom = piece.canvas.height_mm - if i == last { 0.6 } else { 0.0 };
        piece.canvas.line("note-rule", [[0.5, top], [0.5, bottom]], Stroke::solid(INK, 0.6));
    }
    kept_together(&mut pieces);
    ended(pieces, 2.0)
}
