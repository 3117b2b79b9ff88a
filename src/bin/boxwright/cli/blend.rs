//! `boxwright blend --sat CURVE… --sub CURVE…`: where satellite and subwoofer meet.

use super::{Failure, TellingArgs, ran, ran::NO_TABLES, tell, typed};
use boxwright::blend::{Polarity, Shape};
use boxwright::files::{BlendDocument, EndTable, LowPassTable, SettingTable};
use boxwright::job::{BlendOrder, FilteredBy, Pictures, USUAL_CROSSOVERS_HZ, blend};
use boxwright::quantity::{Dimension, number_as_typed};
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use clap::ValueEnum;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Find the crossover, delay, polarity and level with which satellite and subwoofer join best at the seats
///
/// Capture each alone from every seat (`capture response`, then `response --gate none`), with the receiver's distances, levels and
/// filters set alike or off and nothing changed in between. The sums need one zero of time: a loopback, or time marks that always come from the same
/// loudspeaker (`capture response --marks-output`); without either add --both. Every combination of crossover, delay, polarity and level
/// is searched for the least ripple at the worst seat, until it is proven that there is no better one. Tell first what your receiver has:
/// --high-pass, --low-pass and --crossover. A room's narrow dips rule the result unless --smooth 1/6 leaves them out of account.
///
/// Start any capture of a subwoofer at a low level: it moves more air, and its amplifier may be set louder than you think.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// The satellite's curves, one a seat
    #[arg(long, value_name = "CURVE", required = true, num_args = 1..)]
    sat: Vec<PathBuf>,
    /// The subwoofer's curves, in the same order
    #[arg(long, value_name = "CURVE", required = true, num_args = 1..)]
    sub: Vec<PathBuf>,
    /// Both playing, nothing changed since each played alone: tells how they stand in time where the curves don't, and else checks it
    #[arg(long, value_name = "CURVE", num_args = 1..)]
    both: Vec<PathBuf>,
    /// Names of the seats, in the order of the curves [default: seat 1, seat 2 …]
    #[arg(long, value_name = "NAME,…", value_delimiter = ',')]
    seats: Vec<String>,
    /// Crossover frequencies: 60:120 (the usual ones in between), 80, or 60,80,100 [default: 40:200]
    #[arg(long, value_name = "HZ", value_parser = crossovers, help_heading = "What the receiver can be set to")]
    crossover: Option<Crossovers>,
    /// The satellite's filters: BW2 LR2 BW4 LR4 … or none
    #[arg(
        long, value_name = "NAME,…", value_delimiter = ',', default_value = "BW2,LR4", value_parser = shape,
        help_heading = "What the receiver can be set to"
    )]
    high_pass: Vec<Filter>,
    /// The subwoofer's
    #[arg(
        long, value_name = "NAME,…", value_delimiter = ',', default_value = "LR4", value_parser = shape,
        help_heading = "What the receiver can be set to"
    )]
    low_pass: Vec<Filter>,
    /// The subwoofer's low-pass has frequencies of its own [default: that of the crossover]
    #[arg(long, value_name = "HZ", value_parser = crossovers, help_heading = "What the receiver can be set to")]
    low_pass_at: Option<Crossovers>,
    /// Delays of the satellite in ms, such as -5:15, or the only one, 2.3 [default: 10 ms to both sides of the difference of the
    /// arrivals]
    #[arg(
        long, value_name = "FROM:TO", allow_hyphen_values = true, value_parser = delays_s,
        help_heading = "What the receiver can be set to"
    )]
    delay: Option<[f64; 2]>,
    /// Polarities of the subwoofer that can be set
    #[arg(long, value_name = "WHICH", default_value = "either", help_heading = "What the receiver can be set to")]
    polarity: Polarities,
    /// How much louder than matched the subwoofer may be, in dB
    #[arg(
        long, value_name = "DB", default_value = "6", value_parser = typed::pure,
        help_heading = "What the receiver can be set to"
    )]
    boost_db: f64,
    /// The only gain of the subwoofer to look at, in dB against how it was measured [default: all from 6 dB below matched to
    /// --boost-db above]
    #[arg(
        long, value_name = "DB", allow_hyphen_values = true, value_parser = typed::level_dbfs,
        help_heading = "What the receiver can be set to"
    )]
    gain_db: Option<f64>,
    /// Where ripple counts [default: from an octave below to an octave above the crossover, so that other crossovers are judged over other bands]
    #[arg(long, value_name = "FROM:TO", value_parser = typed::band_hz)]
    band: Option<[f64; 2]>,
    /// Ripple of levels over a fraction of an octave, such as 1/6, or `none`: narrow dips then count less
    #[arg(long, value_name = "OCTAVE", default_value = "none", value_parser = typed::smoothing)]
    smooth: typed::SmoothedOver,
    /// The delay error that shall spoil the result least
    #[arg(long, value_name = "MS", default_value = "0.2 ms", value_parser = typed::milliseconds_as_s)]
    delay_error: f64,
    /// The satellite's own curve, free of the room: joined near and far field, or simulated
    #[arg(long, value_name = "CURVE", help_heading = "Limits")]
    alone: Option<PathBuf>,
    /// The satellite's lowest useful frequency [default: where it has fallen by 6 dB; where only the seats tell, certainly by 10 dB]
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz, help_heading = "Limits")]
    lowest: Option<f64>,
    /// The subwoofer's highest [default: where the seats' mean has certainly fallen by 10 dB]
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz, help_heading = "Limits")]
    highest: Option<f64>,
    /// The satellite as `boxwright simulate --json` has it: how far its cone goes
    #[arg(long, value_name = "JSON", help_heading = "Limits")]
    simulation: Option<PathBuf>,
    /// Which of the simulation's loudspeakers it is [default: its only one]
    #[arg(long, value_name = "NAME", requires = "simulation", help_heading = "Limits")]
    speaker: Option<String>,
    /// How loud the satellite has to play, in dB re 20 µPa at 1 m: leaves out crossovers with which its cone would go too far
    #[arg(long, value_name = "DB", value_parser = typed::pure, help_heading = "Limits")]
    loud_db: Option<f64>,
    /// High-pass that was in the satellite's way while measuring, such as BW2:80; it is taken off
    #[arg(long, value_name = "NAME:HZ", value_parser = filtered)]
    sat_filtered: Option<FilteredBy>,
    /// Low-pass that was in the subwoofer's way
    #[arg(long, value_name = "NAME:HZ", value_parser = filtered)]
    sub_filtered: Option<FilteredBy>,
    /// Length x width x height of the room in m: lists its standing waves, and names those that show
    #[arg(long, value_name = "LxWxH", value_parser = typed::sides_m)]
    room: Option<[f64; 3]>,
    /// Folder for the results [default: blend, beside the first curve]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Draw no pictures
    #[arg(long)]
    no_pictures: bool,
    #[command(flatten)]
    telling: TellingArgs,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Polarities {
    /// 0° and 180°
    Either,
    /// 0° alone
    Straight,
    /// 180° alone
    Reversed,
}

