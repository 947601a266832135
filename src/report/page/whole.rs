//! Every named width in its whole length at true scale, on one landscape page: nothing to cut or to join.

use super::tiles::{BAR_IN, BAR_MM};
use crate::canvas::{Anchor, Canvas, MM_PER_INCH, Paper, Stroke, TextStyle};
use crate::numeric::words::{Part, View};
use crate::report::figure::ruler::Ruler;
use crate::report::palette::{CHANNEL, INK, SEAT, SOFT};
use crate::report::shape::Shape;
use crate::report::units::Units;
use crate::report::words::{shortened, width};

/// Margin that printers leave white, and height of the foot, mm.
const MARGIN_MM: f64 = 12.0;
const FOOT_MM: f64 = 22.0;
/// The first row, and the most from row to row, mm.
const TOP_MM: f64 = 26.0;
const ROW_MM: f64 = 19.0;
const TITLE: TextStyle = TextStyle::bold(4.4, INK);
const TEXT: TextStyle = TextStyle::regular(3.0, INK);

/// The page of one saddle. Seen from below, the outer line is that of the panels, whose widths stand beside the channel's.
pub fn page(shapes: &[&Shape], name: &str, paper: Paper, units: Units) -> Canvas {
    let [short, long] = paper.size_mm();
    let mut page = Canvas::new([long, short], "");
    let title = format!("{}: every width in whole length", shortened(name, 40));
    page.text([MARGIN_MM, 17.0], Anchor::Start, title, TITLE);
    let rows: Vec<_> =
        shapes.iter().flat_map(|shape| shape.named.iter().map(move |w| (shape.view, w))).collect();
    let pitch = ((short - TOP_MM - FOOT_MM) / rows.len().max(1) as f64).min(ROW_MM);
    for (i, (view, w)) in rows.into_iter().enumerate() {
        let y = TOP_MM + pitch * i as f64;
        let words = format!("{}: {}", width(Some(view), w.name), units.both(w.mm, w.u95));
        let fits = w.mm <= long - 2.0 * MARGIN_MM;
        let note = if fits { "" } else { " (wider than this paper)" };
        page.text([MARGIN_MM, y + 3.0], Anchor::Start, words + note, TEXT);
        let colour = if w.name.part() == Part::Channel || view == View::Underside { CHANNEL } else { SEAT };
        if fits {
            let (left, line) = (MARGIN_MM, y + 7.5);
            page.line("whole-width", [[left, line], [left + w.mm, line]], Stroke::solid(colour, 0.8));
            for at in [left, left + w.mm] {
                page.line("whole-end", [[at, line - 2.8], [at, line + 2.8]], Stroke::solid(INK, 0.25));
            }
        }
    }
    foot(&mut page);
    page
}

fn foot(page: &mut Canvas) {
    let y = page.height_mm - FOOT_MM + 5.0;
    for (x, length_mm, inches) in
        [(MARGIN_MM, BAR_MM, false), (MARGIN_MM + BAR_MM + 18.0, BAR_IN * MM_PER_INCH, true)]
    {
        let bar =
            Ruler { zero: [x, y], down: false, after: true, range_mm: [0.0, length_mm], scale: 1.0, inches };
        bar.draw(page);
        bar.unit(page);
    }
    let words = "Print at 100 % and check the bars with a ruler. Lay a caliper between the end marks.";
    page.text([MARGIN_MM, y + 12.5], Anchor::Start, words, TextStyle::regular(2.8, SOFT));
}
