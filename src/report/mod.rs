//! Room 8: renderers only. They say and draw what a sheet holds, and compute no measurement.

pub mod assessment;
pub mod comparison;
pub mod draw;
pub mod figure;
pub mod intake;
pub mod judged;
pub mod overlay;
pub mod page;
pub mod rule_table;
pub mod shape;
pub mod straight;
#[cfg(test)]
mod tests;
pub mod text;
pub mod units;
pub mod words;
