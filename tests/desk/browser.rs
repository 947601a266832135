//! The desk in headless Chromium. Where the browser or its driver is missing and cannot be installed, the tests print a line
//! and pass.

use std::future::Future;
use std::net::TcpListener;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::served::{Desk, demo};
use super::together::pair;
use fantoccini::actions::{InputSource, KeyAction, KeyActions, MouseActions, PointerAction};
use fantoccini::key::Key;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

/// A driver that ends with the test, and its browser with it.
struct Driver {
    program: Child,
    port: u16,
    /// The browser's own folder, named in its command line.
    profile: tempfile::TempDir,
}

impl Drop for Driver {
    fn drop(&mut self) {
        // A test that fails has not closed its browser.
        let _ = Command::new("pkill").arg("-f").arg(self.profile.path()).status();
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

/// The driver, installed first where that is possible.
fn driver() -> Option<Driver> {
    let ensure = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser/ensure");
    let there = Command::new("sh").arg(ensure).stdout(Stdio::null()).stderr(Stdio::null()).status();
    if !there.is_ok_and(|s| s.success()) {
        println!("skipped: Chromium and its driver are not here and could not be installed");
        return None;
    }
    let profile = tempfile::tempdir().unwrap();
    let log = profile.path().join("driver.log");
    let program = Command::new("chromedriver")
        .arg("--port=0")
        .arg(format!("--log-path={}", log.display()))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut driver = Driver { program, port: 0, profile };
    let began = Instant::now();
    while driver.port == 0 {
        assert!(began.elapsed() < Duration::from_secs(30), "the driver does not say its port");
        std::thread::sleep(Duration::from_millis(20));
        driver.port = std::fs::read_to_string(&log).ok().and_then(|said| port_in(&said)).unwrap_or(0);
    }
    Some(driver)
}

/// The port that the driver chose, by its log: a port looked for beforehand may be another's by the time it starts.
fn port_in(log: &str) -> Option<u16> {
    let line = log.lines().find(|l| l.contains("started successfully on port"))?;
    line.split(|c: char| !c.is_ascii_digit()).rfind(|digits| !digits.is_empty())?.parse().ok()
}

/// How the browser is opened.
#[derive(Clone, Copy)]
pub struct Window {
    /// Size, CSS pixels.
    pub width: u32,
    /// See `width`.
    pub height: u32,
    /// Whether the dark colours are wished for.
    pub dark: bool,
}

/// A desktop's.
pub const WIDE: Window = Window { width: 1400, height: 950, dark: false };

async fn browser(driver: &Driver, window: Window) -> Client {
    let mut args = vec![
        "--headless".into(),
        "--no-sandbox".into(),
        "--disable-gpu".into(),
        "--disable-dev-shm-usage".into(),
        "--disable-background-networking".into(),
        "--disable-component-update".into(),
        "--disable-sync".into(),
        format!("--user-data-dir={}", driver.profile.path().display()),
    ];
    if window.dark {
        args.push("--blink-settings=preferredColorScheme=0".into());
    }
    let options = json!({ "goog:chromeOptions": { "args": args } });
    let mut capabilities = options.as_object().unwrap().clone();
    if window.width < 500
        && let Some(chrome) = capabilities["goog:chromeOptions"].as_object_mut()
    {
        let metrics = json!({ "width": window.width, "height": window.height, "pixelRatio": 2.0 });
        chrome.insert("mobileEmulation".into(), json!({ "deviceMetrics": metrics }));
    }
    let client = ClientBuilder::new(HttpConnector::new())
        .capabilities(capabilities)
        .connect(&format!("http://127.0.0.1:{}", driver.port))
        .await
        .unwrap();
    client.set_window_size(window.width, window.height).await.unwrap();
    client
}

/// Runs a test in a browser of its own.
pub fn in_browser<F: Future<Output = ()>>(window: Window, test: impl FnOnce(Desk, Client) -> F) {
    let Some(driver) = driver() else { return };
    let desk = Desk::start();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let client = browser(&driver, window).await;
        client.goto(&desk.address).await.unwrap();
        let closing = client.clone();
        test(desk, client).await;
        let _ = closing.close().await;
    });
}

