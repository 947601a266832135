//! From what the walk found to the sheet, and to where the sheet's contents lie in the photo.

use std::borrow::Borrow;

use crate::camera::placement::{LensSource, camera_over_cards, lens_prior};
use crate::camera::pose::Pose;
use crate::camera::print_scale::ScaleBy;
use crate::card::{FoundCard, FoundCards};
use crate::measure::{Request, Walk, walk};
use crate::numeric::frame::{CardPoint, PhotoPoint};
use crate::numeric::words::{Part, SIDES, Side};
use crate::outline::HiddenStretch;
use crate::outline::edge::{EdgePoint, Rival};
use crate::outline::lift::LiftProfile;
use crate::photo::Photo;
use crate::refusal::Refusal;
use crate::sheet::geometry::{CardOutline, DoubtLine, NamedLine, OverlayGeometry, StationLine, edge_lines};
use crate::sheet::{self, Sheet};
use crate::together::Together;
use crate::warn::{poorly_told, warnings};
use crate::warning::{Warning, WarningCode};
use crate::width::joint::{Joint, ToldLift};
use crate::width::{
    GIVEN_END_U_MM, LocatedPair, MeasuredWidth, Subject, Widths, combined, expanded, measure_widths,
};

/// Measures a photo: the sheet, and where its contents lie in the photo.
///
/// # Errors
/// The refusal of the first room that cannot do its part.
pub fn measure(photo: &Photo, request: &Request) -> Result<(Sheet, OverlayGeometry), Refusal> {
    walk(photo, request).map(|walk| record(photo, request, &walk))
}

/// The sheet of a measured photo, rounded as it is written so that all who show it show the same, and its geometry in the
/// photo.
pub fn record(photo: &Photo, request: &Request, walk: &Walk) -> (Sheet, OverlayGeometry) {
    let sheet = sheet_of(photo, request, walk).rounded();
    let geometry = geometry_of(walk, &sheet);
    (sheet, geometry)
}

/// The sheet of one saddle in several photos, and its geometry in each of them.
pub fn record_together<P: Borrow<Photo>>(
    photos: &[P],
    requests: &[Request],
    together: &Together,
) -> (Sheet, Vec<OverlayGeometry>) {
    let Together { walks, joint, alone } = together;
    let told = |request: &Request| Request {
        seat_lift: Some(joint.seat_lift.profile.clone()),
        channel_lift: joint.channel_lift.as_ref().map(|told| told.profile.clone()),
        ..request.clone()
    };
    let mut sheets = Vec::new();
    let mut geometries = Vec::new();
    for (i, ((photo, request), walk)) in photos.iter().zip(requests).zip(walks).enumerate() {
        let (sheet, geometry) = record(photo.borrow(), &told(request), walk);
        sheets.push(sheet);
        geometries.push(OverlayGeometry { photo: i, ..geometry });
    }
    let mut sheet = sheets[0].clone();
    for (i, other) in sheets.iter().enumerate().skip(1) {
        sheet.photos.extend_from_slice(&other.photos);
        let said = |warning: &&Warning| sheet.warnings.iter().all(|w| w.text != warning.text);
        let new: Vec<Warning> = other.warnings.iter().filter(said).map(|w| w.clone().in_photo(i)).collect();
        sheet.warnings.extend(new);
    }
    sheet.warnings.extend(requests.iter().enumerate().skip(1).filter_map(corrected_elsewhere));
    if let Some(edges) = sheet.edges.as_mut().filter(|edges| edges.channel.is_none()) {
        // Lost in the first photo, and seen in another.
        edges.channel = sheets.iter().find_map(|other| other.edges.as_ref()?.channel.clone());
    }
    for width in &mut sheet.widths {
        // What one card of one photo would give is another question.
        width.one_card_u95 = None;
        width.one_photo_u95 = alone.u95(&width.name);
    }
    sheet.lift = Some(told_lift(joint));
    sheet.warnings.extend(poorly_told(&requests[0], joint));
    (sheet.rounded(), geometries)
}

