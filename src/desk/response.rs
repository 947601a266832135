//! Replies of the desk, and problems with a request.

use http_body_util::Full;
use hyper::body::Bytes;
use hyper::header::{self, HeaderName, HeaderValue};
use hyper::{Response, StatusCode};
use serde::Serialize;
use serde_json::json;

use crate::instruction::on_desk;
use crate::refusal::Refusal;

/// Scripts, styles and pictures from the desk alone; nothing inline, no framing by other pages.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; \
    base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
/// A report contains its own styles and pictures, and runs no script.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; sandbox allow-downloads";
/// The page that follows the printed address. A redirect would not do: it would still belong to the navigation from
/// elsewhere, on which a browser sends no `SameSite=Strict` cookie.
const WELCOME: &str =
    "<!doctype html><title>seatspan desk</title><meta http-equiv=\"refresh\" content=\"0;url=/\">";

/// A response before it is sent.
#[derive(Debug)]
pub struct Reply {
    status: StatusCode,
    kind: &'static str,
    policy: &'static str,
    further: Vec<(HeaderName, String)>,
    body: Bytes,
}

/// A problem with a request: what is wrong, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    status: u16,
    text: String,
    hint: String,
}

impl Problem {
    /// A problem with its HTTP status (RFC 9110).
    pub fn new(status: u16, text: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { status, text: text.into(), hint: hint.into() }
    }

    /// What is wrong, and what to do.
    pub fn words(self) -> [String; 2] {
        [self.text, self.hint]
    }

    /// Something that no longer exists.
    pub fn missing(what: &str) -> Self {
        Self::new(404, format!("{what} is no longer there"), "load the page again")
    }
}

/// A photo that is refused outside of a measurement.
impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        Self::new(422, refusal.text, on_desk(&refusal.hint))
    }
}

/// A fault of the machine.
impl From<anyhow::Error> for Problem {
    fn from(error: anyhow::Error) -> Self {
        Self::new(500, format!("{error:#}"), "try again; if it fails again, restart the desk")
    }
}

impl From<Problem> for Reply {
    fn from(problem: Problem) -> Self {
        let Problem { status, text, hint } = problem;
        let status = StatusCode::from_u16(status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        Self { status, ..Self::json(&json!({ "text": text, "hint": hint })) }
    }
}

impl Reply {
    fn of(kind: &'static str, body: impl Into<Bytes>) -> Self {
        Self { status: StatusCode::OK, kind, policy: PAGE_POLICY, further: Vec::new(), body: body.into() }
    }

    /// JSON; a value without a JSON form, which no type here has, is an error of the program.
    pub fn json(value: &impl Serialize) -> Self {
        match serde_json::to_vec(value) {
            Ok(body) => Self::of("application/json", body),
            Err(error) => Self {
                status: StatusCode::INTERNAL_SERVER_ERROR,
                ..Self::of("text/plain", error.to_string())
            },
        }
    }

    /// A file of the page.
    pub fn asset(kind: &'static str, body: &'static [u8]) -> Self {
        Self::of(kind, body)
    }

    /// A photo's picture.
    pub fn picture(jpeg: Vec<u8>) -> Self {
        Self::of("image/jpeg", jpeg)
    }

    /// A report as a page.
    pub fn report(html: String) -> Self {
        Self { policy: REPORT_POLICY, ..Self::of("text/html; charset=utf-8", html) }
    }

    /// A file to save, under a name of letters, digits and hyphens.
    pub fn download(kind: &'static str, name: &str, body: Vec<u8>) -> Self {
        let disposition = (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\""));
        Self { further: vec![disposition], ..Self::of(kind, body) }
    }

    /// A plain text for a browser without the key.
    pub fn forbidden(text: &'static str) -> Self {
        Self { status: StatusCode::FORBIDDEN, ..Self::of("text/plain; charset=utf-8", text) }
    }

    /// The way to the page for a browser that opened the printed address, with the key in a cookie.
    pub fn welcome(cookie: String) -> Self {
        Self { further: vec![(header::SET_COOKIE, cookie)], ..Self::of("text/html; charset=utf-8", WELCOME) }
    }

    /// The HTTP response. Nothing stays in the browser's cache.
    pub fn response(self) -> Response<Full<Bytes>> {
        let mut response = Response::new(Full::new(self.body));
        *response.status_mut() = self.status;
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
