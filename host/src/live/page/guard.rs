//! Who may see and do what.
//!
//! | from | see | press buttons |
//! | --- | --- | --- |
//! | this computer (loopback) | anyone | with the key |
//! | elsewhere (`--listen`) | with the key | with the key |
//!
//! The key is a cookie that a browser gets for a link shown in the terminal; each link serves once. Beyond that: a request must
//! name a host that we are (else another site could lead a browser here under its own name), a button's request must come from
//! this very page, nothing is shared across origins, and the page may load nothing from elsewhere.

use std::{
    net::SocketAddr,
    sync::{Mutex, PoisonError},
};

use axum::http::{HeaderMap, Method, StatusCode, header};
use subtle::ConstantTimeEq;

/// What a link without a port means (RFC 9110, section 4.2.1).
const HTTP_PORT: u16 = 80;

/// Ten hours: a long day in the shop.
const KEY_LASTS_S: u32 = 36_000;

/// Said to whoever comes without the key.
const NO_KEY: &str = "Open the link that the computer's terminal shows (key l); it serves once.";

/// See the module's documentation.
#[derive(Debug)]
pub struct Guard {
    /// The page is served beyond this computer.
    wide: bool,
    address: SocketAddr,
    hosts: Vec<String>,
    cookie: String,
    key: String,
    /// What the next link carries.
    ticket: Mutex<String>,
}

