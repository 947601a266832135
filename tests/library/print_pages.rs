//! The pages to print, read back by others: the PDF's boxes and drawn lengths by a PDF reader, the page as a picture by
//! the program's own detector. The truth is the pattern file and the papers' standards.

use std::path::Path;
use std::process::Command;

use hayro_syntax::Pdf;
use hayro_syntax::content::ops::TypedInstruction as Op;
use hayro_syntax::object::Number;
use lab::synth::tag_patch;
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;
use resvg::{tiny_skia, usvg};
use seatspan::canvas::{Canvas, Letters, Paper, pdf};
use seatspan::card::bank_card::ID1_MM;
use seatspan::card::find_cards;
use seatspan::card::pattern::BAR_MM;
use seatspan::card::pattern::{Pattern, patterns};
use seatspan::photo::Photo;
use seatspan::print::card::card_page;
use seatspan::print::guide::guide_page;

const DPI: f64 = 300.0;
const MM_PER_INCH: f64 = 25.4;
/// What the card promises: exact to 0.01 mm at 100 %. Numbers in the file carry five digits and more.
const DRAWN_MM: f64 = 0.01;
/// A printed side read back from a picture of 300 dpi, mm: six tenths of a pixel.
const READ_BACK_MM: f64 = 0.05;

fn pattern(name: &str) -> &'static Pattern {
    patterns().iter().find(|p| p.name == name).unwrap()
}

/// Every pattern on every paper, first and last copy.
fn cases() -> Vec<(&'static Pattern, u32, Paper)> {
    let copies = patterns().iter().flat_map(|p| [(p, 0), (p, p.copies - 1)]);
    copies.flat_map(|(p, copy)| Paper::ALL.map(|paper| (p, copy, paper))).collect()
}

/// A rectangle on the page: left, top, width, height, mm.
type Bounds = [f64; 4];

/// The bounds of everything that a PDF's page draws as a path, mm from its top-left corner, with the widths of lines
/// left out; and the page's own size. Panics on anything that is not black or grey.
fn drawn_in_pdf(bytes: Vec<u8>) -> (Vec<Bounds>, [f64; 2]) {
    let pdf = Pdf::new(bytes).expect("a PDF");
    let pages = pdf.pages();
    assert_eq!(pages.len(), 1);
    let page = &pages[0];
    let (media, crop) = (page.media_box(), page.crop_box());
    assert_eq!([media.x0, media.y0], [0.0, 0.0]);
    assert_eq!([media.x1, media.y1], [crop.x1, crop.y1]);
    let height_pt = media.y1;
    let mm = |pt: f64| pt * MM_PER_INCH / 72.0;
    let mut stack: Vec<Matrix3<f64>> = vec![Matrix3::identity()];
    let (mut path, mut all): (Vec<[f64; 2]>, _) = (Vec::new(), Vec::new());
    let mut ops = page.typed_operations();
    while let Some(op) = ops.next() {
        let at = |x: &Number, y: &Number| {
            let p = stack.last().unwrap() * Vector3::new(x.as_f64(), y.as_f64(), 1.0);
            [mm(p.x), mm(height_pt - p.y)]
        };
        match op {
            Op::SaveState(_) => stack.push(*stack.last().unwrap()),
            Op::RestoreState(_) => drop(stack.pop()),
            Op::Transform(t) => {
                let [a, b, c, d, e, f] = [&t.0, &t.1, &t.2, &t.3, &t.4, &t.5].map(Number::as_f64);
                let last = stack.last_mut().unwrap();
                *last *= Matrix3::new(a, c, e, b, d, f, 0.0, 0.0, 1.0);
            }
            Op::MoveTo(p) => path.push(at(&p.0, &p.1)),
            Op::LineTo(p) => path.push(at(&p.0, &p.1)),
            Op::CubicTo(p) => path.extend([at(&p.0, &p.1), at(&p.2, &p.3), at(&p.4, &p.5)]),
            Op::RectPath(r) => {
                let corner = |dx: f64, dy: f64| {
                    let p = stack.last().unwrap() * Vector3::new(r.0.as_f64() + dx, r.1.as_f64() + dy, 1.0);
                    [mm(p.x), mm(height_pt - p.y)]
                };
                path.extend([corner(0.0, 0.0), corner(r.2.as_f64(), r.3.as_f64())]);
            }
            Op::FillPathEvenOdd(_) | Op::FillPathNonZero(_) | Op::StrokePath(_) | Op::EndPath(_) => {
                all.extend(bounds(&std::mem::take(&mut path)));
            }
            Op::StrokeColorDeviceRgb(_)
            | Op::NonStrokeColorDeviceRgb(_)
            | Op::StrokeColorCmyk(_)
            | Op::NonStrokeColorCmyk(_)
            | Op::XObject(_)
            | Op::Shading(_)
            | Op::InlineImage(_) => {
                panic!("not black or grey vectors")
            }
            _ => {}
        }
    }
    (all, [mm(media.x1), mm(media.y1)])
}

