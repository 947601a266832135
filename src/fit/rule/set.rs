//! A set of rules from several files, of which a later one may replace what an earlier one says.

use std::collections::BTreeMap;

use super::{Complaint, Default, Rule, Source, SourceKind, parse};
use crate::fit::hint::did_you_mean;
use crate::fit::rider::Rider;
use crate::fit::text::{TextError, TomlText};

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
    ("sources.toml", include_str!("../rules/sources.toml")),
    ("rider.toml", include_str!("../rules/rider.toml")),
    ("horse.toml", include_str!("../rules/horse.toml")),
    ("defaults.toml", include_str!("../rules/defaults.toml")),
    ("complaints.toml", include_str!("../rules/complaints.toml")),
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
        let mut root = TomlText { file, text }.root()?;
        if let Some(mut sources) = root.table("sources")? {
            for key in sources.keys() {
                if let Some(table) = sources.table(&key.value)? {
                    self.sources.insert(key.value, parse::source(table)?);
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

    /// The complaints of a rider file are those of the rules: only with them does a slip show.
    ///
    /// # Errors
    /// The first that is not there, with its line.
    pub fn check_complaints(&self, rider: &Rider) -> Result<(), TextError> {
        let known = || self.complaints.iter().map(|c| c.id.as_str());
        match rider.complaints.iter().find(|p| !known().any(|k| k == p.value)) {
            None => Ok(()),
            Some(odd) => {
                let text = TomlText { file: &rider.file, text: &rider.text };
                let hint = did_you_mean(&odd.value, known());
                Err(text.error(odd.at, format!("there is no complaint `{}`; {hint}", odd.value)))
            }
        }
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
