//! The cameras of a set: over one card that its photos show, at one print scale, in one bundle.

use std::sync::Arc;

use super::{Member, Unusable};
use crate::camera::fit_together::{PhotoTogether, Sharing, fit_together};
use crate::camera::placement::lens_prior;
use crate::camera::print_scale::{PrintScale, print_scale};
use crate::card::{FoundCard, FoundCards};
use crate::explain::Explanation;
use crate::photo::Photo;
use crate::pipeline::{Located, Reached, Refused, Request};
use crate::refusal::{Refusal, RefusalCode};
use crate::warning::{Warning, WarningCode};

/// A photo with the cards found in it, and its number among those given.
struct Seen {
    number: usize,
    photo: Arc<Photo>,
    cards: FoundCards,
}

impl Seen {
    fn unusable(self, refusal: Refusal) -> Unusable {
        let refused = Refused::new(refusal, self.photo, Reached::Cards(self.cards));
        Unusable { number: self.number, refused }
    }
}

/// Every photo's camera over the card that most photos show, at one print scale, and the photos that have none.
pub(super) fn locate(
    found: Vec<(Arc<Photo>, Result<FoundCards, Refusal>)>,
    requests: &[Request],
) -> (Vec<Member>, Vec<Unusable>) {
    let mut unusable = Vec::new();
    let seen = found.into_iter().enumerate().map(|(number, (photo, cards))| match cards {
        Ok(cards) => Ok(Seen { number, photo, cards }),
        Err(refusal) => Err(Unusable { number, refused: Refused::new(refusal, photo, Reached::Nothing) }),
    });
    let seen = usable(seen, &mut unusable);
    let Some(world) = card_of_most(&seen) else { return (Vec::new(), unusable) };
    let with_world = seen.into_iter().map(|mut seen| {
        if seen.cards.cards.iter().all(|card| !same_card(card, &world)) {
            return Err(seen.unusable(card_missing()));
        }
        seen.cards.cards.sort_by_key(|card| !same_card(card, &world));
        let request = &requests[seen.number];
        let prior = lens_prior(&seen.photo, request.lens.prior).0;
        match print_scale(&seen.photo, &seen.cards, request.scale_by, &prior) {
            Ok(scale) => Ok((seen, scale)),
            Err(refusal) => Err(seen.unusable(refusal)),
        }
    });
    let scaled = usable(with_world, &mut unusable);
    let Some(scale) = one_scale(scaled.iter().map(|(_, scale)| scale)) else { return (Vec::new(), unusable) };
    let located = scaled.into_iter().map(|(seen, _)| {
        let (number, request) = (seen.number, requests[seen.number].clone());
        Located::over_cards(seen.photo, seen.cards, Some(scale), &request, Explanation::OFF)
            .map(|located| Member { number, request, located })
            .map_err(|refused| Unusable { number, refused })
    });
    let located = usable(located, &mut unusable);
    (located, unusable)
}

/// The photos that can be used; the others join those that cannot.
fn usable<T>(photos: impl Iterator<Item = Result<T, Unusable>>, unusable: &mut Vec<Unusable>) -> Vec<T> {
    photos.filter_map(|photo| photo.map_err(|one| unusable.push(one)).ok()).collect()
}

fn same_card(a: &FoundCard, b: &FoundCard) -> bool {
    a.pattern.name == b.pattern.name && a.copy == b.copy
}

/// The card that most photos show, the first of several.
fn card_of_most(seen: &[Seen]) -> Option<FoundCard> {
    let shown_in = |card: &FoundCard| {
        seen.iter().filter(|s| s.cards.cards.iter().any(|other| same_card(other, card))).count()
    };
    let all = seen.iter().flat_map(|s| &s.cards.cards);
    all.rev().max_by_key(|card| shown_in(card)).cloned()
}

/// The cards were printed once, whatever each photo says: the mean. A bank card errs alike in every photo.
fn one_scale<'a>(scales: impl Iterator<Item = &'a PrintScale> + Clone) -> Option<PrintScale> {
    let count = scales.clone().count() as f64;
    let mean = |of: fn(&PrintScale) -> f64| scales.clone().map(of).sum::<f64>() / count;
    let first = *scales.clone().next()?;
    Some(PrintScale { value: mean(|s| s.value), relative_u: mean(|s| s.relative_u), ..first })
}

/// The photos with their cameras fitted again in one bundle; the first says what they do not have in common. `None` where no
/// bundle fits them.
pub(super) fn share_cameras(members: &[Member]) -> Option<Vec<Located>> {
    let mut located: Vec<Located> = members.iter().map(|member| member.located.clone()).collect();
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
    let (fits, sharing) = fit_together(&photos).ok()?;
    located.iter_mut().zip(fits).for_each(|(located, fit)| located.fit = fit.levelled());
    located[0].found.warnings.extend(not_shared(sharing));
    Some(located)
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

fn card_missing() -> Refusal {
    Refusal::new(
        RefusalCode::CardsDiffer,
        "the card that the other photos show is not seen in it",
        "leave card and saddle in place between the photos, and take both into every picture",
    )
}
