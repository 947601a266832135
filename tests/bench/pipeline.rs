//! The pipeline on the 12-megapixel demo photo, whole and stage by stage, beside decoding the same file to RGB alone.

use std::path::{Path, PathBuf};
use std::sync::{Arc, LazyLock};

use divan::{Bencher, black_box};
use seatspan::camera::fit::fit_camera;
use seatspan::camera::prior::LensPrior;
use seatspan::camera::target::TargetView;
use seatspan::card::find_cards;
use seatspan::explain::Explanation;
use seatspan::numeric::frame::PhotoPoint;
use seatspan::numeric::words::View;
use seatspan::outline::form::FormPictures;
use seatspan::outline::{GIVEN_END_TOLERANCE_MM, Scene, trace_seat};
use seatspan::photo::Photo;
use seatspan::pipeline::{self, Measured, Request};
use seatspan::record::measure;
use seatspan::report::overlay::overlay_png;
use seatspan::report::units::Units;
use seatspan::width::measure_widths;

fn main() {
    divan::main();
}

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/willow.jpg")
}

static PHOTO: LazyLock<Arc<Photo>> = LazyLock::new(|| Photo::open(&demo()).expect("the demo photo").into());
static REQUEST: LazyLock<Request> = LazyLock::new(|| Request {
    name: "willow".into(),
    view: Some(View::Top),
    ends: Some([PhotoPoint::new(1022.7, 1437.4), PhotoPoint::new(2335.6, 2021.9)]),
    seat_lift: Some("0:44,0.25:26,0.5:11,0.75:31,1:68".parse().expect("the demo's lift")),
    ..Request::default()
});
static MEASURED: LazyLock<Measured> = LazyLock::new(|| {
    pipeline::measure(PHOTO.clone(), &REQUEST, Explanation::OFF).expect("the demo is measured")
});

/// The yardstick: the file to RGB by the `image` crate, and nothing else.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn a_decode_to_rgb_alone() -> image::RgbImage {
    image::open(demo()).expect("the demo photo").into_rgb8()
}

/// What `seatspan measure` does, without starting a process and writing files.
#[divan::bench(sample_count = 10, sample_size = 1)]
fn b_whole_pipeline() -> Vec<u8> {
    let photo = Photo::open(&demo()).expect("the demo photo");
    overlay(photo.into())
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn c_photo_open() -> Photo {
    Photo::open(&demo()).expect("the demo photo")
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn d_find_cards(bencher: Bencher) {
    let photo = &*PHOTO;
    bencher.bench_local(|| find_cards(black_box(photo)));
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn e_fit_camera(bencher: Bencher) {
    let found = &MEASURED.traced.located.found;
    let hint = PHOTO.focal_hint().expect("the demo's EXIF");
    let prior = LensPrior::uncalibrated(PHOTO.width_px(), PHOTO.height_px(), hint.focal_px, hint.relative_u);
    let cards: Vec<TargetView> = found.cards.iter().map(TargetView::from).collect();
    bencher.bench_local(|| fit_camera(black_box(&prior), &cards).is_ok());
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn f_trace_seat(bencher: Bencher) {
    let traced = &MEASURED.traced;
    let scene = Scene {
        photo: &PHOTO,
        camera: &traced.located.fit.camera,
        midline: &traced.midline,
        hints: &[],
        explain: Explanation::OFF,
    };
    bencher.bench_local(|| {
        let pictures = FormPictures::of(black_box(&scene), &traced.seat_lift);
        trace_seat(&scene, &pictures, &traced.seat_lift, GIVEN_END_TOLERANCE_MM)
    });
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn g_measure_widths(bencher: Bencher) {
    let subject = MEASURED.traced.subject(&MEASURED.traced.located.fit);
    bencher.bench_local(|| measure_widths(black_box(&subject)));
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn h_overlay_png(bencher: Bencher) {
    let (sheet, geometry) = seatspan::record::record(&REQUEST, &MEASURED);
    bencher.bench_local(|| overlay_png(&PHOTO, black_box(&sheet), &geometry, Units::Millimetres));
}

fn overlay(photo: Arc<Photo>) -> Vec<u8> {
    let (sheet, geometry) = measure(photo.clone(), &REQUEST).expect("the demo is measured");
    overlay_png(&photo, &sheet, &geometry, Units::Millimetres).expect("the overlay")
}
