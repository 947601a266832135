//! From proposed tags to cards: tags are grouped by pattern and copy and checked against the layout and their own code;
//! missing tags are searched where the layout puts them; sides are measured in the full photo.

use std::collections::BTreeMap;

use crate::numeric::parallel::*;
use nalgebra::{Matrix3, Vector2, Vector3};

use super::find::{FoundTag, Look, RELIABLY_FOUND_PX, looks};
use super::pattern::{Pattern, owner_of, smallest_tag_mm};
use super::side::{Observation, SidePixels, TagSide, measure_side};
use super::unread;
use super::verify::{check_code, photo_from_unit};
use crate::explain::{Explanation, Picture, colour};
use crate::numeric::frame::{CardPoint, PhotoPoint};
use crate::numeric::homography::{apply, homography};
use crate::photo::Photo;
use crate::refusal::Refusal;
use crate::warning::{Warning, WarningCode};

/// A tag with its measured sides, in the order top, right, bottom, left of the upright tag; `None` for a side that
/// is hidden or has no clean step.
#[derive(Debug, Clone, Copy)]
pub struct MeasuredTag {
    /// Index in the pattern's tags.
    pub index: usize,
    /// The four sides.
    pub sides: [Option<TagSide>; 4],
}

impl MeasuredTag {
    /// The corners where neighbouring sides meet: top-left, top-right, bottom-right, bottom-left.
    pub fn corners(&self) -> [Option<PhotoPoint>; 4] {
        std::array::from_fn(|i| self.sides[(i + 3) % 4]?.meet(&self.sides[i]?))
    }

    /// Whether the photo shows the tag's code between its measured corners, as far as all four are known: what was
    /// proposed may be another square, such as the inside of a wider border.
    pub(super) fn is_shown_in(&self, photo: &Photo, id: u32) -> bool {
        let [Some(a), Some(b), Some(c), Some(d)] = self.corners() else { return true };
        FoundTag { id, corners: [a, b, c, d] }.shown_in(photo).is_some_and(|check| check.passes())
    }
}

/// One card in the photo.
#[derive(Debug, Clone)]
pub struct FoundCard {
    /// Its pattern.
    pub pattern: &'static Pattern,
    /// Its copy number.
    pub copy: u32,
    /// The tags that agree with the layout, measured.
    pub tags: Vec<MeasuredTag>,
    /// Homography from the card's plane (nominal mm) to photo pixels, from the measured corners.
    pub photo_from_plane: Matrix3<f64>,
    /// Printed length over nominal length; 1 until it is measured.
    pub print_scale: f64,
}

/// All cards in the photo, in order of pattern and copy (sheets first), with warnings.
#[derive(Debug, Clone)]
pub struct FoundCards {
    /// At least one card.
    pub cards: Vec<FoundCard>,
    /// Tags dropped and the like.
    pub warnings: Vec<Warning>,
}

/// Two tags that agree are the least a card is accepted with.
const LEAST_TAGS: usize = 2;
/// A corner further than this from the layout, in sides of its tag, is not this card's: neighbouring tags are a quarter of a side
/// apart or more. The finder's corners are off by this many pixels in small tags.
const LAYOUT_TOLERANCE: f64 = 0.06;
const FINDER_TOLERANCE_PX: f64 = 2.5;
/// A proposal whose corner is within this part of its diagonal of a measured tag's is that tag.
const SAME_TAG: f64 = 0.1;
/// Tag sides below this many pixels are too small to measure from.
pub const LEAST_SIDE_PX: f64 = 20.0;

/// Finds every card in the photo.
///
/// # Errors
/// `no-card`, `pattern-unknown`, `card-too-small` or `card-inconsistent`.
pub fn find_cards(photo: &Photo) -> Result<FoundCards, Refusal> {
    find_cards_explained(photo, Explanation::OFF)
}

