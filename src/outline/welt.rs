//! The welt: the piped cord that ends a seat form, seen as two lines that keep their distance all the way round.
//!
//! Many lines run along a saddle's edge: seams, stitching, shadows, the flap's rim. Three things single out the welt's
//! two, the crease where the cord leaves the seat and the silhouette where the form ends. They stay the cord's width
//! apart along both sides. Between them the light rises and falls as over a round thing. And what lies beyond the
//! silhouette (flap, floor, panel, box) begins and ends along it without the cord taking notice, so that the change of
//! light across it is another one in every stretch, as it is nowhere further out.

use rayon::prelude::*;

use super::dome::Dome;
use super::edge::COMPETITOR_MM;
use super::novelty::outermost;
use super::rim::{cord_colour, unit};
use super::sight::{COLUMNS_PER_PLACE, LEAST_WIDTH, PLACE_MM, PLACES, ROWS_PER_STEP, Sight, places_within};
use super::trace::{Belief, Programme, Traced};

/// Widths of a cord, places of 0.4 mm (common practice, no source: from thin piping, 3.2 mm, to a thick rolled edge, 8 mm).
const WIDTHS: std::ops::RangeInclusive<usize> = 8..=20;
/// The crease counts less than the silhouette: it is the silhouette that is looked for.
const SILHOUETTE_WEIGHT: f32 = 1.3;
const CREASE_WEIGHT: f32 = 0.5;
/// Where a form ends other colours begin, though not where it lies on a flap of its own leather.
const CONTRAST_WEIGHT: f32 = 2.0;
/// A perfectly round profile speaks as loud as one perfectly clear line.
const DOME_WEIGHT: f32 = 4.0;
/// Roughness along the cord, per natural logarithm, counts against it: stitches are rough, straw is.
const ROUGH_WEIGHT: f32 = 1.5;
/// What colours say for a place between form and surroundings.
const REGION_WEIGHT: f32 = 0.7;
/// What the scatter of the light's change counts against the lines and the roundness, per natural logarithm.
const NOVELTY_WEIGHT: f64 = 3.0;
/// A rim that looks just as it does elsewhere speaks as loud as so many clear lines.
const RIM_WEIGHT: f32 = 10.0;
/// And the other side's rim counts this part of one's own.
const OTHER_RIM: f32 = 0.5;
/// And a cord of another colour than usual so much.
const UNLIKE_WEIGHT: f32 = 0.7;
/// Left and right rim are made alike: a pair of lines counts so much for that.
const ALIKE_WEIGHT: f64 = 3.0;
/// Stripes that are followed by themselves are so wide, mm.
const STRIPE_MM: f64 = 2.0;
/// Turns of learning the common rim and following it.
const RIM_TURNS: usize = 3;

/// How well a cord of a width, its silhouette at each place, is seen in every step.
fn seen(sight: &Sight, width: usize, blur_mm: f64, search_mm: f64) -> Vec<f32> {
    let places = places_within(search_mm);
    let longest = (0..sight.steps).map(|s| sight.seen_width(width, s)).max().unwrap_or(width);
    let domes: Vec<Dome> =
        (0..=longest).map(|w| Dome::new(w.max(LEAST_WIDTH) * COLUMNS_PER_PLACE, blur_mm)).collect();
    let mut seen = vec![0.0; sight.steps * PLACES];
    for step in 0..sight.steps {
        let width = sight.seen_width(width, step);
        let lines = &sight.lines[step * PLACES..(step + 1) * PLACES];
        let light = sight.light_of(step);
        let rough = &sight.rough[step * PLACES..(step + 1) * PLACES];
        let out = &mut seen[step * PLACES..(step + 1) * PLACES];
        for place in places.clone().skip_while(|p| *p < width) {
            let end = place * COLUMNS_PER_PLACE + COLUMNS_PER_PLACE / 2;
            let dome = &domes[width];
            let round = end.checked_sub(dome.length()).map_or(0.0, |from| dome.likeness(&light[from..=end]));
            let inner = &rough[place - width + width / 4..place - width / 4];
            let roughness = inner.iter().sum::<f32>() / inner.len() as f32;
            out[place] = SILHOUETTE_WEIGHT * lines[place]
                + CONTRAST_WEIGHT * sight.contrast[step * PLACES + place]
                + CREASE_WEIGHT * lines[place - width]
                + DOME_WEIGHT * round
                + REGION_WEIGHT * sight.parted(step, place, width)
                - ROUGH_WEIGHT * roughness;
        }
    }
    seen
}

/// The cord as it is looked for: its widths and how the photo blurs it.
#[derive(Debug, Clone, Copy)]
pub struct Sought {
    /// Narrowest and widest cord, places.
    widths: (usize, usize),
    /// Blur (standard deviation), mm.
    pub blur_mm: f64,
}

impl Sought {
    /// Any cord.
    pub fn any(blur_mm: f64) -> Self {
        Self { widths: (*WIDTHS.start(), *WIDTHS.end()), blur_mm }
    }

