//! What the fuzz targets do with their bytes; the regression test of kept cases (`tests/library/fuzz_cases.rs`) does the same.

use std::sync::LazyLock;

use lab::synth::tag_patch::{Patch, levels, tag};
use seatspan::card::find_cards;
use seatspan::fit::assess::{AssessmentRequest, assess};
use seatspan::fit::entered::Entered;
use seatspan::fit::result::Assessment;
use seatspan::fit::rider::Rider;
use seatspan::fit::rule::RuleSet;
use seatspan::fit::verdict::CONFIDENCE;
use seatspan::numeric::frame::PhotoPoint;
use seatspan::photo::{Limits, Photo};
use seatspan::report::assessment::{AssessmentOptions, text};
use seatspan::report::judged;
use seatspan::sheet::{self, Sheet};

/// Small enough that a case takes milliseconds; every path of the decoders and of the EXIF reader is the same.
const SMALL: Limits = Limits { max_pixels: 200_000, min_long_side_px: 1 };

/// Any bytes as a photo: read or refused, never a panic; what is read has the pixels that it says.
pub fn photo(bytes: &[u8]) {
    let Ok(photo) = Photo::from_bytes_within("case", bytes.to_vec(), &SMALL) else { return };
    let (w, h) = (photo.width_px(), photo.height_px());
    assert!(w > 0 && h > 0);
    photo.pixel(w - 1, h - 1);
    assert!(photo.focal_hint().is_none_or(|f| f.focal_px.is_finite() && f.focal_px > 0.0));
    assert!(photo.history().iter().all(|n| !n.text().contains('\n')));
}

/// Any bytes as a sheet: refused in one line, or read, and then written and read again to the same.
pub fn sheet(bytes: &[u8]) {
    match sheet::from_json(bytes) {
        Ok(read) => {
            if let Ok(text) = sheet::to_json(&read) {
                let again = sheet::from_json(text.as_bytes()).expect("what was written can be read");
                assert_eq!(sheet::to_json(&again).ok(), Some(text));
            }
        }
        Err(message) => one_line(&message),
    }
}

/// Two neighbouring tags of the sheet with their pixels changed by the bytes: a card or none, never a panic, and what is
/// found is measured in numbers. Gives how many tags were found.
pub fn card(bytes: &[u8]) -> usize {
    let Some((&first, rest)) = bytes.split_first() else { return 0 };
    let (mut rgb, width, height) = two_tags(u32::from(first % 3));
    // Each pair of bytes is a distance to the next level that is changed, and what is added to it.
    let mut at = 0;
    for pair in rest.chunks_exact(2) {
        at += 16 * usize::from(pair[0]);
        if let Some(level) = rgb.get_mut(at) {
            *level = level.wrapping_add(pair[1]);
        }
    }
    let Ok(photo) = Photo::from_bytes_within("case", tiff(&rgb, width, height), &SMALL) else {
        panic!("a whole TIFF is read");
    };
    let Ok(found) = find_cards(&photo) else { return 0 };
    let mut tags_found = 0;
    for tag in found.cards.iter().flat_map(|c| &c.tags) {
        assert!(tag.corners().into_iter().flatten().all(PhotoPoint::is_finite));
        tags_found += 1;
    }
    tags_found
}

/// An invented saddle, from above and from below.
static SADDLE: LazyLock<Vec<Sheet>> = LazyLock::new(|| {
    let top: &[u8] = include_bytes!("../../fixtures/fit/saddles/harebell-top.sheet.json");
    let underside = include_bytes!("../../fixtures/fit/saddles/harebell-underside.sheet.json");
    [top, underside].map(|bytes| sheet::from_json(bytes).expect("a sheet of the project")).into()
});
static BUILT_IN: LazyLock<RuleSet> = LazyLock::new(|| RuleSet::built_in().expect("the project's rules"));
/// A rider of whom nearly all is known.
static ILSE: LazyLock<Entered> = LazyLock::new(|| {
    let read = Rider::from_text("ilse.toml", include_str!("../../fixtures/fit/riders/ilse.toml"));
    Entered::of_rider(read.expect("a rider of the project"))
});

