//! Several photos of one saddle that stood still beside its card: each is located and traced alone, then all are measured
//! together, with the heights of the edges as the photos show them.
//!
//! A photo in which nothing is found is traced where the others show the saddle. Of three or more, a photo that cannot be used
//! or that contradicts the others is left out.

mod cameras;
mod disagreement;

use std::cmp::Ordering;
use std::sync::Arc;

use nalgebra::Vector2;

use crate::card::{FoundCards, find_cards};
use crate::explain::Explanation;
use crate::instruction::CORRECT_VIEW;
use crate::numeric::parallel::*;
use crate::numeric::words::View;
use crate::outline::find::{ShownElsewhere, midline_at_lift};
use crate::outline::lift::LiftProfile;
use crate::photo::Photo;
use crate::pipeline::{Located, Measured, Reached, Refused, Request, Staged, Traced};
use crate::refusal::{Refusal, RefusalCode};
use crate::width::joint::{Joint, JointSubject, Sight, measure_jointly};
use crate::width::{Widths, measure_widths};
use disagreement::Difference;

/// One saddle measured in several photos.
#[derive(Debug, Clone)]
pub struct Together {
    /// Each photo used, with the midline, heights and widths of all; the traced points are its own.
    pub photos: Vec<Measured>,
    /// Their numbers among the photos given.
    pub numbers: Vec<usize>,
    /// The photos that were not used.
    pub left_out: Vec<LeftOut>,
    /// The joint estimate.
    pub joint: Joint,
    /// The widths as the first photo alone gives them.
    pub alone: Option<Widths>,
}

/// A photo of a set that was not used.
#[derive(Debug, Clone)]
pub struct LeftOut {
    /// Its number among the photos given.
    pub number: usize,
    /// Name of its file.
    pub file: String,
    /// Why.
    pub refusal: Refusal,
}

/// Measures one saddle in several photos. There is a request for each; they differ in ends, corrections and lens.
///
/// # Errors
/// As [`measure_over_cards`].
pub fn measure_together(photos: &[Arc<Photo>], requests: &[Request]) -> Staged<Together> {
    measure_over_cards(photos.iter().map(|photo| (photo.clone(), find_cards(photo))).collect(), requests)
}

/// Measures one saddle in several photos whose cards were searched before.
///
/// # Errors
/// Where fewer than two photos can be used, the refusal of the first that cannot, with its name; or why the photos do not go
/// together.
pub fn measure_over_cards(
    found: Vec<(Arc<Photo>, Result<FoundCards, Refusal>)>,
    requests: &[Request],
) -> Staged<Together> {
    let mut set = PhotoSet::locate(found, requests)?;
    loop {
        match set.measure() {
            Ok(joined) => return Ok(set.together(joined)),
            Err(Fault { of: None, refused }) => return Err(refused),
            Err(Fault { of: Some(i), refused }) => {
                let number = set.members[i].number;
                set.members.remove(i);
                set.leave_out(vec![Unusable { number, refused }])?;
            }
        }
    }
}

/// A photo with its camera.
#[derive(Debug, Clone)]
struct Member {
    /// Its number among those given.
    number: usize,
    request: Request,
    located: Located,
}

/// A photo that cannot be used.
struct Unusable {
    number: usize,
    refused: Box<Refused>,
}

/// What keeps a set from being measured.
struct Fault {
    /// The photo at fault among the members; all where none is.
    of: Option<usize>,
    refused: Box<Refused>,
}

impl Fault {
    fn of_all(refused: Box<Refused>) -> Self {
        Self { of: None, refused }
    }
}

/// Photos measured together.
struct Joined {
    photos: Vec<Measured>,
    joint: Joint,
    alone: Option<Widths>,
}

/// The photos that are used, and those that are not.
struct PhotoSet {
    members: Vec<Member>,
    left_out: Vec<LeftOut>,
}

impl PhotoSet {
    fn locate(found: Vec<(Arc<Photo>, Result<FoundCards, Refusal>)>, requests: &[Request]) -> Staged<Self> {
        let (members, unusable) = cameras::locate(found, requests);
        let mut set = Self { members, left_out: Vec::new() };
        set.leave_out(unusable)?;
        Ok(set)
    }

