//! The desk in headless Chromium. Where the browser or its driver is missing and cannot be installed, the tests print a line
//! and pass.

use std::net::TcpListener;
use std::path::Path;
use std::time::{Duration, Instant};

use super::served::{Desk, demo};
use super::together::pair;
use super::webdriver::{WIDE, Window, in_browser, key};
use serde_json::{Value, json};

const END: &str = "const b = document.querySelector('[data-end=\"0\"] circle').getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]";
/// Where the photo's pixel (x, y) is on the screen.
fn on_screen(x: f64, y: f64) -> String {
    format!(
        "const s = document.querySelector('.lines'); const p = new DOMPoint({x}, {y}).matrixTransform(s.getScreenCTM()); return [p.x, p.y]"
    )
}

#[test]
fn the_whole_flow_from_a_photo_to_the_shelf() {
    in_browser(WIDE, |desk, browser| {
        browser.picture("empty");
        browser.choose("#choose-first", &["willow.jpg", "fern.jpg"]);
        browser.until("document.querySelectorAll('.photo').length === 2");
        browser.picture("progress");
        browser.width_mm("seat.widest");
        for (at, mm) in [("0", "44"), ("0.25", "26"), ("0.5", "11"), ("0.75", "31"), ("1", "68")] {
            browser.fill(&format!("height-seat-{at}"), mm);
        }
        // Truth, mm (fixtures/demo/README.md), and the uncertainty that the page shows with it.
        browser.until("!document.querySelector('#heights .notice') && document.querySelector('.work').ariaBusy === 'false'")
            ;
        let widest = browser.width_mm("seat.widest");
        assert!((widest - 214.92).abs() < 2.4, "{widest}");
        browser.picture("measured");

        let from = browser.place_of(END);
        browser.drag(from, (from.0 + 12, from.1 - 6));
        browser.until("document.querySelector('#corrections')?.innerText.includes('ends set by hand')");
        let took = browser.until("document.querySelector('.work').dataset.tookMs");
        println!("a recomputation took {took} ms, seen from the page");
        browser.click("#undo");
        browser.until("!document.querySelector('#corrections')");
        browser.click("#redo");
        browser.until("document.querySelector('#corrections')");
        browser.click("#undo");
        browser.until("!document.querySelector('#corrections')");

        browser.ask("location.hash = '#rider'");
        browser.click("#sample-rider");
        browser.picture("rider");
        browser.click("#use-rider");
        browser.until("document.querySelector('#toast').textContent.includes('judged for Ilse')");
        browser.ask("location.hash = '#photos'");
        browser.until("document.querySelector('#verdicts')?.innerText.includes('Ilse')");
        browser.fill("name", "Willow (invented)");
        browser.until("document.querySelector('.photo strong').textContent === 'Willow (invented)'");
        browser.click("#keep");
        browser.until("document.querySelector('#kept').textContent.includes('On the shelf')");
        assert!(desk.folder.path().join("willow-invented-top.sheet.json").exists());
        browser.ask("document.querySelector('#verdicts').scrollIntoView()");
        browser.picture("verdicts");
        browser.ask("location.hash = '#shelf'");
        browser.until("document.querySelector('.shelf tbody tr')");
        browser.picture("shelf");
    });
}

