//! An assessment for the report: verdicts with their reasons, and limits on the named widths.

use super::assessment::{figures, verdict_words};
use super::figure::chart::LimitRange;
use super::page::{Note, Verdicts};
use super::words::{capitalised, sentence, unbroken, with_minus};
use crate::fit::result::{Assessment, LimitAt, RuleResult, Standing};
use crate::fit::rule::{About, RuleSet, Severity};
use crate::fit::verdict::Verdict;
use crate::sheet::Sheet;

/// A standing in a few words.
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

/// The result for rider, horse and saddle, where they were judged.
pub fn summary(assessment: &Assessment) -> Vec<Note> {
    let judged = assessment.summary.iter().filter(|s| s.standing != Standing::NotJudged);
    judged
        .map(|s| Note {
            word: Some(standing_words(s.standing).into()),
            title: about_words(s.about).into(),
            text: sentence(&s.text),
        })
        .collect()
}

/// The results for several saddles.
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
            .map(|assumed| Note::plain("Assumed", unbroken(&with_minus(&sentence(&assumed))))),
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

/// One note on everything that was not judged, by what was missing.
fn not_judged(results: &[&RuleResult]) -> Option<Note> {
    let of: Vec<&RuleResult> = results.iter().copied().filter(|r| r.verdict == Verdict::NotJudged).collect();
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for rule in &of {
        let why = rule.parts.iter().find_map(|p| p.missing.as_deref()).unwrap_or("no reason given");
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

/// Half the stretch along which a limit on a named width is drawn, in stations.
const LIMIT_REACH: f64 = 0.09;

/// Limits of rules on one named width of this sheet, where the width was measured.
fn limits(assessment: &Assessment, rules: &RuleSet, sheet: &Sheet) -> Vec<LimitRange> {
    let of = |result: &RuleResult| {
        let rule = rules.rules.iter().find(|r| r.id == result.id)?;
        let [measure] = rule.measures.as_slice() else { return None };
        let width = sheet.width(measure.written.trim().parse().ok()?)?;
        let part = result.parts.first().filter(|p| p.unit == "mm")?;
        let mm = |limit: &Option<LimitAt>| limit.as_ref().map(|l| l.value);
        let (least_mm, most_mm) = (mm(&part.lower), mm(&part.upper));
        let stations = [(width.at - LIMIT_REACH).max(0.0), (width.at + LIMIT_REACH).min(1.0)];
        let any = least_mm.is_some() || most_mm.is_some();
        any.then_some(LimitRange { stations, least_mm, most_mm })
    };
    assessment.results.iter().filter_map(of).collect()
}