/// The sheet keeps the corrections of the first photo point by point, and says that there were some in another.
fn corrected_elsewhere((photo, request): (usize, &Request)) -> Option<Warning> {
    let many = |n: usize, one, more| (n > 0).then(|| format!("{n} {}", if n == 1 { one } else { more }));
    let said = [
        request.ends.map(|_| "the midline's ends".to_owned()),
        many(request.hints.len(), "point of an edge", "points of edges"),
        many(request.hidden.len(), "hidden stretch", "hidden stretches"),
    ];
    let said: Vec<String> = said.into_iter().flatten().collect();
    (!said.is_empty()).then(|| {
        let text = format!("corrected by hand: {}", said.join(", "));
        let hint = "look at the lines drawn in that photo";
        Warning::new(WarningCode::CorrectedInAnotherPhoto, text, hint).in_photo(photo)
    })
}

fn told_lift(joint: &Joint) -> sheet::Lift {
    let rows = |told: &ToldLift| told.profile.points().iter().map(|&(s, mm)| [s, mm]).collect();
    let channel = joint.channel_lift.as_ref();
    sheet::Lift {
        seat: Some(rows(&joint.seat_lift)),
        channel: channel.map(rows),
        source: sheet::LiftSource::Photos,
        seat_u: Some(joint.seat_lift.u_mm.clone()),
        channel_u: channel.map(|told| told.u_mm.clone()),
    }
}

/// What a sheet says of a photo's file.
pub fn photo_entry(photo: &Photo) -> sheet::Photo {
    let exif = photo.exif();
    let camera: Vec<&str> = [&exif.make, &exif.model].into_iter().flatten().map(String::as_str).collect();
    sheet::Photo {
        file: photo.name().to_owned(),
        sha256: photo.sha256().to_owned(),
        width_px: photo.width_px() as u32,
        height_px: photo.height_px() as u32,
        taken: exif.taken.clone(),
        camera: (!camera.is_empty()).then(|| camera.join(" ")),
    }
}

fn sheet_of(photo: &Photo, request: &Request, walk: &Walk) -> Sheet {
    let widths = &walk.widths;
    Sheet {
        schema: sheet::SCHEMA.into(),
        software: Some(sheet::Software::this()),
        saddle: sheet::Saddle { name: request.name.clone(), note: None },
        asked: None,
        view: Some(walk.view),
        photos: vec![photo_entry(photo)],
        cards: card_entries(walk),
        camera: Some(camera_entry(walk)),
        midline: midline_entry(request, walk),
        lift: Some(lift_entry(request, walk)),
        edges: Some(sheet::Edges {
            seat: Some(edge_rows(&widths.seat)),
            channel: widths.channel.as_ref().map(edge_rows),
        }),
        edges_px: Some(sheet::EdgesPx {
            seat: Some(edge_pixels(&widths.seat)),
            channel: widths.channel.as_ref().map(edge_pixels),
        }),
        stations: widths
            .stations
            .iter()
            .map(|(at, seat, channel)| sheet::Station {
                at: *at,
                seat: seat.as_ref().map(station_width),
                channel: channel.as_ref().map(station_width),
            })
            .collect(),
        widths: named_widths(photo, request, walk),
        front_taper: widths
            .front_taper_deg
            .as_ref()
            .map(|t| sheet::Taper { deg: t.value, u95: expanded(&t.budget) }),
        budget: budget_lines(walk),
        hints: walk
            .hints
            .iter()
            .map(|h| sheet::EdgeHint { part: h.part, px: [h.pixel.x_px, h.pixel.y_px] })
            .collect(),
        hidden: request.hidden.iter().map(hidden).collect(),
        doubts: doubtful(walk).iter().map(doubt).collect(),
        warnings: warnings(photo, request, walk),
        refused: None,
    }
}

fn midline_entry(request: &Request, walk: &Walk) -> Option<sheet::Midline> {
    let (ends, source) = match request.ends {
        Some(ends) => (ends, sheet::MidlineSource::Given),
        None => (walk.midline_ends_px()?, sheet::MidlineSource::Found),
    };
    let [front_px, rear_px] = ends.map(|p| [p.x_px, p.y_px]);
    Some(sheet::Midline { front_px, rear_px, length_mm: walk.midline.length_mm(), source })
}

