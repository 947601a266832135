//! `seatspan repeat`: repeatability of measurements, and agreement between two people or methods.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::bail;
use clap::Args;
use schemars::JsonSchema;
use serde::Serialize;

use crate::numeric::agreement::{Agreement, Intraclass, Repeatability, agreement, intraclass, repeatability};
use crate::numeric::uncertain::coverage_factor;
use crate::numeric::words::NamedWidth;
use crate::sheet::{self, Sheet};

/// Options of `seatspan repeat`.
#[derive(Debug, Args)]
#[command(after_help = AFTER_HELP)]
pub struct RepeatArgs {
    /// Sheets of saddles, each measured several times under one name
    #[arg(required = true, value_name = "SHEET")]
    pub sheets: Vec<PathBuf>,
    /// Sheets of the same saddles by another person or method
    #[arg(long, value_name = "SHEET", num_args = 1..)]
    pub other: Vec<PathBuf>,
    /// Print the figures as JSON, and nothing else
    #[arg(long)]
    pub json: bool,
}

const AFTER_HELP: &str = "\
Measure a saddle several times, each time after placing saddle and card again, and give all sheets one name with --name. \
Two such measurements differ by less than the repeatability limit in 95 of 100 cases. Errors common to all (the card's \
print, the heights, the lens) do not show here: see the uncertainty budget.

With --other: the mean difference to another person's sheets, and the limits between which 95 of 100 differences lie \
(Bland and Altman 1986).

Exit status: 0 done, 2 an error of use or of the machine.

