//! Plans of saddles: the outlines that the coarse search lays over the view.

use nalgebra::Vector2;

use crate::numeric::words::View;

/// A saddle's plan laid somewhere: lengths in mm, the heading in radians from the view's columns toward its rows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// Whose plan: a seat's, narrow in front, or the panels'.
    pub plan: View,
    /// Length of the midline.
    pub length_mm: f64,
    /// Half-widths of the front part over the expected ones.
    pub front: f64,
    /// The same of the rear part.
    pub rear: f64,
}

/// A point of the right-hand outline: along the midline from its middle, away from it, and the outline's normal there.
#[derive(Debug, Clone, Copy)]
pub struct PlanPoint {
    /// Along (rearwards positive) and across, mm.
    pub at_mm: Vector2<f64>,
    /// Unit normal, outwards.
    pub normal: Vector2<f64>,
}

/// Half-widths that a saddle's plan has, at stations along it, mm (common practice, no source): for the seat the trade's
/// under 7 in to over 9 in at the widest, two to four fingers and the rims beside them in front. Wide of the mark by
/// a flap's breadth is what it is there to tell.
const SEAT_PLAN: [(f64, f64); 5] = [(0.1, 45.0), (0.25, 42.0), (0.4, 52.0), (0.6, 88.0), (0.85, 95.0)];
/// The same for the panels' outer outline.
const PANEL_PLAN: [(f64, f64); 5] = [(0.1, 80.0), (0.3, 80.0), (0.5, 90.0), (0.7, 98.0), (0.85, 95.0)];

/// The half-width expected at a station of the given view, mm.
fn expected_half_width_mm(view: View, station: f64) -> f64 {
    let plan = match view {
        View::Top => &SEAT_PLAN,
        View::Underside => &PANEL_PLAN,
    };
    let after = plan.partition_point(|p| p.0 <= station).clamp(1, plan.len() - 1);
    let (a, b) = (plan[after - 1], plan[after]);
    let t = ((station - a.0) / (b.0 - a.0)).clamp(0.0, 1.0);
    a.1 + (b.1 - a.1) * t
}

/// Stations between which the front part's scale goes over into the rear part's.
const WAIST: (f64, f64) = (0.25, 0.6);
/// Round ends close over this many half-widths.
const ROUND_END: f64 = 0.8;
/// Steps along the midline that an outline is drawn with.
const STEPS: usize = 48;

impl Shape {
    /// The half-width at a station.
    fn half_width_mm(&self, station: f64) -> f64 {
        let t = ((station - WAIST.0) / (WAIST.1 - WAIST.0)).clamp(0.0, 1.0);
        let scale = self.front + (self.rear - self.front) * t;
        let rounded = [station, 1.0 - station].map(|from_end| {
            let end = if from_end == station { 0.0 } else { 1.0 };
            let closing = ROUND_END * expected_half_width_mm(self.plan, end) / self.length_mm;
            let t = (1.0 - from_end / closing).clamp(0.0, 1.0);
            (1.0 - t * t).sqrt()
        });
        scale * expected_half_width_mm(self.plan, station) * rounded[0] * rounded[1]
    }

    /// Points evenly spaced along the outline of one side.
    pub fn outline(&self, count: usize) -> Vec<PlanPoint> {
        let at = |i: usize| {
            // Closer at the ends, where the outline turns.
            let station = 0.5 - 0.5 * (std::f64::consts::PI * i as f64 / STEPS as f64).cos();
            Vector2::new((station - 0.5) * self.length_mm, self.half_width_mm(station))
        };
        let drawn: Vec<Vector2<f64>> = (0..=STEPS).map(at).collect();
        let mut run = vec![0.0];
        for w in drawn.windows(2) {
            run.push(run[run.len() - 1] + (w[1] - w[0]).norm());
        }
        (0..count)
            .map(|i| {
                let wanted = run[STEPS] * (i as f64 + 0.5) / count as f64;
                let after = run.partition_point(|&r| r < wanted).clamp(1, STEPS);
                let (a, b) = (drawn[after - 1], drawn[after]);
                let t = (wanted - run[after - 1]) / (run[after] - run[after - 1]).max(1e-9);
                let along = (b - a).normalize();
                PlanPoint { at_mm: a + (b - a) * t, normal: Vector2::new(-along.y, along.x) }
            })
            .collect()
    }
}
