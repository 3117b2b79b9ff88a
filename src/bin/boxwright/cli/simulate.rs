//! `boxwright simulate JOB`: what a design promises.

use super::{Failure, TellingArgs, ran, tell, typed};
use boxwright::driver::DATA_SHEET_V;
use boxwright::files::{SimulationDocument, SpeakerTable, frequency_text};
use boxwright::job::{Banding, Pictures, SimulationOrder, design_tables, simulate_job};
use boxwright::network::ESeries;
use boxwright::quantity::POINTS_PER_OCTAVE;
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use boxwright::speaker::{Ear, Space};
use clap::ValueEnum;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Simulate the loudspeakers of a job: response, impedance, excursion, the loudest level, and how far they may turn out otherwise
///
/// The job's job.toml describes drivers, boxes, fronts, networks and loudspeakers.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// Job folder, or its job.toml
    #[arg(default_value = ".")]
    job: PathBuf,
    /// Which of the job's loudspeakers [default: all]
    #[arg(long, value_name = "NAME")]
    speaker: Option<String>,
    /// Which frequencies, in Hz
    #[arg(long, value_name = "FROM:TO", default_value = "20:20000", value_parser = typed::band_hz)]
    band: [f64; 2],
    /// Points of the curves in an octave
    #[arg(long, value_name = "N", default_value_t = POINTS_PER_OCTAVE, value_parser = clap::value_parser!(u32).range(1..=1000))]
    points_per_octave: u32,
    /// Distance of the ear, in m
    #[arg(long, value_name = "M", default_value = "1", value_parser = typed::metres)]
    distance_m: f64,
    /// Angle of the ear from the axis, to the right, in degrees
    #[arg(long, value_name = "DEG", default_value = "0", value_parser = angle)]
    angle: f64,
    /// Angle of the ear from the axis, upwards, in degrees
    #[arg(long, value_name = "DEG", default_value = "0", value_parser = angle)]
    up: f64,
    /// The space it radiates into
    #[arg(long, value_name = "SPACE", default_value = "as-designed")]
    space: SpaceChoice,
    /// Voltage of the amplifier, in V rms
    #[arg(long, value_name = "V", default_value_t = DATA_SHEET_V, value_parser = typed::volts)]
    drive_v: f64,
    /// Replace the network's parts by the nearest of this series: E3, E6, E12, E24, E48, E96, E192
    #[arg(long, value_name = "SERIES", value_parser = series)]
    e_series: Option<ESeries>,
    /// Leave out how far everything may turn out otherwise
    #[arg(long)]
    no_tolerance: bool,
    /// Folder for the results [default: simulation, beside the job.toml]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Draw no pictures
    #[arg(long)]
    no_pictures: bool,
    #[command(flatten)]
    telling: TellingArgs,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum SpaceChoice {
    /// With a baffle the whole space, with its edges; without one half of it
    AsDesigned,
    /// Half of it, the front an endless wall
    Half,
    /// The whole, without a front
    Full,
}

/// Simulates the job and says what it promises.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let order = SimulationOrder {
        ran: ran(Some(&args.job), &design_tables(&args.job, args.speaker.as_deref())),
        job: args.job,
        speaker: args.speaker,
        band_hz: args.band,
        points_per_octave: args.points_per_octave,
        ear: Ear { distance_m: args.distance_m, across_rad: args.angle.to_radians(), up_rad: args.up.to_radians() },
        space: match args.space {
            SpaceChoice::AsDesigned => Space::AsDesigned,
            SpaceChoice::Half => Space::Half,
            SpaceChoice::Full => Space::Full,
        },
        drive_v: args.drive_v,
        air: None,
        e_series: args.e_series,
        tolerance: if args.no_tolerance { Banding::None } else { Banding::Worked },
        out: args.out,
        pictures: if args.no_pictures { Pictures::None } else { Pictures::Drawn },
    };
    let done = simulate_job(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    args.telling.result(&done.document, || summary(&done.document, &done.folder))?;
    Ok(ExitCode::SUCCESS)
}

/// `30`, `-15`: in front of the loudspeaker.
fn angle(text: &str) -> Result<f64, String> {
    let degrees = typed::pure(text)?;
    if degrees.abs() <= 85.0 { Ok(degrees) } else { Err(format!("{text:?} is not within -85 to 85 degrees")) }
}

