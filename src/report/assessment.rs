//! An assessment as text for the terminal.

use std::fmt::Write;

use crate::fit::result::{Assessment, LimitAt, RuleResult, RuleValue};
use crate::fit::rule::{About, Severity};
use crate::fit::verdict::Verdict;
use crate::report::words::plain;

/// What is shown beside verdicts.
#[derive(Debug, Clone, Copy, Default)]
pub struct AssessmentOptions {
    /// The sources of every rule, and the largest lines of every budget.
    pub sources: bool,
}

/// The subject of a rule.
pub(super) fn about_word(about: About) -> &'static str {
    match about {
        About::Rider => "rider",
        About::Horse => "horse",
        About::Saddle => "saddle",
    }
}

/// A verdict in words.
pub fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Meets => "meets",
        Verdict::Stated => "stated",
        Verdict::NotJudged => "not judged",
        Verdict::Undecided => "undecided",
        Verdict::FallsShort => "falls short",
    }
}

/// The assessment in words, ending with a line break.
pub fn text(a: &Assessment, options: AssessmentOptions) -> String {
    let mut out = String::new();
    let views: Vec<&str> = a.views.iter().map(|v| v.as_str()).collect();
    let _ = writeln!(out, "saddle     {}", plain(&a.saddle));
    let _ = writeln!(out, "views      {}", if views.is_empty() { "none".into() } else { views.join(", ") });
    let _ = writeln!(out, "rider      {}", plain(a.rider.as_deref().unwrap_or("not named")));
    let _ = writeln!(out, "firm from  {} % confidence\n", percent(a.confidence));
    for s in &a.summary {
        let _ = writeln!(out, "{:10} {}", format!("{}:", about_word(s.about)), plain(&s.text));
    }
    for about in [About::Rider, About::Horse, About::Saddle] {
        let of: Vec<&RuleResult> = a.results.iter().filter(|r| r.about == about).collect();
        if !of.is_empty() {
            let _ = writeln!(out, "\n-- {} --", about_word(about));
        }
        of.into_iter().for_each(|r| rule(r, options, &mut out));
    }
    complaints(a, &mut out);
    list("assumed", a.assumed.iter().map(|x| format!("{} ({})", x.text, x.source)), &mut out);
    list("warnings of the sheets", a.warnings.iter().cloned(), &mut out);
    out.push('\n');
    for caution in &a.cautions {
        let _ = writeln!(out, "{caution}");
    }
    out
}

fn list(head: &str, lines: impl Iterator<Item = String>, out: &mut String) {
    let lines: Vec<String> = lines.collect();
    if !lines.is_empty() {
        let _ = writeln!(out, "\n{head}");
    }
    for line in lines {
        let _ = writeln!(out, "  - {}", plain(&line));
    }
}

fn rule(r: &RuleResult, options: AssessmentOptions, out: &mut String) {
    let weight = match (r.verdict, r.severity) {
        (Verdict::FallsShort, Severity::Serious) => "  SERIOUS",
        _ => "",
    };
    let _ = writeln!(out, "{:12} {}{weight}", verdict_words(r.verdict), plain(&r.title));
    for part in &r.parts {
        let _ = writeln!(out, "    {}", figures(part));
    }
    if !matches!(r.verdict, Verdict::NotJudged) && !r.says.is_empty() {
        let _ = writeln!(out, "    {}", plain(&r.says));
    }
    if let Some(part) = r.parts.iter().find(|p| p.decides.is_some()) {
        let _ = writeln!(out, "    to decide: {}", plain(part.decides.as_deref().unwrap_or_default()));
    }
    if !r.next.is_empty() {
        let _ = writeln!(out, "    next: {}", plain(&r.next));
    }
    for remark in &r.remarks {
        let _ = writeln!(out, "    note: {}", plain(remark));
    }
    if options.sources {
        for part in &r.parts {
            let lines: Vec<String> =
                part.budget.iter().take(4).map(|b| format!("{} {:.2}", plain(&b.from), b.u)).collect();
            if !lines.is_empty() {
                let _ = writeln!(
                    out,
                    "    u: {} ({})",
                    lines.join(", "),
                    if part.unit.is_empty() { "no unit" } else { &part.unit }
                );
            }
        }
        for source in &r.sources {
            let _ = writeln!(out, "    source: {}", plain(source));
        }
    }
}

/// `front: 63.2 ± 1.6 mm; at least 80.0 mm; conforms with 0.1 %`.
pub(super) fn figures(p: &RuleValue) -> String {
    let label = if p.label.is_empty() { String::new() } else { format!("{}: ", plain(&p.label)) };
    let d = p.decimals;
    let unit = if p.unit.is_empty() { String::new() } else { format!(" {}", p.unit) };
    let mut figures = match (p.value, p.u95) {
        (Some(v), Some(u)) => format!("{v:.d$} ± {u:.d$}{unit}", u = at_least_a_digit(u, d)),
        _ => "not known".into(),
    };
    let limit = |l: &LimitAt| {
        let rough =
            if l.u95 > 0.0 { format!(" ± {:.d$}", at_least_a_digit(l.u95, d)) } else { String::new() };
        let value = format!("{:.d$}{rough}{unit}", l.value);
        let same = l.written.is_empty() || l.written.ends_with(&p.unit);
        if same { value } else { format!("{value} ({})", plain(&l.written)) }
    };
    if let Some(l) = &p.lower {
        figures += &format!("; at least {}", limit(l));
    }
    if let Some(l) = &p.upper {
        figures += &format!("; at most {}", limit(l));
    }
    if let Some(probability) = p.probability {
        figures += &format!("; within: {}", odds(probability));
    }
    if let Some(why) = &p.missing {
        figures += &format!(" ({})", plain(why));
    }
    format!("{label}{figures}")
}

fn at_least_a_digit(u: f64, decimals: usize) -> f64 {
    if u > 0.0 { u.max(10_f64.powi(-(decimals as i32))) } else { u }
}

/// A probability in per cent, never 0 or 100.
pub(super) fn odds(p: f64) -> String {
    match 100.0 * p {
        x if x > 99.9 => "> 99.9 %".into(),
        x if x < 0.1 => "< 0.1 %".into(),
        x if !(1.0..=99.0).contains(&x) => format!("{x:.1} %"),
        x => format!("{x:.0} %"),
    }
}

fn percent(p: f64) -> String {
    let text = format!("{:.2}", 100.0 * p);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn complaints(a: &Assessment, out: &mut String) {
    for c in &a.complaints {
        let _ = writeln!(out, "\ncomplaint: {} (questions for the fitter, no diagnosis)", plain(&c.title));
        for question in &c.ask {
            let _ = writeln!(out, "  ? {}", plain(question));
        }
        for look in &c.look_at {
            let _ = writeln!(out, "  look at: {}", plain(look));
        }
        if c.look_at.is_empty() {
            let _ = writeln!(out, "  no rule that may bear on it fell short or is open");
        }
    }
}
