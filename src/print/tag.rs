//! A tag as one path: its black modules joined, so that no viewer shows hairlines between them.

use std::collections::BTreeMap;

use crate::canvas::{Path, Point};
use crate::card::pattern::{MODULES, modules};

/// A corner of the grid of modules.
type Corner = (i32, i32);

/// The black modules of a tag whose black square has its top-left corner at `corner`. `None` for an identity that no
/// pattern prints.
pub fn tag_path(tag_id: u32, [left, top]: Point, side_mm: f64) -> Option<Path> {
    let code = modules(tag_id)?;
    let black = |row: i32, column: i32| {
        let n = MODULES as i32;
        (0..n).contains(&row) && (0..n).contains(&column) && !code[row as usize][column as usize]
    };
    let module = side_mm / MODULES as f64;
    let place = |(x, y): Corner| [left + f64::from(x) * module, top + f64::from(y) * module];
    let polygon = |ring: Vec<Corner>| Path::polygon(turning_points(&ring).into_iter().map(place));
    Some(rings(black).into_iter().map(polygon).fold(Path::default(), Path::and))
}

/// The closed borders between black and white, with black on their right.
fn rings(black: impl Fn(i32, i32) -> bool) -> Vec<Vec<Corner>> {
    let mut exits: BTreeMap<Corner, Vec<Corner>> = BTreeMap::new();
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
                exits.entry(from).or_default().push(to);
            }
        }
    }
    let mut rings = Vec::new();
    while let Some((&start, _)) = exits.iter().next() {
        let mut ring = vec![start];
        let mut here = start;
        while let Some(next) = take_exit(&mut exits, here) {
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

fn take_exit(exits: &mut BTreeMap<Corner, Vec<Corner>>, from: Corner) -> Option<Corner> {
    let open = exits.get_mut(&from)?;
    let next = open.pop();
    if open.is_empty() {
        exits.remove(&from);
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
    use crate::canvas::Step;

    /// Whether a point is inside, by the even-odd rule, where all lines are upright or level.
    fn inside(path: &Path, [x, y]: Point) -> bool {
        let mut inside = false;
        let (mut first, mut last) = ([0.0; 2], [0.0; 2]);
        let mut cross = |a: Point, b: Point| inside ^= (a[1] > y) != (b[1] > y) && a[0] > x;
        for step in &path.steps {
            match *step {
                Step::Move(p) => (first, last) = (p, p),
                Step::Line(p) => {
                    cross(last, p);
                    last = p;
                }
                Step::Close => cross(last, first),
                Step::Curve(..) => panic!("a tag has no curves"),
            }
        }
        inside
    }

    #[test]
    fn the_path_holds_the_black_modules_and_no_white_one() {
        for id in 0..200 {
            let path = tag_path(id, [10.0, 20.0], 40.0).unwrap();
            let code = modules(id).unwrap();
            for (row, cells) in code.iter().enumerate() {
                for (column, white) in cells.iter().enumerate() {
                    let at = [10.0 + 5.0 * (column as f64 + 0.5), 20.0 + 5.0 * (row as f64 + 0.5)];
                    assert_eq!(inside(&path, at), !white, "tag {id}, row {row}, column {column}");
                }
            }
        }
        assert!(tag_path(900, [0.0, 0.0], 40.0).is_none());
    }
}
