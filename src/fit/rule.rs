//! Rules as data: what is measured, its limits, what to say, and a source for every number.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::expr::{FIELDS, Field, Node, parse};
use super::hint::did_you_mean;
use super::rider::{HOW, PATTERNS, Rider, THIGHS};
use super::text::{Placed, Table, Text, TextError, one_line};
use super::unit::{Dim, MM, NO_UNIT, Unit, unit_named};

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

/// A stretch of values with a name, for rules that only tell where a value lies.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// What lies there.
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
    /// A rule with which a miss weighs more, and how much.
    pub together: Option<(String, Severity)>,
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

/// A set of rules.
#[derive(Debug, Clone, PartialEq, std::default::Default)]
pub struct RuleSet {
    /// The rules, in the order they are reported.
    pub rules: Vec<Rule>,
    /// What is assumed.
    pub defaults: Vec<Default>,
    /// Complaints.
    pub complaints: Vec<Complaint>,
    /// Sources by key.
    pub sources: BTreeMap<String, Source>,
}

/// The files of the default set.
const FILES: [(&str, &str); 5] = [
    ("sources.toml", include_str!("rules/sources.toml")),
    ("rider.toml", include_str!("rules/rider.toml")),
    ("horse.toml", include_str!("rules/horse.toml")),
    ("defaults.toml", include_str!("rules/defaults.toml")),
    ("complaints.toml", include_str!("rules/complaints.toml")),
];

impl RuleSet {
    /// The default set.
    ///
    /// # Errors
    /// None that a test would let pass.
    pub fn built_in() -> Result<Self, TextError> {
        let mut set = Self::default();
        for (file, text) in FILES {
            set.add(file, text)?;
        }
        Ok(set)
    }

    /// Adds a file's rules to the set: a rule of an id that is there takes its place, the rest is added.
    ///
    /// # Errors
    /// The first mistake, with its line.
    pub fn add(&mut self, file: &str, text: &str) -> Result<(), TextError> {
        let mut root = Text { file, text }.root()?;
        if let Some(mut sources) = root.table("sources")? {
            for key in sources.keys() {
                if let Some(table) = sources.table(&key.value)? {
                    self.sources.insert(key.value, source(table)?);
                }
            }
        }
        let mut seen: Vec<String> = Vec::new();
        for table in root.tables("rule")? {
            let rule = self.rule(table, &seen)?;
            seen.push(rule.id.clone());
            match self.rules.iter().position(|r| r.id == rule.id) {
                Some(at) => self.rules[at] = rule,
                None => self.rules.push(rule),
            }
        }
        let mut defaults = Vec::new();
        for table in root.tables("default")? {
            defaults.push(self.default_value(table)?);
        }
        // What is read later is looked at first.
        defaults.append(&mut self.defaults);
        self.defaults = defaults;
        for table in root.tables("complaint")? {
            let complaint = self.complaint(table)?;
            self.complaints.retain(|c| c.id != complaint.id);
            self.complaints.push(complaint);
        }
        root.finish()
    }

    /// What can only be told of the whole set.
    ///
    /// # Errors
    /// A rule that goes together with one that is not there.
    pub fn finish(&self) -> Result<(), String> {
        for rule in &self.rules {
            let with =
                rule.together.as_ref().map(|t| &t.0).filter(|w| !self.rules.iter().any(|r| r.id == **w));
            if let Some(with) = with {
                let hint = did_you_mean(with, self.rules.iter().map(|r| r.id.as_str()));
                return Err(one_line(&format!(
                    "rule `{}` goes together with `{with}`, which is not there; {hint}",
                    rule.id
                )));
            }
        }
        Ok(())
    }

    /// The complaints of a rider file are those of the rules: only with them can a slip be told.
    ///
    /// # Errors
    /// The first that is not there, with its line.
    pub fn check_complaints(&self, rider: &Rider) -> Result<(), TextError> {
        let known = || self.complaints.iter().map(|c| c.id.as_str());
        match rider.complaints.iter().find(|p| !known().any(|k| k == p.value)) {
            None => Ok(()),
            Some(odd) => {
                let text = Text { file: &rider.file, text: &rider.text };
                let hint = did_you_mean(&odd.value, known());
                Err(text.error(odd.at, format!("there is no complaint `{}`; {hint}", odd.value)))
            }
        }
    }

    fn source_key(&self, text: Text, placed: Placed) -> Result<String, TextError> {
        if self.sources.contains_key(&placed.value) {
            return Ok(placed.value);
        }
        let hint = did_you_mean(&placed.value, self.sources.keys().map(String::as_str));
        Err(text.error(placed.at, format!("there is no source `{}`; {hint}", placed.value)))
    }

