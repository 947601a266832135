//! Assembly of cards from proposals that are off, and tags with a wrong border.

use image::{GrayImage, Luma};

use super::assemble::{MeasuredTag, assemble};
use super::find::{FoundTag, accepted_tags};
use super::pattern::{MODULES, modules};
use super::side::{SidePixels, measure_side};
use crate::numeric::frame::PhotoPoint;
use crate::photo::Photo;
use crate::warning::WarningCode;

/// The demo photo with the tags proposed in it, the first of them moved by a part of its side.
fn demo_with_one_moved(part: f64) -> (Photo, Vec<FoundTag>) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let photo = Photo::open(&folder.join("willow.jpg")).unwrap();
    let mut proposed = accepted_tags(&photo);
    let by_px = part * proposed[0].corners[0].distance_px(proposed[0].corners[1]);
    proposed[0].corners = proposed[0].corners.map(|c| PhotoPoint::new(c.x_px + by_px, c.y_px));
    (photo, proposed)
}

#[test]
fn a_tag_proposed_beside_its_place_is_measured_and_not_warned_of() {
    // The layout allows a proposal 0.06 of its side.
    let (photo, proposed) = demo_with_one_moved(0.08);
    let mut warnings = Vec::new();
    let cards = assemble(&photo, &proposed, &mut warnings);
    assert_eq!((cards.len(), cards[0].tags.len()), (1, cards[0].pattern.tags.len()));
    assert!(warnings.is_empty(), "{warnings:?}");
}

#[test]
fn a_tag_at_another_place_is_warned_of() {
    let (photo, proposed) = demo_with_one_moved(2.0);
    let mut warnings = Vec::new();
    assert_eq!(assemble(&photo, &proposed, &mut warnings).len(), 1);
    assert!(matches!(&warnings[..], [w] if w.code == WarningCode::TagDropped), "{warnings:?}");
}

const MODULE_PX: usize = 24;
const TAG_ID: u32 = 7;

/// A tag whose border is so many modules wide, with its outer corners.
fn drawn(border: usize) -> (Photo, [PhotoPoint; 4]) {
    let code = modules(TAG_ID).unwrap();
    let (margin, side) = (3 * MODULE_PX, (MODULES - 2 + 2 * border) * MODULE_PX);
    let size = (side + 2 * margin) as u32;
    let picture = GrayImage::from_fn(size, size, |x, y| {
        let [column, row] = [x, y].map(|at| (at as usize).checked_sub(margin).map(|at| at / MODULE_PX));
        let inside = |at: usize| at < MODULES - 2 + 2 * border;
        let Some((row, column)) = row.zip(column).filter(|(r, c)| inside(*r) && inside(*c)) else {
            return Luma([230]);
        };
        let data = |at: usize| at.checked_sub(border).filter(|at| *at < MODULES - 2).map(|at| at + 1);
        let white = data(row).zip(data(column)).is_some_and(|(row, column)| code[row][column]);
        Luma([if white { 230 } else { 25 }])
    });
    let blurred = image::DynamicImage::from(picture).fast_blur(1.0).to_rgb8();
    let mut png = std::io::Cursor::new(Vec::new());
    blurred.write_to(&mut png, image::ImageFormat::Png).unwrap();
    let photo = Photo::from_bytes_within("tag.png", png.into_inner(), &SMALL).unwrap();
    let [near, far] = [margin, margin + side].map(|px| px as f64 - 0.5);
    let corners = [(near, near), (far, near), (far, far), (near, far)];
    (photo, corners.map(|(x, y)| PhotoPoint::new(x, y)))
}

const SMALL: crate::photo::Limits = crate::photo::Limits { max_pixels: 1_000_000, min_long_side_px: 1 };

#[test]
fn a_border_of_two_modules_is_seen_at_the_measured_corners() {
    for (border, is_tag) in [(1, true), (2, false)] {
        let (photo, corners) = drawn(border);
        let sides = std::array::from_fn(|i| {
            Some(measure_side(&photo, corners[i], corners[(i + 1) % 4], SidePixels::All).unwrap())
        });
        let tag = MeasuredTag { index: 0, sides };
        assert_eq!(tag.is_shown_in(&photo, TAG_ID), is_tag, "border of {border} modules");
    }
}
