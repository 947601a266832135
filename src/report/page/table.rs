//! Tables on paper.

use super::document::Table;
use super::pieces::{Piece, caption};
use crate::canvas::{Anchor, Stroke, TextStyle, wrap};
use crate::report::figure::chart::CHART_MM;
use crate::report::palette::{HAIRLINE, INK, SOFT};

/// A table of at most so many rows is not split.
const WHOLE_ROWS: usize = 8;
/// Between columns, mm.
const GAP_MM: f64 = 4.5;

/// The rows with the head above and the caption below, of which neither stands alone on a page.
pub fn table(table: &Table) -> Vec<Piece> {
    let columns = Columns::of(table);
    let mut pieces = vec![columns.row(table, &table.head, SOFT_HEAD)];
    pieces.extend(table.rows.iter().map(|row| columns.row(table, row, BODY)));
    let count = pieces.len();
    for (i, piece) in pieces.iter_mut().enumerate() {
        piece.keep_with_next = i <= WHOLE_ROWS || i + 1 == count;
    }
    pieces[count - 1].gap_mm = 1.2;
    pieces.extend(caption(&table.caption));
    if let Some(last) = pieces.last_mut() {
        (last.gap_mm, last.keep_with_next) = (2.5, false);
    }
    pieces
}

/// Colour of a row's text, and the line below it.
type Look = (crate::canvas::Colour, Stroke);
const SOFT_HEAD: Look = (SOFT, Stroke::solid(INK, 0.35));
const BODY: Look = (INK, HAIRLINE);

/// The columns of a table and the size of its letters, mm.
struct Columns {
    widths: Vec<f64>,
    size_mm: f64,
}

impl Columns {
    /// As wide as their cells; where that is too wide for the page, in smaller letters; and where that is still too wide,
    /// the widest columns narrower.
    fn of(table: &Table) -> Self {
        let whole_mm = CHART_MM - GAP_MM * table.head.len().saturating_sub(1) as f64;
        let usual = Self::natural(table, 3.3);
        if usual.widths.iter().sum::<f64>() <= whole_mm {
            return usual;
        }
        let mut small = Self::natural(table, 2.9);
        let most = widest_allowed(&small.widths, whole_mm);
        small.widths.iter_mut().for_each(|w| *w = w.min(most));
        small
    }

    fn natural(table: &Table, size_mm: f64) -> Self {
        let style = TextStyle::regular(size_mm, INK);
        let widest = |i: usize| {
            let cells = table.rows.iter().chain([&table.head]).filter_map(|r| r.get(i));
            cells.map(|c| style.width_mm(c) + 0.2).fold(3.0, f64::max)
        };
        Self { widths: (0..table.head.len()).map(widest).collect(), size_mm }
    }

    fn row(&self, table: &Table, row: &[String], (colour, rule): Look) -> Piece {
        let style = TextStyle::regular(self.size_mm, colour);
        let cells: Vec<Vec<String>> =
            row.iter().zip(&self.widths).map(|(cell, w)| wrap(cell, style, w + 0.05)).collect();
        let lines = cells.iter().map(Vec::len).max().unwrap_or(1).max(1);
        let pitch = self.size_mm * 1.4;
        let mut piece = Piece::new(lines as f64 * pitch + 1.6);
        let mut x = 0.0;
        for (i, (cell, w)) in cells.iter().zip(&self.widths).enumerate() {
            let (x_text, anchor) =
                if i >= table.figures_from { (x + w, Anchor::End) } else { (x, Anchor::Start) };
            for (k, line) in cell.iter().enumerate() {
                let y = 0.6 + k as f64 * pitch + self.size_mm;
                piece.canvas.text([x_text, y], anchor, &**line, style);
            }
            x += w + GAP_MM;
        }
        let y = piece.canvas.height_mm;
        piece.canvas.line("row", [[0.0, y], [x - GAP_MM, y]], rule);
        piece
    }
}

/// The width to which columns are cut so that together they take no more than `whole_mm`: those narrower than an equal
/// share keep their own, and the others share what is left.
fn widest_allowed(widths: &[f64], whole_mm: f64) -> f64 {
    let mut sorted = widths.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut left = whole_mm;
    for (i, w) in sorted.iter().enumerate() {
        let share = left / (sorted.len() - i) as f64;
        if *w > share {
            return share;
        }
        left -= w;
    }
    f64::INFINITY
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
}
