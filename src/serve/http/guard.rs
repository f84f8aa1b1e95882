//! Who may ask: this server's own pages, opened with the address that was printed at the start.
//!
//! A page of another site may send requests to a loopback address too. It is kept out by four checks, each of which
//! would do: the cookie (random, http-only, same-site, exchanged for a token that is good once), `Host` (against names
//! that are made to point here), `Origin` and `Sec-Fetch-Site` (against foreign pages). A browser sends a cookie to all
//! ports of a machine, so this one goes no further than a random path, below which all pages are. Sources: RFC 9110,
//! RFC 6454, W3C Fetch Metadata, RFC 6265bis for `SameSite` and for paths.

use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, OnceLock};

use axum::http::{HeaderMap, Method, Uri, header};

use crate::serve::folder::secret::{Secret, random_text};

/// Most tokens that wait to be used: the oldest go first.
const MOST_TOKENS: usize = 16;

/// The folder's secret, the tokens that nobody has used, and the addresses that the server listens on.
pub struct Guard {
    address: SocketAddr,
    secret: Secret,
    tokens: Mutex<Vec<String>>,
    /// For a phone, once somebody has asked for it.
    network: OnceLock<SocketAddr>,
}

/// What a request that may go on is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pass {
    /// From a page of this server.
    Known,
    /// With the start's token, to be exchanged for the cookie.
    Token,
}

/// Why a request is turned away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// Asked under a foreign name.
    #[error("this page cannot be opened under that address")]
    Host,
    /// Asked by a foreign page.
    #[error("the request came from a page of another site")]
    Origin,
    /// Asked without the cookie.
    #[error("this page is private to whoever started it")]
    Unknown,
}

impl Refusal {
    /// What to do about it.
    pub fn hint(self) -> &'static str {
        match self {
            Refusal::Host => "open the whole address that `runtrue serve` printed",
            Refusal::Unknown => {
                "each printed address opens once: go on in the browser that opened it, or start `runtrue serve` again"
            }
            Refusal::Origin => "use the page that `runtrue serve` opened",
        }
    }
}

impl Guard {
    /// A guard of the folder with this secret, for a server on `address`.
    pub fn new(address: SocketAddr, secret: Secret) -> Self {
        Self { address, secret, tokens: Mutex::default(), network: OnceLock::new() }
    }

    /// An address to open on this machine, with a token that is good once.
    pub fn invite(&self) -> String {
        self.invite_to(self.shown_address())
    }

    /// The same under `address`.
    pub fn invite_to(&self, address: SocketAddr) -> String {
        let token = random_text();
        let mut tokens = self.tokens.lock().unwrap_or_else(|e| e.into_inner());
        if tokens.len() == MOST_TOKENS {
            tokens.remove(0);
        }
        tokens.push(token.clone());
        format!("http://{address}/?token={token}")
    }

    /// Takes back the token of an address that was not handed out.
    fn redeem(&self, token: &str) -> bool {
        let mut tokens = self.tokens.lock().unwrap_or_else(|e| e.into_inner());
        let found = tokens.iter().position(|open| same(open, token));
        found.map(|n| tokens.remove(n)).is_some()
    }

    /// Lets in whoever asks under `address` too: one for all the time that the server runs.
    pub fn open_to(&self, address: SocketAddr) {
        // Of two that ask at once the first counts.
        let _ = self.network.set(address);
    }

    /// The address that others on the network can open; `None` where the server is for this machine alone.
    pub fn network_address(&self) -> Option<SocketAddr> {
        self.network.get().copied()
    }

    /// The address that the server was started on.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// The address without a token, as a browser on this machine reaches it.
    pub fn shown_address(&self) -> SocketAddr {
        let ip = match self.address.ip() {
            IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::from([127, 0, 0, 1]),
            IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::from(std::net::Ipv6Addr::LOCALHOST),
            ip => ip,
        };
        SocketAddr::new(ip, self.address.port())
    }

    /// Path below which all pages are: `/`, random text, `/`.
    pub fn room(&self) -> String {
        format!("/{}/", self.secret.room)
    }

    /// `Set-Cookie` of a request that came with a token. The name carries the port: cookies of two servers on one
    /// machine share a jar.
    pub fn set_cookie(&self) -> String {
        format!("{}={}; Path={}; HttpOnly; SameSite=Strict", self.cookie_name(), self.secret.cookie, self.room())
    }

    fn cookie_name(&self) -> String {
        format!("runtrue-{}", self.address.port())
    }

