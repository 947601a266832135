//! The Viterbi path over the rows of a strip. Its slope is part of the state, so that a bend has a cost and a slope has none.
//!
//! R. Bellman 1957; A. J. Viterbi 1967.

/// A dynamic program: costs of a path at every place and of its bends, and its steepest slope.
#[derive(Debug, Clone)]
pub struct Viterbi {
    /// Number of rows.
    pub rows: usize,
    /// Number of places in a row.
    pub places: usize,
    /// Cost of the boundary at each place, row by row; infinite where it cannot be.
    pub cost: Vec<f32>,
    /// Largest slope, places a row.
    pub max_slope: usize,
    /// Cost of a change of slope by one place a row.
    pub bend_cost: f32,
}

/// The posterior of one row, summarised about the place where its edge was traced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowPosterior {
    /// Probability that the edge is where it was traced.
    pub confidence: f64,
    /// Root of the second moment of all other places about it, mm: the standard uncertainty that they add.
    pub doubt_mm: f64,
    /// The places further in and further out.
    pub alternatives: [Alternative; 2],
}

/// The places on one side of a traced edge.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Alternative {
    /// Probability that the edge is at one of them.
    pub probability: f64,
    /// Their mean distance outwards (negative: inwards), weighted by probability, mm.
    pub apart_mm: f64,
}

impl RowPosterior {
    /// Nothing is seen of the edge: something covers it.
    pub const HIDDEN: Self = Self {
        confidence: 0.0,
        doubt_mm: 0.0,
        alternatives: [Alternative { probability: 0.0, apart_mm: 0.0 }; 2],
    };
}

impl Viterbi {
    /// The best path, with its cost; `None` when no path has a finite cost.
    pub fn best_path(&self) -> Option<(Vec<usize>, f32)> {
        let table = self.pass();
        let states = (0..self.slopes()).flat_map(|slope| (0..self.places).map(move |place| (place, slope)));
        let (first, least) =
            self.least(states.map(|(place, slope)| ((place, slope), table.at(0, place, slope))));
        least.is_finite().then(|| (self.path(&table, first), least))
    }

    fn slopes(&self) -> usize {
        2 * self.max_slope + 1
    }

    /// Least cost of a path from the last row to each state. The slope of a state is that of the step into its row from
    /// the row before, still to be charged; the path continues with a slope that differs by at most one.
    fn pass(&self) -> Table {
        let mut table = Table::new(self);
        let mut after = vec![0.0; self.places];
        for row in (0..self.rows).rev() {
            let own = &self.cost[row * self.places..(row + 1) * self.places];
            for slope in 0..self.slopes() {
                if row + 1 < self.rows {
                    after.copy_from_slice(table.stepped(row + 1, slope));
                    for next in self.bends(slope) {
                        let bent = table.stepped(row + 1, next);
                        after.iter_mut().zip(bent).for_each(|(a, b)| *a = a.min(b + self.bend_cost));
                    }
                }
                let line = table.line_mut(row, slope).iter_mut();
                line.zip(own.iter().zip(&after)).for_each(|(to, (own, after))| *to = own + after);
            }
        }
        table
    }

    /// The slopes next to a slope.
    fn bends(&self, slope: usize) -> impl Iterator<Item = usize> + use<> {
        let last = 2 * self.max_slope;
        [slope.checked_sub(1), Some(slope + 1).filter(|next| *next <= last)].into_iter().flatten()
    }

    /// The state of the least cost, with it.
    fn least<S>(&self, states: impl Iterator<Item = (S, f32)>) -> (S, f32) {
        states.min_by(|a, b| a.1.total_cmp(&b.1)).expect("there are states")
    }

    /// Follows the table from a state of the first row.
    fn path(&self, table: &Table, first: (usize, usize)) -> Vec<usize> {
        let (mut place, mut slope) = first;
        let mut path = vec![place];
        for row in 1..self.rows {
            let straight = (slope, table.stepped(row, slope)[place]);
            let bent = self.bends(slope).map(|next| (next, table.stepped(row, next)[place] + self.bend_cost));
            (slope, _) = self.least(std::iter::once(straight).chain(bent));
            place = (place + slope).saturating_sub(self.max_slope);
            path.push(place);
        }
        path
    }
}

/// A cost for each row, slope and place, with a border of infinite ones beside the places, as wide as the largest slope.
struct Table {
    slopes: usize,
    places: usize,
    max_slope: usize,
    costs: Vec<f32>,
}

impl Table {
    fn new(viterbi: &Viterbi) -> Self {
        let (slopes, places, max_slope) = (viterbi.slopes(), viterbi.places, viterbi.max_slope);
        let costs = vec![f32::INFINITY; viterbi.rows * slopes * (places + 2 * max_slope)];
        Self { slopes, places, max_slope, costs }
    }

    fn start(&self, row: usize, slope: usize) -> usize {
        (row * self.slopes + slope) * (self.places + 2 * self.max_slope)
    }

    fn at(&self, row: usize, place: usize, slope: usize) -> f32 {
        self.costs[self.start(row, slope) + self.max_slope + place]
    }

    fn line_mut(&mut self, row: usize, slope: usize) -> &mut [f32] {
        let from = self.start(row, slope) + self.max_slope;
        &mut self.costs[from..from + self.places]
    }

    /// For each place of the row before, the cost of the state that a slope leads to from there.
    fn stepped(&self, row: usize, slope: usize) -> &[f32] {
        let from = self.start(row, slope) + slope;
        &self.costs[from..from + self.places]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The least cost of all paths of a small dynamic program by brute force.
    fn least(p: &Viterbi, path: &mut Vec<usize>) -> f32 {
        if path.len() == p.rows {
            return path_cost(p, path);
        }
        let mut best = f32::INFINITY;
        for next in 0..p.places {
            path.push(next);
            best = best.min(least(p, path));
            path.pop();
        }
        best
    }

    fn path_cost(p: &Viterbi, path: &[usize]) -> f32 {
        let slopes: Vec<isize> = path.windows(2).map(|w| w[1] as isize - w[0] as isize).collect();
        if slopes.iter().any(|s| s.unsigned_abs() > p.max_slope)
            || slopes.windows(2).any(|w| (w[1] - w[0]).abs() > 1)
        {
            return f32::INFINITY;
        }
        let bends = slopes.windows(2).filter(|w| w[0] != w[1]).count() as f32;
        path.iter().enumerate().map(|(r, &c)| p.cost[r * p.places + c]).sum::<f32>() + bends * p.bend_cost
    }

    #[test]
    fn the_best_path_is_the_best_of_all() {
        let (rows, places) = (5, 4);
        for seed in 0..20 {
            let cost = (0..rows * places).map(|i| (((i + seed) * 7919) % 13) as f32 * 0.37).collect();
            let p = Viterbi { rows, places, cost, max_slope: 2, bend_cost: 0.8 };
            let (path, cost) = p.best_path().unwrap();
            let expected = least(&p, &mut Vec::new());
            // Sums of some ten single-precision numbers of the order of 1.
            assert!((cost - expected).abs() < 1e-4, "seed {seed}: {cost} against {expected}");
            assert!(
                (path_cost(&p, &path) - expected).abs() < 1e-4,
                "seed {seed}: the path costs something else"
            );
        }
    }
}
