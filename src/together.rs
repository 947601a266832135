//! Several photos of one saddle that stood still beside its card: each walked alone, then all measured together, with the
//! lift of the edges as the photos tell it.

use std::borrow::Borrow;

use crate::numeric::parallel::*;

use crate::camera::placement::lens_prior;
use crate::camera::print_scale::{PrintScale, print_scale};
use crate::card::{FoundCard, FoundCards, find_cards};
use crate::measure::{Placed, Request, Walk, place_at, walk_placed, walk_uneven};
use crate::outline::lift::LiftProfile;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};
use crate::width::joint::{Joint, JointSubject, Sight, measure_jointly};
use crate::width::{GIVEN_END_U_MM, Widths};

/// What several photos of a saddle say together.
#[derive(Debug, Clone)]
pub struct Together {
    /// Each photo's walk, with the midline, the lifts and the widths of all; the traced points are its own.
    pub walks: Vec<Walk>,
    /// The joint estimate.
    pub joint: Joint,
    /// The widths as the first photo alone gave them.
    pub alone: Widths,
}

/// Measures one saddle in several photos; a request for each, alike but for the lens.
///
/// # Errors
/// The first refusal of any photo, with its name, or why the photos do not go together.
pub fn measure_together<P: Borrow<Photo>>(photos: &[P], requests: &[Request]) -> Result<Together, Refusal> {
    let found =
        |photo: &P| find_cards(photo.borrow()).map_err(|refusal| of_photo(photo.borrow().name(), refusal));
    let found = photos.iter().map(found).collect::<Result<_, _>>()?;
    measure_found_together(photos, requests, found)
}

/// As [`measure_together`], from the cards found in each photo.
///
/// # Errors
/// As [`measure_together`].
pub fn measure_found_together<P: Borrow<Photo>>(
    photos: &[P],
    requests: &[Request],
    found: Vec<FoundCards>,
) -> Result<Together, Refusal> {
    let photos: &[&Photo] = &photos.iter().map(Borrow::borrow).collect::<Vec<_>>();
    let placed = placed_alike(photos, requests, found)?;
    let each = |requests: &[Request], walk: Walking| -> Result<Vec<Walk>, Refusal> {
        let walked = photos.par_iter().zip(requests).zip(&placed);
        let walked: Vec<Result<Walk, Refusal>> = walked
            .map(|((photo, request), placed)| {
                walk(photo, request, placed.clone()).map_err(|refusal| of_photo(photo.name(), refusal))
            })
            .collect();
        walked.into_iter().collect()
    };
    let first = each(requests, walk_uneven)?;
    if first.iter().any(|walk| walk.view != first[0].view) {
        return Err(views_differ());
    }
    let told = joint_of(photos, requests, &first)?;
    // Once more along the edges at the lift that they have.
    let nearer: Vec<Request> = requests.iter().zip(&first).map(|(r, w)| nearer(r, w, &told)).collect();
    let mut walks = each(&nearer, walk_placed)?;
    let alone = first.into_iter().next().map(|walk| walk.widths).ok_or_else(no_width)?;
    let joint = joint_of(photos, requests, &walks)?;
    if !(joint.disagreement <= MOST_DISAGREEMENT) {
        return Err(disagree());
    }
    for (walk, (seat, channel)) in walks.iter_mut().zip(&joint.located) {
        let widths = joint.widths.clone();
        walk.widths = Widths { seat: seat.clone(), channel: channel.clone(), ..widths };
        walk.midline = joint.midline;
        walk.seat_lift = joint.seat_lift.profile.clone();
        if let Some(told) = &joint.channel_lift {
            walk.channel_lift = told.profile.clone();
        }
    }
    Ok(Together { walks, joint, alone })
}

/// A way to walk one photo.
type Walking = fn(&Photo, &Request, Placed) -> Result<Walk, Refusal>;

/// Photos that differ by more than this many of their uncertainties, in the mean of squares, show another saddle, or one that
/// was moved.
const MOST_DISAGREEMENT: f64 = 3.0;

fn joint_of(photos: &[&Photo], requests: &[Request], walks: &[Walk]) -> Result<Joint, Refusal> {
    let sights: Option<Vec<Sight>> = walks
        .iter()
        .zip(lenses(photos))
        .map(|(w, lens)| {
            Some(Sight { fit: &w.fit, outline: &w.outline, ends_px: w.midline_ends_px()?, lens })
        })
        .collect();
    let unknown = LiftProfile::unknown();
    let known = |lift: &'_ Option<LiftProfile>| lift.clone().unwrap_or_else(|| unknown.clone());
    let (seat, channel) = (known(&requests[0].seat_lift), known(&requests[0].channel_lift));
    let subject = JointSubject {
        sights: &sights.ok_or_else(disagree)?,
        view: walks[0].view,
        lifts: [&seat, &channel],
        end_u_mm: GIVEN_END_U_MM,
        print_scale_u: walks[0].print_scale.relative_u,
    };
    let joint = measure_jointly(&subject).ok_or_else(disagree)?;
    if joint.widths.named.is_empty() { Err(no_width()) } else { Ok(joint) }
}

