//! What a person sees and can do while something sounds: cautions before, meters meanwhile, Ctrl-C.
//!
//! A command that plays something is [`Sounding`] once everything that could be refused has been looked at; who lets it
//! sound (the terminal here, the page) decides what stops it and who hears how it goes.

use super::{Failure, tell};
use boxwright::audio::{Meter, Progress, Tell};
use boxwright::report::{Caution, LOCAL_CODES_FIRST, Moment, cautions_at};
use serde_json::Value;
use std::collections::HashSet;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Something that is ready to sound.
pub trait Sounding {
    /// What a person is told beforehand.
    fn announcement(&self) -> &Announcement;

    /// Lets it sound until its end, or until `stop` becomes true, and gives what came of it.
    fn sound(&mut self, stop: &AtomicBool, tell: &mut Tell<'_>) -> Result<Sounded, Failure>;
}

/// What a person is told before something sounds.
pub struct Announcement {
    /// What, how loud, from where, how long.
    pub about: String,
    /// What there is to take care of.
    pub moments: Vec<Moment>,
    /// What a stop does.
    pub when_stopped: &'static str,
    /// The inputs whose levels are shown.
    pub inputs: Vec<Shown>,
    /// Whether as little as possible is said.
    pub quiet: bool,
    /// Whether it takes no real time, because the simulated bench plays it.
    pub is_simulated: bool,
}

/// What came of it.
pub struct Sounded {
    /// For standard output.
    pub result: Told,
    /// Said beside it, on standard error.
    pub hints: Vec<String>,
    /// How the command ends.
    pub outcome: Result<ExitCode, Failure>,
}

/// A result as it was asked for.
pub enum Told {
    /// With `--json`.
    Document(Value),
    /// Else.
    Words(String),
}

/// Lets it sound with the terminal to tell and Ctrl-C to stop it.
pub fn on_the_terminal(mut sounding: impl Sounding) -> Result<ExitCode, Failure> {
    let stop = stop_on_ctrl_c()?;
    let announced = sounding.announcement();
    before_sound(announced);
    let live = LiveLine::new(announced.inputs.clone(), announced.quiet);
    let sounded = sounding.sound(&stop, &mut |news| live.show(news));
    live.done();
    let sounded = sounded?;
    match &sounded.result {
        Told::Document(document) => tell::json(document)?,
        Told::Words(words) => tell::result(words)?,
    }
    sounded.hints.iter().for_each(|hint| tell::hint(hint));
    sounded.outcome
}

/// A flag that Ctrl-C sets. A second Ctrl-C sets it again, so that nothing interrupts the saving.
fn stop_on_ctrl_c() -> Result<Arc<AtomicBool>, Failure> {
    let stop = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&stop);
    ctrlc::set_handler(move || flag.store(true, Ordering::Relaxed)).map_err(|error| {
        Failure::input(format!("can't watch for Ctrl-C: {error}"), "start it from a plain terminal")
    })?;
    Ok(stop)
}

/// Says what is about to sound and, unless it is to be quiet, what to take care of.
fn before_sound(announced: &Announcement) {
    tell::hint(&announced.about);
    if announced.quiet {
        return;
    }
    for caution in cautions(&announced.moments) {
        tell::hint(&format!("  {}: {}", caution.heading, first_sentence(caution.says)));
    }
    tell::hint(&format!("  {LOCAL_CODES_FIRST}"));
    tell::hint(&format!("  Ctrl-C {}.", announced.when_stopped));
}

/// The cautions that matter at any of the moments, each once.
pub fn cautions(moments: &[Moment]) -> Vec<&'static Caution> {
    let mut said = HashSet::new();
    moments.iter().copied().flat_map(cautions_at).filter(|caution| said.insert(caution.danger)).collect()
}

/// Whether a treble driver without its crossover is connected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Treble {
    Yes,
    No,
}

impl Treble {
    /// When the cautions matter that hold before a sound.
    pub fn moments(self) -> &'static [Moment] {
        match self {
            Self::No => &[Moment::BeforeSound],
            Self::Yes => &[Moment::TrebleDriver, Moment::BeforeSound],
        }
    }
}

pub(super) fn first_sentence(text: &str) -> &str {
    text.find(". ").map_or(text, |end| &text[..=end])
}

/// An input of the live line.
#[derive(Debug, Clone, Copy)]
pub struct Shown {
    /// As the person counts it, from 1.
    pub channel: usize,
    /// Its place among those that are recorded, from 0.
    pub place: usize,
}

/// The line that shows how far a take has come and how loud its inputs are; only for a terminal.
struct LiveLine {
    inputs: Vec<Shown>,
    is_shown: bool,
}

impl LiveLine {
    /// For these inputs.
    fn new(inputs: Vec<Shown>, quiet: bool) -> Self {
        Self { inputs, is_shown: !quiet && tell::is_terminal() }
    }

    /// Draws it anew.
    fn show(&self, news: &Progress<'_>) {
        if self.is_shown {
            tell::redraw(&line(&self.inputs, news));
        }
    }

    /// Leaves room for what comes after it.
    fn done(&self) {
        if self.is_shown {
            tell::redraw("");
        }
    }
}

fn line(inputs: &[Shown], news: &Progress<'_>) -> String {
    let meters = inputs.iter().filter_map(|input| Some((input.channel, news.channels.get(input.place)?)));
    let meters: Vec<String> = meters.map(|(channel, meter)| format!("in {channel} {}", meter_text(meter))).collect();
    format!("{:5.1} of {:.1} s  {}", news.done_s, news.total_s, meters.join("  "))
}

/// The meter's bar begins here; one letter of it is 5 dB.
const BAR_FROM_DBFS: f64 = -60.0;
const BAR_STEP_DB: f64 = 5.0;
const BAR_LETTERS: usize = 12;

fn meter_text(meter: &Meter) -> String {
    let Some(peak_dbfs) = meter.peak_dbfs() else { return format!("[{:BAR_LETTERS$}]  silent    ", "") };
    let letters = ((peak_dbfs - BAR_FROM_DBFS) / BAR_STEP_DB).ceil().clamp(0.0, BAR_LETTERS as f64) as usize;
    format!("[{:BAR_LETTERS$}] {peak_dbfs:5.1} dBFS", "#".repeat(letters))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_shows_time_and_every_input_that_is_used() {
        let channels = [Meter::default(), Meter { peak: 0.1, rms: 0.05 }];
        let news = Progress { done_s: 2.0, total_s: 9.25, channels: &channels };
        let inputs = [Shown { channel: 2, place: 1 }, Shown { channel: 1, place: 0 }];
        assert_eq!(
            line(&inputs, &news),
            "  2.0 of 9.2 s  in 2 [########    ] -20.0 dBFS  in 1 [            ]  silent    "
        );
    }

    #[test]
    fn a_sentence_ends_at_its_stop() {
        assert_eq!(first_sentence("Take 1.5 V. Then stop."), "Take 1.5 V.");
        assert_eq!(first_sentence("One only."), "One only.");
    }
}
