//! Room 8: renderers only. They say and draw what a sheet holds, and compute no measurement.

pub mod draw;
pub mod overlay;
#[cfg(test)]
mod tests;
pub mod text;
pub mod units;
