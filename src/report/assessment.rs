//! An assessment as text for the terminal: the short answer first, then rule by rule.

use std::fmt::Write;

use crate::fit::result::{
    Assessment, EnteredChange, LimitAt, RuleResult, RuleValue, Standing, Summary, WidthChange,
};
use crate::fit::rule::About;
use crate::fit::verdict::Verdict;
use crate::report::words::{capitalised, likely, plain, seen, width};

/// What is shown beside verdicts.
#[derive(Debug, Clone, Copy, Default)]
pub struct AssessmentOptions {
    /// The sources of every rule, and the largest lines of every budget.
    pub sources: bool,
    /// Chances in per cent.
    pub numbers: bool,
    /// Rules that were not judged as well.
    pub all: bool,
}

/// The subject of a rule.
pub(super) fn about_word(about: About) -> &'static str {
    match about {
        About::Rider => "rider",
        About::Horse => "horse",
        About::Saddle => "saddle",
    }
}

/// A verdict in words. A rule of thumb asks; it decides nothing.
pub fn verdict_words(r: &RuleResult) -> &'static str {
    match r.verdict {
        Verdict::Meets => "in order",
        Verdict::Stated => "noted",
        Verdict::NotJudged => "not judged",
        Verdict::Undecided => "open",
        Verdict::FallsShort if r.thumb => "ask",
        Verdict::FallsShort => "against",
    }
}

/// A standing in a few words.
pub fn standing_words(standing: Standing) -> &'static str {
    match standing {
        Standing::NothingAgainst => "nothing against",
        Standing::Reservations => "with reservations",
        Standing::Open => "open",
        Standing::Incomplete => "not enough known",
        Standing::NotJudged => "no verdict",
        Standing::Against => "speaks against",
    }
}

/// Why a saddle stands where it does for rider, horse or itself, and what to do next.
pub struct Reasons {
    /// Reasons with their figures.
    pub why: Vec<String>,
    /// What to do next.
    pub next: Vec<String>,
}

/// The reasons of a summary, from the rules that it rests on.
pub fn reasons(a: &Assessment, summary: &Summary, numbers: bool) -> Reasons {
    let results = summary.because.iter().filter_map(|id| a.results.iter().find(|r| r.id == *id));
    let (mut why, mut next): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
    let add = |to: &mut Vec<String>, text: String| {
        if !text.is_empty() && !to.contains(&text) {
            to.push(text);
        }
    };
    for r in results {
        let says = if r.verdict == Verdict::NotJudged { &r.title } else { &r.says };
        let decisive: Vec<&RuleValue> = r.parts.iter().filter(|p| p.verdict == r.verdict).collect();
        add(&mut why, format!("{says} ({})", figures(&decisive, numbers)));
        add_step(&mut next, &r.next);
    }
    Reasons { why, next }
}

/// Adds something to do next. Of steps that begin alike, such as letting the rider sit on it, the later only adds its rest.
pub fn add_step(next: &mut Vec<String>, step: &str) {
    let begins = step.find([',', ':']).unwrap_or(step.len());
    let (begin, rest) = step.split_at(begins);
    let rest = rest.trim_start_matches([',', ':', ' ']).trim_start_matches("and ");
    let alike = |earlier: &&mut String| {
        earlier.strip_prefix(begin).is_some_and(|more| more.is_empty() || more.starts_with([',', ':']))
    };
    match next.iter_mut().find(alike) {
        Some(earlier) if earlier.contains(rest) => {}
        Some(earlier) if earlier.ends_with('?') => *earlier += &format!(" {}", capitalised(rest)),
        Some(earlier) => *earlier += &format!("; {rest}"),
        None if step.is_empty() => {}
        None => next.push(step.to_owned()),
    }
}

/// What weighs and was not measured or entered.
pub fn not_known(a: &Assessment) -> Vec<&str> {
    let missing = |r: &&RuleResult| {
        let standing = a.summary.iter().find(|s| s.about == r.about).map(|s| s.standing);
        r.verdict == Verdict::NotJudged
            && r.severity != crate::fit::rule::Severity::Look
            && standing != Some(Standing::NotJudged)
    };
    a.results.iter().filter(missing).map(|r| r.title.as_str()).collect()
}

