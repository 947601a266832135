//! TOML read by hand, so that every mistake has its line, and unknown keys a suggestion.

use std::collections::BTreeSet;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::hint::did_you_mean;
use super::unit::{Amount, Dim, parse_amount};

/// What is wrong in a rider or rules file, and where. Shown as `file:line:column: what; what to do`.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file}:{line}:{column}: {what}")]
pub struct TextError {
    /// The file's name.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong and what to do, in one line.
    pub what: String,
}

/// A message in one line: what it repeats of a file may hold signs that break the line or drive the terminal.
pub fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// The text of one file under its name.
#[derive(Debug, Clone, Copy)]
pub struct TomlText<'a> {
    /// Name shown in messages.
    pub file: &'a str,
    /// The text.
    pub text: &'a str,
}

impl<'a> TomlText<'a> {
    /// The error at a byte of the text.
    pub fn error(&self, at: usize, what: impl Into<String>) -> TextError {
        let at = (0..=at.min(self.text.len())).rev().find(|&i| self.text.is_char_boundary(i)).unwrap_or(0);
        let before = &self.text[..at];
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or_default().chars().count() + 1;
        TextError { file: self.file.to_owned(), line, column, what: one_line(&what.into()) }
    }

    /// The whole file as a table.
    ///
    /// # Errors
    /// Where the text is no TOML.
    pub fn root(self) -> Result<TomlTable<'a>, TextError> {
        match DeTable::parse(self.text) {
            Ok(root) => {
                let span = root.span();
                Ok(TomlTable {
                    text: self,
                    span,
                    what: String::new(),
                    table: root.into_inner(),
                    used: BTreeSet::new(),
                })
            }
            Err(e) => Err(self.error(e.span().map_or(0, |s| s.start), e.message())),
        }
    }
}

/// A table being read: it remembers the keys that were read, and [`TomlTable::finish`] refuses the others.
#[derive(Debug)]
pub struct TomlTable<'a> {
    text: TomlText<'a>,
    span: Range<usize>,
    what: String,
    table: DeTable<'a>,
    used: BTreeSet<String>,
}

/// A string with its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placed {
    /// The string.
    pub value: String,
    /// The byte at which it begins (its quotation mark).
    pub at: usize,
}

type Value<'a> = Spanned<DeValue<'a>>;

impl<'a> TomlTable<'a> {
    /// An error at the table itself.
    pub fn error(&self, what: impl Into<String>) -> TextError {
        self.text.error(self.span.start, what)
    }

