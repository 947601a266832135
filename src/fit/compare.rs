//! Saddles side by side: differences with their own uncertainty, and an order for one rider with its reasons.

use std::cmp::Ordering;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::assess::{AssessmentRequest, assess};
use super::entered::Entered;
use super::expr::{Node, WidthPlace, parse};
use super::fields::Fields;
use super::hint::did_you_mean;
use super::measure::{FitSubject, is_view};
use super::quantity::Quantity;
use super::result::{Assessment, Standing};
use super::rule::{About, RuleSet, Severity};
use super::seen::Seen;
use super::unit::{MM, NO_UNIT, Unit, unit_named};
use super::verdict::{Verdict, above_zero};
use crate::numeric::words::NamedWidth;
use crate::sheet::{Sheet, View};

/// Name and version of the format.
pub const SCHEMA: &str = "seatspan-comparison/1";

/// A comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Comparison {
    /// Name and version of the format.
    pub schema: String,
    /// What the rider is called; null without one.
    pub rider: Option<String>,
    /// Confidence asked of a firm verdict.
    pub confidence: f64,
    /// The saddle that differences are from.
    pub reference: String,
    /// The saddles, in the order asked for.
    pub saddles: Vec<Column>,
    /// What was measured, a row each; values in the order of `saddles`.
    pub rows: Vec<Row>,
    /// What is shared between sheets, and what follows from it.
    pub notes: Vec<String>,
    /// What to keep in mind.
    pub cautions: Vec<String>,
}

/// A saddle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Column {
    /// Its name.
    pub name: String,
    /// Its place in the order for this rider, from 1; equal places are level. Null where nothing was judged.
    pub rank: Option<usize>,
    /// The worst of its standings for rider and horse.
    pub standing: Standing,
    /// Why it stands there: for rider, horse and saddle.
    pub reasons: Vec<String>,
    /// Its whole assessment.
    pub assessment: Assessment,
}

/// One value of every saddle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Row {
    /// What it is, in the language of rules.
    pub of: String,
    /// Unit of the figures.
    pub unit: String,
    /// Decimals to show.
    pub decimals: usize,
    /// Value and difference of each saddle.
    pub values: Vec<Cell>,
}

/// A value and how it differs from the reference saddle's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Cell {
    /// The value; null where it is not known.
    pub value: Option<f64>,
    /// Its expanded uncertainty (95 %).
    pub u95: Option<f64>,
    /// Value less the reference's; null for the reference itself or where either is not known.
    pub difference: Option<f64>,
    /// Expanded uncertainty of the difference.
    pub difference_u95: Option<f64>,
    /// Whether the difference has a sign with the confidence asked for (two-sided).
    pub sure: Option<bool>,
}

/// What is compared and how.
#[derive(Debug, Clone, Copy)]
pub struct ComparisonRequest<'a> {
    /// All sheets; those of one saddle's name belong together.
    pub sheets: &'a [Sheet],
    /// What was entered by hand.
    pub entered: &'a Entered,
    /// The rules.
    pub rules: &'a RuleSet,
    /// Confidence asked of a firm verdict.
    pub confidence: f64,
    /// Name of the saddle that differences are from; the first without it.
    pub against: Option<&'a str>,
    /// What the saddles are sorted by: `rank`, `name`, `given`, or a row such as `seat.widest`.
    pub sort: &'a str,
}

/// Rows of a comparison: an expression and its unit.
const ROWS: [(&str, &str); 9] = [
    ("seat.widest", "mm"),
    ("at(seat.widest)", ""),
    ("seat.waist", "mm"),
    ("taper", "deg"),
    ("channel.front", "mm"),
    ("channel.middle", "mm"),
    ("channel.rear", "mm"),
    ("channel.narrowest", "mm"),
    ("panel_area", "cm2"),
];

