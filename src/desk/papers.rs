//! Pages to print: reports, the card, the guide for clients.

use anyhow::Context;

use super::Desk;
use super::keep::file_stem;
use super::request::parameter;
use super::response::{Problem, Reply};
use super::rider::assess_saddle;
use crate::canvas::{Canvas, Paper, pdf};
use crate::card::pattern::{Pattern, patterns};
use crate::photo::{Photo, sha256_hex};
use crate::print::card::card_page;
use crate::print::guide::guide_page;
use crate::report::judged;
use crate::report::page::{Document, Options, Purpose, ReportSubject, Verdicts, html, pages, single, tiles};
use crate::report::shape::Shape;
use crate::report::units::Units;
use crate::sheet::{self, Sheet};

/// Options of a report, from the query.
#[derive(Debug, Clone, Copy)]
pub struct ReportQuery {
    /// PDF instead of HTML.
    pdf: bool,
    purpose: Purpose,
    /// With the plan at true scale, in a PDF only.
    true_scale: bool,
    paper: Paper,
    units: Units,
}

impl ReportQuery {
    /// Reads `for=sale`, `true-scale=yes`, `paper=letter` and `units=in`; the default is a client's report on A4 in
    /// millimetres.
    pub fn parse(query: &str, pdf: bool) -> Self {
        let has = |name: &str, value: &str| parameter(query, name).is_some_and(|v| v == value);
        Self {
            pdf,
            purpose: if has("for", "sale") { Purpose::Sale } else { Purpose::Client },
            true_scale: pdf && has("true-scale", "yes"),
            paper: paper(query),
            units: if has("units", "in") { Units::Inches } else { Units::Millimetres },
        }
    }
}

fn paper(query: &str) -> Paper {
    let named = parameter(query, "paper");
    Paper::ALL.into_iter().find(|p| named.as_deref() == Some(p.as_str())).unwrap_or(Paper::A4)
}

/// A report of a sheet with its photo, with verdicts for the chosen rider unless it is for a sale.
///
/// # Errors
/// Where it cannot be rendered.
pub fn report(
    desk: &Desk,
    sheet: &Sheet,
    photo: Result<Photo, String>,
    query: ReportQuery,
) -> Result<Reply, Problem> {
    let stem = file_stem(&sheet.saddle.name);
    let sha256 = sha256_hex(sheet::to_json(sheet).map_err(anyhow::Error::from)?.as_bytes());
    let subject = ReportSubject { sheet, file: format!("{stem}.sheet.json"), sha256, photo };
    let verdicts = if query.purpose == Purpose::Sale { None } else { verdicts(desk, sheet)? };
    let options = Options {
        units: query.units,
        purpose: query.purpose,
        verdicts: verdicts.as_ref(),
        true_scale: query.true_scale,
    };
    let document = single::document(&subject, &options);
    if !query.pdf {
        let page = html(&document, query.paper).context("the report could not be rendered")?;
        return Ok(Reply::report(page));
    }
    let kind = if query.purpose == Purpose::Sale { "sale" } else { "report" };
    let bytes = paged(&document, sheet, query)?;
    Ok(Reply::download("application/pdf", &format!("{}.{kind}.pdf", ascii(&stem)), bytes))
}

fn paged(document: &Document, sheet: &Sheet, query: ReportQuery) -> Result<Vec<u8>, Problem> {
    let mut pages = pages(document, query.paper);
    if query.true_scale {
        let shape = Shape::of(sheet).filter(|_| sheet.refused.is_none());
        let shape = shape.ok_or_else(|| {
            Problem::new(422, "there is no outline to print at true scale", "measure the photo first")
        })?;
        pages.extend(tiles::pages(&shape, &sheet.saddle.name, query.paper));
    }
    let title = format!("{} – {}", document.title, document.kind);
    Ok(pdf(&pages, &title).map_err(anyhow::Error::from)?)
}

/// An HTTP header holds ASCII only.
fn ascii(stem: &str) -> String {
    let plain: String = stem.chars().filter(char::is_ascii).collect();
    if plain.trim_matches('-').is_empty() { "saddle".into() } else { plain }
}

fn verdicts(desk: &Desk, sheet: &Sheet) -> Result<Option<Verdicts>, Problem> {
    if desk.rider.get().is_none() || sheet.refused.is_some() {
        return Ok(None);
    }
    let assessment = assess_saddle(desk, std::slice::from_ref(sheet))?;
    Ok(Some(judged::verdicts(&assessment, &desk.rules, sheet)))
}

/// The card to print, by `pattern` (default: the sheet), `copy` and `paper` of the query.
///
/// # Errors
/// An unknown pattern or copy.
pub fn card(query: &str) -> Result<Reply, Problem> {
    let named = parameter(query, "pattern").unwrap_or_else(|| patterns()[0].name.clone());
    let pattern: &Pattern =
        patterns().iter().find(|p| p.name == named).ok_or_else(|| Problem::missing("this pattern"))?;
    let copy = match parameter(query, "copy") {
        Some(text) => text.parse().map_err(|_| Problem::missing("this copy"))?,
        None => 0,
    };
    let paper = paper(query);
    let page = card_page(pattern, copy, paper)
        .map_err(|e| Problem::new(422, e.to_string(), "choose another copy"))?;
    printed(&page, &format!("card-{}-{copy}-{}.pdf", pattern.name, paper.as_str()))
}

/// The guide for clients.
///
/// # Errors
/// Where it cannot be rendered.
pub fn guide(query: &str) -> Result<Reply, Problem> {
    let paper = paper(query);
    printed(&guide_page(paper), &format!("guide-{}.pdf", paper.as_str()))
}

fn printed(page: &Canvas, name: &str) -> Result<Reply, Problem> {
    let bytes = pdf(std::slice::from_ref(page), &page.label).map_err(anyhow::Error::from)?;
    Ok(Reply::download("application/pdf", name, bytes))
}
