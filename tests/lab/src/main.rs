//! The `lab` program: arguments in, exit status out.

use std::process::ExitCode;

use clap::{Parser, Subcommand};
use lab::{coverage, monte_carlo, samples, stress};

/// Studies of seatspan's accuracy on synthetic data, and training samples for its networks.
#[derive(Debug, Parser)]
#[command(name = "lab", max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Measure random synthetic photos and tabulate the errors by condition
    Stress(stress::Args),
    /// Count how often the true width lies within the stated uncertainty
    Coverage(coverage::Args),
    /// Check the uncertainty budget of a sheet by Monte Carlo simulation
    MonteCarlo(monte_carlo::Args),
    /// Write training samples for the networks
    Samples(samples::Args),
}

fn main() -> ExitCode {
    let status = match Cli::parse().command {
        Command::Stress(args) => stress::run(&args),
        Command::Coverage(args) => coverage::run(&args),
        Command::MonteCarlo(args) => monte_carlo::run(&args),
        Command::Samples(args) => samples::run(&args).map(|()| 0),
    };
    status.map_or_else(
        |error| {
            eprintln!("lab: {error:#}");
            ExitCode::from(2)
        },
        ExitCode::from,
    )
}
