//! What the page's server refuses: other names, other pages, no token, paths that lead out, bodies without end.

#![allow(clippy::unwrap_used)] // a test that can't go on may stop

mod page_client;

use page_client::{Server, read_answer};
use serde_json::json;
use std::io::Write;
use std::path::Path;
use std::time::{Duration, Instant};

const CURVE: &str = "frequency_hz,level_db\n100,80\n200,81\n";

/// Any folder is a job: here one without `job.toml`, and a secret beside it.
fn job() -> (tempfile::TempDir, std::path::PathBuf) {
    let around = tempfile::tempdir().unwrap();
    let job = around.path().join("job");
    std::fs::create_dir(&job).unwrap();
    std::fs::write(job.join("a.csv"), CURVE).unwrap();
    std::fs::write(job.join("result.json"), "{\"schema\": \"boxwright/response/1\", \"level\": 1.50}\n").unwrap();
    std::fs::write(job.join("other.json"), "{\"schema\": \"other\"}\n").unwrap();
    std::fs::write(around.path().join("secret.csv"), CURVE).unwrap();
    (around, job)
}

const PROTECTED: [&str; 5] = ["/api/job", "/api/devices", "/api/events", "/api/curve?path=a.csv", "/api/nothing"];

#[test]
fn only_a_page_of_its_own_name_is_answered() {
    let (_around, job) = job();
    let server = Server::start(&job);
    let (port, token) = (server.port, server.token.clone());
    let asked = |path: &str, lines: &str| {
        server.raw(&format!("GET {path} HTTP/1.1\r\nAuthorization: Bearer {token}\r\n{lines}"), b"").status
    };
    let other = port.wrapping_add(1);
    for (host, status) in [
        (format!("127.0.0.1:{port}"), 200),
        (format!("localhost:{port}"), 200),
        (format!("LocalHost:{port}"), 200),
        (format!("[::1]:{port}"), 200),
        (format!("evil.example:{port}"), 421),
        (format!("127.0.0.1.evil.example:{port}"), 421),
        (format!("127.0.0.1:{other}"), 421),
        ("127.0.0.1".into(), 421),
        (format!("0.0.0.0:{port}"), 421),
    ] {
        for path in ["/", "/api/job"] {
            assert_eq!(asked(path, &format!("Host: {host}\r\n")), status, "{host} {path}");
        }
    }
    let own = format!("Host: 127.0.0.1:{port}\r\n");
    assert_eq!(asked("/api/job", &format!("{own}Host: evil.example\r\n")), 421, "two names");
    assert_eq!(asked(&format!("http://evil.example:{port}/api/job"), &own), 421, "another name in the first line");
    for (origin, status) in [
        (format!("http://127.0.0.1:{port}"), 200),
        (format!("http://localhost:{port}"), 200),
        (format!("https://127.0.0.1:{port}"), 403),
        (format!("http://127.0.0.1:{other}"), 403),
        ("http://evil.example".into(), 403),
        ("null".into(), 403),
    ] {
        for path in ["/", "/api/job"] {
            assert_eq!(asked(path, &format!("{own}Origin: {origin}\r\n")), status, "{origin} {path}");
        }
    }
    for (site, status) in [("same-origin", 200), ("none", 200), ("same-site", 403), ("cross-site", 403)] {
        assert_eq!(asked("/api/job", &format!("{own}Sec-Fetch-Site: {site}\r\n")), status, "{site}");
    }
    // A person may follow a link to the page, but no other page may load it, or a part of it.
    let follows = "Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: navigate\r\nSec-Fetch-Dest: document\r\n";
    assert_eq!(asked("/", &format!("{own}{follows}")), 200);
    assert_eq!(asked("/api/job", &format!("{own}{follows}")), 403);
    assert_eq!(asked("/", &format!("{own}Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: no-cors\r\n")), 403);
}

#[test]
fn nothing_of_the_job_is_told_without_the_token() {
    let (_around, job) = job();
    let server = Server::start(&job);
    let host = format!("Host: {}\r\n", server.host());
    assert_eq!(server.token.len(), 64, "256 bits");
    let mut off = server.token.clone();
    off.replace_range(63.., if off.ends_with('0') { "1" } else { "0" });
    let without = [
        String::new(),
        format!("Authorization: Bearer {off}\r\n"),
        format!("Authorization: Bearer {}\r\n", &server.token[..63]),
        format!("Authorization: Bearer {}0\r\n", server.token),
        format!("Authorization: Basic {}\r\n", server.token),
        format!("Cookie: token={}\r\n", server.token),
        "Authorization: Bearer \r\n".into(),
    ];
    for lines in &without {
        for path in PROTECTED {
            let answer = server.raw(&format!("GET {path} HTTP/1.1\r\n{host}{lines}"), b"");
            assert_eq!(answer.status, 401, "{path} {lines}");
        }
        let body = br#"{"arguments":["level"]}"#;
        for path in ["/api/run", "/api/sound", "/api/stop", "/api/gate/open", "/api/blend/open"] {
            let head = format!(
                "POST {path} HTTP/1.1\r\n{host}{lines}Content-Type: application/json\r\nContent-Length: {}\r\n",
                body.len()
            );
            assert_eq!(server.raw(&head, body).status, 401, "{path} {lines}");
        }
    }
    // Nor in the address.
    let in_address = format!("GET /api/job?token={} HTTP/1.1\r\n{host}", server.token);
    assert_eq!(server.raw(&in_address, b"").status, 401);
    let page = server.raw(&format!("GET / HTTP/1.1\r\n{host}"), b"");
    assert!(page.status == 200 && page.body.contains("<title>") && page.body.contains("boxwright"));
    for secret in [server.token.as_str(), job.to_str().unwrap()] {
        assert!(!page.body.contains(secret) && !page.head.contains(secret));
    }
    assert_eq!(server.raw(&format!("GET /assets/../mod.rs HTTP/1.1\r\n{host}"), b"").status, 404);
    assert_eq!(server.raw(&format!("GET /assets/..%2fmod.rs HTTP/1.1\r\n{host}"), b"").status, 404);
}