    /// Notes photos that are not used, where two others are.
    fn leave_out(&mut self, unusable: Vec<Unusable>) -> Staged<()> {
        for Unusable { number, refused } in unusable {
            if self.members.len() < 2 {
                return Err(named(refused));
            }
            let (file, refusal) = (refused.photo.name().to_owned(), refused.refusal);
            self.left_out.push(LeftOut { number, file, refusal });
        }
        self.left_out.sort_by_key(|left_out| left_out.number);
        Ok(())
    }

    fn together(self, Joined { photos, joint, alone }: Joined) -> Together {
        let numbers = self.members.iter().map(|member| member.number).collect();
        Together { photos, numbers, left_out: self.left_out, joint, alone }
    }

    fn measure(&self) -> Result<Joined, Fault> {
        let Some(located) = cameras::share_cameras(&self.members) else {
            let first = self.members[0].located.clone();
            let disagree = Difference::of_all(None);
            return Err(Fault::of_all(Refused::new(disagree, first.photo.clone(), Reached::Located(first))));
        };
        let requests: Vec<Request> = self.members.iter().map(|member| member.request.clone()).collect();
        let traced = trace_all(&located, &requests)?;
        let (photos, joint) = join(&requests, &traced).or_else(|fault| retrace(&requests, &traced, fault))?;
        let alone = measure_widths(&traced[0].subject(&self.members[0].located.fit));
        Ok(Joined { photos, joint, alone })
    }
}

/// Traces every photo: where nothing is found, or a saddle seen the other way up, again where the others show it.
fn trace_all(located: &[Located], requests: &[Request]) -> Result<Vec<Traced>, Fault> {
    let alone = trace(located, requests);
    let found: Vec<&Traced> = alone.iter().flatten().collect();
    let Some(first) = found.first() else {
        return Err(Fault::of_all(
            alone.into_iter().find_map(|photo| photo.err().map(named)).expect("a photo"),
        ));
    };
    let upright = found.iter().filter(|traced| traced.view == View::Top).count();
    let view = match (2 * upright).cmp(&found.len()) {
        Ordering::Less => View::Underside,
        Ordering::Greater => View::Top,
        Ordering::Equal => return Err(Fault::of_all(refused(first, views_differ()))),
    };
    let found: Vec<&Traced> = found.into_iter().filter(|traced| traced.view == view).collect();
    let numbered = alone.iter().enumerate().map(|(i, photo)| match photo {
        Ok(traced) if traced.view == view => Ok(traced.clone()),
        _ => trace_as_shown(&located[i], &requests[i], &found).ok_or_else(|| {
            let refused =
                photo.as_ref().map(|traced| refused(traced, other_way_up())).unwrap_or_else(Clone::clone);
            Fault { of: Some(i), refused }
        }),
    });
    numbered.collect()
}

fn trace(located: &[Located], requests: &[Request]) -> Vec<Staged<Traced>> {
    let both = located.par_iter().zip(requests);
    both.map(|(located, request)| located.clone().trace(request, Explanation::OFF)).collect()
}

/// Heights over the card at which a single other photo may show the saddle, mm: where its edges are by some centimetres.
const TRIED_MM: [f64; 4] = [0.0, 40.0, -40.0, 80.0];

/// Traces a photo where others show the saddle. `None` where no edges are seen there, or other ends or another view were given.
fn trace_as_shown(located: &Located, request: &Request, others: &[&Traced]) -> Option<Traced> {
    let first = others.first()?;
    let requests = vec![request.clone(); others.len()];
    let joint = (others.len() > 1).then(|| estimate(&requests, others).ok()).flatten();
    let places = match (joint, &request.seat_lift) {
        (Some(Joint { midline, seat_lift, .. }), _) => {
            vec![([midline.front_mm, midline.rear_mm], seat_lift.profile)]
        }
        (None, Some(known)) => vec![place(first, known)?],
        (None, None) => {
            let tried = TRIED_MM.iter().map(|mm| LiftProfile::unknown().raised_all(*mm));
            tried.filter_map(|lift| place(first, &lift)).collect()
        }
    };
    let shown = ShownElsewhere { view: first.view, places };
    let free = request.ends.is_none() && request.view.is_none_or(|view| view == shown.view);
    let request = Request { near: None, shown: Some(shown), ..request.clone() };
    free.then(|| located.clone().trace(&request, Explanation::OFF).ok()).flatten()
}

