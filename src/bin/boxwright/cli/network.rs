//! `boxwright network FILE`: what a passive network does with its loads.

use super::{Failure, TellingArgs, ran, tell, typed};
use boxwright::driver::DATA_SHEET_V;
use boxwright::files::{NetworkDocument, frequency_text};
use boxwright::job::{LoadIs, NetworkOrder, design_tables, work_out};
use boxwright::quantity::POINTS_PER_OCTAVE;
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use std::path::PathBuf;
use std::process::ExitCode;

/// Work out a passive network with its real loads: what reaches each way, what the amplifier sees, what gets warm
///
/// The file is a netlist: a line for each part, as in `L1 in mid 0.39m dcr=0.25`; the amplifier is at in, ground is 0.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The netlist
    netlist: PathBuf,
    /// What hangs at a node: NODE=CURVE (an impedance) or NODE=OHM
    #[arg(long = "load", value_name = "NODE=LOAD", num_args = 1.., value_parser = load)]
    loads: Vec<(String, LoadIs)>,
    /// Job folder whose loudspeaker hangs on it
    #[arg(long, value_name = "DIR", conflicts_with = "loads")]
    job: Option<PathBuf>,
    /// Which of the job's loudspeakers [default: its only one]
    #[arg(long, value_name = "NAME", requires = "job")]
    speaker: Option<String>,
    /// Which frequencies, in Hz
    #[arg(long, value_name = "FROM:TO", default_value = "20:20000", value_parser = typed::band_hz)]
    band: [f64; 2],
    /// Points of the curves in an octave
    #[arg(long, value_name = "N", default_value_t = POINTS_PER_OCTAVE, value_parser = clap::value_parser!(u32).range(1..=1000))]
    points_per_octave: u32,
    /// Voltage of the amplifier, in V rms
    #[arg(long, value_name = "V", default_value_t = DATA_SHEET_V, value_parser = typed::volts)]
    drive_v: f64,
    /// Folder for the document [default: it is not written]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    telling: TellingArgs,
}

/// Works the network out and says what it does.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let looked_into = args.job.as_ref().map_or_else(Vec::new, |job| design_tables(job, args.speaker.as_deref()));
    let order = NetworkOrder {
        ran: ran(args.job.as_deref(), &looked_into),
        netlist: args.netlist,
        loads: args.loads,
        job: args.job.map(|job| (job, args.speaker)),
        band_hz: args.band,
        points_per_octave: args.points_per_octave,
        drive_v: args.drive_v,
        out: args.out,
    };
    let document = work_out(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    args.telling.result(&document, || summary(&document))?;
    Ok(ExitCode::SUCCESS)
}

/// `t=treble-z.csv`, `w=8`.
fn load(text: &str) -> Result<(String, LoadIs), String> {
    let (node, load) = text.split_once('=').ok_or_else(|| format!("{text:?} is not NODE=CURVE or NODE=OHM"))?;
    let load = match typed::ohms(load) {
        Ok(ohm) => LoadIs::Ohm(ohm),
        Err(_) => LoadIs::Curve(PathBuf::from(load)),
    };
    Ok((node.to_owned(), load))
}

fn summary(document: &NetworkDocument) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let minimum = &document.minimum;
    let mut entries =
        vec![Entry::text("lowest impedance", format!("{:.2} ohm at {}", minimum.ohm, frequency_text(minimum.at_hz)))];
    for (name, way) in &document.ways {
        let most = way.gain_db.iter().copied().fold(f64::MIN, f64::max);
        let passed: Vec<f64> =
            way.frequency_hz.iter().zip(&way.gain_db).filter(|(_, db)| **db > most - 3.0).map(|(hz, _)| *hz).collect();
        let [from, to] = [passed.first(), passed.last()].map(|hz| frequency_text(hz.copied().unwrap_or(0.0)));
        entries.push(Entry::text(name, format!("{most:+.1} dB at the most, within 3 dB of that from {from} to {to}")));
    }
    let mut text = numbers_text(&entries, layout);
    let warm: Vec<Entry> = document
        .parts
        .iter()
        .map(|part| {
            let says = format!(
                "{:.2} W at the most, at {}; {:.2} W with pink noise; {:.2} V across it",
                part.most_w,
                frequency_text(part.at_hz),
                part.pink_w,
                part.most_v
            );
            Entry::text(&part.name, says)
        })
        .collect();
    text.push_str(&format!("\nheat at {} V\n{}", document.settings.drive_v, numbers_text(&warm, layout)));
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text
}
