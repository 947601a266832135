use image::Rgb;

use super::*;
use crate::canvas::Letters;
use crate::sheet::geometry::{CardOutline, DoubtLine, NamedLine, StationLine, edge_lines};
use crate::sheet::tests::sample;

const SIZE_PX: [usize; 2] = [2000, 1500];

fn at(x: f64, y: f64) -> PhotoPoint {
    PhotoPoint::new(x, y)
}

fn edge(part: Part, side: Side, x: f64) -> EdgeLine {
    EdgeLine { part, side, points: (0..50).map(|i| at(x, 300.0 + 16.0 * f64::from(i))).collect() }
}

/// A saddle of straight lines with six named widths, and a card beside it.
fn geometry() -> OverlayGeometry {
    let named = |name: &str, y: f64, half: f64| NamedLine {
        name: name.into(),
        ends: [at(1000.0 - half, y), at(1000.0 + half, y)],
        mm: half,
        u95: 1.8,
    };
    OverlayGeometry {
        cards: vec![CardOutline {
            outline: vec![at(100.0, 100.0), at(500.0, 100.0), at(500.0, 400.0), at(100.0, 400.0)],
            tags: vec![vec![at(100.0, 100.0), at(160.0, 100.0), at(160.0, 160.0), at(100.0, 160.0)]],
        }],
        midline: Some([at(1000.0, 300.0), at(1000.0, 1084.0)]),
        stations: vec![StationLine { at: 0.5, ends: [at(750.0, 700.0), at(1250.0, 700.0)] }],
        named: vec![
            named("seat.widest", 900.0, 250.0),
            named("seat.waist", 500.0, 250.0),
            named("channel.front", 420.0, 60.0),
            named("channel.middle", 700.0, 60.0),
            named("channel.rear", 960.0, 60.0),
            named("channel.narrowest", 424.0, 60.0),
        ],
        edges: vec![
            edge(Part::Seat, Side::Left, 750.0),
            edge(Part::Seat, Side::Right, 1250.0),
            edge(Part::Channel, Side::Left, 940.0),
            edge(Part::Channel, Side::Right, 1060.0),
        ],
        doubts: vec![DoubtLine {
            traced: vec![at(750.0, 400.0), at(750.0, 480.0)],
            rival: vec![at(770.0, 400.0), at(770.0, 480.0)],
        }],
        hints: Vec::new(),
        photo: 0,
    }
}

fn of(sheet: &Sheet, geometry: &OverlayGeometry, size_px: [usize; 2]) -> Canvas {
    let image = RgbImage::from_pixel(400, (400 * size_px[1] / size_px[0]) as u32, Rgb([90; 3]));
    drawing(image, size_px, sheet, geometry, Units::Millimetres)
}

fn sample_overlay() -> Canvas {
    of(&sample(), &geometry(), SIZE_PX)
}

fn bounds_of(canvas: &Canvas, wanted: &str) -> Vec<[f64; 4]> {
    let of = |item: &&Item| matches!(item, Item::Path { class, .. } if *class == wanted);
    canvas.items.iter().filter(of).map(Item::bounds).collect()
}

#[test]
fn an_overlay_of_several_photos_names_the_one_it_shows() {
    let mut sheet = sample();
    let first = sheet.photos[0].clone();
    sheet.photos.push(crate::sheet::PhotoRecord { file: "from-the-left.jpg".into(), ..first });
    let overlay = of(&sheet, &OverlayGeometry { photo: 1, ..geometry() }, SIZE_PX);
    assert!(overlay.texts().any(|t| t.text == "from-the-left.jpg, photo 2 of 2 measured together"));
}

