//! `boxwright level`: a quiet tone, what comes back, and the level that follows from it.

use super::chain::{Setting, audio_failure};
use super::loudspeaker::{AlsoSaid, LoudspeakerArgs};
use super::sound::{Announcement, Shown, Sounded, Sounding, Told, Treble, on_the_terminal};
use super::{Failure, typed};
use boxwright::MADE_BY;
use boxwright::audio::{Channels, LevelReport, LevelSettings, Proposal, Tell, measure_level};
use boxwright::files::frequency_text;
use boxwright::quantity::db_from_amplitude;
use serde_json::{Value, json};
use std::process::ExitCode;
use std::sync::atomic::AtomicBool;

/// Play a quiet tone, meter reply and noise, and propose a level for a capture
///
/// Neither the tone nor the proposal is louder than --level-dbfs. Start with the amplifier turned down, and raise it or
/// the microphone's gain until the reply is well above the noise. Before a treble driver without its crossover the tone
/// must lie above the driver's lower limit: --at 4k.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// Nothing louder is played or proposed, 0 is full scale [default: the job's, else -20]
    #[arg(long, value_name = "DBFS", allow_hyphen_values = true, value_parser = typed::level_dbfs)]
    level_dbfs: Option<f64>,
    /// Peak level of the tone [default: 20 dB below --level-dbfs]
    #[arg(long, value_name = "DBFS", allow_hyphen_values = true, value_parser = typed::level_dbfs)]
    tone_dbfs: Option<f64>,
    /// Frequency of the tone
    #[arg(long, value_name = "HZ", default_value = "1k", value_parser = typed::frequency_hz)]
    at: f64,
    /// Duration of the tone
    #[arg(long, value_name = "S", default_value = "2", value_parser = typed::seconds)]
    seconds: f64,
    #[command(flatten)]
    chain: LoudspeakerArgs,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
    /// Print nothing but the proposed level (or the JSON document), and what is played
    #[arg(long, short)]
    quiet: bool,
}

/// The tone lies this far below the loudest that is allowed, for a careful start.
const TONE_BELOW_DB: f64 = 20.0;

/// A tone that is ready to sound.
pub struct Ready {
    setting: Setting,
    settings: LevelSettings,
    announcement: Announcement,
    json: bool,
}

/// Measures and proposes.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    on_the_terminal(ready(&args)?)
}

/// The tone that was asked for; what can't be played is refused before anybody is told that something sounds.
pub fn ready(args: &Args) -> Result<Ready, Failure> {
    let when = jiff::Timestamp::now().to_string();
    let setting = args.chain.setting(AlsoSaid { level_dbfs: args.level_dbfs, ..AlsoSaid::default() }, &when)?;
    let chain = &setting.chain;
    let inputs: Vec<usize> = chain.used_inputs().iter().map(|channel| channel - 1).collect();
    let channels = Channels { outputs: chain.outputs_from_0(), inputs };
    let settings = LevelSettings {
        at_hz: args.at,
        duration_s: args.seconds,
        play_dbfs: args.tone_dbfs.unwrap_or(chain.level_dbfs - TONE_BELOW_DB),
        highest_dbfs: chain.level_dbfs,
        ..LevelSettings::quiet(chain.rate, channels)
    };
    settings
        .order()
        .and_then(|_| setting.card.describe().check(settings.rate, &settings.channels))
        .map_err(audio_failure)?;
    let about = format!(
        "Playing a tone of {} at {} dBFS on {}, {} s.",
        frequency_text(settings.at_hz),
        settings.play_dbfs,
        setting.outputs_text(),
        settings.duration_s
    );
    let inputs = chain.used_inputs().into_iter().enumerate().map(|(place, channel)| Shown { channel, place });
    let announcement = Announcement {
        about,
        moments: Treble::No.moments().to_vec(),
        when_stopped: "fades out",
        inputs: inputs.collect(),
        quiet: args.quiet,
        is_simulated: setting.is_simulated(),
    };
    Ok(Ready { setting, settings, announcement, json: args.json })
}

impl Sounding for Ready {
    fn announcement(&self) -> &Announcement {
        &self.announcement
    }

    fn sound(&mut self, stop: &AtomicBool, tell: &mut Tell<'_>) -> Result<Sounded, Failure> {
        let report = measure_level(self.setting.card.as_mut(), &self.settings, stop, tell).map_err(audio_failure)?;
        let result = if self.json {
            Told::Document(document(&report, &self.settings, &self.setting))
        } else if self.announcement.quiet {
            Told::Words(proposed_dbfs(&report).map_or_else(String::new, |level_dbfs| format!("{level_dbfs:.1}\n")))
        } else {
            Told::Words(summary(&report, &self.setting))
        };
        Ok(Sounded { result, hints: Vec::new(), outcome: outcome(&report) })
    }
}

