//! Tags on real photos: which are found, that none is false, where their corners lie. The photos are not part of the
//! project: where the folder of shared data is absent, each test prints a line and passes.

use std::collections::BTreeSet;
use std::path::Path;

use crate::shared::shared_folder as shared;
use nalgebra::Vector2;
use seatspan::card::find::{FoundTag, accepted_tags};
use seatspan::card::find_cards;
use seatspan::card::side::{SidePixels, measure_side};
use seatspan::numeric::frame::PhotoPoint;
use seatspan::photo::{Limits, Photo};

const ANY_SIZE: Limits = Limits { max_pixels: 100_000_000, min_long_side_px: 1 };

fn open(path: &Path) -> Photo {
    Photo::from_bytes_within(path, std::fs::read(path).unwrap(), &ANY_SIZE).unwrap()
}

/// A grey picture in the plain format PGM, given to the photo module as a PNG.
fn open_pgm(path: &Path) -> Photo {
    let bytes = std::fs::read(path).unwrap();
    let mut at = 0;
    let mut word = || {
        while bytes[at].is_ascii_whitespace() || bytes[at] == b'#' {
            at += if bytes[at] == b'#' { bytes[at..].iter().position(|&b| b == b'\n').unwrap() } else { 1 };
        }
        let end = at + bytes[at..].iter().position(u8::is_ascii_whitespace).unwrap();
        let word = String::from_utf8(bytes[at..end].to_vec()).unwrap();
        at = end;
        word
    };
    assert_eq!(word(), "P5");
    let [width, height, top] = [word(), word(), word()].map(|w| w.parse::<u32>().unwrap());
    assert_eq!(top, 255);
    let grey = image::GrayImage::from_raw(width, height, bytes[at + 1..].to_vec()).unwrap();
    let mut png = std::io::Cursor::new(Vec::new());
    image::DynamicImage::from(grey).to_rgb8().write_to(&mut png, image::ImageFormat::Png).unwrap();
    Photo::from_bytes_within("grey.png", png.into_inner(), &ANY_SIZE).unwrap()
}

#[test]
fn the_tags_on_the_walls_are_found_and_none_is_false() {
    let Some(shared) = shared() else { return };
    let folder = shared.join("real/tags-iphone4s/mapping");
    let list = std::fs::read_to_string(folder.join("groundtruth.txt")).unwrap();
    let (mut listed, mut right, mut false_ones) = (0, 0, Vec::new());
    for line in list.lines() {
        let mut words = line.split_whitespace();
        let Some(name) = words.next() else { continue };
        let truth: BTreeSet<u32> = words.map(|w| w.parse().unwrap()).collect();
        let found: BTreeSet<u32> = accepted_tags(&open(&folder.join(name))).iter().map(|t| t.id).collect();
        listed += truth.len();
        right += truth.intersection(&found).count();
        false_ones.extend(found.difference(&truth).map(|id| format!("{name}: {id}")));
        if !truth.is_subset(&found) {
            println!("{name}: missed {:?}", truth.difference(&found).collect::<Vec<_>>());
        }
    }
    println!("{right} of {listed} tags found, false: {false_ones:?}");
    // The count that the collection's own notes give for a good detector.
    assert_eq!(listed, 236);
    assert!(right >= 221, "{right} of {listed}");
    assert!(false_ones.is_empty(), "{false_ones:?}");
}

/// Corners of the reference by tag, x then y, with the origin at the centre of the first pixel. The file lists row, then
/// column, from the first pixel's corner: taken as they are, all twelve tags lie off by the same (0.52, 0.49) px,
/// which is that half pixel and nothing of the corners' own.
fn reference_corners(path: &Path) -> Vec<(u32, Vec<Vector2<f64>>)> {
    let mut tags: Vec<(u32, Vec<Vector2<f64>>)> = Vec::new();
    for line in std::fs::read_to_string(path).unwrap().lines().filter(|l| !l.trim().is_empty()) {
        if let Some(id) = line.strip_prefix("36h11_id:_") {
            tags.push((id.trim().parse().unwrap(), Vec::new()));
        } else {
            let numbers: Vec<f64> = line.split_whitespace().map(|w| w.parse().unwrap()).collect();
            tags.last_mut().unwrap().1.push(Vector2::new(numbers[1] - 0.5, numbers[0] - 0.5));
        }
    }
    tags
}

