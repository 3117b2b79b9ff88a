//! Any request, answered by the page's own guard and handlers, and what must hold of every answer.
//!
//! A request is text: `METHOD TARGET`, a header a line, an empty line, the body. `@HOST` and `@TOKEN` in a header stand for the right
//! ones, so that what lies behind the guard is reached too. Only tests and the fuzzer know this module.
//!
//! Orders that would start a process or a take are read and judged, but not carried out.

use super::command::{Way, admitted, admitted_in};
use super::folder::JobFolder;
use super::guard::Guard;
use super::opened::{OpenOrder, Opened};
use super::order::{MOST_BYTES, Order};
use super::refusal::{MOST_LETTERS, Refusal};
use super::running::{AT_ONCE, RunOrder};
use super::serve::router;
use super::takes::Takes;
use super::token::Token;
use super::{Page, Shared};
use axum::body::{Body, to_bytes};
use axum::extract::FromRequest;
use axum::http::{HeaderName, HeaderValue, Method, Request, header};
use boxwright::job::CurveShelf;
use std::sync::{Arc, Mutex};
use tokio::runtime::Runtime;
use tokio::sync::{Semaphore, watch};
use tower::ServiceExt;

/// A page for a folder with a few files, and beside it what nobody may see.
pub struct Besieged {
    runtime: Runtime,
    page: Shared,
    _outside: tempfile::TempDir,
}

const PORT: u16 = 4711;
const SECRET: &str = "what-nobody-may-see";
/// Files of the job.
const FILES: [(&str, &str); 3] = [
    ("a.csv", "frequency_hz,level_db,phase_deg\n20,80,0\n100,81,5\n500,80,9\n"),
    ("result.json", "{\"schema\":\"boxwright/response/1\"}"),
    ("job.toml", "[job]\nname = \"rear\"\n"),
];
/// No answer to a small job is longer; the page's own files are not counted.
const MOST_ANSWER: usize = 1 << 20;

impl Besieged {
    /// A new one.
    pub fn new() -> Self {
        let outside = tempfile::tempdir().expect("a folder for temporary files");
        let job = outside.path().join("job");
        std::fs::create_dir(&job).expect("a folder");
        for (name, text) in FILES {
            std::fs::write(job.join(name), text).expect("room for a small file");
        }
        for name in ["secret.csv", "result.json"] {
            std::fs::write(outside.path().join(name), format!("# {SECRET}\n20 1\n")).expect("room for a small file");
        }
        let page = Page {
            folder: JobFolder::new(&job).expect("the folder is there"),
            guard: Guard::new(PORT, Token::new().expect("chance")),
            takes: Takes::new(),
            runs: Semaphore::new(AT_ONCE),
            curves: Mutex::new(CurveShelf::default()),
            gates: Opened::new("gate"),
            blends: Opened::new("blend"),
            ending: watch::Sender::new(false),
        };
        // An endless answer ends at once.
        page.ending.send_replace(true);
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        Self { runtime, page: Arc::new(page), _outside: outside }
    }

    /// Answers a request, and checks the answer.
    ///
    /// # Panics
    /// Where it is not what it must be.
    pub fn ask(&self, bytes: &[u8]) {
        let text = String::from_utf8_lossy(bytes);
        let (head, body) = text.split_once("\n\n").unwrap_or((&text, ""));
        let Some((request, said)) = self.request(head, body) else { return };
        let may = said.may_see(self.page.guard.token().text());
        let path = request.uri().path().to_owned();
        let is_head = request.method() == Method::HEAD;
        if matches!(path.as_str(), "/api/run" | "/api/sound" | "/api/devices") && may {
            return self.runtime.block_on(self.judged(&path, request));
        }
        let answer = self.runtime.block_on(router(Arc::clone(&self.page)).oneshot(request)).expect("an answer");
        let status = answer.status().as_u16();
        let is_file = path == "/" || path.starts_with("/assets/");
        let most = if is_file { 8 << 20 } else { MOST_ANSWER };
        let bytes = self.runtime.block_on(to_bytes(answer.into_body(), most)).expect("an answer that ends");
        let text = String::from_utf8_lossy(&bytes);
        assert!(!text.contains(SECRET), "{path}: {text}");
        assert!(status != 500, "{path}: {text}");
        assert!(may || !path.starts_with("/api/") || status >= 400, "{path} without leave: {status} {text}");
        assert!(said.is_ours() || status == 421, "{path} under another name: {status}");
        if is_head {
            assert!(text.is_empty(), "{path}: {text}");
        } else if status >= 400 {
            refused(&text);
        } else if path.starts_with("/api/") && path != "/api/events" {
            let document: serde_json::Value = serde_json::from_str(&text).expect("an answer is JSON");
            assert!(document.is_object(), "{text}");
        }
    }

    fn request(&self, head: &str, body: &str) -> Option<(Request<Body>, Said)> {
        let mut lines = head.lines();
        let (method, target) = lines.next()?.split_once(' ')?;
        let mut request =
            Request::builder().method(method).uri(target.trim()).body(Body::from(body.to_owned())).ok()?;
        for line in lines {
            let (name, value) = line.split_once(':')?;
            let value = value.trim().replace("@TOKEN", self.page.guard.token().text());
            let value = value.replace("@HOST", &format!("127.0.0.1:{PORT}"));
            let name = HeaderName::from_bytes(name.trim().as_bytes()).ok()?;
            request.headers_mut().append(name, HeaderValue::from_str(&value).ok()?);
        }
        let said = Said::of(&request);
        Some((request, said))
    }