/// Down to a tenth of a decibel, never up.
fn proposed_dbfs(report: &LevelReport) -> Option<f64> {
    match report.proposal {
        Proposal::Play { level_dbfs } | Proposal::PlayAtLimit { level_dbfs, .. } => {
            Some((level_dbfs * 10.0 + 1e-9).floor() / 10.0)
        }
        Proposal::InputOverloaded | Proposal::NotHeard => None,
    }
}

fn roles(setting: &Setting) -> impl Iterator<Item = (&'static str, usize)> {
    setting.chain.inputs.roles().into_iter()
}

fn summary(report: &LevelReport, setting: &Setting) -> String {
    let mut text = String::new();
    for ((role, channel), level) in roles(setting).zip(&report.channels) {
        let shown =
            |level: Option<f64>| level.map_or("silent".to_owned(), |level_dbfs| format!("{level_dbfs:.1} dBFS"));
        let (reply, noise) = (shown(level.reply.peak_dbfs()), shown(level.noise.rms_dbfs()));
        let snr = level.snr_db().map_or(String::new(), |snr_db| match snr_db {
            0.0.. => format!(", the tone stands {snr_db:.0} dB above it"),
            _ => format!(", the tone is hidden {:.0} dB below it", -snr_db),
        });
        text.push_str(&format!("{role} on input {channel}: peak {reply}, noise {noise}{snr}\n"));
    }
    if let Some(level_dbfs) = proposed_dbfs(report) {
        text.push_str(&format!("proposed: --level-dbfs {level_dbfs}{}\n", reason(report, level_dbfs)));
    }
    text
}

fn reason(report: &LevelReport, level_dbfs: f64) -> String {
    let then_dbfs = |tone_peak: f64| db_from_amplitude(tone_peak) + level_dbfs - report.played_dbfs;
    let tone = report.channels.first().map(|level| level.tone_peak).filter(|peak| *peak > 0.0);
    let reply =
        tone.map_or(String::new(), |peak| format!("; the reply to the tone is then at {:.1} dBFS", then_dbfs(peak)));
    match report.proposal {
        Proposal::PlayAtLimit { .. } => format!(" (the most that was allowed{reply})"),
        _ => format!(" (the loudest input then peaks at -12 dBFS, which leaves room for louder frequencies{reply})"),
    }
}

/// Why no level follows: the finding's code, what was seen, what to do.
fn refusal(report: &LevelReport) -> Option<(&'static str, &'static str, &'static str)> {
    match report.proposal {
        Proposal::Play { .. } | Proposal::PlayAtLimit { .. } => None,
        Proposal::InputOverloaded => Some((
            "clipped",
            "clipped: an input is full already at this quiet tone",
            "turn the input's gain or the amplifier down, then try again",
        )),
        Proposal::NotHeard => Some((
            "too-quiet",
            "too-quiet: the tone does not stand out of the noise",
            "check cables and channels (--reply, --output-channels), then turn up the amplifier or the input's gain a little",
        )),
    }
}

fn outcome(report: &LevelReport) -> Result<ExitCode, Failure> {
    refusal(report).map_or(Ok(ExitCode::SUCCESS), |(_, says, advice)| Err(Failure::input(says, advice)))
}

fn document(report: &LevelReport, settings: &LevelSettings, setting: &Setting) -> Value {
    let mut shown = setting.document();
    shown["tone_dbfs"] = json!(settings.play_dbfs);
    shown["at_hz"] = json!(settings.at_hz);
    shown["seconds"] = json!(settings.duration_s);
    shown["target_dbfs"] = json!(settings.target_dbfs);
    let channels = roles(setting).zip(&report.channels).map(|((role, channel), level)| {
        let mut one = json!({ "channel": channel, "what": role });
        let tone_dbfs = (level.tone_peak > 0.0).then(|| db_from_amplitude(level.tone_peak));
        let levels = [
            ("peak_dbfs", level.reply.peak_dbfs()),
            ("tone_dbfs", tone_dbfs),
            ("noise_dbfs", level.noise.rms_dbfs()),
            ("snr_db", level.snr_db()),
        ];
        levels.into_iter().for_each(|(key, level)| level.into_iter().for_each(|level| one[key] = json!(level)));
        one
    });
    let mut document = json!({
        "schema": "boxwright/level/1",
        "made_by": MADE_BY,
        "inputs": [],
        "settings": shown,
        "findings": [],
        "files": [],
        "channels": channels.collect::<Vec<_>>(),
    });
    if let Some(level_dbfs) = proposed_dbfs(report) {
        document["proposed_level_dbfs"] = json!(level_dbfs);
        document["limited"] = json!(matches!(report.proposal, Proposal::PlayAtLimit { .. }));
    }
    if let Some((code, says, advice)) = refusal(report) {
        document["findings"] = json!([{ "code": code, "severity": "fault", "says": says, "advice": advice, "at": {} }]);
    }
    document
}