    /// The text it stands in.
    pub fn text(&self) -> TomlText<'a> {
        self.text
    }

    /// The value of a key, and its place. The key then counts as known.
    fn take(&mut self, key: &str) -> Option<Value<'a>> {
        self.used.insert(key.to_owned());
        self.table.iter().find(|(k, _)| k.get_ref() == key).map(|(_, v)| v.clone())
    }

    fn wrong(&self, key: &str, value: &Value, wanted: &str) -> TextError {
        let is = value.get_ref().type_str();
        self.text.error(value.span().start, format!("`{key}` is a {is}; write {wanted}"))
    }

    /// Strings may be left out.
    ///
    /// # Errors
    /// Where the key holds something else.
    pub fn string(&mut self, key: &str) -> Result<Option<Placed>, TextError> {
        let Some(value) = self.take(key) else { return Ok(None) };
        match value.get_ref().as_str() {
            Some(s) => Ok(Some(Placed { value: s.to_owned(), at: value.span().start })),
            None => Err(self.wrong(key, &value, "a text in quotation marks")),
        }
    }

    /// A string that must be there.
    ///
    /// # Errors
    /// Where it is missing or something else.
    pub fn need_string(&mut self, key: &str) -> Result<Placed, TextError> {
        self.string(key)?
            .ok_or_else(|| self.error(format!("{}`{key}` is missing; write {key} = \"...\"", self.named())))
    }

    fn named(&self) -> String {
        if self.what.is_empty() { String::new() } else { format!("in {}: ", self.what) }
    }

    /// One string or a list of strings; an empty list where the key is left out.
    ///
    /// # Errors
    /// Where it is something else.
    pub fn strings(&mut self, key: &str) -> Result<Vec<Placed>, TextError> {
        let Some(value) = self.take(key) else { return Ok(Vec::new()) };
        let one =
            |v: &Value| v.get_ref().as_str().map(|s| Placed { value: s.to_owned(), at: v.span().start });
        if let Some(single) = one(&value) {
            return Ok(vec![single]);
        }
        let wanted = "a text in quotation marks, or a list of them in [ ]";
        let Some(list) = value.get_ref().as_array() else { return Err(self.wrong(key, &value, wanted)) };
        list.iter().map(|v| one(v).ok_or_else(|| self.wrong(key, v, wanted))).collect()
    }

    /// `true` or `false`; false where the key is left out.
    ///
    /// # Errors
    /// Where it is something else.
    pub fn flag(&mut self, key: &str) -> Result<bool, TextError> {
        let Some(value) = self.take(key) else { return Ok(false) };
        value.get_ref().as_bool().ok_or_else(|| self.wrong(key, &value, "true or false"))
    }

    /// A number without a unit.
    ///
    /// # Errors
    /// Where it is something else, or not finite.
    pub fn number(&mut self, key: &str) -> Result<Option<f64>, TextError> {
        let Some(value) = self.take(key) else { return Ok(None) };
        match as_number(value.get_ref()) {
            Some(x) if x.is_finite() => Ok(Some(x)),
            _ => Err(self.wrong(key, &value, "a number, with a point as decimal sign")),
        }
    }

    /// An amount: `key = "5 in"`, or a number whose unit ends the key, as in `key_mm = 127`. A number without a unit has
    /// the first of `units`.
    ///
    /// # Errors
    /// Where it is no amount, or stands there twice.
    pub fn amount(&mut self, key: &str, units: &[&str]) -> Result<Option<(Amount, usize)>, TextError> {
        let keys = std::iter::once((key.to_owned(), units.first()))
            .chain(units.iter().map(|unit| (format!("{key}_{unit}"), Some(unit))));
        let mut found: Option<(Amount, usize)> = None;
        for (long, unit) in keys {
            let Some(value) = self.take(&long) else { continue };
            let at = value.span().start;
            let written = match (value.get_ref().as_str(), as_number(value.get_ref())) {
                (Some(text), _) if long == key => text.to_owned(),
                (_, Some(number)) => number.to_string(),
                _ => return Err(self.wrong(&long, &value, "a number with its unit, such as \"128 mm\"")),
            };
            let slip = |e: String| self.text.error(at, format!("`{long}`: {e}"));
            let amount = match (parse_amount(&written).map_err(slip)?, unit) {
                (Amount::Plain(x, Dim::NONE), Some(unit)) => {
                    parse_amount(&format!("{x} {unit}")).map_err(slip)?
                }
                (amount, _) => amount,
            };
            if found.replace((amount, at)).is_some() {
                return Err(self.text.error(at, format!("`{key}` is given twice; leave one out")));
            }
        }
        Ok(found)
    }

    /// A table within; `what` names it in messages.
    ///
    /// # Errors
    /// Where it is something else.
    pub fn table(&mut self, key: &str) -> Result<Option<TomlTable<'a>>, TextError> {
        let Some(value) = self.take(key) else { return Ok(None) };
        let span = value.span();
        match value.get_ref() {
            DeValue::Table(inner) => Ok(Some(self.within(key, inner.clone(), span))),
            _ => Err(self.wrong(key, &value, &format!("a table, [{key}]"))),
        }
    }

    /// Tables of `[[key]]`; empty where there are none.
    ///
    /// # Errors
    /// Where it is something else.
    pub fn tables(&mut self, key: &str) -> Result<Vec<TomlTable<'a>>, TextError> {
        let Some(value) = self.take(key) else { return Ok(Vec::new()) };
        let wanted = format!("tables, each headed [[{key}]]");
        let Some(list) = value.get_ref().as_array() else { return Err(self.wrong(key, &value, &wanted)) };
        list.iter()
            .map(|v| match v.get_ref() {
                DeValue::Table(inner) => Ok(self.within(key, inner.clone(), v.span())),
                _ => Err(self.wrong(key, v, &wanted)),
            })
            .collect()
    }

    fn within(&self, key: &str, table: DeTable<'a>, span: Range<usize>) -> TomlTable<'a> {
        TomlTable { text: self.text, span, what: key.to_owned(), table, used: BTreeSet::new() }
    }

    /// Whether the key holds a table, without taking it.
    pub fn is_table(&self, key: &str) -> bool {
        self.table.iter().any(|(k, v)| k.get_ref() == key && v.get_ref().is_table())
    }

    /// Every key with its place, in the order of the file.
    pub fn keys(&self) -> Vec<Placed> {
        let mut keys: Vec<Placed> = self
            .table
            .keys()
            .map(|k| Placed { value: k.get_ref().to_string(), at: k.span().start })
            .collect();
        keys.sort_by_key(|k| k.at);
        keys
    }

    /// Refuses the first key that nobody asked for.
    ///
    /// # Errors
    /// The unknown key, with what may have been meant.
    pub fn finish(self) -> Result<(), TextError> {
        let unknown = self.keys().into_iter().find(|k| !self.used.contains(&k.value));
        match unknown {
            None => Ok(()),
            Some(key) => {
                let hint = did_you_mean(&key.value, self.used.iter().map(String::as_str));
                let place = if self.what.is_empty() { String::new() } else { format!(" in [{}]", self.what) };
                Err(self.text.error(key.at, format!("unknown key `{}`{place}; {hint}", key.value)))
            }
        }
    }
}

fn as_number(value: &DeValue) -> Option<f64> {
    match value {
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).ok().map(|i| i as f64),
        DeValue::Float(f) => f.as_str().parse().ok(),
        _ => None,
    }
}
