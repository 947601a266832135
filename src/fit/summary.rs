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
    let of = || results.iter().filter(|r| r.about == about && r.verdict != Verdict::Stated);
    let pick = |verdict: Verdict| of().filter(move |r| r.verdict == verdict && r.severity != Severity::Look);
    let serious = |r: &&RuleResult| r.severity == Severity::Serious;
    let judged = of().any(|r| r.verdict != Verdict::NotJudged && r.severity != Severity::Look);
    let against: Vec<_> = pick(Verdict::FallsShort).filter(|r| !r.thumb && serious(r)).collect();
    let lesser: Vec<_> = pick(Verdict::FallsShort).filter(|r| !r.thumb && !serious(r)).collect();
    let thumb: Vec<_> = pick(Verdict::FallsShort).filter(|r| r.thumb).collect();
    let unseen: Vec<_> = pick(Verdict::NotJudged).filter(serious).collect();
    let undecided: Vec<_> = pick(Verdict::Undecided).collect();
    let is_open = !thumb.is_empty() || undecided.iter().any(serious) || lesser.is_empty();
    let (standing, start, because) = if !against.is_empty() {
        (Standing::Against, "something serious speaks against it", against)
    } else if !judged {
        let all = || pick(Verdict::NotJudged).collect();
        (Standing::NotJudged, "no verdict", if unseen.is_empty() { all() } else { unseen })
    } else if !unseen.is_empty() {
        (Standing::Incomplete, "no verdict: not enough is known", [thumb.clone(), unseen].concat())
    } else if is_open && !(thumb.is_empty() && undecided.is_empty()) {
        (Standing::Open, "open", [thumb.clone(), undecided].concat())
    } else if !lesser.is_empty() {
        (Standing::Reservations, "nothing serious against it, with reservations", lesser.clone())
    } else {
        (Standing::NothingAgainst, "nothing measured speaks against it", Vec::new())
    };
    let besides: Vec<_> =
        lesser.into_iter().chain(thumb).filter(|r| because.iter().all(|b| b.id != r.id)).collect();
    let mut text = start.to_owned();
    for (join, rules) in [(": ", &because), ("; besides: ", &besides)] {
        if !rules.is_empty() && standing != Standing::NotJudged {
            text += &format!("{join}{}", reasons(rules).join("; "));
        }
    }
    let because = because.into_iter().chain(besides).map(|r| r.id.clone()).collect();
    Summary { about, standing, text, because }
}

/// What each rule says, with the places where it is so.
fn reasons(rules: &[&RuleResult]) -> Vec<String> {
    let reason = |r: &&RuleResult| {
        let says = if r.verdict == Verdict::NotJudged { &r.title } else { &r.says };
        let parts = r.parts.iter().filter(|p| p.verdict == r.verdict && !p.label.is_empty());
        let places: Vec<&str> = parts.map(|p| p.label.as_str()).collect();
        if places.is_empty() || places.len() == r.parts.len() {
            says.clone()
        } else {
            format!("{says} ({})", places.join(", "))
        }
    };
    rules.iter().map(reason).collect()
}
