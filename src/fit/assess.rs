//! An assessment: every rule's verdict on one saddle for one rider, as plain data for every renderer.

use super::advice::what_decides;
use super::assumed::{fields_of, used_fields};
use super::compare::wider_by;
use super::entered::Entered;
use super::expr::{FIELDS, Field, Node};
use super::fields::{Fields, Missing, field_in_words};
use super::hint::did_you_mean;
use super::measure::{FitSubject, is_view};
use super::quantity::Quantity;
use super::result::{
    Assessment, BudgetPart, ComplaintResult, EnteredChange, EnteredValue, LimitAt, RuleResult, RuleValue,
    SCHEMA, WidthChange,
};
use super::rider::{Rider, UNKNOWN};
use super::rule::{Band, Limit, Rule, RuleSet, When};
use super::summary::summaries;
use super::text::one_line;
use super::unit::{Amount, Dim, Unit};
use super::verdict::{Conformity, Verdict, above_zero};
use crate::numeric::words::NamedWidth;
use crate::sheet::{Sheet, Software, View};

/// What to keep in mind, once.
pub const CAUTIONS: [&str; 4] = [
    "Widths and rules help a qualified saddle fitter and do not replace one; local codes and licensed practice come first.",
    "If riding hurts, numbs or makes you bleed, stop and see a doctor.",
    "If the horse's back is sore, call a vet, and do not ride on a broken tree.",
    "A photo shows outlines: not the tree, the stuffing, the horse's back, the clearance over the withers, or what bears.",
];

/// What is assessed and how.
#[derive(Debug, Clone, Copy)]
pub struct AssessmentRequest<'a> {
    /// Sheets of one saddle, at most one of each view.
    pub sheets: &'a [Sheet],
    /// What was entered by hand.
    pub entered: &'a Entered,
    /// The rules.
    pub rules: &'a RuleSet,
    /// Confidence asked of a firm verdict.
    pub confidence: f64,
}

impl AssessmentRequest<'_> {
    pub(super) fn rider(&self) -> &Rider {
        &self.entered.rider
    }

    /// What was entered for a field, of the saddle whose sheets these are.
    pub(super) fn given(&self, field: Field) -> Option<(Amount, Option<f64>)> {
        self.entered.given(field, self.sheets.first().map_or("", |s| &s.saddle.name))
    }
}

/// Assesses a saddle.
///
/// # Errors
/// Where there is no sheet, two are of one view, or a complaint is not known: in one line.
pub fn assess(request: &AssessmentRequest) -> Result<Assessment, String> {
    let ([top, earlier_top], [underside, earlier_underside]) =
        (by_day(request.sheets, View::Top)?, by_day(request.sheets, View::Underside)?);
    let (top, underside) = (top.first().copied(), underside.first().copied());
    let mut changes = Vec::new();
    for (now, earlier) in [(top, earlier_top), (underside, earlier_underside)] {
        changes.extend(now.map_or(Vec::new(), |now| changes_of(now, &earlier)));
    }
    let first = top.or(underside).or(request.sheets.first()).ok_or("there is no sheet")?;
    let (fields, assumed) = fields_of(request);
    let subject = FitSubject { top, underside, fields: &fields };
    let results: Vec<RuleResult> = request
        .rules
        .rules
        .iter()
        .filter(|r| holds(&r.when, request.rider()))
        .map(|rule| judge_rule(rule, &subject, request))
        .collect();
    let used = used_fields(request);
    Ok(Assessment {
        schema: SCHEMA.into(),
        software: format!("{} {}", Software::this().name, Software::this().version),
        saddle: first.saddle.name.clone(),
        views: [top.map(|_| View::Top), underside.map(|_| View::Underside)].into_iter().flatten().collect(),
        rider: request.rider().name.clone(),
        horse: request.entered.horse.name.clone(),
        confidence: request.confidence,
        summary: summaries(&results),
        complaints: complaints(request, &results)?,
        entered: entered(request, &fields, &used),
        how: request.rider().how.clone(),
        changes,
        visits: visits(request, &fields),
        results,
        assumed: assumed.into_iter().filter(|(f, _)| used.contains(f)).map(|(_, a)| a).collect(),
        warnings: two_names(request.sheets).into_iter().chain(warnings(request.sheets)).collect(),
        cautions: CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
    })
}

