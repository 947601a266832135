//! Rules as data: what is measured, its limits, what to say, and a source for every number.
//!
//! [`RuleSet`] (`set.rs`) puts files together, `parse.rs` reads them.

mod parse;
mod set;

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::expr::{Field, Node};
use super::unit::Unit;
pub use set::RuleSet;

/// Whom a rule is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum About {
    /// The rider's seat.
    Rider,
    /// The horse's back.
    Horse,
    /// The saddle itself.
    Saddle,
}

/// How much a miss weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Can hurt: one is enough against the saddle.
    Serious,
    /// Speaks against the saddle, and may be put right or weighed by the fitter.
    Matters,
    /// Worth a look.
    Look,
}

/// What stands behind a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SourceKind {
    /// A publication of which the stated part was read.
    Published,
    /// Computed from published values that were read.
    Computed,
    /// The trade's practice, without a source.
    Practice,
    /// A working value of this project, without a source: for the fitter to change.
    Working,
    /// By definition.
    Definition,
}

/// A source.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// What stands behind it.
    pub kind: SourceKind,
    /// The citation or the statement.
    pub text: String,
}

/// A limit: an expression, and its source.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// As written.
    pub written: String,
    /// Parsed.
    pub node: Node,
    /// Key of the source.
    pub source: String,
}

/// A stretch of values with a name, for rules that only state the stretch of a value.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// What such a value means.
    pub name: String,
    /// Lower end.
    pub lower: Option<Limit>,
    /// Upper end.
    pub upper: Option<Limit>,
}

/// One value that a rule looks at.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// Its name within the rule; empty where it is the only one.
    pub label: String,
    /// As written.
    pub written: String,
    /// Parsed.
    pub node: Node,
}

/// What a rule says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Words {
    /// When it is met.
    pub met: String,
    /// When the value is below the lower limit.
    pub below: String,
    /// When it is above the upper limit.
    pub above: String,
    /// When it cannot be decided.
    pub undecided: String,
    /// What to try next.
    pub next: String,
    /// What to ask or enter where there is no verdict.
    pub ask: String,
}

/// Words of the rider file that a rule applies to: every key must hold one of its words.
pub type When = BTreeMap<String, Vec<String>>;

/// A rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Its name in files.
    pub id: String,
    /// Its name for people.
    pub title: String,
    /// Whom it is about.
    pub about: About,
    /// How much a miss weighs.
    pub severity: Severity,
    /// Whether it is a rule of thumb about many riders or horses: a miss leaves the question open for this one.
    pub thumb: bool,
    /// When it applies.
    pub when: When,
    /// What it looks at.
    pub measures: Vec<Measure>,
    /// What values are shown in.
    pub unit: Unit,
    /// Least value.
    pub lower: Option<Limit>,
    /// Largest value.
    pub upper: Option<Limit>,
    /// Stretches, where it has no limits.
    pub bands: Vec<Band>,
    /// What it says.
    pub words: Words,
    /// Remarks for riders of whom the condition holds.
    pub remarks: Vec<(When, String)>,
    /// Keys of the sources of the idea.
    pub sources: Vec<String>,
}

/// A value assumed where the rider file gives none, or an uncertainty where it gives only a value.
#[derive(Debug, Clone, PartialEq)]
pub struct Default {
    /// The field.
    pub field: Field,
    /// For whom.
    pub when: When,
    /// The value, if one is assumed.
    pub value: Option<Limit>,
    /// Its standard uncertainty.
    pub u: Option<Limit>,
    /// Why none can be assumed.
    pub refuse: Option<String>,
    /// Key of the source.
    pub source: String,
}

/// A complaint, and what to ask and look at.
#[derive(Debug, Clone, PartialEq)]
pub struct Complaint {
    /// Its name in rider files.
    pub id: String,
    /// In words.
    pub title: String,
    /// Rules whose widths may have to do with it.
    pub look_at: Vec<String>,
    /// Questions for the fitter.
    pub ask: Vec<String>,
    /// Key of the source.
    pub source: String,
}

impl Rule {
    /// The expressions of what it measures and of all its limits.
    pub fn nodes(&self) -> impl Iterator<Item = &Node> {
        let bands = self.bands.iter().flat_map(|b| [&b.lower, &b.upper]);
        let limits = [&self.lower, &self.upper].into_iter().chain(bands).flatten().map(|l| &l.node);
        self.measures.iter().map(|m| &m.node).chain(limits)
    }

    /// Every source key of the rule: of the idea and of each limit.
    pub fn source_keys(&self) -> Vec<&str> {
        let bands = self.bands.iter().flat_map(|b| [&b.lower, &b.upper]);
        let limits = [&self.lower, &self.upper].into_iter().chain(bands).flatten().map(|l| l.source.as_str());
        let mut keys: Vec<&str> = self.sources.iter().map(String::as_str).chain(limits).collect();
        let mut seen = Vec::new();
        keys.retain(|k| {
            !seen.contains(k) && {
                seen.push(*k);
                true
            }
        });
        keys
    }
}
