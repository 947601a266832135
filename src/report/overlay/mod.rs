//! The overlay: the photo with cards, midline, stations and edges, and where each width was measured.

mod band;
mod place;
mod style;
#[cfg(test)]
mod tests;

use std::sync::Arc;

use image::RgbImage;

use crate::canvas::{Anchor, CAP_HEIGHT, Canvas, CanvasError, Item, Path, Point, TextStyle};
use crate::numeric::frame::PhotoPoint;
use crate::photo::Photo;
use crate::report::palette::INK;
use crate::report::units::Units;
use crate::sheet::geometry::{EdgeLine, OverlayGeometry};
use crate::sheet::{Part, Sheet, Side};
use place::{Area, LabelRequest, Layout, Rect};
use style::Style;

/// The longer side of the photo on the canvas, mm.
const LONG_SIDE_MM: f64 = 250.0;
/// The longer side of the photo in the files, pixels; a larger photo is reduced.
const LONG_SIDE_PX: usize = 1280;

/// Figures on plates.
const FIGURES: TextStyle = TextStyle::bold(3.5, INK);
/// Words at the ends of the midline, at the edges, and in the legend.
const TEXT: TextStyle = TextStyle::bold(2.9, INK);
/// White beside and above the letters of a plate, mm.
const PADDING_MM: [f64; 2] = [1.5, 1.1];
/// Half the length of the bar across each end of a named width, mm.
const BAR_MM: f64 = 1.5;
/// Distances of a figure from its edge that are tried, mm.
const FAR_MM: &[f64] =
    &[4.0, 6.0, 8.5, 11.5, 15.0, 20.0, 25.0, 31.0, 37.5, 45.0, 52.5, 62.5, 75.0, 90.0, 107.5];
/// Distances of words from what they name that are tried, mm.
const NEAR_MM: &[f64] = &[2.25, 3.5, 5.0, 7.0, 10.0];
/// Points of a line that labels keep clear of, about.
const MARKS: usize = 40;

/// The overlay of a photo.
pub fn overlay(photo: &Photo, sheet: &Sheet, geometry: &OverlayGeometry, units: Units) -> Canvas {
    let (rgb, w, h) = photo.thumbnail_rgb(LONG_SIDE_PX);
    let image = RgbImage::from_raw(w as u32, h as u32, rgb).unwrap_or_default();
    drawing(image, [photo.width_px(), photo.height_px()], sheet, geometry, units)
}

/// The overlay of a photo as a PNG.
///
/// # Errors
/// A coordinate that is not finite.
pub fn overlay_png(
    photo: &Photo,
    sheet: &Sheet,
    geometry: &OverlayGeometry,
    units: Units,
) -> Result<Vec<u8>, CanvasError> {
    overlay(photo, sheet, geometry, units).to_png()
}

/// The drawing over a reduced photo; `size_px` is the photo's own size, in whose pixels the geometry is.
fn drawing(
    image: RgbImage,
    size_px: [usize; 2],
    sheet: &Sheet,
    geometry: &OverlayGeometry,
    units: Units,
) -> Canvas {
    let [w, h] = size_px.map(|px| px as f64);
    let mm_per_px = LONG_SIDE_MM / w.max(h);
    let view = sheet.view.map_or(String::new(), |v| format!(", {} view", v.as_str()));
    let label = format!("{}{view}", sheet.saddle.name);
    let mut canvas = Canvas::new([w * mm_per_px, h * mm_per_px], label);
    let rect = [0.0, 0.0, canvas.width_mm, canvas.height_mm];
    canvas.items.push(Item::Picture { image: Arc::new(image), rect });
    let on_paper = OnPaper { mm_per_px };
    lines(geometry, on_paper, &mut canvas);
    let unplaced = labels(geometry, units, on_paper, &mut canvas);
    band::add(sheet, geometry.photo, &unplaced, &mut canvas);
    canvas
}

/// From photo pixels, whose centres are at whole numbers, to the paper.
#[derive(Clone, Copy)]
struct OnPaper {
    mm_per_px: f64,
}

