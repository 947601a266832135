//! The laboratory: synthetic photos with exact ground truth, and the studies that use them.
//!
//! [`synth`] renders photos. The commands of the `lab` program: [`stress`] measures random photos and tabulates the errors by
//! condition, [`coverage`] counts how often the stated uncertainty holds, [`monte_carlo`] checks the budget of a real sheet, [`samples`] writes training samples for the networks.

pub mod coverage;
pub mod monte_carlo;
pub mod samples;
pub mod stress;
pub mod synth;
