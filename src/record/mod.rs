//! From the end of the pipeline to the sheet, and to where its contents lie in the photo. Nothing is measured here.

mod asked;
mod doubts;
mod geometry;
mod warnings;

use std::sync::Arc;

use crate::camera::placement::LensSource;
use crate::camera::pose::CameraPose;
use crate::camera::print_scale::ScaleBy;
use crate::card::FoundCards;
use crate::explain::Explanation;
use crate::numeric::words::Part;
use crate::outline::HiddenStretch;
use crate::outline::lift::LiftProfile;
use crate::photo::Photo;
use crate::pipeline::{self, Located, Measured, Refused, Request, Traced};
use crate::refusal::Refusal;
use crate::sheet::geometry::OverlayGeometry;
use crate::sheet::{self, Sheet};
use crate::together::Together;
use crate::warning::Warning;
use crate::width::joint::{EstimatedLift, Joint};
use crate::width::response::ROLL_U;
use crate::width::{LocatedPair, MeasuredWidth, Widths};
pub use asked::asked;
pub use warnings::is_poorly_known;

/// Measures a photo: the sheet, and its geometry in the photo.
///
/// # Errors
/// The refusal of the first stage that fails.
pub fn measure(photo: impl Into<Arc<Photo>>, request: &Request) -> Result<(Sheet, OverlayGeometry), Refusal> {
    let measured = pipeline::measure(photo, request, Explanation::OFF)?;
    Ok(record(request, &measured))
}

/// The sheet of a measured photo, rounded as it is written so that every reader shows the same, and its geometry.
pub fn record(request: &Request, measured: &Measured) -> (Sheet, OverlayGeometry) {
    Found::of(measured).record(request)
}

/// The sheet of a refused photo, with whatever was reached, and its geometry.
pub fn record_refused(request: &Request, refused: &Refused) -> (Sheet, OverlayGeometry) {
    Found::before(refused).record(request)
}

/// The sheet of several photos that were refused together: `refused` is the one at fault, or the first of them.
pub fn record_refused_together(photos: &[Arc<Photo>], requests: &[Request], refused: &Refused) -> Sheet {
    let (sheet, _) = match photos.first() {
        Some(first) if Arc::ptr_eq(first, &refused.photo) => record_refused(&requests[0], refused),
        _ => {
            Found { cards: None, located: None, traced: None, ..Found::before(refused) }.record(&requests[0])
        }
    };
    let entries = photos.iter().map(|photo| photo_entry(photo)).collect();
    Sheet { asked: Some(asked(requests)), photos: entries, ..sheet }
}

/// The sheet of one saddle in several photos, and its geometry in each of them.
pub fn record_together(requests: &[Request], together: &Together) -> (Sheet, Vec<OverlayGeometry>) {
    let Together { photos, numbers, left_out, joint, alone } = together;
    let requests: Vec<Request> = numbers.iter().map(|number| requests[*number].clone()).collect();
    let found: Vec<Found> = photos.iter().map(|m| Found { joint: Some(joint), ..Found::of(m) }).collect();
    let (sheets, mut geometries): (Vec<Sheet>, Vec<OverlayGeometry>) =
        found.iter().zip(&requests).map(|(found, request)| found.record(request)).unzip();
    geometries.iter_mut().enumerate().for_each(|(i, geometry)| geometry.photo = i);
    let mut all = sheets.iter();
    let mut sheet = all.next().cloned().expect("at least one photo");
    for (i, other) in all.enumerate() {
        sheet.photos.extend_from_slice(&other.photos);
        let new = |w: &&Warning| sheet.warnings.iter().all(|own| own.text != w.text);
        let new: Vec<Warning> =
            other.warnings.iter().filter(new).map(|w| w.clone().in_photo(i + 1)).collect();
        sheet.warnings.extend(new);
    }
    sheet.asked = Some(asked(&requests));
    sheet.warnings.extend(left_out.iter().map(warnings::left_out));
    sheet.warnings.extend(requests.iter().enumerate().skip(1).filter_map(warnings::corrected));
    sheet.warnings.extend(warnings::lift_poorly_known(&requests[0], joint));
    if let Some(edges) = sheet.edges.as_mut().filter(|edges| edges.channel.is_none()) {
        // Lost in the first photo, and seen in another.
        edges.channel = sheets.iter().find_map(|other| other.edges.as_ref()?.channel.clone());
    }
    for width in &mut sheet.widths {
        width.one_photo_u95 = alone.as_ref().and_then(|alone| alone.u95(width.name));
    }
    (sheet.rounded(), geometries)
}

