//! Propagation of distributions (JCGM 101:2008) for a measured photo, compared with the budget's linear result.
//!
//! The stations of the named widths stay fixed, as in the budget: at an extreme, a small shift along the midline has no first-order
//! effect.

use nalgebra::{DMatrix, DVector};

use seatspan::numeric::uncertain::{Drawn, Sampler, tolerance};
use seatspan::numeric::words::{NamedWidth, SIDES};
use seatspan::outline::lift::LiftProfile;
use seatspan::width::cuts::{excess_mm, named_cuts};
use seatspan::width::response::{Cut, Halves, Inputs, PIPING_U_MM, State, TiltedPlane};
use seatspan::width::{COVERAGE, MeasuredWidth, Subject, measure_widths};

/// A named width by budget and by simulation.
#[derive(Debug, Clone)]
pub struct Compared {
    /// Its name.
    pub name: NamedWidth,
    /// Value by the budget, mm.
    pub mm: f64,
    /// Standard uncertainty by the budget, mm.
    pub u_mm: f64,
    /// Mean of the draws, mm.
    pub drawn_mm: f64,
    /// Their standard deviation, mm.
    pub drawn_u_mm: f64,
    /// Probabilistically symmetric 95 % interval of the draws, mm.
    pub drawn_mm_95: [f64; 2],
    /// Tolerance of agreement, mm: half a unit of the second digit of `u_mm`, plus two standard errors of an interval's end.
    pub tolerance_mm: f64,
}

impl Compared {
    /// How far the ends of the budget's 95 % interval are outside those of the draws, below and above, mm.
    pub fn wider_mm(&self) -> [f64; 2] {
        let [low, high] = self.drawn_mm_95;
        [low - (self.mm - COVERAGE * self.u_mm), self.mm + COVERAGE * self.u_mm - high]
    }

    /// Whether the intervals agree (JCGM 101:2008, 8.1).
    pub fn agree(&self) -> bool {
        self.wider_mm().iter().all(|d| d.abs() <= self.tolerance_mm)
    }
}

/// What every draw starts from.
struct Draws<'a> {
    inputs: Inputs<'a>,
    cuts: Vec<Cut>,
    /// A square root of the camera's covariance.
    root: DMatrix<f64>,
}

/// Simulates the named widths `count` times. `None` where the edges cannot be projected through the camera, or where so many
/// draws fail that the rest would be biased.
pub fn simulate(subject: &Subject, count: usize, seed: u64) -> Option<Vec<Compared>> {
    let (linear, cuts) = (measure_widths(subject)?, named_cuts(subject));
    let root = root(&subject.inputs.fit.estimate.covariance)?;
    let draws = Draws { inputs: subject.inputs, cuts: cuts.iter().map(|c| c.cut).collect(), root };
    let mut sampler = Sampler::new(seed);
    let mut widths: Vec<Vec<f64>> = vec![Vec::with_capacity(count); cuts.len()];
    for _ in 0..count {
        let Some(drawn) = draws.halves(&mut sampler) else { continue };
        for (((list, halves), cut), (_, width)) in widths.iter_mut().zip(drawn).zip(&cuts).zip(&linear.named)
        {
            let further = [cut.concealed_mm, excess_mm(width.halves_mm)]
                .map(|half| half * (2.0 * sampler.unit() - 1.0));
            list.push(halves.sum() + further.iter().sum::<f64>());
        }
    }
    let complete = widths.iter().all(|list| list.len() >= count - count / 100);
    complete.then(|| linear.named.iter().zip(widths).map(|(named, list)| compared(named, list)).collect())?
}

fn compared((name, linear): &(NamedWidth, MeasuredWidth), draws: Vec<f64>) -> Option<Compared> {
    let drawn = Drawn::new(draws)?;
    let u_mm = linear.budget.u();
    Some(Compared {
        name: *name,
        mm: linear.mm,
        u_mm,
        drawn_mm: drawn.mean(),
        drawn_u_mm: drawn.u(),
        drawn_mm_95: drawn.symmetric(0.95),
        tolerance_mm: tolerance(u_mm) + 2.0 * end_error(drawn.count()) * u_mm,
    })
}

/// Standard error of an end of a 95 % interval from n normal draws, in standard deviations: the root of 0.025 x 0.975 / n, over the
/// density 0.0584 there.
fn end_error(draws: usize) -> f64 {
    (0.025 * 0.975 / draws.max(1) as f64).sqrt() / 0.0584
}

/// A square root of the covariance by eigenvalues, since that of a camera fit is nearly singular.
fn root(covariance: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let scale = covariance.diagonal().map(|v| v.max(0.0).sqrt());
    if !scale.iter().all(|s| s.is_finite() && *s > 0.0) {
        return None;
    }
    let n = scale.len();
    let correlation = DMatrix::from_fn(n, n, |i, j| covariance[(i, j)] / scale[i] / scale[j]);
    let eigen = correlation.symmetric_eigen();
    let roots = DMatrix::from_diagonal(&eigen.eigenvalues.map(|v| v.max(0.0).sqrt()));
    Some(DMatrix::from_diagonal(&scale) * eigen.eigenvectors * roots)
}

impl Draws<'_> {
    /// Half-widths of every cut for one draw of all inputs; `None` where the drawn camera cannot see an edge.
    fn halves(&self, sampler: &mut Sampler) -> Option<Halves> {
        let Inputs { fit, midline, seat_lift, channel_lift, print_scale_u } = self.inputs;
        let normal = DVector::from_fn(self.root.ncols(), |_, _| sampler.normal());
        let camera = fit.camera_at(&(&fit.estimate.values + &self.root * normal));
        let [seat, channel] = [seat_lift, channel_lift].map(|lift| raised(lift, sampler));
        let tilts = TiltedPlane::drawn(midline, sampler).to_vec();
        let state = State { camera, seat, channel, tilts };
        let mut about = self.inputs.midline_in(&state)?;
        for error in midline.end_errors() {
            let by = sampler.normal();
            about = about.moved(error.map(|mm| by * mm));
        }
        let mut halves = state.halves_about(&about, &self.cuts)?;
        // Rectangular, with the budget's standard uncertainty.
        let scale = 1.0 + sampler.rectangular(print_scale_u);
        let piping_mm = PIPING_U_MM * sampler.normal();
        for (half, cut) in halves.iter_mut().zip(&self.cuts) {
            for side in SIDES {
                let at = &cut.sides[side];
                let edge_mm = at.u_mm * sampler.normal() + at.doubt_mm * sampler.normal();
                half[side] = (half[side] + piping_mm + edge_mm) * scale;
            }
        }
        Some(halves)
    }
}

fn raised(lift: &LiftProfile, sampler: &mut Sampler) -> LiftProfile {
    let mut drawn = lift.raised_all(lift.common_u_mm * sampler.normal());
    for i in 0..lift.points().len() {
        drawn = drawn.raised(i, lift.point_u_mm * sampler.normal());
    }
    let stretches = if lift.is_known() { lift.stretches() } else { 0 };
    (0..stretches).fold(drawn, |drawn, stretch| drawn.bowed(stretch, sampler.normal()))
}
