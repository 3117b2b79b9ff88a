//! `POST /api/run`, `GET /api/devices`: a command that makes no sound, as a process of this program in the job's folder.
//!
//! Its paths were looked at before (`command`); what it says is bounded; it ends with the server, but not with the tab that
//! asked for it.

use super::Shared;
use super::command::{Way, admitted_in};
use super::folder::JobFolder;
use super::order::Order;
use super::refusal::Refusal;
use super::shelf::off_the_loop;
use super::takes::line;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use boxwright::job::{Anew, status};
use serde::Deserialize;
use serde::de::IgnoredAny;
use serde_json::json;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::Arc;
use tokio::io::{AsyncRead, AsyncReadExt};
use tokio::process::Command;

/// At most so many at once; the others wait.
pub const AT_ONCE: usize = 4;
/// No document is longer.
const MOST_BYTES: u64 = 64 << 20;

/// A command that makes no sound.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RunOrder {
    pub arguments: Vec<String>,
    /// Where it is run, from the job's folder on; absent: there.
    #[serde(default)]
    pub run_in: PathBuf,
}

/// What a process said in the end.
struct Said {
    exit: i32,
    out: String,
    err: String,
}

/// Runs it, and answers with its document.
pub async fn run(State(page): State<Shared>, Order(order): Order<RunOrder>) -> Result<Response, Refusal> {
    let arguments = admitted_in(&order.run_in, &order.arguments, Way::Silent, &page.folder)?;
    if arguments[0] == "status" && arguments.iter().any(|word| word == "--do") {
        let page = Arc::clone(&page);
        off_the_loop(move || check_record(&page.folder)).await?;
    }
    let run_in = page.folder.inside(&order.run_in)?;
    let said = run_to_its_end(&page, arguments, run_in).await?;
    // Exit status 3: done, and not within limits.
    if !matches!(said.exit, 0 | 3) {
        return Err(refusal_of(&said.err));
    }
    page.takes.say(line(&json!({ "kind": "changed" })));
    let (exit, document) = (said.exit, document(&said.out)?);
    let arguments = json!(order.arguments);
    Ok(as_json(format!("{{\"exit\":{exit},\"document\":{document},\"arguments\":{arguments}}}")))
}

/// What sound devices there are.
pub async fn devices(State(page): State<Shared>) -> Result<Response, Refusal> {
    let folder = page.folder.path().to_owned();
    let said = run_to_its_end(&page, vec!["devices".into(), "--json".into()], folder).await?;
    if said.exit != 0 {
        return Err(refusal_of(&said.err));
    }
    Ok(as_json(document(&said.out)?.to_owned()))
}

/// What `status --do` may run was written into results by whoever made them: no such command leads out of the folder either.
fn check_record(folder: &JobFolder) -> Result<(), Refusal> {
    let standing = status(folder.path(), Anew::All).map_err(|error| Refusal::cannot(&error, error.advice()))?;
    for result in standing.results.iter().filter(|result| !result.command.is_empty()) {
        match admitted_in(Path::new(&result.run_in), &result.command, Way::Silent, folder) {
            Err(refusal) if refusal.status == StatusCode::FORBIDDEN => return Err(refusal),
            // What can't be read as a command can't be run as one.
            _ => {}
        }
    }
    Ok(())
}

/// A text that is JSON already, so that no digit changes.
pub fn as_json(text: String) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], text).into_response()
}

/// In a task of its own, so that a tab that is closed does not break it off.
async fn run_to_its_end(page: &Shared, arguments: Vec<String>, run_in: PathBuf) -> Result<Said, Refusal> {
    let page = Arc::clone(page);
    let running = async move {
        let _permit = page.runs.acquire().await.map_err(Refusal::own)?;
        let program = std::env::current_exe().map_err(Refusal::own)?;
        let mut child = Command::new(program)
            .args(arguments)
            .current_dir(run_in)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .kill_on_drop(true)
            .spawn()
            .map_err(Refusal::own)?;
        let (out, err) = (child.stdout.take(), child.stderr.take());
        let (out, err) = tokio::try_join!(bounded(out), bounded(err))?;
        let status = child.wait().await.map_err(Refusal::own)?;
        let exit = status.code().ok_or_else(|| Refusal::own(format!("the command was ended: {status}")))?;
        Ok(Said { exit, out, err })
    };
    tokio::spawn(running).await.map_err(Refusal::own)?
}

async fn bounded(from: Option<impl AsyncRead + Unpin>) -> Result<String, Refusal> {
    let mut bytes = Vec::new();
    if let Some(from) = from {
        from.take(MOST_BYTES + 1).read_to_end(&mut bytes).await.map_err(Refusal::own)?;
    }
    if bytes.len() as u64 > MOST_BYTES {
        return Err(Refusal::cannot("the command says more than a page can show", "run it in a terminal"));
    }
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn document(out: &str) -> Result<&str, Refusal> {
    let out = out.trim();
    let is_json = serde_json::from_str::<IgnoredAny>(out).is_ok();
    if is_json { Ok(out) } else { Err(Refusal::own("the command printed no document")) }
}

/// `error: SAYS` and `  try: ADVICE`, as every command ends that can't do what was asked.
fn refusal_of(err: &str) -> Refusal {
    let at = err.rfind("error: ").map_or(0, |at| at + "error: ".len());
    let text = err[at..].trim();
    match text.rsplit_once("\n  try: ") {
        Some((says, advice)) => Refusal::cannot(says.trim(), advice.trim()),
        None => {
            Refusal::cannot(if text.is_empty() { "the command gave no reason" } else { text }, "run it in a terminal")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_is_what_it_says_and_what_to_do() {
        let told = |err: &str| {
            let refusal = refusal_of(err);
            assert_eq!(refusal.status.as_u16(), 422);
            (refusal.says, refusal.advice)
        };
        let both = |says: &str, advice: &str| (says.to_owned(), advice.to_owned());
        assert_eq!(told("a hint\nerror: x.wav: no\n  try: this\n"), both("x.wav: no", "this"));
        assert_eq!(told("error: two\nlines\n  try: this one\n"), both("two\nlines", "this one"));
        assert_eq!(told(""), both("the command gave no reason", "run it in a terminal"));
    }
}
