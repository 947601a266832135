//! Room 8: renderers only. They say and draw what a sheet holds, and compute no measurement.

pub mod assessment;
pub mod comparison;
pub mod draw;
pub mod intake;
pub mod overlay;
pub mod rule_table;
#[cfg(test)]
mod tests;
pub mod text;
pub mod units;