/// The ends of a traced midline, its edges at a lift.
fn place(traced: &Traced, lift: &LiftProfile) -> Option<([Vector2<f64>; 2], LiftProfile)> {
    let Traced { located, midline, outline, seat_lift, .. } = traced;
    let midline = midline_at_lift(&located.fit.camera, midline, &outline.seat, seat_lift, lift)?;
    Some(([midline.front_mm, midline.rear_mm], lift.clone()))
}

/// Largest root of the reduced sum of squares at which photos count as showing one saddle that was not moved.
const MOST_DISAGREEMENT: f64 = 3.0;

/// Measures all photos together, traced again along the edges at the heights that they have.
fn join(requests: &[Request], first: &[Traced]) -> Result<(Vec<Measured>, Joint), Fault> {
    let joint = estimate(requests, &first.iter().collect::<Vec<_>>()).map_err(Fault::of_all)?;
    let nearer: Vec<Request> = requests.iter().zip(first).map(|(r, t)| nearer(r, t, &joint)).collect();
    let located: Vec<Located> = first.iter().map(|traced| traced.located.clone()).collect();
    let again = trace(&located, &nearer).into_iter().zip(&nearer).enumerate();
    let measured = again.map(|(i, (traced, request))| {
        let measured = traced.and_then(|traced| traced.measure_as_traced(request));
        measured.map_err(|refused| Fault { of: Some(i), refused })
    });
    let mut photos: Vec<Measured> = measured.collect::<Result<_, _>>()?;
    let traced: Vec<&Traced> = photos.iter().map(|photo| &photo.traced).collect();
    let joint = estimate(requests, &traced).map_err(Fault::of_all)?;
    if !(joint.disagreement <= MOST_DISAGREEMENT) {
        return Err(Fault::of_all(disagree(&traced)));
    }
    photos.iter_mut().enumerate().for_each(|(i, photo)| adopt(photo, &joint, i));
    Ok((photos, joint))
}

/// Measures photos that contradict each other with one of them traced again where the others show the saddle. Where that does
/// not help, the fault is that photo's; of two photos it cannot be said whose.
fn retrace(requests: &[Request], traced: &[Traced], fault: Fault) -> Result<(Vec<Measured>, Joint), Fault> {
    let without = |i: usize| -> Vec<&Traced> {
        traced.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, other)| other).collect()
    };
    let all = 0..traced.len();
    let contradicts = || {
        let rest = |i: usize| Some((i, estimate(requests, &without(i)).ok()?.disagreement));
        all.clone().filter_map(rest).min_by(|a, b| a.1.total_cmp(&b.1)).map(|(i, _)| i)
    };
    let suspect = fault.of.or_else(|| (traced.len() > 2).then(contradicts).flatten());
    let again = all.clone().filter(|i| suspect.is_none_or(|suspect| suspect == *i)).filter_map(|i| {
        let mut traced = traced.to_vec();
        traced[i] = trace_as_shown(&traced[i].located, &requests[i], &without(i))?;
        join(requests, &traced).ok()
    });
    let best = again.min_by(|a, b| a.1.disagreement.total_cmp(&b.1.disagreement));
    best.ok_or_else(|| match (fault.of, suspect) {
        (None, Some(i)) => {
            let difference = Difference::of(&traced[i], without(i)[0]).unwrap_or(Difference::Edge);
            Fault { of: Some(i), refused: refused(&traced[i], difference.of_one()) }
        }
        _ => fault,
    })
}

