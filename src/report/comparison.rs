//! A comparison as text and as CSV.

use std::fmt::Write;

use super::assessment::{about_word, verdict_words};
use super::words::{compared, harmless, plain, shortened};
use crate::fit::compare::{Cell, Comparison, Row};
use crate::fit::verdict::Verdict;

/// Width of a saddle's column.
const COLUMN: usize = 20;
/// Width of the first column.
const FIRST: usize = 48;

/// The comparison in words, ending with a line break.
pub fn text(c: &Comparison) -> String {
    let mut out = String::new();
    if let Some(rider) = &c.rider {
        let _ = writeln!(out, "for {}", plain(rider));
    }
    for s in &c.saddles {
        let place = s.rank.map_or("not ranked".into(), |r| format!("{r}."));
        let level = c.saddles.iter().filter(|o| o.rank.is_some() && o.rank == s.rank).count() > 1;
        let _ = writeln!(out, "{place} {}{}", plain(&s.name), if level { " (level)" } else { "" });
        for reason in &s.reasons {
            let _ = writeln!(out, "     {}", plain(reason));
        }
    }
    let _ = write!(out, "\n{:FIRST$}", "");
    for s in &c.saddles {
        let _ = write!(out, "{:>COLUMN$}", shortened(&plain(&s.name), COLUMN - 2));
    }
    out.push('\n');
    for row in &c.rows {
        row_text(row, &mut out);
    }
    verdicts(c, &mut out);
    let _ = writeln!(
        out,
        "\nSecond lines are differences from {}; * marks those whose sign is sure to {} %.",
        plain(&c.reference),
        // As many digits as were given, and none that dividing by a hundred has added.
        (1e6 * c.confidence).round() / 1e4
    );
    for note in &c.notes {
        let _ = writeln!(out, "  - {}", plain(note));
    }
    out.push('\n');
    for caution in &c.cautions {
        let _ = writeln!(out, "{caution}");
    }
    out
}

fn row_text(row: &Row, out: &mut String) {
    let d = row.decimals;
    let unit = if row.unit.is_empty() { String::new() } else { format!(", {}", row.unit) };
    let _ = write!(out, "{:FIRST$}", format!("{}{unit}", compared(&row.of)));
    let pair = |v: Option<f64>, u: Option<f64>| {
        v.zip(u).map_or("-".to_owned(), |(v, u)| format!("{v:.d$} ± {u:.d$}"))
    };
    for cell in &row.values {
        let _ = write!(out, "{:>COLUMN$}", pair(cell.value, cell.u95));
    }
    let _ = write!(out, "\n{:FIRST$}", "");
    for cell in &row.values {
        let _ = write!(out, "{:>COLUMN$}", difference(cell, d));
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
}

fn difference(cell: &Cell, d: usize) -> String {
    match (cell.difference, cell.difference_u95) {
        (Some(v), Some(u)) => {
            format!("{v:+.d$} ± {u:.d$}{}", if cell.sure == Some(true) { "*" } else { " " })
        }
        _ => String::new(),
    }
}

/// Rules by saddles.
fn verdicts(c: &Comparison, out: &mut String) {
    out.push('\n');
    let Some(first) = c.saddles.first() else { return };
    let judged = |id: &str| {
        let results = c.saddles.iter().flat_map(|s| &s.assessment.results).filter(|r| r.id == id);
        results.into_iter().any(|r| !matches!(r.verdict, Verdict::NotJudged | Verdict::Stated))
    };
    for result in first.assessment.results.iter().filter(|r| judged(&r.id)) {
        let _ = write!(out, "{:FIRST$}", shortened(&plain(&result.title), FIRST - 2));
        for s in &c.saddles {
            let found = s.assessment.results.iter().find(|r| r.id == result.id);
            let _ = write!(out, "{:>COLUMN$}", found.map_or("-", |r| verdict_words(r)));
        }
        out.push('\n');
    }
}

/// The comparison as CSV: a line for each saddle and value, then for each saddle and rule.
///
/// # Errors
/// Where a record cannot be written, which memory does not refuse.
pub fn csv(c: &Comparison) -> Result<String, csv::Error> {
    let mut w = csv::Writer::from_writer(Vec::new());
    let head = "saddle,rank,kind,of,about,unit,value,u95,difference,difference_u95,verdict,probability";
    w.write_record(head.split(','))?;
    let number = |x: Option<f64>, d: usize| x.map_or(String::new(), |x| format!("{x:.0$}", d + 1));
    for (i, s) in c.saddles.iter().enumerate() {
        let (name, rank) = (harmless(&s.name), s.rank.map_or(String::new(), |r| r.to_string()));
        for row in &c.rows {
            let (cell, d) = (&row.values[i], row.decimals);
            let [value, u95] = [number(cell.value, d), number(cell.u95, d)];
            let [by, by_u] = [number(cell.difference, d), number(cell.difference_u95, d)];
            w.write_record([
                &name, &rank, "width", &row.of, "saddle", &row.unit, &value, &u95, &by, &by_u, "", "",
            ])?;
        }
        for r in &s.assessment.results {
            let (id, p) = (harmless(&r.id), number(r.probability, 3));
            let (about, verdict) = (about_word(r.about), verdict_words(r));
            w.write_record([&name, &rank, "rule", &id, about, "", "", "", "", "", verdict, &p])?;
        }
    }
    let bytes = w.into_inner().map_err(|e| csv::Error::from(e.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
