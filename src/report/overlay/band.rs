//! The band below the photo: which saddle, and the legend.

use super::{TEXT, style};
use crate::canvas::{Anchor, CAP_HEIGHT, Canvas, Path, Point, TextStyle, fitted};
use crate::report::palette::INK;
use crate::report::words::outer_line;
use crate::sheet::Sheet;

const TITLE: TextStyle = TextStyle::bold(4.0, INK);
/// White at the band's borders, mm.
const BORDER_MM: f64 = 3.5;
/// From one base line to the next, mm.
const LINE_MM: f64 = 5.0;
/// Length of a line's sample, mm.
const SWATCH_MM: f64 = 7.5;
/// From a sample to its words, and between entries, mm.
const GAPS_MM: [f64; 2] = [1.75, 5.0];

/// Writes entries one after another, in as many lines as they need.
struct Legend<'a> {
    canvas: &'a mut Canvas,
    at: Point,
}

impl Legend<'_> {
    /// Adds words, with a sample of their line before them.
    fn entry(&mut self, line: Option<&style::Style>, words: &str) {
        let before = if line.is_some() { SWATCH_MM + GAPS_MM[0] } else { 0.0 };
        let width = before + TEXT.width_mm(words);
        if self.at[0] > BORDER_MM && self.at[0] + width > self.canvas.width_mm - BORDER_MM {
            self.at = [BORDER_MM, self.at[1] + LINE_MM];
        }
        let [x, y] = self.at;
        if let Some(line) = line {
            let middle = y - TEXT.size_mm * CAP_HEIGHT / 2.0;
            line.swatch(self.canvas, Path::line([[x, middle], [x + SWATCH_MM, middle]]));
        }
        self.canvas.text([x + before, y], Anchor::Start, words, TEXT);
        self.at[0] += width + GAPS_MM[1];
    }
}

/// Adds the band: the title, which photo it is, the legend of the lines that are drawn, and the labels that found no
/// place in the photo. The canvas grows by its height.
pub(super) fn add(sheet: &Sheet, photo: usize, unplaced: &[String], canvas: &mut Canvas) {
    let drawn = |line: &&&style::Style| super::has(canvas, line.class);
    let shown: Vec<&style::Style> = style::LEGEND.iter().filter(drawn).copied().collect();
    let (top, width) = (canvas.height_mm, canvas.width_mm - 2.0 * BORDER_MM);
    let ground = canvas.items.len();
    let title = fitted(&canvas.label, TITLE, width);
    let which = fitted(&which(sheet, photo), TEXT, width);
    canvas.text([BORDER_MM, top + 6.25], Anchor::Start, &*title, TITLE);
    let start = BORDER_MM + TITLE.width_mm(&title) + GAPS_MM[1];
    let mut legend = Legend { canvas, at: [start, top + 6.25] };
    legend.entry(None, &which);
    legend.entry(None, "± is the 95 % uncertainty");
    legend.at = [BORDER_MM, legend.at[1] + LINE_MM + 0.5];
    for line in shown {
        let is_outer = line.class == style::SEAT_EDGE.class;
        let words = if is_outer { sheet.view.map_or(line.legend, outer_line) } else { line.legend };
        legend.entry(Some(line), words);
    }
    for text in unplaced {
        legend.entry(None, text);
    }
    canvas.height_mm = legend.at[1] + BORDER_MM;
    let band = Path::rect([0.0, top, canvas.width_mm, canvas.height_mm - top]);
    canvas.fill("band", band, style::BAND);
    canvas.items[ground..].rotate_right(1);
}

/// The photo that is shown, and of how many where several were measured together.
fn which(sheet: &Sheet, photo: usize) -> String {
    let file = sheet.photos.get(photo).map_or("", |p| p.file.as_str());
    match sheet.photos.len() {
        0 | 1 => file.to_owned(),
        count => format!("{file}, photo {} of {count} measured together", photo + 1),
    }
}
