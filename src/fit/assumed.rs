//! The fields that rules use: as entered, or as the rules assume them.

use super::assess::{AssessmentRequest, holds};
use super::expr::{FIELDS, Field, Node};
use super::fields::{Fields, Missing, field_in_words, quantity};
use super::measure::FitSubject;
use super::quantity::Quantity;
use super::result::Assumed;
use super::rule::{Default, Limit, Rule};
use super::unit::Amount;

/// The fields that the rules in force use, and those that such fields are themselves given or assumed in.
pub(super) fn used_fields(request: &AssessmentRequest) -> Vec<Field> {
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
pub(super) fn fields_of(request: &AssessmentRequest) -> (Fields, Vec<(Field, Assumed)>) {
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