impl OnPaper {
    fn at(self, p: PhotoPoint) -> Point {
        [p.x_px, p.y_px].map(|px| (px + 0.5) * self.mm_per_px)
    }

    fn all(self, points: &[PhotoPoint]) -> Vec<Point> {
        points.iter().map(|p| self.at(*p)).collect()
    }
}

fn has(canvas: &Canvas, wanted: &str) -> bool {
    canvas.items.iter().any(|item| matches!(item, Item::Path { class, .. } if *class == wanted))
}

/// Every line, from back to front.
fn lines(geometry: &OverlayGeometry, on: OnPaper, canvas: &mut Canvas) {
    let mut line = |style: &Style, points: &[PhotoPoint]| style.draw(canvas, Path::line(on.all(points)));
    geometry.stations.iter().for_each(|s| line(&style::STATION, &s.ends));
    if let Some(ends) = &geometry.midline {
        line(&style::MIDLINE, ends);
    }
    for edge in &geometry.edges {
        line(edge_style(edge.part), &edge.points);
    }
    for doubt in &geometry.doubts {
        line(&style::RIVAL, &doubt.rival);
        line(&style::DOUBTFUL, &doubt.traced);
    }
    for card in &geometry.cards {
        style::CARD.draw(canvas, Path::polygon(on.all(&card.outline)));
        card.tags.iter().for_each(|tag| style::TAG.draw(canvas, Path::polygon(on.all(tag))));
    }
    for named in &geometry.named {
        style::NAMED_WIDTH.draw(canvas, caliper(named.ends.map(|p| on.at(p))));
    }
    for (part, at) in &geometry.hints {
        edge_style(*part).marker(canvas, on.at(*at));
    }
    for at in geometry.midline.iter().flatten() {
        style::MIDLINE.marker(canvas, on.at(*at));
    }
}

fn edge_style(part: Part) -> &'static Style {
    match part {
        Part::Seat => &style::SEAT_EDGE,
        Part::Channel => &style::CHANNEL_EDGE,
    }
}

/// A width's line with a bar across each end.
fn caliper([a, b]: [Point; 2]) -> Path {
    let line = Path::line([a, b]);
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    if !(length > 0.0) {
        return line;
    }
    let across = [-(b[1] - a[1]) / length * BAR_MM, (b[0] - a[0]) / length * BAR_MM];
    let bar =
        |p: Point| Path::line([1.0, -1.0].map(|sign| [p[0] + sign * across[0], p[1] + sign * across[1]]));
    line.and(bar(a)).and(bar(b))
}

/// Places every label, the figures before the words; returns the figures that found no place in the photo.
fn labels(geometry: &OverlayGeometry, units: Units, on: OnPaper, canvas: &mut Canvas) -> Vec<String> {
    let mut layout = occupied(geometry, on, canvas);
    let figures = geometry.named.iter().map(|named| {
        let [a, b] = named.ends.map(|p| on.at(p));
        let along = [b[0] - a[0], b[1] - a[1]];
        let text = format!("{} {}", named.name.replace('.', " "), units.both(named.mm, named.u95));
        (text, vec![(b, along), (a, along.map(|v| -v))])
    });
    let unplaced = add_labels(figures.collect(), FIGURES, FAR_MM, &mut layout, canvas);
    add_labels(words(geometry, on), TEXT, NEAR_MM, &mut layout, canvas);
    unplaced
}