fn estimate(requests: &[Request], traced: &[&Traced]) -> Staged<Joint> {
    let sights: Option<Vec<Sight>> = traced.iter().map(|t| sight(t)).collect();
    let [seat, channel] = requests[0].lifts();
    let joint = sights.and_then(|sights| {
        measure_jointly(&JointSubject {
            sights: &sights,
            view: traced[0].view,
            lifts: [&seat, &channel],
            print_scale_u: traced[0].located.print_scale.relative_u,
        })
    });
    match joint {
        None => Err(disagree(traced)),
        Some(joint) if joint.widths.named.is_empty() => Err(refused(traced[0], no_width())),
        Some(joint) => Ok(joint),
    }
}

fn sight(traced: &Traced) -> Option<Sight<'_>> {
    let (ends_px, end_errors) = (traced.midline_ends_px()?, traced.midline.end_errors());
    Some(Sight { fit: &traced.located.fit, outline: &traced.outline, ends_px, end_errors })
}

/// The request to trace a photo where the saddle was found, at the heights that all photos show.
fn nearer(request: &Request, traced: &Traced, joint: &Joint) -> Request {
    Request {
        near: traced.midline_ends_px().map(|ends| (traced.view, ends)),
        seat_lift: Some(joint.seat_lift.profile.clone()),
        channel_lift: joint.channel_lift.as_ref().map(|lift| lift.profile.clone()),
        ..request.clone()
    }
}

/// Gives a photo the midline, heights and widths of all.
fn adopt(photo: &mut Measured, joint: &Joint, index: usize) {
    let (seat, channel) = joint.located[index].clone();
    photo.widths = Widths { seat, channel, ..joint.widths.clone() };
    photo.traced.midline = joint.midline;
    photo.traced.seat_lift = joint.seat_lift.profile.clone();
    if let Some(lift) = &joint.channel_lift {
        photo.traced.channel_lift = lift.profile.clone();
    }
}

/// The first two photos that are the same file, which would pass for two that agree.
pub fn same_twice(photos: &[Arc<Photo>]) -> Option<[&Photo; 2]> {
    photos.iter().enumerate().find_map(|(i, photo)| {
        let same = photos[..i].iter().find(|other| other.sha256() == photo.sha256())?;
        Some([&**same, &**photo])
    })
}

/// A refusal of the set of photos, with the stages of the first.
fn refused(first: &Traced, refusal: Refusal) -> Box<Refused> {
    Refused::new(refusal, first.located.photo.clone(), Reached::Traced(first.clone()))
}

/// A photo's own refusal, with its name.
fn named(refused: Box<Refused>) -> Box<Refused> {
    let name = refused.photo.name().to_owned();
    refused.map(|refusal| of_photo(&name, refusal))
}

/// A refusal of one of several photos, with its name.
pub fn of_photo(name: &str, refusal: Refusal) -> Refusal {
    let text = format!("{name}: {}", refusal.text);
    let of_the_saddle = matches!(
        refusal.code,
        RefusalCode::NoSaddle
            | RefusalCode::EdgesNotFound
            | RefusalCode::MidlineOutside
            | RefusalCode::ViewUnclear
    );
    let hint = match of_the_saddle {
        true => "take this photo again, more from above and on a plain floor, or leave it out".to_owned(),
        false => refusal.hint,
    };
    Refusal { text, hint, ..refusal }
}

fn views_differ() -> Refusal {
    Refusal::new(
        RefusalCode::PhotosDisagree,
        "some photos show the saddle upright and others upside down",
        format!("leave out the photos of the other view, or {CORRECT_VIEW}"),
    )
}

fn other_way_up() -> Refusal {
    Refusal::new(
        RefusalCode::PhotosDisagree,
        "it shows the saddle the other way up",
        format!("measure it with photos of the same view, or {CORRECT_VIEW}"),
    )
}

fn no_width() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the photos together give no width",
        "photograph the whole saddle on a plain floor, with nothing lying across it",
    )
}

/// The refusal of photos that contradict each other; what two of them differ in is named.
fn disagree(traced: &[&Traced]) -> Box<Refused> {
    let difference = if let [first, other] = traced { Difference::of(other, first) } else { None };
    refused(traced[0], Difference::of_all(difference))
}