#[test]
fn a_second_photo_gives_the_heights() {
    in_browser(WIDE, |desk, browser| {
        let folder = tempfile::tempdir().unwrap();
        let files = [("left.jpg", 0), ("right.jpg", 1)].map(|(name, i)| {
            let file = folder.path().join(name);
            std::fs::write(&file, &pair()[i]).unwrap();
            file.display().to_string()
        });
        browser.choose("#choose-first", &[&files[0]]);
        let alone = browser.width_mm("seat.widest");
        browser.until("document.querySelector('#heights .notice')");
        browser.choose("#with-file", &[&files[1]]);
        browser.until("document.querySelectorAll('.from-photos tbody tr').length === 5");
        let there = desk.ask("GET", "/api/photos/1", b"").json();
        let widest = &there["findings"]["widths"][0];
        let together = browser.width_mm("seat.widest");
        assert!((together - widest["mm"].as_f64().unwrap()).abs() < 1e-9 && together != alone);
        // Without heights u95 is some eleven millimetres, with a pair some two.
        assert!(widest["u95"].as_f64().unwrap() < 3.0, "{widest}");
        assert_eq!(browser.ask("return Boolean(document.querySelector('#heights .notice'))"), false);
        // The other photo cannot be removed meanwhile.
        browser.ask("location.hash = '#photos/2'");
        browser.until("document.querySelector('#with')?.innerText.includes('where the result is shown')");
        browser.click("#off");
        browser.until("document.querySelector('#toast').textContent.includes('is measured together with')");
        browser.ask("location.hash = '#photos/1'");
        browser.until("document.querySelector('#with-2')?.checked");
        browser.click("#undo");
        browser.until("document.querySelector('#heights .notice')");
        assert!((browser.width_mm("seat.widest") - alone).abs() < 1e-9);
        browser.click("#redo");
        browser.until("document.querySelector('.from-photos')");
        browser.click("#keep");
        browser.until("document.querySelector('#kept').textContent.includes('On the shelf')");
        for name in ["left-top.jpg", "left-top-2.jpg", "left-top.overlay.png", "left-top-2.overlay.png"] {
            assert!(desk.folder.path().join(name).exists(), "{name}");
        }
    });
}

#[test]
fn lengths_are_typed_in_inches_where_inches_come_first() {
    in_browser(WIDE, |desk, browser| {
        browser.click("#sample");
        browser.width_mm("seat.widest");
        browser.click("#units");
        browser.fill("height-seat-0.5", "0.5");
        browser.fill("bar", "5.9");
        browser.until("document.querySelector('.work').ariaBusy === 'false'");
        let edits = desk.ask("GET", "/api/photos/1", b"").json()["edits"].clone();
        // An inch is 25.4 mm; what was not touched keeps its millimetres.
        assert_eq!(
            edits["seat_lift"],
            json!([[0.0, 44.0], [0.25, 26.0], [0.5, 12.7], [0.75, 31.0], [1.0, 68.0]])
        );
        assert_eq!(edits["bar_mm"], 149.86);
    });
}

/// A straight-edge 100 mm over the card: the readings of the sample's heights give its width again.
#[test]
fn heights_are_read_down_from_a_straight_edge() {
    in_browser(WIDE, |desk, browser| {
        browser.click("#sample");
        let before = browser.width_mm("seat.widest");
        for (station, reading) in
            [("0", "5.6 cm"), ("0.25", "74 mm"), ("0.5", "89"), ("0.75", "6.9cm"), ("1", "32")]
        {
            browser.fill(&format!("height-seat-{station}"), reading);
        }
        browser.fill("to-card", "100");
        browser.until("document.querySelector('.work').ariaBusy === 'false'");
        let photo = desk.ask("GET", "/api/photos/1", b"").json();
        assert_eq!(photo["edits"]["seat_lift"][0], json!([0.0, "5.6 cm"]), "readings stay as written");
        let after = photo["findings"]["widths"][0]["mm"].as_f64().unwrap();
        // The same heights, traced again in the same place: hundredths of a millimetre.
        assert!((after - before).abs() < 0.1, "{before} mm, then {after} mm");
    });
}

#[test]
fn what_was_measured_by_hand_is_judged() {
    in_browser(WIDE, |desk, browser| {
        browser.click("#sample");
        browser.width_mm("seat.widest");
        browser.click("#by-hand summary");
        browser.until("document.getElementById('by_hand.bars')");
        browser.fill("by_hand.bars", "21 cm");
        browser.until("document.getElementById('toast').textContent.includes('Saved for')");
        let file = std::fs::read_to_string(desk.folder.path().join("willow-invented.saddle.toml")).unwrap();
        assert!(file.contains("bars = \"21 cm\""), "{file}");
    });
}

