//! The plan at true scale, on as many pages as it takes, to be cut out and put together.

use crate::canvas::{Anchor, Canvas, MM_PER_INCH, Paper, Path, Point, Stroke, TextStyle};
use crate::numeric::words::Part;
use crate::report::figure::key;
use crate::report::figure::ruler::Ruler;
use crate::report::palette::{CHANNEL_EDGE, HAIR, INK, MIDLINE, SEAT, SOFT};
use crate::report::shape::Shape;
use crate::report::words::shortened;

/// Margin that printers leave white, and height of the foot, mm.
const MARGIN_MM: f64 = 12.0;
const FOOT_MM: f64 = 25.0;
/// What neighbouring pages share, mm.
const OVERLAP_MM: f64 = 10.0;
/// Around the outline, mm.
const AROUND_MM: f64 = 8.0;
/// Length of the check bar in millimetres, mm.
pub const BAR_MM: f64 = 100.0;
/// Length of the check bar in inches, in.
pub const BAR_IN: f64 = 4.0;
/// Fine lines.
const FINE: Stroke = Stroke::solid(SOFT, 0.2);
const CROSS: Stroke = Stroke::solid(INK, 0.2);
/// Words at the widths and in the foot.
const TEXT: TextStyle = TextStyle::regular(2.6, INK);

/// How the plan is spread over pages.
struct Grid {
    /// Rows and columns of pages.
    size: [usize; 2],
    paper: Paper,
}

/// A page's row and column.
type Tile = [usize; 2];

/// What a page shows of the plan, mm.
fn net_mm(paper: Paper) -> [f64; 2] {
    let [w, h] = paper.size_mm();
    [w - 2.0 * MARGIN_MM, h - MARGIN_MM - FOOT_MM]
}

impl Grid {
    fn of(shape: &Shape, paper: Paper) -> Self {
        let [w, h] = net_mm(paper);
        let count =
            |length: f64, net: f64| (((length - OVERLAP_MM) / (net - OVERLAP_MM)).ceil() as usize).max(1);
        let rows = count(shape.length_mm + 2.0 * AROUND_MM, h);
        Self { size: [rows, count(2.0 * (shape.reach_mm() + AROUND_MM), w)], paper }
    }

    /// What a page shows: left, top, width, height, mm of the saddle. Neighbours share a strip.
    fn window(&self, shape: &Shape, [row, column]: Tile) -> [f64; 4] {
        let [w, h] = net_mm(self.paper);
        let [rows, columns] = self.size;
        let start = |net: f64, count: usize, index: usize, middle: f64| {
            let pitch = net - OVERLAP_MM;
            middle - (net + (count - 1) as f64 * pitch) / 2.0 + index as f64 * pitch
        };
        [start(w, columns, column, 0.0), start(h, rows, row, shape.length_mm / 2.0), w, h]
    }
}

/// The pages, row by row from the front.
pub fn pages(shape: &Shape, name: &str, paper: Paper) -> Vec<Canvas> {
    let grid = Grid::of(shape, paper);
    let [rows, columns] = grid.size;
    let tiles = (0..rows).flat_map(|row| (0..columns).map(move |column| [row, column]));
    tiles.map(|tile| page(shape, name, &grid, tile)).collect()
}