    fn rule(&self, mut t: Table, seen: &[String]) -> Result<Rule, TextError> {
        let text = t.text();
        let id = t.need_string("id")?;
        if seen.contains(&id.value) {
            return Err(text.error(id.at, format!("there are two rules `{}`; rename one", id.value)));
        }
        let title = t.need_string("title")?.value;
        let about = word(
            &mut t,
            "about",
            &[("rider", About::Rider), ("horse", About::Horse), ("saddle", About::Saddle)],
        )?;
        let severity = severity(&mut t, "severity")?;
        let when = when(&mut t)?;
        let measures = measures(&mut t)?;
        let dim = measures[0].node.dim().unwrap_or_default();
        let unit = shown_in(&mut t, dim)?;
        let lower = self.limit(&mut t, "lower", dim)?;
        let upper = self.limit(&mut t, "upper", dim)?;
        let bands = self.bands(&mut t, dim)?;
        let words = words(&mut t, &lower, &upper)?;
        let together = together(&mut t)?;
        let remarks = remarks(&mut t)?;
        let sources = t.strings("source")?;
        if sources.is_empty() {
            return Err(t.error(format!(
                "rule `{}` has no source; write source = \"practice\" or another key",
                id.value
            )));
        }
        let sources = sources.into_iter().map(|s| self.source_key(text, s)).collect::<Result<_, _>>()?;
        t.finish()?;
        let id = id.value;
        Ok(Rule {
            id,
            title,
            about,
            severity,
            when,
            measures,
            unit,
            lower,
            upper,
            bands,
            words,
            together,
            remarks,
            sources,
        })
    }

    /// `key = { is = "9 in", source = "..." }`, of the dimension wanted.
    fn limit(&self, t: &mut Table, key: &str, dim: Dim) -> Result<Option<Limit>, TextError> {
        let text = t.text();
        let Some(mut inner) = t.table(key)? else { return Ok(None) };
        let is = inner.need_string("is")?;
        let node = expression(text, &is)?;
        let has = node.dim().unwrap_or_default();
        if has != dim {
            let what = format!("`{key}` is {}, and what is measured is {}", has.in_words(), dim.in_words());
            return Err(text.error(is.at, what));
        }
        let source = inner.need_string("source")?;
        let source = self.source_key(text, source)?;
        inner.finish()?;
        Ok(Some(Limit { written: is.value, node, source }))
    }

    fn bands(&self, t: &mut Table, dim: Dim) -> Result<Vec<Band>, TextError> {
        let mut bands = Vec::new();
        for mut band in t.tables("band")? {
            bands.push(Band {
                name: band.need_string("name")?.value,
                lower: self.limit(&mut band, "lower", dim)?,
                upper: self.limit(&mut band, "upper", dim)?,
            });
            band.finish()?;
        }
        Ok(bands)
    }

    fn default_value(&self, mut t: Table) -> Result<Default, TextError> {
        let text = t.text();
        let name = t.need_string("field")?;
        let field = FIELDS.iter().find(|f| f.0 == name.value).map(|f| f.1).ok_or_else(|| {
            let hint = did_you_mean(&name.value, FIELDS.iter().map(|f| f.0));
            text.error(name.at, format!("there is no field `{}`; {hint}", name.value))
        })?;
        let source = t.need_string("source")?;
        let source = self.source_key(text, source)?;
        let amount = |placed: Option<Placed>| -> Result<Option<Limit>, TextError> {
            let Some(placed) = placed else { return Ok(None) };
            let node = expression(text, &placed)?;
            if node.dim() != Ok(field.dim()) {
                return Err(
                    text.error(placed.at, format!("`{}` is {}", field.name(), field.dim().in_words()))
                );
            }
            Ok(Some(Limit { written: placed.value, node, source: source.clone() }))
        };
        let default = Default {
            field,
            when: when(&mut t)?,
            value: amount(t.string("value")?)?,
            u: amount(t.string("u")?)?,
            refuse: t.string("refuse")?.map(|p| p.value),
            source: source.clone(),
        };
        t.finish()?;
        Ok(default)
    }

    fn complaint(&self, mut t: Table) -> Result<Complaint, TextError> {
        let text = t.text();
        let id = t.need_string("id")?.value;
        let title = t.need_string("title")?.value;
        let mut look_at = Vec::new();
        for rule in t.strings("look_at")? {
            if !self.rules.iter().any(|r| r.id == rule.value) {
                let hint = did_you_mean(&rule.value, self.rules.iter().map(|r| r.id.as_str()));
                return Err(text.error(rule.at, format!("there is no rule `{}`; {hint}", rule.value)));
            }
            look_at.push(rule.value);
        }
        let ask = t.strings("ask")?.into_iter().map(|p| p.value).collect();
        let source = t.need_string("source")?;
        let source = self.source_key(text, source)?;
        t.finish()?;
        Ok(Complaint { id, title, look_at, ask, source })
    }

