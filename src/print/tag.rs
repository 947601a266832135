//! A tag as one outline: its black modules joined, so that no viewer shows hairlines between them.

use std::collections::BTreeMap;

use super::page::{Outline, Spot, Step, at};
use crate::card::pattern::{MODULES, modules};

/// A corner of the grid of modules.
type Corner = (i32, i32);

/// The outline of the black modules of a tag whose black square has its top-left corner at `corner`. `None` for an
/// identity that no pattern prints.
pub fn tag_outline(tag_id: u32, corner: Spot, side_mm: f64) -> Option<Outline> {
    let code = modules(tag_id)?;
    let black = |row: i32, column: i32| {
        let n = MODULES as i32;
        (0..n).contains(&row) && (0..n).contains(&column) && !code[row as usize][column as usize]
    };
    let module = side_mm / MODULES as f64;
    let spot = |(x, y): Corner| at(corner.x_mm + f64::from(x) * module, corner.y_mm + f64::from(y) * module);
    let mut steps = Vec::new();
    for ring in rings(black) {
        let turns = turning_points(&ring);
        steps.extend(turns.iter().enumerate().map(|(i, c)| {
            let place = spot(*c);
            if i == 0 { Step::Move(place) } else { Step::Line(place) }
        }));
        steps.push(Step::Close);
    }
    Some(Outline { steps })
}

/// The closed lines between black and white, with black on their right.
fn rings(black: impl Fn(i32, i32) -> bool) -> Vec<Vec<Corner>> {
    let mut ways: BTreeMap<Corner, Vec<Corner>> = BTreeMap::new();
    let n = MODULES as i32;
    for row in 0..n {
        for column in 0..n {
            if !black(row, column) {
                continue;
            }
            let (x, y) = (column, row);
            let sides = [
                (black(row - 1, column), (x, y), (x + 1, y)),
                (black(row, column + 1), (x + 1, y), (x + 1, y + 1)),
                (black(row + 1, column), (x + 1, y + 1), (x, y + 1)),
                (black(row, column - 1), (x, y + 1), (x, y)),
            ];
            for (_, from, to) in sides.into_iter().filter(|side| !side.0) {
                ways.entry(from).or_default().push(to);
            }
        }
    }
    let mut rings = Vec::new();
    while let Some((&start, _)) = ways.iter().next() {
        let mut ring = vec![start];
        let mut here = start;
        while let Some(next) = take_way(&mut ways, here) {
            here = next;
            if here == start {
                break;
            }
            ring.push(here);
        }
        rings.push(ring);
    }
    rings
}

fn take_way(ways: &mut BTreeMap<Corner, Vec<Corner>>, from: Corner) -> Option<Corner> {
    let open = ways.get_mut(&from)?;
    let next = open.pop();
    if open.is_empty() {
        ways.remove(&from);
    }
    next
}

/// The corners of a ring where it turns.
fn turning_points(ring: &[Corner]) -> Vec<Corner> {
    let n = ring.len();
    let turns = |i: usize| {
        let (a, b, c) = (ring[(i + n - 1) % n], ring[i], ring[(i + 1) % n]);
        (b.0 - a.0, b.1 - a.1) != (c.0 - b.0, c.1 - b.1)
    };
    (0..n).filter(|&i| turns(i)).map(|i| ring[i]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Is a place inside, by the even-odd rule, where all lines are upright or level?
    fn inside(outline: &Outline, x: f64, y: f64) -> bool {
        let mut inside = false;
        let (mut first, mut last) = (at(0.0, 0.0), at(0.0, 0.0));
        let mut crosses = |a: Spot, b: Spot| {
            if (a.y_mm > y) != (b.y_mm > y) && a.x_mm > x {
                inside = !inside;
            }
        };
        for step in &outline.steps {
            match *step {
                Step::Move(p) => (first, last) = (p, p),
                Step::Line(p) => {
                    crosses(last, p);
                    last = p;
                }
                Step::Close => crosses(last, first),
                Step::Curve(..) => panic!("a tag has no curves"),
            }
        }
        inside
    }

    #[test]
    fn the_outline_holds_the_black_modules_and_no_white_one() {
        for id in 0..200 {
            let outline = tag_outline(id, at(10.0, 20.0), 40.0).unwrap();
            let code = modules(id).unwrap();
            for (row, cells) in code.iter().enumerate() {
                for (column, white) in cells.iter().enumerate() {
                    let (x, y) = (10.0 + 5.0 * (column as f64 + 0.5), 20.0 + 5.0 * (row as f64 + 0.5));
                    assert_eq!(inside(&outline, x, y), !white, "tag {id}, row {row}, column {column}");
                }
            }
        }
        assert!(tag_outline(900, at(0.0, 0.0), 40.0).is_none());
    }
}
