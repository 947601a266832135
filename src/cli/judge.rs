//! Judging saddles for a rider and a horse.

use anyhow::anyhow;

use crate::fit::assess::{AssessmentRequest, assess};
use crate::fit::compare::by_saddle;
use crate::fit::entered::Entered;
use crate::fit::result::Assessment;
use crate::fit::rule::RuleSet;
use crate::sheet::Sheet;

/// What was entered by hand, with the rules to judge by.
pub struct Judge {
    /// Rider, horse and saddles as entered.
    pub entered: Entered,
    /// The rules.
    pub rules: RuleSet,
    /// Confidence needed for a firm verdict.
    pub confidence: f64,
}

impl Judge {
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
        let Self { entered, rules, confidence } = self;
        let request = AssessmentRequest { sheets, entered, rules, confidence: *confidence };
        let name = sheets.first().map_or("", |s| &s.saddle.name);
        assess(&request).map_err(|e| anyhow!("{name}: {e}"))
    }
}
