//! The table of a stress run, condition by condition.

use std::fmt::Write;

use serde::Serialize;
use serde_json::json;

use super::conditions::BANDS;
use super::trial::{Aim, Compared, Outcome, Trial};

/// Outcomes of the photos of one band.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Row {
    /// Photos with a whole saddle.
    pub to_measure: usize,
    /// Of these, measured.
    pub measured: usize,
    /// Of these, refused.
    pub wrongly_refused: usize,
    /// Photos without a whole saddle.
    pub to_refuse: usize,
    /// Of these, measured.
    pub wrongly_accepted: usize,
    /// Named widths of whole saddles, except at hidden edges.
    pub named: Errors,
    /// Widths at the set stations.
    pub stations: Errors,
    /// Widths, named and at stations, given although one of their edges is hidden.
    pub hidden_given: usize,
}

/// Error statistics.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Errors {
    /// Number of widths.
    pub count: usize,
    /// Root mean square, mm.
    pub rms_mm: Option<f64>,
    /// Median absolute error, mm.
    pub median_mm: Option<f64>,
    /// Largest absolute error, mm.
    pub worst_mm: Option<f64>,
    /// Share outside the stated 95 % uncertainty.
    pub outside_u95: Option<f64>,
    /// Number beyond three times the stated uncertainty.
    pub outside_3_u95: usize,
}

impl Errors {
    fn of(widths: &[&Compared]) -> Self {
        if widths.is_empty() {
            return Self::default();
        }
        let count = widths.len() as f64;
        let mut sizes: Vec<f64> = widths.iter().map(|w| w.error_mm.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        Self {
            count: widths.len(),
            rms_mm: Some((sizes.iter().map(|e| e * e).sum::<f64>() / count).sqrt()),
            median_mm: Some(sizes[sizes.len() / 2]),
            worst_mm: sizes.last().copied(),
            outside_u95: Some(widths.iter().filter(|w| w.is_outside()).count() as f64 / count),
            outside_3_u95: widths.iter().filter(|w| !(w.error_mm.abs() <= 3.0 * w.u95_mm)).count(),
        }
    }
}

impl Row {
    /// The row of some trials.
    pub fn of(trials: &[&Trial]) -> Self {
        let mut row = Self::default();
        let (mut named, mut stations) = (Vec::new(), Vec::new());
        for trial in trials {
            match (trial.to_measure, &trial.outcome) {
                (true, Outcome::Measured { named: n, stations: s, .. }) => {
                    row.measured += 1;
                    named.extend(n.iter().filter(|w| !w.hidden));
                    stations.extend(s.iter().filter(|w| !w.hidden));
                    row.hidden_given += n.iter().chain(s).filter(|w| w.hidden).count();
                }
                (true, Outcome::Refused { .. }) => row.wrongly_refused += 1,
                (false, Outcome::Measured { .. }) => row.wrongly_accepted += 1,
                (false, Outcome::Refused { .. }) => {}
            }
        }
        row.to_measure = row.measured + row.wrongly_refused;
        row.to_refuse = trials.len() - row.to_measure;
        row.named = Errors::of(&named);
        row.stations = Errors::of(&stations);
        row
    }
}

fn band<'a>(trials: &'a [Trial], of: &str, band: &str) -> Vec<&'a Trial> {
    trials.iter().filter(|t| t.conditions.iter().any(|c| c.of == of && c.band == band)).collect()
}

/// The table as text.
pub fn text(seed: u64, aim: Aim, trials: &[Trial]) -> String {
    let given = aim.in_words();
    let mut out =
        format!("{} synthetic photos from seed {seed}, {given}; all saddles are invented\n\n", trials.len());
    out.push_str(
        "                            to         wrongly   named widths, mm             >u95    stations, mm   >u95       \
         to wrongly\n",
    );
    out.push_str(
        "                       measure measured refused    n   RMS  median  worst  share >3u95    n   RMS  share   \
         refuse accepted\n",
    );
    let all: Vec<&Trial> = trials.iter().collect();
    out.push_str(&line("all", &Row::of(&all)));
    for (of, bands) in BANDS {
        let rows: Vec<(&str, Vec<&Trial>)> = bands.iter().map(|b| (*b, band(trials, of, b))).collect();
        if rows.iter().all(|r| r.1.is_empty()) {
            continue;
        }
        let _ = writeln!(out, "{of}");
        for (name, within) in rows.iter().filter(|r| !r.1.is_empty()) {
            out.push_str(&line(&format!("  {name}"), &Row::of(within)));
        }
    }
    let row = Row::of(&all);
    if row.hidden_given > 0 {
        let _ = writeln!(
            out,
            "\n{} widths were given although a strap hides one of their edges",
            row.hidden_given
        );
    }
    out.push_str(&reasons(trials));
    out
}

fn line(name: &str, row: &Row) -> String {
    let share = |of: usize| percent(Some(of as f64 / row.to_measure as f64).filter(|_| row.to_measure > 0));
    let (n, s) = (&row.named, &row.stations);
    let line = format!(
        "{name:22} {:7} {:>8} {:7} {:4} {:>5} {:>7} {:>6} {:>6} {:5} {:4} {:>5} {:>6} {:>8} {:>8}",
        row.to_measure,
        share(row.measured),
        row.wrongly_refused,
        n.count,
        millimetres(n.rms_mm),
        millimetres(n.median_mm),
        millimetres(n.worst_mm),
        percent(n.outside_u95),
        n.outside_3_u95,
        s.count,
        millimetres(s.rms_mm),
        percent(s.outside_u95),
        row.to_refuse,
        row.wrongly_accepted,
    );
    format!("{}\n", line.trim_end())
}

