//! Every state of the page, as pictures for people (`SEATSPAN_PICTURES=DIR`) and for the accessibility checker axe-core.

use std::path::Path;
use std::process::{Command, Stdio};

use fantoccini::Client;
use serde_json::json;

use super::browser::{WIDE, Window, ask, choose, click, fill, in_browser, picture, until, width_mm};
use super::served::Desk;
use super::together::{lay_pair, pair};

const PHONE: Window = Window { width: 390, height: 844, dark: false };

/// Goes through the page; `visit` is called in every state with its name.
async fn tour(desk: &Desk, client: &Client, visit: impl AsyncFn(&str)) {
    until(client, "document.querySelector('#sample')").await;
    visit("empty").await;
    go(client, "shelf").await;
    visit("shelf-empty").await;
    go(client, "photos").await;
    measuring(client, &visit).await;
    pointing(client, &visit).await;
    together(desk, client, &visit).await;
    refused(desk, client, &visit).await;
    riding(client, &visit).await;
    keeping(client, &visit).await;
}

async fn go(client: &Client, part: &str) {
    ask(client, &format!("location.hash = '#{part}'")).await;
    let shown = match part {
        "rider" => "#use-rider",
        "shelf" => "#results > div",
        _ => ".welcome, .work",
    };
    until(client, &format!("document.querySelector('{shown}')")).await;
}

async fn still(client: &Client) {
    until(client, "document.querySelector('.work')?.ariaBusy !== 'true'").await;
}

async fn see(client: &Client, css: &str) {
    ask(client, &format!("document.querySelector('{css}').scrollIntoView()")).await;
}

async fn measuring(client: &Client, visit: &impl AsyncFn(&str)) {
    choose(client, "#choose-first", &["willow.jpg", "fern.jpg"]).await;
    until(client, "document.querySelectorAll('.photo').length === 2").await;
    visit("progress").await;
    width_mm(client, "seat.widest").await;
    until(client, "document.querySelectorAll('.photo.measured').length === 2").await;
    until(client, "document.querySelector('#verdicts')").await;
    visit("measured").await;
    see(client, "#heights").await;
    visit("heights-empty").await;
    for (at, mm) in [("0", "44"), ("0.25", "26"), ("0.5", "11"), ("0.75", "31"), ("1", "68")] {
        fill(client, &format!("height-seat-{at}"), mm).await;
    }
    until(client, "!document.querySelector('#heights .notice')").await;
    still(client).await;
    visit("heights-filled").await;
    click(client, "#units").await;
    visit("heights-inches").await;
    click(client, "#units").await;
    ask(client, "document.querySelectorAll('details').forEach((d) => { d.open = true; }); scrollTo(0, 0)")
        .await;
    visit("details").await;
    until(client, "document.getElementById('by_hand.bars')").await;
    see(client, "#by-hand").await;
    visit("by-hand").await;
    see(client, "#verdicts").await;
    visit("nobody").await;
}

async fn pointing(client: &Client, visit: &impl AsyncFn(&str)) {
    ask(client, "scrollTo(0, 0)").await;
    click(client, "[data-tool=\"hide\"]").await;
    ask(client, "document.querySelector('.zoom button:nth-of-type(2)').click()").await;
    visit("striking").await;
    click(client, "[data-tool=\"look\"]").await;
    ask(client, "location.hash = '#photos/2'").await;
    until(client, "document.querySelector('img[alt=\"Photo fern.jpg\"]')").await;
    still(client).await;
    visit("underside").await;
}

async fn together(desk: &Desk, client: &Client, visit: &impl AsyncFn(&str)) {
    let [left, right] = lay_pair(desk);
    ask(client, &format!("location.hash = '#photos/{left}'")).await;
    until(client, &format!("document.querySelector('#with-{right}')")).await;
    see(client, "#with").await;
    visit("pair-offered").await;
    click(client, "#with-1").await;
    until(client, "document.querySelector('.refusal')").await;
    still(client).await;
    ask(client, "scrollTo(0, 0)").await;
    visit("pair-refused").await;
    click(client, "#alone").await;
    until(client, "document.querySelector('#widths')").await;
    still(client).await;
    click(client, &format!("#with-{right}")).await;
    until(client, "document.querySelector('.from-photos')").await;
    still(client).await;
    ask(client, "scrollTo(0, 0)").await;
    visit("pair").await;
    see(client, "#heights").await;
    visit("pair-heights").await;
    ask(client, &format!("location.hash = '#photos/{right}'")).await;
    until(client, "document.querySelector('#with')?.innerText.includes('where the result is shown')").await;
    see(client, "#with").await;
    visit("pair-other").await;
}

