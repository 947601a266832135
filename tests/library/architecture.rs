//! Dependencies point one way: a module uses the base modules and those with a smaller number, and nothing else.

use std::path::{Path, PathBuf};

/// The modules of the pipeline, with their numbers as in `src/lib.rs`.
const MODULES: [(&str, u32); 10] = [
    ("photo", 1),
    ("card", 2),
    ("camera", 3),
    ("outline", 4),
    ("width", 5),
    ("sheet", 6),
    ("fit", 7),
    ("canvas", 8),
    ("report", 9),
    ("print", 10),
];
/// Used by all modules, and using none of them but `numeric`.
const BASE: [&str; 5] = ["numeric", "refusal", "warning", "instruction", "explain"];
/// The pipeline, and what records and judges its stages: they use every module and one another.
const PIPELINE: [&str; 4] = ["pipeline", "together", "record", "check"];
/// Front ends use everything, and nothing uses them, except that the command line opens the desk.
const FRONT_ENDS: [&str; 2] = ["cli", "desk"];

fn number(module: &str) -> Option<u32> {
    MODULES.iter().find(|m| m.0 == module).map(|m| m.1)
}

/// Whether a file of module `from` may name module `to`; `None` for an unknown module `from`.
fn allowed(from: &str, to: &str) -> Option<bool> {
    let same_or_base = from == to || BASE.contains(&to);
    if FRONT_ENDS.contains(&from) {
        Some(!FRONT_ENDS.contains(&to) || from == to || (from, to) == ("cli", "desk"))
    } else if PIPELINE.contains(&from) {
        Some(same_or_base || PIPELINE.contains(&to) || number(to).is_some())
    } else if BASE.contains(&from) {
        Some(from == to || to == "numeric")
    } else {
        let own = number(from)?;
        Some(same_or_base || number(to).is_some_and(|other| other < own))
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
fn dependencies() -> Vec<(String, String, String)> {
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
fn dependencies_point_one_way() {
    let dependencies = dependencies();
    assert!(dependencies.len() > 50, "only {} dependencies were read", dependencies.len());
    let wrong: Vec<String> = dependencies
        .iter()
        .filter(|(_, from, to)| allowed(from, to) != Some(true))
        .map(|(file, from, to)| format!("{file}: {from} may not use {to:?}"))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_rule_separates_right_from_wrong() {
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
    assert_eq!(allowed("attic", "numeric"), None, "an unknown module");
}

#[test]
fn the_crate_docs_list_every_module() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let docs = std::fs::read_to_string(source.join("lib.rs")).unwrap();
    for (module, number) in MODULES {
        if source.join(module).is_dir() {
            assert!(
                docs.contains(&format!("//! {number}. [`{module}`]")),
                "{module} is not number {number} in lib.rs"
            );
        }
    }
}
