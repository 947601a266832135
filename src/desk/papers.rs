//! What the desk hands out on paper: reports, the card to print, the guide for clients.

use anyhow::Context;

use super::Room;
use super::answer::{Answer, Trouble};
use super::keep::file_stem;
use super::query::parameter;
use super::rider::assessed;
use crate::canvas::{Canvas, Paper, pdf};
use crate::card::pattern::{Pattern, patterns};
use crate::photo::{Photo, sha256_hex};
use crate::print::card::card_page;
use crate::print::guide::guide_page;
use crate::report::judged;
use crate::report::page::{Document, Options, Purpose, Subject, Verdicts, html, pages, single, tiles};
use crate::report::shape::Shape;
use crate::report::units::Units;
use crate::sheet::{self, Sheet};

/// Which report is wanted.
#[derive(Debug, Clone, Copy)]
pub struct Wish {
    /// A PDF, and no page.
    pdf: bool,
    purpose: Purpose,
    /// With the plan at true scale, on as many pages as it takes; in a PDF only.
    true_scale: bool,
    paper: Paper,
    units: Units,
}

impl Wish {
    /// What the query of a report says: `for=sale`, `true-scale=yes`, `paper=letter`, `units=in`; without them for the client,
    /// on A4, millimetres first.
    pub fn of(query: &str, pdf: bool) -> Self {
        let says = |name: &str, value: &str| parameter(query, name).is_some_and(|v| v == value);
        Self {
            pdf,
            purpose: if says("for", "sale") { Purpose::Sale } else { Purpose::Client },
            true_scale: pdf && says("true-scale", "yes"),
            paper: paper(query),
            units: if says("units", "in") { Units::Inches } else { Units::Millimetres },
        }
    }
}

fn paper(query: &str) -> Paper {
    let named = parameter(query, "paper");
    Paper::ALL.into_iter().find(|p| named.as_deref() == Some(p.as_str())).unwrap_or(Paper::A4)
}

/// A report of a sheet with its photo, judged for the rider chosen unless it is for a sale, as a page or as a PDF.
///
/// # Errors
/// Where it cannot be made.
pub fn report(
    room: &Room,
    sheet: &Sheet,
    photo: Result<Photo, String>,
    wish: Wish,
) -> Result<Answer, Trouble> {
    let stem = file_stem(&sheet.saddle.name);
    let sha256 = sha256_hex(sheet::to_json(sheet).map_err(anyhow::Error::from)?.as_bytes());
    let subject = Subject { sheet, file: format!("{stem}.sheet.json"), sha256, photo };
    let verdicts = if wish.purpose == Purpose::Sale { None } else { verdicts(room, sheet)? };
    let options = Options {
        units: wish.units,
        purpose: wish.purpose,
        verdicts: verdicts.as_ref(),
        true_scale: wish.true_scale,
    };
    let document = single::document(&subject, &options);
    if !wish.pdf {
        let page = html(&document, wish.paper).context("the report could not be made")?;
        return Ok(Answer::report(page));
    }
    let kind = if wish.purpose == Purpose::Sale { "sale" } else { "report" };
    let bytes = paged(&document, sheet, wish)?;
    Ok(Answer::download("application/pdf", &format!("{}.{kind}.pdf", ascii(&stem)), bytes))
}

fn paged(document: &Document, sheet: &Sheet, wish: Wish) -> Result<Vec<u8>, Trouble> {
    let mut pages = pages(document, wish.paper);
    if wish.true_scale {
        let shape = Shape::of(sheet).filter(|_| sheet.refused.is_none());
        let shape = shape.ok_or_else(|| {
            Trouble::new(422, "there is no outline to draw at true scale", "measure the photo first")
        })?;
        pages.extend(tiles::pages(&shape, &sheet.saddle.name, wish.paper));
    }
    let title = format!("{} – {}", document.title, document.kind);
    Ok(pdf(&pages, &title).map_err(anyhow::Error::from)?)
}

/// A header holds plain letters only.
fn ascii(stem: &str) -> String {
    let plain: String = stem.chars().filter(char::is_ascii).collect();
    if plain.trim_matches('-').is_empty() { "saddle".into() } else { plain }
}

fn verdicts(room: &Room, sheet: &Sheet) -> Result<Option<Verdicts>, Trouble> {
    if room.rider.get().is_none() || sheet.refused.is_some() {
        return Ok(None);
    }
    let assessment = assessed(room, std::slice::from_ref(sheet))?;
    Ok(Some(judged::verdicts(&assessment, &room.rules, sheet)))
}

/// The card to print: `pattern` (the sheet without it), `paper` and `copy` of the query.
///
/// # Errors
/// Where there is no such pattern or copy.
pub fn card(query: &str) -> Result<Answer, Trouble> {
    let named = parameter(query, "pattern").unwrap_or_else(|| patterns()[0].name.clone());
    let pattern: &Pattern =
        patterns().iter().find(|p| p.name == named).ok_or_else(|| Trouble::missing("this pattern"))?;
    let copy = match parameter(query, "copy") {
        Some(text) => text.parse().map_err(|_| Trouble::missing("this copy"))?,
        None => 0,
    };
    let paper = paper(query);
    let page = card_page(pattern, copy, paper)
        .map_err(|e| Trouble::new(422, e.to_string(), "choose a copy that there is"))?;
    printed(&page, &format!("card-{}-{copy}-{}.pdf", pattern.name, paper.as_str()))
}

/// The guide for clients, to print.
///
/// # Errors
/// Where it cannot be made.
pub fn guide(query: &str) -> Result<Answer, Trouble> {
    let paper = paper(query);
    printed(&guide_page(paper), &format!("guide-{}.pdf", paper.as_str()))
}

fn printed(page: &Canvas, name: &str) -> Result<Answer, Trouble> {
    let bytes = pdf(std::slice::from_ref(page), &page.label).map_err(anyhow::Error::from)?;
    Ok(Answer::download("application/pdf", name, bytes))
}