/// Finds every card in the photo, with a picture of the tags.
///
/// # Errors
/// As [`find_cards`].
pub fn find_cards_explained(photo: &Photo, explain: &Explanation) -> Result<FoundCards, Refusal> {
    let mut warnings = Vec::new();
    let mut proposed = Vec::new();
    let mut cards = Vec::new();
    // Slower looks follow only where the faster ones found no card, or may have missed one.
    for look in looks(photo) {
        look.add_to(&mut proposed, photo);
        cards = assemble(photo, &proposed, &mut warnings);
        if shows_every_card(look, &cards) {
            break;
        }
    }
    explain.add(|| picture(photo, &proposed, &cards));
    if cards.is_empty() {
        return Err(unread::refusal(photo, &proposed));
    }
    // The first card is the world: a sheet before a strip, since it is wider both ways.
    let area = |card: &FoundCard| card.pattern.width_mm * card.pattern.height_mm;
    cards.sort_by(|a, b| area(b).total_cmp(&area(a)).then(a.copy.cmp(&b.copy)));
    Ok(FoundCards { cards, warnings })
}

/// Another card may appear this much smaller than those found, up to a third further from the camera.
const SEEN_SMALLER: f64 = 0.75;

/// True when every card of the photo would have been found in a pass that found these.
fn shows_every_card(look: Look, cards: &[FoundCard]) -> bool {
    let coarsest = cards.iter().map(FoundCard::least_px_per_mm).fold(f64::INFINITY, f64::min);
    let smallest_px = smallest_tag_mm() * coarsest * SEEN_SMALLER / look.factor as f64;
    !cards.is_empty() && smallest_px >= RELIABLY_FOUND_PX
}

/// The first look's view with the tags that were proposed and those that were measured.
fn picture(photo: &Photo, proposed: &[FoundTag], cards: &[FoundCard]) -> Picture {
    let view = photo.luma_upright(looks(photo)[0].factor);
    let reduced = |p: PhotoPoint| [p.x_px, p.y_px].map(|c| (c + 0.5) / view.factor as f64 - 0.5);
    let closed = |corners: Vec<PhotoPoint>| -> Vec<[f64; 2]> {
        corners.iter().chain(corners.first()).copied().map(reduced).collect()
    };
    let picture = Picture::grey("cards", &view.data, view.width);
    let picture = proposed
        .iter()
        .fold(picture, |picture, tag| picture.line(&closed(tag.corners.to_vec()), colour::PROPOSED));
    let measured = cards.iter().flat_map(|card| &card.tags);
    measured.fold(picture, |picture, tag| {
        picture.line(&closed(tag.corners().into_iter().flatten().collect()), colour::ACCEPTED)
    })
}

/// Tags with their index on the pattern.
type TagsByIndex = Vec<(usize, FoundTag)>;

