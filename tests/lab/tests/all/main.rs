//! Tests of the laboratory: the renderer against its own ground truth, and the commands.

mod monte_carlo;
mod stress;
mod synth;
mod training;