/// The assessment in words, ending with a line break.
pub fn text(a: &Assessment, options: AssessmentOptions) -> String {
    let mut out = String::new();
    let views: Vec<&str> = a.views.iter().map(|v| seen(*v)).collect();
    let seen = if views.is_empty() { "not measured".into() } else { format!("seen {}", views.join(" and ")) };
    let _ = writeln!(out, "{}, {seen}", plain(&a.saddle));
    for (who, name) in [("rider", &a.rider), ("horse", &a.horse)] {
        if let Some(name) = name {
            let _ = writeln!(out, "{who}: {}", plain(name));
        }
    }
    for s in &a.summary {
        let _ = writeln!(out, "\n{}: {}", about_word(s.about).to_uppercase(), standing_words(s.standing));
        let Reasons { why, next } = reasons(a, s, options.numbers);
        for (head, lines) in [("why", why), ("next", next)] {
            for (i, line) in lines.iter().enumerate() {
                let _ = writeln!(out, "  {:6}{}", if i == 0 { head } else { "" }, plain(line));
            }
        }
    }
    list("changed since", a.changes.iter().map(change).chain(a.visits.iter().map(visit)), &mut out);
    let unknown = not_known(a);
    if !unknown.is_empty() {
        let _ = writeln!(out, "\nnot known: {}", plain(&unknown.join("; ")));
    }
    out.push('\n');
    for caution in &a.cautions {
        let _ = writeln!(out, "{caution}");
    }
    for about in [About::Rider, About::Horse, About::Saddle] {
        let of = |r: &&RuleResult| r.about == about && (options.all || r.verdict != Verdict::NotJudged);
        let of: Vec<&RuleResult> = by_weight(a).into_iter().filter(of).collect();
        if !of.is_empty() {
            let _ = writeln!(out, "\n-- {} --", about_word(about));
        }
        for r in of {
            let _ = writeln!(out, "{:11} {}", verdict_words(r), plain(&r.title));
            for line in lines(r, options) {
                let _ = writeln!(out, "            {}", plain(&line));
            }
        }
    }
    complaints(a, &mut out);
    let source = |source: &str| if options.sources { format!(" ({source})") } else { String::new() };
    list("assumed", a.assumed.iter().map(|x| format!("{}{}", x.text, source(&x.source))), &mut out);
    list("warnings of the sheets", a.warnings.iter().cloned(), &mut out);
    out
}

/// How what was entered changed.
pub(super) fn visit(c: &EnteredChange) -> String {
    let ([then, now], unit) = (c.values, if c.field == "load" { "kg" } else { "mm" });
    let sure = if (now - then).abs() > c.u95 { "" } else { "; within the uncertainty" };
    let (of, since, until) = (&c.words, &c.since, &c.until);
    format!(
        "{of}: {then:.1} {unit} on {since}, {now:.1} {unit} on {until}: {:+.1} ± {:.1} {unit}{sure}",
        now - then,
        c.u95
    )
}

