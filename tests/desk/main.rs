//! The desk: over plain HTTP, and in a real browser.

mod browser;
mod http;
mod let_in;
#[path = "../common/pair.rs"]
mod pair;
mod served;
mod shelf_files;
mod together;
mod tour;
mod webdriver;
#[path = "../common/willow.rs"]
mod willow;
