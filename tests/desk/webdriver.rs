//! Headless Chromium, driven by the WebDriver protocol (W3C WebDriver, Recommendation of 2018).

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};

use super::served::{Desk, exchange};

/// The member that identifies an element in JSON (section 11).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// Keys as code points (section 17.4.2).
pub mod key {
    pub const TAB: char = '\u{e004}';
    pub const ENTER: char = '\u{e007}';
    pub const RIGHT: char = '\u{e014}';
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

/// A driver that ends with the test.
struct Driver {
    program: Child,
    port: u16,
    /// The browser's own folder.
    profile: tempfile::TempDir,
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

impl Driver {
    /// Starts one, installed first where that is possible.
    fn start() -> Option<Self> {
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
        let mut driver = Self { program, port: 0, profile };
        let began = Instant::now();
        while driver.port == 0 {
            assert!(began.elapsed() < Duration::from_secs(30), "the driver does not say its port");
            std::thread::sleep(Duration::from_millis(20));
            driver.port = std::fs::read_to_string(&log).ok().and_then(|said| port_in(&said)).unwrap_or(0);
        }
        Some(driver)
    }
}

/// The port that the driver chose, by its log: a port looked for beforehand may be another's by the time it starts.
fn port_in(log: &str) -> Option<u16> {
    let line = log.lines().find(|l| l.contains("started successfully on port"))?;
    line.split(|c: char| !c.is_ascii_digit()).rfind(|digits| !digits.is_empty())?.parse().ok()
}

/// A browser that closes when dropped, also by a test that fails.
pub struct Browser {
    driver: Driver,
    session: String,
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.command("DELETE", "", Value::Null);
    }
}

/// Runs a test with a desk in a browser of its own.
pub fn in_browser(window: Window, test: impl FnOnce(&Desk, &Browser)) {
    let Some(driver) = Driver::start() else { return };
    let desk = Desk::start();
    let browser = Browser::open(driver, window);
    browser.go(&desk.address);
    test(&desk, &browser);
}

impl Browser {
    fn open(driver: Driver, window: Window) -> Self {
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
        let mut options = json!({ "args": args });
        if window.width < 500 {
            let metrics = json!({ "width": window.width, "height": window.height, "pixelRatio": 2.0 });
            options["mobileEmulation"] = json!({ "deviceMetrics": metrics });
        }
        let capabilities = json!({ "alwaysMatch": { "goog:chromeOptions": options } });
        let mut browser = Self { driver, session: String::new() };
        let opened = browser.post("", json!({ "capabilities": capabilities }));
        browser.session = format!("/{}", opened["sessionId"].as_str().unwrap());
        browser.post("/window/rect", json!({ "width": window.width, "height": window.height }));
        browser
    }

    fn command(&self, method: &str, path: &str, parameters: Value) -> Result<Value, Value> {
        let body = if parameters.is_null() { String::new() } else { parameters.to_string() };
        let port = self.driver.port;
        let head = format!(
            "{method} /session{}{path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n",
            self.session,
            body.len(),
        );
        let answered = exchange(port, &head, body.as_bytes());
        let value = answered.json()["value"].take();
        if answered.status == 200 { Ok(value) } else { Err(value) }
    }

    fn post(&self, path: &str, parameters: Value) -> Value {
        self.command("POST", path, parameters).unwrap_or_else(|error| panic!("{path}: {error}"))
    }

    pub fn go(&self, address: &str) {
        self.post("/url", json!({ "url": address }));
    }

    pub fn reload(&self) {
        self.post("/refresh", json!({}));
    }

    /// Runs a script in the page.
    pub fn ask(&self, script: &str) -> Value {
        self.command("POST", "/execute/sync", json!({ "script": script, "args": [] }))
            .unwrap_or_else(|error| panic!("{script}: {error}"))
    }

    /// Runs a script that passes its result to its argument, a function.
    pub fn ask_later(&self, script: &str) -> Value {
        self.post("/execute/async", json!({ "script": script, "args": [] }))
    }

