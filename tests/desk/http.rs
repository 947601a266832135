//! The desk over plain HTTP: access, uploads, saved files. docs/desk.md describes the interface.

use std::io::{ErrorKind, Read, Write};
use std::net::TcpStream;
use std::process::Command;
use std::time::Duration;

use super::served::{Desk, demo};
use super::willow::WILLOW;
use serde_json::{Value, json};

/// More connections than the desk holds open at a time.
const STALLED: usize = 80;

fn mm(photo: &Value, name: &str) -> f64 {
    let widths = photo["findings"]["widths"].as_array().unwrap();
    widths.iter().find(|w| w["name"] == name).unwrap()["mm"].as_f64().unwrap()
}

/// View, ends and heights of the demo photo, by its README.
fn demo_edits() -> Value {
    json!({
        "view": "top",
        "ends": [[1022.7, 1437.4], [2335.6, 2021.9]],
        "seat_lift": [[0.0, 44.0], [0.25, 26.0], [0.5, 11.0], [0.75, 31.0], [1.0, 68.0]],
    })
}

fn edited(desk: &Desk, id: u64, edits: &Value) -> Value {
    let answered = desk.ask("PUT", &format!("/api/photos/{id}/edits"), edits.to_string().as_bytes());
    assert_eq!(answered.status, 200, "{}", String::from_utf8_lossy(&answered.body));
    answered.json()
}