/// Compares saddles.
///
/// # Errors
/// Where the sheets do not make two saddles, or a name is not known: in one line.
pub fn compare(wish: &ComparisonRequest) -> Result<Comparison, String> {
    let groups = by_saddle(wish.sheets);
    if groups.len() < 2 {
        return Err("give sheets of at least two saddles (sheets of one name are one saddle)".into());
    }
    let mut columns = Vec::new();
    for (name, sheets) in &groups {
        let ComparisonRequest { entered, rules, confidence, .. } = *wish;
        let request = AssessmentRequest { sheets, entered, rules, confidence };
        let assessment = assess(&request).map_err(|e| format!("{name}: {e}"))?;
        columns.push(column(name, assessment));
    }
    rank(&mut columns);
    let order = sorted(&columns, &groups, wish.sort)?;
    let columns: Vec<Column> = order.iter().map(|&i| columns[i].clone()).collect();
    let groups: Vec<&Vec<Sheet>> = order.iter().map(|&i| &groups[i].1).collect();
    let reference = reference(&columns, wish)?;
    let rows =
        ROWS.iter().filter_map(|(of, unit)| row(of, unit, &groups, reference, wish.confidence)).collect();
    Ok(Comparison {
        schema: SCHEMA.into(),
        rider: wish.entered.rider.name.clone(),
        confidence: wish.confidence,
        reference: columns[reference].name.clone(),
        notes: notes(&groups, reference, &columns),
        saddles: columns,
        rows,
        cautions: super::assess::CAUTIONS.iter().map(|c| (*c).to_owned()).collect(),
    })
}

/// Sheets by the saddle, in the order given: its views together, and apart by days where a view was measured again.
pub fn by_saddle(sheets: &[Sheet]) -> Vec<(String, Vec<Sheet>)> {
    let mut groups: Vec<(String, Vec<Sheet>)> = Vec::new();
    for sheet in sheets {
        let label = label(sheets, sheet);
        match groups.iter_mut().find(|g| g.0 == label) {
            Some(group) => group.1.push(sheet.clone()),
            None => groups.push((label, vec![sheet.clone()])),
        }
    }
    groups
}

/// What a sheet's saddle is called among others: by its name, and by its day where it was measured on several.
pub fn label<'a>(sheets: impl IntoIterator<Item = &'a Sheet>, sheet: &Sheet) -> String {
    let mut of_name = sheets.into_iter().filter(|s| s.saddle.name == sheet.saddle.name);
    let name = &sheet.saddle.name;
    let mut views: Vec<(Option<View>, Option<&str>)> = Vec::new();
    let again = of_name.any(|s| {
        let again = views.iter().any(|(view, day)| *view == s.view && *day != s.day());
        views.push((s.view, s.day()));
        again
    });
    match sheet.day().filter(|_| again) {
        Some(day) => format!("{name}, {day}"),
        None => name.clone(),
    }
}

fn column(name: &str, assessment: Assessment) -> Column {
    let judged = || assessment.summary.iter().filter(|s| s.standing != Standing::NotJudged);
    let of = judged().filter(|s| s.about != About::Saddle);
    let standing = of.map(|s| s.standing).max().unwrap_or(Standing::NotJudged);
    let about = |a: About| match a {
        About::Rider => "rider",
        About::Horse => "horse",
        About::Saddle => "saddle",
    };
    let reasons = judged().map(|s| format!("{}: {}", about(s.about), s.text)).collect();
    Column { name: name.to_owned(), rank: None, standing, reasons, assessment }
}

/// What the order goes by, one after the other: serious misses, what is serious and not judged, lesser misses. Then the
/// least likely of the rules that weigh: the weakest link, never a mean.
fn key(column: &Column) -> ([usize; 3], f64) {
    let count = |verdict: Verdict, serious: bool| {
        let weighs = |s: Severity| if serious { s == Severity::Serious } else { s == Severity::Matters };
        column.assessment.results.iter().filter(|r| r.verdict == verdict && weighs(r.severity)).count()
    };
    let serious = count(Verdict::FallsShort, true);
    let order = [serious, count(Verdict::NotJudged, true), count(Verdict::FallsShort, false)];
    let weakest = column.assessment.results.iter().filter(|r| r.severity != Severity::Look);
    (order, weakest.filter_map(|r| r.probability).fold(1.0, f64::min))
}

/// Weakest links are compared in steps of this: nobody would choose by less.
const LEVEL: f64 = 0.05;