fn card_entries(walk: &Walk) -> Vec<sheet::Card> {
    let mut first = 0;
    walk.found
        .cards
        .iter()
        .enumerate()
        .map(|(i, card)| {
            let count = card.side_points(i).len();
            let residuals = &walk.fit.residuals_px[first..first + count];
            first += count;
            sheet::Card {
                pattern: card.pattern.name.clone(),
                copy: card.copy,
                tags: card.tags.len() as u32,
                rms_px: (residuals.iter().map(|r| r * r).sum::<f64>() / count.max(1) as f64).sqrt(),
                print_scale: card.print_scale,
                print_scale_u: Some(walk.print_scale.relative_u),
                print_scale_by: Some(match walk.print_scale.by {
                    ScaleBy::Printer => sheet::ScaleSource::Printer,
                    ScaleBy::Bar(_) => sheet::ScaleSource::Bar,
                    ScaleBy::BankCard => sheet::ScaleSource::BankCard,
                }),
            }
        })
        .collect()
}

/// The focal length comes from the card where the card has narrowed what was known beforehand to less than this part.
const CARD_DECIDES: f64 = 0.5;

fn camera_entry(walk: &Walk) -> sheet::Camera {
    let fit = &walk.fit;
    let lens = fit.camera.lens;
    let prior_u = 1.0 / fit.estimate.prior_precision[0].sqrt();
    let from_card = fit.estimate.u(0) < CARD_DECIDES * prior_u;
    let focal_source = match walk.lens_known {
        LensSource::File => sheet::FocalSource::LensFile,
        _ if from_card => sheet::FocalSource::Card,
        LensSource::Exif => sheet::FocalSource::Exif,
        LensSource::Assumed => sheet::FocalSource::Assumed,
    };
    let [across, along] = fit.bend_mm(0);
    let bend = if across.0.abs() / across.1 > along.0.abs() / along.1 { across } else { along };
    sheet::Camera {
        focal_px: lens.focal_px,
        focal_u_px: fit.focal_u_px(),
        focal_source,
        principal_px: Some([lens.cx_px, lens.cy_px]),
        principal_u_px: Some([fit.estimate.u(1), fit.estimate.u(2)]),
        distortion: lens.distortion,
        height_mm: fit.camera.height_mm(),
        tilt_deg: fit.camera.pose.tilt_deg(),
        rotation: Some(rotation_rows(&fit.camera.pose)),
        translation_mm: Some(fit.camera.pose.translation_mm.into()),
        reprojection_rms_px: Some(fit.rms_px),
        card_bend_mm: Some(bend.0),
        card_bend_u_mm: Some(bend.1),
    }
}

fn rotation_rows(pose: &Pose) -> [[f64; 3]; 3] {
    let m = pose.rotation.matrix();
    [0, 1, 2].map(|row| [0, 1, 2].map(|column| m[(row, column)]))
}

fn lift_entry(request: &Request, walk: &Walk) -> sheet::Lift {
    let rows = |given: bool, profile: &LiftProfile| {
        given.then(|| profile.points().iter().map(|&(s, mm)| [s, mm]).collect())
    };
    let [seat, channel] = [&request.seat_lift, &request.channel_lift].map(Option::is_some);
    let given = seat || channel;
    sheet::Lift {
        seat: rows(seat, &walk.seat_lift),
        channel: rows(channel, &walk.channel_lift),
        source: if given { sheet::LiftSource::Given } else { sheet::LiftSource::Assumed },
        seat_u: None,
        channel_u: None,
    }
}

fn edge_rows(pair: &LocatedPair) -> sheet::EdgePair {
    let rows = |i: usize| pair[i].iter().flatten().map(|p| [p.station, p.offset_mm, p.u_mm]).collect();
    sheet::EdgePair { left: rows(0), right: rows(1) }
}

