//! Reports of the demo photos, measured here: the structure of the page, and true lengths in the PDF as read by
//! another library. Golden values are of structure, not of pixels.

use std::path::{Path, PathBuf};
use std::process::Output;
use std::sync::LazyLock;

use crate::run::seatspan;
use crate::willow::WILLOW;
use hayro_syntax::Pdf;
use hayro_syntax::content::ops::TypedInstruction as Op;
use hayro_syntax::object::{Dict, Name, Number};
use hayro_syntax::page::Page;
use seatspan::numeric::words::{NamedWidth, Part};
use seatspan::sheet;
use seatspan::sheet::geometry::edge_lines;
use tempfile::TempDir;

const FERN: [&str; 11] = [
    "fixtures/demo/fern.jpg",
    "--view",
    "underside",
    "--front",
    "1173.8,2199.1",
    "--rear",
    "2194.1,1390.5",
    "--lift",
    "seat=0:-3,0.25:14,0.5:22,0.75:14,1:-6",
    "--lift",
    "channel=0.1:5,0.35:23,0.6:25,0.9:6",
];

/// Both demo photos' sheets, measured once.
static SHEETS: LazyLock<TempDir> = LazyLock::new(|| {
    let folder = tempfile::tempdir().unwrap();
    for photo in [&WILLOW[..], &FERN[..]] {
        let args: Vec<&str> = ["measure"]
            .iter()
            .chain(photo)
            .copied()
            .chain(["--out", folder.path().to_str().unwrap()])
            .collect();
        assert_eq!(seatspan(&args).status.code(), Some(0));
    }
    folder
});

fn sheet_file(name: &str) -> PathBuf {
    SHEETS.path().join(format!("{name}.sheet.json"))
}

/// A report made into a folder of its own.
fn report(names: &[&str], more: &[&str]) -> (TempDir, Output) {
    let folder = tempfile::tempdir().unwrap();
    let files: Vec<PathBuf> = names.iter().map(|n| sheet_file(n)).collect();
    let mut args = vec!["report"];
    args.extend(files.iter().map(|f| f.to_str().unwrap()));
    args.extend(["--out", folder.path().to_str().unwrap()]);
    args.extend(more);
    let output = seatspan(&args);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    (folder, output)
}

const PHOTOS: [&str; 2] = ["--photos", "fixtures/demo"];

static WILLOW_PAGE: LazyLock<String> = LazyLock::new(|| {
    let (folder, output) = report(&["willow"], &PHOTOS);
    assert!(output.stderr.is_empty(), "{output:?}");
    std::fs::read_to_string(folder.path().join("willow.report.html")).unwrap()
});
static FERN_PAGE: LazyLock<String> = LazyLock::new(|| {
    let (folder, _) = report(&["fern"], &PHOTOS);
    std::fs::read_to_string(folder.path().join("fern.report.html")).unwrap()
});

/// What stands between each `before` and the next `after`.
fn between<'a>(text: &'a str, before: &str, after: &str) -> Vec<&'a str> {
    text.split(before).skip(1).filter_map(|rest| rest.split(after).next()).collect()
}

#[test]
fn the_sections_stand_in_their_order() {
    let ids = between(&WILLOW_PAGE, "<section id=\"", "\"");
    let expected = [
        "figures", "to-scale", "widths", "along", "symmetry", "budget", "better", "method", "cautions",
        "trace",
    ];
    assert_eq!(ids, expected);
}

#[test]
fn the_page_needs_nothing_beside_it() {
    for page in [&*WILLOW_PAGE, &*FERN_PAGE] {
        assert!(!page.contains("<script") && !page.contains("<link") && !page.contains("url("));
        let sources: Vec<_> = ["href=\"", "src=\""].iter().flat_map(|a| between(page, a, "\"")).collect();
        assert!(sources.iter().all(|s| s.starts_with("data:image/jpeg;base64,")), "{}", sources.len());
        assert_eq!(sources.len(), 1, "the photo");
    }
}

#[test]
fn every_figure_says_what_it_shows() {
    for page in [&*WILLOW_PAGE, &*FERN_PAGE] {
        let figures = page.matches("<svg ").count();
        assert_eq!(page.matches("role=\"img\" aria-label=\"").count(), figures);
        assert_eq!(page.matches("<figcaption>").count(), page.matches("<figure").count());
    }
}

fn count(page: &str, class: &str) -> usize {
    page.matches(&format!("class=\"{class}\"")).count()
}

