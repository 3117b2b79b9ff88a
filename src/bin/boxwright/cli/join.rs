//! `boxwright join NEAR… FAR`: the whole curve of a loudspeaker from a living room.

use super::{Failure, TellingArgs, ran, tell, typed};
use boxwright::baffle::{FlatBaffle, Outline};
use boxwright::files::{JoinDocument, frequency_text};
use boxwright::job::{JoinJob, JoinOrder, Pictures, design_tables, join_curves};
use boxwright::quantity::{Dimension, POINTS_PER_OCTAVE, number_as_typed};
use boxwright::report::{Entry, Layout, findings_text, numbers_text};
use boxwright::speaker::{Around, Front};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Join what was measured right before cone and ports with what was measured far away into one curve
///
/// The near field holds in the bass, whatever the room does; the far one, gated before the first reflection, from the gate's lowest
/// frequency up. The near field is scaled to the far microphone's place, the ports and the edges of the front are added, and both
/// are joined where they agree. Give the cone's curve first, then the ports', the far one last. Levels of cone and ports must be
/// of one gain; the far one may have another.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Curves before the cone and before each port, then the far one
    #[arg(required = true, num_args = 2.., value_name = "CURVE")]
    curves: Vec<PathBuf>,
    /// Where to join, in Hz [default: where both agree best]
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz)]
    at: Option<f64>,
    /// Area of the cone, in cm² [default: the job's]
    #[arg(long, value_name = "CM2", value_parser = typed::square_centimetres)]
    sd_cm2: Option<f64>,
    /// Diameters of the ports, in mm, in the order of their curves [default: the job's]
    #[arg(long, value_name = "MM", value_delimiter = ',', value_parser = typed::millimetres)]
    port_mm: Vec<f64>,
    /// How many ports there are of each kind, of which one was measured [default: 1]
    #[arg(long, value_name = "N", value_delimiter = ',', value_parser = clap::value_parser!(u32).range(1..=100))]
    ports: Vec<u32>,
    /// The front: 140x210 (mm, width and height), disc:200, ball:200, step:140 (its width alone), or wall [default: the job's]
    #[arg(long, value_name = "FRONT", value_parser = front)]
    baffle: Option<Around>,
    /// How round the front's edges are, in mm
    #[arg(long, value_name = "MM", default_value = "0", value_parser = typed::millimetres_or_none)]
    edge_radius_mm: f64,
    /// Where the cone is on the front, in mm from its lower left corner [default: the job's, else the middle]
    #[arg(long, value_name = "X,Y", value_parser = place)]
    cone_at_mm: Option<[f64; 2]>,
    /// Where a port is, in the order of the ports: what its microphone hears of the cone is then taken out
    #[arg(long, value_name = "X,Y", value_parser = place)]
    port_at_mm: Vec<[f64; 2]>,
    /// From cone and port to the near microphone, in mm
    #[arg(long, value_name = "MM", default_value = "5", value_parser = typed::millimetres_or_none)]
    near_mm: f64,
    /// From the loudspeaker to the far microphone, in m [default: the curve's, the job's, else 1 m]
    #[arg(long, value_name = "M", value_parser = typed::metres)]
    distance: Option<f64>,
    /// Points of the curve in each octave
    #[arg(long, value_name = "N", default_value_t = POINTS_PER_OCTAVE, value_parser = clap::value_parser!(u32).range(1..=384))]
    points_per_octave: u32,
    /// Job folder that tells about the loudspeaker: areas, places, front, distance
    #[arg(long, value_name = "JOB")]
    job: Option<PathBuf>,
    /// Which of the job's loudspeakers it is [default: its only one]
    #[arg(long, value_name = "NAME", requires = "job")]
    speaker: Option<String>,
    /// Before which way the near microphone stood [default: the one with the largest cone]
    #[arg(long, value_name = "NAME", requires = "job")]
    way: Option<String>,
    /// Folder for the results [default: beside the far curve, named after it]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Draw no picture
    #[arg(long)]
    no_pictures: bool,
    #[command(flatten)]
    telling: TellingArgs,
}

/// Joins the curves and says where and how well.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let telling = args.telling;
    let order = order(args);
    let done = join_curves(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    telling.result(&done.document, || summary(&done.document, &done.folder))?;
    Ok(ExitCode::SUCCESS)
}