/// Where the measured sides meet, in the order of the tag's corners.
fn measured_corners(photo: &Photo, tag: &FoundTag) -> Option<[Vector2<f64>; 4]> {
    let c = tag.corners;
    let sides = [0, 1, 2, 3].map(|i| measure_side(photo, c[i], c[(i + 1) % 4], SidePixels::All));
    let mut corners = [Vector2::zeros(); 4];
    for i in 0..4 {
        corners[i] = sides[(i + 3) % 4]?.meet(&sides[i]?)?.vector();
    }
    Some(corners)
}

/// Each seen corner less the nearest reference corner of the same tag.
fn differences(seen: &[Vector2<f64>], reference: &[Vector2<f64>]) -> Vec<Vector2<f64>> {
    seen.iter()
        .map(|p| {
            let near = reference.iter().min_by(|a, b| (*a - p).norm().total_cmp(&(*b - p).norm()));
            p - near.unwrap()
        })
        .collect()
}

fn rms(list: &[Vector2<f64>]) -> f64 {
    (list.iter().map(|d| d.norm_squared()).sum::<f64>() / list.len() as f64).sqrt()
}

#[test]
fn the_tags_on_the_paper_sheet_have_their_corners_in_place() {
    let Some(shared) = shared() else { return };
    let folder = shared.join("real/tags-paper-sheet");
    let photo = open_pgm(&folder.join("AprilTag.pgm"));
    let found = accepted_tags(&photo);
    let reference = reference_corners(&folder.join("ground_truth_detection.txt"));
    assert_eq!(reference.len(), 12);
    let mut all = Vec::new();
    let mut inward = Vec::new();
    for (id, corners) in &reference {
        let tag = found.iter().find(|t| t.id == *id).unwrap_or_else(|| panic!("tag {id} not found"));
        let seen = measured_corners(&photo, tag).unwrap_or_else(|| panic!("tag {id} not measured"));
        let middle = seen.iter().sum::<Vector2<f64>>() / 4.0;
        let d = differences(&seen, corners);
        inward.extend(d.iter().zip(&seen).map(|(d, p)| d.dot(&(middle - p).normalize())));
        println!("tag {id}: {:.3} px RMS", rms(&d));
        all.extend(d);
    }
    assert_eq!(found.len(), 12, "{found:?}");
    let mean = all.iter().sum::<Vector2<f64>>() / all.len() as f64;
    let inward = inward.iter().sum::<f64>() / inward.len() as f64;
    println!("RMS {:.3} px, mean ({:.3}, {:.3}), inward {inward:.3}", rms(&all), mean.x, mean.y);
    let centred: Vec<_> = all.iter().map(|d| d - mean).collect();
    println!("RMS about the mean {:.3} px", rms(&centred));
    // Two other detectors lie 0.10 and 0.23 px from the reference.
    assert!(rms(&all) < 0.25, "{:.3} px", rms(&all));
}

#[test]
fn grids_with_a_border_of_two_modules_hold_no_tag() {
    let Some(shared) = shared() else { return };
    let mut count = 0;
    for entry in std::fs::read_dir(shared.join("real/grids-two-bit-border")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "png") {
            continue;
        }
        let photo = open(&path);
        let name = path.file_name().unwrap().to_string_lossy();
        let accepted = accepted_tags(&photo);
        assert!(accepted.is_empty(), "{name}: {accepted:?}");
        match find_cards(&photo) {
            Ok(found) => panic!("{name}: {} cards", found.cards.len()),
            Err(refusal) => println!("{name}: {}", refusal.text),
        }
        count += 1;
    }
    assert!(count >= 8, "{count} photos");
}

#[test]
fn a_tag_that_was_moved_is_not_accepted() {
    // Guards the tests above: the check must fail on what is not there.
    let Some(shared) = shared() else { return };
    let photo = open_pgm(&shared.join("real/tags-paper-sheet/AprilTag.pgm"));
    for tag in accepted_tags(&photo) {
        let moved = FoundTag { corners: tag.corners.map(|c| PhotoPoint::new(c.x_px + 9.0, c.y_px)), ..tag };
        assert!(moved.shown_in(&photo).is_none_or(|check| !check.passes()), "tag {}", tag.id);
        let other = FoundTag { id: tag.id + 1, ..tag };
        assert!(other.shown_in(&photo).is_none_or(|check| !check.passes()), "tag {}", tag.id);
    }
}
