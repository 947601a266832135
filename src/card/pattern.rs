//! Printed patterns of the reference card, from the data file `patterns.json`.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::numeric::frame::CardPoint;

/// Modules on a tag's side: six of data and a one-module black border all round.
pub const MODULES: usize = 8;

/// One tag's place on a pattern.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct TagPlace {
    /// Identity relative to the copy's first.
    pub id: u32,
    /// Left side, from the pattern's left, mm.
    pub x_mm: f64,
    /// Top side, from the pattern's top, mm.
    pub y_mm: f64,
    /// Outer side of the black square, mm.
    pub side_mm: f64,
}

/// A pattern: what is printed on one card.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// Name used in sheets and on the command line.
    pub name: String,
    /// Width of the pattern, mm.
    pub width_mm: f64,
    /// Height of the pattern, mm.
    pub height_mm: f64,
    /// Tag identity of the first tag of copy 0.
    pub first_id: u32,
    /// Identities used by one copy.
    pub ids_per_copy: u32,
    /// Number of copies that can stand in one photo.
    pub copies: u32,
    /// The tags.
    pub tags: Vec<TagPlace>,
    /// Whether the frame for a bank card is printed on it ([`super::bank_card`]).
    pub bank_card_frame: bool,
}

#[derive(Deserialize)]
struct PatternFile {
    patterns: std::collections::BTreeMap<String, PatternRecord>,
}

#[derive(Deserialize)]
struct PatternRecord {
    width_mm: f64,
    height_mm: f64,
    first_id: u32,
    ids_per_copy: u32,
    copies: u32,
    tags: Vec<TagPlace>,
    print_check: PrintCheck,
}

#[derive(Deserialize)]
struct PrintCheck {
    id1_frame_mm: Option<[f64; 2]>,
}

/// Nominal length of the bar by which the scale of a print is checked, on a card that has one, mm.
pub const BAR_MM: f64 = 150.0;

static PATTERNS: LazyLock<Vec<Pattern>> = LazyLock::new(|| {
    let file: PatternFile =
        serde_json::from_str(include_str!("patterns.json")).expect("the pattern file is checked by a test");
    file.patterns
        .into_iter()
        .map(|(name, r)| Pattern {
            name,
            width_mm: r.width_mm,
            height_mm: r.height_mm,
            first_id: r.first_id,
            ids_per_copy: r.ids_per_copy,
            copies: r.copies,
            tags: r.tags,
            bank_card_frame: r.print_check.id1_frame_mm.is_some(),
        })
        .collect()
});

/// Every pattern there is, in order of name.
pub fn patterns() -> &'static [Pattern] {
    &PATTERNS
}

/// Side of the smallest tag on any pattern, mm.
pub fn smallest_tag_mm() -> f64 {
    patterns().iter().flat_map(|p| &p.tags).map(|t| t.side_mm).fold(f64::INFINITY, f64::min)
}

/// Pattern and copy of a tag identity, with its index in the pattern's tags.
pub fn owner_of(tag_id: u32) -> Option<(&'static Pattern, u32, usize)> {
    patterns().iter().find_map(|pattern| {
        let offset = tag_id.checked_sub(pattern.first_id)?;
        let copy = offset / pattern.ids_per_copy;
        let index = pattern.tags.iter().position(|t| t.id == offset % pattern.ids_per_copy)?;
        (copy < pattern.copies).then_some((pattern, copy, index))
    })
}

impl Pattern {
    /// The tag's corners in the card frame (plane z = 0), in the order top-left, top-right, bottom-right,
    /// bottom-left of the upright tag.
    pub fn corners(&self, index: usize) -> [CardPoint; 4] {
        let tag = self.tags[index];
        let (left, top) = (tag.x_mm - self.width_mm / 2.0, self.height_mm / 2.0 - tag.y_mm);
        let (right, bottom) = (left + tag.side_mm, top - tag.side_mm);
        [(left, top), (right, top), (right, bottom), (left, bottom)].map(|(x, y)| CardPoint::new(x, y, 0.0))
    }

