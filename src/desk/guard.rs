//! Access to the desk: only for a browser that opened the printed address, and never on behalf of another page.
//!
//! Three independent checks, each against an attack of its own. `Host` must be one of the desk's own names (DNS
//! rebinding). A request that changes anything must come from the desk's own page: `Origin`, and `Sec-Fetch-Site`
//! where the browser sends it. Every request must carry the key, which only the printed address contains.

use hyper::header::{self, HeaderName};
use hyper::http::request::Parts;
use hyper::{Method, Uri};
use sha2::{Digest, Sha256};

use super::request::parameter;

/// Why a request is denied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Denial {
    /// It addresses another host.
    Host,
    /// It comes from another page.
    Origin,
    /// Its key is missing or wrong.
    Key,
}

impl Denial {
    /// What the browser shows.
    pub fn text(self) -> &'static str {
        match self {
            Self::Key => "Open the desk with the address that seatspan desk printed: it contains the key.",
            Self::Host | Self::Origin => "The desk serves its own page only.",
        }
    }
}

/// The desk's host names and its key.
#[derive(Debug, Clone)]
pub struct Guard {
    hosts: Vec<String>,
    key: String,
    cookie: String,
}

impl Guard {
    /// The guard of a desk reached under these hosts, each `name:port`.
    ///
    /// # Errors
    /// Where the machine has no random numbers.
    pub fn new(hosts: Vec<String>, port: u16) -> std::io::Result<Self> {
        Ok(Self { hosts, key: random_key()?, cookie: format!("seatspan-{port}") })
    }

    /// The key.
    pub fn key(&self) -> &str {
        &self.key
    }

    /// The cookie with the key: invisible to scripts, never sent from another site's page.
    pub fn set_cookie(&self) -> String {
        format!("{}={}; HttpOnly; SameSite=Strict; Path=/", self.cookie, self.key)
    }

    /// Whether a request opens the printed address.
    pub fn is_invited(&self, head: &Parts) -> bool {
        let given = |uri: &Uri| parameter(uri.query().unwrap_or_default(), "key");
        only_reads(head)
            && head.uri.path() == "/"
            && self.host(head).is_ok()
            && given(&head.uri).is_some_and(|key| self.is_key(&key))
    }

    /// Admits a request or says why not.
    ///
    /// # Errors
    /// The first check that fails.
    pub fn admit(&self, head: &Parts) -> Result<(), Denial> {
        let host = self.host(head)?;
        let from_own_page = match one(head, &header::ORIGIN) {
            Single::Absent => only_reads(head),
            Single::Value(origin) => origin.strip_prefix("http://") == Some(host),
            Single::Ambiguous => false,
        };
        let site_agrees = match one(head, &HeaderName::from_static("sec-fetch-site")) {
            Single::Absent => true,
            Single::Value(site) => matches!(site, "same-origin" | "none"),
            Single::Ambiguous => false,
        };
        if !(from_own_page && site_agrees) {
            return Err(Denial::Origin);
        }
        if self.key_in_cookie(head).is_some_and(|key| self.is_key(key)) { Ok(()) } else { Err(Denial::Key) }
    }

    fn host<'a>(&self, head: &'a Parts) -> Result<&'a str, Denial> {
        match one(head, &header::HOST) {
            Single::Value(host) if self.hosts.iter().any(|own| own == host) => Ok(host),
            _ => Err(Denial::Host),
        }
    }

    fn key_in_cookie<'a>(&self, head: &'a Parts) -> Option<&'a str> {
        let Single::Value(cookies) = one(head, &header::COOKIE) else { return None };
        cookies.split(';').find_map(|c| c.trim().strip_prefix(self.cookie.as_str())?.strip_prefix('='))
    }

    /// Compares hashes, so that the time says nothing of where the keys differ.
    fn is_key(&self, given: &str) -> bool {
        Sha256::digest(given) == Sha256::digest(&self.key)
    }
}

fn only_reads(head: &Parts) -> bool {
    matches!(head.method, Method::GET | Method::HEAD)
}

/// A header that may be given once.
enum Single<'a> {
    Absent,
    Value(&'a str),
    Ambiguous,
}

fn one<'a>(head: &'a Parts, name: &HeaderName) -> Single<'a> {
    let mut values = head.headers.get_all(name).iter();
    match (values.next(), values.next()) {
        (None, _) => Single::Absent,
        (Some(value), None) => value.to_str().map_or(Single::Ambiguous, Single::Value),
        _ => Single::Ambiguous,
    }
}

/// 128 random bits in hexadecimal, from the machine's cryptographic source.
fn random_key() -> std::io::Result<String> {
    let mut bytes = [0u8; 16];
    getrandom::fill(&mut bytes).map_err(std::io::Error::other)?;
    Ok(format!("{:032x}", u128::from_ne_bytes(bytes)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use hyper::Request;

    fn guard() -> Guard {
        Guard::new(vec!["127.0.0.1:9".into()], 9).unwrap()
    }

    /// A request of the desk's own page, with some headers replaced; an empty value leaves the header out.
    fn head(guard: &Guard, method: &str, replaced: &[(&str, &str)]) -> Parts {
        let cookie = format!("other=1; seatspan-9={}", guard.key());
        let own = [
            ("host", "127.0.0.1:9"),
            ("origin", "http://127.0.0.1:9"),
            ("sec-fetch-site", "same-origin"),
            ("cookie", cookie.as_str()),
        ];
        let kept = own.iter().filter(|(name, _)| replaced.iter().all(|(other, _)| other != name));
        let all = kept.chain(replaced).filter(|(_, value)| !value.is_empty());
        let request = all.fold(Request::builder().method(method), |r, (name, value)| r.header(*name, *value));
        request.body(()).unwrap().into_parts().0
    }

    #[test]
    fn the_own_page_is_admitted() {
        let guard = guard();
        assert_eq!(guard.admit(&head(&guard, "POST", &[])), Ok(()));
        let typed_address = [("origin", ""), ("sec-fetch-site", "none")];
        assert_eq!(guard.admit(&head(&guard, "GET", &typed_address)), Ok(()));
    }

    #[test]
    fn each_attack_fails_its_own_check() {
        let guard = guard();
        type Headers<'a> = &'a [(&'a str, &'a str)];
        let cases: [(&str, Headers, Denial); 10] = [
            ("POST", &[("host", "evil.example:9"), ("origin", "http://evil.example:9")], Denial::Host),
            ("POST", &[("host", "")], Denial::Host),
            ("POST", &[("origin", "http://evil.example")], Denial::Origin),
            ("POST", &[("origin", "null")], Denial::Origin),
            ("POST", &[("origin", "")], Denial::Origin),
            ("POST", &[("origin", "http://127.0.0.1:9"), ("origin", "http://evil.example")], Denial::Origin),
            ("POST", &[("sec-fetch-site", "cross-site")], Denial::Origin),
            ("GET", &[("sec-fetch-site", "same-site")], Denial::Origin),
            ("POST", &[("cookie", "")], Denial::Key),
            ("POST", &[("cookie", "seatspan-9=0123")], Denial::Key),
        ];
        for (method, replaced, denial) in cases {
            assert_eq!(guard.admit(&head(&guard, method, replaced)), Err(denial), "{replaced:?}");
        }
    }

    #[test]
    fn every_desk_has_a_key_of_its_own() {
        assert_ne!(guard().key(), guard().key());
        assert_eq!(guard().key().len(), 32);
    }
}
