//! Every file of the real sets through `seatspan check`: what happens to it, how long it takes, how much memory it
//! needs. The files are not part of the project: where they are absent a line says so.
//!
//! The table in `docs/real-files.md` is written by this test when it is asked to:
//!
//!     SEATSPAN_RENEW=1 cargo test --release --test library real_files:: -- --nocapture

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

/// What a broken or hostile file may cost. The time is written down and not judged: it is the machine's.
const MOST_MEMORY_MB: f64 = 1000.0;

/// What became of one file.
struct Outcome {
    file: String,
    status: i32,
    said: String,
    time: Duration,
    memory_mb: Option<f64>,
}

fn photos_below(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let text = |e: &std::ffi::OsStr| {
            ["txt", "md", "rst", "json", "yml", "xml", "csv", "debian-copyright", "afl"]
                .iter()
                .any(|t| e == *t)
        };
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() {
            photos_below(&path, found);
        } else if !path.extension().is_some_and(text) && !["README", "LICENSE"].contains(&name.as_str()) {
            found.push(path);
        }
    }
}

/// Peak memory of a child that has ended, as GNU time reports it; none where there is no GNU time.
fn gnu_time() -> bool {
    Command::new("/usr/bin/time").args(["-f", "%M", "true"]).output().is_ok_and(|o| o.status.success())
}

fn run(path: &Path, name: &str, measured: bool, folder: &Path) -> Outcome {
    let program = env!("CARGO_BIN_EXE_seatspan");
    let memory = folder.join("memory");
    let mut command = if measured {
        let mut command = Command::new("/usr/bin/time");
        command.args(["-f", "%M", "-o"]).arg(&memory).arg(program);
        command
    } else {
        Command::new(program)
    };
    let start = Instant::now();
    let output = command.args(["check", "--json"]).arg(path).output().unwrap();
    let time = start.elapsed();
    let memory_mb = std::fs::read_to_string(&memory)
        .ok()
        .and_then(|text| text.lines().last()?.trim().parse::<f64>().ok())
        .map(|kb| kb / 1000.0);
    let _ = std::fs::remove_file(&memory);
    let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(!stderr.contains("panicked") && stderr.lines().count() <= 1, "{name}: {stderr}");
    let status = output.status.code().unwrap_or_else(|| panic!("{name} was ended by a signal"));
    Outcome { file: name.into(), status, said: said(&output.stdout, &stderr), time, memory_mb }
}

fn said(stdout: &[u8], stderr: &str) -> String {
    let Ok(report) = serde_json::from_slice::<serde_json::Value>(stdout) else { return stderr.trim().into() };
    let Some(photo) = report["photos"].get(0) else { return stderr.trim().into() };
    let verdict = photo["verdict"].as_str().unwrap_or_default();
    let reason = photo["reasons"].get(0).and_then(|r| r["code"].as_str()).unwrap_or_default();
    match photo["u95_mm"].as_f64() {
        Some(u95) => format!("{verdict}, 230 ± {u95:.1} mm; {reason}"),
        None => {
            let text = photo["reasons"].get(0).and_then(|r| r["text"].as_str()).unwrap_or_default();
            let file = photo["file"].as_str().unwrap_or_default();
            let text = text.strip_prefix(&format!("{file}: ")).unwrap_or(text);
            format!("{verdict}: {reason}: {text}")
        }
    }
}

fn table(outcomes: &[Outcome]) -> String {
    let mut out = String::from(
        "# Every real file\n\nWhat `seatspan check` makes of every file of the shared real sets (real cameras, broken and \
         hostile files; none is part\nof the project), with the exit status, the time and the peak memory. Written by\n\n    \
         SEATSPAN_RENEW=1 cargo test --release --test library real_files:: -- --nocapture\n\n",
    );
    let most = |cost: &dyn Fn(&Outcome) -> f64, unit: &str| {
        let most = outcomes.iter().max_by(|a, b| cost(a).total_cmp(&cost(b)));
        most.map_or("-".into(), |o| format!("{:.1} {unit} (`{}`)", cost(o), o.file))
    };
    let longest = most(&|o| o.time.as_secs_f64(), "s");
    let largest = most(&|o| o.memory_mb.unwrap_or(0.0), "MB");
    let count = outcomes.len();
    let _ = writeln!(out, "{count} files; the longest took {longest}, the most memory was {largest}.\n");
    let _ = writeln!(out, "| file | what happened | exit | s | MB |\n| --- | --- | --- | --- | --- |");
    for o in outcomes {
        let memory = o.memory_mb.map_or("-".into(), |m| format!("{m:.0}"));
        let said = o.said.replace('|', "/");
        let _ =
            writeln!(out, "| {} | {said} | {} | {:.2} | {memory} |", o.file, o.status, o.time.as_secs_f64());
    }
    out
}

#[test]
fn every_real_file_is_judged_within_its_memory() {
    let Some(real) = crate::shared::shared_folder().map(|f| f.join("real")).filter(|f| f.is_dir()) else {
        return;
    };
    let mut files = Vec::new();
    photos_below(&real, &mut files);
    files.sort();
    let measured = gnu_time();
    if !measured {
        println!("skipped: no GNU time on this machine, so memory is not looked at");
    }
    let folder = tempfile::tempdir().unwrap();
    let outcomes: Vec<Outcome> = files
        .iter()
        .map(|path| {
            let name = path.strip_prefix(&real).unwrap().display().to_string();
            run(path, &name, measured, folder.path())
        })
        .collect();
    let table = table(&outcomes);
    println!("{table}");
    for o in &outcomes {
        assert!((0..=2).contains(&o.status), "{}: {}", o.file, o.status);
        assert!(o.memory_mb.is_none_or(|m| m < MOST_MEMORY_MB), "{}: {:?} MB", o.file, o.memory_mb);
    }
    if std::env::var_os("SEATSPAN_RENEW").is_some() {
        let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/real-files.md");
        std::fs::write(page, table).unwrap();
    }
}
