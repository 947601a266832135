//! Provenance of the networks' weights.

use std::path::{Path, PathBuf};

use seatspan::photo::sha256_of_file;

fn weight_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            weight_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "weights") {
            found.push(path);
        }
    }
}

#[test]
fn every_weight_file_has_its_provenance() {
    let lab = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = std::fs::read_to_string(lab.join("training/README.md")).unwrap();
    let mut files = Vec::new();
    weight_files(&lab.join("../../src"), &mut files);
    assert!(!files.is_empty());
    for file in files {
        let name = file.file_name().unwrap().to_string_lossy();
        let row = format!("| `{name}` | `{}` |", sha256_of_file(&file).unwrap());
        assert!(readme.contains(&row), "training/README.md lacks {row}");
    }
}
