//! An assessment as a report draws it: verdicts with their reasons, and the limits on the named widths.

use super::assessment::{figures, verdict_words};
use super::figure::chart::Limit;
use super::page::{Note, Verdicts};
use super::words::{capitalised, sentence, unbroken, with_minus};
use crate::fit::result::{Assessment, LimitAt, RuleResult, Standing};
use crate::fit::rule::{About, RuleSet, Severity};
use crate::fit::verdict::Verdict;
use crate::sheet::Sheet;

/// A standing in a few words, for the box before it.
pub fn standing_words(standing: Standing) -> &'static str {
    match standing {
        Standing::NothingAgainst => "nothing against",
        Standing::Reservations => "with reservations",
        Standing::Open => "open",
        Standing::Incomplete => "not enough measured",
        Standing::NotJudged => "not judged",
        Standing::Against => "does not suit",
    }
}

fn about_words(about: About) -> &'static str {
    match about {
        About::Rider => "For the rider",
        About::Horse => "For the horse",
        About::Saddle => "The saddle itself",
    }
}

/// What an assessment comes to: for rider, horse and saddle, what was judged for them.
pub fn summary(assessment: &Assessment) -> Vec<Note> {
    let said = assessment.summary.iter().filter(|s| s.standing != Standing::NotJudged);
    said.map(|s| Note {
        word: Some(standing_words(s.standing).into()),
        title: about_words(s.about).into(),
        text: sentence(&s.text),
    })
    .collect()
}

/// What the assessments of several saddles come to, saddle by saddle.
pub fn several(assessments: &[Assessment]) -> Verdicts {
    let rider = assessments.first().and_then(|a| a.rider.clone());
    let of = |a: &Assessment| {
        let named =
            |note: Note| Note { title: format!("{}: {}", a.saddle, note.title.to_lowercase()), ..note };
        summary(a).into_iter().map(named).collect::<Vec<_>>()
    };
    Verdicts {
        rider: rider.unwrap_or_else(|| "the rider".into()),
        notes: assessments.iter().flat_map(of).collect(),
        limits: Vec::new(),
    }
}

/// The verdicts on one sheet, the ones that weigh most first.
pub fn verdicts(assessment: &Assessment, rules: &RuleSet, sheet: &Sheet) -> Verdicts {
    let mut results: Vec<&RuleResult> =
        assessment.results.iter().filter(|r| r.verdict != Verdict::Stated).collect();
    results.sort_by_key(|r| (std::cmp::Reverse(weight(r.verdict)), r.severity));
    let mut notes = summary(assessment);
    notes.extend(results.iter().filter(|r| r.verdict != Verdict::NotJudged).map(|r| rule(r)));
    notes.extend(not_judged(&results));
    notes.extend(
        assessment.complaints.iter().map(|c| Note::plain(format!("Complaint: {}", c.title), c.ask.join(" "))),
    );
    notes.extend(
        assessment
            .assumed
            .iter()
            .map(|a| format!("{} ({})", a.text, a.source))
            .map(|said| Note::plain("Assumed", unbroken(&with_minus(&sentence(&said))))),
    );
    Verdicts {
        rider: assessment.rider.clone().unwrap_or_else(|| "the rider".into()),
        notes,
        limits: limits(assessment, rules, sheet),
    }
}

fn weight(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::FallsShort => 3,
        Verdict::Undecided => 2,
        Verdict::Meets => 1,
        Verdict::Stated | Verdict::NotJudged => 0,
    }
}

fn rule(r: &RuleResult) -> Note {
    let weight = match (r.verdict, r.severity) {
        (Verdict::Meets, _) => "",
        (_, Severity::Serious) => " This is serious.",
        (_, Severity::Matters) => "",
        (_, Severity::Look) => " Worth a look.",
    };
    let values: Vec<String> = r.parts.iter().filter(|p| p.value.is_some()).map(figures).collect();
    let values = if values.is_empty() {
        String::new()
    } else {
        unbroken(&with_minus(&format!(" Measured: {}.", values.join("; "))))
    };
    let next = sentence(&r.next);
    let decides = r.parts.iter().find_map(|p| p.decides.as_deref()).map(sentence).unwrap_or_default();
    let remarks: Vec<String> = r.remarks.iter().map(|remark| sentence(remark)).collect();
    let text = [sentence(&r.says) + weight + &values, decides, remarks.join(" "), next];
    let text = text.into_iter().filter(|t| !t.is_empty()).collect::<Vec<_>>().join(" ");
    Note { word: Some(verdict_words(r.verdict).into()), title: capitalised(&r.title), text }
}

/// One remark for everything that was not judged, by what was missing.
fn not_judged(results: &[&RuleResult]) -> Option<Note> {
    let of: Vec<&RuleResult> = results.iter().copied().filter(|r| r.verdict == Verdict::NotJudged).collect();
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for rule in &of {
        let why = rule.parts.iter().find_map(|p| p.missing.as_deref()).unwrap_or("not told why");
        match reasons.iter_mut().find(|r| r.0 == why) {
            Some((_, titles)) => titles.push(&rule.title),
            None => reasons.push((why, vec![&rule.title])),
        }
    }
    let text: Vec<String> =
        reasons.iter().map(|(why, titles)| sentence(&format!("{why}: {}", titles.join("; ")))).collect();
    let word = Some(verdict_words(Verdict::NotJudged).into());
    let title = if of.len() == 1 { "1 rule".into() } else { format!("{} rules", of.len()) };
    (!of.is_empty()).then(|| Note { word, title, text: text.join(" ") })
}

/// Half of the stretch along which a limit on a named width is drawn, in stations.
const LIMIT_REACH: f64 = 0.09;

/// Limits of rules that look at a named width of this sheet, where the width was taken.
fn limits(assessment: &Assessment, rules: &RuleSet, sheet: &Sheet) -> Vec<Limit> {
    let of = |result: &RuleResult| {
        let rule = rules.rules.iter().find(|r| r.id == result.id)?;
        let [measure] = rule.measures.as_slice() else { return None };
        let width = sheet.width(measure.written.trim())?;
        let part = result.parts.first().filter(|p| p.unit == "mm")?;
        let mm = |limit: &Option<LimitAt>| limit.as_ref().map(|l| l.value);
        let (least_mm, most_mm) = (mm(&part.lower), mm(&part.upper));
        let stations = [(width.at - LIMIT_REACH).max(0.0), (width.at + LIMIT_REACH).min(1.0)];
        let any = least_mm.is_some() || most_mm.is_some();
        any.then_some(Limit { stations, least_mm, most_mm })
    };
    assessment.results.iter().filter_map(of).collect()
}
