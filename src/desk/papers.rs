//! Pages to print: reports, the card, the guide for clients.

use anyhow::Context;

use super::Desk;
use super::keep::file_stem;
use super::request::parameter;
use super::response::{Problem, Reply};
use super::rider::{assess_saddle, entered};
use crate::canvas::{Canvas, Paper, pdf};
use crate::card::pattern::{Pattern, patterns};
use crate::photo::{Photo, sha256_hex};
use crate::print::card::card_page;
use crate::print::guide::guide_page;
use crate::report::judged;
use crate::report::letterhead::Letterhead;
use crate::report::page::client::ClientPage;
use crate::report::page::{
    Document, Options, Purpose, ReportSubject, Verdicts, html, pages, single, tiles, whole,
};
use crate::report::shape::Shape;
use crate::report::units::Units;
use crate::sheet::{self, Sheet};

/// Options of a report, from the query.
#[derive(Debug, Clone)]
pub struct ReportQuery {
    /// PDF instead of HTML.
    pdf: bool,
    purpose: Purpose,
    /// With the plan at true scale, in a PDF only.
    true_scale: bool,
    paper: Paper,
    units: Units,
    /// The fitter's recommendation, on the client's page.
    advice: String,
}

impl ReportQuery {
    /// Reads `for=client` or `for=sale`, `advice`, `true-scale=yes`, `paper=letter` and `units=in`; the default is the fitter's
    /// report on A4 in millimetres.
    pub fn parse(query: &str, pdf: bool) -> Self {
        let has = |name: &str, value: &str| parameter(query, name).is_some_and(|v| v == value);
        Self {
            pdf,
            purpose: match parameter(query, "for").as_deref() {
                Some("sale") => Purpose::Sale,
                Some("client") => Purpose::Client,
                _ => Purpose::Fitter,
            },
            advice: parameter(query, "advice").unwrap_or_default(),
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

/// A report of one saddle's sheets, each with its photo, with verdicts for the chosen rider unless it is for a sale.
///
/// # Errors
/// Where it cannot be rendered.
pub fn report(
    desk: &Desk,
    sheets: &[Sheet],
    photos: Vec<Result<Photo, String>>,
    query: &ReportQuery,
) -> Result<Reply, Problem> {
    let stem = file_stem(&sheets[0].saddle.name);
    let document = match query.purpose {
        Purpose::Client => client_page(desk, sheets, query)?,
        _ => full_report(desk, sheets, photos, query)?,
    };
    if !query.pdf {
        let page = html(&document, query.paper).context("the report could not be rendered")?;
        return Ok(Reply::report(page));
    }
    let kind = match query.purpose {
        Purpose::Fitter => "report",
        Purpose::Client => "client",
        Purpose::Sale => "sale",
    };
    let bytes = paged(&document, sheets, query)?;
    Ok(Reply::download("application/pdf", &format!("{}.{kind}.pdf", ascii(&stem)), bytes))
}

fn full_report(
    desk: &Desk,
    sheets: &[Sheet],
    photos: Vec<Result<Photo, String>>,
    query: &ReportQuery,
) -> Result<Document, Problem> {
    let mut subjects = Vec::new();
    for (sheet, photo) in sheets.iter().zip(photos) {
        let sha256 = sha256_hex(sheet::to_json(sheet).map_err(anyhow::Error::from)?.as_bytes());
        let file = format!("{}.sheet.json", file_stem(&sheet.saddle.name));
        subjects.push(ReportSubject { sheet, file, sha256, photo });
    }
    let entered = entered(desk);
    let verdicts = if query.purpose == Purpose::Sale { None } else { verdicts(desk, sheets)? };
    let options = Options {
        units: query.units,
        purpose: query.purpose,
        verdicts: verdicts.as_ref(),
        true_scale: query.true_scale,
        sale: entered.saddle(&sheets[0].saddle.name).map_or(&[][..], |saddle| &saddle.sale),
    };
    Ok(single::document(&subjects, &options))
}

/// The settings file of the shelf's folder.
const SETTINGS: &str = "settings.toml";

/// The client's page, under the letterhead of the shelf's settings file if there is one.
fn client_page(desk: &Desk, sheets: &[Sheet], query: &ReportQuery) -> Result<Document, Problem> {
    let settings = desk.folder.join(SETTINGS);
    let letterhead = match settings.exists() {
        true => {
            Letterhead::read(&settings).map_err(|e| Problem::new(422, e.to_string(), "correct the file"))?
        }
        false => Letterhead::default(),
    };
    let assessment = assess_saddle(desk, sheets)?;
    let rider = desk.rider.get().unwrap_or_default();
    let page = ClientPage {
        sheets,
        assessment: &assessment,
        letterhead: &letterhead,
        advice: &query.advice,
        date: rider.date.as_deref(),
        units: query.units,
    };
    Ok(page.document(query.paper))
}

fn paged(document: &Document, sheets: &[Sheet], query: &ReportQuery) -> Result<Vec<u8>, Problem> {
    let mut pages = pages(document, query.paper);
    let shapes: Vec<Shape> = sheets.iter().filter(|s| s.refused.is_none()).filter_map(Shape::of).collect();
    let name = &sheets[0].saddle.name;
    if query.purpose == Purpose::Sale && !shapes.is_empty() {
        pages.push(whole::page(&shapes.iter().collect::<Vec<_>>(), name, query.paper, query.units));
    }
    if query.true_scale {
        if shapes.is_empty() {
            return Err(Problem::new(
                422,
                "there is no outline to print at true scale",
                "measure the photo first",
            ));
        }
        pages.extend(shapes.iter().flat_map(|shape| tiles::pages(shape, name, query.paper)));
    }
    let title = format!("{} – {}", document.title, document.kind);
    Ok(pdf(&pages, &title).map_err(anyhow::Error::from)?)
}

/// An HTTP header holds ASCII only.
fn ascii(stem: &str) -> String {
    let plain: String = stem.chars().filter(char::is_ascii).collect();
    if plain.trim_matches('-').is_empty() { "saddle".into() } else { plain }
}

fn verdicts(desk: &Desk, sheets: &[Sheet]) -> Result<Option<Verdicts>, Problem> {
    if desk.rider.get().is_none() || sheets.iter().all(|sheet| sheet.refused.is_some()) {
        return Ok(None);
    }
    let assessment = assess_saddle(desk, sheets)?;
    Ok(Some(judged::verdicts(&assessment, &desk.rules, sheets)))
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