#[test]
fn one_click_corrects_an_edge() {
    in_browser(WIDE, |_desk, browser| {
        browser.click("#sample");
        let before = browser.width_mm("seat.widest");
        browser.click("[data-tool=\"edge\"]");
        let line = browser.until("document.querySelector('.named')?.getAttribute('d')");
        let numbers: Vec<f64> =
            line.as_str().unwrap().split(['M', 'L', ' ']).filter_map(|n| n.parse().ok()).collect();
        // Further out on the widest place's own line, by 24 px of the photo: some 8 mm here.
        const OUT_PX: f64 = 24.0;
        let (dx, dy) = (numbers[0] - numbers[2], numbers[1] - numbers[3]);
        let length = dx.hypot(dy);
        let at = browser
            .place_of(&on_screen(numbers[0] + OUT_PX * dx / length, numbers[1] + OUT_PX * dy / length));
        browser.drag(at, at);
        browser.until("document.querySelector('#corrections')?.innerText.includes('edge clicked at')");
        let after = browser.width_mm("seat.widest");
        // A click is accurate to a screen pixel, here three pixels of the photo (1 mm), and its u is 0.7 mm.
        assert!((4.0..12.0).contains(&(after - before)), "{before} became {after}");
        browser.picture("shown");
        browser.click("#undo");
        browser.until("!document.querySelector('#corrections')");
        assert!((browser.width_mm("seat.widest") - before).abs() < 0.1);
    });
}

#[test]
fn both_ends_are_set_by_clicking() {
    in_browser(WIDE, |_desk, browser| {
        browser.click("#sample");
        browser.width_mm("seat.widest");
        let show = |ends: [(f64, f64); 2]| {
            browser.click("[data-tool=\"ends\"]");
            for (x, y) in ends {
                let at = browser.place_of(&on_screen(x, y));
                browser.drag(at, at);
            }
        };
        // The demo's README names the pixels and the width.
        show([(1022.7, 1437.4), (2335.6, 2021.9)]);
        browser.until("document.querySelector('#corrections')?.innerText.includes('ends set by hand')");
        let widest = browser.width_mm("seat.widest");
        assert!((widest - 214.92).abs() < 2.4, "{widest}");
        // Ends on the bare floor are refused with a hint, and stay to be moved.
        show([(300.0, 2500.0), (900.0, 2900.0)]);
        browser.until("document.querySelector('.refusal #show-ends')");
        browser.until("document.querySelector('#check')?.innerText.includes('230 mm')");
        assert_eq!(browser.ask("return document.querySelectorAll('[data-end]').length"), 2);
        browser.picture("refused");
        browser.click("#undo");
        assert!((browser.width_mm("seat.widest") - widest).abs() < 0.1);
    });
}

#[test]
fn text_being_typed_survives_an_update() {
    in_browser(WIDE, |_desk, browser| {
        browser.click("#sample");
        browser.width_mm("seat.widest");
        browser.type_into("#name", ", half a na");
        for (at, mm) in [("0", "45"), ("0.5", "12"), ("1", "66")] {
            browser.fill(&format!("height-seat-{at}"), mm);
        }
        browser.until("document.querySelector('.work').ariaBusy === 'false'");
        let typed =
            "document.activeElement.id === 'name' && document.activeElement.value.endsWith(', half a na')";
        assert_eq!(browser.ask(&format!("return {typed}")), true);
        // A click beside the field leaves it.
        browser.point_at("#keep-head");
        browser.until("document.querySelector('.photo strong').textContent.endsWith(', half a na')");
    });
}

