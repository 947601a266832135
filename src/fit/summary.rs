//! What an assessment comes to, for rider, horse and saddle apart. One serious miss is enough against a saddle, whatever
//! else is met: nothing is averaged.

use super::result::{RuleResult, Standing, Summary};
use super::rule::{About, Severity};
use super::verdict::Verdict;

/// Rider, horse, saddle.
pub fn summaries(results: &[RuleResult]) -> Vec<Summary> {
    [About::Rider, About::Horse, About::Saddle].into_iter().map(|about| summary(about, results)).collect()
}

fn summary(about: About, results: &[RuleResult]) -> Summary {
    let of: Vec<&RuleResult> =
        results.iter().filter(|r| r.about == about && r.verdict != Verdict::Stated).collect();
    let pick = |verdict: Verdict, serious: Option<bool>| {
        let weighs = |r: &&RuleResult| serious.is_none_or(|s| (r.severity == Severity::Serious) == s);
        of.iter().copied().filter(|r| r.verdict == verdict).filter(weighs).collect::<Vec<_>>()
    };
    let judged = of.iter().filter(|r| r.verdict != Verdict::NotJudged).count();
    let serious = pick(Verdict::FallsShort, Some(true));
    let lesser = pick(Verdict::FallsShort, Some(false));
    let mut open = pick(Verdict::Undecided, None);
    open.retain(|r| r.severity != Severity::Look);
    let unseen = pick(Verdict::NotJudged, Some(true));
    let (standing, start, because) = if !serious.is_empty() {
        (Standing::Against, "does not suit as it stands", serious)
    } else if judged == 0 {
        (Standing::NotJudged, "nothing could be judged", pick(Verdict::NotJudged, None))
    } else if !unseen.is_empty() {
        (Standing::Incomplete, "cannot be said: something serious was not judged", unseen)
    } else if open.iter().any(|r| r.severity == Severity::Serious) || (!open.is_empty() && lesser.is_empty())
    {
        (Standing::Open, "not decided", open)
    } else if !lesser.is_empty() {
        (Standing::Reservations, "nothing serious against it, with reservations", lesser.clone())
    } else {
        (Standing::NothingAgainst, "nothing measured speaks against it", Vec::new())
    };
    let mut text = start.to_owned();
    if !because.is_empty() {
        text += &format!(": {}", reasons(&because).join("; "));
    }
    if !matches!(standing, Standing::Reservations | Standing::NotJudged) && !lesser.is_empty() {
        text += &format!("; besides: {}", reasons(&lesser).join("; "));
    }
    Summary { about, standing, text, because: because.iter().map(|r| r.id.clone()).collect() }
}

/// What each rule says; rules that were not judged for one reason are named together.
fn reasons(rules: &[&RuleResult]) -> Vec<String> {
    let mut grouped: Vec<(Option<&String>, Vec<&str>)> = Vec::new();
    for rule in rules {
        let why =
            rule.parts.iter().find_map(|p| p.missing.as_ref()).filter(|_| rule.verdict == Verdict::NotJudged);
        let says = if why.is_some() { &rule.title } else { &rule.says };
        match grouped.iter_mut().find(|t| why.is_some() && t.0 == why) {
            Some(same) => same.1.push(says),
            None => grouped.push((why, vec![says])),
        }
    }
    let one = |(why, titles): (Option<&String>, Vec<&str>)| match why {
        Some(why) => format!("{} ({why})", titles.join("; ")),
        None => titles.join("; "),
    };
    grouped.into_iter().map(one).collect()
}
