//! Where the contents of a sheet lie in its photo.

use super::{Found, doubts};
use crate::camera::lens::Lens;
use crate::camera::pose::CameraPose;
use crate::card::FoundCard;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{Pair, Part, Side};
use crate::pipeline::{Request, Traced};
use crate::sheet::Sheet;
use crate::sheet::geometry::{CardOutline, NamedLine, OverlayGeometry, StationLine, edge_lines};

/// The geometry of a photo's sheet.
pub fn of(found: &Found, request: &Request, sheet: &Sheet) -> OverlayGeometry {
    let measured = found.trusted();
    let stations = measured.into_iter().flat_map(|measured| {
        measured.widths.stations.iter().filter_map(|(at, seat, channel)| {
            let seat = seat.as_ref().map(|width| (Part::Seat, width));
            let (part, width) = seat.or(channel.as_ref().map(|width| (Part::Channel, width)))?;
            Some(StationLine { at: *at, ends: ends(&measured.traced, part, *at, width.halves_mm)? })
        })
    });
    let named = measured.into_iter().flat_map(|measured| {
        measured.widths.named.iter().filter_map(|(name, width)| {
            let written = sheet.width(*name)?;
            let ends = ends(&measured.traced, name.part(), width.station, width.halves_mm)?;
            Some(NamedLine { name: name.to_string(), ends, mm: written.mm, u95: written.u95 })
        })
    });
    OverlayGeometry {
        cards: cards(found),
        midline: sheet.midline.as_ref().map(|m| [m.front_px, m.rear_px].map(|[x, y]| PhotoPoint::new(x, y))),
        stations: stations.collect(),
        named: named.collect(),
        edges: edge_lines(sheet),
        doubts: found.measured.map_or_else(Vec::new, doubts::lines),
        hints: request.hints.iter().map(|hint| (hint.part, hint.pixel)).collect(),
        photo: 0,
    }
}

/// Where a width touches the left and the right edge.
fn ends(traced: &Traced, part: Part, station: f64, halves_mm: Pair<f64>) -> Option<[PhotoPoint; 2]> {
    let end = |side: Side| {
        let at = traced.midline.point(station, halves_mm[side], side, traced.lift(part).at_mm(station));
        traced.located.fit.camera.photo_from_card(at)
    };
    Some([end(Side::Left)?, end(Side::Right)?])
}

/// The cards; without a camera their tags alone.
fn cards(found: &Found) -> Vec<CardOutline> {
    let cards = found.cards.map_or(&[][..], |found| &found.cards);
    let seen = |i: usize| found.located.map(|l| (l.fit.camera.lens, l.fit.card_poses[i]));
    cards.iter().enumerate().map(|(i, card)| card_outline(card, seen(i))).collect()
}

fn card_outline(card: &FoundCard, seen: Option<(Lens, CameraPose)>) -> CardOutline {
    let outline = seen.map_or_else(Vec::new, |(lens, pose)| {
        let pixel = |corner| Some(lens.photo_from_ideal(pose.ideal_from_card(card.printed(corner))?));
        card.pattern.outline().into_iter().filter_map(pixel).collect()
    });
    CardOutline {
        outline,
        tags: card.tags.iter().map(|t| t.corners().into_iter().flatten().collect()).collect(),
    }
}
