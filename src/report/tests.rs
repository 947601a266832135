use super::draw::{Drawing, Picture, RenderError, Role, Shape, png, svg};
use super::overlay::drawing;
use super::text::{CAUTIONS, TextOptions, text};
use super::units::Units;
use crate::numeric::frame::PhotoPoint;
use crate::refusal::{Refusal, RefusalCode};
use crate::sheet::geometry::{
    CardOutline, DoubtLine, EdgeLine, NamedLine, OverlayGeometry, StationLine, edge_lines,
};
use crate::sheet::tests::sample;
use crate::sheet::{Part, Side};

const SIZE: (u32, u32) = (2000, 1500);

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

#[test]
fn an_overlay_of_photos_together_says_which_it_shows() {
    let mut sheet = sample();
    let first = sheet.photos[0].clone();
    sheet.photos.push(crate::sheet::Photo { file: "from-the-left.jpg".into(), ..first });
    let drawing = drawing(&sheet, &OverlayGeometry { photo: 1, ..geometry() }, SIZE, Units::Millimetres);
    let said = "from-the-left.jpg, photo 2 of 2 measured together";
    assert!(drawing.shapes.iter().any(|s| matches!(s, Shape::Caption(text) if text.text == said)));
}

fn plain_drawing() -> Drawing {
    drawing(&sample(), &geometry(), SIZE, Units::Millimetres)
}

fn count(drawing: &Drawing, wanted: Role) -> usize {
    drawing.shapes.iter().filter(|s| matches!(s, Shape::Line { role, .. } if *role == wanted)).count()
}

fn rendered_svg(drawing: &Drawing) -> String {
    svg::render(drawing, Picture::new(&[90; 3 * 40 * 30], 40, 30).unwrap()).unwrap()
}

#[test]
fn every_part_of_the_geometry_is_drawn_once() {
    let drawing = plain_drawing();
    let counts = [Role::SeatEdge, Role::ChannelEdge, Role::NamedWidth, Role::Midline, Role::StationLine]
        .map(|role| count(&drawing, role));
    assert_eq!(counts, [2, 2, 6, 1, 1]);
    assert_eq!([Role::Card, Role::Tag, Role::Doubtful, Role::Rival].map(|r| count(&drawing, r)), [1; 4]);
}

#[test]
fn labels_neither_overlap_nor_leave_the_picture() {
    let drawing = plain_drawing();
    let plates: Vec<_> = drawing
        .shapes
        .iter()
        .filter_map(|s| if let Shape::Label { plate, .. } = s { Some(*plate) } else { None })
        .collect();
    assert!(plates.len() >= 6);
    for (i, plate) in plates.iter().enumerate() {
        assert!(drawing.photo_rect().holds(plate));
        assert!(plates[i + 1..].iter().all(|other| !other.overlaps(plate)), "{plate:?}");
    }
}

#[test]
fn a_figure_that_finds_no_room_stands_in_the_band() {
    let drawing = drawing(&sample(), &geometry(), (2000, 20), Units::Millimetres);
    let captions = drawing
        .shapes
        .iter()
        .filter(|s| matches!(s, Shape::Caption(t) if t.text.starts_with("channel narrowest 60.0 ± 1.8 mm")));
    assert_eq!(captions.count(), 1);
    assert!(!drawing.shapes.iter().any(|s| matches!(s, Shape::Label { .. })));
}

