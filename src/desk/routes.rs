//! From a request to its answer. The interface is described in `docs/desk.md`.

use std::sync::Arc;

use anyhow::Context;
use axum::body::Body;
use axum::http::request::Parts;
use axum::http::{Method, Request, Response};
use serde_json::json;

use super::answer::{Answer, MOST_JSON_BYTES, Trouble, body, from_json};
use super::edits::Edits;
use super::guard::Denial;
use super::item::Item;
use super::opened::Measured;
use super::photos::MOST_PHOTO_BYTES;
use super::query::parameter;
use super::{Room, assets, keep, lens, papers, rider, shelf};

/// The sample: a rendered photo of an invented saddle, with the lift that belongs to it.
const SAMPLE: &[u8] = include_bytes!("../../fixtures/demo/willow.jpg");
const SAMPLE_LIFT: [[f64; 2]; 5] = [[0.0, 44.0], [0.25, 26.0], [0.5, 11.0], [0.75, 31.0], [1.0, 68.0]];
/// Quality of pictures for the page (JPEG): finer than an eye sees at one pixel to a pixel.
const PICTURE_QUALITY: u8 = 88;

/// Answers one request.
pub async fn answer(room: Arc<Room>, request: Request<Body>) -> Response<Body> {
    let (head, body) = request.into_parts();
    let answer = match admitted(&room, &head) {
        Some(other) => other,
        None => arrived(room, head, body).await.unwrap_or_else(Answer::from),
    };
    answer.response()
}

/// The answer to a request that goes no further: the address with the key, and whoever is turned away.
fn admitted(room: &Room, head: &Parts) -> Option<Answer> {
    let claims = room.guard.claims(head);
    if let Some(key) = address(head).strip_prefix("/?key=")
        && claims.only_looks
        && room.guard.admit_host(&claims).is_ok()
        && room.guard.is_key(key)
    {
        return Some(Answer::welcome(room.guard.set_cookie()));
    }
    let text = match room.guard.admit(&claims) {
        Ok(()) => return None,
        Err(Denial::Key) => "Open the desk with the address that seatspan desk printed: it holds the key.",
        Err(Denial::Host | Denial::Origin) => "The desk answers its own page only.",
    };
    Some(Answer::refused(text))
}

/// Path and query of a request.
fn address(head: &Parts) -> &str {
    head.uri.path_and_query().map_or("/", |whole| whole.as_str())
}

/// Reads what an admitted request brings, and answers it on a thread of its own: walks take seconds.
async fn arrived(room: Arc<Room>, head: Parts, content: Body) -> Result<Answer, Trouble> {
    let is_photo = head.method == Method::POST && head.uri.path() == "/api/photos";
    let most = if is_photo { MOST_PHOTO_BYTES } else { MOST_JSON_BYTES };
    let brings = matches!(head.method, Method::POST | Method::PUT);
    let bytes = if brings { body(&head, content, most).await? } else { Vec::new() };
    let answered = tokio::task::spawn_blocking(move || route(&room, &head, &bytes)).await;
    answered.context("the program failed on this request")?
}

