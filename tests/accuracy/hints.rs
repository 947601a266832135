//! Points that are shown by hand: the edge runs through them, what is beside them follows, the rest stays.

use std::sync::{Arc, LazyLock};

use seatspan::explain::Explanation;
use seatspan::numeric::frame::PhotoPoint;
use seatspan::numeric::words::{Part, Side, View};
use seatspan::outline::hint::Hint;
use seatspan::photo::Photo;
use seatspan::pipeline::{self, Measured, Request};
use seatspan::refusal::Refusal;

/// Where the edge is shown to be, outwards of where it is traced: far enough that another line must be followed.
const OFF_MM: f64 = 6.0;
const SHOWN_AT: f64 = 0.55;

static PHOTO: LazyLock<Arc<Photo>> = LazyLock::new(|| {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/willow.jpg");
    Photo::from_bytes("willow.jpg", std::fs::read(file).unwrap()).unwrap().into()
});

fn measure(hints: Vec<Hint>) -> Result<Measured, Refusal> {
    Ok(pipeline::measure(PHOTO.clone(), &request(hints), Explanation::OFF)?)
}

fn request(hints: Vec<Hint>) -> Request {
    Request {
        name: "willow".into(),
        view: Some(View::Top),
        ends: Some([PhotoPoint::new(1022.7, 1437.4), PhotoPoint::new(2335.6, 2021.9)]),
        hints,
        seat_lift: Some("0:44,0.25:26,0.5:11,0.75:31,1:68".parse().unwrap()),
        ..Request::default()
    }
}

/// Half-width on a side at a station, mm, between the traced points before and behind it.
fn half_mm(measured: &Measured, side: usize, station: f64) -> f64 {
    let points: Vec<_> = measured.widths.seat[side].iter().flatten().collect();
    let around = points.windows(2).find(|w| (w[0].station..w[1].station).contains(&station)).unwrap();
    let part = (station - around[0].station) / (around[1].station - around[0].station);
    around[0].offset_mm + part * (around[1].offset_mm - around[0].offset_mm)
}

#[test]
fn an_edge_runs_through_a_point_shown_and_what_lies_beside_it_follows() {
    let before = measure(Vec::new()).unwrap();
    let traced = &before.traced;
    let shown_mm = half_mm(&before, 0, SHOWN_AT) + OFF_MM;
    let at = traced.midline.point(SHOWN_AT, shown_mm, Side::Left, traced.seat_lift.at_mm(SHOWN_AT));
    let pixel = traced.located.fit.camera.photo_from_card(at).unwrap();
    let after = measure(vec![Hint { part: Part::Seat, pixel }]).unwrap();
    let moved_mm =
        |side: usize, station: f64| half_mm(&after, side, station) - half_mm(&before, side, station);
    // A hand shows a point to 0.7 mm; twice that.
    assert!((moved_mm(0, SHOWN_AT) - OFF_MM).abs() < 1.4, "{}", moved_mm(0, SHOWN_AT));
    // 9 mm along the edge to either side it has not gone back half the way.
    for station in [SHOWN_AT - 0.02, SHOWN_AT + 0.02] {
        assert!(moved_mm(0, station) > 0.5 * OFF_MM, "{station}: {}", moved_mm(0, station));
    }
    // Neither the other side nor what is a third of a saddle away knows of it, mm: what the smoothing of the curves lets through.
    for (side, station) in [(0, 0.2), (0, 0.9), (1, 0.2), (1, SHOWN_AT), (1, 0.9)] {
        assert!(moved_mm(side, station).abs() < 0.3, "{side} {station}: {}", moved_mm(side, station));
    }
}

#[test]
fn a_point_shown_on_the_traced_edge_leaves_the_widths() {
    let before = measure(Vec::new()).unwrap();
    let on_edge = before.traced.outline.seat[1].points.iter().flatten().nth(120).unwrap();
    let after = measure(vec![Hint { part: Part::Seat, pixel: on_edge.pixel }]).unwrap();
    for ((name, a), (_, b)) in before.widths.named.iter().zip(&after.widths.named) {
        // Half of the least uncertainty of a width, mm.
        assert!((a.mm - b.mm).abs() < 0.9, "{name}: {} and {}", a.mm, b.mm);
    }
}

#[test]
fn a_point_that_is_on_no_edge_is_refused_with_what_to_do() {
    let refused = |x: f64, y: f64| {
        let hint = Hint { part: Part::Seat, pixel: PhotoPoint::new(x, y) };
        measure(vec![hint]).expect_err("it lies on no edge")
    };
    let outside = refused(99_999.0, 3.0);
    assert!(outside.text.contains("outside the photo of 4032 x 3024 pixels"), "{}", outside.text);
    // A flap beside the seat: the sides no longer agree.
    let inside = refused(1500.0, 1300.0);
    assert!(inside.hint.contains("the point given"), "{}", inside.hint);
}

#[test]
fn a_point_far_beyond_what_is_looked_at_changes_nothing() {
    let before = measure(Vec::new()).unwrap();
    let after = measure(vec![Hint { part: Part::Seat, pixel: PhotoPoint::new(3900.0, 200.0) }]).unwrap();
    for ((name, a), (_, b)) in before.widths.named.iter().zip(&after.widths.named) {
        assert_eq!(a.mm, b.mm, "{name}");
    }
}
