//! The command line as a user meets it: exit status, what is printed, what is written. On the demo photo, whose
//! command is the README's, and on small files made here.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::LazyLock;

use crate::run::seatspan;
use crate::said::error_line;
use crate::willow::WILLOW;
use lab::synth::{self, Scenario, Subject, presets};
use seatspan::numeric::words::NamedWidth;
use seatspan::refusal::RefusalCode;
use seatspan::sheet::{self, Sheet};
use tempfile::TempDir;

/// Ends that lie in every picture drawn here.
const ENDS: [&str; 6] = ["--view", "top", "--front", "100,100", "--rear", "500,400"];

fn measured(args: &[&str]) -> Output {
    seatspan(&[&["measure"], args].concat())
}

/// Measures `photo` into `out`, with more arguments.
fn measure(photo: &Path, out: &Path, more: &[&str]) -> Output {
    let mut args = vec!["measure", photo.to_str().unwrap(), "--out", out.to_str().unwrap()];
    args.extend(more);
    seatspan(&args)
}

struct Run {
    folder: TempDir,
    output: Output,
}

impl Run {
    fn of_demo(more: impl Fn(&Path) -> Vec<String>) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let more = more(folder.path());
        let args: Vec<&str> = WILLOW[1..].iter().copied().chain(more.iter().map(String::as_str)).collect();
        let output = measure(Path::new(WILLOW[0]), folder.path(), &args);
        Self { folder, output }
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
}

/// The README's command.
static MAIN_JOB: LazyLock<Run> = LazyLock::new(|| Run::of_demo(|_| Vec::new()));
/// The same with everything that can be asked for beside it.
static WITH_ALL: LazyLock<Run> = LazyLock::new(|| {
    Run::of_demo(|folder| {
        let explain = folder.join("explain").display().to_string();
        ["--json", "--svg", "--name", "Willow 17", "--explain", &explain].map(str::to_owned).to_vec()
    })
});

fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// The one line on stderr; panics where there is none or there are more.
fn one_line(output: &Output) -> String {
    let text = String::from_utf8(output.stderr.clone()).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 1, "{text:?}");
    lines[0].to_owned()
}

/// A grey picture without a card, in a folder of its own.
fn plain_picture() -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("plain.png");
    image::RgbImage::from_fn(1200, 900, |x, y| image::Rgb([(x / 8) as u8, (y / 8) as u8, 90]))
        .save(&path)
        .unwrap();
    (folder, path)
}

fn refused_code(sheet: &Sheet) -> RefusalCode {
    assert!(sheet.widths.is_empty());
    sheet.refused.as_ref().expect("a refusal in the sheet").code
}

fn files_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn the_main_job_measures_the_demo_photo() {
    let run = &*MAIN_JOB;
    assert_eq!(run.output.status.code(), Some(0), "{:?}", run.output);
    let sheet = sheet::read(&run.file("willow.sheet.json")).unwrap();
    assert!(sheet.refused.is_none());
    let names: Vec<&str> = sheet.widths.iter().map(|w| w.name.as_str()).collect();
    assert_eq!(names, ["seat.widest", "seat.waist"]);
    // The truth is in fixtures/demo/README.md. This test is of the command; the accuracy has tests of its own.
    let near = |width: &sheet::Width, truth_mm: f64| (width.mm - truth_mm).abs() < 4.0;
    assert!(near(&sheet.widths[0], 214.92) && near(&sheet.widths[1], 74.92), "{:?}", sheet.widths);
}

#[test]
fn the_readme_shows_what_its_command_prints() {
    let readme = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let command =
        readme.lines().find_map(|line| line.trim().strip_prefix("cargo run --release -- ")).unwrap();
    let words: Vec<&str> = command.split_whitespace().collect();
    let results = tempfile::tempdir().unwrap();
    let mut run = Command::new(env!("CARGO_BIN_EXE_seatspan"));
    let run = run.current_dir(env!("CARGO_MANIFEST_DIR")).args(&words[..words.len() - 1]).arg(results.path());
    assert_eq!(words[words.len() - 2], "--out");
    let printed = stdout(&run.output().unwrap());
    for line in printed.lines().take_while(|line| !line.starts_with("written")) {
        assert!(readme.contains(line), "not in README.md: {line}");
    }
}

#[test]
fn the_table_is_printed_and_nothing_is_said_on_stderr() {
    let printed = stdout(&MAIN_JOB.output);
    assert!(printed.contains("seat.widest") && printed.contains(" mm "), "{printed}");
    assert!(MAIN_JOB.output.stderr.is_empty());
}