    /// An order that is not carried out: whether it may be, and that what may be has no path out of the folder.
    async fn judged(&self, path: &str, request: Request<Body>) {
        let folder = &self.page.folder;
        let admitted = match path {
            "/api/run" => match Order::<RunOrder>::from_request(request, &()).await {
                Ok(Order(order)) => {
                    let inside = folder.inside(&order.run_in).map(|_| ());
                    let words = admitted_in(&order.run_in, &order.arguments, Way::Silent, folder);
                    inside.and(words).map(|words| (words, order.arguments))
                }
                Err(refusal) => Err(refusal),
            },
            _ => match Order::<OpenOrder>::from_request(request, &()).await {
                Ok(Order(order)) => {
                    admitted(&order.arguments, Way::Sounding, folder).map(|words| (words, order.arguments))
                }
                Err(refusal) => Err(refusal),
            },
        };
        match admitted {
            Ok((words, asked)) => {
                assert!(words.len() == asked.len() || words.len() == asked.len() + 1, "{asked:?} became {words:?}");
                assert!(words.iter().any(|word| word == "--json"), "{words:?}");
                // An absolute path that does not exist below the folder is never admitted as a value of its own.
                assert!(!words.iter().skip(1).any(|word| word == "/etc/passwd"), "{words:?}");
            }
            Err(refusal) => sound(&refusal),
        }
    }
}

/// What a request says of itself, by a reading of its own.
struct Said {
    hosts: Vec<String>,
    authority: Option<String>,
    origins: Vec<Vec<u8>>,
    site: Option<Vec<u8>>,
    tokens: Vec<Vec<u8>>,
    length: Vec<Vec<u8>>,
}

impl Said {
    fn of(request: &Request<Body>) -> Self {
        let all = |name: &str| -> Vec<Vec<u8>> {
            request.headers().get_all(name).iter().map(|value| value.as_bytes().to_vec()).collect()
        };
        Self {
            hosts: all("host").into_iter().map(|host| String::from_utf8_lossy(&host).to_lowercase()).collect(),
            authority: request.uri().authority().map(|name| name.as_str().to_lowercase()),
            origins: all("origin"),
            site: all("sec-fetch-site").into_iter().next(),
            tokens: all(header::AUTHORIZATION.as_str()),
            length: all("content-length"),
        }
    }

    fn is_ours(&self) -> bool {
        let ours = ["127.0.0.1", "localhost", "[::1]"].map(|name| format!("{name}:{PORT}"));
        self.hosts.len() == 1 && self.hosts.iter().chain(&self.authority).all(|name| ours.contains(name))
    }

    /// Whether what lies under `/api/` is this one's to see.
    fn may_see(&self, token: &str) -> bool {
        let ours = ["127.0.0.1", "localhost", "[::1]"].map(|name| format!("http://{name}:{PORT}"));
        let origin = |origin: &Vec<u8>| ours.contains(&String::from_utf8_lossy(origin).to_lowercase());
        let site = self.site.as_deref().is_none_or(|site| matches!(site, b"same-origin" | b"none"));
        let told = self.tokens.first().map(|told| String::from_utf8_lossy(told).into_owned()).unwrap_or_default();
        let is_told = told.get(..7).is_some_and(|scheme| scheme.eq_ignore_ascii_case("bearer "))
            && told.get(7..).is_some_and(|told| told.trim() == token);
        let short = |length: &Vec<u8>| {
            std::str::from_utf8(length)
                .ok()
                .and_then(|text| text.parse::<usize>().ok())
                .is_some_and(|n| n <= MOST_BYTES)
        };
        self.is_ours() && self.origins.iter().all(origin) && site && is_told && self.length.iter().all(short)
    }
}

fn refused(text: &str) {
    let said: serde_json::Value = serde_json::from_str(text).expect("a refusal is JSON");
    for key in ["says", "advice"] {
        let words = said["error"][key].as_str().expect("a refusal says why and what to do");
        assert!(!words.trim().is_empty() && words.chars().count() <= MOST_LETTERS + 1, "{text}");
    }
}

fn sound(refusal: &Refusal) {
    assert!(refusal.status.as_u16() >= 400 && refusal.status.as_u16() != 500, "{refusal:?}");
    for words in [&refusal.says, &refusal.advice] {
        assert!(!words.trim().is_empty() && words.chars().count() <= MOST_LETTERS + 1, "{refusal:?}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    /// `fuzz/corpus/request` holds what the fuzzer kept, the smallest of each kind.
    #[test]
    fn every_kept_request_gets_an_answer_that_holds() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus/request");
        let besieged = Besieged::new();
        let files: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
        files.iter().for_each(|path| besieged.ask(&std::fs::read(path).unwrap()));
        assert!(files.len() >= 20, "{} requests only", files.len());
    }
}