fn page(shape: &Shape, name: &str, grid: &Grid, tile: Tile) -> Canvas {
    let mut page = Canvas::new(grid.paper.size_mm(), "");
    let window = grid.window(shape, tile);
    let [x, y, w, h] = window;
    let on_paper = |[px, py]: [f64; 2]| [px - x + MARGIN_MM, py - y + MARGIN_MM];
    let frame = [MARGIN_MM, MARGIN_MM, w, h];
    page.stroke("tile-frame", Path::rect(frame), Stroke::solid(HAIR, 0.2));
    let mut draw = |class, points: &[[f64; 2]], stroke| {
        for run in clip(points, window) {
            page.line(class, run.into_iter().map(on_paper), stroke);
        }
    };
    for i in 0..=20 {
        let along = f64::from(i) / 20.0 * shape.length_mm;
        let half = if i % 20 == 0 { shape.reach_mm() + 5.0 } else { 3.0 };
        draw("true-station", &[[-half, along], [half, along]], FINE);
    }
    draw("true-midline", &[[0.0, 0.0], [0.0, shape.length_mm]], MIDLINE);
    for line in &shape.lines {
        let (class, stroke) = match line.part {
            Part::Seat => ("true-seat-edge", Stroke::solid(SEAT, 0.4)),
            Part::Channel => ("true-channel-edge", CHANNEL_EDGE),
        };
        draw(class, &line.points, stroke);
    }
    for ends in shape.named.iter().filter_map(|width| width.ends) {
        draw("true-width", &ends, Stroke::solid(INK, 0.25));
    }
    labels(&mut page, shape, window, on_paper);
    joints(&mut page, grid.size, tile, frame);
    foot(&mut page, name, grid, tile);
    page
}

fn labels(page: &mut Canvas, shape: &Shape, [x, y, w, h]: [f64; 4], on_paper: impl Fn([f64; 2]) -> Point) {
    let inside = |p: &[f64; 2]| p[0] > x + 6.0 && p[0] < x + w - 28.0 && p[1] > y + 4.0 && p[1] < y + h - 4.0;
    for width in &shape.named {
        let Some([a, b]) = width.ends else { continue };
        let off = 0.15 * (a[0] - b[0]).abs();
        if let Some(at) = [[-off, a[1]], [off, a[1]]].into_iter().find(inside) {
            let [px, py] = on_paper(at);
            key(page, [px, py], &width.key);
            let figure = format!("{:.1} ± {:.1} mm", width.mm, width.u95);
            page.text([px + 3.0, py - 1.2], Anchor::Start, figure, TEXT);
        }
    }
    let ([left, right], reach) = (shape.sides(), shape.reach_mm());
    let (rear, middle) = (shape.length_mm - 6.0, 0.62 * shape.length_mm);
    // A word at the midline that would lie upon a joint stands beside it.
    for (places, word) in [
        (&[[0.0, 8.0], [12.0, 8.0]][..], "front".to_owned()),
        (&[[0.0, rear], [12.0, rear]], "rear".to_owned()),
        (&[[-0.45 * reach, middle]], format!("rider’s {}", left.as_str())),
        (&[[0.45 * reach, middle]], format!("rider’s {}", right.as_str())),
    ] {
        if let Some(at) = places.iter().find(|at| inside(at)) {
            page.text(on_paper(*at), Anchor::Middle, word, TextStyle::regular(3.4, SOFT));
        }
    }
}

/// Where neighbouring pages meet: a dashed line through the middle of the shared strip, crossed at two places that
/// both pages show.
fn joints(page: &mut Canvas, size: [usize; 2], tile: Tile, [x, y, w, h]: [f64; 4]) {
    let half = OVERLAP_MM / 2.0;
    let mut joint = |ends: [Point; 2]| {
        page.line("joint", ends, Stroke { dash_mm: &[2.0, 2.0], ..FINE });
        for share in [0.25, 0.75] {
            let [cx, cy] = [0, 1].map(|i| ends[0][i] + share * (ends[1][i] - ends[0][i]));
            page.line("joint-mark", [[cx - 3.0, cy], [cx + 3.0, cy]], CROSS);
            page.line("joint-mark", [[cx, cy - 3.0], [cx, cy + 3.0]], CROSS);
        }
    };
    let ends = |axis: usize, start: f64, length: f64| {
        let before = (tile[axis] > 0).then_some(start + half);
        let after = (tile[axis] + 1 < size[axis]).then_some(start + length - half);
        before.into_iter().chain(after)
    };
    ends(1, x, w).for_each(|at| joint([[at, y], [at, y + h]]));
    ends(0, y, h).for_each(|at| joint([[x, at], [x + w, at]]));
}

