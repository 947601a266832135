//! `lab stress`: reproducible, with the ends given and found.

use std::process::{Command, Output};

use serde_json::Value;

fn stress(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lab")).arg("stress").args(args).output().unwrap()
}

#[test]
fn a_number_always_draws_the_same_photo_with_the_same_result() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().to_str().unwrap();
    let first = stress(&["--count", "2", "--seed", "4", "--json", "--out", out]);
    assert!(first.status.success(), "{}", String::from_utf8_lossy(&first.stderr));
    let said: Value = serde_json::from_slice(&first.stdout).unwrap();
    let photos = said["photos"].as_array().unwrap();
    assert_eq!(photos.iter().map(|p| p["seed"].as_u64().unwrap()).collect::<Vec<_>>(), [4, 5]);
    assert_eq!(said["all"]["to_measure"].as_u64().unwrap() + said["all"]["to_refuse"].as_u64().unwrap(), 2);
    // The second photo alone is what it was among two.
    let second = stress(&["--count", "1", "--seed", "5", "--json"]);
    let alone: Value = serde_json::from_slice(&second.stdout).unwrap();
    assert_eq!(alone["photos"][0], photos[1]);
    for photo in photos {
        let name = photo["name"].as_str().unwrap();
        assert!(folder.path().join(format!("{name}.jpg")).is_file(), "{name}");
        let truth = std::fs::read(folder.path().join(format!("{name}.truth.json"))).unwrap();
        let truth: Value = serde_json::from_slice(&truth).unwrap();
        assert_eq!(truth["expect"] == "measure", photo["to_measure"] == true);
    }
    let again = stress(&["--count", "1", "--seed", "4", "--out", out]);
    assert_eq!(again.status.code(), Some(2), "files that are there are left alone");
}

#[test]
fn a_saddle_is_looked_for_where_nothing_is_given() {
    let output = stress(&["--count", "1", "--seed", "5", "--found", "--json"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let said: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!((&said["aim"], said["photos"].as_array().unwrap().len()), (&Value::from("found"), 1));
    let all = &said["all"];
    assert_eq!((&all["measured"], &all["named"]["count"]), (&Value::from(1), &Value::from(2)), "{all}");
}