/// The stages that a photo reached.
#[derive(Clone, Copy)]
struct Found<'a> {
    photo: &'a Photo,
    cards: Option<&'a FoundCards>,
    located: Option<&'a Located>,
    traced: Option<&'a Traced>,
    measured: Option<&'a Measured>,
    /// The estimate of several photos that the widths come from.
    joint: Option<&'a Joint>,
    refusal: Option<&'a Refusal>,
}

impl<'a> Found<'a> {
    fn of(measured: &'a Measured) -> Self {
        let traced = &measured.traced;
        let located = &traced.located;
        Self {
            photo: &located.photo,
            cards: Some(&located.found),
            located: Some(located),
            traced: Some(traced),
            measured: Some(measured),
            joint: None,
            refusal: None,
        }
    }

    fn before(refused: &'a Refused) -> Self {
        let reached = &refused.reached;
        Self {
            photo: &refused.photo,
            cards: reached.cards(),
            located: reached.located(),
            traced: reached.traced(),
            measured: reached.measured(),
            joint: None,
            refusal: Some(&refused.refusal),
        }
    }

    fn record(self, request: &Request) -> (Sheet, OverlayGeometry) {
        let sheet = self.sheet(request).rounded();
        let geometry = geometry::of(&self, request, &sheet);
        (sheet, geometry)
    }

    fn sheet(&self, request: &Request) -> Sheet {
        // Edges without trustworthy widths are shown, their widths are not given.
        let drawn = self.measured.map(|m| &m.widths);
        let measured = self.trusted();
        let widths = measured.map(|m| &m.widths);
        Sheet {
            schema: sheet::SCHEMA.into(),
            software: Some(sheet::Software::this()),
            saddle: sheet::Saddle { name: request.name.clone(), note: None },
            asked: Some(asked(std::slice::from_ref(request))),
            view: self.traced.map(|t| t.view).or(request.view),
            photos: vec![photo_entry(self.photo)],
            cards: self.located.map_or_else(Vec::new, card_entries),
            camera: self.located.map(camera_entry),
            midline: self.traced.and_then(|t| midline_entry(request, t)),
            lift: self.traced.map(|t| self.lift_entry(request, t)),
            level: self.located.map(|located| self.level_entry(located)),
            edges: drawn.map(|w| sheet::Edges {
                seat: Some(edge_rows(&w.seat)),
                channel: w.channel.as_ref().map(edge_rows),
            }),
            edges_px: drawn.map(|w| sheet::EdgesPx {
                seat: Some(edge_pixels(&w.seat)),
                channel: w.channel.as_ref().map(edge_pixels),
            }),
            stations: widths.map_or_else(Vec::new, stations),
            widths: measured.map_or_else(Vec::new, named_widths),
            front_taper: widths
                .and_then(|w| w.front_taper_deg.as_ref())
                .map(|t| sheet::Taper { deg: t.value, u95: t.budget.u95() }),
            budget: widths.map_or_else(Vec::new, budget_lines),
            influences: widths.map(|w| w.influences.clone()),
            hints: request
                .hints
                .iter()
                .map(|h| sheet::HintRecord { part: h.part, px: [h.pixel.x_px, h.pixel.y_px] })
                .collect(),
            hidden: request.hidden.iter().map(hidden).collect(),
            doubts: self.measured.map_or_else(Vec::new, doubts::entries),
            rivals: self.single().map_or_else(Vec::new, doubts::rivals),
            warnings: warnings::all(self, request),
            refused: self.refusal.cloned(),
        }
    }