fn foot(page: &mut Canvas, name: &str, grid: &Grid, tile: Tile) {
    let y = page.height_mm - FOOT_MM + 4.5;
    for (y, length_mm, inches) in [(y, BAR_MM, false), (y + 8.0, BAR_IN * MM_PER_INCH, true)] {
        let (zero, range_mm) = ([MARGIN_MM, y], [0.0, length_mm]);
        let bar = Ruler { zero, down: false, after: true, range_mm, scale: 1.0, inches };
        bar.draw(page);
        bar.unit(page);
    }
    let x = MARGIN_MM + BAR_MM + 28.0;
    let [rows, columns] = grid.size;
    let title = format!("{}: true scale", shortened(name, 16));
    page.text([x, y + 0.5], Anchor::Start, title, TextStyle::bold(3.0, INK));
    let place = format!("Row {} of {rows}, column {} of {columns}", tile[0] + 1, tile[1] + 1);
    page.text([x, y + 4.7], Anchor::Start, place, TEXT);
    page.text([x, y + 8.9], Anchor::Start, "Print at 100 %: bars of 100 mm and 4 in.", TEXT);
    if rows * columns > 1 {
        page.text([x, y + 13.1], Anchor::Start, "Cut at the dashes, join at the crosses.", TEXT);
    }
    map(page, grid.size, tile, [x - 18.0, y - 1.5]);
}

/// A small map that shows which of the pages this is.
fn map(page: &mut Canvas, [rows, columns]: [usize; 2], tile: Tile, [x, y]: Point) {
    let [w, h] = [14.0 / columns.max(2) as f64, 15.0 / rows.max(2) as f64];
    for row in 0..rows {
        for column in 0..columns {
            let rect = Path::rect([x + w * column as f64, y + h * row as f64, w, h]);
            page.draw("tile-map", rect, (tile == [row, column]).then_some(SOFT), Some(FINE));
        }
    }
}

/// The parts of a line within a rectangle (Liang and Barsky's parameters for each step).
fn clip(points: &[[f64; 2]], window: [f64; 4]) -> Vec<Vec<[f64; 2]>> {
    let mut runs: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut open = false;
    for pair in points.windows(2) {
        let Some([from, to]) = within(pair[0], pair[1], window) else {
            open = false;
            continue;
        };
        match runs.last_mut().filter(|_| open) {
            Some(run) => run.push(to),
            None => runs.push(vec![from, to]),
        }
        open = to == pair[1];
    }
    runs
}

/// The part of a step within a rectangle.
fn within(a: [f64; 2], b: [f64; 2], [x, y, w, h]: [f64; 4]) -> Option<[[f64; 2]; 2]> {
    let d = [b[0] - a[0], b[1] - a[1]];
    let (mut from, mut to) = (0.0_f64, 1.0_f64);
    for (axis, low, high) in [(0, x, x + w), (1, y, y + h)] {
        if d[axis] == 0.0 {
            if a[axis] < low || a[axis] > high {
                return None;
            }
            continue;
        }
        let [s, t] = [(low - a[axis]) / d[axis], (high - a[axis]) / d[axis]];
        from = from.max(s.min(t));
        to = to.min(s.max(t));
    }
    let at = |t: f64| [a[0] + t * d[0], a[1] + t * d[1]];
    (from < to).then(|| [if from > 0.0 { at(from) } else { a }, if to < 1.0 { at(to) } else { b }])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_split_where_it_leaves_the_page() {
        let zigzag = [[1.0, 5.0], [15.0, 5.0], [15.0, 8.0], [5.0, 8.0]];
        let runs = clip(&zigzag, [0.0, 0.0, 10.0, 10.0]);
        assert_eq!(runs, [vec![[1.0, 5.0], [10.0, 5.0]], vec![[10.0, 8.0], [5.0, 8.0]]]);
    }
}
