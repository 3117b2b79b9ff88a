//! The page's server as a test runs it, and a client that can send what no browser would.
#![allow(dead_code, missing_docs)] // each test file uses its part
#![allow(clippy::unwrap_used)] // a test that can't go on may stop

use assert_cmd::cargo::CommandCargoExt;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A server on a job's folder; it ends with the test.
pub struct Server {
    child: Child,
    pub port: u16,
    pub token: String,
}

/// What came back.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }

    /// What was wrong.
    pub fn says(&self) -> String {
        self.json()["error"]["says"].as_str().unwrap_or_default().to_owned()
    }
}

impl Server {
    pub fn start(folder: &Path) -> Self {
        let mut command = Command::cargo_bin("boxwright").unwrap();
        command.arg("page").arg(folder).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let mut address = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut address).unwrap();
        let rest = address.trim().strip_prefix("http://127.0.0.1:").unwrap_or_else(|| panic!("{address:?}"));
        let (port, token) = rest.split_once("/#token=").unwrap();
        Self { child, port: port.parse().unwrap(), token: token.to_owned() }
    }

    pub fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    /// A request with exactly this head, from its first line on, and this body.
    pub fn raw(&self, head: &str, body: &[u8]) -> Answer {
        let mut stream = self.connect();
        stream.write_all(format!("{head}Connection: close\r\n\r\n").as_bytes()).unwrap();
        stream.write_all(body).unwrap();
        read_answer(&mut stream)
    }

    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        stream
    }

    /// The lines of a head that a page of ours sends.
    pub fn usual(&self) -> String {
        format!("Host: {}\r\nAuthorization: Bearer {}\r\n", self.host(), self.token)
    }

    pub fn get(&self, path: &str) -> Answer {
        self.raw(&format!("GET {path} HTTP/1.1\r\n{}", self.usual()), b"")
    }

    pub fn post(&self, path: &str, body: &Value) -> Answer {
        let (usual, body) = (self.usual(), body.to_string());
        let kind = "Content-Type: application/json";
        let head = format!("POST {path} HTTP/1.1\r\n{usual}{kind}\r\nContent-Length: {}\r\n", body.len());
        self.raw(&head, body.as_bytes())
    }

    /// A command; `words` are parted by blanks.
    pub fn command(&self, path: &str, words: &str) -> Answer {
        self.post(path, &json!({ "arguments": words.split_whitespace().collect::<Vec<_>>() }))
    }

    pub fn events(&self) -> Events {
        let mut stream = self.connect();
        stream.write_all(format!("GET /api/events HTTP/1.1\r\n{}\r\n", self.usual()).as_bytes()).unwrap();
        Events(BufReader::new(stream))
    }

    /// As Ctrl-C does.
    pub fn interrupt(&self) {
        self.signal("-INT");
    }

    pub fn signal(&self, name: &str) {
        let done = Command::new("kill").arg(name).arg(self.child.id().to_string()).status().unwrap();
        assert!(done.success());
    }

    /// How long it takes to end by itself, and whether all was well.
    pub fn ends(mut self) -> (Duration, bool) {
        let began = Instant::now();
        let status = self.child.wait().unwrap();
        (began.elapsed(), status.success())
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What a connection says until it is closed, or until the server has said all of it.
pub fn read_answer(stream: &mut TcpStream) -> Answer {
    let mut bytes = Vec::new();
    // A server that refuses a body closes the connection while the rest is under way.
    let _ = stream.read_to_end(&mut bytes);
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or_else(|| panic!("no answer: {text:?}"));
    let status = head.split(' ').nth(1).unwrap().parse().unwrap();
    Answer { status, head: head.to_lowercase(), body: body.to_owned() }
}

/// The endless answer, event by event.
pub struct Events(BufReader<TcpStream>);

impl Events {
    /// The next event; none when the stream has ended.
    pub fn next(&mut self) -> Option<Value> {
        loop {
            let mut line = String::new();
            // The lengths of the pieces stand between the lines.
            if self.0.read_line(&mut line).ok()? == 0 {
                return None;
            }
            if line.starts_with('{') {
                return Some(serde_json::from_str(&line).unwrap());
            }
        }
    }

    /// The next event of a kind.
    pub fn of(&mut self, kind: &str) -> Value {
        loop {
            let event = self.next().unwrap_or_else(|| panic!("no {kind} came"));
            if event["kind"] == kind {
                return event;
            }
        }
    }

    /// All events up to the first of a kind, that one included.
    pub fn until(&mut self, kind: &str) -> Vec<Value> {
        let mut all = Vec::new();
        while all.last().is_none_or(|event: &Value| event["kind"] != kind) {
            all.push(self.next().unwrap_or_else(|| panic!("no {kind} came after {all:?}")));
        }
        all
    }
}