    /// A source in words, with what kind it is.
    pub fn source_text(&self, key: &str) -> String {
        let Some(source) = self.sources.get(key) else { return key.to_owned() };
        match source.kind {
            SourceKind::Published | SourceKind::Definition => source.text.clone(),
            SourceKind::Computed => format!("computed: {}", source.text),
            SourceKind::Practice => format!("common practice, no source: {}", source.text),
            SourceKind::Working => format!("working value (common practice, no source): {}", source.text),
        }
    }
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

fn source(mut t: Table) -> Result<Source, TextError> {
    let kinds = [
        ("published", SourceKind::Published),
        ("computed", SourceKind::Computed),
        ("practice", SourceKind::Practice),
        ("working", SourceKind::Working),
        ("definition", SourceKind::Definition),
    ];
    let source = Source { kind: word(&mut t, "kind", &kinds)?, text: t.need_string("text")?.value };
    t.finish()?;
    Ok(source)
}

fn word<T: Copy>(t: &mut Table, key: &str, words: &[(&str, T)]) -> Result<T, TextError> {
    let placed = t.need_string(key)?;
    words.iter().find(|w| w.0 == placed.value).map(|w| w.1).ok_or_else(|| {
        let hint = did_you_mean(&placed.value, words.iter().map(|w| w.0));
        t.text().error(placed.at, format!("`{key}` cannot be \"{}\"; {hint}", placed.value))
    })
}

fn severity(t: &mut Table, key: &str) -> Result<Severity, TextError> {
    word(t, key, &[("serious", Severity::Serious), ("matters", Severity::Matters), ("look", Severity::Look)])
}

fn expression(text: Text, placed: &Placed) -> Result<Node, TextError> {
    parse(&placed.value).map_err(|(at, what)| text.error(placed.at + 1 + at, what))
}

/// Keys that conditions may name, with their words.
const CONDITIONS: [(&str, &[&str]); 3] = [("pattern", &PATTERNS), ("thighs", &THIGHS), ("seat_bones", &HOW)];

fn when(t: &mut Table) -> Result<When, TextError> {
    let Some(mut inner) = t.table("when")? else { return Ok(When::new()) };
    let mut all = When::new();
    for (key, words) in CONDITIONS {
        let found = inner.strings(key)?;
        if let Some(odd) = found.iter().find(|p| !words.contains(&p.value.as_str())) {
            let hint = did_you_mean(&odd.value, words.iter().copied());
            return Err(inner.text().error(odd.at, format!("`{key}` cannot be \"{}\"; {hint}", odd.value)));
        }
        if !found.is_empty() {
            all.insert(key.to_owned(), found.into_iter().map(|p| p.value).collect());
        }
    }
    inner.finish()?;
    Ok(all)
}

fn measures(t: &mut Table) -> Result<Vec<Measure>, TextError> {
    let text = t.text();
    let mut all: Vec<(String, Placed)> = Vec::new();
    if t.is_table("measure") {
        let Some(mut inner) = t.table("measure")? else { return Ok(Vec::new()) };
        for key in inner.keys() {
            all.push((key.value.replace('_', " "), inner.need_string(&key.value)?));
        }
    } else {
        all.push((String::new(), t.need_string("measure")?));
    }
    let measures: Vec<Measure> = all
        .into_iter()
        .map(|(label, p)| Ok(Measure { label, node: expression(text, &p)?, written: p.value }))
        .collect::<Result<_, TextError>>()?;
    let first = measures.first().and_then(|m| m.node.dim().ok());
    match first {
        None => Err(t.error("`measure` is empty")),
        Some(_) if measures.iter().any(|m| m.node.dim().ok() != first) => {
            Err(t.error("the expressions of `measure` are of different kinds"))
        }
        Some(_) => Ok(measures),
    }
}

fn shown_in(t: &mut Table, dim: Dim) -> Result<Unit, TextError> {
    let Some(placed) = t.string("unit")? else {
        return match dim {
            Dim::LENGTH => Ok(MM),
            Dim::NONE => Ok(NO_UNIT),
            Dim::ANGLE => Ok(unit_named("deg").unwrap_or(NO_UNIT)),
            _ => Err(t.error(format!("`unit` is missing: it says what {} is shown in", dim.in_words()))),
        };
    };
    match unit_named(&placed.value) {
        Some(unit) if unit.dim == dim => Ok(unit),
        _ => Err(t.text().error(placed.at, format!("`{}` is no unit of {}", placed.value, dim.in_words()))),
    }
}

fn words(t: &mut Table, lower: &Option<Limit>, upper: &Option<Limit>) -> Result<Words, TextError> {
    let limited = lower.is_some() || upper.is_some();
    let mut get = |key: &str, needed: bool| -> Result<String, TextError> {
        let found = if needed { Some(t.need_string(key)?) } else { t.string(key)? };
        Ok(found.map(|p| p.value).unwrap_or_default())
    };
    Ok(Words {
        met: get("met", limited)?,
        below: get("below", lower.is_some())?,
        above: get("above", upper.is_some())?,
        undecided: get("undecided", limited)?,
        next: get("next", limited)?,
    })
}

fn together(t: &mut Table) -> Result<Option<(String, Severity)>, TextError> {
    let Some(mut inner) = t.table("together")? else { return Ok(None) };
    let with = inner.need_string("with")?.value;
    let weighs = severity(&mut inner, "weighs")?;
    inner.finish()?;
    Ok(Some((with, weighs)))
}

fn remarks(t: &mut Table) -> Result<Vec<(When, String)>, TextError> {
    let mut all = Vec::new();
    for mut remark in t.tables("remark")? {
        all.push((when(&mut remark)?, remark.need_string("say")?.value));
        remark.finish()?;
    }
    Ok(all)
}