    /// Waits until an expression gives something true.
    pub fn until(&self, expression: &str) -> Value {
        let began = Instant::now();
        loop {
            let said = self.ask(&format!("return {expression}"));
            if !(said.is_null() || said == false) {
                return said;
            }
            if began.elapsed() > Duration::from_secs(120) {
                let page = self.ask("return document.body.innerText");
                panic!("never: {expression}\n{}", page.as_str().unwrap_or_default());
            }
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    pub fn click(&self, css: &str) {
        self.until(&format!("document.querySelector('{css}')"));
        self.ask(&format!("document.querySelector('{css}').click()"));
    }

    pub fn fill(&self, id: &str, text: &str) {
        let script = format!(
            "const f = document.getElementById('{id}'); f.value = '{text}'; f.dispatchEvent(new Event('change', {{ bubbles: true }})); f.dispatchEvent(new Event('input'))"
        );
        self.ask(&script);
    }

    /// Demo files, or others by their full paths, chosen in the page's own field.
    pub fn choose(&self, field: &str, files: &[&str]) {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
        let paths: Vec<String> = files.iter().map(|f| demo.join(f).display().to_string()).collect();
        self.type_into(field, &paths.join("\n"));
    }

    /// Types with the keyboard.
    pub fn type_into(&self, css: &str, text: &str) {
        self.with_element(css, "value", json!({ "text": text }));
    }

    /// Clicks with the mouse.
    pub fn point_at(&self, css: &str) {
        self.with_element(css, "click", json!({}));
    }

    fn with_element(&self, css: &str, action: &str, parameters: Value) {
        let element = self.until(&format!("document.querySelector('{css}')"));
        self.post(&format!("/element/{}/{action}", element[ELEMENT].as_str().unwrap()), parameters);
    }

    /// Presses and releases keys, one after the other.
    pub fn press(&self, keys: &[char]) {
        let strokes: Vec<Value> = keys
            .iter()
            .flat_map(|key| ["keyDown", "keyUp"].map(|kind| json!({ "type": kind, "value": key })))
            .collect();
        self.perform(json!({ "type": "key", "id": "keys", "actions": strokes }));
    }

    /// Mouse down at a place of the window, over to another, and up.
    pub fn drag(&self, from: (i64, i64), to: (i64, i64)) {
        let move_to = |(x, y): (i64, i64)| json!({ "type": "pointerMove", "duration": 30, "x": x, "y": y });
        let button = |kind: &str| json!({ "type": kind, "button": 0 });
        let middle = ((from.0 + to.0) / 2, (from.1 + to.1) / 2);
        let actions =
            [move_to(from), button("pointerDown"), move_to(middle), move_to(to), button("pointerUp")];
        self.perform(json!({ "type": "pointer", "id": "mouse", "actions": actions }));
    }

    fn perform(&self, source: Value) {
        self.post("/actions", json!({ "actions": [source] }));
    }

    pub fn place_of(&self, script: &str) -> (i64, i64) {
        let at = self.ask(script);
        (at[0].as_f64().unwrap().round() as i64, at[1].as_f64().unwrap().round() as i64)
    }

    pub fn width_mm(&self, name: &str) -> f64 {
        let shown = self.until(&format!("document.querySelector('[data-width=\"{name}\"]')?.dataset.mm"));
        shown.as_str().unwrap().parse().unwrap()
    }

    /// Keeps a picture of the page where `SEATSPAN_PICTURES` says, for people to look at.
    pub fn picture(&self, name: &str) {
        let Ok(folder) = std::env::var("SEATSPAN_PICTURES") else { return };
        std::thread::sleep(Duration::from_millis(900));
        let shot = self.command("GET", "/screenshot", Value::Null).unwrap();
        let png = STANDARD.decode(shot.as_str().unwrap()).unwrap();
        std::fs::write(Path::new(&folder).join(format!("{name}.png")), png).unwrap();
    }
}