#[test]
fn only_the_own_page_with_the_key_is_served() {
    let desk = Desk::start();
    let (host, key) = (desk.host(), format!("seatspan-{}={}", desk.port, desk.key()));
    let head = |host: &str, origin: &str, cookie: &str, method: &str| {
        let line = |name: &str, value: &str| {
            if value.is_empty() { String::new() } else { format!("{name}: {value}\r\n") }
        };
        let lines = [line("Host", host), line("Origin", origin), line("Cookie", cookie)].concat();
        format!("{method} /api/photos HTTP/1.0\r\n{lines}Content-Length: 0\r\nConnection: close\r\n\r\n")
    };
    let own = format!("http://{host}");
    let cases = [
        (head(&host, "", &key, "GET"), 200),
        (head(&host, "", "", "GET"), 403),
        (head(&host, "", "seatspan-0=1", "GET"), 403),
        (head("evil.example", "", &key, "GET"), 403),
        (head("", "", &key, "GET"), 403),
        (head(&host, "http://evil.example", &key, "POST"), 403),
        (head(&host, "null", &key, "POST"), 403),
        (head(&host, "", &key, "POST"), 403),
        (head(&host, &own, &key, "POST"), 200),
    ];
    for (head, status) in cases {
        assert_eq!(desk.raw(&head, b"").status, status, "{head}");
    }
    let page = desk.ask("GET", "/", b"");
    let policy = page.head.lines().find(|l| l.to_lowercase().starts_with("content-security-policy")).unwrap();
    assert!(policy.contains("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
    assert!(!page.head.to_lowercase().contains("access-control"), "{}", page.head);
}

#[test]
fn endless_requests_are_cut_off_and_block_nobody() {
    let desk = Desk::start();
    let mut stalled: Vec<TcpStream> = (0..STALLED)
        .map(|_| {
            let mut stream = TcpStream::connect(("127.0.0.1", desk.port)).unwrap();
            stream.write_all(b"GET / HTTP/1.1\r\nHost: ").unwrap();
            stream
        })
        .collect();
    assert_eq!(
        desk.ask("GET", "/api/photos", b"").status,
        200,
        "the page is served as soon as a connection is free"
    );
    for stream in &mut stalled {
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        let mut said = Vec::new();
        // Closed or reset; a read timeout would be neither.
        let ended = stream.read_to_end(&mut said).map_err(|e| e.kind());
        assert!(matches!(ended, Ok(_) | Err(ErrorKind::ConnectionReset)), "{ended:?}");
        assert!(!said.starts_with(b"HTTP/1.1 2"), "{}", String::from_utf8_lossy(&said));
    }
}

#[test]
fn results_equal_those_of_the_command_line_and_a_correction_changes_them() {
    let desk = Desk::start();
    let id = desk.lay("willow.jpg", &demo("willow.jpg"));
    assert_eq!(desk.measured(id)["stage"], "measured");
    let photo = edited(&desk, id, &demo_edits());
    let line = Command::new(env!("CARGO_BIN_EXE_seatspan"))
        .arg("measure")
        .args(WILLOW)
        .args(["--json", "--out"])
        .arg(desk.folder.path())
        .output()
        .unwrap();
    let sheet: Value = serde_json::from_slice(&line.stdout).unwrap();
    for width in sheet["widths"].as_array().unwrap() {
        let (name, there) = (width["name"].as_str().unwrap(), width["mm"].as_f64().unwrap());
        assert_eq!(mm(&photo, name), there, "{name}");
    }
    // A hidden stretch has no points and no widths, and the sheet says so.
    let mut hidden = demo_edits();
    hidden["hidden"] = json!([{ "part": "seat", "side": "left", "from": 0.28, "to": 0.42 }]);
    let photo = edited(&desk, id, &hidden);
    let station = |at: &str| {
        let all = photo["findings"]["stations"].as_array().unwrap();
        all.iter().find(|s| s["at"] == at).unwrap()["seat"].clone()
    };
    assert!(station("0.35").is_null() && !station("0.60").is_null());
    assert_eq!(photo["findings"]["hidden"][0], "seat left edge from 0.28 to 0.42");
    let warned = photo["findings"]["warnings"].as_array().unwrap();
    assert!(warned.iter().any(|w| w["code"] == "stations-untraced"));
}

#[test]
fn an_edge_follows_a_clicked_point_and_returns_without_it() {
    let desk = Desk::start();
    let id = desk.lay("willow.jpg", &demo("willow.jpg"));
    desk.measured(id);
    let right = edited(&desk, id, &demo_edits());
    let traced = right["drawing"]["traced"][0]["points"].as_array().unwrap().clone();
    let at = |station: f64| {
        let near = |p: &&Value| ((p[2].as_f64().unwrap() - station).abs() * 1e6) as u64;
        traced.iter().min_by_key(near).unwrap().clone()
    };
    let (edge, station) = (at(0.72), right["findings"]["widths"][0]["at"].as_str().unwrap().to_owned());
    assert_eq!(station, "0.72");
    let midline = &right["drawing"]["midline"];
    let (dx, dy) = (
        midline[1][0].as_f64().unwrap() - midline[0][0].as_f64().unwrap(),
        midline[1][1].as_f64().unwrap() - midline[0][1].as_f64().unwrap(),
    );
    let side = (edge[0].as_f64().unwrap() - midline[0][0].as_f64().unwrap()) * -dy
        + (edge[1].as_f64().unwrap() - midline[0][1].as_f64().unwrap()) * dx;
    let outwards = if side > 0.0 { 1.0 } else { -1.0 };
    let length = dx.hypot(dy);
    const OFF_PX: f64 = 20.0;
    let moved = [
        edge[0].as_f64().unwrap() - outwards * OFF_PX * dy / length,
        edge[1].as_f64().unwrap() + outwards * OFF_PX * dx / length,
    ];
    let mut wrong = demo_edits();
    wrong["hints"] = json!([{ "part": "seat", "px": moved }]);
    let wider = mm(&edited(&desk, id, &wrong), "seat.widest") - mm(&right, "seat.widest");
    // 20 px are some 6.5 mm here (0.33 mm a pixel); the point may be passed by a millimetre and a half.
    assert!((4.0..9.0).contains(&wider), "{wider}");
    let back = edited(&desk, id, &demo_edits());
    assert!((mm(&back, "seat.widest") - mm(&right, "seat.widest")).abs() < 1e-9);
    // Truth, and what the README promises of it (expanded uncertainty).
    assert!((mm(&back, "seat.widest") - 214.92).abs() < 2.3);
}

#[test]
fn saved_files_are_complete_and_nothing_is_replaced_unasked() {
    let mut desk = Desk::start();
    let id = desk.lay("..%2F..%2Fevil.jpg", &demo("willow.jpg"));
    desk.measured(id);
    let mut edits = demo_edits();
    edits["name"] = "../Willow 17\"".into();
    edited(&desk, id, &edits);
    let keep = |replace: bool| {
        desk.ask(
            "POST",
            &format!("/api/photos/{id}/keep"),
            json!({ "replace": replace }).to_string().as_bytes(),
        )
    };
    assert_eq!(keep(false).status, 200);
    assert_eq!(keep(false).status, 412);
    assert_eq!(keep(true).status, 200);
    let sheet = seatspan::sheet::read(&desk.folder.path().join("willow-17-top.sheet.json")).unwrap();
    assert_eq!(sheet.photos[0].file, "willow-17-top.jpg");
    let found = desk
        .ask("POST", "/api/shelf/search", b"{\"widths\":[{\"name\":\"seat.widest\",\"least_mm\":200}]}")
        .json();
    assert_eq!(found["found"].as_array().unwrap().len(), 1);
    let report = desk.ask("GET", "/api/shelf/report.html?sheet=willow-17-top.sheet.json", b"");
    assert_eq!(report.status, 200);
    assert_eq!(desk.ask("GET", "/api/shelf/report.html?sheet=..%2F..%2Fetc%2Fpasswd", b"").status, 404);
    desk.kill();
    let names: Vec<String> = std::fs::read_dir(desk.folder.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(names.len(), 3, "{names:?}");
}

#[test]
fn the_desk_survives_broken_and_concurrent_uploads() {
    let desk = Desk::start();
    let text = desk.lay("text.jpg", b"this is no photo");
    let mut half = demo("willow.jpg");
    half.truncate(200_000);
    let head = |length: usize| {
        format!(
            "POST /api/photos?name=half.jpg HTTP/1.0\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: seatspan-{}={}\r\n\
             Content-Length: {length}\r\nConnection: close\r\n\r\n",
            desk.port,
            desk.key(),
            host = desk.host()
        )
    };
    // Longer than any photo: refused by its declared length.
    assert_eq!(desk.raw(&head(5_000_000_000), b"").status, 413);
    let ids = std::thread::scope(|scope| {
        let one = scope.spawn(|| desk.lay("one.jpg", &demo("willow.jpg")));
        let two = scope.spawn(|| desk.lay("two.jpg", &demo("fern.jpg")));
        [one.join().unwrap(), two.join().unwrap()]
    });
    let cut = desk.lay("half.jpg", &half);
    assert_eq!(desk.measured(text)["refusal"]["code"], "photo-unreadable");
    assert_eq!(desk.measured(cut)["stage"], "refused");
    for id in ids {
        assert_eq!(desk.measured(id)["stage"], "measured");
    }
}

#[test]
fn a_desk_killed_while_saving_leaves_nothing_half_written() {
    let mut desk = Desk::start();
    let id = desk.lay("willow.jpg", &demo("willow.jpg"));
    desk.measured(id);
    let path = format!("/api/photos/{id}/keep");
    std::thread::scope(|scope| {
        scope.spawn(|| {
            // Repeatedly, so that the kill hits in the middle of one.
            for _ in 0..8 {
                if std::net::TcpStream::connect(("127.0.0.1", desk.port)).is_err() {
                    break;
                }
                let _ = desk.ask("POST", &path, b"{\"replace\":true}");
            }
        });
        std::thread::sleep(std::time::Duration::from_millis(700));
        Command::new("kill").args(["-9", &desk.pid().to_string()]).status().unwrap();
    });
    desk.kill();
    for entry in std::fs::read_dir(desk.folder.path()).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        match () {
            () if name.ends_with(".sheet.json") => drop(seatspan::sheet::read(&path).unwrap()),
            () if name.ends_with(".jpg") => assert_eq!(std::fs::read(&path).unwrap(), demo("willow.jpg")),
            () if name.ends_with(".overlay.png") => drop(image::open(&path).unwrap()),
            () => assert!(name.starts_with(".seatspan-"), "{name}"),
        }
    }
}

#[test]
fn a_closed_desk_removes_its_photos() {
    let mut desk = Desk::start();
    desk.lay("text.jpg", b"this is no photo");
    let temporary = || {
        let all = std::fs::read_dir(desk.temporary.path()).unwrap();
        all.flatten().filter(|e| e.file_name().to_string_lossy().starts_with("seatspan-desk-")).count()
    };
    assert_eq!(temporary(), 1);
    Command::new("kill").args(["-INT", &desk.pid().to_string()]).status().unwrap();
    let began = std::time::Instant::now();
    while temporary() > 0 && began.elapsed().as_secs() < 10 {
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert_eq!(temporary(), 0);
    desk.kill();
}

#[test]
fn pages_to_print_reports_and_the_photo_check() {
    let desk = Desk::start();
    let pages = |path: &str, name: &str| {
        let answered = desk.ask("GET", path, b"");
        assert_eq!(answered.status, 200, "{path}: {}", String::from_utf8_lossy(&answered.body));
        assert!(answered.head.contains(&format!("filename=\"{name}\"")), "{}", answered.head);
        hayro_syntax::Pdf::new(answered.body).unwrap().pages().len()
    };
    assert_eq!(pages("/api/card.pdf?paper=letter", "card-sheet-0-letter.pdf"), 1);
    assert_eq!(pages("/api/card.pdf?pattern=strip&copy=2", "card-strip-2-a4.pdf"), 1);
    assert_eq!(pages("/api/guide.pdf", "guide-a4.pdf"), 1);
    for (path, status) in [("/api/card.pdf?copy=999999", 422), ("/api/card.pdf?pattern=round", 404)] {
        assert_eq!(desk.ask("GET", path, b"").status, status, "{path}");
    }

    let id = desk.lay("willow.jpg", &demo("willow.jpg"));
    desk.measured(id);
    let judged = desk.ask("GET", &format!("/api/photos/{id}/check"), b"").json();
    assert_eq!(judged["verdict"], "usable", "{judged}");
    assert!(judged["headline"].as_str().unwrap().contains("230 mm ±"), "{judged}");

    let rider = json!({ "name": "Ilse (invented)", "pattern": "women" });
    assert_eq!(desk.ask("PUT", "/api/rider", rider.to_string().as_bytes()).status, 200);
    let page = |query: &str| {
        let answered = desk.ask("GET", &format!("/api/photos/{id}/report.html{query}"), b"");
        String::from_utf8(answered.body).unwrap()
    };
    assert!(page("").contains("Ilse"));
    assert!(!page("?for=sale").contains("Ilse"), "a report for a sale says nothing of a rider");
    let alone = pages(&format!("/api/photos/{id}/report.pdf?for=sale"), "willow.sale.pdf");
    let with_plan = pages(&format!("/api/photos/{id}/report.pdf?for=sale&true-scale=yes"), "willow.sale.pdf");
    // A seat of 430 by 220 mm on A4: at least three sheets.
    assert!(with_plan >= alone + 3, "{alone} and {with_plan} pages");
}