Example: seatspan repeat anna/*.sheet.json --other ben/*.sheet.json";

/// Schema of the JSON output.
const SCHEMA: &str = "seatspan-repeat/1";

/// The JSON output. Lengths are mm.
#[derive(Debug, Serialize, JsonSchema)]
struct RepeatReport {
    schema: &'static str,
    saddles: usize,
    sheets: usize,
    widths: Vec<WidthRow>,
}

/// One named width.
#[derive(Debug, Serialize, JsonSchema)]
struct WidthRow {
    name: NamedWidth,
    repeat: Option<RepeatRow>,
    other_repeat: Option<RepeatRow>,
    agreement: Option<AgreementRow>,
}

/// Repeated measurements by one person.
#[derive(Debug, Serialize, JsonSchema)]
struct RepeatRow {
    within_sd: f64,
    within_sd_95: [f64; 2],
    freedom: f64,
    limit: f64,
    /// Root mean square of the standard uncertainties that the sheets state.
    stated_u: f64,
}

/// Two people.
#[derive(Debug, Serialize, JsonSchema)]
struct AgreementRow {
    saddles: usize,
    bias: f64,
    bias_95: [f64; 2],
    sd: f64,
    limits: [f64; 2],
    limit_se: f64,
    /// ICC(2,1) of Shrout and Fleiss, absolute agreement.
    intraclass: Option<f64>,
}

/// Runs the command.
///
/// # Errors
/// Unreadable or refused sheets, and sets without repeated measurements.
pub fn run(args: &RepeatArgs) -> anyhow::Result<u8> {
    let sets = [Set::read(&args.sheets)?, Set::read(&args.other)?];
    let rows: Vec<WidthRow> =
        sets[0].names(&sets[1]).into_iter().filter_map(|name| row(&sets, name)).collect();
    if rows.is_empty() {
        let (saddles, sheets) = (sets[0].saddles.len(), args.sheets.len());
        bail!(
            "sheets: {sheets}, saddles: {saddles}; no saddle was measured twice, and fewer than three by both; give the \
             sheets of one saddle one name (measure --name)"
        );
    }
    if args.json {
        let (saddles, sheets) = (sets[0].saddles.len(), args.sheets.len() + args.other.len());
        super::say(&serde_json::to_string_pretty(&RepeatReport {
            schema: SCHEMA,
            saddles,
            sheets,
            widths: rows,
        })?);
    } else {
        super::say(&text(&sets, &rows));
    }
    Ok(0)
}

/// Sheets by the name of their saddle.
struct Set {
    saddles: BTreeMap<String, Vec<Sheet>>,
}

impl Set {
    fn read(paths: &[PathBuf]) -> anyhow::Result<Self> {
        let mut saddles: BTreeMap<String, Vec<Sheet>> = BTreeMap::new();
        let mut photos: BTreeMap<String, &Path> = BTreeMap::new();
        for path in paths {
            let sheet = sheet::read(path)?;
            if let Some(refusal) = &sheet.refused {
                bail!("{}: the photo was refused ({}); leave it out", path.display(), refusal.text);
            }
            for photo in &sheet.photos {
                if let Some(other) = photos.insert(photo.sha256.clone(), path) {
                    bail!(
                        "{} and {} are both of the photo {} and not a repeated measurement; leave one out",
                        other.display(),
                        path.display(),
                        photo.file
                    );
                }
            }
            saddles.entry(sheet.saddle.name.clone()).or_default().push(sheet);
        }
        Ok(Self { saddles })
    }

    /// Names of widths in either set, in the order of the sheets.
    fn names(&self, other: &Self) -> Vec<NamedWidth> {
        let mut names: Vec<NamedWidth> = Vec::new();
        for sheet in self.saddles.values().chain(other.saddles.values()).flatten() {
            for width in &sheet.widths {
                if !names.contains(&width.name) {
                    names.push(width.name);
                }
            }
        }
        names
    }

    fn values(&self, saddle: &str, name: NamedWidth) -> Vec<f64> {
        let sheets = self.saddles.get(saddle).map_or(&[][..], Vec::as_slice);
        sheets.iter().filter_map(|s| Some(s.width(name)?.mm)).collect()
    }

    fn repeat(&self, name: NamedWidth) -> Option<RepeatRow> {
        let lists: Vec<Vec<f64>> = self.saddles.keys().map(|saddle| self.values(saddle, name)).collect();
        let stated: Vec<f64> = self
            .saddles
            .values()
            .flatten()
            .filter_map(|s| s.width(name))
            .map(|w| w.u.unwrap_or(w.u95 / crate::width::COVERAGE))
            .collect();
        let Repeatability { within_sd, freedom, within_sd_95, limit } = repeatability(&lists)?;
        let stated_u = (stated.iter().map(|u| u * u).sum::<f64>() / stated.len().max(1) as f64).sqrt();
        Some(RepeatRow { within_sd, within_sd_95, freedom, limit, stated_u })
    }
}

fn row(sets: &[Set; 2], name: NamedWidth) -> Option<WidthRow> {
    let things: Vec<[Vec<f64>; 2]> =
        sets[0].saddles.keys().map(|saddle| [0, 1].map(|i| sets[i].values(saddle, name))).collect();
    let by_both: Vec<Vec<f64>> = things
        .iter()
        .filter(|t| t.iter().all(|l| !l.is_empty()))
        .map(|t| t.iter().map(|l| l.iter().sum::<f64>() / l.len() as f64).collect())
        .collect();
    let agreement = agreement(&things).map(|a| {
        let Agreement { pairs, bias, bias_95, sd, limits, limit_se } = a;
        let intraclass = intraclass(&by_both).map(|i: Intraclass| i.absolute);
        AgreementRow { saddles: pairs, bias, bias_95, sd, limits, limit_se, intraclass }
    });
    let (repeat, other_repeat) = (sets[0].repeat(name), sets[1].repeat(name));
    let any = repeat.is_some() || other_repeat.is_some() || agreement.is_some();
    any.then_some(WidthRow { name, repeat, other_repeat, agreement })
}

fn text(sets: &[Set; 2], rows: &[WidthRow]) -> String {
    let count = |set: &Set| set.saddles.values().map(Vec::len).sum::<usize>();
    let mut lines = vec![format!("sheets: {}, saddles: {}; mm", count(&sets[0]), sets[0].saddles.len())];
    let two = !sets[1].saddles.is_empty();
    if two {
        lines.push(format!("by the other sheets: {}, saddles: {}", count(&sets[1]), sets[1].saddles.len()));
    }
    for row in rows {
        lines.push(row.name.to_string());
        for (who, repeat) in [("", &row.repeat), (" (the other)", &row.other_repeat)] {
            if let Some(r) = repeat {
                let [low, high] = r.within_sd_95;
                lines.push(format!(
                    "  repeated{who}: standard deviation {:.2} ({low:.2} to {high:.2}, {:.0} degrees of freedom); \
                     repeatability limit {:.1}; the sheets state u {:.2}",
                    r.within_sd, r.freedom, r.limit, r.stated_u
                ));
            }
        }
        if let Some(a) = &row.agreement {
            lines.push(format!(
                "  first minus other, {} saddles: {:+.2} ({:+.2} to {:+.2}); 95 of 100 differences from {:+.1} to {:+.1} \
                 (each ± {:.1}){}",
                a.saddles,
                a.bias,
                a.bias_95[0],
                a.bias_95[1],
                a.limits[0],
                a.limits[1],
                coverage_factor((a.saddles - 1) as f64, 0.95) * a.limit_se,
                a.intraclass.map_or_else(String::new, |i| format!("; intraclass correlation {i:.2}"))
            ));
        }
    }
    lines.push("errors common to all (print scale, lens, heights) do not show here".into());
    lines.join("\n")
}
