//! The plan at true scale, on as many pages as it takes, to be cut out and put together.

use super::paper::Paper;
use crate::numeric::words::Part;
use crate::report::figure::axis::Ruler;
use crate::report::figure::{Anchor, CHANNEL, Figure, MIDLINE, Stroke, Tone};
use crate::report::shape::Shape;
use crate::report::units::MM_PER_INCH;
use crate::report::words::shortened;

/// Room at the paper's rims that printers leave white, and for the foot, mm.
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

/// A part of the plan on one page.
#[derive(Debug, Clone, Copy)]
struct Tile {
    row: usize,
    column: usize,
    /// What it shows: left, top, width, height, mm of the saddle.
    window: [f64; 4],
}

/// How many rows and columns of pages the plan takes.
pub fn grid(shape: &Shape, paper: Paper) -> [usize; 2] {
    let [w, h] = net_mm(paper);
    let count = |length: f64, net: f64| (((length - OVERLAP_MM) / (net - OVERLAP_MM)).ceil() as usize).max(1);
    [count(shape.length_mm + 2.0 * AROUND_MM, h), count(2.0 * (shape.reach_mm() + AROUND_MM), w)]
}

/// What a page shows of the plan, mm.
fn net_mm(paper: Paper) -> [f64; 2] {
    let [w, h] = paper.size_mm();
    [w - 2.0 * MARGIN_MM, h - MARGIN_MM - FOOT_MM]
}

/// The pages, row by row from the front. Neighbours share a strip.
pub fn pages(shape: &Shape, name: &str, paper: Paper) -> Vec<Figure> {
    let [rows, columns] = grid(shape, paper);
    let [w, h] = net_mm(paper);
    let whole_w = w + (columns - 1) as f64 * (w - OVERLAP_MM);
    let whole_h = h + (rows - 1) as f64 * (h - OVERLAP_MM);
    let left = -whole_w / 2.0;
    let top = (shape.length_mm - whole_h) / 2.0;
    let tile = |row: usize, column: usize| Tile {
        row,
        column,
        window: [left + column as f64 * (w - OVERLAP_MM), top + row as f64 * (h - OVERLAP_MM), w, h],
    };
    (0..rows)
        .flat_map(|row| (0..columns).map(move |column| (row, column)))
        .map(|(row, column)| page(shape, name, paper, tile(row, column), [rows, columns]))
        .collect()
}

fn page(shape: &Shape, name: &str, paper: Paper, tile: Tile, [rows, columns]: [usize; 2]) -> Figure {
    let [w, h] = paper.size_mm();
    let mut page = Figure::new(w, h, "");
    let [x, y, net_w, net_h] = tile.window;
    let paper_at = |[px, py]: [f64; 2]| [px - x + MARGIN_MM, py - y + MARGIN_MM];
    let frame = [MARGIN_MM, MARGIN_MM, net_w, net_h];
    page.rect("tile-frame", frame, None, Some(Stroke::solid(Tone::Hair, 0.2)));
    let mut draw = |class, points: &[[f64; 2]], stroke| {
        for run in clip(points, tile.window) {
            page.line(class, run.into_iter().map(paper_at).collect(), stroke);
        }
    };
    for i in 0..=20 {
        let along = f64::from(i) / 20.0 * shape.length_mm;
        let half = if i % 20 == 0 { shape.reach_mm() + 5.0 } else { 3.0 };
        draw("true-station", &[[-half, along], [half, along]], Stroke::solid(Tone::Soft, 0.2));
    }
    draw("true-midline", &[[0.0, 0.0], [0.0, shape.length_mm]], MIDLINE);
    for line in &shape.lines {
        let (class, stroke) = match line.part {
            Part::Seat => ("true-seat-edge", Stroke::solid(Tone::Seat, 0.4)),
            Part::Channel => ("true-channel-edge", CHANNEL),
        };
        draw(class, &line.points, stroke);
    }
    for width in &shape.named {
        if let Some(ends) = width.ends {
            draw("true-width", &ends, Stroke::solid(Tone::Ink, 0.25));
        }
    }
    labels(&mut page, shape, tile, paper_at);
    joints(&mut page, tile, [rows, columns], frame);
    foot(&mut page, name, tile, [rows, columns], paper);
    page
}