#[test]
fn by_keyboard_alone() {
    in_browser(WIDE, |_desk, browser| {
        let focused = |script: &str| browser.ask(&format!("return document.activeElement?.{script}"));
        browser.until("document.querySelector('#sample')");
        for _ in 0..20 {
            browser.press(&[key::TAB]);
            if focused("id") == "sample" {
                break;
            }
        }
        assert_eq!(focused("id"), "sample");
        browser.press(&[key::ENTER]);
        let before = browser.width_mm("seat.widest");
        for _ in 0..40 {
            browser.press(&[key::TAB]);
            if focused("dataset?.end") == "0" {
                break;
            }
        }
        assert_eq!(focused("dataset?.end"), "0", "the front end can be reached");
        browser.press(&[key::RIGHT; 3]);
        browser.until("document.querySelector('#corrections')?.innerText.includes('ends set by hand')");
        assert_eq!(focused("dataset?.end"), "0", "the end that was moved keeps the focus");
        let after = browser.width_mm("seat.widest");
        assert!((after - before).abs() < 3.0);
    });
}

#[test]
fn a_narrow_screen_does_not_overflow() {
    in_browser(Window { width: 390, height: 844, dark: false }, |_desk, browser| {
        let fits = "document.documentElement.scrollWidth <= innerWidth";
        browser.picture("phone-empty");
        assert_eq!(browser.ask(&format!("return {fits}")), true, "empty");
        browser.click("#sample");
        browser.width_mm("seat.widest");
        assert_eq!(browser.ask(&format!("return {fits}")), true, "measured");
        browser.picture("phone-measured");
        browser.ask("document.querySelector('#widths').scrollIntoView()");
        browser.picture("phone-widths");
        for part in ["rider", "shelf"] {
            browser.ask(&format!("location.hash = '#{part}'"));
            browser.until("document.querySelector('.page')");
            assert_eq!(browser.ask(&format!("return {fits}")), true, "{part}");
            browser.picture(&format!("phone-{part}"));
        }
    });
}

#[test]
fn dark_mode() {
    in_browser(Window { dark: true, ..WIDE }, |_desk, browser| {
        browser.picture("dark-empty");
        browser.click("#sample");
        browser.width_mm("seat.widest");
        browser.picture("dark-measured");
        let ground = browser.ask("return getComputedStyle(document.documentElement).backgroundColor");
        assert_eq!(ground, "rgb(22, 29, 27)");
    });
}

#[test]
fn a_refusal_says_what_to_do() {
    in_browser(WIDE, |desk, browser| {
        let mut png = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_pixel(1200, 900, image::Rgb([120, 130, 140]))
            .write_to(&mut png, image::ImageFormat::Png)
            .unwrap();
        let id = desk.lay("wall.png", png.get_ref());
        desk.measured(id);
        browser.reload();
        let said = browser.until("document.querySelector('.refusal')?.innerText");
        assert!(said.as_str().unwrap().contains("What to do"), "{said}");
        browser.picture("refused");
    });
}

/// The browser's command line, visible to every user of the machine, does not contain the key.
#[cfg(target_os = "linux")]
#[test]
fn the_browser_is_opened_through_a_private_file() {
    use std::os::unix::fs::PermissionsExt;
    in_browser(WIDE, |_, browser| {
        let programs = tempfile::tempdir().unwrap();
        let (opener, argument) = (programs.path().join("xdg-open"), programs.path().join("argument"));
        std::fs::write(&opener, format!("#!/bin/sh\nprintf %s \"$1\" > {}\n", argument.display())).unwrap();
        std::fs::set_permissions(&opener, std::fs::Permissions::from_mode(0o755)).unwrap();
        let desk = Desk::start_opening(programs.path());
        let began = Instant::now();
        let page = loop {
            match std::fs::read_to_string(&argument) {
                Ok(page) if !page.is_empty() => break page,
                _ => assert!(began.elapsed() < Duration::from_secs(30), "nothing was opened"),
            }
            std::thread::sleep(Duration::from_millis(20));
        };
        assert!(!page.contains(desk.key()), "{page}");
        assert_eq!(std::fs::metadata(&page).unwrap().permissions().mode() & 0o077, 0);
        browser.go(&format!("file://{page}"));
        browser.until("document.querySelector('#sample')");
        assert!(!Path::new(&page).exists(), "removed once it has served");
    });
}