fn no_width() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "no width could be taken from the photos together",
        "photograph the saddle whole and against a plain floor, with nothing lying across it",
    )
}

/// A request for the same photo with the lift that all have told, where the saddle was found.
fn nearer(request: &Request, walk: &Walk, told: &Joint) -> Request {
    Request {
        view: Some(walk.view),
        near: walk.midline_ends_px(),
        seat_lift: Some(told.seat_lift.profile.clone()),
        channel_lift: told.channel_lift.as_ref().map(|lift| lift.profile.clone()),
        ..request.clone()
    }
}

/// Which lens took each photo, by the number of the first photo that it took; where nothing tells two apart they are one.
fn lenses(photos: &[&Photo]) -> Vec<usize> {
    (0..photos.len()).map(|i| (0..i).find(|j| !apart(photos[*j], photos[i])).unwrap_or(i)).collect()
}

/// Focal lengths of one lens agree within this part, whatever the size of the picture.
const ONE_FOCAL: f64 = 0.01;

/// Whether two photos say that different lenses took them.
fn apart(a: &Photo, b: &Photo) -> bool {
    let of = |photo: &Photo| photo.exif().model.clone();
    let long_px = |photo: &Photo| photo.width_px().max(photo.height_px()) as f64;
    let focal = |photo: &Photo| photo.focal_hint().map(|hint| hint.focal_px / long_px(photo));
    let models = of(a).zip(of(b)).is_some_and(|(a, b)| a != b);
    models || focal(a).zip(focal(b)).is_some_and(|(a, b)| (a / b - 1.0).abs() > ONE_FOCAL)
}

/// Every photo's camera over one card that all show.
fn placed_alike(
    photos: &[&Photo],
    requests: &[Request],
    found: Vec<FoundCards>,
) -> Result<Vec<Placed>, Refusal> {
    let same = |a: &FoundCard, b: &FoundCard| a.pattern.name == b.pattern.name && a.copy == b.copy;
    let in_all = |card: &&FoundCard| found.iter().all(|f| f.cards.iter().any(|c| same(c, card)));
    let world = found[0].cards.iter().find(in_all).cloned().ok_or_else(cards_differ)?;
    let scale = one_scale(photos, requests, &found)?;
    photos
        .iter()
        .zip(requests)
        .zip(found)
        .map(|((photo, request), mut found)| {
            found.cards.sort_by_key(|card| !same(card, &world));
            place_at(photo, request, found, scale).map_err(|r| of_photo(photo.name(), r))
        })
        .collect()
}

/// The cards were printed once, whatever each photo says: the mean. What may be wrong with a bank card is so in every photo.
fn one_scale(photos: &[&Photo], requests: &[Request], found: &[FoundCards]) -> Result<PrintScale, Refusal> {
    let each = photos.iter().zip(requests).zip(found);
    let scales: Vec<PrintScale> = each
        .map(|((photo, request), found)| {
            let prior = lens_prior(photo, request.lens).0;
            print_scale(photo, found, request.scale_by, &prior)
                .map_err(|refusal| of_photo(photo.name(), refusal))
        })
        .collect::<Result<_, _>>()?;
    let mean = |of: fn(&PrintScale) -> f64| scales.iter().map(of).sum::<f64>() / scales.len() as f64;
    Ok(PrintScale { value: mean(|s| s.value), relative_u: mean(|s| s.relative_u), ..scales[0] })
}

/// The first two that are the same photo: it would pass for two that agree.
pub fn same_twice<P: Borrow<Photo>>(photos: &[P]) -> Option<[&Photo; 2]> {
    photos.iter().enumerate().find_map(|(i, photo)| {
        let photo = photo.borrow();
        let same = photos[..i].iter().map(Borrow::borrow).find(|other| other.sha256() == photo.sha256())?;
        Some([same, photo])
    })
}

/// A photo's own refusal, with its name.
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
        true => "take this photo anew, more from above and against a plain floor, or leave it out".to_owned(),
        false => refusal.hint,
    };
    Refusal { text, hint, ..refusal }
}

fn cards_differ() -> Refusal {
    Refusal::new(
        RefusalCode::CardsDiffer,
        "no card is to be seen in all of the photos",
        "leave the card and the saddle where they are between the photos, and take both into every picture",
    )
}

fn views_differ() -> Refusal {
    Refusal::new(
        RefusalCode::PhotosDisagree,
        "some of the photos show the saddle upright and others upside down",
        "say --view top or --view underside where one is mistaken; measured together, photos show the saddle as it stood",
    )
}

fn disagree() -> Refusal {
    Refusal::new(
        RefusalCode::PhotosDisagree,
        "the photos do not agree: the saddle or the card was moved between them, or an edge was lost in one",
        "measure each photo by itself and look at its overlay; leave saddle and card where they are between photos",
    )
}
