//! The desk: over plain HTTP, and in a real browser.

mod browser;
mod http;
mod served;
#[path = "../common/willow.rs"]
mod willow;