fn bounds(path: &[[f64; 2]]) -> Option<Bounds> {
    let first = *path.first()?;
    let (low, high) = path.iter().fold((first, first), |(low, high), p| {
        ([low[0].min(p[0]), low[1].min(p[1])], [high[0].max(p[0]), high[1].max(p[1])])
    });
    Some([low[0], low[1], high[0] - low[0], high[1] - low[1]])
}

fn has(all: &[Bounds], wanted: Bounds) -> bool {
    all.iter().any(|b| b.iter().zip(wanted).all(|(a, w)| (a - w).abs() < DRAWN_MM))
}

fn has_size(all: &[Bounds], width_mm: f64, height_mm: f64) -> bool {
    all.iter().any(|b| (b[2] - width_mm).abs() < DRAWN_MM && (b[3] - height_mm).abs() < DRAWN_MM)
}

#[test]
fn a_pdf_draws_every_length_true() {
    // Papers: ISO 216:2007 (A4, 210 x 297 mm); US Letter, 8.5 x 11 in.
    let papers = [(Paper::A4, [297.0, 210.0]), (Paper::Letter, [279.4, 215.9])];
    for (paper, size) in papers {
        let sheet = pattern("sheet");
        let page = card_page(sheet, 3, paper).unwrap();
        let (all, is) = drawn_in_pdf(pdf(std::slice::from_ref(&page), "t").unwrap());
        assert!((0..2).all(|i| (is[i] - size[i]).abs() < DRAWN_MM), "{is:?}");
        let corner = [(size[0] - 250.0) / 2.0, (size[1] - 180.0) / 2.0];
        for tag in &sheet.tags {
            let wanted = [corner[0] + tag.x_mm, corner[1] + tag.y_mm, tag.side_mm, tag.side_mm];
            assert!(has(&all, wanted), "tag {} of {paper:?}", tag.id);
        }
        assert!(has_size(&all, BAR_MM, 1.2), "the bar");
        // The frame's line of 0.25 mm is outside the bank card, so its middle is that much larger.
        assert!(has_size(&all, ID1_MM[0] + 0.25, ID1_MM[1] + 0.25), "the bank card's frame");
        let strips = card_page(pattern("strip"), 0, paper).unwrap();
        let (all, _) = drawn_in_pdf(pdf(&[strips], "t").unwrap());
        let tags = all.iter().filter(|b| (b[2] - 30.0).abs() < DRAWN_MM && (b[3] - 30.0).abs() < DRAWN_MM);
        assert_eq!(tags.count(), 20, "four strips of five tags");
        assert!(has_size(&all, BAR_MM, 1.2));
    }
}

#[test]
fn a_pdf_asks_not_to_be_scaled_and_brings_its_letters() {
    for page in [card_page(pattern("sheet"), 0, Paper::A4).unwrap(), guide_page(Paper::Letter)] {
        let bytes = pdf(std::slice::from_ref(&page), &page.label).unwrap();
        let text = String::from_utf8_lossy(&bytes);
        assert_eq!(text.matches("/PrintScaling /None").count(), 1);
        assert!(text.contains("/FontFile2"), "an embedded typeface");
        assert!(bytes.len() < 100_000, "{} bytes: a subset of it", bytes.len());
        let again = pdf(std::slice::from_ref(&page), &page.label).unwrap();
        assert_eq!(bytes, again, "the same page gives the same bytes");
    }
}

/// Coverage by ink, as a renderer gives it, is light; a photo's levels are that light by the curve of sRGB.
fn photo_of(coverage: &[u8], width: u32, height: u32) -> Photo {
    let light = coverage.iter().map(|v| [f32::from(*v) / 255.0; 3]).collect();
    let picture = lab::synth::LinearPicture { width: width as usize, height: height as usize, light };
    let levels = tag_patch::levels(&picture);
    let mut png = std::io::Cursor::new(Vec::new());
    image::RgbImage::from_raw(width, height, levels)
        .unwrap()
        .write_to(&mut png, image::ImageFormat::Png)
        .unwrap();
    Photo::from_bytes("page.png", png.into_inner()).unwrap()
}

/// Finds what was printed and compares the tags' sides; gives the worst difference, mm.
fn read_back(photo: &Photo, pattern: &Pattern, first: u32, cards: usize) -> f64 {
    let found = find_cards(photo).unwrap();
    assert_eq!(found.cards.len(), cards);
    let mut worst = 0.0_f64;
    for (i, card) in found.cards.iter().enumerate() {
        assert_eq!((card.pattern.name.as_str(), card.copy), (pattern.name.as_str(), first + i as u32));
        assert_eq!(card.tags.len(), pattern.tags.len(), "all tags");
        for tag in &card.tags {
            let corners = tag.corners().map(|c| c.expect("four measured sides"));
            for k in 0..4 {
                let side_mm = corners[k].distance_px(corners[(k + 1) % 4]) * MM_PER_INCH / DPI;
                worst = worst.max((side_mm - pattern.tags[tag.index].side_mm).abs());
            }
        }
    }
    assert!(worst < READ_BACK_MM, "{} copy {first}: {worst:.3} mm", pattern.name);
    worst
}