fn route(room: &Room, head: &Parts, body: &[u8]) -> Result<Answer, Trouble> {
    let (path, query) = (head.uri.path(), head.uri.query().unwrap_or_default());
    if head.method == Method::GET
        && let Some(file) = assets::file(path)
    {
        return Ok(file);
    }
    let parts: Vec<&str> = path.trim_start_matches('/').split('/').collect();
    match (head.method.as_str(), parts.as_slice()) {
        ("GET", ["api", "photos"]) => Ok(Answer::json(&room.photos.list())),
        ("POST", ["api", "photos"]) => upload(room, body, query),
        ("POST", ["api", "sample"]) => sample(room),
        ("GET", ["api", "photos", id]) => Ok(Answer::json(&room.photos.get(number(id)?)?.whole())),
        ("DELETE", ["api", "photos", id]) => {
            room.photos.remove(number(id)?)?;
            Ok(Answer::json(&json!({})))
        }
        ("PUT", ["api", "photos", id, "edits"]) => {
            let edits: Edits = from_json(body)?;
            Ok(Answer::json(&room.photos.edit(number(id)?, edits)?))
        }
        ("GET", ["api", "photos", id, "picture"]) => picture(room, &*room.photos.get(number(id)?)?, query),
        ("GET", ["api", "photos", id, "verdicts"]) => {
            let measured = room.photos.get(number(id)?)?.measured()?;
            verdicts(room, measured)
        }
        ("POST", ["api", "photos", id, "keep"]) => {
            let wish = from_json(body)?;
            Ok(Answer::json(&keep::keep(room, &room.photos.get(number(id)?)?, &wish)?))
        }
        ("GET", ["api", "photos", id, "check"]) => {
            let item = room.photos.get(number(id)?)?;
            Ok(Answer::json(&judged(room, &item)?))
        }
        ("GET", ["api", "photos", id, "lenses"]) => {
            let photo = room.photos.photo(&*room.photos.get(number(id)?)?)?;
            Ok(Answer::json(&lens::lenses(&room.folder, &photo)))
        }
        ("GET", ["api", "photos", id, report @ ("report.html" | "report.pdf")]) => {
            let item = room.photos.get(number(id)?)?;
            let photo = (*room.photos.photo(&item)?).clone();
            let wish = papers::Wish::of(query, *report == "report.pdf");
            papers::report(room, &item.measured()?.sheet, Ok(photo), wish)
        }
        ("GET", ["api", "card.pdf"]) => papers::card(query),
        ("GET", ["api", "guide.pdf"]) => papers::guide(query),
        ("GET", ["api", "rider"]) => Ok(Answer::json(&rider::riders(room))),
        ("PUT", ["api", "rider"]) => {
            room.rider.choose(&from_json(body)?, &room.rules)?;
            Ok(Answer::json(&rider::riders(room)))
        }
        ("POST", ["api", "rider", "keep"]) => Ok(Answer::json(&rider::keep(room, &from_json(body)?)?)),
        ("POST", ["api", "shelf", "search"]) => Ok(Answer::json(&shelf::search(room, &from_json(body)?)?)),
        ("POST", ["api", "shelf", "compare"]) => {
            Ok(Answer::json(&shelf::side_by_side(room, &from_json(body)?)?))
        }
        ("GET", ["api", "shelf", report @ ("report.html" | "report.pdf")]) => {
            let sheet = parameter(query, "sheet").ok_or_else(|| Trouble::missing("the sheet"))?;
            shelf::report(room, &sheet, papers::Wish::of(query, *report == "report.pdf"))
        }
        _ => Err(Trouble::missing("what was asked for")),
    }
}

fn number(id: &str) -> Result<u64, Trouble> {
    id.parse().map_err(|_| Trouble::missing("the photo"))
}

fn upload(room: &Room, photo: &[u8], query: &str) -> Result<Answer, Trouble> {
    let name = parameter(query, "name").unwrap_or_else(|| "photo".into());
    Ok(Answer::json(&json!({ "id": room.photos.add(&name, photo, Edits::default())? })))
}

fn sample(room: &Room) -> Result<Answer, Trouble> {
    let edits =
        Edits { name: "Willow (invented)".into(), seat_lift: SAMPLE_LIFT.to_vec(), ..Edits::default() };
    Ok(Answer::json(&json!({ "id": room.photos.add("willow.jpg", SAMPLE, edits)? })))
}

/// The upright photo, whole or reduced so that its longer side has so many pixels.
fn picture(room: &Room, item: &Item, query: &str) -> Result<Answer, Trouble> {
    let side = parameter(query, "side").and_then(|s| s.parse().ok()).unwrap_or(usize::MAX);
    let photo = room.photos.photo(item)?;
    let (rgb, width, height) = photo.thumbnail_rgb(side);
    let mut jpeg = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, PICTURE_QUALITY)
        .encode(&rgb, width as u32, height as u32, image::ExtendedColorType::Rgb8)
        .context("the picture could not be made")?;
    Ok(Answer::picture(jpeg))
}

/// Judgement of a photo.
fn judged(room: &Room, item: &Item) -> Result<serde_json::Value, Trouble> {
    let judgement = room.photos.judge(item)?;
    let (verdict, headline) = (judgement.verdict, judgement.headline());
    Ok(json!({ "verdict": verdict, "headline": headline, "reasons": judgement.reasons }))
}

fn verdicts(room: &Room, measured: Measured) -> Result<Answer, Trouble> {
    let assessment = rider::assessed(room, std::slice::from_ref(&measured.sheet))?;
    let told = crate::report::judged::verdicts(&assessment, &room.rules, &measured.sheet);
    Ok(Answer::json(&json!({
        "rider": assessment.rider,
        "for_a_rider": room.rider.get().is_some(),
        "notes": told.notes,
        "cautions": assessment.cautions,
    })))
}