fn edge_pixels(pair: &LocatedPair) -> sheet::EdgePairPx {
    let rows = |i: usize| pair[i].iter().flatten().map(|p| [p.pixel.x_px, p.pixel.y_px]).collect();
    sheet::EdgePairPx { left: rows(0), right: rows(1) }
}

fn station_width(width: &MeasuredWidth) -> sheet::StationWidth {
    sheet::StationWidth {
        mm: width.mm,
        u95: expanded(&width.budget),
        left_half: width.halves_mm[0],
        right_half: width.halves_mm[1],
    }
}

fn named_width(name: &str, width: &MeasuredWidth) -> sheet::Width {
    let u = combined(&width.budget);
    sheet::Width {
        name: name.to_owned(),
        at: width.station,
        mm: width.mm,
        u95: expanded(&width.budget),
        u: Some(u),
        at_u: width.station_u,
        one_card_u95: None,
        one_photo_u95: None,
    }
}

fn named_widths(photo: &Photo, request: &Request, walk: &Walk) -> Vec<sheet::Width> {
    let one_card = with_one_card(photo, request, walk);
    let all = walk.widths.named.iter().map(|(name, width)| sheet::Width {
        one_card_u95: one_card.as_ref().and_then(|alone| alone.u95(name)),
        ..named_width(name, width)
    });
    all.collect()
}

/// The widths as the first of several cards alone would give them.
fn with_one_card(photo: &Photo, request: &Request, walk: &Walk) -> Option<Widths> {
    let found = FoundCards { cards: vec![walk.found.cards[0].clone()], warnings: Vec::new() };
    if walk.found.cards.len() < 2 {
        return None;
    }
    let fit = camera_over_cards(&found, &lens_prior(photo, request.lens).0).ok()?;
    measure_widths(&Subject {
        fit: &fit,
        midline: &walk.midline,
        outline: &walk.outline,
        seat_lift: &walk.seat_lift,
        channel_lift: &walk.channel_lift,
        end_u_mm: GIVEN_END_U_MM,
        print_scale_u: walk.print_scale.relative_u,
    })
}

fn budget_lines(walk: &Walk) -> Vec<sheet::BudgetLine> {
    walk.widths
        .named
        .iter()
        .flat_map(|(name, width)| {
            width.budget.iter().map(|(from, u)| sheet::BudgetLine {
                of: (*name).to_owned(),
                from: from.clone(),
                u: *u,
            })
        })
        .collect()
}

/// Below this probability a traced point is doubtful.
const DOUBTFUL: f64 = 0.8;
/// Doubtful points whose rivals lie on one side, with no more than so many others between them, about 20 mm, are one
/// stretch; fewer than so many are none.
const POINTS_BETWEEN: usize = 10;
const LEAST_POINTS: usize = 3;

/// A stretch of an edge along which another boundary competes.
struct Stretch {
    part: Part,
    side: Side,
    points: Vec<(f64, EdgePoint, Rival)>,
}

/// The doubtful stretches of all edges.
fn doubtful(walk: &Walk) -> Vec<Stretch> {
    let seat = Some((&walk.widths.seat, &walk.outline.seat));
    let channel = walk.widths.channel.as_ref().zip(walk.outline.channel.as_ref());
    let mut stretches = Vec::new();
    for (part, pairs) in [(Part::Seat, seat), (Part::Channel, channel)] {
        let Some((located, edges)) = pairs else { continue };
        for (i, side) in SIDES.into_iter().enumerate() {
            let mut last = None;
            for (at, (located, point)) in located[i].iter().zip(&edges[i].points).enumerate() {
                let (Some(located), Some(point)) = (located, point) else { continue };
                let Some(rival) = point.rival.filter(|_| point.confidence < DOUBTFUL) else { continue };
                let outside = rival.apart_mm > 0.0;
                if last.is_none_or(|(last, side)| at > last + POINTS_BETWEEN || side != outside) {
                    stretches.push(Stretch { part, side, points: Vec::new() });
                }
                last = Some((at, outside));
                if let Some(stretch) = stretches.last_mut() {
                    stretch.points.push((located.station, *point, rival));
                }
            }
        }
    }
    stretches.retain(|s| s.points.len() >= LEAST_POINTS);
    stretches
}

