//! An assessment: every rule's verdict on one saddle for one rider, as plain data for every renderer.

use super::advice::what_decides;
use super::entered::Entered;
use super::expr::{FIELDS, Field, Node};
use super::fields::{Fields, Missing, field_in_words, quantity};
use super::hint::did_you_mean;
use super::measure::{FitSubject, is_view};
use super::quantity::Quantity;
use super::result::{
    Assessment, Assumed, BudgetPart, ComplaintResult, LimitAt, RuleResult, RuleValue, SCHEMA,
};
use super::rider::{Rider, UNKNOWN};
use super::rule::{Band, Default, Limit, Rule, RuleSet, When};
use super::summary::summaries;
use super::text::one_line;
use super::unit::{Amount, Dim, Unit};
use super::verdict::{Conformity, Verdict, above_zero};
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
    fn rider(&self) -> &Rider {
        &self.entered.rider
    }

    /// What was entered for a field, of the saddle whose sheets these are.
    fn given(&self, field: Field) -> Option<(Amount, Option<f64>)> {
        self.entered.given(field, self.sheets.first().map_or("", |s| &s.saddle.name))
    }
}

/// Assesses a saddle.
///
/// # Errors
/// Where there is no sheet, two are of one view, or a complaint is not known: in one line.
pub fn assess(request: &AssessmentRequest) -> Result<Assessment, String> {
    let by_view = |view: View| {
        let mut of = request.sheets.iter().filter(|s| is_view(s, view));
        match (of.next(), of.next()) {
            (_, Some(_)) => {
                Err(format!("two sheets are of the {} view; give one of each view", view.as_str()))
            }
            (one, None) => Ok(one),
        }
    };
    let (top, underside) = (by_view(View::Top)?, by_view(View::Underside)?);
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
        results,
        assumed: assumed.into_iter().filter(|(f, _)| used.contains(f)).map(|(_, a)| a).collect(),
        warnings: two_names(request.sheets).into_iter().chain(warnings(request.sheets)).collect(),
        cautions: CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
    })
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
fn holds(when: &When, rider: &Rider) -> bool {
    when.iter().all(|(key, words)| words.iter().any(|word| word == rider.word(key).unwrap_or(UNKNOWN)))
}

/// The fields that the rules in force use, and those that such fields are themselves given or assumed in.
fn used_fields(request: &AssessmentRequest) -> Vec<Field> {
    let applies = request.rules.rules.iter().filter(|r| holds(&r.when, request.rider()));
    let direct: Vec<Field> = applies.flat_map(Rule::nodes).flat_map(Node::fields).collect();
    let behind = direct.iter().flat_map(|field| match request.given(*field) {
        Some((Amount::Fingers(_), _)) => vec![Field::Finger],
        Some(_) => Vec::new(),
        None => {
            let default = assumed_default(*field, request);
            default.iter().flat_map(|d| [&d.value, &d.u]).flatten().flat_map(|l| l.node.fields()).collect()
        }
    });
    let behind: Vec<Field> = behind.collect();
    direct.into_iter().chain(behind).collect()
}

/// What the rules assume of a field that was not entered.
fn assumed_default<'a>(field: Field, request: &AssessmentRequest<'a>) -> Option<&'a Default> {
    let of_field =
        request.rules.defaults.iter().filter(|d| d.field == field && holds(&d.when, request.rider()));
    of_field.into_iter().find(|d| d.value.is_some() || d.refuse.is_some())
}

/// The fields entered, and those assumed.
fn fields_of(request: &AssessmentRequest) -> (Fields, Vec<(Field, Assumed)>) {
    let mut fields = Fields::default();
    let mut assumed = Vec::new();
    for (_, field, _) in FIELDS {
        let value = field_value(field, request, &fields, &mut assumed);
        if let Some(value) = value {
            fields.set(field, value);
        }
    }
    // Without a spacing nothing was assumed about it.
    let spacing = fields.get(Field::SeatBones).is_ok();
    assumed.retain(|(f, _)| spacing || !matches!(f, Field::FallAway | Field::SeatBoneMargin));
    (fields, assumed)
}

fn field_value(
    field: Field,
    request: &AssessmentRequest,
    known: &Fields,
    assumed: &mut Vec<(Field, Assumed)>,
) -> Option<Result<Quantity, Missing>> {
    if let Some((amount, u)) = request.given(field) {
        return Some(given_value(field, amount, u, request, known, assumed));
    }
    let default = assumed_default(field, request)?;
    if let Some(why) = &default.refuse {
        return Some(Err(why.clone()));
    }
    Some(default_value(field, default, request, known, assumed))
}

/// The number that a default states; none where it states none.
///
/// # Errors
/// Why it cannot be computed: then the field is not known, for nothing is assumed in its place.
fn stated(limit: &Option<Limit>, field: Field, known: &Fields) -> Result<Option<f64>, Missing> {
    let empty = FitSubject { top: None, underside: None, fields: known };
    let Some(limit) = limit else { return Ok(None) };
    let value = empty.value(&limit.node).map_err(|why| {
        format!(
            "what the rules assume of {} (`{}`) cannot be computed: {why}",
            field_in_words(field),
            limit.written
        )
    })?;
    Ok(Some(value.value))
}

/// A value entered. Without an uncertainty beside it, that of the rules; what has none there either is what somebody asks
/// for, and is exact.
fn given_value(
    field: Field,
    amount: Amount,
    u: Option<f64>,
    request: &AssessmentRequest,
    known: &Fields,
    assumed: &mut Vec<(Field, Assumed)>,
) -> Result<Quantity, Missing> {
    let by_rule =
        request.rules.defaults.iter().find(|d| {
            d.field == field && d.value.is_none() && d.u.is_some() && holds(&d.when, request.rider())
        });
    let u = match (u, by_rule) {
        (Some(u), _) => u,
        (None, None) => 0.0,
        (None, Some(default)) => {
            let written = default.u.as_ref().map_or("", |l| &l.written);
            let text = format!("{} is known to {written}", field_in_words(field));
            assumed.push((field, Assumed { text, source: request.rules.source_text(&default.source) }));
            stated(&default.u, field, known)?.unwrap_or(0.0)
        }
    };
    match amount {
        Amount::Plain(value, _) => Ok(quantity(field, value, u)),
        Amount::Fingers(n) => known.get(Field::Finger).map(|f| f.scaled(n).plus(&quantity(field, 0.0, u))),
    }
}

/// What the rules assume of a field. Without an uncertainty it is exact: a need, not a measurement.
fn default_value(
    field: Field,
    default: &Default,
    request: &AssessmentRequest,
    known: &Fields,
    assumed: &mut Vec<(Field, Assumed)>,
) -> Result<Quantity, Missing> {
    let value = stated(&default.value, field, known)?.ok_or("nothing is assumed of it")?;
    let u = stated(&default.u, field, known)?.unwrap_or(0.0);
    let written = default.value.as_ref().map_or("", |l| &l.written);
    let known_to = default.u.as_ref().map_or(String::new(), |l| format!(", known to {}", l.written));
    let text = format!("{} is taken as {written}{known_to}", field_in_words(field));
    assumed.push((field, Assumed { text, source: request.rules.source_text(&default.source) }));
    Ok(quantity(field, value, u))
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

/// In which stretch the value lies, or between which two.
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

/// How far the value lies inside each limit.
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