#[test]
fn every_part_of_the_geometry_is_drawn_once() {
    let overlay = sample_overlay();
    let count = |class: &str| bounds_of(&overlay, class).len();
    let counts = ["seat-edge", "channel-edge", "named-width", "midline", "station"].map(count);
    assert_eq!(counts, [2, 2, 6, 1, 1]);
    assert_eq!(["card", "tag", "doubtful", "rival"].map(count), [1; 4]);
    // The legend: one entry for each of the nine kinds, each with its casing apart.
    assert_eq!(count("swatch"), 9);
}

#[test]
fn labels_neither_overlap_nor_leave_the_photo() {
    let overlay = sample_overlay();
    let plates = bounds_of(&overlay, "plate");
    assert!(plates.len() >= 6);
    let [_, band_top, ..] = bounds_of(&overlay, "band")[0];
    for (i, p) in plates.iter().enumerate() {
        assert!(p[0] >= 0.0 && p[1] >= 0.0 && p[2] <= overlay.width_mm && p[3] <= band_top, "{p:?}");
        let apart = |q: &[f64; 4]| p[0] >= q[2] || q[0] >= p[2] || p[1] >= q[3] || q[1] >= p[3];
        assert!(plates[i + 1..].iter().all(apart), "{p:?}");
    }
}

#[test]
fn a_figure_that_finds_no_place_stands_in_the_band() {
    let overlay = of(&sample(), &geometry(), [2000, 20]);
    let figures = overlay.texts().filter(|t| t.text.starts_with("channel narrowest 60.0 ± 1.8 mm"));
    assert_eq!(figures.count(), 1);
    assert!(bounds_of(&overlay, "plate").is_empty());
}

#[test]
fn the_svg_needs_nothing_beside_it_and_has_a_label_for_every_named_width() {
    let svg = sample_overlay().to_svg(Letters::Typed).unwrap();
    for name in ["seat widest", "seat waist", "channel front", "channel middle", "channel rear"] {
        assert_eq!(svg.matches(&format!(">{name} ")).count(), 1, "{name}");
    }
    // The longer side of the photo on paper.
    assert!(svg.contains(r#"viewBox="0 0 250 "#) && svg.contains(r#"href="data:image/jpeg;base64,"#));
    assert_eq!(svg.matches("href=").count(), 1);
}

#[test]
fn the_svg_escapes_names() {
    let mut sheet = sample();
    sheet.saddle.name = "<b> & \"x\" \u{7}".into();
    let svg = of(&sheet, &geometry(), SIZE_PX).to_svg(Letters::Typed).unwrap();
    assert!(svg.contains("&lt;b&gt; &amp; &quot;x&quot; \u{fffd}"));
    assert!(!svg.contains("<b>"));
}

#[test]
fn the_png_holds_the_photo_and_the_band() {
    let overlay = sample_overlay();
    let image = image::load_from_memory(&overlay.to_png().unwrap()).unwrap().to_rgb8();
    let band_mm = overlay.height_mm - 187.5;
    assert_eq!(image.dimensions(), (400, 300 + (band_mm * 1.6).round() as u32));
    assert_eq!(image.get_pixel(399, 0).0, [90; 3], "where nothing is drawn the photo is untouched");
    // The right seat edge at x = 1250 px of the photo: its blue core in the middle of the PNG's pixel 250.
    let [red, _, blue] = image.get_pixel(250, 200).0;
    assert!(blue > red, "{red} {blue}");
}

#[test]
fn what_cannot_be_drawn_is_an_error() {
    let mut geometry = geometry();
    geometry.edges[0].points[3].x_px = f64::NAN;
    let overlay = of(&sample(), &geometry, SIZE_PX);
    assert!(matches!(overlay.to_png(), Err(CanvasError::Geometry)));
    assert!(matches!(overlay.to_svg(Letters::Typed), Err(CanvasError::Geometry)));
}

#[test]
fn an_untraced_stretch_splits_the_edge() {
    let lines = edge_lines(&sample());
    let of = |side| lines.iter().filter(|l| l.part == Part::Seat && l.side == side).count();
    assert_eq!((of(Side::Left), of(Side::Right)), (2, 1));
}