    /// The pattern's own corners in the card frame, same order.
    pub fn outline(&self) -> [CardPoint; 4] {
        let (w, h) = (self.width_mm / 2.0, self.height_mm / 2.0);
        [(-w, h), (w, h), (w, -h), (-w, -h)].map(|(x, y)| CardPoint::new(x, y, 0.0))
    }

    /// Identity printed in the given copy's tag.
    pub fn tag_id(&self, copy: u32, index: usize) -> u32 {
        self.first_id + copy * self.ids_per_copy + self.tags[index].id
    }
}

static CODES: LazyLock<Vec<u64>> = LazyLock::new(|| {
    include_str!("tag36h11.txt").lines().filter_map(|line| u64::from_str_radix(line, 16).ok()).collect()
});

/// The tag's modules, row by row from its top-left, true where white; the outer ring is the black border.
/// `None` for an identity that no pattern prints.
pub fn modules(tag_id: u32) -> Option<[[bool; MODULES]; MODULES]> {
    let code = *CODES.get(tag_id as usize)?;
    let mut out = [[false; MODULES]; MODULES];
    for row in 0..6 {
        for column in 0..6 {
            out[row + 1][column + 1] = (code >> (35 - (row * 6 + column))) & 1 == 1;
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_copy_of_every_pattern_has_its_own_tags_with_a_code() {
        let mut seen = std::collections::BTreeSet::new();
        for pattern in patterns() {
            for copy in 0..pattern.copies {
                for index in 0..pattern.tags.len() {
                    let id = pattern.tag_id(copy, index);
                    assert!(seen.insert(id), "tag {id} stands twice");
                    assert!(modules(id).is_some(), "tag {id} has no code");
                    let (owner, c, i) = owner_of(id).expect("an owner");
                    assert_eq!((owner.name.as_str(), c, i), (pattern.name.as_str(), copy, index));
                }
            }
        }
        assert_eq!(seen.len(), 200);
    }

    #[test]
    fn a_bar_is_as_long_as_the_pattern_file_says() {
        let file: serde_json::Value = serde_json::from_str(include_str!("patterns.json")).unwrap();
        let bars = file["patterns"]
            .as_object()
            .unwrap()
            .values()
            .filter_map(|p| p["print_check"]["bar_mm"].as_f64());
        assert_eq!(bars.collect::<Vec<_>>(), [BAR_MM]);
    }

    #[test]
    fn codes_keep_the_family_s_distance_of_eleven_under_rotation() {
        // tag36h11: the "h11" is the least Hamming distance of any two codes in any rotation.
        let turn = |m: [[bool; MODULES]; MODULES]| {
            let mut out = m;
            for (r, row) in m.iter().enumerate() {
                for (c, &v) in row.iter().enumerate() {
                    out[c][MODULES - 1 - r] = v;
                }
            }
            out
        };
        let bits: Vec<_> = (0..200).map(|id| modules(id).unwrap()).collect();
        let differ = |a: &[[bool; MODULES]; MODULES], b: &[[bool; MODULES]; MODULES]| {
            a.iter().flatten().zip(b.iter().flatten()).filter(|(x, y)| x != y).count()
        };
        for (i, a) in bits.iter().enumerate() {
            let mut turned = *a;
            for rotation in 0..4 {
                for (j, b) in bits.iter().enumerate() {
                    if i != j || rotation > 0 {
                        assert!(differ(&turned, b) >= 11, "tags {i} and {j}");
                    }
                }
                turned = turn(turned);
            }
        }
    }

    #[test]
    fn the_sheet_s_first_tag_stands_at_its_top_left() {
        let sheet = patterns().iter().find(|p| p.name == "sheet").unwrap();
        let corners = sheet.corners(0);
        assert_eq!((corners[0].x_mm, corners[0].y_mm), (-125.0, 90.0));
        assert_eq!((corners[2].x_mm, corners[2].y_mm), (-85.0, 50.0));
    }
}
