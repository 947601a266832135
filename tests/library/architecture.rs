//! The arrows of the house: a room uses `numeric`, `refusal` and rooms with a smaller number, and nothing else.

use std::path::{Path, PathBuf};

/// The rooms in which a photo walks, with their numbers as in `src/lib.rs`.
const ROOMS: [(&str, u32); 9] = [
    ("photo", 1),
    ("card", 2),
    ("camera", 3),
    ("outline", 4),
    ("width", 5),
    ("sheet", 6),
    ("fit", 7),
    ("report", 8),
    ("print", 9),
];
/// Under every room: used by all, and using none of them.
const GROUND: [&str; 4] = ["numeric", "refusal", "warning", "explain"];
/// The walk, its scribes and the judge of photos: they use every room and one another; only side entrances use them.
const WALK: [&str; 4] = ["pipeline", "together", "record", "check"];
/// Side entrances: they use everything, and nothing uses them, but that the command line opens the desk.
const ENTRANCES: [&str; 2] = ["cli", "desk"];

fn number(room: &str) -> Option<u32> {
    ROOMS.iter().find(|r| r.0 == room).map(|r| r.1)
}

/// May a file of module `from` name module `to`? `None` when the house has no such module as `from`.
fn allowed(from: &str, to: &str) -> Option<bool> {
    let same_or_ground = from == to || GROUND.contains(&to);
    if ENTRANCES.contains(&from) {
        Some(!ENTRANCES.contains(&to) || from == to || (from, to) == ("cli", "desk"))
    } else if WALK.contains(&from) {
        Some(same_or_ground || WALK.contains(&to) || number(to).is_some())
    } else if GROUND.contains(&from) {
        Some(from == to || (from == "refusal" && to == "numeric"))
    } else {
        let own = number(from)?;
        Some(same_or_ground || number(to).is_some_and(|other| other < own))
    }
}

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// The modules that a line of code names through `crate::`; comments may name anything.
fn named_modules(line: &str) -> Vec<String> {
    let code = line.split("//").next().unwrap_or_default();
    let word = |text: &str| text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
    code.split("crate::").skip(1).map(word).collect()
}

/// Every `crate::` of the sources: file, module of the file, module named.
fn arrows() -> Vec<(String, String, String)> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&source, &mut files);
    let mut all = Vec::new();
    for file in files {
        let place = file.strip_prefix(&source).unwrap();
        let module = place.iter().next().unwrap().to_string_lossy().trim_end_matches(".rs").to_owned();
        if module == "main" || module == "lib" {
            continue;
        }
        for line in std::fs::read_to_string(&file).unwrap().lines() {
            for named in named_modules(line) {
                all.push((place.display().to_string(), module.clone(), named));
            }
        }
    }
    all
}

#[test]
fn arrows_point_one_way() {
    let arrows = arrows();
    assert!(arrows.len() > 50, "only {} arrows were read", arrows.len());
    let wrong: Vec<String> = arrows
        .iter()
        .filter(|(_, from, to)| allowed(from, to) != Some(true))
        .map(|(file, from, to)| format!("{file}: {from} may not use {to:?}"))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_rule_tells_right_from_wrong() {
    let right = [("width", "camera"), ("photo", "numeric"), ("cli", "pipeline"), ("record", "sheet")];
    let wrong = [
        ("desk", "cli"),
        ("camera", "width"),
        ("numeric", "photo"),
        ("sheet", "cli"),
        ("photo", "pipeline"),
        ("card", ""),
    ];
    assert!(right.iter().all(|(from, to)| allowed(from, to) == Some(true)));
    assert!(wrong.iter().all(|(from, to)| allowed(from, to) == Some(false)));
    assert_eq!(allowed("attic", "numeric"), None, "a module that the house does not know");
}

#[test]
fn the_floor_plan_names_every_room() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let plan = std::fs::read_to_string(source.join("lib.rs")).unwrap();
    for (room, number) in ROOMS {
        if source.join(room).is_dir() {
            assert!(
                plan.contains(&format!("//! {number}. [`{room}`]")),
                "{room} is not number {number} in lib.rs"
            );
        }
    }
}
