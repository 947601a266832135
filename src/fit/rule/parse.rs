//! Rule files, read by hand over the spans of their TOML, so that every mistake has its line.

use super::set::RuleSet;
use super::{
    About, Band, Complaint, Default, Limit, Measure, Rule, Severity, Source, SourceKind, When, Words,
};
use crate::fit::expr::{FIELDS, Node, parse};
use crate::fit::hint::did_you_mean;
use crate::fit::rider::{HOW, PATTERNS, THIGHS, UNKNOWN};
use crate::fit::text::{Placed, TextError, TomlTable, TomlText};
use crate::fit::unit::{Dim, MM, NO_UNIT, Unit, unit_named};

impl RuleSet {
    fn source_key(&self, text: TomlText, placed: Placed) -> Result<String, TextError> {
        if self.sources.contains_key(&placed.value) {
            return Ok(placed.value);
        }
        let hint = did_you_mean(&placed.value, self.sources.keys().map(String::as_str));
        Err(text.error(placed.at, format!("there is no source `{}`; {hint}", placed.value)))
    }

    pub(super) fn rule(&self, mut t: TomlTable, seen: &[String]) -> Result<Rule, TextError> {
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
        let severity = word(&mut t, "severity", &SEVERITIES)?;
        let thumb = t.flag("thumb")?;
        let when = when(&mut t)?;
        let measures = measures(&mut t)?;
        let dim = measures[0].node.dim().unwrap_or_default();
        let unit = shown_in(&mut t, dim)?;
        let lower = self.limit(&mut t, "lower", dim)?;
        let upper = self.limit(&mut t, "upper", dim)?;
        let bands = self.bands(&mut t, dim)?;
        let words = words(&mut t, &lower, &upper)?;
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
            thumb,
            when,
            measures,
            unit,
            lower,
            upper,
            bands,
            words,
            remarks,
            sources,
        })
    }

    /// `key = { is = "9 in", source = "..." }`, of the dimension wanted.
    fn limit(&self, t: &mut TomlTable, key: &str, dim: Dim) -> Result<Option<Limit>, TextError> {
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

    fn bands(&self, t: &mut TomlTable, dim: Dim) -> Result<Vec<Band>, TextError> {
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

    pub(super) fn default_value(&self, mut t: TomlTable) -> Result<Default, TextError> {
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

    pub(super) fn complaint(&self, mut t: TomlTable) -> Result<Complaint, TextError> {
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
}

pub(super) fn source(mut t: TomlTable) -> Result<Source, TextError> {
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

fn word<T: Copy>(t: &mut TomlTable, key: &str, words: &[(&str, T)]) -> Result<T, TextError> {
    let placed = t.need_string(key)?;
    words.iter().find(|w| w.0 == placed.value).map(|w| w.1).ok_or_else(|| {
        let hint = did_you_mean(&placed.value, words.iter().map(|w| w.0));
        t.text().error(placed.at, format!("`{key}` cannot be \"{}\"; {hint}", placed.value))
    })
}

const SEVERITIES: [(&str, Severity); 3] =
    [("serious", Severity::Serious), ("matters", Severity::Matters), ("look", Severity::Look)];

fn expression(text: TomlText, placed: &Placed) -> Result<Node, TextError> {
    parse(&placed.value).map_err(|(at, what)| text.error(placed.at + 1 + at, what))
}

/// Keys that conditions may name, with their words.
const CONDITIONS: [(&str, &[&str]); 3] = [("pattern", &PATTERNS), ("thighs", &THIGHS), ("seat_bones", &HOW)];

fn when(t: &mut TomlTable) -> Result<When, TextError> {
    let Some(mut inner) = t.table("when")? else { return Ok(When::new()) };
    let mut all = When::new();
    for (key, words) in CONDITIONS {
        let found = inner.strings(key)?;
        let known = || words.iter().copied().chain([UNKNOWN]);
        if let Some(odd) = found.iter().find(|p| known().all(|word| word != p.value)) {
            let hint = did_you_mean(&odd.value, known());
            return Err(inner.text().error(odd.at, format!("`{key}` cannot be \"{}\"; {hint}", odd.value)));
        }
        if !found.is_empty() {
            all.insert(key.to_owned(), found.into_iter().map(|p| p.value).collect());
        }
    }
    inner.finish()?;
    Ok(all)
}

fn measures(t: &mut TomlTable) -> Result<Vec<Measure>, TextError> {
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

fn shown_in(t: &mut TomlTable, dim: Dim) -> Result<Unit, TextError> {
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

fn words(t: &mut TomlTable, lower: &Option<Limit>, upper: &Option<Limit>) -> Result<Words, TextError> {
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
        ask: get("ask", false)?,
    })
}

fn remarks(t: &mut TomlTable) -> Result<Vec<(When, String)>, TextError> {
    let mut all = Vec::new();
    for mut remark in t.tables("remark")? {
        all.push((when(&mut remark)?, remark.need_string("say")?.value));
        remark.finish()?;
    }
    Ok(all)
}