#[test]
fn the_overlay_is_a_picture_of_a_size_for_a_screen() {
    let overlay = image::open(MAIN_JOB.file("willow.overlay.png")).unwrap();
    assert_eq!(overlay.width(), 1280);
    assert!(overlay.height() >= 960);
}

#[test]
fn nothing_but_sheet_and_overlay_is_written_unasked() {
    assert_eq!(files_in(MAIN_JOB.folder.path()), ["willow.overlay.png", "willow.sheet.json"]);
}

#[test]
fn json_prints_the_sheet_and_nothing_else() {
    let run = &*WITH_ALL;
    assert_eq!(run.output.status.code(), Some(0), "{:?}", run.output);
    let printed = sheet::from_json(&run.output.stdout).unwrap();
    assert_eq!(printed, sheet::read(&run.file("willow.sheet.json")).unwrap());
    assert!(run.output.stderr.is_empty());
}

#[test]
fn name_names_the_saddle() {
    assert_eq!(sheet::read(&WITH_ALL.file("willow.sheet.json")).unwrap().saddle.name, "Willow 17");
    assert_eq!(sheet::read(&MAIN_JOB.file("willow.sheet.json")).unwrap().saddle.name, "willow");
}

#[test]
fn svg_writes_the_overlay_as_a_drawing_too() {
    let svg = std::fs::read_to_string(WITH_ALL.file("willow.overlay.svg")).unwrap();
    assert!(svg.contains("<svg") && svg.trim_end().ends_with("</svg>"));
}

#[test]
fn explain_writes_a_picture_a_stage() {
    let folder = WITH_ALL.file("explain");
    let names = files_in(&folder);
    assert!(names.len() >= 4, "{names:?}");
    for name in names {
        assert!(image::open(folder.join(&name)).is_ok(), "{name}");
    }
}

#[test]
fn a_refused_photo_keeps_cards_and_camera_and_is_drawn_and_explained() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    let bare = Scenario { subject: Subject::None, ..presets::acorn() };
    std::fs::write(file("bare.jpg"), synth::draw(&bare).unwrap().bytes).unwrap();
    let explain = file("explain").display().to_string();
    let output = measure(&file("bare.jpg"), folder.path(), &["--explain", &explain]);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let sheet = sheet::read(&file("bare.sheet.json")).unwrap();
    assert_eq!(sheet.refused.as_ref().map(|refusal| refusal.code), Some(RefusalCode::NoSaddle));
    assert!(!sheet.cards.is_empty() && sheet.camera.is_some() && sheet.widths.is_empty());
    let names = files_in(&file("explain"));
    assert!(
        names.iter().any(|n| n.contains("cards")) && names.iter().any(|n| n.contains("plane")),
        "{names:?}"
    );
    assert!(image::open(file("bare.overlay.png")).is_ok());
}

#[test]
fn an_existing_result_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let old = folder.path().join("willow.sheet.json");
    std::fs::write(&old, "mine").unwrap();
    let line = error_line(&measure(Path::new(WILLOW[0]), folder.path(), &WILLOW[1..]));
    assert!(line.contains("willow.sheet.json") && line.contains("--force"), "{line}");
    assert_eq!(std::fs::read_to_string(&old).unwrap(), "mine");
    assert_eq!(files_in(folder.path()), ["willow.sheet.json"]);
}

#[test]
fn force_replaces_an_existing_result() {
    let (folder, picture) = plain_picture();
    let old = folder.path().join("plain.sheet.json");
    std::fs::write(&old, "mine").unwrap();
    let args: Vec<&str> = ENDS.into_iter().chain(["--force"]).collect();
    assert_eq!(measure(&picture, folder.path(), &args).status.code(), Some(1));
    assert!(sheet::read(&old).is_ok());
}

#[test]
fn a_photo_without_a_card_is_refused_in_one_line_and_a_sheet() {
    let (folder, picture) = plain_picture();
    let output = measure(&picture, folder.path(), &ENDS);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(one_line(&output).contains("card"));
    assert_eq!(stdout(&output), "");
    let sheet = sheet::read(&folder.path().join("plain.sheet.json")).unwrap();
    assert_eq!(refused_code(&sheet), RefusalCode::NoCard);
    assert_eq!(files_in(folder.path()), ["plain.png", "plain.sheet.json"]);
}