async fn refused(desk: &Desk, client: &Client, visit: &impl AsyncFn(&str)) {
    let mut png = std::io::Cursor::new(Vec::new());
    image::RgbImage::from_pixel(1200, 900, image::Rgb([120, 130, 140]))
        .write_to(&mut png, image::ImageFormat::Png)
        .unwrap();
    for (name, bytes) in [("wall.png", png.get_ref().as_slice()), ("text.jpg", b"this is no photo")] {
        let id = desk.lay(name, bytes);
        desk.measured(id);
        ask(client, &format!("location.hash = '#photos/{id}'")).await;
        until(client, "document.querySelector('.refusal')?.innerText.includes('What to do')").await;
        ask(client, "scrollTo(0, 0)").await;
        visit(&format!("refused-{}", &name[..4])).await;
    }
}

async fn riding(client: &Client, visit: &impl AsyncFn(&str)) {
    go(client, "rider").await;
    visit("rider-empty").await;
    click(client, "#sample-rider").await;
    click(client, "#keep-rider").await;
    until(client, "document.querySelector('#rider-kept').textContent.includes('Saved as')").await;
    visit("rider-kept").await;
    click(client, "#keep-rider").await;
    until(client, "document.querySelector('#replace-rider')").await;
    ask(client, "scrollTo(0, document.body.scrollHeight)").await;
    visit("rider-there").await;
}

async fn keeping(client: &Client, visit: &impl AsyncFn(&str)) {
    let all = [
        ("willow.jpg", "Willow (invented)"),
        ("fern.jpg", "Fern (invented)"),
        ("left.jpg", "Acorn (invented)"),
    ];
    for (id, (file, name)) in (1..).zip(all) {
        ask(client, &format!("location.hash = '#photos/{id}'")).await;
        until(client, &format!("document.querySelector('img[alt=\"Photo {file}\"]')")).await;
        until(client, "document.querySelector('#verdicts')?.innerText.includes('Ilse')").await;
        fill(client, "name", name).await;
        until(
            client,
            &format!("document.querySelector('.photo[aria-current] strong').textContent === '{name}'"),
        )
        .await;
        still(client).await;
        click(client, "#keep").await;
        until(client, "document.querySelector('#kept').textContent.includes('On the shelf')").await;
    }
    see(client, "#verdicts").await;
    visit("verdicts").await;
    see(client, "#keep-head").await;
    visit("kept").await;
    go(client, "shelf").await;
    until(client, "document.querySelectorAll('.shelf tbody tr').length === 3").await;
    visit("shelf").await;
    click(client, "#rank").await;
    until(client, "document.querySelector('#compared table, #compared .notice')").await;
    visit("compared").await;
    ask(client, "location.href = document.querySelector('.shelf a').href").await;
    until(client, "document.title.includes('invented')").await;
    visit("report").await;
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
        in_browser(window, async |desk, client| {
            tour(&desk, &client, async |state| picture(&client, &format!("{name}-{state}")).await).await;
        });
    }
}

/// axe-core, from npm; where it is not available a line says so.
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
    let read = std::fs::read_to_string(script).ok();
    if read.is_none() {
        println!("skipped: axe-core is not here and npm could not install it");
    }
    read
}

/// No serious finding in any state, and nothing overflows the window.
#[test]
fn an_accessibility_checker_finds_nothing_serious_in_any_state() {
    let Some(checker) = checker() else { return };
    for window in [WIDE, Window { dark: true, ..WIDE }, PHONE] {
        in_browser(window, async |desk, client| {
            let check = async |state: &str| {
                let fits = ask(&client, "return document.documentElement.scrollWidth <= innerWidth").await;
                assert_eq!(fits, true, "{state} overflows a window of {} px", window.width);
                if state == "report" {
                    // A report runs no script, not even the checker's; it has tests of its own.
                    return;
                }
                ask(&client, &checker).await;
                let script = "const done = arguments[0]; axe.run(document).then((r) => done(r.violations \
                    .filter((v) => v.impact === 'serious' || v.impact === 'critical') \
                    .map((v) => `${v.id}: ${v.nodes[0].html}`)))";
                let found = client.execute_async(script, Vec::new()).await.unwrap();
                assert_eq!(found, json!([]), "{state}, {} px wide, dark: {}", window.width, window.dark);
            };
            tour(&desk, &client, check).await;
        });
    }
}
