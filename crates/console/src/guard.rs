//! Who may come in: links that work once, the address that was asked for, the page that asks.

use crate::error::ConsoleError;
use axum::http::HeaderMap;
use axum::http::header::{COOKIE, HOST, ORIGIN};
use std::net::SocketAddr;
use std::sync::Mutex;

/// Browsers that may be in at a time.
const MOST_SESSIONS: usize = 16;

/// The port that goes without saying.
const HTTP: u16 = 80;

/// The guard of one address.
pub struct RequestGuard {
    hosts: Vec<String>,
    cookie: String,
    keys: Mutex<Keys>,
}

struct Keys {
    /// The link that works next.
    link: String,
    /// Browsers that came in by a link.
    sessions: Vec<String>,
}

impl RequestGuard {
    /// The guard of a server at this address.
    ///
    /// # Errors
    /// When the system gives no random numbers.
    pub fn new(address: SocketAddr) -> Result<RequestGuard, ConsoleError> {
        let port = address.port();
        let mut hosts = vec![address.to_string()];
        if address.ip().is_loopback() {
            hosts.push(format!("localhost:{port}"));
        }
        // A browser leaves the usual port out.
        if port == HTTP {
            let bare: Vec<String> =
                hosts.iter().filter_map(|host| Some(host.strip_suffix(":80")?.to_owned())).collect();
            hosts.extend(bare);
        }
        let keys = Mutex::new(Keys { link: random()?, sessions: Vec::new() });
        // Browsers keep cookies by name for all ports of a host.
        Ok(RequestGuard { hosts, cookie: format!("pulsewright-console-{port}"), keys })
    }

    /// The link that works next.
    pub fn link(&self) -> String {
        let host = self.hosts.first().map_or("", String::as_str);
        let token =
            self.keys.lock().map_or_else(|poisoned| poisoned.into_inner().link.clone(), |keys| keys.link.clone());
        format!("http://{host}/enter/{token}")
    }

    /// Takes a link's token; the header that sets the browser's cookie, when it was the right one.
    ///
    /// # Errors
    /// When the system gives no random numbers.
    pub fn enter(&self, token: &str) -> Result<Option<String>, ConsoleError> {
        let Ok(mut keys) = self.keys.lock() else { return Ok(None) };
        if !same(&keys.link, token) {
            return Ok(None);
        }
        let session = random()?;
        keys.link = random()?;
        keys.sessions.push(session.clone());
        let most = keys.sessions.len().saturating_sub(MOST_SESSIONS);
        keys.sessions.drain(..most);
        Ok(Some(format!("{}={session}; Path=/; HttpOnly; SameSite=Strict", self.cookie)))
    }

    /// Whether a request names the address that is served. Another name for it is how a foreign page gets round the rules of
    /// browsers.
    pub fn knows_host(&self, headers: &HeaderMap) -> bool {
        let host = headers.get(HOST).and_then(|host| host.to_str().ok());
        host.is_some_and(|host| self.hosts.iter().any(|own| own == host))
    }

    /// Whether a request comes from a browser that came in by a link.
    pub fn knows_browser(&self, headers: &HeaderMap) -> bool {
        let cookies = headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut pairs = cookies.flat_map(|cookies| cookies.split(';')).filter_map(|pair| pair.trim().split_once('='));
        let Ok(keys) = self.keys.lock() else { return false };
        pairs.any(|(name, value)| name == self.cookie && keys.sessions.iter().any(|session| same(session, value)))
    }

    /// Whether a request comes from our own page.
    pub fn knows_page(&self, headers: &HeaderMap) -> bool {
        let origin = headers.get(ORIGIN).and_then(|origin| origin.to_str().ok());
        let origin = origin.and_then(|origin| origin.strip_prefix("http://"));
        origin.is_some_and(|origin| self.hosts.iter().any(|own| own == origin))
    }
}

/// Compares without giving away where two differ.
fn same(secret: &str, given: &str) -> bool {
    let differ = secret.bytes().zip(given.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b));
    secret.len() == given.len() && differ == 0
}

fn random() -> Result<String, ConsoleError> {
    let mut bytes = [0; 24];
    getrandom::fill(&mut bytes).map_err(|error| ConsoleError::Random(error.to_string()))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(axum::http::HeaderName, &str)]) -> HeaderMap {
        pairs.iter().map(|(name, value)| (name.clone(), value.parse().expect("a header"))).collect()
    }

    #[test]
    fn a_link_works_once_and_only_for_its_browser() {
        let guard = RequestGuard::new("127.0.0.1:4711".parse().expect("an address")).expect("random numbers");
        let link = guard.link();
        let token = link.rsplit('/').next().expect("a token");
        assert_eq!(token.len(), 48);
        assert!(guard.enter("").expect("random").is_none());
        assert!(guard.enter(&token[..47]).expect("random").is_none());
        let cookie = guard.enter(token).expect("random").expect("the link works");
        assert!(guard.enter(token).expect("random").is_none(), "a link works once");
        assert_ne!(guard.link(), link);
        let pair = cookie.split(';').next().expect("a pair");
        assert!(guard.knows_browser(&headers(&[(COOKIE, &format!("other=1; {pair}"))])));
        assert!(!guard.knows_browser(&headers(&[(COOKIE, "pulsewright-console-4711=")])));
        assert!(!guard.knows_browser(&headers(&[])));
    }

    #[test]
    fn only_our_own_address_and_page_are_known() {
        let guard = RequestGuard::new("127.0.0.1:4711".parse().expect("an address")).expect("random numbers");
        for (host, known) in
            [("127.0.0.1:4711", true), ("localhost:4711", true), ("localhost", false), ("bench.example:4711", false)]
        {
            assert_eq!(guard.knows_host(&headers(&[(HOST, host)])), known, "{host}");
            assert_eq!(guard.knows_page(&headers(&[(ORIGIN, &format!("http://{host}"))])), known, "{host}");
            assert!(!guard.knows_page(&headers(&[(ORIGIN, &format!("https://{host}"))])));
        }
        let usual = RequestGuard::new("127.0.0.1:80".parse().expect("an address")).expect("random numbers");
        for (host, known) in
            [("127.0.0.1", true), ("127.0.0.1:80", true), ("localhost", true), ("bench.example", false)]
        {
            assert_eq!(usual.knows_host(&headers(&[(HOST, host)])), known, "{host}");
            assert_eq!(usual.knows_page(&headers(&[(ORIGIN, &format!("http://{host}"))])), known, "{host}");
        }
        assert!(!guard.knows_page(&headers(&[])) && !guard.knows_page(&headers(&[(ORIGIN, "null")])));
    }
}
