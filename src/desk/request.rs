//! Reading a request: its body within limits, its JSON, its query parameters.

use std::time::Duration;

use http_body_util::BodyExt;
use hyper::body::{Body, Bytes, Incoming};
use serde::de::DeserializeOwned;

use super::response::Problem;

/// Limit for a request that carries no photo.
pub const MOST_JSON_BYTES: u64 = 256 * 1024;
/// Time for a body to arrive: 100 MB over a slow wireless network take half a minute.
const BODY_TIMEOUT: Duration = Duration::from_secs(120);

/// Reads a request's body of at most `most` bytes. The declared length is checked before anything is read.
///
/// # Errors
/// A body that is longer, has no declared length, or does not arrive in time.
pub async fn read_body(body: Incoming, most: u64) -> Result<Bytes, Problem> {
    match body.size_hint().exact() {
        None => Err(Problem::new(411, "the request does not say how long it is", "load the page again")),
        Some(declared) if declared > most => Err(too_long(most)),
        Some(_) => match tokio::time::timeout(BODY_TIMEOUT, body.collect()).await {
            Ok(Ok(collected)) => Ok(collected.to_bytes()),
            _ => Err(Problem::new(400, "the file did not arrive complete", "choose it again")),
        },
    }
}

fn too_long(most: u64) -> Problem {
    match most / 1_000_000 {
        0 => {
            let text = format!("the request is longer than {} kB", most / 1000);
            Problem::new(413, text, "load the page again")
        }
        megabytes => {
            let text = format!("the file is larger than {megabytes} MB");
            Problem::new(413, text, "use the photo as the phone made it")
        }
    }
}

/// Parses a body as JSON.
///
/// # Errors
/// Anything but the JSON expected.
pub fn from_json<T: DeserializeOwned>(body: &[u8]) -> Result<T, Problem> {
    serde_json::from_slice(body).map_err(|e| {
        Problem::new(400, format!("the desk does not understand the page: {e}"), "load the page again")
    })
}

/// A parameter of the query, decoded.
pub fn parameter(query: &str, name: &str) -> Option<String> {
    form_urlencoded::parse(query.as_bytes()).find(|(key, _)| key == name).map(|(_, value)| value.into_owned())
}
