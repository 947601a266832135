//! `--explain DIR`: one picture a stage, for seeing what each room decided.

use std::path::Path;

use image::{GrayImage, Luma, Rgb, RgbImage};

use crate::card::find::looks;
use crate::measure::Walk;
use crate::numeric::frame::PhotoPoint;
use crate::numeric::words::{SIDES, Side};
use crate::outline::Scene;
use crate::outline::chart::Chart;
use crate::outline::form::FormPictures;
use crate::outline::learnt::net::Telling;
use crate::photo::Photo;
use crate::photo::srgb::linear_to_srgb;
use crate::sheet::{OutputError, safe_write};

/// Millimetres a pixel of the plan.
const PLAN_MM_PER_PX: f64 = 0.5;
/// What is shown around the midline, mm.
const PLAN_MARGIN_MM: f64 = 200.0;
/// Reach of the strips shown, and what a pixel of them covers outwards, mm.
const STRIP_REACH_MM: f64 = 150.0;
const STRIP_STEP_MM: f64 = 0.25;

/// Writes the pictures: the finder's first look, the plan in the card's plane, each side's strip, and where the edge
/// may lie in it.
///
/// # Errors
/// When a picture cannot be written, or stands there already and `overwrite` is false.
pub fn explain(photo: &Photo, walk: &Walk, folder: &Path, overwrite: bool) -> Result<(), OutputError> {
    let save = |name: &str, picture: Vec<u8>| safe_write(&folder.join(name), &picture, overwrite);
    save("1-finder.png", png_gray(finder_view(photo)))?;
    save("2-plan.png", png(plan(photo, walk)))?;
    for side in SIDES {
        save(&format!("3-strip-{}.png", side.as_str()), png(strip(photo, walk, side)))?;
    }
    let (camera, midline, view) = (&walk.fit.camera, &walk.midline, walk.view);
    let scene = Scene { photo, camera, midline, view, hints: &walk.hints };
    let form = FormPictures::of(&scene, &walk.seat_lift);
    for (side, told) in SIDES.iter().zip(form.edges().iter().flat_map(|seen| &seen.told)) {
        save(&format!("4-told-{}.png", side.as_str()), png_gray(told_picture(told)))?;
    }
    Ok(())
}

fn png(picture: RgbImage) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).expect("writing to memory does not fail");
    bytes.into_inner()
}

fn png_gray(picture: GrayImage) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).expect("writing to memory does not fail");
    bytes.into_inner()
}

fn finder_view(photo: &Photo) -> GrayImage {
    let view = photo.luma_upright(looks(photo)[0].factor);
    GrayImage::from_raw(view.width as u32, view.height as u32, view.data).unwrap_or_default()
}

/// The photo seen square from above, in the card's plane, the midline from top to bottom.
fn plan(photo: &Photo, walk: &Walk) -> RgbImage {
    let length = walk.midline.length_mm();
    let width = (2.0 * PLAN_MARGIN_MM / PLAN_MM_PER_PX) as u32;
    let height = ((length + PLAN_MARGIN_MM) / PLAN_MM_PER_PX) as u32;
    RgbImage::from_fn(width, height, |x, y| {
        let along = f64::from(y) * PLAN_MM_PER_PX - PLAN_MARGIN_MM / 2.0;
        let right = f64::from(x) * PLAN_MM_PER_PX - PLAN_MARGIN_MM;
        let at = walk.midline.point(along / length, right, Side::Right, 0.0);
        colour(photo, walk.fit.camera.photo_from_card(at))
    })
}

fn colour(photo: &Photo, at: Option<PhotoPoint>) -> Rgb<u8> {
    let light = at.and_then(|p| photo.linear_at(p)).unwrap_or([0.0; 3]);
    Rgb(light.map(|v| (255.0 * linear_to_srgb(f64::from(v))).round() as u8))
}

/// A side's strip with its traced edge.
fn strip(photo: &Photo, walk: &Walk, side: Side) -> RgbImage {
    let chart = Chart::closed(&walk.midline, side);
    let (camera, lift) = (&walk.fit.camera, &walk.seat_lift);
    let size = ((STRIP_REACH_MM / STRIP_STEP_MM) as u32, chart.rays.len() as u32);
    let mut picture = RgbImage::from_fn(size.0, size.1, |x, y| {
        let at = chart.point_between(f64::from(y), f64::from(x) * STRIP_STEP_MM, &walk.midline, lift);
        colour(photo, camera.photo_from_card(at))
    });
    let located = &walk.widths.seat[if side == Side::Left { 0 } else { 1 }];
    for p in located.iter().flatten() {
        let at = walk.midline.point(p.station, p.offset_mm, side, 0.0).horizontal();
        let nearest = chart.rays.iter().enumerate().min_by(|a, b| {
            let off = |ray: &crate::outline::chart::Ray| {
                let v = at - ray.start_mm;
                v.perp(&ray.direction).abs() + if v.dot(&ray.direction) < 0.0 { 1e9 } else { 0.0 }
            };
            off(a.1).total_cmp(&off(b.1))
        });
        if let Some((row, ray)) = nearest {
            let column = ((at - ray.start_mm).norm() / STRIP_STEP_MM) as u32;
            if column < size.0 {
                picture.put_pixel(column, row as u32, Rgb([0, 200, 255]));
            }
        }
    }
    picture
}

/// Pixels of a picture for each row and column of what is told.
const TOLD_SCALE: u32 = 4;

/// The probability of the edge at each place of the form's chart, its square root as a shade of grey.
fn told_picture(told: &Telling) -> GrayImage {
    GrayImage::from_fn(told.columns as u32 * TOLD_SCALE, told.rows as u32 * TOLD_SCALE, |x, y| {
        let probability = told.row((y / TOLD_SCALE) as usize)[(x / TOLD_SCALE) as usize].exp();
        Luma([(255.0 * probability.sqrt()) as u8])
    })
}