    /// The measurement, unless it was refused.
    fn trusted(&self) -> Option<&'a Measured> {
        self.measured.filter(|_| self.refusal.is_none())
    }

    /// The measurement where the widths are this photo's alone: several photos settle between lines.
    fn single(&self) -> Option<&'a Measured> {
        self.trusted().filter(|_| self.joint.is_none())
    }

    /// Whether the heights of a part's edges are known: given, or from several photos.
    fn knows_lift(&self, request: &Request, part: Part) -> bool {
        match part {
            Part::Seat => self.joint.is_some() || request.seat_lift.is_some(),
            Part::Channel => {
                self.joint.is_some_and(|joint| joint.channel_lift.is_some()) || request.channel_lift.is_some()
            }
        }
    }

    fn level_entry(&self, located: &Located) -> sheet::Level {
        let card_u = located.fit.level_u();
        let assumed_u = card_u.hypot(ROLL_U);
        let shown = self.joint.map(|joint| joint.lean).filter(|[_, u]| *u < LEAN_SHOWS * assumed_u);
        let source = match (shown, &located.fit.level) {
            (Some(_), _) => sheet::LevelSource::Photos,
            (None, Some(_)) => sheet::LevelSource::Cards,
            (None, None) => sheet::LevelSource::Assumed,
        };
        sheet::Level {
            source,
            card_u_deg: card_u.to_degrees(),
            saddle_u_deg: ROLL_U.to_degrees(),
            lean_deg: shown.map(|[lean, _]| lean.to_degrees()),
            lean_u_deg: shown.map(|[_, u]| u.to_degrees()),
        }
    }

    fn lift_entry(&self, request: &Request, traced: &Traced) -> sheet::Lift {
        if let Some(joint) = self.joint {
            let channel = joint.channel_lift.as_ref();
            return sheet::Lift {
                seat: Some(lift_rows(&joint.seat_lift.profile)),
                channel: channel.map(|lift| lift_rows(&lift.profile)),
                source: sheet::LiftSource::Photos,
                seat_u: Some(joint.seat_lift.u_mm.clone()),
                channel_u: channel.map(|lift: &EstimatedLift| lift.u_mm.clone()),
            };
        }
        let [seat, channel] = [Part::Seat, Part::Channel]
            .map(|part| self.knows_lift(request, part).then(|| lift_rows(traced.lift(part))));
        let given = seat.is_some() || channel.is_some();
        let source = if given { sheet::LiftSource::Given } else { sheet::LiftSource::Assumed };
        sheet::Lift { seat, channel, source, seat_u: None, channel_u: None }
    }
}

/// Photos that leave the lean more uncertain than this part of what is assumed do not show it.
const LEAN_SHOWS: f64 = 0.5;

fn lift_rows(profile: &LiftProfile) -> Vec<[f64; 2]> {
    profile.points().iter().map(|&(station, mm)| [station, mm]).collect()
}

/// A photo's file as the sheet has it.
pub fn photo_entry(photo: &Photo) -> sheet::PhotoRecord {
    let exif = photo.exif();
    let camera: Vec<&str> = [&exif.make, &exif.model].into_iter().flatten().map(String::as_str).collect();
    sheet::PhotoRecord {
        file: photo.name().to_owned(),
        sha256: photo.sha256().to_owned(),
        width_px: photo.width_px() as u32,
        height_px: photo.height_px() as u32,
        taken: exif.taken.clone(),
        camera: (!camera.is_empty()).then(|| camera.join(" ")),
    }
}

fn midline_entry(request: &Request, traced: &Traced) -> Option<sheet::MidlineRecord> {
    let (ends, source) = match request.ends {
        Some(ends) => (ends, sheet::MidlineSource::Given),
        None => (traced.midline_ends_px()?, sheet::MidlineSource::Found),
    };
    let [front_px, rear_px] = ends.map(|p| [p.x_px, p.y_px]);
    Some(sheet::MidlineRecord { front_px, rear_px, length_mm: traced.midline.length_mm(), source })
}