#[test]
fn the_svg_has_one_line_an_edge_and_a_label_a_named_width() {
    let svg = rendered_svg(&plain_drawing());
    assert_eq!(svg.matches(r#"<g class="seat-edge">"#).count(), 2);
    assert_eq!(svg.matches(r#"<g class="channel-edge">"#).count(), 2);
    assert_eq!(svg.matches(r#"<g class="legend seat-edge">"#).count(), 1);
    for name in ["seat widest", "seat waist", "channel front", "channel middle", "channel rear"] {
        assert_eq!(svg.matches(&format!(">{name} ")).count(), 1, "{name}");
    }
}

#[test]
fn the_svg_is_self_contained_and_in_photo_pixels() {
    let svg = rendered_svg(&plain_drawing());
    assert!(svg.contains(r#"viewBox="-0.5 -0.5 2000 "#));
    assert!(svg.contains(r#"href="data:image/jpeg;base64,"#));
    assert_eq!(svg.matches("href=").count(), 1);
}

#[test]
fn the_svg_escapes_what_the_user_named() {
    let mut sheet = sample();
    sheet.saddle.name = "<b> & \"x\" \u{7}".into();
    let svg = rendered_svg(&drawing(&sheet, &geometry(), SIZE, Units::Millimetres));
    assert!(svg.contains("&lt;b&gt; &amp; &quot;x&quot; \u{fffd}"));
    assert!(!svg.contains("<b>"));
}

#[test]
fn the_png_holds_the_photo_and_the_band() {
    let drawing = plain_drawing();
    let bytes = png::render(&drawing, Picture::new(&[90; 3 * 400 * 300], 400, 300).unwrap()).unwrap();
    let image = image::load_from_memory(&bytes).unwrap().to_rgb8();
    assert_eq!(image.dimensions(), (400, 300 + (drawing.band_px * 0.2).round() as u32));
    assert_eq!(image.get_pixel(399, 0).0, [90; 3], "where nothing is drawn the photo is untouched");
    // The right seat edge at x = 1250 px of the photo: its blue core in the middle of the PNG's pixel 250.
    let [red, _, blue] = image.get_pixel(250, 200).0;
    assert!(blue > red, "{red} {blue}");
}

#[test]
fn a_large_picture_is_reduced() {
    let pixels = vec![90; 3 * 2000 * 1500];
    let bytes = png::render(&plain_drawing(), Picture::new(&pixels, 2000, 1500).unwrap()).unwrap();
    assert_eq!(image::load_from_memory(&bytes).unwrap().width(), png::LONG_SIDE);
}

#[test]
fn what_cannot_be_drawn_is_an_error() {
    let mut geometry = geometry();
    geometry.edges[0].points[3].x_px = f64::NAN;
    let drawing = drawing(&sample(), &geometry, SIZE, Units::Millimetres);
    let picture = Picture::new(&[0; 12], 2, 2).unwrap();
    assert!(matches!(png::render(&drawing, picture), Err(RenderError::NotFinite)));
    assert!(matches!(svg::render(&drawing, picture), Err(RenderError::NotFinite)));
    assert!(Picture::new(&[0; 11], 2, 2).is_err() && Picture::new(&[], 0, 2).is_err());
}

#[test]
fn an_untraced_stretch_parts_the_edge() {
    let lines = edge_lines(&sample());
    let of = |side| lines.iter().filter(|l| l.part == Part::Seat && l.side == side).count();
    assert_eq!((of(Side::Left), of(Side::Right)), (2, 1));
}

#[test]
fn the_table_says_widths_warnings_and_cautions() {
    let said = text(&sample(), TextOptions { units: Units::Millimetres, stations: true });
    let expected = [
        "bracken.jpg, 4032 x 3024 px",
        "231.4 ± 1.8 mm    9.11 in   at 0.72",
        "14.1 ± 0.9 deg  widens toward the rear",
        "not traced",
        "channel left edge from station 0.30 to 0.40: a line 9.0 mm further inside may be the edge (20 %)",
        "warning: The lift is not known. [lift-unknown]\n  Give it with --lift.",
        CAUTIONS,
    ];
    for part in expected {
        assert!(said.contains(part), "{part:?} in\n{said}");
    }
    assert!(!text(&sample(), TextOptions::default()).contains("stations ("));
}

#[test]
fn the_table_of_a_refused_photo_has_the_reason_and_no_width() {
    let mut sheet = sample();
    sheet.refused =
        Some(Refusal::new(RefusalCode::NoCard, "No card was found.", "Lay the card in the picture."));
    let said = text(&sheet, TextOptions::default());
    assert!(said.contains("No card was found. [no-card]") && said.contains("Lay the card in the picture."));
    assert!(!said.contains("widest"));
}

#[test]
fn a_name_cannot_drive_the_terminal() {
    let mut sheet = sample();
    sheet.saddle.name = "a\u{1b}[2Jb".into();
    assert!(!text(&sheet, TextOptions::default()).contains('\u{1b}'));
}
