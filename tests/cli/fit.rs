//! `assess`, `compare`, `rules` and `rider` as a user meets them, on the invented riders and saddles of `fixtures/fit`.

use crate::run::seatspan;

const TOP: &str = "fixtures/fit/saddles/harebell-top.sheet.json";
const UNDERSIDE: &str = "fixtures/fit/saddles/harebell-underside.sheet.json";
const OTHER: &str = "fixtures/fit/saddles/yarrow-top.sheet.json";
const RIDER: &str = "fixtures/fit/riders/ilse.toml";

fn printed(args: &[&str]) -> String {
    let output = seatspan(args);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(output.stderr.is_empty(), "{output:?}");
    String::from_utf8(output.stdout).unwrap()
}

fn error_line(args: &[&str]) -> String {
    crate::said::error_line(&seatspan(args))
}

const BY_HAND: &str = "fixtures/fit/by-hand/harebell.toml";
const HORSE: &str = "fixtures/fit/horses/moss.toml";

#[test]
fn assess_gives_the_short_answer_first_and_the_cautions_once() {
    let args = ["assess", TOP, UNDERSIDE, "--rider", RIDER, "--saddle", BY_HAND, "--horse", HORSE];
    let text = printed(&args);
    let at = |part: &str| text.find(part).unwrap_or_else(|| panic!("no {part:?} in\n{text}"));
    let order = ["RIDER: nothing against", "HORSE: open", "SADDLE:", "see a doctor", "-- rider --"].map(at);
    assert!(order.is_sorted(), "{text}");
    assert_eq!(text.matches("stop and see a doctor").count(), 1);
    assert!(!text.contains("not judged") && !text.contains("% "), "{text}");
    let all = printed(&[&args[..], &["--all", "--numbers"]].concat());
    assert!(all.contains("not judged") && all.contains("chance that it holds: "), "{all}");
}

#[test]
fn without_a_horse_the_widths_are_stated_and_the_fitter_is_asked() {
    let text = printed(&["assess", TOP, UNDERSIDE, "--rider", RIDER]);
    assert!(text.contains("HORSE: no verdict\n  why   width of the channel over the spine"), "{text}");
    assert!(text.contains("enter it in a horse file"), "{text}");
}

/// The page shows what the program prints.
#[test]
fn the_answer_in_the_page_for_fitters_is_the_one_printed() {
    let page = std::fs::read_to_string("docs/fitting.md").unwrap();
    let command = page.lines().find_map(|l| l.strip_prefix("    seatspan ")).unwrap();
    let args: Vec<String> = command
        .split(' ')
        .flat_map(|arg| match arg.contains('*') {
            true => vec![arg.replace('*', "top"), arg.replace('*', "underside")],
            false => vec![arg.to_owned()],
        })
        .collect();
    let text = printed(&args.iter().map(String::as_str).collect::<Vec<_>>());
    let shown = page.split("```text\n").nth(1).and_then(|rest| rest.split("...\n```").next()).unwrap();
    assert!(text.starts_with(shown), "the page shows\n{shown}\nand the program prints\n{text}");
}

#[test]
fn a_horse_measured_again_is_judged_as_it_is_now_with_what_changed() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let then = write("then.toml", "date = \"2026-03-01\"\nchannel = \"70 mm\"\nchannel_most = \"95 mm\"\n");
    let undated = write("undated.toml", "channel = \"70 mm\"\n");
    let text = printed(&["assess", UNDERSIDE, "--horse", HORSE, "--horse", &then]);
    assert!(text.contains("70.0 mm on 2026-03-01, 80.0 mm on 2026-05-02: +10.0 ± 8.3 mm"), "{text}");
    assert!(text.contains("at least 80.0 ± 5.9 mm"), "the later file is judged: {text}");
    assert!(error_line(&["assess", UNDERSIDE, "--horse", HORSE, "--horse", &undated]).contains("its date"));
}

#[test]
fn the_shelf_lists_panels_apart_from_seats_and_warns_under_a_ranking() {
    let list = printed(&["shelf", "fixtures/fit/saddles"]);
    assert!(list.lines().next().unwrap().contains("panels.widest"), "{list}");
    // Six saddles, a line each with both views.
    assert_eq!((list.lines().count(), list.matches("top, underside").count()), (7, 6), "{list}");
    // All undersides are 224 mm wide outside; no seat is.
    let seats = printed(&["shelf", "fixtures/fit/saddles", "--width", "seat.widest=223..225"]);
    assert_eq!(seats.trim(), "no sheet matches");
    let panels = printed(&["shelf", "fixtures/fit/saddles", "--width", "panels.widest=22.3cm..22.5cm"]);
    assert_eq!(panels.lines().count(), 7, "{panels}");
    let output = seatspan(&["shelf", "fixtures/fit/saddles", "--rider", RIDER]);
    let ranked = String::from_utf8(output.stdout).unwrap();
    assert_eq!(ranked.matches("stop and see a doctor").count(), 1, "{ranked}");
}