fn millimetres(value: Option<f64>) -> String {
    value.map_or_else(|| "-".into(), |v| format!("{v:.2}"))
}

fn percent(share: Option<f64>) -> String {
    share.map_or_else(|| "-".into(), |v| format!("{:.0} %", 100.0 * v))
}

/// The photos with wrong outcomes, by name; each can be rendered again by its seed.
fn reasons(trials: &[Trial]) -> String {
    let mut out = String::new();
    let mut list = |title: &str, lines: Vec<String>| {
        if !lines.is_empty() {
            let _ = writeln!(out, "\n{title}\n  {}", lines.join("\n  "));
        }
    };
    let refused = |t: &Trial| match &t.outcome {
        Outcome::Refused { text, .. } if t.to_measure => Some(format!("{}: {text}", t.name)),
        _ => None,
    };
    list("wrongly refused", trials.iter().filter_map(refused).collect());
    let accepted = |t: &&Trial| !t.to_measure && matches!(t.outcome, Outcome::Measured { .. });
    list("wrongly accepted", trials.iter().filter(accepted).map(|t| t.name.clone()).collect());
    let far = |t: &Trial| {
        let Outcome::Measured { named, .. } = &t.outcome else { return None };
        let off = |w: &&Compared| t.to_measure && !w.hidden && w.is_outside();
        let each: Vec<String> = named
            .iter()
            .filter(off)
            .map(|w| format!("{} {:+.1} ± {:.1}", w.name, w.error_mm, w.u95_mm))
            .collect();
        (!each.is_empty()).then(|| format!("{}: {}", t.name, each.join(", ")))
    };
    list("named widths outside their u95, mm", trials.iter().filter_map(far).collect());
    let not_given = |t: &Trial| {
        let Outcome::Measured { missing, .. } = &t.outcome else { return None };
        (t.to_measure && !missing.is_empty()).then(|| format!("{}: {}", t.name, missing.join(", ")))
    };
    list("named widths not given", trials.iter().filter_map(not_given).collect());
    out
}

/// Everything as JSON: the rows, and photo by photo.
pub fn json(seed: u64, aim: Aim, trials: &[Trial]) -> serde_json::Result<String> {
    let all: Vec<&Trial> = trials.iter().collect();
    let rows: Vec<_> = BANDS
        .iter()
        .flat_map(|(of, bands)| bands.iter().map(move |b| (*of, *b)))
        .map(|(of, b)| json!({"of": of, "band": b, "row": Row::of(&band(trials, of, b))}))
        .collect();
    serde_json::to_string_pretty(&json!({
        "about": "synthetic photos of invented saddles",
        "seed": seed,
        "count": trials.len(),
        "aim": aim,
        "all": Row::of(&all),
        "rows": rows,
        "photos": trials,
    }))
}

#[cfg(test)]
mod tests {
    use super::super::conditions::Condition;
    use super::*;
    use seatspan::refusal::RefusalCode;

    fn trial(to_measure: bool, outcome: Outcome) -> Trial {
        let conditions = vec![Condition { of: "view", band: "top" }];
        Trial { seed: 1, name: "saddle-1".into(), to_measure, conditions, outcome }
    }

    fn measured(errors: &[(f64, bool)]) -> Outcome {
        let width = |&(error_mm, hidden): &(f64, bool)| Compared {
            name: "seat.waist".into(),
            at: 0.3,
            error_mm,
            u95_mm: 1.0,
            hidden,
        };
        Outcome::Measured { named: errors.iter().map(width).collect(), stations: vec![], missing: vec![] }
    }

    fn refused() -> Outcome {
        Outcome::Refused { code: RefusalCode::EdgesNotFound, text: "no".into() }
    }

    #[test]
    fn counts_right_and_wrong_outcomes() {
        let trials = [
            trial(true, measured(&[(0.6, false), (-0.8, false), (9.0, true)])),
            trial(true, refused()),
            trial(false, measured(&[])),
            trial(false, refused()),
        ];
        let row = Row::of(&trials.iter().collect::<Vec<_>>());
        assert_eq!((row.to_measure, row.measured, row.wrongly_refused), (2, 1, 1));
        assert_eq!((row.to_refuse, row.wrongly_accepted, row.hidden_given), (2, 1, 1));
        // Root of (0.36 + 0.64) / 2; the hidden width does not count.
        assert!((row.named.rms_mm.unwrap() - 0.5f64.sqrt()).abs() < 1e-12);
        assert_eq!((row.named.count, row.named.outside_u95), (2, Some(0.0)));
        assert_eq!(row.stations, Errors::default());
    }

    #[test]
    fn an_error_that_is_not_a_number_is_outside() {
        let row = Row::of(&[&trial(true, measured(&[(f64::NAN, false)]))]);
        assert_eq!((row.named.outside_u95, row.named.outside_3_u95), (Some(1.0), 1));
    }

    #[test]
    fn the_table_names_each_wrong_outcome() {
        let said = text(1, Aim::Given, &[trial(true, measured(&[(5.0, false)])), trial(true, refused())]);
        for part in ["saddle-1: no", "seat.waist +5.0 ± 1.0", "view\n  top", "50 %"] {
            assert!(said.contains(part), "{part:?} in\n{said}");
        }
        assert!(!said.contains('\x1b') && !said.contains('\r'));
    }
}