/// A filter, or none.
#[derive(Debug, Clone, Copy)]
struct Filter(Option<Shape>);

/// No receiver delays by more, s.
const MOST_DELAYS_S: [f64; 2] = [-0.1, 0.1];

/// Frequencies, rising.
#[derive(Debug, Clone)]
struct Crossovers(Vec<f64>);

/// Finds the setting and says what to enter.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let telling = args.telling;
    let done = blend(&args.order()).map_err(|error| match error.is_usage() {
        true => Failure::usage(&error, error.advice()),
        false => Failure::input(&error, error.advice()),
    })?;
    telling.result(&done.document, || summary(&done.document, &done.folder))?;
    Ok(ExitCode::SUCCESS)
}

impl Args {
    /// What is to be blended.
    pub fn order(self) -> BlendOrder {
        let seats = match self.seats.is_empty() {
            true => (1..=self.sat.len()).map(|number| format!("seat {number}")).collect(),
            false => self.seats,
        };
        let shapes = |filters: Vec<Filter>| filters.into_iter().map(|filter| filter.0).collect();
        BlendOrder {
            ran: ran(None, NO_TABLES),
            satellite: self.sat,
            subwoofer: self.sub,
            both: self.both,
            seats,
            crossovers_hz: self.crossover.map_or_else(|| USUAL_CROSSOVERS_HZ.to_vec(), |crossovers| crossovers.0),
            high_pass: shapes(self.high_pass),
            low_pass: shapes(self.low_pass),
            low_pass_hz: self.low_pass_at.map(|crossovers| crossovers.0),
            delay_s: self.delay,
            boost_db: self.boost_db,
            gain_db: self.gain_db,
            polarities: match self.polarity {
                Polarities::Either => Polarity::ALL.to_vec(),
                Polarities::Straight => vec![Polarity::Straight],
                Polarities::Reversed => vec![Polarity::Reversed],
            },
            band_hz: self.band,
            smoothing: self.smooth.0,
            delay_error_s: self.delay_error,
            lowest_hz: self.lowest,
            highest_hz: self.highest,
            alone: self.alone,
            simulation: self.simulation.map(|path| (path, self.speaker)),
            loud_db: self.loud_db,
            filtered: [self.sat_filtered, self.sub_filtered],
            room_m: self.room,
            out: self.out,
            pictures: if self.no_pictures { Pictures::None } else { Pictures::Drawn },
        }
    }
}