/// The sheets of a view: the latest, and the earlier ones with the latest of these first.
///
/// # Errors
/// Where two sheets are of one day, or one of several has no day.
fn by_day(sheets: &[Sheet], view: View) -> Result<[Vec<&Sheet>; 2], String> {
    let mut of: Vec<&Sheet> = sheets.iter().filter(|s| is_view(s, view)).collect();
    of.sort_by_key(|s| std::cmp::Reverse(s.day()));
    if of.windows(2).any(|pair| pair[0].day() == pair[1].day() || pair[1].day().is_none()) {
        let view = view.as_str();
        return Err(format!(
            "two sheets are of the {view} view and of one day; give one of each view and day"
        ));
    }
    let earlier = of.split_off(of.len().min(1));
    Ok([of, earlier])
}

/// How the named widths of a sheet changed since earlier ones.
fn changes_of(now: &Sheet, earlier: &[&Sheet]) -> Vec<WidthChange> {
    let change = |then: &Sheet, of: NamedWidth| {
        let [change_mm, u95] = wider_by(now, then, of)?;
        let (view, mm) = (now.view?, [then.width(of)?.mm, now.width(of)?.mm]);
        let [since, until] = [then, now].map(|s| s.day().unwrap_or_default().to_owned());
        Some(WidthChange { view, of, since, until, mm, change_mm, u95 })
    };
    earlier.iter().flat_map(|then| NamedWidth::ALL.into_iter().filter_map(|of| change(then, of))).collect()
}

/// What was entered by hand, of the fields that the rules use.
fn entered(request: &AssessmentRequest, fields: &Fields, used: &[Field]) -> Vec<EnteredValue> {
    let given = FIELDS.iter().filter(|f| request.given(f.1).is_some() && used.contains(&f.1));
    let value = |(name, field, _): &(&str, Field, Dim)| {
        let q = fields.get(*field).ok()?;
        Some(EnteredValue { field: (*name).to_owned(), value: q.value, u95: q.u95() })
    };
    given.filter_map(value).collect()
}

/// How what was entered changed since earlier visits. Two visits are measured apart, so that their errors are independent.
fn visits(request: &AssessmentRequest, now: &Fields) -> Vec<EnteredChange> {
    let mut all = Vec::new();
    for visit in &request.entered.earlier {
        let earlier = AssessmentRequest { entered: &visit.entered, ..*request };
        let (then, _) = fields_of(&earlier);
        let both = |f: &&(&str, Field, Dim)| request.given(f.1).is_some() && earlier.given(f.1).is_some();
        for (name, field, _) in FIELDS.iter().filter(both) {
            let (Ok(then), Ok(now)) = (then.get(*field), now.get(*field)) else { continue };
            all.push(EnteredChange {
                field: (*name).to_owned(),
                words: field_in_words(*field).to_owned(),
                since: visit.date.clone(),
                until: visit.until.clone(),
                values: [then.value, now.value],
                u95: then.u95().hypot(now.u95()),
            });
        }
    }
    all
}

/// A word where sheets that are judged as one saddle have two names.
fn two_names(sheets: &[Sheet]) -> Option<String> {
    let first = &sheets.first()?.saddle.name;
    let other = sheets.iter().map(|s| &s.saddle.name).find(|name| *name != first)?;
    Some(format!(
        "the sheets are of two names, {first} and {other}, and are judged as one saddle: is it one?"
    ))
}

fn warnings(sheets: &[Sheet]) -> Vec<String> {
    let of = |s: &Sheet| {
        let refused = s
            .refused
            .iter()
            .map(|r| format!("{}: not measured: {}", s.saddle.name, r.text))
            .collect::<Vec<_>>();
        let view = s.view.map_or("", View::as_str);
        let warned = s.warnings.iter().map(move |w| format!("{view}: {}", s.warning_text(w)));
        refused.into_iter().chain(warned).collect::<Vec<_>>()
    };
    sheets.iter().flat_map(of).collect()
}

