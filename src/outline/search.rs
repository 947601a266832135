//! The search for the welt about a first trace: followed once, asked what else it may be, and every answer followed to the
//! end.

use std::cmp::Ordering;

use super::band::{self, Curve};
use super::edge::COMPETITOR_MM;
use super::lift::LiftProfile;
use super::midline::Midline;
use super::sight::{self, Look, Sight};
use super::trace::Belief;
use super::welt::{self, Followed, Sought};
use super::{Scene, Side};

/// The welt found.
#[derive(Debug, Clone)]
pub struct Found {
    /// The left and the right silhouette's line.
    pub curves: [Curve; 2],
    /// How sure each row is that the edge is there.
    pub beliefs: [Vec<Belief>; 2],
    /// The cord's width, mm.
    pub width_mm: f64,
    /// How well all of it is seen, as [`Followed::score`].
    pub score: f64,
}

/// One turn of following the welt.
#[derive(Debug, Clone, Copy)]
struct Turn {
    /// How far from the bands' middle, mm.
    reach_mm: f64,
    /// Rows on either side that are taken together: the straighter the bands, the more.
    rows: usize,
    /// See [`Look`].
    on_edge: bool,
    /// See [`Look`].
    bend_cost: f32,
    /// Smoothing of the path afterwards, mm.
    smoothing_mm: f64,
}

/// The first trace may lie on any line of the rim and cuts its corners.
const FIRST: Turn = Turn { reach_mm: 16.0, rows: 1, on_edge: false, bend_cost: 4.0, smoothing_mm: 6.0 };
/// The turns that follow, in bands that are straighter each time.
const NEXT: [Turn; 2] = [
    Turn { reach_mm: 6.0, rows: 3, on_edge: true, bend_cost: 10.0, smoothing_mm: 6.0 },
    Turn { reach_mm: 2.4, rows: 5, on_edge: true, bend_cost: 10.0, smoothing_mm: 2.0 },
];
/// Once a band runs along some line of the rim, the edge is one of the lines within this, mm.
const RIM_MM: f64 = 12.0;
/// How much is tried.
#[derive(Debug, Clone, Copy)]
pub struct Effort {
    /// How many hypotheses are followed to the end.
    hypotheses: usize,
    /// Smoothings of the line that each starts from, mm: where it has changed over from one line to another, smoothing by
    /// little and by much gives both a chance.
    smoothings_mm: &'static [f64],
}

/// For the edge itself.
pub const THOROUGH: Effort = Effort { hypotheses: 3, smoothings_mm: &[3.0, 10.0] };
/// For telling one place from another.
pub const GLANCE: Effort = Effort { hypotheses: 1, smoothings_mm: &[3.0] };
/// The edge is the form's outermost line: of hypotheses that score alike to within this, one clear line on either side,
/// the outermost counts. It must be seen, which is more than nothing at all, and be another line: both sides together lie
/// further out by more than a cord's width, mm.
const AS_GOOD: f64 = 2.0;
const LEAST_SEEN: f64 = 0.0;
/// A line about as clear by itself, both sides' at least this part, is the form's edge when it lies further out, however much
/// more like a cord the lines inside it look: rows of stitches do.
const AS_CLEAR: f64 = 0.6;
const FURTHER_OUT_MM: f64 = 4.0;
/// A line further in is more likely a seam or a crease of the same form than the edge: it counts this part as a rival.
const INNER_WEIGHT: f64 = 0.2;

/// Finds the welt about the first traces of both sides.
pub fn find_welt(scene: &Scene, lift: &LiftProfile, first: [Curve; 2], effort: Effort) -> Option<Found> {
    let middle = first[0].point(first[0].points.len() / 2, 0.0, scene.midline, lift);
    let mm_per_px = scene.camera.mm_per_px(middle)?;
    let searcher = Searcher { scene, lift, mm_per_px };
    let sought = Sought::any(scene.blur_px * mm_per_px);
    let (curves, _) = searcher.follow(first, sought, FIRST)?;
    let sights = curves.each_ref().map(|curve| searcher.sight(curve, FIRST));
    let mut outcomes = Vec::new();
    for (width, offsets_mm) in welt::hypotheses(&sights, sought, RIM_MM, effort.hypotheses) {
        for smoothing_mm in effort.smoothings_mm.iter().copied() {
            let start = [0, 1].map(|i| curves[i].moved(&offsets_mm[i], smoothing_mm));
            outcomes.extend(searcher.to_the_end(start, Sought::about(width, sought.blur_mm)));
        }
    }
    let chosen = choose(&outcomes)?;
    let beliefs = [0, 1].map(|i| beliefs(&outcomes, chosen, i));
    let Outcome { curves, followed, .. } = &outcomes[chosen];
    Some(Found { curves: curves.clone(), beliefs, width_mm: followed.width.mm(), score: followed.score })
}

/// A hypothesis followed to the end.
struct Outcome {
    curves: [Curve; 2],
    /// Mean distance of both sides from the midline, mm, added.
    breadth_mm: f64,
    followed: Followed,
}

struct Searcher<'a> {
    scene: &'a Scene<'a>,
    lift: &'a LiftProfile,
    mm_per_px: f64,
}

