//! Dispatch of requests. `docs/desk.md` describes the interface.

use std::sync::Arc;

use anyhow::Context;
use http_body_util::Full;
use hyper::body::{Bytes, Incoming};
use hyper::http::request::Parts;
use hyper::{Method, Request, Response};
use serde_json::json;

use super::edits::Edits;
use super::item::DeskPhoto;
use super::open_photo::PhotoResult;
use super::photos::MOST_PHOTO_BYTES;
use super::request::{MOST_JSON_BYTES, from_json, parameter, read_body};
use super::response::{Problem, Reply};
use super::{Desk, assets, by_hand, keep, lens, papers, rider, shelf};
use crate::instruction::on_desk;

/// The sample: a rendered photo of an invented saddle, with its heights.
const SAMPLE: &[u8] = include_bytes!("../../fixtures/demo/willow.jpg");
const SAMPLE_HEIGHTS_MM: [(f64, f64); 5] =
    [(0.0, 44.0), (0.25, 26.0), (0.5, 11.0), (0.75, 31.0), (1.0, 68.0)];
/// JPEG quality of pictures for the page: finer than the eye sees at one pixel to a pixel.
const PICTURE_QUALITY: u8 = 88;

/// Responds to one request.
pub async fn respond(desk: Arc<Desk>, request: Request<Incoming>) -> Response<Full<Bytes>> {
    let (head, body) = request.into_parts();
    if desk.guard.is_invited(&head) {
        desk.remove_redirect();
        return Reply::welcome(desk.guard.set_cookie()).response();
    }
    let answer = match desk.guard.admit(&head) {
        Ok(()) => handle(desk, head, body).await.unwrap_or_else(Reply::from),
        Err(denial) => Reply::forbidden(denial.text()),
    };
    answer.response()
}

/// Reads the body of an admitted request and handles it on a thread that may block: measuring takes seconds.
async fn handle(desk: Arc<Desk>, head: Parts, body: Incoming) -> Result<Reply, Problem> {
    let is_photo = head.method == Method::POST && head.uri.path() == "/api/photos";
    let has_body = matches!(head.method, Method::POST | Method::PUT);
    let most = if is_photo { MOST_PHOTO_BYTES } else { MOST_JSON_BYTES };
    let bytes = if has_body { read_body(body, most).await? } else { Bytes::new() };
    let handled = tokio::task::spawn_blocking(move || route(&desk, &head, &bytes)).await;
    handled.context("the program failed on this request")?
}

fn route(desk: &Desk, head: &Parts, body: &[u8]) -> Result<Reply, Problem> {
    let (path, query) = (head.uri.path(), head.uri.query().unwrap_or_default());
    if head.method == Method::GET
        && let Some(file) = assets::file(path)
    {
        return Ok(file);
    }
    let photo = |id: &str| -> Result<Arc<DeskPhoto>, Problem> { desk.photos.get(number(id)?) };
    let parts: Vec<&str> = path.trim_start_matches('/').split('/').collect();
    match (head.method.as_str(), parts.as_slice()) {
        ("GET", ["api", "photos"]) => Ok(Reply::json(&desk.photos.list())),
        ("POST", ["api", "photos"]) => upload(desk, body, query),
        ("POST", ["api", "sample"]) => sample(desk),
        ("GET", ["api", "photos", id]) => Ok(Reply::json(&photo(id)?.whole())),
        ("DELETE", ["api", "photos", id]) => {
            desk.photos.remove(number(id)?)?;
            Ok(Reply::json(&json!({})))
        }
        ("PUT", ["api", "photos", id, "edits"]) => {
            let edits: Edits = from_json(body)?;
            Ok(Reply::json(&desk.photos.edit(number(id)?, edits)?))
        }
        ("GET", ["api", "photos", id, "picture"]) => picture(desk, &*photo(id)?, query),
        ("GET", ["api", "photos", id, "verdicts"]) => verdicts(desk, photo(id)?.measured()?),
        ("GET", ["api", "photos", id, "by-hand"]) => {
            Ok(Reply::json(&by_hand::of_saddle(&desk.folder, &photo(id)?.measured()?.sheet.saddle.name)))
        }
        ("PUT", ["api", "photos", id, "by-hand"]) => {
            let name = photo(id)?.measured()?.sheet.saddle.name;
            Ok(Reply::json(&by_hand::keep(&desk.folder, &name, &from_json(body)?)?))
        }
        ("POST", ["api", "photos", id, "keep"]) => {
            Ok(Reply::json(&keep::keep(desk, &photo(id)?, &from_json(body)?)?))
        }
        ("GET", ["api", "photos", id, "check"]) => Ok(Reply::json(&judged(desk, &*photo(id)?)?)),
        ("GET", ["api", "photos", id, "lenses"]) => {
            Ok(Reply::json(&lens::lenses(&desk.folder, &*desk.photos.photo(&*photo(id)?)?)))
        }
        ("GET", ["api", "photos", id, report @ ("report.html" | "report.pdf")]) => {
            let item = photo(id)?;
            let photo = (*desk.photos.photo(&item)?).clone();
            let query = papers::ReportQuery::parse(query, *report == "report.pdf");
            papers::report(desk, &[item.measured()?.sheet], vec![Ok(photo)], &query)
        }
        ("GET", ["api", "card.pdf"]) => papers::card(query),
        ("GET", ["api", "guide.pdf"]) => papers::guide(query),
        ("GET", ["api", "rider"]) => Ok(Reply::json(&rider::riders(desk))),
        ("PUT", ["api", "rider"]) => {
            desk.rider.choose(&from_json(body)?, &desk.rules)?;
            Ok(Reply::json(&rider::riders(desk)))
        }
        ("POST", ["api", "rider", "keep"]) => Ok(Reply::json(&rider::keep(desk, &from_json(body)?)?)),
        ("POST", ["api", "shelf", "search"]) => Ok(Reply::json(&shelf::search(desk, &from_json(body)?)?)),
        ("POST", ["api", "shelf", "compare"]) => {
            Ok(Reply::json(&shelf::side_by_side(desk, &from_json(body)?)?))
        }
        ("GET", ["api", "shelf", report @ ("report.html" | "report.pdf")]) => {
            let sheet = parameter(query, "sheet").ok_or_else(|| Problem::missing("the sheet"))?;
            shelf::report(desk, &sheet, &papers::ReportQuery::parse(query, *report == "report.pdf"))
        }
        _ => Err(Problem::missing("this part of the desk")),
    }
}