/// Adds the labels that find a place, and returns the texts of the others.
fn add_labels(
    texts: Vec<(String, Anchors)>,
    style: TextStyle,
    distances: &'static [f64],
    layout: &mut Layout,
    canvas: &mut Canvas,
) -> Vec<String> {
    let [beside, above] = PADDING_MM;
    let height = CAP_HEIGHT * style.size_mm + 2.0 * above;
    let wish = |(text, anchors): &(String, Anchors)| {
        let size = [style.width_mm(text) + 2.0 * beside, height];
        LabelRequest { size, anchors: anchors.clone(), distances }
    };
    let places = layout.place_all(&texts.iter().map(wish).collect::<Vec<_>>());
    let mut unplaced = Vec::new();
    for ((text, _), place) in texts.into_iter().zip(places) {
        let Some(place) = place else {
            unplaced.push(text);
            continue;
        };
        let [from, to] = place.leader;
        if (to[0] - from[0]).hypot(to[1] - from[1]) > 1.0 {
            style::LEADER.draw(canvas, Path::line(place.leader));
        }
        let Rect { left, top, width, height } = place.plate;
        canvas.draw("plate", Path::rect([left, top, width, height]), Some(style::PLATE), Some(style::RIM));
        canvas.text([left + beside, top + height - above], Anchor::Start, text, style);
    }
    unplaced
}

/// Points that a label may name, each with the direction in which it should rather lie.
type Anchors = Vec<(Point, [f64; 2])>;

/// Which end is the front, and which side the rider's left.
fn words(geometry: &OverlayGeometry, on: OnPaper) -> Vec<(String, Anchors)> {
    let Some([front, rear]) = geometry.midline.map(|ends| ends.map(|p| on.at(p))) else { return Vec::new() };
    let along = [rear[0] - front[0], rear[1] - front[1]];
    let mut words =
        vec![("front".into(), vec![(front, along.map(|v| -v))]), ("rear".into(), vec![(rear, along)])];
    for side in [Side::Left, Side::Right] {
        words.extend(side_anchors(geometry, on, side, along).map(|anchors| (side.as_str().into(), anchors)));
    }
    words
}

/// Places along the seat's edge where its side may be named, away from the other edge.
fn side_anchors(geometry: &OverlayGeometry, on: OnPaper, side: Side, along: [f64; 2]) -> Option<Anchors> {
    let longest = |wanted: bool| {
        let of = |e: &&EdgeLine| e.part == Part::Seat && (e.side == side) == wanted;
        let line = geometry.edges.iter().filter(of).max_by_key(|e| e.points.len());
        line.map(|line| on.all(&line.points))
    };
    let (points, other) = (longest(true)?, longest(false)?);
    let (p, q) = (points[points.len() / 2], other[other.len() / 2]);
    let across = [-along[1], along[0]];
    let sign = ((p[0] - q[0]) * across[0] + (p[1] - q[1]) * across[1]).signum();
    let at = |share: f64| points[((points.len() - 1) as f64 * share) as usize];
    let anchor = |share| (at(share), across.map(|v| v * sign));
    Some([0.45, 0.55, 0.35, 0.65, 0.8, 0.25].map(anchor).to_vec())
}

/// What labels must keep clear of.
fn occupied(geometry: &OverlayGeometry, on: OnPaper, canvas: &Canvas) -> Layout {
    let sparse = |line: &[PhotoPoint]| -> Vec<Point> {
        line.iter().step_by(1 + line.len() / MARKS).map(|p| on.at(*p)).collect()
    };
    let lines = geometry.edges.iter().map(|e| &e.points).chain(geometry.doubts.iter().map(|d| &d.rival));
    let mut points: Vec<Point> = lines.flat_map(|line| sparse(line)).collect();
    points.extend(on.all(geometry.midline.as_ref().map_or(&[], |ends| &ends[..])));
    points.extend(geometry.named.iter().flat_map(|n| n.ends.map(|p| on.at(p))));
    let seat = |side| {
        let of = geometry.edges.iter().filter(move |e| e.part == Part::Seat && e.side == side);
        of.flat_map(|e| sparse(&e.points)).collect::<Vec<_>>()
    };
    let mut outline = seat(Side::Left);
    outline.extend(seat(Side::Right).into_iter().rev());
    let mut areas: Vec<_> = geometry.cards.iter().map(|c| Area::new(on.all(&c.outline))).collect();
    areas.push(Area::new(outline));
    let photo = Rect { left: 0.0, top: 0.0, width: canvas.width_mm, height: canvas.height_mm };
    Layout { bounds: photo.grown(-1.5), plates: Vec::new(), leaders: Vec::new(), points, areas }
}
