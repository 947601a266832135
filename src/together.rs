//! Several photos of one saddle that stood still beside its card: each is located and traced alone, then all are measured
//! together, with the heights of the edges as the photos show them.

use std::sync::Arc;

use crate::numeric::parallel::*;

use crate::camera::fit_together::{PhotoTogether, Sharing, fit_together};
use crate::camera::placement::lens_prior;
use crate::camera::print_scale::{PrintScale, print_scale};
use crate::card::{FoundCard, FoundCards, find_cards};
use crate::explain::Explanation;
use crate::instruction::{CORRECT_VIEW, LOOK_AT_OVERLAY};
use crate::photo::Photo;
use crate::pipeline::{Located, Measured, Reached, Refused, Request, Staged, Traced};
use crate::refusal::{Refusal, RefusalCode};
use crate::warning::{Warning, WarningCode};
use crate::width::joint::{Joint, JointSubject, Sight, measure_jointly};
use crate::width::{Widths, measure_widths};

/// One saddle measured in several photos.
#[derive(Debug, Clone)]
pub struct Together {
    /// Each photo with the midline, heights and widths of all; the traced points are its own.
    pub photos: Vec<Measured>,
    /// The joint estimate.
    pub joint: Joint,
    /// The widths as the first photo alone gives them.
    pub alone: Option<Widths>,
}

/// Measures one saddle in several photos. There is a request for each; they differ in ends, corrections and lens.
///
/// # Errors
/// The first refusal of any photo, with its name, or why the photos do not go together.
pub fn measure_together(photos: &[Arc<Photo>], requests: &[Request]) -> Staged<Together> {
    let find = |photo: &Arc<Photo>| {
        let refused = |refusal| named(Refused::new(refusal, photo.clone(), Reached::Nothing));
        Ok((photo.clone(), find_cards(photo).map_err(refused)?))
    };
    measure_over_cards(photos.iter().map(find).collect::<Staged<_>>()?, requests)
}

/// Measures one saddle in several photos whose cards were found before.
///
/// # Errors
/// As [`measure_together`].
pub fn measure_over_cards(found: Vec<(Arc<Photo>, FoundCards)>, requests: &[Request]) -> Staged<Together> {
    let mut located = locate(found, requests)?;
    let first_alone = located[0].fit.clone();
    share_cameras(&mut located)?;
    let first = trace(&located, requests)?;
    if first.iter().any(|traced| traced.view != first[0].view) {
        return Err(refused(&first[0], views_differ()));
    }
    let joint = estimate(requests, &first.iter().collect::<Vec<_>>())?;
    // Traced again along the edges at the heights that they have.
    let nearer: Vec<Request> = requests.iter().zip(&first).map(|(r, t)| nearer(r, t, &joint)).collect();
    let again = trace(&located, &nearer)?.into_iter().zip(&nearer);
    let mut photos: Vec<Measured> = again
        .map(|(traced, request)| traced.measure_as_traced(request).map_err(named))
        .collect::<Staged<_>>()?;
    let traced: Vec<&Traced> = photos.iter().map(|photo| &photo.traced).collect();
    let joint = estimate(requests, &traced)?;
    if !(joint.disagreement <= MOST_DISAGREEMENT) {
        return Err(refused(traced[0], disagree()));
    }
    photos.iter_mut().enumerate().for_each(|(i, photo)| adopt(photo, &joint, i));
    let alone = measure_widths(&first[0].subject(&first_alone));
    Ok(Together { photos, joint, alone })
}

/// Every photo's camera over one card that all show, at one print scale.
fn locate(found: Vec<(Arc<Photo>, FoundCards)>, requests: &[Request]) -> Staged<Vec<Located>> {
    let in_all = |card: &&FoundCard| found.iter().all(|(_, f)| f.cards.iter().any(|c| same_card(c, card)));
    let Some(world) = found[0].1.cards.iter().find(in_all).cloned() else {
        let (photo, cards) = found.into_iter().next().expect("at least one photo");
        return Err(Refused::new(cards_differ(), photo, Reached::Cards(cards)));
    };
    let scale = one_scale(&found, requests)?;
    let all = found.into_iter().zip(requests);
    all.map(|((photo, mut cards), request)| {
        cards.cards.sort_by_key(|card| !same_card(card, &world));
        Located::over_cards(photo, cards, Some(scale), request, Explanation::OFF).map_err(named)
    })
    .collect()
}

fn same_card(a: &FoundCard, b: &FoundCard) -> bool {
    a.pattern.name == b.pattern.name && a.copy == b.copy
}

/// The cards were printed once, whatever each photo says: the mean. A bank card errs alike in every photo.
fn one_scale(found: &[(Arc<Photo>, FoundCards)], requests: &[Request]) -> Staged<PrintScale> {
    let each = found.iter().zip(requests).map(|((photo, cards), request)| {
        let prior = lens_prior(photo, request.lens.prior).0;
        print_scale(photo, cards, request.scale_by, &prior)
            .map_err(|refusal| named(Refused::new(refusal, photo.clone(), Reached::Cards(cards.clone()))))
    });
    let scales: Vec<PrintScale> = each.collect::<Staged<_>>()?;
    let mean = |of: fn(&PrintScale) -> f64| scales.iter().map(of).sum::<f64>() / scales.len() as f64;
    Ok(PrintScale { value: mean(|s| s.value), relative_u: mean(|s| s.relative_u), ..scales[0] })
}