fn number(id: &str) -> Result<u64, Problem> {
    id.parse().map_err(|_| Problem::missing("the photo"))
}

fn upload(desk: &Desk, photo: &[u8], query: &str) -> Result<Reply, Problem> {
    let name = parameter(query, "name").unwrap_or_else(|| "photo".into());
    Ok(Reply::json(&json!({ "id": desk.photos.add(&name, photo, Edits::default())? })))
}

fn sample(desk: &Desk) -> Result<Reply, Problem> {
    let seat_lift = SAMPLE_HEIGHTS_MM.map(|(at, mm)| (at, mm.into())).to_vec();
    let edits = Edits { name: "Willow (invented)".into(), seat_lift, ..Edits::default() };
    Ok(Reply::json(&json!({ "id": desk.photos.add("willow.jpg", SAMPLE, edits)? })))
}

/// The upright photo, or a reduced one whose longer side has the given number of pixels.
fn picture(desk: &Desk, item: &DeskPhoto, query: &str) -> Result<Reply, Problem> {
    let side = parameter(query, "side").and_then(|s| s.parse().ok()).unwrap_or(usize::MAX);
    let photo = desk.photos.photo(item)?;
    let (rgb, width, height) = photo.thumbnail_rgb(side);
    let mut jpeg = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, PICTURE_QUALITY)
        .encode(&rgb, width as u32, height as u32, image::ExtendedColorType::Rgb8)
        .context("the picture could not be encoded")?;
    Ok(Reply::picture(jpeg))
}

/// The photo check: what the photo is worth before anything is traced.
fn judged(desk: &Desk, item: &DeskPhoto) -> Result<serde_json::Value, Problem> {
    let judgement = desk.photos.judge(item)?;
    let (verdict, headline) = (judgement.verdict, judgement.headline());
    Ok(json!({ "verdict": verdict, "headline": headline, "reasons": judgement.reasons }))
}

fn verdicts(desk: &Desk, measured: PhotoResult) -> Result<Reply, Problem> {
    let assessment = rider::assess_saddle(desk, std::slice::from_ref(&measured.sheet))?;
    let verdicts =
        crate::report::judged::verdicts(&assessment, &desk.rules, std::slice::from_ref(&measured.sheet));
    let mut notes = [verdicts.answer, verdicts.rules].concat();
    notes.iter_mut().for_each(|note| note.text = on_desk(&note.text));
    Ok(Reply::json(&json!({
        "rider": assessment.rider,
        "for_a_rider": desk.rider.get().is_some(),
        "notes": notes,
        "cautions": assessment.cautions,
    })))
}
