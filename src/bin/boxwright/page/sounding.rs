//! `POST /api/sound`, `POST /api/stop`: a take on a thread of its own, with its own stop.
//!
//! The thread makes everything ready, answers whether it will sound, and sounds. A take of the simulated bench, which needs no
//! time, is held back to the speed of a real one, so that meter and stop can be tried with it.

use super::Shared;
use super::command::{Way, admitted};
use super::order::Order;
use super::refusal::Refusal;
use super::takes::{Claim, line};
use crate::cli::{self, Announcement, Failure, Sounded, Sounding, Told, cautions};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use boxwright::audio::Progress;
use boxwright::report::LOCAL_CODES_FIRST;
use serde::Deserialize;
use serde_json::{Value, json};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

/// A command that sounds.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SoundOrder {
    arguments: Vec<String>,
}

/// Begins a take.
pub async fn sound(
    State(page): State<Shared>,
    Order(order): Order<SoundOrder>,
) -> Result<(StatusCode, Json<Value>), Refusal> {
    let arguments = admitted(&order.arguments, Way::Sounding, &page.folder)?;
    let claim = page.takes.claim()?;
    let take = claim.take;
    let (answer, ready) = oneshot::channel();
    let one = OneTake { page: Arc::clone(&page), claim, said: order.arguments, arguments };
    let spawned = std::thread::Builder::new().name("take".into()).spawn(move || one.run(answer));
    if let Err(error) = spawned {
        page.takes.give_back();
        return Err(Refusal::own(error));
    }
    match ready.await {
        Ok(Ok(())) => Ok((StatusCode::ACCEPTED, Json(json!({ "take": take })))),
        Ok(Err(failure)) => Err(failure.into()),
        Err(_) => Err(Refusal::own("the take ended before it began")),
    }
}

/// Fades out whatever sounds.
pub async fn stop(State(page): State<Shared>, Order(_): Order<Value>) -> Json<Value> {
    Json(json!({ "was_sounding": page.takes.stop() }))
}

/// The cautions of some moments, as the page shows them.
pub fn caution_list(moments: &[boxwright::report::Moment]) -> Value {
    let own = cautions(moments).into_iter().map(|caution| json!({ "heading": caution.heading, "says": caution.says }));
    own.chain([json!({ "heading": "Local codes", "says": LOCAL_CODES_FIRST })]).collect()
}

/// A take from being made ready to its end.
struct OneTake {
    page: Shared,
    claim: Claim,
    /// As the page said it.
    said: Vec<String>,
    arguments: Vec<String>,
}

impl OneTake {
    fn run(self, answer: oneshot::Sender<Result<(), Failure>>) {
        let ready = unless_it_breaks(|| cli::sounding(&self.arguments));
        let mut sounding = match ready {
            Ok(sounding) => sounding,
            Err(failure) => {
                self.page.takes.give_back();
                let _ = answer.send(Err(failure));
                return;
            }
        };
        let _ = answer.send(Ok(()));
        self.page.takes.begin(line(&self.announced(sounding.announcement())));
        let ended = unless_it_breaks(|| self.perform(sounding.as_mut()));
        self.page.takes.end(line(&self.ended(ended)));
    }

    fn perform(&self, sounding: &mut dyn Sounding) -> Result<Sounded, Failure> {
        if self.claim.stop.load(Ordering::Relaxed) {
            return Err(Failure::input("stopped: before it began, nothing was recorded", "start it again"));
        }
        let inputs = sounding.announcement().inputs.clone();
        let mut pace = sounding.announcement().is_simulated.then(Pace::new);
        sounding.sound(&self.claim.stop, &mut |news| {
            let levels = inputs.iter().filter_map(|input| Some((input.channel, news.channels.get(input.place)?)));
            let levels = levels.map(|(channel, meter)| {
                let mut one = json!({ "channel": channel });
                for (key, level) in [("peak_dbfs", meter.peak_dbfs()), ("rms_dbfs", meter.rms_dbfs())] {
                    level.into_iter().for_each(|level| one[key] = json!(level));
                }
                one
            });
            let inputs: Vec<Value> = levels.collect();
            let Progress { done_s, total_s, .. } = *news;
            let take = self.claim.take;
            let news = json!({ "kind": "news", "take": take, "done_s": done_s, "total_s": total_s, "inputs": inputs });
            self.page.takes.say(line(&news));
            pace.iter_mut().for_each(|pace| pace.wait(done_s, &self.claim.stop));
        })
    }

    fn announced(&self, announced: &Announcement) -> Value {
        json!({
            "kind": "sounding",
            "take": self.claim.take,
            "arguments": self.said,
            "says": announced.about,
            "cautions": caution_list(&announced.moments),
        })
    }

    fn ended(&self, ended: Result<Sounded, Failure>) -> Value {
        let mut said = json!({ "kind": "ended", "take": self.claim.take, "exit": 0 });
        let outcome = match ended {
            Ok(sounded) => {
                if let Told::Document(document) = sounded.result {
                    said["document"] = document;
                }
                sounded.outcome
            }
            Err(failure) => Err(failure),
        };
        if let Err(failure) = outcome {
            let (says, advice) = failure.parts();
            said["exit"] = json!(1);
            said["error"] = json!({ "says": says, "advice": advice });
        }
        said
    }
}

/// A fault of our own in a take ends that take, and nothing else.
fn unless_it_breaks<T>(run: impl FnOnce() -> Result<T, Failure>) -> Result<T, Failure> {
    catch_unwind(AssertUnwindSafe(run)).unwrap_or_else(|panic| {
        let says = panic.downcast_ref::<String>().map(String::as_str).or(panic.downcast_ref::<&str>().copied());
        let says = format!("the program broke off: {}", says.unwrap_or("no reason was given"));
        Err(Failure::input(says, "report this, it is a fault of the program"))
    })
}

/// Holds back what needs no time to the time that it stands for.
struct Pace {
    /// When it would have begun.
    began: Option<Instant>,
}

/// A stop is looked for so often while waiting.
const LOOK_EVERY: Duration = Duration::from_millis(10);

impl Pace {
    fn new() -> Self {
        Self { began: None }
    }

    /// Until so much has been played; not at all once it is to stop.
    fn wait(&mut self, done_s: f64, stop: &AtomicBool) {
        let done = Duration::try_from_secs_f64(done_s).unwrap_or_default();
        let began = *self.began.get_or_insert_with(Instant::now);
        while began.elapsed() < done && !stop.load(Ordering::Relaxed) {
            std::thread::sleep(LOOK_EVERY.min(done.saturating_sub(began.elapsed())));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_of_our_own_ends_a_take_and_nothing_else() {
        for broken in [
            unless_it_breaks::<()>(|| panic!("no reason at all")),
            unless_it_breaks::<()>(|| panic!("no {} at all", "reason")),
        ] {
            let failure = broken.unwrap_err();
            assert_eq!(failure.parts().0, "the program broke off: no reason at all");
        }
        assert_eq!(unless_it_breaks(|| Ok(7)).unwrap(), 7);
    }

    #[test]
    fn what_needs_no_time_is_held_back_unless_it_is_to_stop() {
        let (mut pace, stop) = (Pace::new(), AtomicBool::new(false));
        let began = Instant::now();
        pace.wait(0.05, &stop);
        pace.wait(0.1, &stop);
        assert!(began.elapsed() >= Duration::from_millis(100), "{:?}", began.elapsed());
        stop.store(true, Ordering::Relaxed);
        pace.wait(1e9, &stop);
        pace.wait(f64::NAN, &stop);
        assert!(began.elapsed() < Duration::from_secs(60));
    }
}