/// Stretches without a gap of the seat's and the channel's edges: two each where all of them is seen.
fn pieces(name: &str) -> [usize; 2] {
    let lines = edge_lines(&sheet::read(&sheet_file(name)).unwrap());
    [Part::Seat, Part::Channel].map(|part| lines.iter().filter(|l| l.part == part).count())
}

#[test]
fn photo_and_plan_show_edges_midline_stations_and_widths() {
    let of = |page: &str| {
        ["seat-edge", "channel-edge", "midline", "station", "named-width"].map(|class| count(page, class))
    };
    // Photo and plan each: two edges, a midline, 19 stations, two widths.
    assert_eq!(of(&WILLOW_PAGE), [4, 0, 2, 38, 4]);
    // From below four edges, in pieces where one is not seen; the photo shows the seat's two widths as lines and the plan all six.
    let [seat, channel] = pieces("fern");
    assert_eq!(of(&FERN_PAGE), [2 * seat, 2 * channel, 2, 38, 8]);
}

#[test]
fn the_table_has_every_named_width_with_both_units() {
    for (page, name) in [(&*WILLOW_PAGE, "willow"), (&*FERN_PAGE, "fern")] {
        let sheet = sheet::read(&sheet_file(name)).unwrap();
        let table = between(page, "<section id=\"widths\">", "</section>")[0];
        for width in &sheet.widths {
            assert!(table.contains(&format!("{:.1} mm", width.mm)), "{}", width.name);
            assert!(table.contains(&format!("{:.2} in", width.mm / 25.4)), "{}", width.name);
        }
        assert_eq!(table.matches("<tr>").count(), sheet.widths.len() + 1);
    }
}

#[test]
fn the_budget_drops_no_line() {
    let sheet = sheet::read(&sheet_file("willow")).unwrap();
    let section = between(&WILLOW_PAGE, "<section id=\"budget\">", "</section>")[0];
    // Once for a wide and once for a narrow screen.
    assert_eq!(count(section, "budget-bar"), 2 * sheet.budget.len());
}

#[test]
fn a_report_can_be_traced_to_photo_and_sheet() {
    let trace = between(&WILLOW_PAGE, "<section id=\"trace\">", "</section>")[0];
    let hash = |path: &Path| seatspan::photo::sha256_hex(&std::fs::read(path).unwrap());
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/willow.jpg");
    assert!(trace.contains(&hash(&demo)));
    assert!(trace.contains(&hash(&sheet_file("willow"))));
    assert!(trace.contains(env!("CARGO_PKG_VERSION")));
}

#[test]
fn the_cautions_are_there() {
    for said in ["see a doctor", "call a vet", "broken tree", "qualified saddle fitter", "Local codes"] {
        assert!(WILLOW_PAGE.contains(said), "{said}");
    }
}

#[test]
fn without_its_photo_a_report_says_so() {
    let (folder, output) = report(&["willow"], &[]);
    assert!(String::from_utf8_lossy(&output.stderr).contains("--photos"));
    let page = std::fs::read_to_string(folder.path().join("willow.report.html")).unwrap();
    assert!(page.contains("Without a picture: The photo willow.jpg was not found"));
    assert!(!page.contains("<image"));
    assert_eq!(count(&page, "seat-edge"), 2, "the plan is there all the same");
}

#[test]
fn another_photo_of_the_same_name_is_not_taken() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::copy("fixtures/demo/fern.jpg", folder.path().join("willow.jpg")).unwrap();
    let (_, output) = report(&["willow"], &["--photos", folder.path().to_str().unwrap()]);
    assert!(String::from_utf8_lossy(&output.stderr).contains("SHA-256 differs"));
}

#[test]
fn a_renamed_photo_is_found_by_its_hash() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::copy("fixtures/demo/willow.jpg", folder.path().join("other name.JPG")).unwrap();
    let (_, output) = report(&["willow"], &["--photos", folder.path().to_str().unwrap()]);
    assert!(output.stderr.is_empty(), "{output:?}");
}

#[test]
fn the_same_sheet_gives_the_same_files() {
    let files = |folder: &TempDir| {
        ["html", "pdf"].map(|e| std::fs::read(folder.path().join(format!("willow.sale.{e}"))).unwrap())
    };
    let made = || report(&["willow"], &["--for", "sale", "--true-scale"]).0;
    assert!(files(&made()) == files(&made()));
}

