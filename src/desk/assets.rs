//! The files of the page, which are part of the program.

use super::answer::Answer;

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

macro_rules! files {
    ($($path:literal, $kind:expr, $file:literal;)*) => {
        /// Path, media type, bytes.
        const FILES: &[(&str, &str, &[u8])] = &[$(($path, $kind, include_bytes!(concat!("page/", $file))),)*];
    };
}

files! {
    "/", HTML, "index.html";
    "/desk.css", CSS, "desk.css";
    "/icon.svg", "image/svg+xml", "icon.svg";
    "/main.js", SCRIPT, "main.js";
    "/api.js", SCRIPT, "api.js";
    "/dom.js", SCRIPT, "dom.js";
    "/tray.js", SCRIPT, "tray.js";
    "/table.js", SCRIPT, "table.js";
    "/easel.js", SCRIPT, "easel.js";
    "/findings.js", SCRIPT, "findings.js";
    "/lift.js", SCRIPT, "lift.js";
    "/rider.js", SCRIPT, "rider.js";
    "/shelf.js", SCRIPT, "shelf.js";
    "/units.js", SCRIPT, "units.js";
}

/// The file of a path.
pub fn file(path: &str) -> Option<Answer> {
    FILES.iter().find(|f| f.0 == path).map(|f| Answer::asset(f.1, f.2))
}
