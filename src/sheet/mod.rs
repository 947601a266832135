//! Room 6: the versioned record of one saddle: schema, reading, and writing that loses nothing.
//!
//! [`Sheet`] is what every other part reads. [`read`] takes files of every version that was ever published,
//! [`write`](fn@write) makes one safely, and [`safe_write`] does the same for the bytes of any other output.

mod asked;
mod file;
pub mod geometry;
mod output;
mod round;
pub mod shelf;
pub mod summary;
#[cfg(test)]
pub(crate) mod tests;
mod types;
mod words;

pub use asked::*;
pub use file::{SheetError, from_json, json_schema, read, read_with_bytes, to_json, write};
pub use output::{Output, OutputError, output_path, safe_write};
pub use types::*;
pub use words::*;