#[test]
fn assess_as_json_is_an_assessment() {
    let text = printed(&["assess", TOP, "--rider", RIDER, "--json"]);
    let a: seatspan::fit::result::Assessment = serde_json::from_str(&text).unwrap();
    assert_eq!(a.schema, "seatspan-assessment/1");
    assert!(!a.results.is_empty());
}

#[test]
fn compare_prints_text_csv_and_json() {
    let base = ["compare", TOP, UNDERSIDE, OTHER, "--rider", RIDER];
    assert!(printed(&base).starts_with("for Ilse Varn (invented)\n1. "));
    let csv = printed(&[&base[..], &["--format", "csv", "--sort", "name"]].concat());
    let lines: Vec<&str> = csv.lines().collect();
    assert!(lines[0].starts_with("saddle,rank,kind,of") && lines.len() > 20, "{csv}");
    assert!(lines.iter().all(|l| l.matches(',').count() == 11), "{csv}");
    let json = printed(&[&base[..], &["--format", "json", "--sort", "seat.widest"]].concat());
    let c: seatspan::fit::compare::Comparison = serde_json::from_str(&json).unwrap();
    assert_eq!(c.saddles[0].name, "harebell");
}

#[test]
fn slips_are_errors_in_one_line() {
    assert!(
        error_line(&["compare", TOP, OTHER, "--sort", "seat.widset"]).contains("did you mean `seat.widest`?")
    );
    assert!(
        error_line(&["compare", TOP, OTHER, "--against", "harebel"]).contains("did you mean `harebell`?")
    );
    assert!(error_line(&["compare", TOP, UNDERSIDE]).contains("at least two saddles"));
    assert!(error_line(&["assess", TOP, TOP]).contains("two sheets are of the top view"));
    assert!(error_line(&["assess", TOP, "--confidence", "0.3"]).contains("such as 0.95"));
    assert!(error_line(&["rules", "chanel-width"]).contains("did you mean `channel-width`?"));
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("r.toml");
    std::fs::write(&file, "name = \"x\"\npatern = \"women\"\n").unwrap();
    let line = error_line(&["assess", TOP, "--rider", file.to_str().unwrap()]);
    assert!(line.contains("r.toml:2:1: unknown key `patern`; did you mean `pattern`?"), "{line}");
}

#[test]
fn rules_are_listed_and_explained() {
    assert!(printed(&["rules"]).lines().count() >= 15);
    let one = printed(&["rules", "widest-women"]);
    assert!(one.contains("at least 9 in") && one.contains("common practice, no source"), "{one}");
}

#[test]
fn a_rider_file_is_written_once_and_checks_out() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("rider.toml");
    let path = file.to_str().unwrap();
    printed(&["rider", path]);
    assert!(printed(&["rider", path, "--check"]).contains("no mistakes"));
    for kind in ["--horse", "--saddle"] {
        let other = folder.path().join(format!("x{kind}.toml")).display().to_string();
        printed(&["rider", &other, kind]);
        assert!(printed(&["rider", &other, kind, "--check"]).contains("no mistakes"));
    }
    assert!(error_line(&["rider", path]).contains("--force"));
    assert!(printed(&["rider", "--form"]).starts_with("<!doctype html>"));
}

#[test]
fn no_spreadsheet_may_run_a_name_of_a_comparison() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("odd.sheet.json");
    let text = std::fs::read_to_string(TOP).unwrap();
    std::fs::write(&file, text.replace("\"name\": \"harebell\"", "\"name\": \"=1+1\"")).unwrap();
    let csv = printed(&["compare", file.to_str().unwrap(), OTHER, "--format", "csv"]);
    assert!(csv.contains("\n'=1+1,") && !csv.contains("\n=1+1"), "{csv}");
}

/// Sheets that the program wrote before version 2.
#[test]
fn every_command_that_reads_sheets_reads_version_1() {
    let [top, underside, other] =
        ["v1-top", "v1-underside", "v1-other"].map(|name| format!("fixtures/sheets/{name}.sheet.json"));
    let out = tempfile::tempdir().unwrap();
    let folder = out.path().display().to_string();
    std::fs::copy(&top, out.path().join("top.sheet.json")).unwrap();
    assert!(printed(&["assess", &top, &underside, "--rider", RIDER]).contains("RIDER: open"));
    assert!(printed(&["compare", &top, &other, "--format", "csv"]).contains("seat.widest"));
    assert!(printed(&["shelf", &folder]).contains("harebell"));
    // One saddle, measured twice.
    let again = out.path().join("again.sheet.json");
    let text = std::fs::read_to_string(&other).unwrap();
    std::fs::write(&again, text.replace("\"name\": \"yarrow\"", "\"name\": \"harebell\"")).unwrap();
    let again = again.display().to_string();
    for args in [vec!["report", &top, &other, "--out", &folder], vec!["repeat", &top, &again]] {
        let output = seatspan(&args);
        assert_eq!(output.status.code(), Some(0), "{args:?}: {output:?}");
    }
}
