//! Who may read the page: browsers of this computer that were given the printed address, and pages of no other site.
//!
//! A name of another site that is made to point at this computer fails by its `Host`; another site's script by its
//! `Origin` and `Sec-Fetch-Site` (Fetch Metadata Request Headers, W3C); whoever does not know the token by the cookie
//! (RFC 6265).
//!
//! ## Decisions
//!
//! - Whoever has the printed token gets a cookie with the port in its name, because cookies do not distinguish ports.
//!   Then `Host`, `Origin` and `Sec-Fetch-Site` are checked on every request; same-site requests from other ports are
//!   refused too.

use std::io::Read as _;

use axum::http::header::{COOKIE, HOST, ORIGIN};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::Response;

/// What a request has to show.
pub(super) struct Guard {
    hosts: [String; 2],
    origins: [String; 2],
    cookie: String,
    token: blake3::Hash,
}

/// A request that is not answered, and why not.
pub(super) type Refusal = (StatusCode, &'static str);

/// 256 random bits of the system, in hexadecimal.
pub(super) fn token() -> std::io::Result<String> {
    let mut bits = [0_u8; 32];
    std::fs::File::open("/dev/urandom")?.read_exact(&mut bits)?;
    Ok(bits.iter().map(|byte| format!("{byte:02x}")).collect())
}

impl Guard {
    pub(super) fn new(port: u16, token: &str) -> Self {
        let hosts = ["127.0.0.1", "localhost"].map(|host| format!("{host}:{port}"));
        let origins = hosts.clone().map(|host| format!("http://{host}"));
        // Cookies do not know ports: the name keeps two pages apart.
        Self { hosts, origins, cookie: format!("stillpath-{port}"), token: blake3::hash(token.as_bytes()) }
    }

    /// Whether a request comes from a page of ours, or from none.
    ///
    /// # Errors
    /// The refusal.
    pub(super) fn check_source(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let one = |name| {
            let mut values = headers.get_all(name).iter();
            let first = values.next().map(|value| value.to_str().unwrap_or(""));
            (first, values.next().is_some())
        };
        let (host, again) = one(HOST);
        if again || !host.is_some_and(|host| self.hosts.iter().any(|own| own == host)) {
            return Err((StatusCode::MISDIRECTED_REQUEST, "this page answers to 127.0.0.1 only"));
        }
        let (origin, again) = one(ORIGIN);
        if again || origin.is_some_and(|origin| !self.origins.iter().any(|own| own == origin)) {
            return Err((StatusCode::FORBIDDEN, "another site's page may not read this one"));
        }
        let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
        if site.is_some_and(|site| site != b"same-origin" && site != b"none") {
            return Err((StatusCode::FORBIDDEN, "another site's page may not read this one"));
        }
        Ok(())
    }

    /// Whether a token is the printed one, in a time that does not tell how nearly.
    pub(super) fn is_token(&self, given: &str) -> bool {
        // Equality of hashes takes the same time whatever they are.
        blake3::hash(given.as_bytes()) == self.token
    }

    /// Whether a request brings the cookie.
    ///
    /// # Errors
    /// The refusal.
    pub(super) fn check_cookie(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let cookies = headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut ours = cookies.flat_map(|text| text.split(';')).filter_map(|pair| pair.trim().split_once('='));
        if ours.any(|(name, value)| name == self.cookie && self.is_token(value)) {
            return Ok(());
        }
        Err((StatusCode::UNAUTHORIZED, "open the whole address that `stillpath live` printed, with its token"))
    }

    /// The cookie that takes a token's place.
    pub(super) fn set_cookie(&self, token: &str) -> String {
        format!("{}={token}; HttpOnly; SameSite=Strict; Path=/", self.cookie)
    }
}

/// Adds to an answer what keeps it from being used in any other way.
pub(super) fn seal(mut response: Response) -> Response {
    let policy = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(policy));
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    headers.insert("cross-origin-opener-policy", HeaderValue::from_static("same-origin"));
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}