    /// Whether the request may go on.
    ///
    /// # Errors
    /// [`Refusal`].
    pub fn check(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> Result<Pass, Refusal> {
        let text = |name: header::HeaderName| headers.get(name).map(|v| v.to_str().unwrap_or("?"));
        let host = text(header::HOST).filter(|h| self.is_own(h)).ok_or(Refusal::Host)?;
        let opening = method == Method::GET && uri.path() == "/";
        let token = uri.query().and_then(|q| q.split('&').find_map(|p| p.strip_prefix("token=")));
        if opening && token.is_some_and(|t| self.redeem(t)) {
            return Ok(Pass::Token);
        }
        let reading = matches!(*method, Method::GET | Method::HEAD);
        let origin = text(header::ORIGIN);
        let site = headers.get("sec-fetch-site").map(|v| v.to_str().unwrap_or("?"));
        let own_origin = origin.is_none_or(|o| o.strip_prefix("http://") == Some(host));
        let own_site = site.is_none_or(|s| s == "same-origin" || (s == "none" && reading));
        // What changes something must say where it comes from; browsers do.
        if !own_origin || !own_site || (!reading && origin.is_none() && site.is_none()) {
            return Err(Refusal::Origin);
        }
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok());
        let name = self.cookie_name();
        let known = cookies
            .flat_map(|c| c.split(';'))
            .filter_map(|c| c.trim().split_once('='))
            .any(|(n, value)| n == name && same(value, &self.secret.cookie));
        if known && uri.path().starts_with(&self.room()) { Ok(Pass::Known) } else { Err(Refusal::Unknown) }
    }

    /// A `Host` that this server answers under: its own address, or `localhost` where that is the same. A name that
    /// someone else could point here is none of them.
    fn is_own(&self, host: &str) -> bool {
        if self.network_address().is_some_and(|network| host.parse() == Ok(network)) {
            return true;
        }
        let bound = self.address.ip();
        // Browsers leave out the port of `http`.
        if self.address.port() == 80 && !host.ends_with(":80") {
            return self.is_own(&format!("{host}:80"));
        }
        if let Ok(asked) = host.parse::<SocketAddr>() {
            return asked.port() == self.address.port() && (bound.is_unspecified() || asked.ip() == bound);
        }
        let local = bound.is_loopback() || bound.is_unspecified();
        local && host.eq_ignore_ascii_case(&format!("localhost:{}", self.address.port()))
    }
}

