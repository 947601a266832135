//! The versioned record of one saddle: schema, reading, and writing that loses nothing.
//!
//! [`Sheet`] is what every other part reads. [`read`] takes files of every version that was ever published,
//! [`write`](fn@write) makes one safely, and [`safe_write`] does the same for the bytes of any other output.

mod asked;
mod capture;
mod file;
pub mod geometry;
mod lines;
mod output;
mod round;
pub mod shelf;
pub mod summary;
#[cfg(test)]
pub(crate) mod tests;
mod types;
mod version1;
mod widths;
mod words;

pub use asked::*;
pub use capture::*;
pub use file::{SheetError, from_json, json_schema, read, read_with_bytes, to_json, write};
pub use lines::*;
pub use output::{Output, OutputError, output_path, safe_write};
pub use types::*;
pub use version1::guessed_influences;
pub use widths::*;
pub use words::*;