/// `60:120`, `80`, `60,80,100`.
fn crossovers(text: &str) -> Result<Crossovers, String> {
    if text.contains(':') {
        let [from_hz, to_hz] = typed::band_hz(text)?;
        let within: Vec<f64> = USUAL_CROSSOVERS_HZ.into_iter().filter(|hz| (from_hz..=to_hz).contains(hz)).collect();
        return match within.is_empty() {
            true => Err(format!("no usual crossover lies in {text}; name it, such as 85")),
            false => Ok(Crossovers(within)),
        };
    }
    let mut all = text.split(',').map(typed::frequency_hz).collect::<Result<Vec<f64>, String>>()?;
    if let Some(hz) = all.iter().find(|hz| !(20.0..=500.0).contains(*hz)) {
        return Err(format!("{hz} Hz is no crossover between satellite and subwoofer (20 to 500 Hz)"));
    }
    all.sort_by(f64::total_cmp);
    all.dedup();
    Ok(Crossovers(all))
}

fn shape(text: &str) -> Result<Filter, String> {
    if text.trim().eq_ignore_ascii_case("none") {
        return Ok(Filter(None));
    }
    text.parse().map(|shape| Filter(Some(shape))).map_err(told)
}

fn told(error: boxwright::blend::BlendError) -> String {
    format!("{error}; {}", error.advice())
}

/// `BW2:80`.
fn filtered(text: &str) -> Result<FilteredBy, String> {
    let (name, hz) =
        text.split_once(':').ok_or_else(|| format!("{text:?} is no filter with its frequency, such as BW2:80"))?;
    Ok(FilteredBy { shape: name.parse().map_err(told)?, hz: typed::frequency_hz(hz)? })
}

/// `-5:15`, `2.3`: ms.
fn delays_s(text: &str) -> Result<[f64; 2], String> {
    let number = |text: &str| {
        number_as_typed(text, Dimension::Milliseconds).map_err(|error| format!("{error}; {}", error.advice()))
    };
    let delays_s = match text.split_once(':') {
        Some((from, to)) => [1e-3 * number(from)?, 1e-3 * number(to)?],
        None => [1e-3 * number(text)?; 2],
    };
    let is_within = MOST_DELAYS_S[0] <= delays_s[0] && delays_s[1] <= MOST_DELAYS_S[1];
    match text.contains(':') {
        true if is_within && delays_s[0] < delays_s[1] => Ok(delays_s),
        false if is_within => Ok(delays_s),
        true => Err(format!("{text:?} does not rise within -100 to 100 ms")),
        false => Err(format!("{text:?} is no delay within -100 to 100 ms")),
    }
}