pub(super) fn assemble(photo: &Photo, proposed: &[FoundTag], warnings: &mut Vec<Warning>) -> Vec<FoundCard> {
    let mut groups: BTreeMap<(&str, u32), (&'static Pattern, TagsByIndex)> = BTreeMap::new();
    for tag in proposed {
        if let Some((pattern, copy, index)) = owner_of(tag.id) {
            let key = (pattern.name.as_str(), copy);
            groups.entry(key).or_insert_with(|| (pattern, Vec::new())).1.push((index, *tag));
        }
    }
    warnings.clear();
    groups
        .into_iter()
        .filter_map(|((_, copy), (pattern, tags))| {
            let card = measure_card(photo, pattern, copy, &consensus(pattern, &tags)?)?;
            let dropped = tags.iter().filter(|(index, tag)| !card.shows(*index, tag)).count();
            if dropped > 0 {
                warnings.push(dropped_warning(pattern, copy, dropped));
            }
            Some(card)
        })
        .collect()
}

fn dropped_warning(pattern: &Pattern, copy: u32, dropped: usize) -> Warning {
    let (tags, has) = match dropped {
        1 => ("1 tag".to_owned(), "does not stand where its layout has it"),
        many => (format!("{many} tags"), "do not stand where its layout has them"),
    };
    Warning::new(
        WarningCode::TagDropped,
        format!("{tags} of the {} (copy {copy}) {has}", pattern.name),
        "see that no second card with the same tags is in the picture and that the card lies flat",
    )
}

/// The largest set of tags whose corners all fit one homography of the card's plane.
fn consensus(pattern: &Pattern, tags: &[(usize, FoundTag)]) -> Option<Vec<(usize, FoundTag)>> {
    let pairs_of = |(index, tag): &(usize, FoundTag)| {
        let corners = pattern.corners(*index);
        (0..4).map(|i| (corners[i].horizontal(), tag.corners[i].vector())).collect::<Vec<_>>()
    };
    let agreeing = |h: &Matrix3<f64>| -> Vec<(usize, FoundTag)> {
        tags.iter()
            .filter(|tag| {
                let side = tag.1.corners[0].distance_px(tag.1.corners[2]) / 2f64.sqrt();
                let far = pairs_of(tag)
                    .iter()
                    .map(|(p, q)| apply(h, *p).map_or(f64::INFINITY, |m| (m - q).norm()))
                    .fold(0.0, f64::max);
                far < (LAYOUT_TOLERANCE * side).max(FINDER_TOLERANCE_PX)
            })
            .copied()
            .collect()
    };
    let mut best = Vec::new();
    for (i, a) in tags.iter().enumerate() {
        for b in &tags[i + 1..] {
            let pairs: Vec<_> = pairs_of(a).into_iter().chain(pairs_of(b)).collect();
            let set = homography(&pairs).map(|h| agreeing(&h)).unwrap_or_default();
            if set.len() > best.len() {
                best = set;
            }
        }
        if best.len() == tags.len() {
            break;
        }
    }
    (best.len() >= LEAST_TAGS).then_some(best)
}

fn measure_card(
    photo: &Photo,
    pattern: &'static Pattern,
    copy: u32,
    agreed: &[(usize, FoundTag)],
) -> Option<FoundCard> {
    let rough = homography(
        &agreed
            .iter()
            .flat_map(|(index, tag)| {
                let corners = pattern.corners(*index);
                (0..4).map(move |i| (corners[i].horizontal(), tag.corners[i].vector()))
            })
            .collect::<Vec<_>>(),
    )?;
    let first = measure_tags(photo, pattern, copy, &rough, SidePixels::Some);
    let refined = homography_of(pattern, &first)?;
    let tags = measure_tags(photo, pattern, copy, &refined, SidePixels::All);
    let photo_from_plane = homography_of(pattern, &tags)?;
    let whole = tags.iter().filter(|t| t.sides.iter().flatten().count() >= 3).count();
    (whole >= LEAST_TAGS).then_some(FoundCard { pattern, copy, tags, photo_from_plane, print_scale: 1.0 })
}

/// Measures every tag of the card where the homography puts it, those that the finder missed included, as long as
/// the photo shows their code there.
fn measure_tags(
    photo: &Photo,
    pattern: &'static Pattern,
    copy: u32,
    photo_from_plane: &Matrix3<f64>,
    pixels: SidePixels,
) -> Vec<MeasuredTag> {
    (0..pattern.tags.len())
        .into_par_iter()
        .filter_map(|index| {
            let unit =
                photo_from_unit(photo_from_plane, &pattern.tags[index], pattern.width_mm, pattern.height_mm);
            if !check_code(photo, &unit, pattern.tag_id(copy, index))?.passes() {
                return None;
            }
            let corners: Vec<PhotoPoint> = pattern
                .corners(index)
                .iter()
                .map(|c| apply(photo_from_plane, c.horizontal()).map(PhotoPoint::from))
                .collect::<Option<_>>()?;
            let sides =
                std::array::from_fn(|i| measure_side(photo, corners[i], corners[(i + 1) % 4], pixels));
            let tag = MeasuredTag { index, sides };
            let there = tag.is_shown_in(photo, pattern.tag_id(copy, index));
            (tag.sides.iter().flatten().count() >= 2 && there).then_some(tag)
        })
        .collect()
}

fn homography_of(pattern: &Pattern, tags: &[MeasuredTag]) -> Option<Matrix3<f64>> {
    let pairs: Vec<(Vector2<f64>, Vector2<f64>)> = tags
        .iter()
        .flat_map(|tag| {
            let printed = pattern.corners(tag.index);
            let seen = tag.corners();
            (0..4).filter_map(move |i| Some((printed[i].horizontal(), seen[i]?.vector())))
        })
        .collect();
    homography(&pairs)
}

impl FoundCard {
    /// Whether a proposed tag is one of the measured ones. The proposal's corners come from a reduced view, so that they
    /// may miss the layout's tolerance though the tag itself keeps it.
    fn shows(&self, index: usize, proposed: &FoundTag) -> bool {
        let most_px = SAME_TAG * proposed.corners[0].distance_px(proposed.corners[2]);
        let near = |(measured, proposed): (Option<PhotoPoint>, PhotoPoint)| {
            measured.is_some_and(|corner| corner.distance_px(proposed) < most_px)
        };
        let mut tags = self.tags.iter().filter(|tag| tag.index == index);
        tags.any(|tag| tag.corners().into_iter().zip(proposed.corners).any(near))
    }

    /// Pixels a millimetre along the side that is seen smallest.
    fn least_px_per_mm(&self) -> f64 {
        let per_mm = |tag: &MeasuredTag| {
            let corners = tag.corners();
            let side_mm = self.pattern.tags[tag.index].side_mm;
            let sides = (0..4).filter_map(move |i| Some(corners[i]?.distance_px(corners[(i + 1) % 4]?)));
            sides.map(move |px| px / side_mm).collect::<Vec<_>>()
        };
        self.tags.iter().flat_map(per_mm).fold(f64::INFINITY, f64::min)
    }

    /// Mean blur of the measured sides (standard deviation of the edge spread), in modules of the tag.
    pub fn blur_modules(&self) -> f64 {
        self.mean_of_sides(|s| s.blur_px * super::pattern::MODULES as f64 / (2.0 * s.half_length_px))
    }

    /// The same in pixels.
    pub fn blur_px(&self) -> f64 {
        self.mean_of_sides(|s| s.blur_px)
    }

    /// A nominal point of the pattern where it was printed, mm.
    pub fn printed(&self, nominal: CardPoint) -> CardPoint {
        CardPoint::from(nominal.vector() * self.print_scale)
    }

    fn mean_of_sides(&self, value: impl Fn(&TagSide) -> f64) -> f64 {
        let values: Vec<f64> = self.tags.iter().flat_map(|t| t.sides.iter().flatten()).map(value).collect();
        values.iter().sum::<f64>() / values.len().max(1) as f64
    }

    /// The measured sides, two points a side; points on the card in true millimetres.
    pub fn observations(&self) -> Vec<Observation> {
        let mut points = Vec::new();
        for tag in &self.tags {
            let printed = self.pattern.corners(tag.index);
            for (i, side) in tag.sides.iter().enumerate() {
                let Some(side) = side else { continue };
                let (from, to) = (printed[i].vector(), printed[(i + 1) % 4].vector());
                for (measured, u_px) in side.gauss_points() {
                    let Some(along) = self.fraction_along(measured, from, to) else { continue };
                    let on_target = CardPoint::from((from + (to - from) * along) * self.print_scale);
                    points.push(Observation {
                        on_target,
                        measured,
                        across: side.outward,
                        u_px,
                        tag: tag.index,
                    });
                }
            }
        }
        points
    }

    /// Place of a pixel between two printed corners of its side, 0 to 1, by the card's homography.
    fn fraction_along(&self, measured: PhotoPoint, from: Vector3<f64>, to: Vector3<f64>) -> Option<f64> {
        let plane = apply(&self.photo_from_plane.try_inverse()?, measured.vector())?;
        let side = (to - from).xy();
        Some((plane - from.xy()).dot(&side) / side.norm_squared())
    }
}