fn hidden(stretch: &HiddenStretch) -> sheet::HiddenStretch {
    let &HiddenStretch { part, side, from, to } = stretch;
    sheet::HiddenStretch { part, side, from_at: from, to_at: to }
}

/// A stretch as the sheet has it, with the means of its points.
fn doubt(stretch: &Stretch) -> sheet::Doubt {
    let points = &stretch.points;
    let mean = |value: &dyn Fn(&(f64, EdgePoint, Rival)) -> f64| {
        points.iter().map(value).sum::<f64>() / points.len() as f64
    };
    sheet::Doubt {
        part: stretch.part,
        side: stretch.side,
        from_at: points[0].0.clamp(0.0, 1.0),
        to_at: points[points.len() - 1].0.clamp(0.0, 1.0),
        apart_mm: mean(&|p| p.2.apart_mm),
        probability: mean(&|p| 1.0 - p.1.confidence),
    }
}

fn doubt_line(stretch: &Stretch) -> DoubtLine {
    let along =
        |pixel: &dyn Fn(&(f64, EdgePoint, Rival)) -> PhotoPoint| stretch.points.iter().map(pixel).collect();
    DoubtLine { traced: along(&|p| p.1.pixel), rival: along(&|p| p.2.pixel) }
}

fn geometry_of(walk: &Walk, sheet: &Sheet) -> OverlayGeometry {
    let camera = &walk.fit.camera;
    let line = |part: Part, station: f64, halves: [f64; 2]| {
        let lift = if part == Part::Seat { &walk.seat_lift } else { &walk.channel_lift };
        let end = |i: usize| {
            let at = walk.midline.point(station, halves[i], SIDES[i], lift.at_mm(station));
            camera.photo_from_card(at)
        };
        Some([end(0)?, end(1)?])
    };
    let stations = walk.widths.stations.iter().filter_map(|(at, seat, channel)| {
        let (part, width) = match (seat, channel) {
            (Some(seat), _) => (Part::Seat, seat),
            (None, Some(channel)) => (Part::Channel, channel),
            (None, None) => return None,
        };
        Some(StationLine { at: *at, ends: line(part, *at, width.halves_mm)? })
    });
    let named = walk.widths.named.iter().filter_map(|(name, width)| {
        let part = if name.starts_with("seat") { Part::Seat } else { Part::Channel };
        let written = sheet.width(name)?;
        let ends = line(part, width.station, width.halves_mm)?;
        Some(NamedLine { name: (*name).to_owned(), ends, mm: written.mm, u95: written.u95 })
    });
    OverlayGeometry {
        cards: walk.found.cards.iter().map(|card| card_outline(walk, card)).collect(),
        midline: sheet.midline.as_ref().map(|m| [m.front_px, m.rear_px].map(|[x, y]| PhotoPoint::new(x, y))),
        stations: stations.collect(),
        named: named.collect(),
        edges: edge_lines(sheet),
        doubts: doubtful(walk).iter().map(doubt_line).collect(),
        hints: walk.hints.iter().map(|hint| (hint.part, hint.pixel)).collect(),
        photo: 0,
    }
}

fn card_outline(walk: &Walk, card: &FoundCard) -> CardOutline {
    let pose =
        walk.found.cards.iter().position(|c| c.copy == card.copy && c.pattern.name == card.pattern.name);
    let lens = walk.fit.camera.lens;
    let seen = |p: CardPoint| {
        let pose = &walk.fit.card_poses[pose?];
        Some(lens.photo_from_ideal(pose.ideal_from_card(p)?))
    };
    CardOutline {
        outline: card.pattern.outline().into_iter().filter_map(|p| seen(card.printed(p))).collect(),
        tags: card.tags.iter().map(|t| t.corners().into_iter().flatten().collect()).collect(),
    }
}