fn summary(document: &BlendDocument, folder: &Path) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let mut entries: Vec<Entry> = document
        .menu
        .iter()
        .enumerate()
        .map(|(at, line)| Entry::text(if at == 0 { "set" } else { "" }, line.clone()))
        .collect();
    let tolerance = &document.tolerance;
    let [delay, gain] = [tolerance.delay_ms, tolerance.gain_db];
    // In the terms of the menu: on whichever is delayed.
    let (late, delay) =
        if document.setting.delay_ms < 0.0 { ("subwoofer", [-delay[1], -delay[0]]) } else { ("satellites", delay) };
    entries.push(Entry::text(
        "half a dB worse",
        format!(
            "beyond {:.2} to {:.2} ms on the {late}, beyond {:+.1} to {:+.1} dB of the subwoofer",
            delay[0], delay[1], gain[0], gain[1]
        ),
    ));
    let ripple = |db: f64, u_db: f64| {
        if u_db > 0.0 { format!("{db:.1} ± {:.1} dB", 2.0 * u_db) } else { format!("{db:.1} dB") }
    };
    let worst = document.setting.ripple_db;
    entries.push(Entry::text(
        "ripple",
        format!(
            "{} at the worst seat; without help {:.1} dB, {:.1} dB gained",
            ripple(worst, document.u_ripple_db),
            document.without_help_db,
            document.without_help_db - worst
        ),
    ));
    for seat in &document.seats {
        entries.push(Entry::text(
            "",
            format!(
                "{}: {}, without help {:.1} dB",
                seat.name,
                ripple(seat.ripple_db, seat.u_ripple_db),
                seat.without_help_db
            ),
        ));
    }
    entries.push(Entry::text("without help", setting_words(&document.without_help)));
    entries.push(Entry::text("no setting has less", format!("than {:.2} dB", document.at_least_db)));
    for (at, other) in document.alternatives.iter().enumerate() {
        entries.push(Entry::text(if at == 0 { "next best" } else { "" }, setting_words(other)));
    }
    if let Some(satellite) = &document.satellite {
        entries.extend(end_entries("satellite down to", &satellite.end));
        let from = [("second-order", satellite.second_order_from_hz), ("steeper", satellite.steeper_from_hz)];
        let words: Vec<String> =
            from.iter().filter_map(|(name, hz)| Some(format!("from {} Hz with a {name} high-pass", (*hz)?))).collect();
        if !words.is_empty() {
            entries.push(Entry::text("crossover advised", words.join(", ")));
        }
        if let Some(loudest_db) = satellite.loudest_db {
            entries.push(Entry::text(
                "satellite plays up to",
                format!("{loudest_db:.0} dB at 1 m before its cone goes too far"),
            ));
        }
    }
    if let Some(subwoofer) = &document.subwoofer {
        entries.extend(end_entries("subwoofer up to", subwoofer));
    }
    let waves: Vec<String> = document
        .standing_waves
        .iter()
        .filter(|wave| wave.kind == "axial")
        .map(|wave| format!("{:.0} Hz", wave.frequency_hz))
        .collect();
    if !waves.is_empty() {
        entries.push(Entry::text(
            "standing waves",
            format!("{} (between two walls; all are in the document)", waves.join(", ")),
        ));
    }
    let mut text = numbers_text(&entries, layout);
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str(&format!("\nwritten to {} ({} files); ± is 2u\n", folder.display(), document.files.len()));
    text
}

fn setting_words(setting: &SettingTable) -> String {
    let low = match &setting.low_pass {
        LowPassTable::Name(name) => name.clone(),
        LowPassTable::At { name, hz } => format!("{name} at {hz} Hz"),
    };
    format!(
        "{} Hz, {} / {low}, satellite {:+.2} ms, subwoofer {:+.1} dB, phase {}: {:.1} dB",
        setting.crossover_hz,
        setting.high_pass,
        setting.delay_ms,
        setting.gain_db,
        if setting.polarity == "+" { "0°" } else { "180°" },
        setting.ripple_db
    )
}

fn end_entries(name: &str, end: &EndTable) -> Option<Entry> {
    let all = [("−3 dB", &end.f3), ("−6 dB", &end.f6), ("−10 dB", &end.f10)];
    let words: Vec<String> = all
        .iter()
        .filter_map(|(fall, found)| found.as_ref().map(|hz| format!("{:.0} ± {:.0} Hz ({fall})", hz.value, 2.0 * hz.u)))
        .collect();
    (!words.is_empty()).then(|| Entry::text(name, words.join(", ")))
}