#[test]
fn every_answer_says_what_a_browser_may_do_with_it() {
    let (_around, job) = job();
    let server = Server::start(&job);
    let refused = server.raw("GET / HTTP/1.1\r\nHost: evil.example\r\n", b"");
    for answer in [server.get("/"), server.get("/api/job"), server.get("/nothing"), refused] {
        for line in [
            "content-security-policy: default-src 'none'; script-src 'self'",
            "frame-ancestors 'none'",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
        ] {
            assert!(answer.head.contains(line), "{line}: {}", answer.head);
        }
        assert!(!answer.head.contains("access-control-allow") && !answer.head.contains("unsafe"));
    }
    assert!(server.get("/api/job").head.contains("cache-control: no-store"));
}

#[test]
fn no_path_leads_out_of_the_folder() {
    let (around, job) = job();
    let secret = around.path().join("secret.csv");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(&secret, job.join("link.csv")).unwrap();
        std::os::unix::fs::symlink(around.path(), job.join("up")).unwrap();
    }
    let server = Server::start(&job);
    assert_eq!(server.get("/api/curve?path=a.csv").json()["values"], json!([80.0, 81.0]));
    assert_eq!(server.get("/api/curve?path=.%2Fb%2F..%2Fa.csv").status, 403, "nobody knows where b/.. leads");
    // Word for word as it lies there.
    assert!(server.get("/api/document?path=result.json").body.contains("1.50"));
    let other = server.get("/api/document?path=other.json");
    assert!(other.status == 422 && other.says().contains("not a result"), "{other:?}");
    let whole = secret.display().to_string();
    let mut out = vec!["../secret.csv", "..%2Fsecret.csv", "job/../../secret.csv", whole.as_str(), "%2Fetc%2Fpasswd"];
    if cfg!(unix) {
        out.extend(["link.csv", "up/secret.csv"]);
    }
    for path in &out {
        for what in ["curve", "document"] {
            let answer = server.get(&format!("/api/{what}?path={path}"));
            assert_eq!(answer.status, 403, "{what} {path} {answer:?}");
        }
    }
    for path in out.iter().filter(|path| !path.contains('%')) {
        for words in [
            format!("match a.csv {path}"),
            format!("compare {path} a.csv"),
            format!("average a.csv a.csv --out {path}"),
            format!("network a.csv --load x={path}"),
        ] {
            let answer = server.command("/api/run", &words);
            assert!(answer.status == 403 && answer.says().contains("out of the job's folder"), "{words} {answer:?}");
        }
        for (route, words) in [
            ("/api/sound", format!("capture response --output simulated --out {path}")),
            ("/api/sound", format!("level --output simulated --job {path}")),
            ("/api/gate/open", format!("response {path}")),
            ("/api/blend/open", format!("blend --sat a.csv --sub {path}")),
        ] {
            assert_eq!(server.command(route, &words).status, 403, "{words}");
        }
    }
    let in_folder = json!({ "arguments": ["match", "a.csv", "a.csv"], "run_in": ".." });
    assert_eq!(server.post("/api/run", &in_folder).status, 403);
}

/// A record that somebody else has written is no way out either.
#[test]
fn bringing_a_job_up_to_date_runs_no_command_that_leads_out() {
    let (around, job) = job();
    let place = job.join("averaged");
    std::fs::create_dir(&place).unwrap();
    let out = around.path().join("out");
    let document = json!({
        "schema": "boxwright/average/1", "made_by": "boxwright 0.1.0", "run_in": "..",
        "command": ["average", "a.csv", "b.csv", "--out", out.to_str().unwrap()],
        "inputs": [{ "path": "a.csv", "sha256": "0" }], "settings": {}, "findings": [], "files": [],
    });
    std::fs::write(place.join("average.json"), document.to_string()).unwrap();
    std::fs::write(job.join("b.csv"), CURVE).unwrap();
    let server = Server::start(&job);
    let standing = &server.get("/api/job").json()["status"];
    assert_eq!(standing["results"][0]["command"][0], "average", "{standing}");
    let answer = server.command("/api/run", "status --do");
    assert!(answer.status == 403 && !out.exists(), "{answer:?}");
    assert_eq!(server.command("/api/run", "status").status, 200);
}

