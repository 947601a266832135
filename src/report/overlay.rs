//! The drawing that lies over the photo: cards, midline, stations, edges and where each width was taken.

use super::draw::place::{Area, Ground, Place, Wish};
use super::draw::{Drawing, Role, Shape, Text, font};
use super::units::Units;
use crate::numeric::frame::PhotoPoint;
use crate::sheet::geometry::OverlayGeometry;
use crate::sheet::{Part, Sheet, Side};

mod band;

/// Size of the letters on plates, in units.
const LETTERS: f64 = 14.0;
/// Size of the letters of the words at the midline's ends and at the edges, in units.
const SMALL_LETTERS: f64 = 11.5;
/// Room between the letters and the plate's rim, in units: beside, and above and below.
const PADDING: (f64, f64) = (6.0, 4.5);
/// Half the length of the bar across each end of a named width, in units.
const BAR: f64 = 6.0;
/// Distances of a figure from its edge, in units.
const FAR: &[f64] =
    &[16.0, 24.0, 34.0, 46.0, 60.0, 80.0, 100.0, 125.0, 150.0, 180.0, 210.0, 250.0, 300.0, 360.0, 430.0];
/// Points of a line that labels look at, about.
const MARKS: usize = 40;
/// Distances of the small words from what they name, in units.
const NEAR: &[f64] = &[9.0, 14.0, 20.0, 28.0, 40.0];

/// The drawing of a sheet. `size_px` is the photo's width and height; the geometry is in its pixels.
pub fn drawing(sheet: &Sheet, geometry: &OverlayGeometry, size_px: (u32, u32), units: Units) -> Drawing {
    let mut drawing = Drawing {
        width_px: size_px.0,
        height_px: size_px.1,
        band_px: 0.0,
        title: title(sheet),
        shapes: Vec::new(),
    };
    lines(geometry, drawing.unit_px(), &mut drawing.shapes);
    let unplaced = labels(geometry, units, &mut drawing);
    band::add(sheet, geometry.photo, &unplaced, &mut drawing);
    drawing
}

fn title(sheet: &Sheet) -> String {
    let view = sheet.view.map_or(String::new(), |v| format!(", {} view", v.as_str()));
    format!("{}{view}", sheet.saddle.name)
}

/// Every line, from the back to the front.
fn lines(geometry: &OverlayGeometry, unit: f64, shapes: &mut Vec<Shape>) {
    let mut line = |role, points: &[PhotoPoint], closed| {
        if points.len() > 1 {
            shapes.push(Shape::Line { role, points: points.to_vec(), closed });
        }
    };
    for card in &geometry.cards {
        line(Role::Card, &card.outline, true);
        card.tags.iter().for_each(|tag| line(Role::Tag, tag, true));
    }
    geometry.stations.iter().for_each(|s| line(Role::StationLine, &s.ends, false));
    if let Some(ends) = &geometry.midline {
        line(Role::Midline, ends, false);
    }
    for edge in &geometry.edges {
        line(edge_role(edge.part), &edge.points, false);
    }
    for doubt in &geometry.doubts {
        line(Role::Rival, &doubt.rival, false);
        line(Role::Doubtful, &doubt.traced, false);
    }
    for named in &geometry.named {
        line(Role::NamedWidth, &caliper(named.ends, BAR * unit), false);
    }
    for (part, at) in &geometry.hints {
        shapes.push(Shape::Marker { role: edge_role(*part), at: *at });
    }
    for at in geometry.midline.iter().flatten() {
        shapes.push(Shape::Marker { role: Role::Midline, at: *at });
    }
}

fn edge_role(part: Part) -> Role {
    match part {
        Part::Seat => Role::SeatEdge,
        Part::Channel => Role::ChannelEdge,
    }
}

/// A width's line with a bar across each end, in one stroke.
fn caliper([a, b]: [PhotoPoint; 2], bar: f64) -> Vec<PhotoPoint> {
    let length = a.distance_px(b);
    if length <= 0.0 || !length.is_finite() {
        return vec![a, b];
    }
    let (nx, ny) = (-(b.y_px - a.y_px) / length * bar, (b.x_px - a.x_px) / length * bar);
    let off = |p: PhotoPoint, sign: f64| PhotoPoint::new(p.x_px + sign * nx, p.y_px + sign * ny);
    vec![off(a, 1.0), off(a, -1.0), a, b, off(b, 1.0), off(b, -1.0)]
}

/// Places every label, the figures before the words; gives back the figures for which there was no room in the
/// picture.
fn labels(geometry: &OverlayGeometry, units: Units, drawing: &mut Drawing) -> Vec<String> {
    let mut ground = ground(geometry, drawing);
    let figures = geometry.named.iter().map(|named| {
        let [a, b] = named.ends;
        let along = (b.x_px - a.x_px, b.y_px - a.y_px);
        let text = format!("{} {}", spoken(&named.name), units.both(named.mm, named.u95));
        (text, vec![(b, along), (a, (-along.0, -along.1))])
    });
    let unplaced = add_labels(figures.collect(), (LETTERS, FAR), &mut ground, drawing);
    add_labels(words(geometry), (SMALL_LETTERS, NEAR), &mut ground, drawing);
    unplaced
}