#[test]
fn a_refusal_with_json_prints_the_sheet() {
    let (folder, picture) = plain_picture();
    let args: Vec<&str> = ENDS.into_iter().chain(["--json"]).collect();
    let output = measure(&picture, folder.path(), &args);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert_eq!(refused_code(&sheet::from_json(&output.stdout).unwrap()), RefusalCode::NoCard);
    one_line(&output);
}

#[test]
fn a_text_file_that_calls_itself_a_photo_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notes.jpg");
    std::fs::write(&path, "widest 214, waist 75\n").unwrap();
    let output = measure(&path, folder.path(), &ENDS);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    assert!(one_line(&output).contains("notes.jpg"));
    let sheet = sheet::read(&folder.path().join("notes.sheet.json")).unwrap();
    assert_eq!(refused_code(&sheet), RefusalCode::PhotoUnreadable);
}

#[test]
fn a_midline_outside_the_photo_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let ends = ["--view", "top", "--front", "1022.7,1437.4", "--rear", "9335.6,2021.9"];
    let output = measure(Path::new(WILLOW[0]), folder.path(), &ends);
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    one_line(&output);
    let sheet = sheet::read(&folder.path().join("willow.sheet.json")).unwrap();
    assert_eq!(refused_code(&sheet), RefusalCode::MidlineOutside);
}

#[test]
fn a_missing_photo_is_an_error() {
    let folder = tempfile::tempdir().unwrap();
    let line = error_line(&measure(&folder.path().join("gone.jpg"), folder.path(), &ENDS));
    assert!(line.contains("gone.jpg"), "{line}");
}

#[test]
fn no_photo_is_an_error() {
    assert!(error_line(&measured(&ENDS)).contains("PHOTO"));
}

#[test]
fn slips_in_the_ends_are_errors() {
    for front in ["812,5,440,2", "812.5", "812.5;440", "x,y", "nan,3", "1,2,3", ""] {
        let line =
            error_line(&measured(&[WILLOW[0], "--view", "top", "--front", front, "--rear", "500,400"]));
        assert!(line.contains("--front") && line.contains("812.5,440"), "{front}: {line}");
    }
}

#[test]
fn one_end_without_the_other_is_an_error() {
    let line = error_line(&measured(&[WILLOW[0], "--view", "top", "--front", "500,400"]));
    assert!(line.contains("--rear"), "{line}");
}

#[test]
fn an_unknown_view_is_an_error() {
    assert!(error_line(&measured(&[WILLOW[0], "--view", "side"])).contains("underside"));
}

#[test]
fn slips_in_the_lift_are_errors() {
    for lift in
        ["0:60,1:70", "flap=0:60", "seat=", "seat=0:60,0:20", "seat=0,5:60", "seat=0:9999", "seat=0.5"]
    {
        let args: Vec<&str> = [WILLOW[0]].into_iter().chain(ENDS).chain(["--lift", lift]).collect();
        assert!(error_line(&measured(&args)).contains("--heights"), "{lift}");
    }
}

#[test]
fn a_lift_that_would_be_passed_over_is_an_error() {
    for lifts in [&["seat=0:60", "seat=1:70"][..], &["channel=0:60"]] {
        let mut args: Vec<&str> = [WILLOW[0]].into_iter().chain(ENDS).collect();
        lifts.iter().for_each(|lift| args.extend(["--lift", lift]));
        assert!(error_line(&measured(&args)).contains("--heights"), "{lifts:?}");
    }
}

#[test]
fn a_lens_file_that_cannot_be_used_is_an_error() {
    let folder = tempfile::tempdir().unwrap();
    let square = "schema = \"seatspan-lens/1\"\nwidth_px = 2000\nheight_px = 2000\nfocal_px = 1500.0\n\
                  focal_u_px = 5.0\nprincipal_px = [999.5, 999.5]\nprincipal_u_px = [5.0, 5.0]\n\
                  distortion = [0.0, 0.0, 0.0, 0.0, 0.0]\ndistortion_u = [0.01, 0.01, 0.0, 0.0, 0.0]\n";
    for (name, text) in [("gone", None), ("prose", Some("a long lens")), ("square", Some(square))] {
        let file = folder.path().join(format!("{name}.toml"));
        if let Some(text) = text {
            std::fs::write(&file, text).unwrap();
        }
        let args: Vec<&str> = WILLOW[1..].iter().copied().chain(["--lens", file.to_str().unwrap()]).collect();
        let line = error_line(&measure(Path::new(WILLOW[0]), folder.path(), &args));
        assert!(line.contains(&format!("{name}.toml")), "{line}");
    }
}