#[test]
fn only_what_belongs_on_a_page_is_run() {
    let (_around, job) = job();
    let server = Server::start(&job);
    for (route, words, status) in [
        ("/api/run", "demo", 403),
        ("/api/run", "man .", 403),
        ("/api/run", "page", 403),
        ("/api/run", "level", 403),
        ("/api/run", "format-the-disk", 422),
        ("/api/run", "", 422),
        ("/api/run", "match a.csv --nonsense", 422),
        ("/api/run", "match missing.csv a.csv", 422),
        ("/api/run", "match --help", 422),
        ("/api/sound", "match a.csv a.csv", 403),
        ("/api/gate/open", "match a.csv a.csv", 422),
        ("/api/blend/open", "match a.csv a.csv", 422),
    ] {
        let answer = server.command(route, words);
        assert!(answer.status == status && !answer.says().is_empty(), "{words} {answer:?}");
    }
    let nearest = server.command("/api/run", "match a.csv a.csv --limit 1").json();
    assert!(nearest["error"]["advice"].as_str().unwrap().contains("--limits"), "{nearest}");
    let missing = server.command("/api/run", "match missing.csv a.csv").json();
    assert!(missing["error"]["says"].as_str().unwrap().contains("missing.csv"), "{missing}");
    assert_eq!(missing["error"]["advice"], "check the name and the folder");
    assert_eq!(server.get("/api/run").status, 405);
    assert_eq!(server.get("/nothing").status, 404);
    assert_eq!(server.post("/api/gate/curve", &json!({ "gate": 9, "length_ms": 4 })).status, 404);
}

#[test]
fn a_body_is_a_small_json_document_or_nothing() {
    let (_around, job) = job();
    let server = Server::start(&job);
    let head = |lines: &str| format!("POST /api/stop HTTP/1.1\r\n{}{lines}", server.usual());
    for kind in ["Content-Type: text/plain\r\n", "Content-Type: application/x-www-form-urlencoded\r\n", ""] {
        assert_eq!(server.raw(&head(&format!("{kind}Content-Length: 2\r\n")), b"{}").status, 415, "{kind}");
    }
    let json = "Content-Type: application/json; charset=utf-8\r\n";
    assert_eq!(server.raw(&head(&format!("{json}Content-Length: 2\r\n")), b"{}").status, 200);
    assert_eq!(server.raw(&head(&format!("{json}Content-Length: 3\r\n")), b"{,}").status, 400);
    let began = Instant::now();
    let announced = server.raw(&head(&format!("{json}Content-Length: {}\r\n", 1u64 << 30)), b"");
    assert_eq!(announced.status, 413, "1 GiB is refused before any of it is read");
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
    let sent = endless(&server, &head(&format!("{json}Transfer-Encoding: chunked\r\n")));
    assert!(sent < 16 << 20, "{sent} bytes were taken");
}

/// Sends a body without end until nobody takes it any more; how much was taken.
fn endless(server: &Server, head: &str) -> usize {
    let mut stream = server.connect();
    stream.set_write_timeout(Some(Duration::from_secs(5))).unwrap();
    stream.write_all(format!("{head}\r\n").as_bytes()).unwrap();
    let piece = [b"8000\r\n".as_slice(), &[b' '; 0x8000], b"\r\n"].concat();
    let mut sent = 0;
    while sent < 1 << 30 && stream.write_all(&piece).is_ok() {
        sent += piece.len();
    }
    // Where the connection was not broken off with the answer unread, it was 413.
    if sent < 1 << 20 {
        let answer = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| read_answer(&mut stream)));
        answer.iter().for_each(|answer| assert_eq!(answer.status, 413));
    }
    sent
}

#[cfg(target_os = "linux")]
#[test]
fn nobody_on_the_network_is_listened_to() {
    let (_around, job) = job();
    let server = Server::start(&job);
    // Listening sockets by local address and port, in hexadecimal: 0100007F is 127.0.0.1.
    let listening = |table: &str| -> Vec<String> {
        let text = std::fs::read_to_string(Path::new("/proc/net").join(table)).unwrap_or_default();
        let own = format!(":{:04X}", server.port);
        let fields = text.lines().map(|line| line.split_whitespace().collect::<Vec<_>>());
        let of_port = fields.filter(|fields| fields.len() > 3 && fields[1].ends_with(&own) && fields[3] == "0A");
        of_port.map(|fields| fields[1].to_owned()).collect()
    };
    assert_eq!(listening("tcp"), [format!("0100007F:{:04X}", server.port)]);
    assert_eq!(listening("tcp6"), Vec::<String>::new());
}