/// Whether a rule or default applies to the rider.
pub(super) fn holds(when: &When, rider: &Rider) -> bool {
    when.iter().all(|(key, words)| words.iter().any(|word| word == rider.word(key).unwrap_or(UNKNOWN)))
}

fn judge_rule(rule: &Rule, subject: &FitSubject, request: &AssessmentRequest) -> RuleResult {
    let judged: Vec<RuleValue> =
        rule.measures.iter().map(|m| judge(&m.label, &m.node, rule, subject, request.confidence)).collect();
    // The verdicts are ordered so that a part that was not measured does not hide a miss or doubt of another, and a
    // rule is met only where all of it is.
    let verdict = judged.iter().map(|p| p.verdict).max().unwrap_or(Verdict::NotJudged);
    let probability = judged.iter().filter_map(|p| p.probability).min_by(f64::total_cmp);
    let holds_for = rule.remarks.iter().filter(|(when, _)| holds(when, request.rider()));
    RuleResult {
        id: rule.id.clone(),
        title: rule.title.clone(),
        about: rule.about,
        severity: rule.severity,
        thumb: rule.thumb,
        verdict,
        probability,
        says: says(rule, verdict, &judged, subject, request.confidence),
        next: match verdict {
            Verdict::FallsShort | Verdict::Undecided | Verdict::Stated => rule.words.next.clone(),
            Verdict::NotJudged => rule.words.ask.clone(),
            Verdict::Meets => String::new(),
        },
        remarks: holds_for.map(|(_, say)| say.clone()).collect(),
        parts: judged,
        sources: rule.source_keys().into_iter().map(|k| request.rules.source_text(k)).collect(),
    }
}

fn says(rule: &Rule, verdict: Verdict, parts: &[RuleValue], subject: &FitSubject, confidence: f64) -> String {
    let words = &rule.words;
    match verdict {
        Verdict::Meets => words.met.clone(),
        Verdict::Undecided => words.undecided.clone(),
        Verdict::NotJudged => "not judged".into(),
        Verdict::FallsShort => {
            let short = parts.iter().filter(|p| p.verdict == Verdict::FallsShort);
            let worst =
                short.min_by(|a, b| a.probability.unwrap_or(1.0).total_cmp(&b.probability.unwrap_or(1.0)));
            let is_below = |p: &RuleValue| p.below.unwrap_or(0.0) >= p.above.unwrap_or(0.0);
            if worst.is_some_and(is_below) { words.below.clone() } else { words.above.clone() }
        }
        Verdict::Stated => band_of(rule, subject, confidence),
    }
}

/// The stretch that holds the value, or the two beside it.
fn band_of(rule: &Rule, subject: &FitSubject, confidence: f64) -> String {
    let Some(q) = rule.measures.first().and_then(|m| subject.value(&m.node).ok()) else {
        return String::new();
    };
    let within = |band: &Band| -> Result<f64, Missing> {
        let [lower, upper] = margins(&q, [&band.lower, &band.upper], subject)?;
        Ok(Conformity::of(lower.as_ref(), upper.as_ref()).within)
    };
    let bands = rule.bands.iter().map(|band| Ok((within(band)?, band)));
    let mut likely: Vec<(f64, &Band)> = match bands.collect::<Result<_, Missing>>() {
        Ok(likely) => likely,
        Err(why) => return format!("its stretch is not known: {why}"),
    };
    likely.sort_by(|a, b| b.0.total_cmp(&a.0));
    match likely.as_slice() {
        [] => String::new(),
        [(p, band), ..] if *p >= confidence => band.name.clone(),
        [(_, band), (_, next), ..] => {
            format!("{} or {}: too near the line between them to say", band.name, next.name)
        }
        [(_, band)] => format!("perhaps {}", band.name),
    }
}

