//! Lens and rider files in the shelf's folder.

use super::served::{Desk, demo};
use serde_json::{Value, json};

/// A lens file of an invented camera that suits the demo photo, whose camera is called Fieldphone F1.
fn lens(model: &str) -> String {
    format!(
        "schema = \"seatspan-lens/1\"\nmake = \"Fieldphone\"\nmodel = \"{model}\"\nwidth_px = 4032\nheight_px = 3024\n\
         focal_px = 2985.0\nfocal_u_px = 4.0\nprincipal_px = [2015.5, 1511.5]\nprincipal_u_px = [20.0, 20.0]\n\
         distortion = [-0.058, 0.014, 0.0, 0.0, 0.0]\ndistortion_u = [0.004, 0.004, 1e-4, 1e-4, 0.01]\n"
    )
}

#[test]
fn a_lens_file_is_picked_by_the_camera_or_chosen() {
    let desk = Desk::start();
    let put = |name: &str, model: &str| std::fs::write(desk.folder.path().join(name), lens(model)).unwrap();
    put("f1.toml", "F1");
    put("z9.toml", "Z9");
    std::fs::write(desk.folder.path().join("ilse.toml"), "name = \"Ilse (invented)\"\n").unwrap();
    let id = desk.lay("willow.jpg", &demo("willow.jpg"));
    let measured = desk.measured(id);
    assert_eq!(measured["lens"], "f1.toml");
    let lenses = desk.ask("GET", &format!("/api/photos/{id}/lenses"), b"").json();
    assert_eq!(
        (lenses["camera"].as_str(), lenses["picked"].as_str()),
        (Some("Fieldphone F1"), Some("f1.toml"))
    );
    let fits: Vec<(&str, bool)> = lenses["found"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| (f["file"].as_str().unwrap(), f["fits"].as_bool().unwrap()))
        .collect();
    assert_eq!(fits, [("f1.toml", true), ("z9.toml", false)], "a rider file is not a lens file");

    let edited = |lens: Value| {
        // With heights, since unknown ones hide what a lens adds.
        let heights = [[0.0, 44.0], [0.25, 26.0], [0.5, 11.0], [0.75, 31.0], [1.0, 68.0]];
        let body = json!({ "lens": lens, "seat_lift": heights }).to_string();
        desk.ask("PUT", &format!("/api/photos/{id}/edits"), body.as_bytes())
    };
    let widest = |photo: &Value, key: &str| photo["findings"]["widths"][0][key].as_f64().unwrap();
    let without = edited(json!("none")).json();
    assert!(without["lens"].is_null());
    let picked = edited(Value::Null).json();
    assert_eq!(picked["lens"], "f1.toml");
    assert!(widest(&without, "u95") > widest(&picked, "u95"), "a lens file reduces the uncertainty");
    // Traced again in the same place: hundredths of a millimetre.
    let chosen = edited(json!("f1.toml")).json();
    assert!((widest(&chosen, "mm") - widest(&picked, "mm")).abs() < 0.1);
    for wrong in ["z9.toml", "../z9.toml", "ilse.toml"] {
        assert_eq!(edited(json!(wrong)).status, 422, "{wrong}");
    }
    assert_eq!(desk.ask("GET", &format!("/api/photos/{id}"), b"").json()["lens"], "f1.toml", "unchanged");

    // Two files of one camera: none is picked.
    put("f1-again.toml", "F1");
    let second = desk.lay("willow.jpg", &demo("willow.jpg"));
    let measured = desk.measured(second);
    assert!(measured["lens"].is_null());
    let warned = measured["findings"]["warnings"].as_array().unwrap();
    assert!(warned.iter().any(|w| w["code"] == "lens-not-picked"), "{warned:?}");
}

#[test]
fn a_rider_is_saved_under_its_name_and_replaces_nothing_unasked() {
    let desk = Desk::start();
    let keep = |rider: Value, replace: bool| {
        desk.ask(
            "POST",
            "/api/rider/keep",
            json!({ "rider": rider, "replace": replace }).to_string().as_bytes(),
        )
    };
    let ilse = |mm: u32| {
        let bones = json!({ "spacing": format!("{mm} mm"), "how": "imprint-centres", "spacing_u": "2 mm" });
        json!({ "name": "Ilse Varn (invented)", "thighs": "", "seat_bones": bones })
    };
    let kept = keep(ilse(128), false);
    assert_eq!(kept.status, 200, "{}", String::from_utf8_lossy(&kept.body));
    assert_eq!(kept.json()["file"], "ilse-varn-invented.toml");
    let path = desk.folder.path().join("ilse-varn-invented.toml");
    let read = || seatspan::fit::rider::Rider::read(&path).unwrap();
    assert_eq!(read().name.as_deref(), Some("Ilse Varn (invented)"));
    let before = read();
    assert_eq!(keep(ilse(130), false).status, 412);
    assert_eq!(read(), before, "nothing was replaced");
    assert_eq!(keep(ilse(130), true).status, 200);
    assert_ne!(read().given, before.given);
    let riders = desk.ask("GET", "/api/rider", b"").json();
    assert_eq!(riders["chosen"]["seat_bones"]["spacing"], "130 mm");
    assert_eq!(riders["found"][0]["file"], "ilse-varn-invented");

    assert_eq!(keep(json!({ "pattern": "women" }), false).status, 422, "a file needs a name");
    assert_eq!(keep(json!({ "name": "x", "seat_bones": { "spacing": "128" } }), false).status, 422);
    std::fs::write(desk.folder.path().join("f1.toml"), lens("F1")).unwrap();
    assert_eq!(keep(json!({ "name": "F1" }), true).status, 409, "a lens file is not replaced by a rider");
    assert_eq!(std::fs::read_to_string(desk.folder.path().join("f1.toml")).unwrap(), lens("F1"));
}