#[test]
fn a_sheet_for_sale_gives_the_geometry_alone() {
    let (folder, _) = report(&["willow"], &["--for", "sale"]);
    let page = std::fs::read_to_string(folder.path().join("willow.sale.html")).unwrap();
    let ids = between(&page, "<section id=\"", "\"");
    assert!(ids.contains(&"check") && !ids.contains(&"verdicts"), "{ids:?}");
    assert!(page.contains("This sheet gives geometry only."));
}

#[test]
fn inches_can_come_first() {
    let (folder, _) = report(&["willow"], &["--units", "in"]);
    let page = std::fs::read_to_string(folder.path().join("willow.report.html")).unwrap();
    let sheet = sheet::read(&sheet_file("willow")).unwrap();
    let widest = format!("<strong>{:.2} in</strong>", sheet.width(NamedWidth::SeatWidest).unwrap().mm / 25.4);
    assert!(page.contains(&widest), "{widest}");
}

#[test]
fn a_name_cannot_add_to_the_page() {
    let folder = tempfile::tempdir().unwrap();
    let mut sheet = sheet::read(&sheet_file("willow")).unwrap();
    sheet.saddle.name = "<script>x</script> & Größe Łuk".into();
    let file = folder.path().join("Größe Łuk.sheet.json");
    sheet::write(&file, &sheet, false).unwrap();
    let output = seatspan(&["report", file.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let page = std::fs::read_to_string(folder.path().join("Größe Łuk.report.html")).unwrap();
    assert!(!page.contains("<script") && page.contains("&amp; Größe Łuk"));
}

#[test]
fn a_comparison_lays_the_outlines_over_one_another() {
    let (folder, _) = report(&["willow", "willow", "fern"], &[]);
    let page = std::fs::read_to_string(folder.path().join("comparison.report.html")).unwrap();
    let section = |id: &str| between(&page, &format!("<section id=\"{id}\">"), "</section>")[0].to_owned();
    // Two edges of two saddles, and of one saddle two edges of two parts; each for a wide and for a narrow screen.
    assert_eq!(count(&section("top-outlines"), "outline"), 8);
    let [seat, channel] = pieces("fern");
    assert_eq!(count(&section("underside-outlines"), "outline"), 2 * (seat + channel));
    assert!(section("top-widths").contains("+0.0 mm"));
    assert!(section("top-widths").contains("not sure"));
}

#[test]
fn a_report_on_photos_together_says_which_photo_it_shows() {
    let folder = tempfile::tempdir().unwrap();
    let mut sheet = sheet::read(&sheet_file("willow")).unwrap();
    let second =
        sheet::PhotoRecord { file: "second.jpg".into(), sha256: "5e".repeat(32), ..sheet.photos[0].clone() };
    sheet.photos.push(second);
    let lift = sheet.lift.as_mut().unwrap();
    lift.source = sheet::LiftSource::Photos;
    lift.seat = Some(vec![[0.0, 44.4], [1.0, -68.0]]);
    lift.seat_u = Some(vec![4.6, 2.5]);
    let file = folder.path().join("pair.sheet.json");
    sheet::write(&file, &sheet, false).unwrap();
    let output = seatspan(&["report", file.to_str().unwrap(), "--photos", "fixtures/demo"]);
    assert!(output.status.success() && output.stderr.is_empty(), "{output:?}");
    let page = std::fs::read_to_string(folder.path().join("pair.report.html")).unwrap();
    for said in [
        "2 photos together, the first of ",
        "The first of 2 photos, willow.jpg, at 1:4",
        "(in the first photo)",
        "44\u{a0}±\u{a0}9\u{a0}mm at\u{a0}0.00, −68\u{a0}±\u{a0}5\u{a0}mm at\u{a0}1.00 (over the card, from the photos",
        "<dt>Photo 2</dt>",
        "second.jpg",
        &"5e".repeat(32),
    ] {
        assert!(page.contains(said), "{said}");
    }
    let compared = seatspan(&["report", file.to_str().unwrap(), sheet_file("fern").to_str().unwrap()]);
    assert!(compared.status.success(), "{compared:?}");
    let page = std::fs::read_to_string(folder.path().join("comparison.report.html")).unwrap();
    assert!(page.contains("willow.jpg, second.jpg"));
}

#[test]
fn a_refused_photo_gives_a_report_that_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("plain.png");
    image::RgbImage::from_fn(1200, 900, |x, y| image::Rgb([(x / 8) as u8, (y / 8) as u8, 90]))
        .save(&photo)
        .unwrap();
    let measure =
        ["measure", photo.to_str().unwrap(), "--view", "top", "--front", "1,1", "--rear", "600,500"];
    assert_eq!(seatspan(&measure).status.code(), Some(1));
    let file = folder.path().join("plain.sheet.json");
    assert_eq!(seatspan(&["report", file.to_str().unwrap()]).status.code(), Some(0));
    let page = std::fs::read_to_string(folder.path().join("plain.report.html")).unwrap();
    assert!(page.contains("not measured") && !page.contains("<svg"));
}

#[test]
fn a_report_that_is_there_is_left_alone() {
    let (folder, _) = report(&["willow"], &[]);
    let old = std::fs::read(folder.path().join("willow.report.pdf")).unwrap();
    let output = seatspan(&[
        "report",
        sheet_file("willow").to_str().unwrap(),
        "--out",
        folder.path().to_str().unwrap(),
    ]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--force"));
    assert_eq!(std::fs::read(folder.path().join("willow.report.pdf")).unwrap(), old);
}

#[test]
fn a_foreign_file_is_an_error_in_one_line() {
    let output = seatspan(&["report", "README.md"]);
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(said.lines().count() == 1 && said.contains("README.md"), "{said}");
}

/// A straight step of a page's drawing, in mm from the page's lower left corner.
type Step = [[f64; 2]; 2];

/// Millimetres in a point: 25.4 / 72 (ISO 32000-1, 8.3.2.3: the default unit is 1/72 in).
const MM_PER_POINT: f64 = 25.4 / 72.0;

fn read_pdf(file: &Path) -> Pdf {
    Pdf::new(std::fs::read(file).unwrap()).unwrap()
}

/// Every straight step of every page, read by another library, with the matrix of ISO 32000-1, 8.3.4.
fn steps(file: &Path) -> Vec<Vec<Step>> {
    let page = |page: &Page| {
        let (mut matrix, mut kept) = ([1.0, 0.0, 0.0, 1.0, 0.0, 0.0], Vec::new());
        let (mut pen, mut start, mut steps) = ([0.0; 2], [0.0; 2], Vec::new());
        let mut operations = page.typed_operations();
        while let Some(operation) = operations.next() {
            let m = matrix;
            let at = |x: &Number, y: &Number| {
                let (x, y) = (x.as_f64(), y.as_f64());
                [m[0] * x + m[2] * y + m[4], m[1] * x + m[3] * y + m[5]].map(|v| v * MM_PER_POINT)
            };
            match operation {
                Op::SaveState(_) => kept.push(matrix),
                Op::RestoreState(_) => matrix = kept.pop().unwrap(),
                Op::Transform(t) => {
                    let row = |a: &Number, b: &Number| {
                        let (a, b) = (a.as_f64(), b.as_f64());
                        [a * m[0] + b * m[2], a * m[1] + b * m[3]]
                    };
                    let ([a, b], [c, d], [e, f]) = (row(&t.0, &t.1), row(&t.2, &t.3), row(&t.4, &t.5));
                    matrix = [a, b, c, d, e + m[4], f + m[5]];
                }
                Op::MoveTo(p) => (pen, start) = (at(&p.0, &p.1), at(&p.0, &p.1)),
                Op::LineTo(p) => {
                    steps.push([pen, at(&p.0, &p.1)]);
                    pen = at(&p.0, &p.1);
                }
                Op::ClosePath(_) => steps.push([pen, start]),
                _ => {}
            }
        }
        steps
    };
    read_pdf(file).pages().iter().map(page).collect()
}

fn length(step: &Step) -> f64 {
    (step[1][0] - step[0][0]).hypot(step[1][1] - step[0][1])
}

fn has_length(steps: &[Step], mm: f64) -> bool {
    // 0.1 mm: what can be read off a steel ruler.
    steps.iter().any(|s| (length(s) - mm).abs() < 0.1)
}

/// Whether two level steps on pages side by side, which share 10 mm, make up a width.
fn on_two_pages(plan: &[Vec<Step>], mm: f64) -> bool {
    let level = |page: &Vec<Step>| -> Vec<f64> {
        page.iter().filter(|s| (s[0][1] - s[1][1]).abs() < 1e-3).map(length).filter(|mm| *mm > 10.0).collect()
    };
    plan.chunks(2).any(|pages| {
        let [left, right] = [level(&pages[0]), level(&pages[1])];
        left.iter().any(|x| right.iter().any(|y| (x + y - 10.0 - mm).abs() < 0.1))
    })
}

#[test]
fn the_plan_at_true_scale_has_true_lengths() {
    for (name, paper) in [("willow", "a4"), ("willow", "letter"), ("fern", "a4"), ("fern", "letter")] {
        let (folder, _) = report(&[name], &["--for", "sale", "--true-scale", "--paper", paper]);
        let pages = steps(&folder.path().join(format!("{name}.sale.pdf")));
        let plan = &pages[pages.len() - 4..];
        let sheet = sheet::read(&sheet_file(name)).unwrap();
        for page in plan {
            assert!(has_length(page, 100.0) && has_length(page, 101.6), "the check bars");
        }
        for width in &sheet.widths {
            assert!(on_two_pages(plan, width.mm), "{} {} on {paper}", width.name, width.mm);
        }
        // The check can fail: lengths that nothing on the pages has are not found.
        let widest = sheet.width(NamedWidth::SeatWidest).unwrap().mm;
        assert!(!on_two_pages(plan, 0.97 * widest));
    }
}

#[test]
fn a_pdf_asks_not_to_be_scaled() {
    for more in [&[][..], &["--for", "sale", "--true-scale"]] {
        let (folder, _) = report(&["willow"], more);
        let name = if more.is_empty() { "willow.report.pdf" } else { "willow.sale.pdf" };
        let pdf = read_pdf(&folder.path().join(name));
        let catalog: Dict = pdf.xref().get(pdf.xref().root_id()).unwrap();
        // ISO 32000-1:2008, table 150.
        let preferences: Dict = catalog.get("ViewerPreferences").unwrap();
        assert_eq!(&*preferences.get::<Name>("PrintScaling").unwrap(), b"None");
    }
}

#[test]
fn the_pages_have_the_size_of_the_paper() {
    for (paper, size) in [("a4", [210.0, 297.0]), ("letter", [215.9, 279.4])] {
        let (folder, _) = report(&["willow"], &["--paper", paper]);
        for page in read_pdf(&folder.path().join("willow.report.pdf")).pages().iter() {
            let media = page.media_box();
            for (side, wanted) in [media.x1, media.y1].map(|p| p * MM_PER_POINT).iter().zip(size) {
                assert!((side - wanted).abs() < 0.01, "{side} mm");
            }
        }
    }
}

const HAREBELL: &str = "fixtures/fit/saddles/harebell-top.sheet.json";
const ILSE: &str = "fixtures/fit/riders/ilse.toml";

#[test]
fn a_rider_adds_verdicts_with_reasons_and_limits() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().to_str().unwrap();
    assert_eq!(seatspan(&["report", HAREBELL, "--rider", ILSE, "--out", out]).status.code(), Some(0));
    let page = std::fs::read_to_string(folder.path().join("harebell-top.report.html")).unwrap();
    let section = between(&page, "<section id=\"verdicts\">", "</section>")[0];
    assert!(section.contains("<h2>For Ilse"), "{section}");
    assert!(section.contains("For the rider") && section.matches("class=\"word\"").count() == 3, "{section}");
    let rules = between(&page, "<section id=\"rules\">", "</section>")[0];
    assert!(rules.matches("class=\"word\"").count() > 3, "{rules}");
    assert!(count(between(&page, "<section id=\"along\">", "</section>")[0], "limit") > 0);
}

const UNDERSIDE: &str = "fixtures/fit/saddles/harebell-underside.sheet.json";
const MOSS: &str = "fixtures/fit/horses/moss.toml";

/// Makes reports of harebell from above and from below; the folder, and what was said.
fn of_harebell(more: &[&str]) -> (TempDir, Output) {
    let folder = tempfile::tempdir().unwrap();
    let base = ["report", HAREBELL, UNDERSIDE, "--out", folder.path().to_str().unwrap()];
    let output = seatspan(&[&base[..], more].concat());
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    (folder, output)
}

#[test]
fn one_saddle_from_above_and_from_below_is_one_report() {
    let (folder, _) = of_harebell(&["--rider", ILSE, "--horse", MOSS]);
    let page = std::fs::read_to_string(folder.path().join("harebell.report.html")).unwrap();
    assert!(page.contains("seen from above and from below") && !page.contains("Comparison"), "{page}");
    let ids = between(&page, "<section id=\"", "\"");
    assert_eq!(ids[..3], ["figures", "verdicts", "top-to-scale"]);
    assert!(ids.contains(&"underside-widths") && ids.ends_with(&["rules", "cautions", "trace"]), "{ids:?}");
    let below = between(&page, "<section id=\"underside-widths\">", "</section>")[0];
    assert!(below.contains("Panels, outside, at their widest") && !below.contains("Seat at its"), "{below}");
    // The limit on the seat's widest place is no limit on the panels.
    let along = between(&page, "<section id=\"underside-along\">", "</section>")[0];
    assert_eq!(count(along, "limit"), 0);
}

#[test]
fn the_clients_page_is_one_page_with_the_cautions_first() {
    let settings = tempfile::tempdir().unwrap();
    let file = settings.path().join("settings.toml");
    std::fs::write(&file, "[letterhead]\nname = \"Vale Fitting (invented)\"\nlines = [\"1 Mill Lane\"]\n")
        .unwrap();
    let advice = "Ride it for two weeks.\nThen I would like to feel the panels again.";
    let more = ["--for", "client", "--rider", ILSE, "--horse", MOSS, "--advice", advice];
    let (folder, output) = of_harebell(&[&more[..], &["--settings", file.to_str().unwrap()]].concat());
    assert!(output.stderr.is_empty(), "{output:?}");
    let page = std::fs::read_to_string(folder.path().join("harebell.client.html")).unwrap();
    let ids = between(&page, "<section id=\"", "\"");
    assert_eq!(ids, ["cautions", "recommendation", "measures", "next"]);
    for part in [
        "Vale Fitting (invented)<br>1 Mill Lane",
        "<p>Ride it for two weeks.</p>",
        "Your seat bones: 130.0 mm",
        "three 52.5 mm",
        "at least 80.0 mm",
    ] {
        assert!(page.contains(part), "{part}");
    }
    assert_eq!(read_pdf(&folder.path().join("harebell.client.pdf")).pages().len(), 1);
}

#[test]
fn a_page_for_a_buyer_has_what_was_entered_by_hand_and_a_code_to_check() {
    let more = ["--for", "sale", "--saddle", "fixtures/fit/by-hand/harebell.toml"];
    let (folder, _) = of_harebell(&[&more[..], &["--true-scale"]].concat());
    let page = std::fs::read_to_string(folder.path().join("harebell.sale.html")).unwrap();
    let by_hand = between(&page, "<section id=\"by-hand\">", "</section>")[0];
    assert!(by_hand.contains("HB 0417") && by_hand.contains("Entered by hand"), "{by_hand}");
    assert!(!page.contains("on the pages after this report"), "only the PDF has the plan");
    let code = between(&page, "Check code: ", " ")[0];
    let verified = seatspan(&["report", HAREBELL, "--verify", code]);
    assert_eq!(verified.status.code(), Some(0), "{verified:?}");
    assert!(String::from_utf8_lossy(&verified.stdout).contains("Seat at its widest: 236.0"));
    assert_eq!(seatspan(&["report", UNDERSIDE, "--verify", code]).status.code(), Some(1));
    // Every width in whole length, on one landscape page.
    let file = folder.path().join("harebell.sale.pdf");
    let is_wide = |page: &&Page| page.media_box().x1 > page.media_box().y1;
    assert_eq!(read_pdf(&file).pages().iter().filter(is_wide).count(), 1);
    let pages = steps(&file);
    for mm in [236.0, 63.0, 224.0, 84.1] {
        assert!(pages.iter().any(|page| has_length(page, mm)), "{mm} mm");
    }
}

#[test]
fn a_report_for_sale_takes_no_rider() {
    let output = seatspan(&["report", HAREBELL, "--for", "sale", "--rider", ILSE]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--rider"));
}

#[test]
fn a_comparison_says_what_was_judged_of_each_saddle() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().to_str().unwrap();
    let bramble = "fixtures/fit/saddles/bramble-top.sheet.json";
    let output = seatspan(&["report", HAREBELL, bramble, "--rider", ILSE, "--out", out]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let page = std::fs::read_to_string(folder.path().join("comparison.report.html")).unwrap();
    let section = between(&page, "<section id=\"verdicts\">", "</section>")[0];
    assert!(
        section.contains("harebell: for the rider") && section.contains("bramble: for the rider"),
        "{section}"
    );
}