/// Any bytes as a file of rules over the project's own: refused in one line, or a saddle is judged by them in numbers.
pub fn rules(bytes: &[u8]) {
    let Ok(written) = std::str::from_utf8(bytes) else { return };
    let mut set = BUILT_IN.clone();
    let read = set.add("case.toml", written).map_err(|e| e.to_string());
    match read {
        Err(said) => one_line(&said),
        Ok(()) => judge(&set, &ILSE),
    }
}

/// Any bytes as a rider file: refused in one line, or a saddle is judged for that rider in numbers.
pub fn rider(bytes: &[u8]) {
    let Ok(written) = std::str::from_utf8(bytes) else { return };
    let read = Rider::from_text("case.toml", written)
        .and_then(|rider| BUILT_IN.check_complaints(&rider).map(|()| rider));
    match read {
        Err(said) => one_line(&said.to_string()),
        Ok(rider) => judge(&BUILT_IN, &Entered::of_rider(rider)),
    }
}

fn judge(rules: &RuleSet, entered: &Entered) {
    match assess(&AssessmentRequest { sheets: &SADDLE, entered, rules, confidence: CONFIDENCE }) {
        Err(said) => one_line(&said),
        Ok(assessment) => {
            in_numbers(&assessment);
            let said = text(&assessment, AssessmentOptions { sources: true, numbers: true, all: true });
            assert!(said.chars().all(|c| c == '\n' || !c.is_control()), "{said:?}");
            judged::verdicts(&assessment, rules, &SADDLE);
        }
    }
}

fn in_numbers(assessment: &Assessment) {
    let share = |p: Option<f64>| p.is_none_or(|p| (0.0..=1.0).contains(&p));
    for result in &assessment.results {
        assert!(share(result.probability), "{result:?}");
        for part in &result.parts {
            let limits = [&part.lower, &part.upper].into_iter().flatten();
            let figures = [part.value, part.u95].into_iter().flatten();
            let all =
                figures.chain(limits.flat_map(|l| [l.value, l.u95])).chain(part.budget.iter().map(|b| b.u));
            assert!(all.into_iter().all(f64::is_finite), "{part:?}");
            assert!([part.probability, part.below, part.above].into_iter().all(share), "{part:?}");
        }
    }
}

/// What is said to a user stands in one line.
fn one_line(said: &str) {
    assert!(!said.is_empty() && !said.chars().any(char::is_control), "{said:?}");
}

/// Two tags side by side as on the sheet, where 40 mm of side are 96 px and 70 mm from one to the next 168 px.
fn two_tags(first: u32) -> (Vec<u8>, usize, usize) {
    const SIZE: usize = 160;
    const PITCH: usize = 168;
    let patch = Patch { middle: PhotoPoint::new(79.5, 79.5), ..Patch::default() };
    let tags = [first, first + 1].map(|id| levels(&tag(&patch, id, 96.0).expect("a tag of the sheet")));
    let width = PITCH + SIZE;
    let white = tags[0][0];
    let mut rgb = vec![white; 3 * width * SIZE];
    for (i, tag) in tags.iter().enumerate() {
        for y in 0..SIZE {
            let to = 3 * (y * width + i * PITCH);
            rgb[to..to + 3 * SIZE].copy_from_slice(&tag[3 * y * SIZE..3 * (y + 1) * SIZE]);
        }
    }
    (rgb, width, SIZE)
}

/// An uncompressed RGB TIFF (TIFF 6.0, section 6).
fn tiff(rgb: &[u8], width: usize, height: usize) -> Vec<u8> {
    let entries: [(u16, u16, u32, u32); 9] = [
        (256, 3, 1, width as u32),
        (257, 3, 1, height as u32),
        (258, 3, 3, 122),
        (259, 3, 1, 1),
        (262, 3, 1, 2),
        (273, 4, 1, 128),
        (277, 3, 1, 3),
        (278, 3, 1, height as u32),
        (279, 4, 1, rgb.len() as u32),
    ];
    let mut out = b"II\x2a\0\x08\0\0\0".to_vec();
    out.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        out.extend(tag.to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(count.to_le_bytes());
        out.extend(value.to_le_bytes());
    }
    out.extend([0; 4]);
    for _ in 0..3 {
        out.extend(8u16.to_le_bytes());
    }
    out.extend(rgb);
    out
}