#[test]
fn an_output_folder_is_made_with_its_parents() {
    let (folder, picture) = plain_picture();
    let out = folder.path().join("a/b");
    assert_eq!(measure(&picture, &out, &ENDS).status.code(), Some(1));
    assert_eq!(files_in(&out), ["plain.sheet.json"]);
}

#[test]
fn an_output_folder_below_a_file_is_an_error() {
    let (_folder, picture) = plain_picture();
    let line = error_line(&measure(&picture, &picture.join("results"), &ENDS));
    assert!(line.contains("results"), "{line}");
}

#[test]
fn a_result_that_cannot_be_written_is_an_error_and_leaves_nothing_behind() {
    let (folder, picture) = plain_picture();
    let out = folder.path().join("results");
    std::fs::create_dir_all(out.join("plain.sheet.json/in the way")).unwrap();
    let args: Vec<&str> = ENDS.into_iter().chain(["--force"]).collect();
    let output = measure(&picture, &out, &args);
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert!(String::from_utf8_lossy(&output.stderr).contains("plain.sheet.json"));
    assert_eq!(files_in(&out), ["plain.sheet.json"]);
}

#[test]
fn a_height_missing_near_a_width_is_said_and_makes_it_less_sure() {
    let u95 = |lift: &str| {
        let folder = tempfile::tempdir().unwrap();
        let args = [&WILLOW[1..7], &["--lift", lift, "--json"]].concat();
        let output = measure(Path::new(WILLOW[0]), folder.path(), &args);
        let sheet = sheet::from_json(&output.stdout).unwrap();
        let widest = sheet.width(NamedWidth::SeatWidest).unwrap().clone();
        // The demo's truth, mm (fixtures/demo/README.md).
        assert!((widest.mm - 214.92).abs() < widest.u95, "{lift}: {} ± {}", widest.mm, widest.u95);
        (widest.u95, sheet.warnings.iter().any(|w| w.code == seatspan::warning::WarningCode::LiftSparse))
    };
    let (five, three, one) =
        (u95("seat=0:44,0.25:26,0.5:11,0.75:31,1:68"), u95("seat=0:44,0.5:11,1:68"), u95("seat=0:44"));
    assert!(!five.1 && three.1 && one.1);
    assert!(five.0 < three.0 && three.0 < one.0, "{five:?} {three:?} {one:?}");
}

#[test]
fn every_command_has_help_with_examples_that_can_be_copied() {
    let commands = [
        "measure",
        "check",
        "card",
        "report",
        "assess",
        "compare",
        "rules",
        "rider",
        "shelf",
        "completions",
        "manual",
    ];
    for command in commands {
        let help = stdout(&seatspan(&[command, "--help"]));
        assert!(help.contains(&format!("  seatspan {command}")), "{command}");
        let examples =
            help.split("Examples:\n").nth(1).unwrap_or_else(|| panic!("{command} has no examples"));
        let mut before = "";
        for line in examples.lines().take_while(|line| line.starts_with("  ")) {
            let begins = line.starts_with("  seatspan ") || line.starts_with("  man ");
            assert!(begins || before.ends_with('\\'), "{command}: an example is broken at {line}");
            before = line;
        }
    }
    assert!(stdout(&seatspan(&["--help"])).contains("Examples:"));
}

#[test]
fn completions_name_the_commands() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = stdout(&seatspan(&["completions", shell]));
        assert!(script.contains("measure") && script.contains("same-place"), "{shell}");
    }
}

#[test]
fn there_is_a_manual_page_for_every_command() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("man1");
    assert_eq!(seatspan(&["manual", out.to_str().unwrap()]).status.code(), Some(0));
    let names = files_in(&out);
    for command in ["", "-measure", "-report", "-shelf", "-completions", "-manual"] {
        assert!(names.contains(&format!("seatspan{command}.1")), "{names:?}");
    }
    let page = std::fs::read_to_string(out.join("seatspan-measure.1")).unwrap();
    assert!(page.contains(".TH") && page.contains("Examples:"));
    assert_eq!(
        seatspan(&["manual", out.to_str().unwrap()]).status.code(),
        Some(2),
        "nothing is overwritten unasked"
    );
}

#[test]
fn a_decimal_comma_in_the_lift_is_named() {
    let args: Vec<&str> = [WILLOW[0]].into_iter().chain(ENDS).chain(["--lift", "seat=0:60,0,5:20"]).collect();
    assert!(error_line(&measured(&args)).contains("point as decimal sign"));
}
