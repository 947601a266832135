//! What the desk answers with, and how a request's body is read within limits.

use std::time::Duration;

use axum::body::Body;
use axum::http::header::{self, HeaderName, HeaderValue};
use axum::http::request::Parts;
use axum::http::{Response, StatusCode};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::json;

/// Scripts, styles and pictures of the desk alone; nothing inline, nothing from elsewhere, in no other page's frame.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; \
    base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
/// A report brings its own styles and pictures and runs nothing.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; sandbox allow-downloads";
/// A request without a photo is short.
pub const MOST_JSON_BYTES: u64 = 256 * 1024;
/// A body must have arrived by then: 100 MB over a slow wireless network take half a minute.
const ARRIVED_WITHIN: Duration = Duration::from_secs(120);

/// An answer before it is sent.
#[derive(Debug)]
pub struct Answer {
    status: u16,
    kind: &'static str,
    policy: &'static str,
    further: Vec<(HeaderName, String)>,
    body: Vec<u8>,
}

/// What goes wrong with a request: what, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    status: u16,
    text: String,
    hint: String,
}

impl Trouble {
    /// A trouble with its HTTP status (RFC 9110).
    pub fn new(status: u16, text: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { status, text: text.into(), hint: hint.into() }
    }

    /// What is wrong, and what to do.
    pub fn words(self) -> [String; 2] {
        [self.text, self.hint]
    }

    /// What was asked for is not there.
    pub fn missing(what: &str) -> Self {
        Self::new(404, format!("{what} is not there any more"), "load the page again")
    }
}

/// The machine could not do its part.
impl From<anyhow::Error> for Trouble {
    fn from(error: anyhow::Error) -> Self {
        Self::new(500, format!("{error:#}"), "try again; if it stays, open the desk anew")
    }
}

impl From<Trouble> for Answer {
    fn from(trouble: Trouble) -> Self {
        let Trouble { status, text, hint } = trouble;
        Self { status, ..Self::json(&json!({ "text": text, "hint": hint })) }
    }
}

impl Answer {
    fn of(kind: &'static str, body: Vec<u8>) -> Self {
        Self { status: 200, kind, policy: PAGE_POLICY, further: Vec::new(), body }
    }

    /// JSON; a value that has none (which no type here allows) is told as an error of the machine.
    pub fn json(value: &impl Serialize) -> Self {
        match serde_json::to_vec(value) {
            Ok(body) => Self::of("application/json", body),
            Err(error) => Self { status: 500, ..Self::of("text/plain", error.to_string().into_bytes()) },
        }
    }

    /// A file of the page.
    pub fn asset(kind: &'static str, body: &'static [u8]) -> Self {
        Self::of(kind, body.to_vec())
    }

    /// A picture of a photo. The page keeps it while it is open; nothing of it is left in the browser's own store.
    pub fn picture(jpeg: Vec<u8>) -> Self {
        Self::of("image/jpeg", jpeg)
    }

    /// A report as a page.
    pub fn report(html: String) -> Self {
        Self { policy: REPORT_POLICY, ..Self::of("text/html; charset=utf-8", html.into_bytes()) }
    }

    /// A file to keep, under a name of letters, digits and hyphens.
    pub fn download(kind: &'static str, name: &str, body: Vec<u8>) -> Self {
        let disposition = (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\""));
        Self { further: vec![disposition], ..Self::of(kind, body) }
    }

    /// A plain text for people who came without the key.
    pub fn refused(text: &str) -> Self {
        Self { status: 403, ..Self::of("text/plain; charset=utf-8", text.as_bytes().to_vec()) }
    }

    /// On to the page, with the key in a cookie.
    pub fn welcome(cookie: String) -> Self {
        let further = vec![(header::LOCATION, "/".to_owned()), (header::SET_COOKIE, cookie)];
        Self { status: 303, further, ..Self::of("text/plain", Vec::new()) }
    }

    /// As it goes over the line.
    pub fn response(self) -> Response<Body> {
        let mut response = Response::new(Body::from(self.body));
        *response.status_mut() =
            StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let fixed = [
            (header::CONTENT_TYPE, self.kind),
            (header::CONTENT_SECURITY_POLICY, self.policy),
            (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
            (header::REFERRER_POLICY, "no-referrer"),
            (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
            (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
            (header::CACHE_CONTROL, "no-store"),
        ];
        let headers = response.headers_mut();
        headers.extend(fixed.map(|(name, value)| (name, HeaderValue::from_static(value))));
        for (name, value) in self.further {
            if let Ok(value) = HeaderValue::from_str(&value) {
                headers.insert(name, value);
            }
        }
        response
    }
}

/// The body of a request, at most so long. Its declared length is looked at before a byte is read.
///
/// # Errors
/// Where it is longer, its length is not declared, or it does not arrive whole and in time.
pub async fn body(head: &Parts, body: Body, most: u64) -> Result<Vec<u8>, Trouble> {
    let said = head.headers.get(header::CONTENT_LENGTH);
    let declared = said
        .and_then(|v| v.to_str().ok()?.parse::<u64>().ok())
        .ok_or_else(|| Trouble::new(411, "the request does not say how long it is", "load the page again"))?;
    if declared > most {
        return Err(too_long(most));
    }
    let arriving = tokio::time::timeout(ARRIVED_WITHIN, axum::body::to_bytes(body, most as usize));
    match arriving.await {
        Ok(Ok(bytes)) if bytes.len() as u64 == declared => Ok(bytes.into()),
        _ => Err(Trouble::new(400, "the file did not arrive whole", "choose it again")),
    }
}

/// What is brought is longer than `most` bytes.
fn too_long(most: u64) -> Trouble {
    match most / 1_000_000 {
        0 => {
            Trouble::new(413, format!("the request has more than {} kB", most / 1000), "load the page again")
        }
        megabytes => {
            let text = format!("the file has more than {megabytes} MB");
            Trouble::new(413, text, "send the photo as the phone made it")
        }
    }
}

/// The body of a request as JSON.
///
/// # Errors
/// Where it is none, or not the one expected.
pub fn from_json<T: DeserializeOwned>(body: &[u8]) -> Result<T, Trouble> {
    serde_json::from_slice(body).map_err(|e| {
        Trouble::new(400, format!("the page's request is not understood: {e}"), "load the page again")
    })
}