/// Why a request is refused.
pub(super) type Refusal = (StatusCode, &'static str);

impl Guard {
    /// For a page at `address`.
    ///
    /// # Errors
    /// When the system has no random numbers.
    pub fn new(address: SocketAddr, wide: bool) -> Result<Self, getrandom::Error> {
        let port = address.port();
        let mut names = ["localhost", "127.0.0.1", "[::1]"].map(str::to_owned).to_vec();
        // The link that is shown must open. An address that is written out cannot be another site's name.
        names.push(if address.is_ipv4() { address.ip().to_string() } else { format!("[{}]", address.ip()) });
        let mut hosts: Vec<String> = names.iter().map(|name| format!("{name}:{port}")).collect();
        // Browsers leave the port out where it is the one that http stands for: RFC 9110, sections 4.2.1 and 7.2.
        if port == HTTP_PORT {
            hosts.append(&mut names);
        }
        Ok(Self {
            wide,
            address,
            hosts,
            // Cookies do not tell ports apart.
            cookie: format!("steadypass_{port}"),
            key: secret()?,
            ticket: Mutex::new(secret()?),
        })
    }

    /// Whether the page is served beyond this computer.
    pub fn is_wide(&self) -> bool {
        self.wide
    }

    /// The link that serves once.
    pub fn link(&self) -> String {
        let ticket = self.ticket.lock().unwrap_or_else(PoisonError::into_inner);
        format!("http://{}/?k={ticket}", self.address)
    }

    /// Whether a request names a host that we are.
    pub(super) fn knows_host(&self, headers: &HeaderMap) -> bool {
        let host = headers.get(header::HOST).and_then(|host| host.to_str().ok());
        host.is_some_and(|host| self.hosts.iter().any(|known| known.eq_ignore_ascii_case(host)))
    }

    /// Takes a ticket; the cookie for it, or `None` when it is not (or no longer) the right one.
    pub(super) fn redeem(&self, ticket: &str) -> Option<String> {
        let mut current = self.ticket.lock().unwrap_or_else(PoisonError::into_inner);
        // An empty one is what is left when no further link could be made.
        if ticket.is_empty() || !bool::from(current.as_bytes().ct_eq(ticket.as_bytes())) {
            return None;
        }
        // Without random numbers there will be no further link, rather than a guessable one.
        *current = secret().unwrap_or_default();
        Some(format!("{}={}; Path=/; HttpOnly; SameSite=Strict; Max-Age={KEY_LASTS_S}", self.cookie, self.key))
    }

    /// Whether a request carries the key.
    pub(super) fn has_key(&self, headers: &HeaderMap) -> bool {
        headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|line| line.to_str().ok())
            .flat_map(|line| line.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .any(|(name, value)| name == self.cookie && bool::from(value.as_bytes().ct_eq(self.key.as_bytes())))
    }

    /// Whether a request may pass.
    ///
    /// # Errors
    /// The answer to give when it may not.
    pub(super) fn check(&self, method: &Method, headers: &HeaderMap) -> Result<(), Refusal> {
        if !self.knows_host(headers) {
            return Err((StatusCode::MISDIRECTED_REQUEST, "This page is not known by that name."));
        }
        let reads = matches!(*method, Method::GET | Method::HEAD);
        if (self.wide || !reads) && !self.has_key(headers) {
            return Err((StatusCode::UNAUTHORIZED, NO_KEY));
        }
        if !reads && !self.is_from_our_page(headers) {
            return Err((StatusCode::FORBIDDEN, "Only this page's own buttons may do that."));
        }
        Ok(())
    }

    /// Browsers say where a request comes from; those that send neither of both cannot be told from other programs.
    fn is_from_our_page(&self, headers: &HeaderMap) -> bool {
        let text = |name| headers.get(name).map(|value| value.to_str().unwrap_or_default());
        let site = text(header::HeaderName::from_static("sec-fetch-site"));
        let origin = text(header::ORIGIN);
        let ours = |origin: &str| {
            origin.strip_prefix("http://").is_some_and(|host| self.hosts.iter().any(|k| k.eq_ignore_ascii_case(host)))
        };
        site.is_none_or(|site| site == "same-origin") && origin.is_some_and(ours)
    }
}

/// 128 random bits in hexadecimal.
fn secret() -> Result<String, getrandom::Error> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes)?;
    Ok(hex::encode(bytes))
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        pairs.iter().map(|(name, value)| (name.parse().unwrap(), HeaderValue::from_str(value).unwrap())).collect()
    }

    fn guard(wide: bool) -> Guard {
        guard_at(if wide { "192.0.2.7:4747" } else { "127.0.0.1:4747" }, wide)
    }

    fn guard_at(address: &str, wide: bool) -> Guard {
        Guard::new(address.parse().unwrap(), wide).unwrap()
    }

    fn cookie(guard: &Guard) -> String {
        let ticket = guard.link().split_once("?k=").unwrap().1.to_owned();
        guard.redeem(&ticket).unwrap().split_once(';').unwrap().0.to_owned()
    }

    #[test]
    fn a_link_serves_once_and_the_next_one_differs() {
        let guard = guard(true);
        let first = guard.link();
        let ticket = first.split_once("?k=").unwrap().1;
        assert_eq!(ticket.len(), 32);
        assert!(guard.redeem("").is_none() && guard.redeem("0").is_none());
        assert!(guard.redeem(ticket).unwrap().contains("HttpOnly; SameSite=Strict"));
        assert!(guard.redeem(ticket).is_none(), "a second time");
        assert_ne!(guard.link(), first);
    }

    #[test]
    fn an_empty_ticket_opens_nothing_even_when_no_further_link_could_be_made() {
        let guard = guard(true);
        guard.ticket.lock().unwrap().clear(); // as after the system's random numbers failed
        assert!(guard.redeem("").is_none());
    }

    #[test]
    fn a_foreign_name_is_refused_whatever_else_is_right() {
        let guard = guard(false);
        let key = cookie(&guard);
        for host in ["evil.example:4747", "localhost", "localhost:80", "192.0.2.7:4747", ""] {
            let refused = guard.check(&Method::GET, &headers(&[("host", host), ("cookie", &key)]));
            assert_eq!(refused.unwrap_err().0, StatusCode::MISDIRECTED_REQUEST, "{host}");
        }
        assert!(guard.check(&Method::GET, &headers(&[("host", "LocalHost:4747")])).is_ok());
        assert!(guard.check(&Method::GET, &HeaderMap::new()).is_err());
    }

    #[test]
    fn the_host_of_the_link_shown_is_known() {
        for (address, wide) in [("127.0.0.2:4747", false), ("[::1]:4747", false), ("192.0.2.7:4747", true)] {
            let guard = guard_at(address, wide);
            assert!(guard.link().starts_with(&format!("http://{address}/")));
            assert!(guard.knows_host(&headers(&[("host", address)])), "{address}");
            assert!(!guard.knows_host(&headers(&[("host", "192.0.2.8:4747")])), "{address}");
        }
    }

    #[test]
    fn on_port_80_the_host_comes_without_a_port() {
        // As browsers send it: RFC 9110, sections 4.2.1 and 7.2.
        for (address, host) in
            [("127.0.0.1:80", "127.0.0.1"), ("192.0.2.7:80", "192.0.2.7"), ("[2001:db8::7]:80", "[2001:db8::7]")]
        {
            let guard = guard_at(address, true);
            let key = cookie(&guard);
            let origin = format!("http://{host}");
            let button = headers(&[("host", host), ("cookie", &key), ("origin", &origin)]);
            assert!(guard.check(&Method::POST, &button).is_ok(), "{host}");
            assert!(guard.knows_host(&headers(&[("host", address)])), "{address}");
            for foreign in ["evil.example", "evil.example:80", "127.0.0.1:4747"] {
                assert!(!guard.knows_host(&headers(&[("host", foreign)])), "{foreign} at {address}");
            }
        }
    }

    #[test]
    fn on_the_network_nothing_is_seen_without_the_key() {
        let guard = guard(true);
        let host = ("host", "192.0.2.7:4747");
        assert_eq!(guard.check(&Method::GET, &headers(&[host])).unwrap_err().0, StatusCode::UNAUTHORIZED);
        let wrong = headers(&[host, ("cookie", "steadypass_4747=0123456789abcdef0123456789abcdef")]);
        assert_eq!(guard.check(&Method::GET, &wrong).unwrap_err().0, StatusCode::UNAUTHORIZED);
        let key = cookie(&guard);
        assert!(guard.check(&Method::GET, &headers(&[host, ("cookie", &format!("a=b; {key}"))])).is_ok());
    }

    #[test]
    fn buttons_need_the_key_and_this_page() {
        let guard = guard(false);
        let (host, ours) = (("host", "127.0.0.1:4747"), ("origin", "http://127.0.0.1:4747"));
        let key = cookie(&guard);
        let cookie = ("cookie", key.as_str());
        let status = |pairs: &[(&'static str, &str)]| {
            guard.check(&Method::POST, &headers(pairs)).map_or_else(|(status, _)| status.as_u16(), |()| 200)
        };
        assert_eq!(status(&[host, ours]), 401, "on this computer, too");
        assert_eq!(status(&[host, cookie]), 403, "from nowhere");
        assert_eq!(status(&[host, cookie, ("origin", "http://evil.example")]), 403);
        assert_eq!(status(&[host, cookie, ("origin", "null")]), 403);
        assert_eq!(status(&[host, cookie, ours, ("sec-fetch-site", "cross-site")]), 403);
        assert_eq!(status(&[host, cookie, ours, ("sec-fetch-site", "same-origin")]), 200);
        assert_eq!(status(&[host, cookie, ours]), 200);
    }
}
