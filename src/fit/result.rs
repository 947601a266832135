//! What an assessment holds: plain data for every renderer and for other programs.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::rule::{About, Severity};
use super::verdict::Verdict;
use crate::numeric::words::{NamedWidth, View};

/// Name and version of the format.
pub const SCHEMA: &str = "seatspan-assessment/1";

/// Where a saddle stands, the best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// All that was judged is met, and all that is serious was judged.
    NothingAgainst,
    /// Nothing serious, but something falls short.
    Reservations,
    /// Something that weighs is undecided, or a rule of thumb is missed.
    Open,
    /// Something serious could not be judged.
    Incomplete,
    /// Nothing was judged.
    NotJudged,
    /// Something serious falls short.
    Against,
}

/// Where the saddle stands for one of the three.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Summary {
    /// For whom.
    pub about: About,
    /// The standing.
    pub standing: Standing,
    /// In a sentence.
    pub text: String,
    /// Ids of the rules that it rests on.
    pub because: Vec<String>,
}

/// An assessment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Assessment {
    /// Name and version of the format.
    pub schema: String,
    /// The program that wrote it.
    pub software: String,
    /// The saddle's name.
    pub saddle: String,
    /// The views there are sheets of.
    pub views: Vec<View>,
    /// What the rider is called; null without a rider file or a name in it.
    pub rider: Option<String>,
    /// What the horse is called; null where nobody named it.
    pub horse: Option<String>,
    /// Confidence asked of a firm verdict, 0 to 1.
    pub confidence: f64,
    /// What it comes to, for rider, horse and saddle apart.
    pub summary: Vec<Summary>,
    /// Every rule that applies, in the order of the rule files.
    pub results: Vec<RuleResult>,
    /// What the rider complains of, with questions.
    pub complaints: Vec<ComplaintResult>,
    /// What was entered by hand and used.
    pub entered: Vec<EnteredValue>,
    /// How the spacing of the seat bones was measured.
    pub how: Option<String>,
    /// How widths changed since earlier sheets of the same saddle.
    pub changes: Vec<WidthChange>,
    /// How rider and horse changed since earlier visits.
    pub visits: Vec<EnteredChange>,
    /// What was assumed because nobody gave it.
    pub assumed: Vec<Assumed>,
    /// Warnings of the sheets that the figures rest on.
    pub warnings: Vec<String>,
    /// What to keep in mind.
    pub cautions: Vec<String>,
}

/// A value entered by hand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EnteredValue {
    /// Its name in the language of rules.
    pub field: String,
    /// The value: lengths in mm, masses in kg.
    pub value: f64,
    /// Its expanded uncertainty (95 %).
    pub u95: f64,
}

/// How a value entered by hand changed between two visits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EnteredChange {
    /// Its name in the language of rules.
    pub field: String,
    /// In words.
    pub words: String,
    /// Day of the earlier visit.
    pub since: String,
    /// Day of the later visit.
    pub until: String,
    /// Values then and now: lengths in mm, masses in kg.
    pub values: [f64; 2],
    /// Expanded uncertainty (95 %) of now less then.
    pub u95: f64,
}

/// How a named width changed between two days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WidthChange {
    /// The view.
    pub view: View,
    /// The width.
    pub of: NamedWidth,
    /// Day of the earlier sheet.
    pub since: String,
    /// Day of the later sheet.
    pub until: String,
    /// Widths then and now, mm.
    pub mm: [f64; 2],
    /// Now less then, mm.
    pub change_mm: f64,
    /// Its expanded uncertainty (95 %), mm.
    pub u95: f64,
}

/// A value assumed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Assumed {
    /// What, in words.
    pub text: String,
    /// Its source.
    pub source: String,
}

/// A rule's verdict.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RuleResult {
    /// The rule's id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// Whom it is about.
    pub about: About,
    /// What a miss weighs, here.
    pub severity: Severity,
    /// Whether it is a rule of thumb, whose miss leaves the question open.
    pub thumb: bool,
    /// The verdict: the worst of its parts.
    pub verdict: Verdict,
    /// Probability of conformity of its least sure part; null where none was judged.
    pub probability: Option<f64>,
    /// What the rule says to this verdict.
    pub says: String,
    /// What to try, look at, ask or enter next; empty where it is met.
    pub next: String,
    /// Remarks for this rider.
    pub remarks: Vec<String>,
    /// The values it looked at.
    pub parts: Vec<RuleValue>,
    /// Sources of its idea and its limits.
    pub sources: Vec<String>,
}

/// One value of a rule.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RuleValue {
    /// Its name within the rule; empty where it is the only one.
    pub label: String,
    /// The unit of the figures; empty for a number without one.
    pub unit: String,
    /// Decimals to show.
    pub decimals: usize,
    /// The value; null where it is not known.
    pub value: Option<f64>,
    /// Its expanded uncertainty (95 %).
    pub u95: Option<f64>,
    /// The lower limit.
    pub lower: Option<LimitAt>,
    /// The upper limit.
    pub upper: Option<LimitAt>,
    /// The verdict on this value.
    pub verdict: Verdict,
    /// Probability that the value lies within the limits.
    pub probability: Option<f64>,
    /// Probability that it lies below the lower limit.
    pub below: Option<f64>,
    /// Probability that it lies above the upper limit.
    pub above: Option<f64>,
    /// Why it was not judged.
    pub missing: Option<String>,
    /// What would decide it, where it is undecided.
    pub decides: Option<String>,
    /// Standard uncertainty by line of the value's distance from its nearer limit, the largest first.
    pub budget: Vec<BudgetPart>,
}

/// A line of a budget.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BudgetPart {
    /// What contributes.
    pub from: String,
    /// Its standard uncertainty, in the part's unit.
    pub u: f64,
}

/// A limit as applied.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LimitAt {
    /// Its value in the part's unit.
    pub value: f64,
    /// Its expanded uncertainty: 0 where it is exact.
    pub u95: f64,
    /// As written in the rule.
    pub written: String,
}

/// A complaint with questions.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ComplaintResult {
    /// Its id.
    pub id: String,
    /// In words.
    pub title: String,
    /// Titles of rules that were missed or are open and may have to do with it.
    pub look_at: Vec<String>,
    /// Questions for the fitter.
    pub ask: Vec<String>,
}
