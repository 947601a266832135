//! What was entered by hand: the rider, the horse and the saddles.

use super::expr::Field;
use super::horse::Horse;
use super::rider::Rider;
use super::saddle::SaddleFile;
use super::unit::Amount;

/// The files beside the sheets.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Entered {
    /// The rider; an empty one where none was given.
    pub rider: Rider,
    /// The horse; an empty one where none was given.
    pub horse: Horse,
    /// Saddles described by hand, by their names.
    pub saddles: Vec<SaddleFile>,
    /// Rider and horse at earlier visits, the latest of these first.
    pub earlier: Vec<Visit>,
}

/// Rider or horse on the day of an earlier visit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Visit {
    /// The day.
    pub date: String,
    /// The day of the latest visit.
    pub until: String,
    /// What was entered then of the rider or the horse.
    pub entered: Box<Entered>,
}

impl Entered {
    /// A rider with the horse of the rider file.
    pub fn of_rider(rider: Rider) -> Self {
        Self { horse: rider.horse.clone(), rider, ..Self::default() }
    }

    /// The description of a saddle.
    pub fn saddle(&self, name: &str) -> Option<&SaddleFile> {
        self.saddles.iter().find(|s| s.name == name)
    }

    /// What was entered for a field, with its standard uncertainty where that was entered too.
    pub fn given(&self, field: Field, saddle: &str) -> Option<(Amount, Option<f64>)> {
        let of_saddle = self.saddle(saddle).map(|s| &s.given);
        let all = [Some(&self.rider.given), Some(&self.horse.given), of_saddle];
        all.into_iter().flatten().find_map(|given| given.get(&field)).copied()
    }
}