pub async fn ask(client: &Client, script: &str) -> Value {
    client.execute(script, Vec::new()).await.unwrap_or_else(|e| panic!("{script}: {e}"))
}

/// Waits until a script gives something true.
pub async fn until(client: &Client, script: &str) -> Value {
    let began = Instant::now();
    loop {
        let said = ask(client, &format!("return {script}")).await;
        if !(said.is_null() || said == false) {
            return said;
        }
        if began.elapsed() > Duration::from_secs(120) {
            let page = ask(client, "return document.body.innerText").await;
            panic!("never: {script}\n{}", page.as_str().unwrap_or_default());
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

pub async fn click(client: &Client, css: &str) {
    client.wait().for_element(Locator::Css(css)).await.unwrap();
    ask(client, &format!("document.querySelector('{css}').click()")).await;
}

pub async fn width_mm(client: &Client, name: &str) -> f64 {
    until(client, &format!("document.querySelector('[data-width=\"{name}\"]')?.dataset.mm"))
        .await
        .as_str()
        .unwrap()
        .parse()
        .unwrap()
}

/// Keeps a picture of the page where `SEATSPAN_PICTURES` says, for people to look at.
pub async fn picture(client: &Client, name: &str) {
    if let Ok(folder) = std::env::var("SEATSPAN_PICTURES") {
        tokio::time::sleep(Duration::from_millis(900)).await;
        std::fs::write(Path::new(&folder).join(format!("{name}.png")), client.screenshot().await.unwrap())
            .unwrap();
    }
}

/// A file chosen in the page's own field.
pub async fn choose(client: &Client, field: &str, files: &[&str]) {
    let paths: Vec<String> = files
        .iter()
        .map(|f| Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo").join(f).display().to_string())
        .collect();
    let input = client.wait().for_element(Locator::Css(field)).await.unwrap();
    input.send_keys(&paths.join("\n")).await.unwrap();
}

pub async fn fill(client: &Client, id: &str, text: &str) {
    let script = format!(
        "const f = document.getElementById('{id}'); f.value = '{text}'; f.dispatchEvent(new Event('change', {{ bubbles: true }})); f.dispatchEvent(new Event('input'))"
    );
    ask(client, &script).await;
}

/// Mouse down at a place of the window, over to another, and up.
pub async fn drag(client: &Client, from: (i64, i64), to: (i64, i64)) {
    let to_place = |(x, y): (i64, i64)| PointerAction::MoveTo {
        duration: Some(Duration::from_millis(30)),
        x: x as f64,
        y: y as f64,
    };
    let mouse = MouseActions::new("mouse".into())
        .then(to_place(from))
        .then(PointerAction::Down { button: 0 })
        .then(to_place(((from.0 + to.0) / 2, (from.1 + to.1) / 2)))
        .then(to_place(to))
        .then(PointerAction::Up { button: 0 });
    client.perform_actions(mouse).await.unwrap();
}

pub async fn place_of(client: &Client, script: &str) -> (i64, i64) {
    let at = ask(client, script).await;
    (at[0].as_f64().unwrap().round() as i64, at[1].as_f64().unwrap().round() as i64)
}

const END: &str = "const b = document.querySelector('[data-end=\"0\"] circle').getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]";
/// Where the photo's pixel (x, y) is on the screen.
fn on_screen(x: f64, y: f64) -> String {
    format!(
        "const s = document.querySelector('.lines'); const p = new DOMPoint({x}, {y}).matrixTransform(s.getScreenCTM()); return [p.x, p.y]"
    )
}

#[test]
fn the_whole_flow_from_a_photo_to_the_shelf() {
    in_browser(WIDE, async |desk, client| {
        picture(&client, "empty").await;
        choose(&client, "#choose-first", &["willow.jpg", "fern.jpg"]).await;
        until(&client, "document.querySelectorAll('.photo').length === 2").await;
        picture(&client, "progress").await;
        width_mm(&client, "seat.widest").await;
        for (at, mm) in [("0", "44"), ("0.25", "26"), ("0.5", "11"), ("0.75", "31"), ("1", "68")] {
            fill(&client, &format!("height-seat-{at}"), mm).await;
        }
        // Truth, mm (fixtures/demo/README.md), and the uncertainty that the page shows with it.
        until(&client, "!document.querySelector('#heights .notice') && document.querySelector('.work').ariaBusy === 'false'")
            .await;
        let widest = width_mm(&client, "seat.widest").await;
        assert!((widest - 214.92).abs() < 2.4, "{widest}");
        picture(&client, "measured").await;

        let from = place_of(&client, END).await;
        drag(&client, from, (from.0 + 12, from.1 - 6)).await;
        until(&client, "document.querySelector('#corrections')?.innerText.includes('ends set by hand')")
            .await;
        let took = until(&client, "document.querySelector('.work').dataset.tookMs").await;
        println!("a recomputation took {took} ms, seen from the page");
        click(&client, "#undo").await;
        until(&client, "!document.querySelector('#corrections')").await;
        click(&client, "#redo").await;
        until(&client, "document.querySelector('#corrections')").await;
        click(&client, "#undo").await;
        until(&client, "!document.querySelector('#corrections')").await;

        ask(&client, "location.hash = '#rider'").await;
        click(&client, "#sample-rider").await;
        picture(&client, "rider").await;
        click(&client, "#use-rider").await;
        until(&client, "document.querySelector('#toast').textContent.includes('judged for Ilse')").await;
        ask(&client, "location.hash = '#photos'").await;
        until(&client, "document.querySelector('#verdicts')?.innerText.includes('Ilse')").await;
        fill(&client, "name", "Willow (invented)").await;
        until(&client, "document.querySelector('.photo strong').textContent === 'Willow (invented)'").await;
        click(&client, "#keep").await;
        until(&client, "document.querySelector('#kept').textContent.includes('On the shelf')").await;
        assert!(desk.folder.path().join("willow-invented-top.sheet.json").exists());
        ask(&client, "document.querySelector('#verdicts').scrollIntoView()").await;
        picture(&client, "verdicts").await;
        ask(&client, "location.hash = '#shelf'").await;
        until(&client, "document.querySelector('.shelf tbody tr')").await;
        picture(&client, "shelf").await;
    });
}

#[test]
fn a_second_photo_gives_the_heights() {
    in_browser(WIDE, async |desk, client| {
        let folder = tempfile::tempdir().unwrap();
        let files = [("left.jpg", 0), ("right.jpg", 1)].map(|(name, i)| {
            let file = folder.path().join(name);
            std::fs::write(&file, &pair()[i]).unwrap();
            file.display().to_string()
        });
        choose(&client, "#choose-first", &[&files[0]]).await;
        let alone = width_mm(&client, "seat.widest").await;
        until(&client, "document.querySelector('#heights .notice')").await;
        choose(&client, "#with-file", &[&files[1]]).await;
        until(&client, "document.querySelectorAll('.from-photos tbody tr').length === 5").await;
        let there = desk.ask("GET", "/api/photos/1", b"").json();
        let widest = &there["findings"]["widths"][0];
        let together = width_mm(&client, "seat.widest").await;
        assert!((together - widest["mm"].as_f64().unwrap()).abs() < 1e-9 && together != alone);
        // Without heights u95 is some eleven millimetres, with a pair some two.
        assert!(widest["u95"].as_f64().unwrap() < 3.0, "{widest}");
        assert_eq!(ask(&client, "return Boolean(document.querySelector('#heights .notice'))").await, false);
        // The other photo cannot be removed meanwhile.
        ask(&client, "location.hash = '#photos/2'").await;
        until(&client, "document.querySelector('#with')?.innerText.includes('where the result is shown')")
            .await;
        click(&client, "#off").await;
        until(&client, "document.querySelector('#toast').textContent.includes('is measured together with')")
            .await;
        ask(&client, "location.hash = '#photos/1'").await;
        until(&client, "document.querySelector('#with-2')?.checked").await;
        click(&client, "#undo").await;
        until(&client, "document.querySelector('#heights .notice')").await;
        assert!((width_mm(&client, "seat.widest").await - alone).abs() < 1e-9);
        click(&client, "#redo").await;
        until(&client, "document.querySelector('.from-photos')").await;
        click(&client, "#keep").await;
        until(&client, "document.querySelector('#kept').textContent.includes('On the shelf')").await;
        for name in ["left-top.jpg", "left-top-2.jpg", "left-top.overlay.png", "left-top-2.overlay.png"] {
            assert!(desk.folder.path().join(name).exists(), "{name}");
        }
    });
}

#[test]
fn lengths_are_typed_in_inches_where_inches_come_first() {
    in_browser(WIDE, async |desk, client| {
        click(&client, "#sample").await;
        width_mm(&client, "seat.widest").await;
        click(&client, "#units").await;
        fill(&client, "height-seat-0.5", "0.5").await;
        fill(&client, "bar", "5.9").await;
        until(&client, "document.querySelector('.work').ariaBusy === 'false'").await;
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
    in_browser(WIDE, async |desk, client| {
        click(&client, "#sample").await;
        let before = width_mm(&client, "seat.widest").await;
        for (station, reading) in
            [("0", "5.6 cm"), ("0.25", "74 mm"), ("0.5", "89"), ("0.75", "6.9cm"), ("1", "32")]
        {
            fill(&client, &format!("height-seat-{station}"), reading).await;
        }
        fill(&client, "to-card", "100").await;
        until(&client, "document.querySelector('.work').ariaBusy === 'false'").await;
        let photo = desk.ask("GET", "/api/photos/1", b"").json();
        assert_eq!(photo["edits"]["seat_lift"][0], json!([0.0, "5.6 cm"]), "readings stay as written");
        let after = photo["findings"]["widths"][0]["mm"].as_f64().unwrap();
        // The same heights, traced again in the same place: hundredths of a millimetre.
        assert!((after - before).abs() < 0.1, "{before} mm, then {after} mm");
    });
}

#[test]
fn what_was_measured_by_hand_is_judged() {
    in_browser(WIDE, async |desk, client| {
        click(&client, "#sample").await;
        width_mm(&client, "seat.widest").await;
        click(&client, "#by-hand summary").await;
        until(&client, "document.getElementById('by_hand.bars')").await;
        fill(&client, "by_hand.bars", "21 cm").await;
        until(&client, "document.getElementById('toast').textContent.includes('Saved for')").await;
        let file = std::fs::read_to_string(desk.folder.path().join("willow-invented.saddle.toml")).unwrap();
        assert!(file.contains("bars = \"21 cm\""), "{file}");
    });
}

#[test]
fn one_click_corrects_an_edge() {
    in_browser(WIDE, async |_desk, client| {
        click(&client, "#sample").await;
        let before = width_mm(&client, "seat.widest").await;
        click(&client, "[data-tool=\"edge\"]").await;
        let line = until(&client, "document.querySelector('.named')?.getAttribute('d')").await;
        let numbers: Vec<f64> =
            line.as_str().unwrap().split(['M', 'L', ' ']).filter_map(|n| n.parse().ok()).collect();
        // Further out on the widest place's own line, by 24 px of the photo: some 8 mm here.
        const OUT_PX: f64 = 24.0;
        let (dx, dy) = (numbers[0] - numbers[2], numbers[1] - numbers[3]);
        let length = dx.hypot(dy);
        let at = place_of(
            &client,
            &on_screen(numbers[0] + OUT_PX * dx / length, numbers[1] + OUT_PX * dy / length),
        )
        .await;
        drag(&client, at, at).await;
        until(&client, "document.querySelector('#corrections')?.innerText.includes('edge clicked at')").await;
        let after = width_mm(&client, "seat.widest").await;
        // A click is accurate to a screen pixel, here three pixels of the photo (1 mm), and its u is 0.7 mm.
        assert!((4.0..12.0).contains(&(after - before)), "{before} became {after}");
        picture(&client, "shown").await;
        click(&client, "#undo").await;
        until(&client, "!document.querySelector('#corrections')").await;
        assert!((width_mm(&client, "seat.widest").await - before).abs() < 0.1);
    });
}

#[test]
fn both_ends_are_set_by_clicking() {
    in_browser(WIDE, async |_desk, client| {
        click(&client, "#sample").await;
        width_mm(&client, "seat.widest").await;
        let show = async |ends: [(f64, f64); 2]| {
            click(&client, "[data-tool=\"ends\"]").await;
            for (x, y) in ends {
                let at = place_of(&client, &on_screen(x, y)).await;
                drag(&client, at, at).await;
            }
        };
        // The demo's README names the pixels and the width.
        show([(1022.7, 1437.4), (2335.6, 2021.9)]).await;
        until(&client, "document.querySelector('#corrections')?.innerText.includes('ends set by hand')")
            .await;
        let widest = width_mm(&client, "seat.widest").await;
        assert!((widest - 214.92).abs() < 2.4, "{widest}");
        // Ends on the bare floor are refused with a hint, and stay to be moved.
        show([(300.0, 2500.0), (900.0, 2900.0)]).await;
        until(&client, "document.querySelector('.refusal #show-ends')").await;
        until(&client, "document.querySelector('#check')?.innerText.includes('230 mm')").await;
        assert_eq!(ask(&client, "return document.querySelectorAll('[data-end]').length").await, 2);
        picture(&client, "refused").await;
        click(&client, "#undo").await;
        assert!((width_mm(&client, "seat.widest").await - widest).abs() < 0.1);
    });
}

#[test]
fn text_being_typed_survives_an_update() {
    in_browser(WIDE, async |_desk, client| {
        click(&client, "#sample").await;
        width_mm(&client, "seat.widest").await;
        let field = client.find(Locator::Css("#name")).await.unwrap();
        field.send_keys(", half a na").await.unwrap();
        for (at, mm) in [("0", "45"), ("0.5", "12"), ("1", "66")] {
            fill(&client, &format!("height-seat-{at}"), mm).await;
        }
        until(&client, "document.querySelector('.work').ariaBusy === 'false'").await;
        let typed =
            "document.activeElement.id === 'name' && document.activeElement.value.endsWith(', half a na')";
        assert_eq!(ask(&client, &format!("return {typed}")).await, true);
        // A click beside the field leaves it.
        client.find(Locator::Css("#keep-head")).await.unwrap().click().await.unwrap();
        until(&client, "document.querySelector('.photo strong').textContent.endsWith(', half a na')").await;
    });
}

#[test]
fn by_keyboard_alone() {
    in_browser(WIDE, async |_desk, client| {
        let press = async |keys: &[Key]| {
            let actions = keys.iter().fold(KeyActions::new("keys".into()), |actions, key| {
                let value = char::from(*key);
                actions.then(KeyAction::Down { value }).then(KeyAction::Up { value })
            });
            client.perform_actions(actions).await.unwrap();
        };
        let focused =
            async |script: &str| ask(&client, &format!("return document.activeElement?.{script}")).await;
        client.wait().for_element(Locator::Css("#sample")).await.unwrap();
        for _ in 0..20 {
            press(&[Key::Tab]).await;
            if focused("id").await == "sample" {
                break;
            }
        }
        assert_eq!(focused("id").await, "sample");
        press(&[Key::Enter]).await;
        let before = width_mm(&client, "seat.widest").await;
        for _ in 0..40 {
            press(&[Key::Tab]).await;
            if focused("dataset?.end").await == "0" {
                break;
            }
        }
        assert_eq!(focused("dataset?.end").await, "0", "the front end can be reached");
        press(&[Key::Right, Key::Right, Key::Right]).await;
        until(&client, "document.querySelector('#corrections')?.innerText.includes('ends set by hand')")
            .await;
        assert_eq!(focused("dataset?.end").await, "0", "the end that was moved keeps the focus");
        let after = width_mm(&client, "seat.widest").await;
        assert!((after - before).abs() < 3.0);
    });
}

#[test]
fn a_narrow_screen_does_not_overflow() {
    in_browser(Window { width: 390, height: 844, dark: false }, async |_desk, client| {
        let fits = "document.documentElement.scrollWidth <= innerWidth";
        picture(&client, "phone-empty").await;
        assert_eq!(ask(&client, &format!("return {fits}")).await, true, "empty");
        click(&client, "#sample").await;
        width_mm(&client, "seat.widest").await;
        assert_eq!(ask(&client, &format!("return {fits}")).await, true, "measured");
        picture(&client, "phone-measured").await;
        ask(&client, "document.querySelector('#widths').scrollIntoView()").await;
        picture(&client, "phone-widths").await;
        for part in ["rider", "shelf"] {
            ask(&client, &format!("location.hash = '#{part}'")).await;
            until(&client, "document.querySelector('.page')").await;
            assert_eq!(ask(&client, &format!("return {fits}")).await, true, "{part}");
            picture(&client, &format!("phone-{part}")).await;
        }
    });
}

#[test]
fn dark_mode() {
    in_browser(Window { dark: true, ..WIDE }, async |_desk, client| {
        picture(&client, "dark-empty").await;
        click(&client, "#sample").await;
        width_mm(&client, "seat.widest").await;
        picture(&client, "dark-measured").await;
        let ground = ask(&client, "return getComputedStyle(document.documentElement).backgroundColor").await;
        assert_eq!(ground, "rgb(22, 29, 27)");
    });
}

#[test]
fn a_refusal_says_what_to_do() {
    in_browser(WIDE, async |desk, client| {
        let mut png = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_pixel(1200, 900, image::Rgb([120, 130, 140]))
            .write_to(&mut png, image::ImageFormat::Png)
            .unwrap();
        let id = desk.lay("wall.png", png.get_ref());
        desk.measured(id);
        client.refresh().await.unwrap();
        let said = until(&client, "document.querySelector('.refusal')?.innerText").await;
        assert!(said.as_str().unwrap().contains("What to do"), "{said}");
        picture(&client, "refused").await;
    });
}

/// The browser's command line, visible to every user of the machine, does not contain the key.
#[cfg(target_os = "linux")]
#[test]
fn the_browser_is_opened_through_a_private_file() {
    use std::os::unix::fs::PermissionsExt;
    in_browser(WIDE, async |_, client| {
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
            tokio::time::sleep(Duration::from_millis(20)).await;
        };
        assert!(!page.contains(desk.key()), "{page}");
        assert_eq!(std::fs::metadata(&page).unwrap().permissions().mode() & 0o077, 0);
        client.goto(&format!("file://{page}")).await.unwrap();
        until(&client, "document.querySelector('#sample')").await;
        assert!(!Path::new(&page).exists(), "removed once it has served");
    });
}

/// A page of another origin, open in the same browser, can neither read nor change anything.
#[test]
fn a_hostile_page_gets_nothing() {
    in_browser(WIDE, async |desk, client| {
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
        client.goto(&format!("http://localhost:{there}/")).await.unwrap();
        let host = desk.host();
        let script = format!(
            "const done = arguments[0]; (async () => {{ const got = []; \
             for (const [method, path, mode] of [['GET', '/api/photos', 'cors'], ['GET', '/api/photos', 'no-cors'], ['DELETE', '/api/photos/{id}', 'cors'], ['POST', '/api/sample', 'no-cors']]) {{ \
             try {{ const r = await fetch('http://{host}' + path, {{ method, mode, credentials: 'include' }}); got.push((await r.text()).length); }} catch {{ got.push('failed'); }} }} \
             const image = await new Promise((ok) => {{ const i = new Image(); i.onload = () => ok('seen'); i.onerror = () => ok('not seen'); i.src = 'http://{host}/api/photos/{id}/picture?side=64'; }}); \
             done([...got, image]); }})()"
        );
        let got = client.execute_async(&script, Vec::new()).await.unwrap();
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
    in_browser(WIDE, async |desk, client| {
        let files: Vec<&str> = (0..20).map(|i| if i % 2 == 0 { "willow.jpg" } else { "fern.jpg" }).collect();
        choose(&client, "#choose-first", &files).await;
        until(&client, "document.querySelectorAll('.photo').length >= 12").await;
        // While they are being measured another part of the page answers.
        let began = Instant::now();
        ask(&client, "location.hash = '#rider'").await;
        until(&client, "document.querySelector('#use-rider')").await;
        assert!(began.elapsed() < Duration::from_secs(5), "{:?}", began.elapsed());
        ask(&client, "location.hash = '#photos'").await;
        until(&client, "document.querySelectorAll('.photo').length === 20").await;
        until(&client, "document.querySelectorAll('.photo.measured').length >= 2").await;
        picture(&client, "twenty").await;
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