impl Searcher<'_> {
    fn follow(&self, curves: [Curve; 2], sought: Sought, turn: Turn) -> Option<([Curve; 2], Followed)> {
        let sights = curves.each_ref().map(|curve| self.sight(curve, turn));
        let ends = curves.each_ref().map(|curve| ends(self.scene.midline, curve));
        let followed = welt::follow(&sights, sought, ends, turn.reach_mm)?;
        let moved = [0, 1].map(|i| curves[i].moved(&followed.offsets_mm[i], turn.smoothing_mm));
        Some((moved, followed))
    }

    fn to_the_end(&self, mut curves: [Curve; 2], mut sought: Sought) -> Option<Outcome> {
        let mut last = None;
        for turn in NEXT {
            let (moved, followed) = self.follow(curves, sought, turn)?;
            curves = moved;
            sought = Sought::about(followed.width, sought.blur_mm);
            last = Some(followed);
        }
        let breadth_mm = curves.iter().map(|curve| mean_distance_mm(self.scene.midline, curve)).sum();
        Some(Outcome { curves, breadth_mm, followed: last? })
    }

    fn sight(&self, curve: &Curve, turn: Turn) -> Sight {
        let Scene { photo, camera, midline, .. } = *self.scene;
        let strip = band::sample(photo, camera, midline, self.lift, curve);
        let wanted = |row| sight::is_middle(row, strip.rows);
        let evidence = band::evidence(&strip, self.mm_per_px, turn.rows, wanted);
        let slopes: Vec<f64> = (0..curve.points.len())
            .map(|row| curve.slope_of_sight(row, camera, midline, self.lift))
            .collect();
        let Turn { rows, on_edge, bend_cost, .. } = turn;
        Sight::of(&strip, &evidence, Look { rows, on_edge, bend_cost, mm_per_px: self.mm_per_px }, &slopes)
    }
}

/// The best outcome, or the outermost of those as good.
fn choose(outcomes: &[Outcome]) -> Option<usize> {
    let best = outcomes.iter().max_by(|a, b| a.followed.score.total_cmp(&b.followed.score))?;
    let as_clear = |o: &Outcome| (0..2).all(|i| o.followed.clear[i] >= AS_CLEAR * best.followed.clear[i]);
    let further_out = |o: &Outcome| {
        (o.followed.score >= best.followed.score - AS_GOOD || as_clear(o))
            && o.followed.least_seen >= LEAST_SEEN
            && o.breadth_mm > best.breadth_mm + FURTHER_OUT_MM
    };
    let rank = |o: &Outcome| if further_out(o) { (1, o.breadth_mm) } else { (0, o.followed.score) };
    let by_rank = |a: &usize, b: &usize| {
        rank(&outcomes[*a]).partial_cmp(&rank(&outcomes[*b])).unwrap_or(Ordering::Equal)
    };
    (0..outcomes.len()).max_by(by_rank)
}

/// How sure each row of a side of the chosen outcome is: by its own programme, or by the share of all outcomes, each by its
/// likelihood, that have the edge within [`COMPETITOR_MM`] there, whichever is less.
fn beliefs(outcomes: &[Outcome], chosen: usize, side: usize) -> Vec<Belief> {
    let own = &outcomes[chosen];
    let weight = |o: &Outcome| {
        let further_in = o.breadth_mm < own.breadth_mm - FURTHER_OUT_MM;
        let likelihood = (o.followed.score - own.followed.score).min(0.0).exp();
        if further_in { likelihood * INNER_WEIGHT } else { likelihood }
    };
    let of_programme = &own.followed.beliefs[side];
    (0..own.curves[side].points.len())
        .map(|row| {
            let alone = of_programme[row.min(of_programme.len() - 1)];
            let (mut agreeing, mut total, mut rival) = (0.0, 0.0, (0.0, None));
            for outcome in outcomes {
                let apart_mm = apart_mm(&own.curves[side], row, &outcome.curves[side]);
                let weight = weight(outcome);
                total += weight;
                if apart_mm.abs() <= COMPETITOR_MM {
                    agreeing += weight;
                } else if weight > rival.0 {
                    rival = (weight, Some(apart_mm));
                }
            }
            let together = Belief { confidence: agreeing / total, rival_mm: rival.1 };
            if together.confidence < alone.confidence { together } else { alone }
        })
        .collect()
}

/// Distance from a row of a curve to another curve, mm: positive when that one lies further out.
fn apart_mm(curve: &Curve, row: usize, other: &Curve) -> f64 {
    let steps = other.points.iter().map(|p| p - curve.points[row]);
    let nearest = steps.min_by(|a, b| a.norm_squared().total_cmp(&b.norm_squared()));
    nearest.map_or(f64::INFINITY, |step| step.norm().copysign(step.dot(&curve.normals[row])))
}

fn mean_distance_mm(midline: &Midline, curve: &Curve) -> f64 {
    let across = midline.toward(Side::Left);
    let sum: f64 = curve.points.iter().map(|p| (p - midline.front_mm).dot(&across).abs()).sum();
    sum / curve.points.len() as f64
}

/// Offsets at which the midline's ends lie off a curve's ends.
fn ends(midline: &Midline, curve: &Curve) -> [f64; 2] {
    let last = curve.points.len() - 1;
    [(0, midline.front_mm), (last, midline.rear_mm)]
        .map(|(row, end)| (end - curve.points[row]).dot(&curve.normals[row]))
}
