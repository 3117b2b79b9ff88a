//! `boxwright impedance CAPTURE`: what the amplifier sees, from a two-channel capture of a jig.

use super::response::{bench, two_digits};
use super::sound::first_sentence;
use super::{Failure, TellingArgs, ran, tell, typed};
use boxwright::files::{self, CaptureKind};
use boxwright::job::{ImpedanceOrder, Impeded, Pictures, bench_keys, impede};
use boxwright::quantity::{Code, POINTS_PER_OCTAVE, Severity};
use boxwright::report::{Entry, LOCAL_CODES_FIRST, Layout, Moment, cautions_at, findings_text, numbers_text};
use std::path::PathBuf;
use std::process::ExitCode;

/// Turn a two-channel capture of a jig into an impedance curve with its uncertainty
///
/// The jig: output, channel --drive, sense resistor, channel --load, loudspeaker (the README has a drawing, and what
/// never to connect to what). A capture of `boxwright capture impedance` says itself what was played and which channel
/// is which. Captures of the same jig with nothing connected (--open), with the ends of the leads together (--short) or
/// with a known resistor (--known) take off what the jig adds, in any combination. Values are shown with ± 2u.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// The capture with the loudspeaker
    wav: PathBuf,
    /// The WAV that was played
    #[arg(long, value_name = "WAV")]
    excitation: Option<PathBuf>,
    /// Channel before the sense resistor [default: the capture's, else the job's, else 1]
    #[arg(long, value_name = "N", value_parser = typed::channel)]
    drive: Option<usize>,
    /// Channel across the loudspeaker [default: the capture's, else the job's, else 2]
    #[arg(long, value_name = "N", value_parser = typed::channel)]
    load: Option<usize>,
    /// The sense resistor, in ohm [default: the capture's, else the job's]
    #[arg(long, value_name = "R", value_parser = typed::ohms)]
    sense_ohm: Option<f64>,
    /// How far the sense resistor may be off, as printed on it
    #[arg(long, value_name = "PERCENT", default_value = "1%", value_parser = typed::tolerance)]
    sense_tolerance: f64,
    /// How far the gains of the two inputs may lie apart, in dB [default: the capture's, else the job's, else not known: 1]
    #[arg(long, value_name = "DB", value_parser = typed::pure)]
    gain_limit_db: Option<f64>,
    /// Resistance of the leads to the loudspeaker and back, in ohm [default: not known, 0 to 0.1]
    #[arg(long, value_name = "R", value_parser = typed::ohms_or_none)]
    lead_ohm: Option<f64>,
    /// Capture with the far ends of the leads together: tells the leads
    #[arg(long, value_name = "WAV")]
    short: Option<PathBuf>,
    /// Capture with nothing connected: tells what the two inputs differ by
    #[arg(long, value_name = "WAV")]
    open: Option<PathBuf>,
    /// Capture with a known resistor in the loudspeaker's place: tells what the two inputs differ by
    #[arg(long, value_name = "WAV", requires = "known_ohm")]
    known: Option<PathBuf>,
    /// The known resistor, in ohm
    #[arg(long, value_name = "R", value_parser = typed::ohms, requires = "known")]
    known_ohm: Option<f64>,
    /// How far the known resistor may be off
    #[arg(long, value_name = "PERCENT", default_value = "1%", value_parser = typed::tolerance)]
    known_tolerance: f64,
    /// Peak voltage at the inputs that full scale stands for: voltages across the loudspeaker become known
    #[arg(long, value_name = "V", value_parser = typed::volts)]
    input_full_scale_v: Option<f64>,
    /// Points of the curve in each octave
    #[arg(long, value_name = "N", default_value_t = POINTS_PER_OCTAVE, value_parser = clap::value_parser!(u32).range(1..=384))]
    points_per_octave: u32,
    /// Which band is wanted, and rated, in Hz [default: all that was excited]
    #[arg(long, value_name = "FROM:TO", value_parser = typed::band_hz)]
    band: Option<[f64; 2]>,
    /// Folder for the results [default: beside the capture, named after it]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Job folder whose job.toml gives defaults [default: this folder, where it has one]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Draw no pictures
    #[arg(long)]
    no_pictures: bool,
    #[command(flatten)]
    telling: TellingArgs,
}

/// Analyses the capture and says what was found.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let telling = args.telling;
    let order = order(args)?;
    let impeded = impede(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    telling.result(&impeded.document, || summary(&impeded))?;
    if telling.in_words() {
        before_rewiring(&impeded);
    }
    Ok(ExitCode::SUCCESS)
}

