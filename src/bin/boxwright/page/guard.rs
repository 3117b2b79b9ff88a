//! Who may ask: by which name, from whose page, with which token.
//!
//! | looked at | against | else |
//! |---|---|---|
//! | `Host` | 127.0.0.1, localhost, [::1] with our port | 421: a name that somebody else made point here |
//! | `Origin`, where it is sent | the same behind `http://` | 403: another page asks |
//! | `Sec-Fetch-Site`, where it is sent | `same-origin`, `none` | 403: another page asks; but a link to the page itself may be followed |
//! | `Authorization`, under `/api/` | the token | 401 |
//! | `Content-Length` | what an order may hold | 413, before anything is read |

use super::Shared;
use super::order::{MOST_BYTES, too_large};
use super::refusal::Refusal;
use super::token::Token;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

/// What requests are held against.
pub struct Guard {
    hosts: Vec<String>,
    token: Token,
}

/// Nothing but what this server itself sends, and nobody may put the page into a frame.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; \
                      font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// What every answer says of itself.
const SAID: [(HeaderName, &str); 5] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
];

/// Looks at a request before anybody answers it, and at the answer before it goes out.
pub async fn guarded(State(page): State<Shared>, request: Request, next: Next) -> Response {
    let is_api = request.uri().path().starts_with("/api/");
    let mut response = match page.guard.check(request.method(), request.uri(), request.headers()) {
        Ok(()) => next.run(request).await,
        Err(refusal) => refusal.into_response(),
    };
    let is_unread = response.status() == StatusCode::PAYLOAD_TOO_LARGE;
    let headers = response.headers_mut();
    for (name, value) in SAID {
        headers.insert(name, HeaderValue::from_static(value));
    }
    let keep = if is_api { "no-store" } else { "no-cache" };
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(keep));
    if is_unread {
        headers.insert(header::CONNECTION, HeaderValue::from_static("close"));
    }
    response
}

impl Guard {
    /// For a server on this port.
    pub fn new(port: u16, token: Token) -> Self {
        let mut hosts: Vec<String> =
            ["127.0.0.1", "localhost", "[::1]"].iter().map(|name| format!("{name}:{port}")).collect();
        if port == 80 {
            // The usual port is left out.
            hosts.extend(["127.0.0.1", "localhost", "[::1]"].map(String::from));
        }
        Self { hosts, token }
    }

    /// The token.
    pub fn token(&self) -> &Token {
        &self.token
    }

    fn check(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> Result<(), Refusal> {
        let path = uri.path();
        self.check_host(uri, headers)?;
        self.check_origin(headers)?;
        check_site(method, path, headers)?;
        if path.starts_with("/api/") {
            self.check_token(headers)?;
        }
        check_length(headers)
    }

    fn check_host(&self, uri: &Uri, headers: &HeaderMap) -> Result<(), Refusal> {
        let is_ours = |name: &str| self.hosts.iter().any(|host| host.eq_ignore_ascii_case(name));
        let mut said = headers.get_all(header::HOST).iter();
        let host = said.next().and_then(|host| host.to_str().ok()).unwrap_or("");
        let authority = uri.authority().map_or(host, |authority| authority.as_str());
        if is_ours(host) && is_ours(authority) && said.next().is_none() {
            return Ok(());
        }
        let says = format!("asked for as {host:?}, which is not a name of this page");
        Err(Refusal::new(StatusCode::MISDIRECTED_REQUEST, says, OPEN_THE_ADDRESS))
    }

    fn check_origin(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let is_ours = |origin: &HeaderValue| {
            let host = origin.to_str().ok().and_then(|origin| origin.strip_prefix("http://"));
            host.is_some_and(|host| self.hosts.iter().any(|own| own.eq_ignore_ascii_case(host)))
        };
        match headers.get_all(header::ORIGIN).iter().find(|origin| !is_ours(origin)) {
            Some(origin) => Err(Refusal::forbidden(format!("asked by another page, {origin:?}"), OPEN_THE_ADDRESS)),
            None => Ok(()),
        }
    }

    fn check_token(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let said = headers.get(header::AUTHORIZATION).map(HeaderValue::as_bytes).unwrap_or_default();
        let is_known = said.split_at_checked(BEARER.len()).is_some_and(|(scheme, token)| {
            scheme.eq_ignore_ascii_case(BEARER.as_bytes()) && self.token.is(token.trim_ascii())
        });
        let says = "the token is missing or another one";
        if is_known { Ok(()) } else { Err(Refusal::new(StatusCode::UNAUTHORIZED, says, OPEN_THE_ADDRESS)) }
    }
}

const BEARER: &str = "Bearer ";
const OPEN_THE_ADDRESS: &str = "open the address that `boxwright page` printed";

/// A browser says from where a request comes; only a person who follows a link may come from elsewhere.
fn check_site(method: &Method, path: &str, headers: &HeaderMap) -> Result<(), Refusal> {
    let said = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    let follows_a_link = *method == Method::GET
        && path == "/"
        && said("sec-fetch-mode") == Some("navigate")
        && said("sec-fetch-dest") == Some("document");
    match said("sec-fetch-site") {
        None | Some("same-origin" | "none") => Ok(()),
        Some(_) if follows_a_link => Ok(()),
        Some(site) => Err(Refusal::forbidden(format!("asked by another page ({site})"), OPEN_THE_ADDRESS)),
    }
}

fn check_length(headers: &HeaderMap) -> Result<(), Refusal> {
    let lengths = headers.get_all(header::CONTENT_LENGTH).iter();
    let is_short = |length: &HeaderValue| {
        length
            .to_str()
            .ok()
            .and_then(|length| length.parse().ok())
            .is_some_and(|length: u64| length <= MOST_BYTES as u64)
    };
    if lengths.into_iter().all(is_short) { Ok(()) } else { Err(too_large()) }
}