fn order(a: &Column, b: &Column) -> Ordering {
    let ((ka, pa), (kb, pb)) = (key(a), key(b));
    ka.cmp(&kb).then_with(|| ((pb / LEVEL).round()).total_cmp(&(pa / LEVEL).round()))
}

fn rank(columns: &mut [Column]) {
    let ranks: Vec<Option<usize>> = columns
        .iter()
        .map(|c| {
            judged_any(c).then(|| {
                1 + columns.iter().filter(|o| order(o, c) == Ordering::Less && judged_any(o)).count()
            })
        })
        .collect();
    columns.iter_mut().zip(ranks).for_each(|(c, r)| c.rank = r);
}

/// Whether rider or horse were judged: a saddle by itself has no order.
fn judged_any(column: &Column) -> bool {
    column.standing != Standing::NotJudged
}

fn sorted(columns: &[Column], groups: &[(String, Vec<Sheet>)], sort: &str) -> Result<Vec<usize>, String> {
    let mut order: Vec<usize> = (0..columns.len()).collect();
    match sort {
        "given" => {}
        "rank" => order.sort_by_key(|&i| columns[i].rank.unwrap_or(usize::MAX)),
        "name" => order.sort_by(|&a, &b| columns[a].name.cmp(&columns[b].name)),
        row if ROWS.iter().any(|r| r.0 == row) => {
            let node = parse(row).map_err(|e| e.1)?;
            let value = |i: usize| quantity(&groups[i].1, &node).map_or(f64::NEG_INFINITY, |q| q.value);
            order.sort_by(|&a, &b| value(b).total_cmp(&value(a)));
        }
        other => {
            let known = ["rank", "name", "given"].into_iter().chain(ROWS.iter().map(|r| r.0));
            return Err(format!("cannot sort by '{other}'; {}", did_you_mean(other, known)));
        }
    }
    Ok(order)
}

fn reference(columns: &[Column], wish: &ComparisonRequest) -> Result<usize, String> {
    let Some(name) = wish.against else { return Ok(0) };
    columns.iter().position(|c| c.name == name).ok_or_else(|| {
        format!(
            "there is no saddle '{name}'; {}",
            did_you_mean(name, columns.iter().map(|c| c.name.as_str()))
        )
    })
}

fn quantity(sheets: &[Sheet], node: &Node) -> Option<Quantity> {
    let of = |view: View| sheets.iter().find(|s| is_view(s, view));
    let fields = Fields::default();
    FitSubject { top: of(View::Top), underside: of(View::Underside), fields: &fields }.value(node).ok()
}

fn row(of: &str, unit: &str, groups: &[&Vec<Sheet>], reference: usize, confidence: f64) -> Option<Row> {
    let node = parse(of).ok()?;
    let unit: Unit = if unit.is_empty() { NO_UNIT } else { unit_named(unit).unwrap_or(MM) };
    let values: Vec<Option<Quantity>> = groups.iter().map(|g| quantity(g, &node)).collect();
    if values.iter().all(Option::is_none) {
        return None;
    }
    let cells = values.iter().enumerate().map(|(i, q)| {
        let pair = q.as_ref().zip(values[reference].as_ref()).filter(|_| i != reference);
        let difference = pair.map(|(a, b)| a.minus(b));
        Cell {
            value: q.as_ref().map(|q| q.value / unit.size),
            u95: q.as_ref().map(|q| q.u95() / unit.size),
            difference: difference.as_ref().map(|d| d.value / unit.size),
            difference_u95: difference.as_ref().map(|d| d.u95() / unit.size),
            sure: difference
                .as_ref()
                .map(|d| above_zero(d).max(1.0 - above_zero(d)) >= (1.0 + confidence) / 2.0),
        }
    });
    Some(Row { of: of.into(), unit: unit.name.into(), decimals: unit.decimals, values: cells.collect() })
}

/// How much larger a named width of one sheet is than that of another, mm, with its expanded uncertainty.
pub fn wider_by(a: &Sheet, b: &Sheet, name: NamedWidth) -> Option<[f64; 2]> {
    let fields = Fields::default();
    let node = Node::Width(WidthPlace::Named(name));
    // The width of the sheet itself, whichever way its saddle lies.
    let own =
        |sheet| FitSubject { top: Some(sheet), underside: Some(sheet), fields: &fields }.value(&node).ok();
    let difference = own(a)?.minus(&own(b)?);
    Some([difference.value, difference.u95()])
}

