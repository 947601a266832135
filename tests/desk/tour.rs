//! Every state of the page, as pictures for people (`SEATSPAN_PICTURES=DIR`) and for the accessibility checker axe-core.

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::LazyLock;

use serde_json::json;

use super::served::Desk;
use super::together::{lay_pair, pair};
use super::webdriver::{Browser, WIDE, Window, in_browser};

const PHONE: Window = Window { width: 390, height: 844, dark: false };

/// Goes through the page; `visit` is called in every state with its name.
fn tour(desk: &Desk, browser: &Browser, visit: impl Fn(&str)) {
    browser.until("document.querySelector('#sample')");
    visit("empty");
    go(browser, "shelf");
    visit("shelf-empty");
    go(browser, "photos");
    measuring(browser, &visit);
    pointing(browser, &visit);
    together(desk, browser, &visit);
    refused(desk, browser, &visit);
    riding(browser, &visit);
    keeping(browser, &visit);
}

fn go(browser: &Browser, part: &str) {
    browser.ask(&format!("location.hash = '#{part}'"));
    let shown = match part {
        "rider" => "#use-rider",
        "shelf" => "#results > div",
        _ => ".welcome, .work",
    };
    browser.until(&format!("document.querySelector('{shown}')"));
}

fn still(browser: &Browser) {
    browser.until("document.querySelector('.work')?.ariaBusy !== 'true'");
}

fn see(browser: &Browser, css: &str) {
    browser.ask(&format!("document.querySelector('{css}').scrollIntoView()"));
}

fn measuring(browser: &Browser, visit: &impl Fn(&str)) {
    browser.choose("#choose-first", &["willow.jpg", "fern.jpg"]);
    browser.until("document.querySelectorAll('.photo').length === 2");
    visit("progress");
    browser.width_mm("seat.widest");
    browser.until("document.querySelectorAll('.photo.measured').length === 2");
    browser.until("document.querySelector('#verdicts')");
    visit("measured");
    see(browser, "#heights");
    visit("heights-empty");
    for (at, mm) in [("0", "44"), ("0.25", "26"), ("0.5", "11"), ("0.75", "31"), ("1", "68")] {
        browser.fill(&format!("height-seat-{at}"), mm);
    }
    browser.until("!document.querySelector('#heights .notice')");
    still(browser);
    visit("heights-filled");
    browser.click("#units");
    visit("heights-inches");
    browser.click("#units");
    browser.ask("document.querySelectorAll('details').forEach((d) => { d.open = true; }); scrollTo(0, 0)");
    visit("details");
    browser.until("document.getElementById('by_hand.bars')");
    see(browser, "#by-hand");
    visit("by-hand");
    see(browser, "#verdicts");
    visit("nobody");
}

fn pointing(browser: &Browser, visit: &impl Fn(&str)) {
    browser.ask("scrollTo(0, 0)");
    browser.click("[data-tool=\"hide\"]");
    browser.ask("document.querySelector('.zoom button:nth-of-type(2)').click()");
    visit("striking");
    browser.click("[data-tool=\"look\"]");
    browser.ask("location.hash = '#photos/2'");
    browser.until("document.querySelector('img[alt=\"Photo fern.jpg\"]')");
    still(browser);
    visit("underside");
}

fn together(desk: &Desk, browser: &Browser, visit: &impl Fn(&str)) {
    let [left, right] = lay_pair(desk);
    browser.ask(&format!("location.hash = '#photos/{left}'"));
    browser.until(&format!("document.querySelector('#with-{right}')"));
    see(browser, "#with");
    visit("pair-offered");
    browser.click("#with-1");
    browser.until("document.querySelector('.refusal')");
    still(browser);
    browser.ask("scrollTo(0, 0)");
    visit("pair-refused");
    browser.click("#alone");
    browser.until("document.querySelector('#widths')");
    still(browser);
    browser.click(&format!("#with-{right}"));
    browser.until("document.querySelector('.from-photos')");
    still(browser);
    browser.ask("scrollTo(0, 0)");
    visit("pair");
    see(browser, "#heights");
    visit("pair-heights");
    browser.ask(&format!("location.hash = '#photos/{right}'"));
    browser.until("document.querySelector('#with')?.innerText.includes('where the result is shown')");
    see(browser, "#with");
    visit("pair-other");
}

fn refused(desk: &Desk, browser: &Browser, visit: &impl Fn(&str)) {
    let mut png = std::io::Cursor::new(Vec::new());
    image::RgbImage::from_pixel(1200, 900, image::Rgb([120, 130, 140]))
        .write_to(&mut png, image::ImageFormat::Png)
        .unwrap();
    for (name, bytes) in [("wall.png", png.get_ref().as_slice()), ("text.jpg", b"this is no photo")] {
        let id = desk.lay(name, bytes);
        desk.measured(id);
        browser.ask(&format!("location.hash = '#photos/{id}'"));
        browser.until("document.querySelector('.refusal')?.innerText.includes('What to do')");
        browser.ask("scrollTo(0, 0)");
        visit(&format!("refused-{}", &name[..4]));
    }
}

