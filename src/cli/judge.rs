//! Judging saddles for a rider, for reports and the shelf.

use std::path::Path;

use anyhow::anyhow;

use super::assess::Judging;
use crate::fit::assess::{AssessmentRequest, assess};
use crate::fit::compare::by_saddle;
use crate::fit::result::Assessment;
use crate::fit::rider::Rider;
use crate::fit::rule::RuleSet;
use crate::sheet::Sheet;

/// A rider with the rules to judge by.
pub struct Judge {
    rider: Rider,
    /// The rules.
    pub rules: RuleSet,
    confidence: f64,
}

impl Judge {
    /// Reads a rider file and the rules.
    ///
    /// # Errors
    /// The first mistake in a file.
    pub fn of(rider: &Path, judging: &Judging) -> anyhow::Result<Self> {
        let (rules, rider) = judging.read(Some(rider))?;
        Ok(Self { rider: rider.unwrap_or_default(), rules, confidence: judging.confidence })
    }

    /// One assessment per saddle name, in the order of the sheets.
    ///
    /// # Errors
    /// Where a saddle has two sheets of one view.
    pub fn by_saddle(&self, sheets: &[Sheet]) -> anyhow::Result<Vec<Assessment>> {
        by_saddle(sheets).iter().map(|(_, group)| self.saddle(group)).collect()
    }

    /// The assessment of one saddle.
    ///
    /// # Errors
    /// As [`Judge::by_saddle`].
    pub fn saddle(&self, sheets: &[Sheet]) -> anyhow::Result<Assessment> {
        let request =
            AssessmentRequest { sheets, rider: &self.rider, rules: &self.rules, confidence: self.confidence };
        assess(&request).map_err(|e| anyhow!("{}: {e}", sheets[0].saddle.name))
    }
}