/// How a width changed.
pub(super) fn change(c: &WidthChange) -> String {
    let sure = if c.change_mm.abs() > c.u95 { "" } else { "; within the uncertainty" };
    let [then, now] = c.mm;
    let words = width(Some(c.view), c.of);
    format!(
        "{words}: {then:.1} mm on {}, {now:.1} mm on {}: {:+.1} ± {:.1} mm{sure}",
        c.since, c.until, c.change_mm, c.u95
    )
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

/// The results, the ones that weigh most first.
pub(super) fn by_weight(a: &Assessment) -> Vec<&RuleResult> {
    let order =
        [Verdict::FallsShort, Verdict::Undecided, Verdict::Meets, Verdict::Stated, Verdict::NotJudged];
    let mut results: Vec<&RuleResult> = a.results.iter().collect();
    results.sort_by_key(|r| (order.iter().position(|v| *v == r.verdict), r.severity));
    results
}

/// What there is to say about a rule's verdict, a line each.
pub(super) fn lines(r: &RuleResult, options: AssessmentOptions) -> Vec<String> {
    let mut lines = vec![figures(&r.parts.iter().collect::<Vec<_>>(), options.numbers)];
    lines.extend(Some(r.says.clone()).filter(|says| r.verdict != Verdict::NotJudged && !says.is_empty()));
    lines.extend(
        r.parts.iter().find_map(|p| p.decides.as_ref()).map(|decides| format!("to decide: {decides}")),
    );
    lines.extend(Some(&r.next).filter(|next| !next.is_empty()).map(|next| format!("next: {next}")));
    lines.extend(r.remarks.iter().map(|remark| format!("note: {remark}")));
    if options.sources {
        for part in r.parts.iter().filter(|p| !p.budget.is_empty()) {
            let budget: Vec<String> =
                part.budget.iter().take(4).map(|b| format!("{} {:.2}", b.from, b.u)).collect();
            let unit = if part.unit.is_empty() { "no unit" } else { &part.unit };
            lines.push(format!("standard uncertainty: {} ({unit})", budget.join(", ")));
        }
        lines.extend(r.sources.iter().map(|source| format!("source: {source}")));
    }
    lines
}

/// `front 63.2 ± 1.6, rear 60.1 ± 1.6 mm; at least 80.0 mm; chance that it holds: about 1 in 6`.
pub(super) fn figures(parts: &[&RuleValue], numbers: bool) -> String {
    let Some(first) = parts.first() else { return String::new() };
    let (d, unit) =
        (first.decimals, if first.unit.is_empty() { String::new() } else { format!(" {}", first.unit) });
    let value = |p: &&RuleValue| {
        let label = if p.label.is_empty() { String::new() } else { format!("{} ", p.label) };
        p.value.zip(p.u95).map(|(v, u)| format!("{label}{v:.d$} ± {:.d$}", at_least_a_digit(u, d)))
    };
    let values: Vec<String> = parts.iter().filter_map(value).collect();
    let mut pieces = Vec::new();
    if !values.is_empty() {
        pieces.push(format!("{}{unit}", values.join(", ")));
    }
    let limit = |of: fn(&RuleValue) -> Option<&LimitAt>| {
        parts.iter().copied().find_map(of).map(|l| {
            let rough =
                if l.u95 > 0.0 { format!(" ± {:.d$}", at_least_a_digit(l.u95, d)) } else { String::new() };
            let value = format!("{:.d$}{rough}{unit}", l.value);
            let same = l.written.is_empty() || l.written.ends_with(&first.unit);
            if same { value } else { format!("{value} = {}", l.written) }
        })
    };
    pieces.extend(limit(|p| p.lower.as_ref()).map(|l| format!("at least {l}")));
    pieces.extend(limit(|p| p.upper.as_ref()).map(|l| format!("at most {l}")));
    let open = |p: &&&RuleValue| numbers || p.verdict == Verdict::Undecided;
    let chance = parts.iter().filter(open).filter_map(|p| p.probability).min_by(f64::total_cmp);
    pieces.extend(
        chance.map(|p| {
            format!("chance that it holds: {}", if numbers { percent(p) } else { likely(p).into() })
        }),
    );
    pieces.extend(parts.iter().find_map(|p| p.missing.clone()));
    pieces.join("; ")
}

fn at_least_a_digit(u: f64, decimals: usize) -> f64 {
    if u > 0.0 { u.max(10_f64.powi(-(decimals as i32))) } else { u }
}

/// A probability in per cent, never 0 or 100.
fn percent(p: f64) -> String {
    match 100.0 * p {
        x if x > 99.9 => "more than 99.9 %".into(),
        x if x < 0.1 => "less than 0.1 %".into(),
        x if !(1.0..=99.0).contains(&x) => format!("{x:.1} %"),
        x => format!("{x:.0} %"),
    }
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
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_that_begin_alike_become_one() {
        let mut next = Vec::new();
        for step in [
            "let her sit on it: does it press?",
            "",
            "let her sit on it, and feel the edge",
            "let go",
            "let go",
        ] {
            add_step(&mut next, step);
        }
        add_step(&mut next, "let her sit on it: does it press?");
        assert_eq!(next, ["let her sit on it: does it press? Feel the edge", "let go"]);
    }
}