fn order(args: Args) -> Result<ImpedanceOrder, Failure> {
    Ok(ImpedanceOrder {
        ran: ran(args.job.as_deref(), &bench_keys(&args.wav, CaptureKind::Impedance)),
        bench: bench(args.job.as_deref())?,
        wav: args.wav,
        excitation: args.excitation,
        drive: args.drive,
        load: args.load,
        sense_ohm: args.sense_ohm,
        sense_tolerance_ratio: args.sense_tolerance,
        gain_limit_db: args.gain_limit_db,
        lead_ohm: args.lead_ohm,
        open: args.open,
        short: args.short,
        known: args.known,
        known_ohm: args.known_ohm,
        known_tolerance_ratio: args.known_tolerance,
        input_full_scale_v: args.input_full_scale_v,
        points_per_octave: args.points_per_octave,
        band_hz: args.band,
        out: args.out,
        pictures: if args.no_pictures { Pictures::None } else { Pictures::Drawn },
    })
}

/// Where the wires are wrong, what to take care of before they are changed.
fn before_rewiring(impeded: &Impeded) {
    let is_of_wires = |code| matches!(code, Code::ChannelsSwapped | Code::Implausible);
    let faults = impeded.document.findings.iter().filter(|finding| finding.severity == Severity::Fault);
    if { faults }.any(|finding| is_of_wires(finding.code)) {
        tell::hint("Before you change the wires:");
        for caution in cautions_at(Moment::Wiring) {
            tell::hint(&format!("  {}: {}", caution.heading, first_sentence(caution.says)));
        }
        tell::hint(&format!("  {LOCAL_CODES_FIRST}"));
    }
}

fn summary(impeded: &Impeded) -> String {
    let document = &impeded.document;
    let [from_hz, to_hz] = document.rated_band_hz.map(files::frequency_text);
    let points = document.curve.frequency_hz.len();
    let mut entries = vec![Entry::text("curve", format!("{points} points, {from_hz} to {to_hz}"))];
    for peak in &document.peaks {
        let at = files::frequency_text(peak.frequency_hz);
        entries.push(Entry::text("peak", format!("{:.2} Ω at {at}", peak.magnitude_ohm)));
    }
    let minimum = document.minimum;
    entries.push(Entry::text("minimum", format!("{:.3} Ω at {}", minimum.ohm, files::frequency_text(minimum.at_hz))));
    let rated = match document.rated_ohm {
        Some(ohm) => format!("{ohm} Ω: 80 % of it are kept from {from_hz} to {to_hz} (IEC 60268-5)"),
        None => "none: the minimum is below 80 % of 2 Ω".to_owned(),
    };
    entries.push(Entry::text("rated impedance", rated));
    entries.push(Entry::text("doubt", doubt(impeded)));
    entries.push(Entry::quantity("leads", document.lead));
    entries.extend(document.sense.map(|sense| Entry::quantity("sense resistor", sense)));
    entries.extend(document.gain_db.map(|db| Entry::text("load/drive gain", format!("{db:+.3} dB"))));
    entries.push(Entry::text("load's voltage", voltage(impeded)));
    let layout = Layout { width: 100, paint: tell::paint() };
    let mut text = format!("{}\n{}", document.inputs[0].path, numbers_text(&entries, layout));
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str(&format!("\nwritten to {} ({} files); ± is 2u\n", impeded.folder.display(), document.files.len()));
    text
}

/// What noise and what all points share leave in doubt, as percent of |Z| in the middle of the points.
fn doubt(impeded: &Impeded) -> String {
    let columns = &impeded.document.curve;
    let median = |u: &[f64]| {
        let mut shares: Vec<f64> = u.iter().zip(&columns.magnitude_ohm).map(|(u, ohm)| 200.0 * u / ohm).collect();
        shares.sort_by(f64::total_cmp);
        shares.get(shares.len() / 2).copied().unwrap_or(0.0)
    };
    let (all, noise) = (median(&columns.u_ohm), median(&columns.u_noise_ohm));
    format!("± {} %, of which noise ± {} %, at half of the points or better", two_digits(all), two_digits(noise))
}

fn voltage(impeded: &Impeded) -> String {
    let Some(voltage) = impeded.document.load_voltage else {
        return "not known: --input-full-scale-v says what full scale stands for".to_owned();
    };
    let millivolts = |volts: f64| format!("{:.1} mV", 1e3 * volts);
    let at_peak = voltage.at_peak_v.map_or(String::new(), |volts| format!("{} at the peak, ", millivolts(volts)));
    format!("{at_peak}{} at half of the points, rms", millivolts(voltage.median_v))
}
