//! The rules as a table for people: on the terminal and in `docs/rules.md`.

use std::fmt::Write;

use crate::fit::rule::{Limit, Rule, RuleSet, Severity};

use super::assessment::about_word;

/// Severity in a word.
fn weight(severity: Severity) -> &'static str {
    match severity {
        Severity::Serious => "serious",
        Severity::Matters => "matters",
        Severity::Look => "look",
    }
}

/// What a miss weighs.
fn weighs(rule: &Rule) -> String {
    format!("{}{}", weight(rule.severity), if rule.thumb { ", of thumb" } else { "" })
}

/// One line a rule.
pub fn list(set: &RuleSet) -> String {
    let mut out = String::new();
    for r in &set.rules {
        let _ = writeln!(out, "{:18} {:7} {:18} {}", r.id, about_word(r.about), weighs(r), r.title);
    }
    out
}

/// Everything about a rule.
pub fn explain(set: &RuleSet, rule: &Rule) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{}: {}\n  about the {}; a miss is: {}",
        rule.id,
        rule.title,
        about_word(rule.about),
        weighs(rule)
    );
    for (key, words) in &rule.when {
        let _ = writeln!(out, "  applies where {key} is {}", words.join(" or "));
    }
    for m in &rule.measures {
        let label = if m.label.is_empty() { String::new() } else { format!("{}: ", m.label) };
        let _ = writeln!(out, "  measures {label}{}", m.written);
    }
    for (what, limit) in limits(rule) {
        let _ = writeln!(out, "  {what} {}\n      {}", limit.written, set.source_text(&limit.source));
    }
    let w = &rule.words;
    for (head, text) in [
        ("met", &w.met),
        ("below", &w.below),
        ("above", &w.above),
        ("undecided", &w.undecided),
        ("next", &w.next),
        ("ask", &w.ask),
    ] {
        if !text.is_empty() {
            let _ = writeln!(out, "  {head}: {text}");
        }
    }
    for key in &rule.sources {
        let _ = writeln!(out, "  source: {}", set.source_text(key));
    }
    out
}

/// Every limit with a word for it.
fn limits(rule: &Rule) -> Vec<(String, &Limit)> {
    let mut all: Vec<(String, &Limit)> = Vec::new();
    all.extend(rule.lower.iter().map(|l| ("at least".to_owned(), l)));
    all.extend(rule.upper.iter().map(|l| ("at most".to_owned(), l)));
    for band in &rule.bands {
        all.extend(band.lower.iter().map(|l| (format!("\"{}\" from", band.name), l)));
        all.extend(band.upper.iter().map(|l| (format!("\"{}\" up to", band.name), l)));
    }
    all
}

/// The default set as `docs/rules.md`.
pub fn markdown(set: &RuleSet) -> String {
    let mut out = String::from(
        "# The default rules\n\nMade from `src/fit/rules`; do not edit. Renew it with\n\
         `SEATSPAN_RENEW=1 cargo test --release --test library rules_table`.\n\n\
         Every number has a source. *Common practice, no source* is what the trade says; a *working value* is a figure of\n\
         this project, for the fitter to change. A rule *of thumb* speaks of many riders: its miss is a question, no verdict.\n\
         A rule without a limit states its value and judges nothing.\n\n\
         | rule | about | a miss | measures | limit | source of the limit |\n| --- | --- | --- | --- | --- | --- |\n",
    );
    for r in &set.rules {
        let when: Vec<String> = r.when.iter().map(|(k, w)| format!("{k}: {}", w.join(" or "))).collect();
        let when = if when.is_empty() { String::new() } else { format!(" ({})", when.join("; ")) };
        let measures: Vec<String> = r
            .measures
            .iter()
            .map(|m| {
                format!(
                    "{}`{}`",
                    if m.label.is_empty() { String::new() } else { format!("{}: ", m.label) },
                    m.written
                )
            })
            .collect();
        let limits = limits(r);
        let figures: Vec<String> = limits.iter().map(|(what, l)| format!("{what} `{}`", l.written)).collect();
        let mut keys: Vec<&str> = limits.iter().map(|(_, l)| l.source.as_str()).collect();
        keys.dedup();
        let keys = if keys.is_empty() { r.sources.iter().map(String::as_str).collect() } else { keys };
        let _ = writeln!(
            out,
            "| **{}** {}{when} | {} | {} | {} | {} | {} |",
            r.id,
            r.title,
            about_word(r.about),
            weighs(r),
            measures.join("<br>"),
            if figures.is_empty() { "none".into() } else { figures.join("<br>") },
            keys.join(", ")
        );
    }
    defaults(set, &mut out);
    out.push_str("\n## Sources\n\n| key | source |\n| --- | --- |\n");
    for key in set.sources.keys() {
        let _ = writeln!(out, "| {key} | {} |", set.source_text(key));
    }
    out
}

fn defaults(set: &RuleSet, out: &mut String) {
    out.push_str(
        "\n## What is assumed\n\nWhere nothing was entered, or no uncertainty with it; an assessment lists what it assumed.\n\n\
         | field | for | value | standard uncertainty | source |\n| --- | --- | --- | --- | --- |\n",
    );
    for d in &set.defaults {
        let when: Vec<String> = d.when.iter().map(|(k, w)| format!("{k}: {}", w.join(" or "))).collect();
        let value = match (&d.value, &d.refuse) {
            (Some(v), _) => format!("`{}`", v.written),
            (None, Some(_)) => "none: not judged".into(),
            (None, None) => "as given".into(),
        };
        let u = d.u.as_ref().map_or(String::new(), |u| format!("`{}`", u.written));
        let _ = writeln!(out, "| {} | {} | {value} | {u} | {} |", d.field.name(), when.join("; "), d.source);
    }
}