/// `E12`.
pub fn series(text: &str) -> Result<ESeries, String> {
    let found = ESeries::ALL.iter().find(|(name, _)| name.eq_ignore_ascii_case(text));
    found.map(|(_, series)| *series).ok_or_else(|| format!("{text:?} is none of E3, E6, E12, E24, E48, E96, E192"))
}

fn summary(document: &SimulationDocument, folder: &Path) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let mut text = String::new();
    for (name, speaker) in &document.speakers {
        text.push_str(&format!("{name}, simulated\n{}", numbers_text(&numbers(speaker), layout)));
        let strongest: Vec<Entry> = speaker
            .parameters
            .iter()
            .take(5)
            .map(|one| {
                let spread = if one.spread_unit == "%" {
                    format!("{:.1} %", 2.0 * one.spread)
                } else {
                    format!("{:.3} of 1/Q", 2.0 * one.spread)
                };
                Entry::text(
                    &one.name,
                    format!(
                        "± {spread} moves it by up to {:.1} dB, at {}",
                        2.0 * one.worst_db.abs(),
                        frequency_text(one.at_hz)
                    ),
                )
            })
            .collect();
        if !strongest.is_empty() {
            text.push_str(&format!("\nwhat moves the response most\n{}", numbers_text(&strongest, layout)));
        }
        let replaced: Vec<Entry> = speaker
            .replaced
            .iter()
            .map(|one| {
                Entry::text(
                    &one.part,
                    format!("{:.3e} drawn, {:.3e} taken, {:+.1} %", one.drawn, one.nearest, one.off_percent),
                )
            })
            .collect();
        if !replaced.is_empty() {
            text.push_str(&format!("\nparts that can be bought\n{}", numbers_text(&replaced, layout)));
        }
        let rests: Vec<Entry> = speaker.rests_on.iter().map(|one| Entry::text(&one.of, one.rests_on.clone())).collect();
        text.push_str(&format!("\nrests on\n{}\n", numbers_text(&rests, layout)));
    }
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("{findings}\n"));
    }
    text.push_str(&format!("written to {} ({} files)\n", folder.display(), document.files.len()));
    text
}

fn numbers(speaker: &SpeakerTable) -> Vec<Entry> {
    let response = &speaker.response;
    let mean = |from: f64, to: f64| {
        let inside = response.frequency_hz.iter().zip(&response.level_db).filter(|(hz, _)| (from..=to).contains(*hz));
        let levels: Vec<f64> = inside.map(|(_, db)| *db).collect();
        (!levels.is_empty()).then(|| levels.iter().sum::<f64>() / levels.len() as f64)
    };
    let mut entries = Vec::new();
    if let Some(level_db) = mean(250.0, 4000.0).or_else(|| mean(0.0, f64::MAX)) {
        entries.push(Entry::text("mean level", format!("{level_db:.1} dB, 250 Hz to 4 kHz")));
        // −3 dB of the mean, from the middle downwards.
        let below = response.frequency_hz.iter().zip(&response.level_db).take_while(|(hz, _)| **hz < 1000.0);
        let lowest = below.collect::<Vec<_>>().into_iter().rev().find(|(_, db)| **db < level_db - 3.0);
        entries.extend(lowest.map(|(hz, _)| Entry::text("3 dB below that", frequency_text(*hz))));
    }
    let minimum = &speaker.minimum;
    entries
        .push(Entry::text("lowest impedance", format!("{:.2} ohm at {}", minimum.ohm, frequency_text(minimum.at_hz))));
    let most = |hz: &[f64], values: &[f64]| {
        let at = (0..values.len()).max_by(|a, b| values[*a].total_cmp(&values[*b]))?;
        Some((values[at], frequency_text(hz[at])))
    };
    let excursion = speaker.excursion.as_ref().and_then(|columns| most(&columns.frequency_hz, &columns.peak_mm));
    entries
        .extend(excursion.map(|(mm, at)| Entry::text("largest excursion", format!("{mm:.2} mm to one side, at {at}"))));
    let speed = speaker.port_air_speed.as_ref().and_then(|columns| most(&columns.frequency_hz, &columns.peak_m_s));
    entries.extend(speed.map(|(speed, at)| Entry::text("fastest air in the vent", format!("{speed:.1} m/s, at {at}"))));
    entries
}