/// Adds the labels for which there is room to the drawing, and gives back the texts of the others.
fn add_labels(
    texts: Vec<(String, Anchors)>,
    (size, distances): (f64, &'static [f64]),
    ground: &mut Ground,
    drawing: &mut Drawing,
) -> Vec<String> {
    let unit = drawing.unit_px();
    let (pad_x, pad_y) = (PADDING.0 * unit, PADDING.1 * unit);
    let height = font::CAP_HEIGHT * size * unit + 2.0 * pad_y;
    let wish = |(text, anchors): &(String, Anchors)| {
        let width = font::width(text, size * unit) + 2.0 * pad_x;
        Wish { size: (width, height), anchors: anchors.clone(), distances }
    };
    let places = ground.place_all(&texts.iter().map(wish).collect::<Vec<_>>());
    let mut unplaced = Vec::new();
    for ((text, _), place) in texts.into_iter().zip(places) {
        let Some(Place { plate, leader }) = place else {
            unplaced.push(text);
            continue;
        };
        let at = PhotoPoint::new(plate.left + pad_x, plate.bottom() - pad_y);
        let leader = Some(leader).filter(|[a, b]| a.distance_px(*b) > 4.0 * unit);
        drawing.shapes.push(Shape::Label { text: Text { text, at, size }, plate, leader });
    }
    unplaced
}

/// Points that a label may name, each with the direction in which it should rather lie.
type Anchors = Vec<(PhotoPoint, (f64, f64))>;

/// Which end is the front, and which side the rider's left.
fn words(geometry: &OverlayGeometry) -> Vec<(String, Anchors)> {
    let Some([front, rear]) = geometry.midline else { return Vec::new() };
    let along = (rear.x_px - front.x_px, rear.y_px - front.y_px);
    let mut words =
        vec![("front".into(), vec![(front, (-along.0, -along.1))]), ("rear".into(), vec![(rear, along)])];
    for side in [Side::Left, Side::Right] {
        words.extend(side_anchors(geometry, side, along).map(|anchors| (side.as_str().into(), anchors)));
    }
    words
}

/// `channel.front` is said as `channel front`, `seat.widest` as `seat widest`.
fn spoken(name: &str) -> String {
    name.replace('.', " ")
}

/// Places along the seat's edge where its side may be named, looking away from the other edge.
fn side_anchors(geometry: &OverlayGeometry, side: Side, along: (f64, f64)) -> Option<Anchors> {
    let longest = |side| {
        let of = geometry.edges.iter().filter(|e| e.part == Part::Seat && e.side == side);
        of.max_by_key(|e| e.points.len()).map(|e| &e.points)
    };
    let (points, other) =
        (longest(side)?, longest(if side == Side::Left { Side::Right } else { Side::Left })?);
    let (p, q) = (points[points.len() / 2], other[other.len() / 2]);
    let across = (-along.1, along.0);
    let facing = (p.x_px - q.x_px) * across.0 + (p.y_px - q.y_px) * across.1;
    let away = (across.0 * facing.signum(), across.1 * facing.signum());
    let at = |share: f64| points[((points.len() - 1) as f64 * share) as usize];
    Some([0.45, 0.55, 0.35, 0.65, 0.8, 0.25].map(|share| (at(share), away)).to_vec())
}

/// What labels must keep clear of.
fn ground(geometry: &OverlayGeometry, drawing: &Drawing) -> Ground {
    let unit_px = drawing.unit_px();
    let mut points: Vec<PhotoPoint> = Vec::new();
    let lines = geometry.edges.iter().map(|e| &e.points).chain(geometry.doubts.iter().map(|d| &d.rival));
    for line in lines {
        points.extend(line.iter().step_by(1 + line.len() / MARKS));
    }
    points.extend(geometry.midline.iter().flatten());
    points.extend(geometry.named.iter().flat_map(|n| n.ends));
    let mut areas: Vec<_> = geometry.cards.iter().map(|c| Area::new(c.outline.clone())).collect();
    let seat = |side| geometry.edges.iter().filter(move |e| e.part == Part::Seat && e.side == side);
    let side = |side| seat(side).flat_map(|e| e.points.iter().step_by(1 + e.points.len() / MARKS)).copied();
    let mut outline: Vec<_> = side(Side::Left).collect();
    let right: Vec<_> = side(Side::Right).collect();
    outline.extend(right.into_iter().rev());
    areas.push(Area::new(outline));
    let bounds = drawing.photo_rect().grown(-6.0 * unit_px);
    Ground { bounds, unit_px, plates: Vec::new(), leaders: Vec::new(), points, areas }
}
