//! An assessment for the report: verdicts with their reasons, and limits on the named widths.

use super::assessment::{
    AssessmentOptions, Reasons, by_weight, change, lines, not_known, reasons, standing_words, verdict_words,
    visit,
};
use super::figure::chart::LimitRange;
use super::page::{Note, Verdicts};
use super::words::{capitalised, sentence, unbroken, with_minus};
use crate::fit::result::{Assessment, LimitAt, RuleResult, Standing};
use crate::fit::rule::{About, RuleSet, Severity};
use crate::fit::verdict::Verdict;
use crate::numeric::words::{NamedWidth, Part, View};
use crate::sheet::Sheet;

fn about_words(about: About) -> &'static str {
    match about {
        About::Rider => "For the rider",
        About::Horse => "For the horse",
        About::Saddle => "The saddle itself",
    }
}

/// A paragraph of sentences, with figures and their units kept together.
fn paragraph(lines: impl IntoIterator<Item = String>) -> String {
    let sentences: Vec<String> = lines.into_iter().map(|line| sentence(&line)).collect();
    unbroken(&with_minus(&sentences.join(" ")))
}

/// The result for rider, horse and saddle.
pub fn summary(assessment: &Assessment) -> Vec<Note> {
    let note = |s: &crate::fit::result::Summary| {
        let Reasons { why, next } = reasons(assessment, s, false);
        let nothing = (s.standing == Standing::NothingAgainst).then(|| s.text.clone());
        let next = next.iter().map(|n| format!("next: {n}"));
        Note {
            word: Some(standing_words(s.standing).into()),
            title: about_words(s.about).into(),
            text: paragraph(nothing.into_iter().chain(why).chain(next)),
        }
    };
    assessment.summary.iter().map(note).collect()
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
        answer: assessments.iter().flat_map(of).collect(),
        ..Verdicts::default()
    }
}

/// The verdicts on one saddle, the ones that weigh most first.
pub fn verdicts(assessment: &Assessment, rules: &RuleSet, sheets: &[Sheet]) -> Verdicts {
    let judged = |r: &&RuleResult| !matches!(r.verdict, Verdict::NotJudged | Verdict::Stated);
    let mut notes: Vec<Note> = by_weight(assessment).into_iter().filter(judged).map(rule).collect();
    let changes = assessment.changes.iter().map(change).chain(assessment.visits.iter().map(visit));
    notes.extend(changes.map(|c| Note::plain("Changed since", paragraph([c]))));
    let unknown = not_known(assessment);
    notes.extend((!unknown.is_empty()).then(|| Note::plain("Not known", sentence(&unknown.join("; ")))));
    notes.extend(
        assessment.complaints.iter().map(|c| Note::plain(format!("Complaint: {}", c.title), c.ask.join(" "))),
    );
    let assumed: Vec<&str> = assessment.assumed.iter().map(|a| a.text.as_str()).collect();
    notes.extend((!assumed.is_empty()).then(|| Note::plain("Assumed", paragraph([assumed.join("; ")]))));
    Verdicts {
        rider: assessment.rider.clone().unwrap_or_else(|| "the rider".into()),
        answer: summary(assessment),
        rules: notes,
        limits: limits(assessment, rules, sheets),
    }
}

fn rule(r: &RuleResult) -> Note {
    let serious = r.severity == Severity::Serious && r.verdict != Verdict::Meets;
    let weight = serious.then(|| "this is serious".to_owned());
    let text = paragraph(lines(r, AssessmentOptions::default()).into_iter().chain(weight));
    Note { word: Some(verdict_words(r).into()), title: capitalised(&r.title), text }
}

/// Half the stretch along which a limit on a named width is drawn, in stations.
const LIMIT_REACH: f64 = 0.09;

/// Limits of rules on one named width, for the sheets of the view that shows it.
fn limits(assessment: &Assessment, rules: &RuleSet, sheets: &[Sheet]) -> Vec<(View, LimitRange)> {
    let of = |result: &RuleResult| {
        let rule = rules.rules.iter().find(|r| r.id == result.id)?;
        let [measure] = rule.measures.as_slice() else { return None };
        let name: NamedWidth = measure.written.trim().parse().ok()?;
        let view = if name.part() == Part::Seat { View::Top } else { View::Underside };
        let width = sheets.iter().find(|s| s.view == Some(view))?.width(name)?;
        let part = result.parts.first().filter(|p| p.unit == "mm")?;
        let mm = |limit: &Option<LimitAt>| limit.as_ref().map(|l| l.value);
        let (least_mm, most_mm) = (mm(&part.lower), mm(&part.upper));
        let stations = [(width.at - LIMIT_REACH).max(0.0), (width.at + LIMIT_REACH).min(1.0)];
        let any = least_mm.is_some() || most_mm.is_some();
        any.then_some((view, LimitRange { stations, least_mm, most_mm }))
    };
    assessment.results.iter().filter_map(of).collect()
}
