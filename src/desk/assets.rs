//! The files of the page, embedded in the program.

use super::response::Reply;

macro_rules! files {
    ($($name:literal),*) => {
        const FILES: &[(&str, &[u8])] = &[$(($name, include_bytes!(concat!("page/", $name))),)*];
    };
}

files!(
    "api.js",
    "byhand.js",
    "desk.css",
    "dom.js",
    "heights.js",
    "icon.svg",
    "index.html",
    "main.js",
    "panels.js",
    "photo.js",
    "rider.js",
    "shelf.js",
    "tray.js",
    "units.js",
    "viewer.js"
);

/// The page's file at a path.
pub fn file(path: &str) -> Option<Reply> {
    let wanted = if path == "/" { "index.html" } else { path.strip_prefix('/')? };
    let (name, bytes) = FILES.iter().find(|(name, _)| *name == wanted)?;
    let kind = match name.rsplit('.').next() {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        _ => "text/html; charset=utf-8",
    };
    Some(Reply::asset(kind, bytes))
}
