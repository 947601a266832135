//! The command line as a user runs it.

mod batch;
mod card;
mod fit;
mod measure;
mod privacy;
mod report;
#[path = "../common/run.rs"]
mod run;
#[path = "../common/said.rs"]
mod said;
mod shelf;
#[path = "../common/willow.rs"]
mod willow;