fn order(mut args: Args) -> JoinOrder {
    let far = args.curves.pop().unwrap_or_default();
    let metres = |mm: f64| 1e-3 * mm;
    let front = args.baffle.map(|front| match front {
        Around::Front(Front::Flat(flat)) => {
            Around::Front(Front::Flat(FlatBaffle { edge_radius_m: metres(args.edge_radius_mm), ..flat }))
        }
        other => other,
    });
    let looked_into = args.job.as_ref().map_or_else(Vec::new, |job| design_tables(job, args.speaker.as_deref()));
    JoinOrder {
        ran: ran(args.job.as_deref(), &looked_into),
        near: args.curves,
        far,
        cone_m2: args.sd_cm2.map(|cm2| 1e-4 * cm2),
        ports_m2: args.port_mm.iter().map(|mm| std::f64::consts::PI * metres(*mm).powi(2) / 4.0).collect(),
        port_counts: args.ports,
        ports_at_m: args.port_at_mm.iter().map(|place| place.map(metres)).collect(),
        front,
        cone_at_m: args.cone_at_mm.map(|place| place.map(metres)),
        near_m: metres(args.near_mm),
        distance_m: args.distance,
        at_hz: args.at,
        points_per_octave: args.points_per_octave,
        job: args.job.map(|job| JoinJob { job, speaker: args.speaker, way: args.way }),
        out: args.out,
        pictures: if args.no_pictures { Pictures::None } else { Pictures::Drawn },
    }
}

/// `140x210`, `disc:200`, `ball:200`, `step:140`, `wall`.
fn front(text: &str) -> Result<Around, String> {
    let metres = |text: &str| {
        let mm =
            number_as_typed(text, Dimension::Millimetres).map_err(|error| format!("{error}; {}", error.advice()))?;
        if mm > 0.0 { Ok(1e-3 * mm) } else { Err(format!("{text:?} is not more than 0")) }
    };
    let flat = |outline| Around::Front(Front::Flat(FlatBaffle { outline, edge_radius_m: 0.0 }));
    if text == "wall" {
        return Ok(Around::Wall);
    }
    if let Some((shape, size)) = text.split_once(':') {
        let size_m = metres(size)?;
        return match shape {
            "disc" => Ok(flat(Outline::Circle { centre_m: [size_m / 2.0; 2], diameter_m: size_m })),
            "ball" => Ok(Around::Front(Front::Sphere { diameter_m: size_m })),
            "step" => Ok(Around::Step { width_m: size_m }),
            _ => Err(format!("{shape:?} is none of disc, ball, step")),
        };
    }
    let (width, height) = text
        .split_once(['x', '×'])
        .ok_or_else(|| format!("{text:?} is no front such as 140x210, disc:200, ball:200, step:140 or wall"))?;
    Ok(flat(Outline::rectangle(metres(width)?, metres(height)?)))
}

/// `70,80`: mm.
fn place(text: &str) -> Result<[f64; 2], String> {
    let (x, y) = text.split_once(',').ok_or_else(|| format!("{text:?} is no place such as 70,80"))?;
    let number = |text: &str| {
        number_as_typed(text, Dimension::Millimetres).map_err(|error| format!("{error}; {}", error.advice()))
    };
    Ok([number(x)?, number(y)?])
}

fn summary(document: &JoinDocument, folder: &Path) -> String {
    let layout = Layout { width: 100, paint: tell::paint() };
    let joined = &document.joined;
    let band = |[from, to]: [f64; 2]| format!("{} to {}", frequency_text(from), frequency_text(to));
    let side = |side: &boxwright::files::SideTable| {
        format!("{} ({}); ± {:.2} dB where it is joined", band(side.valid_hz), side.limited_by, 2.0 * side.u_db)
    };
    let mut entries = vec![
        Entry::text("joined at", format!("{}, overlap {}", frequency_text(joined.at_hz), band(joined.overlap_hz))),
        Entry::text("near field", side(&document.near)),
        Entry::text("far field", side(&document.far)),
        Entry::text(
            "disagreement",
            format!(
                "{:.2} dB rms, {:+.2} dB at {}, {:.0}° rms",
                joined.disagreement_rms_db,
                joined.worst_db,
                frequency_text(joined.worst_at_hz),
                joined.disagreement_rms_deg
            ),
        ),
        Entry::text("near moved by", format!("{}, {:+.3} ms", joined.level, joined.delay_ms)),
        Entry::text(
            "front",
            format!(
                "{}, {:.2} m away ({})",
                document.settings.front, document.settings.distance_m, document.settings.distance_from
            ),
        ),
    ];
    if let Some(from) = &document.settings.port_delay_from {
        entries.push(Entry::text("port's delay", format!("by {from}")));
    }
    let mut text = numbers_text(&entries, layout);
    let findings = findings_text(&document.findings, layout);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text.push_str(&format!("\nwritten to {} ({} files); ± is 2u\n", folder.display(), document.files.len()));
    text
}