/// A page of another origin, open in the same browser, can neither read nor change anything.
#[test]
fn a_hostile_page_gets_nothing() {
    in_browser(WIDE, |desk, browser| {
        let id = desk.lay("willow.jpg", &demo("willow.jpg"));
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let there = listener.local_addr().unwrap().port();
        std::thread::spawn(move || {
            use std::io::{Read, Write};
            for mut stream in listener.incoming().flatten() {
                let _ = stream.read(&mut [0; 4096]);
                let page = "<!doctype html><title>hostile</title>";
                let _ = write!(
                    stream,
                    "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{page}",
                    page.len()
                );
            }
        });
        // `localhost` is another site than `127.0.0.1`.
        browser.go(&format!("http://localhost:{there}/"));
        let host = desk.host();
        let script = format!(
            "const done = arguments[0]; (async () => {{ const got = []; \
             for (const [method, path, mode] of [['GET', '/api/photos', 'cors'], ['GET', '/api/photos', 'no-cors'], ['DELETE', '/api/photos/{id}', 'cors'], ['POST', '/api/sample', 'no-cors']]) {{ \
             try {{ const r = await fetch('http://{host}' + path, {{ method, mode, credentials: 'include' }}); got.push((await r.text()).length); }} catch {{ got.push('failed'); }} }} \
             const image = await new Promise((ok) => {{ const i = new Image(); i.onload = () => ok('seen'); i.onerror = () => ok('not seen'); i.src = 'http://{host}/api/photos/{id}/picture?side=64'; }}); \
             done([...got, image]); }})()"
        );
        let got = browser.ask_later(&script);
        assert_eq!(got[4], "not seen");
        assert!(
            got.as_array().unwrap().iter().all(|g| *g == "failed" || *g == "not seen" || *g == 0),
            "{got}"
        );
        let photos = desk.ask("GET", "/api/photos", b"").json();
        assert_eq!(photos.as_array().unwrap().len(), 1, "nothing was added or removed");
    });
}

/// Twenty photos at once: the page stays usable, and the memory is bounded.
#[test]
fn twenty_photos_dropped_at_once() {
    in_browser(WIDE, |desk, browser| {
        let files: Vec<&str> = (0..20).map(|i| if i % 2 == 0 { "willow.jpg" } else { "fern.jpg" }).collect();
        browser.choose("#choose-first", &files);
        browser.until("document.querySelectorAll('.photo').length >= 12");
        // While they are being measured another part of the page answers.
        let began = Instant::now();
        browser.ask("location.hash = '#rider'");
        browser.until("document.querySelector('#use-rider')");
        assert!(began.elapsed() < Duration::from_secs(5), "{:?}", began.elapsed());
        browser.ask("location.hash = '#photos'");
        browser.until("document.querySelectorAll('.photo').length === 20");
        browser.until("document.querySelectorAll('.photo.measured').length >= 2");
        browser.picture("twenty");
        let all: Vec<Value> = (1..=20).map(|id| desk.measured(id)).collect();
        assert!(all.iter().all(|photo| photo["stage"] == "measured"));
        if let Ok(status) = std::fs::read_to_string(format!("/proc/{}/status", desk.pid())) {
            let peak = status
                .lines()
                .find_map(|l| l.strip_prefix("VmHWM:")?.trim().split(' ').next()?.parse::<f64>().ok());
            let peak_mb = peak.unwrap() / 1000.0;
            println!(
                "twenty photos: at most {peak_mb:.0} MB, all measured after {:.0} s",
                began.elapsed().as_secs_f64()
            );
            // Two decoded photos, one in work, pictures for the page: well within what a small machine has.
            assert!(peak_mb < 900.0, "{peak_mb}");
        }
    });
}
