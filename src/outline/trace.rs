//! The boundary programme: the most likely path over the rows of a strip (Viterbi), with the path's slope part of
//! the state, so that what is penalised is bending and not slope.
//!
//! R. Bellman 1957; A. J. Viterbi 1967.

/// What the programme works on: costs of a boundary at every place, and the path's habits.
#[derive(Debug, Clone)]
pub struct Programme {
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

/// How sure a row of a traced edge is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Belief {
    /// Probability that the edge is where it was traced.
    pub confidence: f64,
    /// How far outwards the boundary lies that competes most, mm.
    pub rival_mm: Option<f64>,
}

impl Belief {
    /// Nothing is seen of the edge: something lies across it.
    pub const HIDDEN: Self = Self { confidence: 0.0, rival_mm: None };
}

impl Programme {
    /// The best path, with its cost; `None` when no path has a finite cost.
    pub fn best(&self) -> Option<(Vec<usize>, f32)> {
        let backward = self.pass();
        let width = self.places * (2 * self.max_slope + 1);
        let least = backward[..width].iter().copied().fold(f32::INFINITY, f32::min);
        least.is_finite().then(|| (self.path(&backward), least))
    }

    /// Least cost of a path from the last row to each state. The slope of a state is that of the step into its row from
    /// the row before, still to be charged.
    fn pass(&self) -> Vec<f32> {
        let slopes = 2 * self.max_slope + 1;
        let width = self.places * slopes;
        let mut table = vec![f32::INFINITY; self.rows * width];
        for row in (0..self.rows).rev() {
            for place in 0..self.places {
                let own = self.cost[row * self.places + place];
                if !own.is_finite() {
                    continue;
                }
                for slope in 0..slopes {
                    let rest =
                        if row + 1 == self.rows { 0.0 } else { self.best_after(&table, row, place, slope) };
                    table[row * width + place * slopes + slope] = own + rest;
                }
            }
        }
        table
    }

    /// The path goes on by a slope that differs by at most one from the one it came by.
    fn best_after(&self, table: &[f32], row: usize, place: usize, slope: usize) -> f32 {
        let slopes = 2 * self.max_slope + 1;
        self.with_bend(
            |next| {
                let to = place as isize + (next as isize - self.max_slope as isize);
                if to < 0 || to >= self.places as isize {
                    return f32::INFINITY;
                }
                table[((row + 1) * self.places + to as usize) * slopes + next]
            },
            slope,
        )
    }

    fn with_bend(&self, cost_of: impl Fn(usize) -> f32, slope: usize) -> f32 {
        let mut best = cost_of(slope);
        if slope > 0 {
            best = best.min(cost_of(slope - 1) + self.bend_cost);
        }
        if slope < 2 * self.max_slope {
            best = best.min(cost_of(slope + 1) + self.bend_cost);
        }
        best
    }

    /// Follows the backward table from the best state of the first row.
    fn path(&self, backward: &[f32]) -> Vec<usize> {
        let slopes = 2 * self.max_slope + 1;
        let width = self.places * slopes;
        let first = backward[..width].iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1));
        let mut state = first.map_or(0, |(i, _)| i);
        let mut path = vec![state / slopes];
        for row in 1..self.rows {
            let (place, slope) = (state / slopes, state % slopes);
            let next = (slope.saturating_sub(1)..=(slope + 1).min(slopes - 1))
                .filter_map(|s| {
                    let to = place as isize + (s as isize - self.max_slope as isize);
                    (to >= 0 && to < self.places as isize).then(|| {
                        let to = to as usize;
                        let bend = if s == slope { 0.0 } else { self.bend_cost };
                        (to * slopes + s, backward[row * width + to * slopes + s] + bend)
                    })
                })
                .min_by(|a, b| a.1.total_cmp(&b.1));
            state = next.map_or(state, |(s, _)| s);
            path.push(state / slopes);
        }
        path
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The least cost of all paths of a small programme by brute force.
    fn least(p: &Programme, path: &mut Vec<usize>) -> f32 {
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

    fn path_cost(p: &Programme, path: &[usize]) -> f32 {
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
            let p = Programme { rows, places, cost, max_slope: 2, bend_cost: 0.8 };
            let (path, cost) = p.best().unwrap();
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