    /// A cord about as wide as one found.
    pub fn about(width: Width, blur_mm: f64) -> Self {
        let near = |by: isize| width.0.saturating_add_signed(by).clamp(*WIDTHS.start(), *WIDTHS.end());
        Self { widths: (near(-2), near(2)), blur_mm }
    }

    fn widths(&self) -> Vec<usize> {
        (self.widths.0..=self.widths.1).collect()
    }
}

/// Width of a cord on the programme's raster.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Width(usize);

impl Width {
    /// Width, mm.
    pub fn mm(self) -> f64 {
        self.0 as f64 * PLACE_MM
    }
}

/// The cord followed in both bands.
#[derive(Debug, Clone)]
pub struct Followed {
    /// Its width.
    pub width: Width,
    /// Offset of the silhouette in each row of the left and the right band, mm.
    pub offsets_mm: [Vec<f64>; 2],
    /// How sure each row is that the silhouette is there and not at another place of the band.
    pub beliefs: [Vec<Belief>; 2],
    /// How well all of it is seen: the mean over the steps of both sides, with what speaks for nothing lying beyond.
    pub score: f64,
    /// The lesser of both sides' means of what is seen of lines and roundness.
    pub least_seen: f64,
    /// How clear a line each side's silhouette is by itself, whatever lies inside it.
    pub clear: [f64; 2],
}

/// Follows the cord in both bands, within `search_mm` of their middles; `ends_mm` are the offsets at which the midline's
/// ends lie, front and rear. When the bands run along the edge already, the rim that they share is learnt and followed.
pub fn follow(
    sights: &[Sight; 2],
    sought: Sought,
    ends_mm: [[f64; 2]; 2],
    search_mm: f64,
) -> Option<Followed> {
    let programme = |i: usize, seen: &[f32]| sights[i].programme(seen, 0.0, search_mm, Some(ends_mm[i]));
    let with_width = |width: usize| -> Option<(f32, usize, [Vec<f32>; 2])> {
        let seen = [0, 1].map(|i| seen(&sights[i], width, sought.blur_mm, search_mm));
        let cost = programme(0, &seen[0]).best()?.1 + programme(1, &seen[1]).best()?.1;
        Some((cost, width, seen))
    };
    let by_width = sought.widths().into_par_iter().filter_map(with_width);
    let (_, width, seen) = by_width.min_by(|a, b| a.0.total_cmp(&b.0))?;
    let mut worth = seen.clone();
    if sights[0].look.on_edge {
        let colour = cord_colour(sights, width);
        for i in 0..2 {
            let unlike = sights[i].unlike(colour, width, search_mm);
            worth[i].iter_mut().zip(unlike).for_each(|(w, u)| *w -= UNLIKE_WEIGHT * u);
        }
        worth = with_rim(sights, worth, search_mm, programme)?;
    }
    let (left, right) = rayon::join(|| programme(0, &worth[0]).run(), || programme(1, &worth[1]).run());
    Some(judged(sights, width, search_mm, &seen, [left?, right?]))
}

/// What is seen of the cord with what its rim is worth: how much it looks like the rim that all steps share, learnt from
/// the path and followed by turns.
fn with_rim(
    sights: &[Sight; 2],
    plain: [Vec<f32>; 2],
    search_mm: f64,
    programme: impl Fn(usize, &[f32]) -> Programme,
) -> Option<[Vec<f32>; 2]> {
    let mut worth = plain.clone();
    let mut paths = sights.each_ref().map(|s| vec![PLACES / 2; s.steps]);
    for turn in 0..RIM_TURNS {
        let rims = [0, 1].map(|i| unit(sights[i].common_rim(&paths[i])));
        for i in 0..2 {
            let common: Vec<f32> = rims[i].iter().zip(&rims[1 - i]).map(|(a, b)| a + OTHER_RIM * b).collect();
            let likeness = sights[i].likeness(&common, search_mm);
            worth[i] = plain[i].iter().zip(&likeness).map(|(w, l)| w + RIM_WEIGHT * l).collect();
            if turn + 1 < RIM_TURNS {
                paths[i] = programme(i, &worth[i]).best()?.0;
            }
        }
    }
    Some(worth)
}