fn card_entries(located: &Located) -> Vec<sheet::Card> {
    let entry = |(card, rms_px): (&crate::card::FoundCard, &f64)| sheet::Card {
        pattern: card.pattern.name.clone(),
        copy: card.copy,
        tags: card.tags.len() as u32,
        rms_px: *rms_px,
        print_scale: card.print_scale,
        print_scale_u: Some(located.print_scale.relative_u),
        print_scale_by: Some(match located.print_scale.by {
            ScaleBy::Printer => sheet::ScaleSource::Printer,
            ScaleBy::Bar(_) => sheet::ScaleSource::Bar,
            ScaleBy::BankCard => sheet::ScaleSource::BankCard,
        }),
    };
    located.found.cards.iter().zip(&located.fit.card_rms_px).map(entry).collect()
}

/// The focal length comes from the card where the card has narrowed its prior to less than this part.
const CARD_DECIDES: f64 = 0.5;

fn camera_entry(located: &Located) -> sheet::CameraRecord {
    let fit = &located.fit;
    let lens = fit.camera.lens;
    let from_card = fit.focal_narrowed() < CARD_DECIDES;
    let focal_source = match located.lens_source {
        LensSource::File => sheet::FocalSource::LensFile,
        _ if from_card => sheet::FocalSource::Card,
        LensSource::Card => sheet::FocalSource::Card,
        LensSource::Exif => sheet::FocalSource::Exif,
        LensSource::Assumed => sheet::FocalSource::Assumed,
    };
    let [across, along] = fit.bend_mm(0);
    let bend = if across.0.abs() / across.1 > along.0.abs() / along.1 { across } else { along };
    sheet::CameraRecord {
        focal_px: lens.focal_px,
        focal_u_px: fit.focal_u_px(),
        focal_source,
        principal_px: Some([lens.cx_px, lens.cy_px]),
        principal_u_px: Some(fit.principal_u_px()),
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

fn rotation_rows(pose: &CameraPose) -> [[f64; 3]; 3] {
    let m = pose.rotation.matrix();
    [0, 1, 2].map(|row| [0, 1, 2].map(|column| m[(row, column)]))
}

fn edge_rows(pair: &LocatedPair) -> sheet::EdgePair {
    let rows = |i: usize| pair[i].iter().flatten().map(|p| [p.station, p.offset_mm, p.u_mm]).collect();
    sheet::EdgePair { left: rows(0), right: rows(1) }
}

fn edge_pixels(pair: &LocatedPair) -> sheet::EdgePairPx {
    let rows = |i: usize| pair[i].iter().flatten().map(|p| [p.pixel.x_px, p.pixel.y_px]).collect();
    sheet::EdgePairPx { left: rows(0), right: rows(1) }
}

fn stations(widths: &Widths) -> Vec<sheet::Station> {
    let width = |width: &MeasuredWidth| sheet::StationWidth {
        mm: width.mm,
        u95: width.budget.u95(),
        left_half: width.halves_mm.left,
        right_half: width.halves_mm.right,
    };
    let all = widths.stations.iter();
    all.map(|(at, seat, channel)| sheet::Station {
        at: *at,
        seat: seat.as_ref().map(width),
        channel: channel.as_ref().map(width),
    })
    .collect()
}

fn named_widths(measured: &Measured) -> Vec<sheet::Width> {
    let all = measured.widths.named.iter().map(|(name, width)| sheet::Width {
        name: *name,
        at: width.station,
        mm: width.mm,
        u95: width.budget.u95(),
        left_half: Some(width.halves_mm.left),
        right_half: Some(width.halves_mm.right),
        u: Some(width.budget.u()),
        at_u: width.station_u,
        one_card_u95: measured.one_card.as_ref().and_then(|alone| alone.u95(*name)),
        one_photo_u95: None,
    });
    all.collect()
}

fn budget_lines(widths: &Widths) -> Vec<sheet::BudgetLine> {
    let all = widths.named.iter().flat_map(|(of, width)| width.budget.lines().map(|line| (*of, line)));
    all.map(|(of, (from, u))| sheet::BudgetLine { of, from, u }).collect()
}

fn hidden(stretch: &HiddenStretch) -> sheet::HiddenRecord {
    let &HiddenStretch { part, side, from, to } = stretch;
    sheet::HiddenRecord { part, side, from_at: from, to_at: to }
}
