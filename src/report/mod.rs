//! Renderers only. They write and draw what a sheet holds, and compute no measurement.

pub mod assessment;
pub mod comparison;
pub mod figure;
pub mod intake;
pub mod judged;
pub mod letterhead;
pub mod overlay;
pub mod page;
mod palette;
pub mod rule_table;
pub mod shape;
pub mod straight;
pub mod text;
pub mod units;
pub mod words;