fn judged(
    sights: &[Sight; 2],
    width: usize,
    search_mm: f64,
    seen: &[Vec<f32>; 2],
    traced: [Traced; 2],
) -> Followed {
    let rims = [0, 1].map(|i| unit(sights[i].common_rim(&traced[i].path)));
    let alike: f32 = rims[0].iter().zip(&rims[1]).map(|(a, b)| a * b).sum();
    let mut score = ALIKE_WEIGHT * f64::from(alike);
    let likenesses = [0, 1].map(|i| sights[i].likeness(&rims[i], search_mm));
    let mut least_seen = f64::INFINITY;
    for i in 0..2 {
        let path = &traced[i].path;
        let mean_seen = sights[i].mean_along(&seen[i], path);
        least_seen = least_seen.min(mean_seen);
        score += mean_seen
            + f64::from(RIM_WEIGHT) * sights[i].mean_along(&likenesses[i], path)
            + NOVELTY_WEIGHT * outermost(&sights[i], path);
    }
    let clear = [0, 1].map(|i| {
        let sight = &sights[i];
        sight.mean_along(&sight.lines, &traced[i].path) + sight.mean_along(&sight.contrast, &traced[i].path)
    });
    let apart = (COMPETITOR_MM / PLACE_MM) as usize;
    let colour = cord_colour(sights, width);
    let beliefs = [0, 1].map(|i| {
        let hidden =
            hidden(&sights[i], &traced[i].path, &likenesses[i], &sights[i].unlike(colour, width, search_mm));
        let of_row = |row: usize| (row / ROWS_PER_STEP).min(sights[i].steps - 1);
        let belief =
            |step: usize| if hidden[step] { Belief::HIDDEN } else { traced[i].belief(step, apart, PLACE_MM) };
        (0..sights[i].rows).map(|row| belief(of_row(row))).collect()
    });
    let offsets_mm = [0, 1].map(|i| sights[i].offsets_mm(&traced[i].path));
    Followed { width: Width(width), offsets_mm, beliefs, score, least_seen, clear }
}

/// A rim less like the common one than this, and a cord as unlike the usual colour as that, is another thing.
const HIDDEN_LIKENESS: f32 = 0.25;
const HIDDEN_UNLIKE: f32 = 3.0;

/// In which steps something lies across the edge, such as a strap: neither the rim's lines nor the cord's colour are seen
/// there.
fn hidden(sight: &Sight, path: &[usize], likeness: &[f32], unlike: &[f32]) -> Vec<bool> {
    (0..sight.steps)
        .map(|step| step * PLACES + path[step])
        .map(|at| likeness[at] < HIDDEN_LIKENESS && unlike[at] >= HIDDEN_UNLIKE)
        .collect()
}

/// What the cord may be: its width, and the offset of its silhouette in each row of the left and the right band, mm.
pub type Hypothesis = (Width, [Vec<f64>; 2]);

/// The `most` best hypotheses of which lines along both bands are the cord's, at most `search_mm` from the line along which
/// the bands run now; every two of them differ by a stripe and more on one side at least.
///
/// Lines of other heights and stitching do not run side by side, so every stripe of the bands is followed by itself.
pub fn hypotheses(sights: &[Sight; 2], sought: Sought, search_mm: f64, most: usize) -> Vec<Hypothesis> {
    let reach = (search_mm / STRIPE_MM) as isize;
    let pairs_of = |width: usize| {
        let [left, right] = [0, 1].map(|i| {
            let seen = seen(&sights[i], width, sought.blur_mm, search_mm + STRIPE_MM);
            (-reach..=reach)
                .filter_map(|stripe| line_in(&sights[i], &seen, stripe as f64 * STRIPE_MM))
                .map(|line| (unit(sights[i].common_rim(&line.path)), line))
                .collect::<Vec<_>>()
        });
        let mut pairs = Vec::new();
        for l in &left {
            for r in &right {
                let alike: f32 = l.0.iter().zip(&r.0).map(|(a, b)| a * b).sum();
                let score = l.1.score + r.1.score + ALIKE_WEIGHT * f64::from(alike);
                pairs.push((score, width, [l.1.path.clone(), r.1.path.clone()]));
            }
        }
        pairs
    };
    let mut pairs: Vec<_> = sought.widths().into_par_iter().flat_map_iter(pairs_of).collect();
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut kept: Vec<(usize, [Vec<usize>; 2])> = Vec::new();
    for (_, width, paths) in pairs {
        let far = |other: &[Vec<usize>; 2]| {
            (0..2).any(|i| (mean_place(&other[i]) - mean_place(&paths[i])).abs() * PLACE_MM > STRIPE_MM)
        };
        if kept.iter().all(|k| far(&k.1)) {
            kept.push((width, paths));
        }
        if kept.len() == most {
            break;
        }
    }
    kept.into_iter()
        .map(|(width, paths)| (Width(width), [0, 1].map(|i| sights[i].offsets_mm(&paths[i]))))
        .collect()
}

fn mean_place(path: &[usize]) -> f64 {
    path.iter().sum::<usize>() as f64 / path.len() as f64
}

/// A line along a band that may be the silhouette.
struct Line {
    path: Vec<usize>,
    /// How well it is seen, and how much rather than what lies beyond it.
    score: f64,
}

/// The best line of a stripe about an offset.
fn line_in(sight: &Sight, seen: &[f32], middle_mm: f64) -> Option<Line> {
    let (path, _) = sight.programme(seen, middle_mm, 0.75 * STRIPE_MM, None).best()?;
    let score = sight.mean_along(seen, &path) + NOVELTY_WEIGHT * outermost(sight, &path);
    Some(Line { path, score })
}
