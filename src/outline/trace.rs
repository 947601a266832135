//! The boundary programme: the most likely path over the rows of a strip (Viterbi), with the path's slope part of
//! the state, so that what is penalised is bending and not slope. Forward and backward passes give the least cost of
//! any path through every place, and with it each row's confidence.
//!
//! R. Bellman 1957; A. J. Viterbi 1967; min-marginals as in max-product belief propagation (J. Pearl 1988).

use std::sync::Arc;

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
    /// When steps are not all alike: for every row and place the cost of coming from the row before by each slope, from the
    /// steepest descent up. A slope is the place less that of the row before; the first row's are not used.
    pub step_costs: Option<Arc<Vec<f32>>>,
}

/// The best path and the cost of all others.
#[derive(Debug, Clone)]
pub struct Traced {
    /// Place of the best path in each row.
    pub path: Vec<usize>,
    /// For every place the least cost of a path through it, less that of the best path: 0 on the best path.
    pub regret: Vec<f32>,
    /// Number of places in a row.
    pub places: usize,
}

impl Traced {
    /// The regrets of one row.
    pub fn row(&self, row: usize) -> &[f32] {
        &self.regret[row * self.places..(row + 1) * self.places]
    }

    /// What speaks for the path in a row: its probability against its best competitor there, by the difference of their
    /// costs. A place fewer than `apart` places away is the same boundary less sharply seen; a place is `place_mm` wide.
    pub fn belief(&self, row: usize, apart: usize, place_mm: f64) -> Belief {
        let here = self.path[row];
        let rivals = self
            .row(row)
            .iter()
            .enumerate()
            .filter(|(place, r)| place.abs_diff(here) >= apart && r.is_finite());
        match rivals.min_by(|a, b| a.1.total_cmp(b.1)) {
            Some((place, regret)) => Belief {
                confidence: 1.0 / (1.0 + (-f64::from(*regret)).exp()),
                rival_mm: Some((place as f64 - here as f64) * place_mm),
            },
            None => Belief { confidence: 1.0, rival_mm: None },
        }
    }
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
    /// Runs both passes. `None` when no path has a finite cost.
    pub fn run(&self) -> Option<Traced> {
        let forward = self.pass(false);
        let backward = self.pass(true);
        let slopes = 2 * self.max_slope + 1;
        let mut regret = vec![f32::INFINITY; self.rows * self.places];
        for (at, out) in regret.iter_mut().enumerate() {
            // Both passes count the place's own cost. A path that comes in with slope k leaves with a slope of its
            // own, whose change is charged in the backward pass: there slopes are of the row that follows.
            let best = (0..slopes)
                .map(|k| forward[at * slopes + k] + backward[at * slopes + k])
                .fold(f32::INFINITY, f32::min);
            *out = best - self.cost[at];
        }
        let least = regret[..self.places].iter().copied().fold(f32::INFINITY, f32::min);
        if !least.is_finite() {
            return None;
        }
        regret.iter_mut().for_each(|r| *r -= least);
        Some(Traced { path: self.path(&backward), regret, places: self.places })
    }

    /// The best path alone, with its cost; `None` when no path has a finite cost.
    pub fn best(&self) -> Option<(Vec<usize>, f32)> {
        let backward = self.pass(true);
        let width = self.places * (2 * self.max_slope + 1);
        let least = backward[..width].iter().copied().fold(f32::INFINITY, f32::min);
        least.is_finite().then(|| (self.path(&backward), least))
    }

    /// Least cost of a path from the first (or, backward, last) row to each state. The slope of a state is that of
    /// the step into its row from the row before, forward; backward, that of the same step still to be charged.
    fn pass(&self, backward: bool) -> Vec<f32> {
        let slopes = 2 * self.max_slope + 1;
        let width = self.places * slopes;
        let mut table = vec![f32::INFINITY; self.rows * width];
        for step in 0..self.rows {
            let row = if backward { self.rows - 1 - step } else { step };
            for place in 0..self.places {
                let own = self.cost[row * self.places + place];
                if !own.is_finite() {
                    continue;
                }
                for slope in 0..slopes {
                    let best = if step == 0 {
                        0.0
                    } else if backward {
                        self.best_after(&table, row, place, slope)
                    } else {
                        self.best_before(&table, row, place, slope)
                    };
                    table[row * width + place * slopes + slope] = own + best;
                }
            }
        }
        table
    }

    /// Forward: the state came by `slope` from the row before, whose own slope differs by at most one.
    fn best_before(&self, table: &[f32], row: usize, place: usize, slope: usize) -> f32 {
        let slopes = 2 * self.max_slope + 1;
        let from = place as isize - (slope as isize - self.max_slope as isize);
        if from < 0 || from >= self.places as isize {
            return f32::INFINITY;
        }
        let base = ((row - 1) * self.places + from as usize) * slopes;
        self.with_bend(|other| table[base + other], slope) + self.step(row, place, slope)
    }

    /// Backward: the path goes on by a slope that differs by at most one from the one it came by.
    fn best_after(&self, table: &[f32], row: usize, place: usize, slope: usize) -> f32 {
        let slopes = 2 * self.max_slope + 1;
        self.with_bend(
            |next| {
                let to = place as isize + (next as isize - self.max_slope as isize);
                if to < 0 || to >= self.places as isize {
                    return f32::INFINITY;
                }
                let after = (row + 1) * self.places + to as usize;
                table[after * slopes + next] + self.step(row + 1, to as usize, next)
            },
            slope,
        )
    }

    /// Cost of the step into a place by a slope.
    #[inline]
    fn step(&self, row: usize, place: usize, slope: usize) -> f32 {
        let slopes = 2 * self.max_slope + 1;
        self.step_costs.as_ref().map_or(0.0, |costs| costs[(row * self.places + place) * slopes + slope])
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
                        let step = self.step(row, to, s);
                        (to * slopes + s, backward[row * width + to * slopes + s] + bend + step)
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

    /// All paths of a small programme by brute force.
    fn least_through(p: &Programme, row: usize, place: usize) -> f32 {
        fn walk(p: &Programme, path: &mut Vec<usize>, best: &mut f32, row: usize, place: usize) {
            if path.len() == p.rows {
                if path[row] == place {
                    *best = best.min(path_cost(p, path));
                }
                return;
            }
            for next in 0..p.places {
                path.push(next);
                walk(p, path, best, row, place);
                path.pop();
            }
        }
        let mut best = f32::INFINITY;
        walk(p, &mut Vec::new(), &mut best, row, place);
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
    fn regrets_equal_brute_force_over_all_paths() {
        let (rows, places) = (5, 4);
        let cost = (0..rows * places).map(|i| ((i * 7919) % 13) as f32 * 0.37).collect();
        let p = Programme { rows, places, cost, max_slope: 2, bend_cost: 0.8, step_costs: None };
        let traced = p.run().unwrap();
        let best = path_cost(&p, &traced.path);
        for row in 0..rows {
            for place in 0..places {
                let expected = least_through(&p, row, place) - best;
                let got = traced.row(row)[place];
                assert!((got - expected).abs() < 1e-4, "row {row} place {place}: {got} against {expected}");
            }
        }
    }
}
