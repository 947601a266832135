//! Judging sheets for a rider, saddle by saddle, for reports and the shelf.

use std::path::Path;

use anyhow::anyhow;

use super::assess::Judging;
use crate::fit::assess::{Request, assess};
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
    /// From a rider file and what is asked of the rules.
    ///
    /// # Errors
    /// The first mistake in a file.
    pub fn of(rider: &Path, judging: &Judging) -> anyhow::Result<Self> {
        let rules = judging.rule_set()?;
        let rider = Rider::read(rider)?;
        rules.check_complaints(&rider)?;
        Ok(Self { rider, rules, confidence: judging.confidence })
    }

    /// One assessment a saddle, in the order of the sheets; sheets of one name are one saddle.
    ///
    /// # Errors
    /// Where a saddle has two sheets of one view.
    pub fn by_saddle(&self, sheets: &[Sheet]) -> anyhow::Result<Vec<Assessment>> {
        let mut groups: Vec<Vec<Sheet>> = Vec::new();
        for sheet in sheets {
            match groups.iter_mut().find(|g| g[0].saddle.name == sheet.saddle.name) {
                Some(group) => group.push(sheet.clone()),
                None => groups.push(vec![sheet.clone()]),
            }
        }
        groups.iter().map(|group| self.saddle(group)).collect()
    }

    /// The assessment of one saddle.
    ///
    /// # Errors
    /// As [`Judge::by_saddle`].
    pub fn saddle(&self, sheets: &[Sheet]) -> anyhow::Result<Assessment> {
        let request = Request { sheets, rider: &self.rider, rules: &self.rules, confidence: self.confidence };
        assess(&request).map_err(|e| anyhow!("{}: {e}", sheets[0].saddle.name))
    }
}