/// Equality in a time that does not tell how much agrees.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |different, (x, y)| different | (x ^ y)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    fn check(address: &str, method: &str, uri: &str, headers: &[(&'static str, &str)]) -> Result<Pass, Refusal> {
        let secret = Secret { room: "r".repeat(64), cookie: "c".repeat(64) };
        let guard = Guard::new(address.parse().unwrap(), secret);
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            let value = value.replace("COOKIE", &format!("runtrue-4711={}", guard.secret.cookie));
            map.append(*name, value.parse().unwrap());
        }
        let invited = guard.invite();
        let token = invited.split_once("token=").unwrap().1;
        let uri: Uri = uri.replace("TOKEN", token).replace("/ROOM/", &guard.room()).parse().unwrap();
        guard.check(&method.parse().unwrap(), &uri, &map)
    }

    const HERE: &str = "127.0.0.1:4711";
    const HOST: (&str, &str) = ("host", HERE);
    const COOKIE: (&str, &str) = ("cookie", "a=b; COOKIE");

    #[rstest]
    #[case("GET", "/ROOM/", &[HOST, COOKIE], Ok(Pass::Known))]
    #[case("GET", "/ROOM/", &[("host", "localhost:4711"), COOKIE, ("sec-fetch-site", "none")], Ok(Pass::Known))]
    #[case("POST", "/ROOM/sheet", &[HOST, COOKIE, ("origin", "http://127.0.0.1:4711")], Ok(Pass::Known))]
    #[case("PUT", "/ROOM/drop/x", &[HOST, COOKIE, ("sec-fetch-site", "same-origin")], Ok(Pass::Known))]
    #[case("GET", "/?token=TOKEN", &[HOST, ("sec-fetch-site", "cross-site")], Ok(Pass::Token))]
    #[case("POST", "/?token=TOKEN", &[HOST], Err(Refusal::Origin))]
    #[case("GET", "/sheet?token=TOKEN", &[HOST], Err(Refusal::Unknown))]
    #[case("GET", "/?token=TOKENx", &[HOST], Err(Refusal::Unknown))]
    #[case("GET", "/?token=", &[HOST], Err(Refusal::Unknown))]
    #[case("GET", "/ROOM/", &[HOST], Err(Refusal::Unknown))]
    #[case("GET", "/", &[HOST, COOKIE], Err(Refusal::Unknown))]
    #[case("GET", "/sheet", &[HOST, COOKIE], Err(Refusal::Unknown))]
    #[case("GET", "/ROOM/", &[HOST, ("cookie", "runtrue-4712=COOKIE")], Err(Refusal::Unknown))]
    #[case("GET", "/ROOM/", &[COOKIE], Err(Refusal::Host))]
    #[case("GET", "/ROOM/", &[("host", "evil.example:4711"), COOKIE], Err(Refusal::Host))]
    #[case("GET", "/ROOM/", &[("host", "127.0.0.1:80"), COOKIE], Err(Refusal::Host))]
    #[case("GET", "/ROOM/", &[("host", "127.0.0.1"), COOKIE], Err(Refusal::Host))]
    #[case("GET", "/?token=TOKEN", &[("host", "evil.example:4711")], Err(Refusal::Host))]
    #[case("POST", "/ROOM/sheet", &[HOST, COOKIE], Err(Refusal::Origin))]
    #[case("POST", "/ROOM/sheet", &[HOST, COOKIE, ("origin", "null")], Err(Refusal::Origin))]
    #[case("POST", "/ROOM/sheet", &[HOST, COOKIE, ("origin", "http://localhost:4711")], Err(Refusal::Origin))]
    #[case("POST", "/ROOM/sheet", &[HOST, COOKIE, ("origin", "https://127.0.0.1:4711")], Err(Refusal::Origin))]
    #[case("POST", "/ROOM/sheet", &[HOST, COOKIE, ("sec-fetch-site", "same-site")], Err(Refusal::Origin))]
    #[case("POST", "/ROOM/sheet", &[HOST, COOKIE, ("sec-fetch-site", "none")], Err(Refusal::Origin))]
    #[case("GET", "/ROOM/", &[HOST, COOKIE, ("sec-fetch-site", "cross-site")], Err(Refusal::Origin))]
    fn own_pages_pass_and_nobody_else(
        #[case] method: &str,
        #[case] uri: &str,
        #[case] headers: &[(&'static str, &str)],
        #[case] expected: Result<Pass, Refusal>,
    ) {
        assert_eq!(check(HERE, method, uri, headers), expected);
    }

    #[rstest]
    #[case("0.0.0.0:4711", "192.0.2.7:4711", true)]
    #[case("0.0.0.0:4711", "pits.example:4711", false)]
    #[case("192.0.2.7:4711", "localhost:4711", false)]
    #[case("[::1]:4711", "[::1]:4711", true)]
    #[case("127.0.0.1:80", "127.0.0.1", true)]
    #[case("127.0.0.1:80", "localhost", true)]
    #[case("127.0.0.1:80", "localhost:4711", false)]
    fn hosts_of_other_addresses(#[case] address: &str, #[case] host: &'static str, #[case] passes: bool) {
        let refused = check(address, "GET", "/", &[("host", host)]).unwrap_err();
        assert_eq!(refused != Refusal::Host, passes);
    }

    #[test]
    fn a_token_is_good_once() {
        let guard = Guard::new(HERE.parse().unwrap(), Secret::new());
        let mut map = HeaderMap::new();
        map.append("host", HERE.parse().unwrap());
        let [first, second] = [guard.invite(), guard.invite()].map(|url| url.parse::<Uri>().unwrap());
        assert_ne!(first, second);
        assert_eq!(guard.check(&Method::GET, &first, &map), Ok(Pass::Token));
        assert_eq!(guard.check(&Method::GET, &first, &map), Err(Refusal::Unknown));
        assert_eq!(guard.check(&Method::GET, &second, &map), Ok(Pass::Token));
    }

    #[test]
    fn a_phone_may_ask_under_the_address_that_was_opened_for_it() {
        let guard = Guard::new(HERE.parse().unwrap(), Secret::new());
        assert!(!guard.is_own("192.0.2.7:4711"));
        guard.open_to("192.0.2.7:4711".parse().unwrap());
        assert!(guard.is_own("192.0.2.7:4711") && guard.is_own(HERE) && !guard.is_own("192.0.2.8:4711"));
    }
}