/// Whether all sheets of one view that two saddles have share something.
fn all_share<'a>(a: &'a [Sheet], b: &'a [Sheet], share: fn(&Seen<'a>, &Seen<'a>) -> bool) -> bool {
    let pairs = a.iter().flat_map(|x| b.iter().filter(|y| y.view == x.view).map(move |y| (x, y)));
    let mut seen = pairs.filter_map(|(x, y)| Some((Seen::of(x).ok()?, Seen::of(y).ok()?))).peekable();
    seen.peek().is_some() && seen.all(|(x, y)| share(&x, &y))
}

fn notes(groups: &[&Vec<Sheet>], reference: usize, columns: &[Column]) -> Vec<String> {
    let others = (0..groups.len()).filter(|i| *i != reference);
    others
        .map(|i| {
            let (a, b) = (groups[i], groups[reference]);
            let print = match all_share(a, b, Seen::shares_print) {
                true => "one print of the card: its scale cancels",
                false => "not known to share a print of the card",
            };
            let lens = match all_share(a, b, Seen::shares_lens) {
                true => "one camera: the lens is wrong alike in both",
                false => "not known to share a camera",
            };
            format!("{} and {}: {print}; {lens}", columns[i].name, columns[reference].name)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::words::{Pair, Part};
    use crate::width::influence::Influence;
    use crate::width::influences::{Influences, MeasuredPlace, SharedError};

    fn sheet(name: &str) -> Sheet {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/fit/saddles");
        crate::sheet::read(&folder.join(name)).unwrap()
    }

    /// The sheets' figures: 80.0 and 58.3 mm, of one day and one print. Were they apart, hypot(1.7, 1.7) = 2.4 mm.
    #[test]
    fn of_one_print_a_difference_is_surer_than_two_widths_apart() {
        let [a, b] = ["bramble-underside.sheet.json", "tansy-underside.sheet.json"].map(sheet);
        let name = NamedWidth::ChannelNarrowest;
        let width = |s: &Sheet| s.width(name).cloned().unwrap();
        let [mm, u95] = wider_by(&a, &b, name).unwrap();
        approx::assert_relative_eq!(mm, width(&a).mm - width(&b).mm, epsilon = 1e-9);
        assert!(u95 < width(&a).u95.hypot(width(&b).u95), "{u95}");
        // The outer edge of an underside is called the seat's too.
        assert!(wider_by(&a, &b, NamedWidth::SeatWidest).is_some());
    }

    /// Two sheets with one error each, of 2 and 1.5 mm in the width.
    fn of_lenses(cameras: [&str; 2]) -> [Sheet; 2] {
        let sheet = |i: usize| {
            let mut sheet = crate::sheet::tests::sample();
            (sheet.photos[0].sha256, sheet.photos[0].camera) =
                (format!("{:064}", i + 1), Some(cameras[i].into()));
            let place = MeasuredPlace { part: Part::Seat, at: 0.72, name: Some(NamedWidth::SeatWidest) };
            let mut influences = Influences::at(vec![place], 431.0);
            let effect = Pair::both([1.0, 0.75][i]);
            influences.shared.push(SharedError::new(Influence::FocalLength, 0, &[effect]));
            (sheet.influences, sheet.rivals) = (Some(influences), Vec::new());
            sheet
        };
        [sheet(0), sheet(1)]
    }

    #[test]
    fn an_error_of_one_lens_cancels_in_a_difference_and_of_two_adds_in_squares() {
        let u = |cameras| {
            let [a, b] = of_lenses(cameras);
            wider_by(&a, &b, NamedWidth::SeatWidest).unwrap()[1] / 1.959_964
        };
        approx::assert_relative_eq!(u(["Fieldphone F1"; 2]), 0.5, epsilon = 1e-4);
        approx::assert_relative_eq!(u(["Fieldphone F1", "Fieldphone F2"]), 2.5, epsilon = 1e-4);
    }
}