/// How far the value is inside each limit.
fn margins(
    q: &Quantity,
    limits: [&Option<Limit>; 2],
    subject: &FitSubject,
) -> Result<[Option<Quantity>; 2], Missing> {
    let [lower, upper] = limits;
    let lower = lower.as_ref().map(|l| subject.value(&l.node)).transpose()?;
    let upper = upper.as_ref().map(|l| subject.value(&l.node)).transpose()?;
    Ok([lower.map(|l| q.minus(&l)), upper.map(|l| l.minus(q))])
}

fn judge(label: &str, node: &Node, rule: &Rule, subject: &FitSubject, confidence: f64) -> RuleValue {
    let unit = rule.unit;
    let mut part = RuleValue {
        label: label.to_owned(),
        unit: unit.name.to_owned(),
        decimals: unit.decimals,
        value: None,
        u95: None,
        lower: None,
        upper: None,
        verdict: Verdict::NotJudged,
        probability: None,
        below: None,
        above: None,
        missing: None,
        decides: None,
        budget: Vec::new(),
    };
    let q = match subject.value(node) {
        Ok(q) => q,
        Err(why) => return RuleValue { missing: Some(why), ..part },
    };
    part.value = Some(q.value / unit.size);
    part.u95 = Some(q.u95() / unit.size);
    if rule.lower.is_none() && rule.upper.is_none() {
        return RuleValue { verdict: Verdict::Stated, budget: budget(&q, unit), ..part };
    }
    part.lower = limit_at(&rule.lower, subject, unit);
    part.upper = limit_at(&rule.upper, subject, unit);
    let [lower, upper] = match margins(&q, [&rule.lower, &rule.upper], subject) {
        Ok(margins) => margins,
        Err(why) => return RuleValue { missing: Some(why), ..part },
    };
    let conformity = Conformity::of(lower.as_ref(), upper.as_ref());
    part.verdict = conformity.verdict(confidence);
    part.probability = Some(conformity.within);
    part.below = rule.lower.is_some().then_some(conformity.below);
    part.above = rule.upper.is_some().then_some(conformity.above);
    let margins = [lower.as_ref(), upper.as_ref()];
    if part.verdict == Verdict::Undecided {
        part.decides = what_decides(margins, confidence);
    }
    let nearer = margins.into_iter().flatten().min_by(|a, b| above_zero(a).total_cmp(&above_zero(b)));
    part.budget = budget(nearer.unwrap_or(&q), unit);
    part
}

fn budget(q: &Quantity, unit: Unit) -> Vec<BudgetPart> {
    q.lines()
        .into_iter()
        .map(|(cause, u)| BudgetPart { from: cause.as_str().into(), u: u / unit.size })
        .collect()
}

fn limit_at(limit: &Option<Limit>, subject: &FitSubject, unit: Unit) -> Option<LimitAt> {
    let limit = limit.as_ref()?;
    let q = subject.value(&limit.node).ok()?;
    let literal = limit.node.dim() == Ok(Dim::NONE)
        || limit.written.starts_with(|c: char| c.is_ascii_digit() || c == '-');
    let written = if literal { limit.written.clone() } else { String::new() };
    Some(LimitAt { value: q.value / unit.size, u95: q.u95() / unit.size, written })
}

fn complaints(request: &AssessmentRequest, results: &[RuleResult]) -> Result<Vec<ComplaintResult>, String> {
    let known = &request.rules.complaints;
    request
        .rider()
        .complaints
        .iter()
        .map(|placed| {
            let id = &placed.value;
            let complaint = known.iter().find(|c| c.id == *id).ok_or_else(|| {
                one_line(&format!(
                    "there is no complaint `{id}`; {}",
                    did_you_mean(id, known.iter().map(|c| c.id.as_str()))
                ))
            })?;
            let open = |r: &&RuleResult| {
                matches!(r.verdict, Verdict::FallsShort | Verdict::Undecided | Verdict::NotJudged)
            };
            let look = results.iter().filter(|r| complaint.look_at.contains(&r.id)).filter(open);
            Ok(ComplaintResult {
                id: id.clone(),
                title: complaint.title.clone(),
                look_at: look.map(|r| format!("{}: {}", r.title, r.says)).collect(),
                ask: complaint.ask.clone(),
            })
        })
        .collect()
}
