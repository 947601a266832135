//! Who may speak to the desk: a browser of this machine that was opened with the printed address, and nobody on behalf of
//! another page.
//!
//! Three checks, each enough against its own attack: the `Host` must be one of the desk's own names (a name of another's that
//! was made to point here), a request that changes anything must come from the desk's own page (`Origin`, and
//! `Sec-Fetch-Site` where the browser sends it), and every request must carry the key, which only the printed address has.

use axum::http::request::Parts;
use axum::http::{Method, header};
use sha2::{Digest, Sha256};

/// What a request says of itself, as far as the guard looks.
#[derive(Debug, Clone, Default)]
pub struct Claims {
    /// The `Host` header.
    pub host: Option<String>,
    /// The `Origin` header.
    pub origin: Option<String>,
    /// The `Sec-Fetch-Site` header.
    pub fetch_site: Option<String>,
    /// The key in the cookie.
    pub key: Option<String>,
    /// Whether the request only looks.
    pub only_looks: bool,
}

/// Why a request is turned away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Denial {
    /// It speaks to another name.
    Host,
    /// It comes from another page.
    Origin,
    /// It has no key, or a wrong one.
    Key,
}

/// The desk's names and its key.
#[derive(Debug, Clone)]
pub struct Guard {
    hosts: Vec<String>,
    key: String,
    cookie: String,
}

impl Guard {
    /// The guard of a desk that is reached under these hosts, each `name:port`.
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

    /// The cookie that carries the key: read by no script, sent by no other site's page.
    pub fn set_cookie(&self) -> String {
        format!("{}={}; HttpOnly; SameSite=Strict; Path=/", self.cookie, self.key)
    }

    /// What a request says of itself.
    pub fn claims(&self, head: &Parts) -> Claims {
        let said = |name: &str| head.headers.get(name).and_then(|v| v.to_str().ok()).map(str::to_owned);
        let name = format!("{}=", self.cookie);
        let key = said(header::COOKIE.as_str())
            .and_then(|all| all.split(';').find_map(|one| one.trim().strip_prefix(&name).map(str::to_owned)));
        Claims {
            host: said(header::HOST.as_str()),
            origin: said(header::ORIGIN.as_str()),
            fetch_site: said("sec-fetch-site"),
            key,
            only_looks: matches!(head.method, Method::GET | Method::HEAD),
        }
    }

    /// Whether the key given is the key; takes the same time wherever they differ.
    pub fn is_key(&self, given: &str) -> bool {
        Sha256::digest(given) == Sha256::digest(&self.key)
    }

    /// Whether the request speaks to the desk under one of its names.
    ///
    /// # Errors
    /// Where it does not.
    pub fn admit_host(&self, claims: &Claims) -> Result<(), Denial> {
        let known = claims.host.as_ref().is_some_and(|host| self.hosts.contains(host));
        if known { Ok(()) } else { Err(Denial::Host) }
    }

    /// Whether the request may be answered.
    ///
    /// # Errors
    /// The first check that it fails.
    pub fn admit(&self, claims: &Claims) -> Result<(), Denial> {
        self.admit_host(claims)?;
        let own = |origin: &String| {
            origin.strip_prefix("http://").is_some_and(|host| Some(host) == claims.host.as_deref())
        };
        let from_own_page = match &claims.origin {
            Some(origin) => own(origin),
            None => claims.only_looks,
        };
        let site_agrees =
            claims.fetch_site.as_deref().is_none_or(|site| matches!(site, "same-origin" | "none"));
        if !(from_own_page && site_agrees) {
            return Err(Denial::Origin);
        }
        if claims.key.as_deref().is_some_and(|key| self.is_key(key)) { Ok(()) } else { Err(Denial::Key) }
    }
}

/// 128 random bits in hexadecimal, from the machine's source for secrets.
fn random_key() -> std::io::Result<String> {
    let mut bytes = [0u8; 16];
    getrandom::fill(&mut bytes).map_err(std::io::Error::other)?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn guard() -> Guard {
        Guard::new(vec!["127.0.0.1:9".into()], 9).unwrap()
    }

    fn honest(guard: &Guard) -> Claims {
        Claims {
            host: Some("127.0.0.1:9".into()),
            origin: Some("http://127.0.0.1:9".into()),
            fetch_site: Some("same-origin".into()),
            key: Some(guard.key().into()),
            only_looks: false,
        }
    }

    #[test]
    fn the_own_page_is_let_in() {
        let guard = guard();
        assert_eq!(guard.admit(&honest(&guard)), Ok(()));
        let looks =
            Claims { origin: None, fetch_site: Some("none".into()), only_looks: true, ..honest(&guard) };
        assert_eq!(guard.admit(&looks), Ok(()));
    }

    #[test]
    fn each_lie_is_turned_away_by_its_own_check() {
        let guard = guard();
        let honest = honest(&guard);
        let some = |text: &str| Some(text.to_owned());
        let cases = [
            (
                Claims {
                    host: some("evil.example:9"),
                    origin: some("http://evil.example:9"),
                    ..honest.clone()
                },
                Denial::Host,
            ),
            (Claims { host: None, ..honest.clone() }, Denial::Host),
            (Claims { origin: some("http://evil.example"), ..honest.clone() }, Denial::Origin),
            (Claims { origin: some("null"), ..honest.clone() }, Denial::Origin),
            (Claims { origin: None, ..honest.clone() }, Denial::Origin),
            (Claims { fetch_site: some("cross-site"), ..honest.clone() }, Denial::Origin),
            (Claims { fetch_site: some("same-site"), only_looks: true, ..honest.clone() }, Denial::Origin),
            (Claims { key: None, ..honest.clone() }, Denial::Key),
            (Claims { key: some("0123"), ..honest.clone() }, Denial::Key),
        ];
        for (claims, denial) in cases {
            assert_eq!(guard.admit(&claims), Err(denial), "{claims:?}");
        }
    }

    #[test]
    fn no_two_desks_have_one_key() {
        assert_ne!(guard().key(), guard().key());
        assert_eq!(guard().key().len(), 32);
    }
}