fn cards_on(pattern: &Pattern, copy: u32) -> usize {
    if pattern.name == "strip" { (pattern.copies - copy).min(4) as usize } else { 1 }
}

fn svg_as_photo(page: &Canvas) -> Photo {
    let tree =
        usvg::Tree::from_str(&page.to_svg(Letters::Drawn).unwrap(), &usvg::Options::default()).unwrap();
    let k = DPI / MM_PER_INCH;
    let (width, height) = ((page.width_mm * k).round() as u32, (page.height_mm * k).round() as u32);
    let mut pixmap = tiny_skia::Pixmap::new(width, height).unwrap();
    // The tree's size is in CSS pixels of 1/96 in.
    assert!((f64::from(tree.size().width()) - page.width_mm * 96.0 / MM_PER_INCH).abs() < 0.01);
    let scale = (DPI / 96.0) as f32;
    resvg::render(&tree, tiny_skia::Transform::from_scale(scale, scale), &mut pixmap.as_mut());
    let grey: Vec<u8> = pixmap.pixels().iter().map(|p| p.green()).collect();
    photo_of(&grey, width, height)
}

#[test]
fn an_svg_rendered_at_300_dpi_reads_back_true() {
    cases().into_par_iter().for_each(|(pattern, copy, paper)| {
        let page = card_page(pattern, copy, paper).unwrap();
        let worst = read_back(&svg_as_photo(&page), pattern, copy, cards_on(pattern, copy));
        println!("svg {:5} {copy:2} {:6}: worst side off by {worst:.4} mm", pattern.name, paper.as_str());
    });
}

/// Is there such a program? Where not, a line says that the test was skipped.
fn program(name: &str) -> bool {
    let there = Command::new(name).arg("-v").output().is_ok();
    if !there {
        println!("skipped: no {name} on this machine");
    }
    there
}

fn pdf_as_photo(folder: &Path, page: &Canvas) -> Photo {
    let file = folder.join("page.pdf");
    std::fs::write(&file, pdf(std::slice::from_ref(page), &page.label).unwrap()).unwrap();
    let status = Command::new("pdftoppm")
        .args(["-r", "300", "-gray", "-singlefile"])
        .arg(&file)
        .arg(folder.join("page"))
        .status()
        .unwrap();
    assert!(status.success());
    // A PGM: "P5 width height 255" and the pixels.
    let bytes = std::fs::read(folder.join("page.pgm")).unwrap();
    let mut head = bytes.splitn(4, |b| b.is_ascii_whitespace());
    let mut word = || std::str::from_utf8(head.next().unwrap()).unwrap().to_owned();
    assert_eq!(word(), "P5");
    let (width, height): (u32, u32) = (word().parse().unwrap(), word().parse().unwrap());
    photo_of(&bytes[bytes.len() - (width * height) as usize..], width, height)
}

#[test]
fn a_pdf_rendered_at_300_dpi_reads_back_true() {
    if !program("pdftoppm") {
        return;
    }
    for (pattern, copy, paper) in cases() {
        let folder = tempfile::tempdir().unwrap();
        let page = card_page(pattern, copy, paper).unwrap();
        let photo = pdf_as_photo(folder.path(), &page);
        let worst = read_back(&photo, pattern, copy, cards_on(pattern, copy));
        println!("pdf {:5} {copy:2} {:6}: worst side off by {worst:.4} mm", pattern.name, paper.as_str());
    }
}

#[test]
fn another_reader_finds_the_page_size_and_the_typeface() {
    if !(program("pdfinfo") && program("pdffonts")) {
        return;
    }
    let card = |paper| card_page(pattern("sheet"), 0, paper).unwrap();
    for (page, size) in [
        (card(Paper::A4), "841.89 x 595.276 pts (A4)"),
        (card(Paper::Letter), "792 x 612 pts (letter)"),
        (guide_page(Paper::A4), "595.276 x 841.89 pts (A4)"),
        (guide_page(Paper::Letter), "612 x 792 pts (letter)"),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("page.pdf");
        std::fs::write(&file, pdf(std::slice::from_ref(&page), &page.label).unwrap()).unwrap();
        let said = |program: &str| {
            let output = Command::new(program).arg(&file).output().unwrap();
            assert!(output.status.success() && output.stderr.is_empty(), "{output:?}");
            String::from_utf8(output.stdout).unwrap()
        };
        let info = said("pdfinfo");
        assert!(info.contains(size), "{info}");
        assert!(info.lines().any(|l| l.starts_with("Pages:") && l.ends_with(" 1")), "{info}");
        let fonts = said("pdffonts");
        assert!(fonts.contains("OpenSans-Semibold") && fonts.contains("yes yes"), "{fonts}");
        assert_eq!(fonts.lines().count(), 3, "one typeface");
    }
}