fn labels(page: &mut Figure, shape: &Shape, tile: Tile, paper_at: impl Fn([f64; 2]) -> [f64; 2]) {
    let [x, y, w, h] = tile.window;
    let inside = |p: [f64; 2]| p[0] > x + 6.0 && p[0] < x + w - 28.0 && p[1] > y + 4.0 && p[1] < y + h - 4.0;
    for width in &shape.named {
        let Some([a, b]) = width.ends else { continue };
        let half = (a[0] - b[0]).abs() / 2.0;
        for at in [[-0.3 * half, a[1]], [0.3 * half, a[1]]] {
            if inside(at) {
                let [px, py] = paper_at(at);
                page.key([px, py], &width.key);
                let said = format!("{:.1} ± {:.1} mm", width.mm, width.u95);
                page.text([px + 3.0, py - 1.2], said, Anchor::Start, 2.6, Tone::Ink);
                break;
            }
        }
    }
    let [left, right] = shape.sides();
    let reach = shape.reach_mm();
    let rear = shape.length_mm - 6.0;
    // A word at the midline may fall upon a joint: then it stands beside it.
    for (places, word) in [
        (&[[0.0, 8.0], [12.0, 8.0]][..], "front".to_owned()),
        (&[[0.0, rear], [12.0, rear]], "rear".to_owned()),
        (&[[-0.45 * reach, 0.62 * shape.length_mm]], format!("rider’s {}", left.as_str())),
        (&[[0.45 * reach, 0.62 * shape.length_mm]], format!("rider’s {}", right.as_str())),
    ] {
        if let Some(at) = places.iter().find(|at| inside(**at)) {
            page.text(paper_at(*at), word, Anchor::Middle, 3.4, Tone::Soft);
        }
    }
}

/// Where neighbouring pages meet: a dashed line through the middle of the shared strip, crossed at two places that
/// both pages show.
fn joints(page: &mut Figure, tile: Tile, [rows, columns]: [usize; 2], [x, y, w, h]: [f64; 4]) {
    let half = OVERLAP_MM / 2.0;
    let dash = Stroke::dashed(Tone::Soft, 0.2, &[2.0, 2.0]);
    let cross = |page: &mut Figure, [cx, cy]: [f64; 2]| {
        page.line("joint-mark", vec![[cx - 3.0, cy], [cx + 3.0, cy]], Stroke::solid(Tone::Ink, 0.2));
        page.line("joint-mark", vec![[cx, cy - 3.0], [cx, cy + 3.0]], Stroke::solid(Tone::Ink, 0.2));
    };
    for (is, at) in [(tile.column > 0, x + half), (tile.column + 1 < columns, x + w - half)] {
        if is {
            page.line("joint", vec![[at, y], [at, y + h]], dash);
            [0.25, 0.75].iter().for_each(|share| cross(page, [at, y + share * h]));
        }
    }
    for (is, at) in [(tile.row > 0, y + half), (tile.row + 1 < rows, y + h - half)] {
        if is {
            page.line("joint", vec![[x, at], [x + w, at]], dash);
            [0.25, 0.75].iter().for_each(|share| cross(page, [x + share * w, at]));
        }
    }
}

fn foot(page: &mut Figure, name: &str, tile: Tile, [rows, columns]: [usize; 2], paper: Paper) {
    let h = paper.size_mm()[1];
    let y = h - FOOT_MM + 4.5;
    let bar = |zero, range_mm, inches| Ruler { zero, down: false, after: true, range_mm, scale: 1.0, inches };
    let mm = bar([MARGIN_MM, y], [0.0, BAR_MM], false);
    mm.draw(page);
    mm.unit(page);
    let inches = bar([MARGIN_MM, y + 8.0], [0.0, BAR_IN * MM_PER_INCH], true);
    inches.draw(page);
    inches.unit(page);
    let x = MARGIN_MM + BAR_MM + 28.0;
    let of = format!("Row {} of {rows}, column {} of {columns}", tile.row + 1, tile.column + 1);
    let name = shortened(name, 16);
    page.bold([x, y + 0.5], format!("{name}: true scale"), Anchor::Start, 3.0);
    page.text([x, y + 4.7], of, Anchor::Start, 2.6, Tone::Ink);
    let check = "Print at 100 %: bars of 100 mm and 4 in.";
    page.text([x, y + 8.9], check, Anchor::Start, 2.6, Tone::Ink);
    let join = "Cut at the dashes, join at the crosses.";
    if rows * columns > 1 {
        page.text([x, y + 13.1], join, Anchor::Start, 2.6, Tone::Ink);
    }
    map(page, tile, [rows, columns], [x - 18.0, y - 1.5]);
}

/// Which of the pages this is, as a small map.
fn map(page: &mut Figure, tile: Tile, [rows, columns]: [usize; 2], [x, y]: [f64; 2]) {
    let [w, h] = [14.0 / columns.max(2) as f64, 15.0 / rows.max(2) as f64];
    for row in 0..rows {
        for column in 0..columns {
            let rect = [x + w * column as f64, y + h * row as f64, w, h];
            let here = row == tile.row && column == tile.column;
            let fill = here.then_some(Tone::Soft);
            page.rect("tile-map", rect, fill, Some(Stroke::solid(Tone::Soft, 0.2)));
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
    fn a_line_is_parted_where_it_leaves_the_page() {
        let zigzag = [[1.0, 5.0], [15.0, 5.0], [15.0, 8.0], [5.0, 8.0]];
        let runs = clip(&zigzag, [0.0, 0.0, 10.0, 10.0]);
        assert_eq!(runs, [vec![[1.0, 5.0], [10.0, 5.0]], vec![[10.0, 8.0], [5.0, 8.0]]]);
    }
}