/// Fits the cameras of all photos again in one bundle, and says on the sheet what they do not have in common.
fn share_cameras(located: &mut [Located]) -> Staged<()> {
    let mut cards: Vec<FoundCard> = Vec::new();
    let mut numbered = |card: &FoundCard| {
        let known = cards.iter().position(|known| same_card(known, card));
        known.unwrap_or_else(|| {
            cards.push(card.clone());
            cards.len() - 1
        })
    };
    let held = |i: usize| (located[i].photo.stored_size_px(), located[i].photo.exif().orientation);
    // The parameters of a calibration are correlated in one frame of the sensor.
    let is_calibrated = |i: usize| located[i].lens.covariance.is_some();
    let lens = |i: usize| {
        let same = |j: &usize| {
            one_lens(&located[*j].photo, &located[i].photo) && (held(*j) == held(i) || !is_calibrated(i))
        };
        (0..i).find(same)
    };
    let photos: Vec<PhotoTogether> = (0..located.len())
        .map(|i| PhotoTogether {
            fit: &located[i].fit,
            prior: located[i].lens,
            lens: lens(i).unwrap_or(i),
            held: (0..i).find(|j| held(*j) == held(i)).unwrap_or(i),
            cards: located[i].found.cards.iter().map(|card| (numbered(card), card.into())).collect(),
        })
        .collect();
    match fit_together(&photos) {
        Ok((fits, sharing)) => {
            located.iter_mut().zip(fits).for_each(|(located, fit)| located.fit = fit.levelled());
            located[0].found.warnings.extend(not_shared(sharing));
            Ok(())
        }
        Err(_) => {
            let first = located[0].clone();
            Err(Refused::new(disagree(), first.photo.clone(), Reached::Located(first)))
        }
    }
}

fn not_shared(sharing: Sharing) -> Vec<Warning> {
    let card = (!sharing.cards).then(|| {
        Warning::new(
            WarningCode::CardChanged,
            "the card is not bent alike in all photos, so its shape was fitted to each photo by itself",
            "leave the card in place between the photos, glued to something flat",
        )
    });
    let lens = (!sharing.lenses).then(|| {
        Warning::new(
            WarningCode::LensChanged,
            "the photos do not agree on their common lens, which was fitted to each photo by itself",
            "take all photos with the same camera of the phone, without zooming",
        )
    });
    card.into_iter().chain(lens).collect()
}

/// Focal lengths of one lens agree within this part.
const ONE_FOCAL: f64 = 0.01;

/// Whether one lens took both photos, by all that they say.
fn one_lens(a: &Photo, b: &Photo) -> bool {
    let model = |photo: &Photo| photo.exif().model.clone();
    let focal_px = |photo: &Photo| photo.focal_hint().map(|hint| hint.focal_px);
    let focal = match (focal_px(a), focal_px(b)) {
        (Some(a), Some(b)) => (a / b - 1.0).abs() <= ONE_FOCAL,
        (a, b) => a == b,
    };
    a.stored_size_px() == b.stored_size_px() && model(a) == model(b) && focal
}

fn trace(located: &[Located], requests: &[Request]) -> Staged<Vec<Traced>> {
    let traced: Vec<Staged<Traced>> = located
        .par_iter()
        .zip(requests)
        .map(|(located, request)| located.clone().trace(request, Explanation::OFF).map_err(named))
        .collect();
    traced.into_iter().collect()
}

/// Largest root of the reduced sum of squares at which photos count as showing one saddle that was not moved.
const MOST_DISAGREEMENT: f64 = 3.0;

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
        None => Err(refused(traced[0], disagree())),
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

fn cards_differ() -> Refusal {
    Refusal::new(
        RefusalCode::CardsDiffer,
        "no card is seen in all of the photos",
        "leave card and saddle in place between the photos, and take both into every picture",
    )
}

fn views_differ() -> Refusal {
    Refusal::new(
        RefusalCode::PhotosDisagree,
        "some photos show the saddle upright and others upside down",
        format!("leave out the photos of the other view, or {CORRECT_VIEW}"),
    )
}

fn no_width() -> Refusal {
    Refusal::new(
        RefusalCode::EdgesNotFound,
        "the photos together give no width",
        "photograph the whole saddle on a plain floor, with nothing lying across it",
    )
}

fn disagree() -> Refusal {
    Refusal::new(
        RefusalCode::PhotosDisagree,
        "the photos do not agree: saddle or card was moved between them, or an edge was lost in one",
        format!(
            "measure each photo by itself and {LOOK_AT_OVERLAY}; leave saddle and card in place between photos"
        ),
    )
}