fn riding(browser: &Browser, visit: &impl Fn(&str)) {
    go(browser, "rider");
    visit("rider-empty");
    browser.click("#sample-rider");
    browser.click("#keep-rider");
    browser.until("document.querySelector('#rider-kept').textContent.includes('Saved as')");
    visit("rider-kept");
    browser.click("#keep-rider");
    browser.until("document.querySelector('#replace-rider')");
    browser.ask("scrollTo(0, document.body.scrollHeight)");
    visit("rider-there");
}

fn keeping(browser: &Browser, visit: &impl Fn(&str)) {
    let all = [
        ("willow.jpg", "Willow (invented)"),
        ("fern.jpg", "Fern (invented)"),
        ("left.jpg", "Acorn (invented)"),
    ];
    for (id, (file, name)) in (1..).zip(all) {
        browser.ask(&format!("location.hash = '#photos/{id}'"));
        browser.until(&format!("document.querySelector('img[alt=\"Photo {file}\"]')"));
        browser.until("document.querySelector('#verdicts')?.innerText.includes('Ilse')");
        browser.fill("name", name);
        browser.until(&format!(
            "document.querySelector('.photo[aria-current] strong').textContent === '{name}'"
        ));
        still(browser);
        browser.click("#keep");
        browser.until("document.querySelector('#kept').textContent.includes('On the shelf')");
    }
    see(browser, "#verdicts");
    visit("verdicts");
    see(browser, "#keep-head");
    visit("kept");
    go(browser, "shelf");
    browser.until("document.querySelectorAll('.shelf tbody tr').length === 3");
    visit("shelf");
    browser.click("#rank");
    browser.until("document.querySelector('#compared table, #compared .notice')");
    visit("compared");
    browser.ask("location.href = document.querySelector('.shelf a').href");
    browser.until("document.title.includes('invented')");
    visit("report");
}

/// Pictures of every state, in the light, in the dark, on a phone and on a very large screen.
#[test]
fn every_state_in_pictures() {
    if std::env::var_os("SEATSPAN_PICTURES").is_none() {
        println!("skipped: SEATSPAN_PICTURES names no folder for the pictures");
        return;
    }
    let windows = [
        ("light", WIDE),
        ("dark", Window { dark: true, ..WIDE }),
        ("phone", Window { height: 1900, ..PHONE }),
        ("4k", Window { width: 3840, height: 2160, dark: false }),
    ];
    let wanted = std::env::var("SEATSPAN_WINDOW").ok();
    pair();
    for (name, window) in windows.into_iter().filter(|w| wanted.as_ref().is_none_or(|only| only == w.0)) {
        in_browser(window, |desk, browser| {
            tour(desk, browser, |state| browser.picture(&format!("{name}-{state}")));
        });
    }
}

/// axe-core, from npm.
fn checker() -> Option<String> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("axe");
    let script = folder.join("node_modules/axe-core/axe.min.js");
    if !script.exists() {
        std::fs::create_dir_all(&folder).unwrap();
        let _ = Command::new("npm")
            .args(["install", "--no-audit", "--no-fund", "--prefix"])
            .arg(&folder)
            .arg("axe-core@4")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status();
    }
    std::fs::read_to_string(script).ok()
}

/// No serious finding in any state, and nothing overflows the window.
fn is_accessible(window: Window) {
    // Fetched once, for tests that run side by side.
    static CHECKER: LazyLock<Option<String>> = LazyLock::new(checker);
    let Some(checker) = &*CHECKER else {
        println!("skipped: axe-core is not here and npm could not install it");
        return;
    };
    in_browser(window, |desk, browser| {
        tour(desk, browser, |state| {
            let fits = browser.ask("return document.documentElement.scrollWidth <= innerWidth");
            assert_eq!(fits, true, "{state} overflows a window of {} px", window.width);
            if state == "report" {
                // A report runs no script, not even the checker's; it has tests of its own.
                return;
            }
            browser.ask(checker);
            let script = "const done = arguments[0]; axe.run(document).then((r) => done(r.violations \
                .filter((v) => v.impact === 'serious' || v.impact === 'critical') \
                .map((v) => `${v.id}: ${v.nodes[0].html}`)))";
            let found = browser.ask_later(script);
            assert_eq!(found, json!([]), "{state}, {} px wide, dark: {}", window.width, window.dark);
        });
    });
}

#[test]
fn an_accessibility_checker_finds_nothing_serious_in_any_state() {
    is_accessible(WIDE);
}

#[test]
fn an_accessibility_checker_finds_nothing_serious_in_the_dark() {
    is_accessible(Window { dark: true, ..WIDE });
}

#[test]
fn an_accessibility_checker_finds_nothing_serious_on_a_phone() {
    is_accessible(PHONE);
}
