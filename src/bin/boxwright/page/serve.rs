//! The server from its address to its end.
//!
//! It ends when a person asks for it: what sounds fades out and is kept first, then the endless answers end, then all else.

use super::folder::JobFolder;
use super::guard::{Guard, guarded};
use super::opened::Opened;
use super::refusal::Refusal;
use super::takes::Takes;
use super::token::Token;
use super::{Page, Shared, assets, blending, events, gate, running, shelf, sounding};
use crate::cli::Failure;
use axum::Router;
use axum::http::StatusCode;
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};
use boxwright::job::CurveShelf;
use std::net::{Ipv4Addr, TcpListener};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::{Notify, Semaphore, watch};

/// A server that has its port and answers once it is [run](Self::run).
pub struct Listening {
    page: Shared,
    listener: TcpListener,
    port: u16,
}

/// Takes a port of this machine for the job in `folder`, which becomes the current folder: relative paths mean it from now on.
pub fn listen(folder: &Path, port: u16) -> Result<Listening, Failure> {
    let in_folder = |error: std::io::Error| {
        let says = format!("{}: can't work in it: {}", folder.display(), error.to_string().to_lowercase());
        Failure::input(says, "name the folder of a job")
    };
    let job = JobFolder::new(folder).map_err(in_folder)?;
    std::env::set_current_dir(job.path()).map_err(in_folder)?;
    let refused = |error: std::io::Error| {
        let says = format!("can't listen on port {port}: {}", error.to_string().to_lowercase());
        Failure::input(says, "leave out --port, or give another one")
    };
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(refused)?;
    listener.set_nonblocking(true).map_err(refused)?;
    let port = listener.local_addr().map_err(refused)?.port();
    let token = Token::new().ok_or_else(|| {
        Failure::input("the system has no randomness to give", "start it again once the machine is fully up")
    })?;
    let page = Page {
        folder: job,
        guard: Guard::new(port, token),
        takes: Takes::new(),
        runs: Semaphore::new(running::AT_ONCE),
        curves: Mutex::new(CurveShelf::default()),
        gates: Opened::new("gate"),
        blends: Opened::new("blend"),
        ending: watch::Sender::new(false),
    };
    Ok(Listening { page: Arc::new(page), listener, port })
}

/// What sounds fades and is kept in this time, where the sound system still answers.
const LAST_SOUND: Duration = Duration::from_secs(5);
/// Requests that are under way may take so long to end …
const LAST_WORDS: Duration = Duration::from_millis(500);
/// … and then so long whatever else is: it is broken off.
const LAST_WORK: Duration = Duration::from_millis(200);

impl Listening {
    /// The address of the page, with the token where it is sent to nobody.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/#token={}", self.port, self.page.guard.token().text())
    }

    /// The job's folder.
    pub fn folder(&self) -> &Path {
        self.page.folder.path()
    }

    /// Answers until `ended` is notified.
    pub fn run(self, ended: Arc<Notify>) -> Result<(), Failure> {
        let own = |error: std::io::Error| Failure::input(format!("can't serve the page: {error}"), "start it again");
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().map_err(own)?;
        let done = runtime.block_on(self.answer(ended)).map_err(own);
        runtime.shutdown_timeout(LAST_WORK);
        done
    }

    async fn answer(self, ended: Arc<Notify>) -> std::io::Result<()> {
        let listener = tokio::net::TcpListener::from_std(self.listener)?;
        let page = self.page;
        let mut ending = page.ending.subscribe();
        let router = router(Arc::clone(&page));
        let server = axum::serve(listener, router).with_graceful_shutdown(async move {
            let _ = ending.wait_for(|ends| *ends).await;
        });
        let server = tokio::spawn(async move { server.await });
        ended.notified().await;
        page.takes.close();
        tokio::select! {
            () = page.takes.silence() => {}
            // Who asks twice does not want to wait. But a terminal that closes asks twice as well: the shell's signal and the system's.
            () = asked_again(&ended) => {}
        }
        page.ending.send_replace(true);
        // Who still waits for an answer then, waits for one that does not come.
        let _ = tokio::time::timeout(LAST_WORDS, server).await;
        Ok(())
    }
}

/// Until it has been asked for once more, and what sounds has had its time to fade and to be kept.
async fn asked_again(ended: &Notify) {
    ended.notified().await;
    tokio::time::sleep(LAST_SOUND).await;
}

/// What is asked for under which address.
pub(super) fn router(page: Shared) -> Router {
    Router::new()
        .route("/", get(assets::index))
        .route("/assets/{*name}", get(assets::asset))
        .route("/api/job", get(shelf::job))
        .route("/api/document", get(shelf::document))
        .route("/api/curve", get(shelf::curve))
        .route("/api/devices", get(running::devices))
        .route("/api/run", post(running::run))
        .route("/api/sound", post(sounding::sound))
        .route("/api/stop", post(sounding::stop))
        .route("/api/events", get(events::events))
        .route("/api/gate/open", post(gate::open))
        .route("/api/gate/curve", post(gate::curve))
        .route("/api/blend/open", post(blending::open))
        .route("/api/blend/sum", post(blending::sum))
        .fallback(nothing_here)
        .method_not_allowed_fallback(not_in_this_way)
        .layer(from_fn_with_state(Arc::clone(&page), guarded))
        .with_state(page)
}

async fn nothing_here() -> Refusal {
    Refusal::new(StatusCode::NOT_FOUND, "there is nothing under this address", "open the page's own address")
}

async fn not_in_this_way() -> Refusal {
    Refusal::new(StatusCode::METHOD_NOT_ALLOWED, "this can't be asked for in this way", "open the page's own address")
}
