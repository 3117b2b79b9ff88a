//! `boxwright box CURVE`: what a finished box really is, from the impedance of the driver in it.

use super::{Failure, TellingArgs, box_summary, ran, typed};
use boxwright::diagnosis::{BoxKind, Designed, Inside};
use boxwright::enclosure::{Material, Port, PortEnds};
use boxwright::files::{self, JobBox, material_names};
use boxwright::job::{BoxOrder, Pictures, examine};
use boxwright::quantity::Air;
use clap::ValueEnum;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Find out what a finished box is: volume, losses, leaks, tuning, ringing walls
///
/// CURVE is the impedance of the driver in its box, at its own terminals without crossover, as `boxwright impedance` wrote it. With
/// --driver, what `boxwright driver` wrote of the same driver in free air, it tells the volume that the air behaves as, and decides whether the box leaks. Measure both
/// on one evening, with a small signal, the driver screwed down on its gasket and the cables led out as they will be. With --before it says what
/// a change did, and with a design (--design-l, or the job's box) what differs from it. Each value is shown with ± 2u.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// The impedance of the driver in its box
    curve: PathBuf,
    /// The driver's document, driver.json
    #[arg(long, value_name = "JSON")]
    driver: Option<PathBuf>,
    /// Kind of box [default: that of the job's box]
    #[arg(long, value_name = "KIND")]
    kind: Option<KindChoice>,
    /// The impedance before a change of this box: sealed, stuffed, braced, vent trimmed
    #[arg(long, value_name = "CURVE")]
    before: Option<PathBuf>,
    /// Level close to the cone, a response curve, to fit along
    #[arg(long, value_name = "CURVE")]
    cone: Option<PathBuf>,
    /// Level in the vent's mouth or close to the passive radiator, to fit along
    #[arg(long, value_name = "CURVE")]
    opening: Option<PathBuf>,
    /// What of the curve is fitted, in Hz [default: all of it]
    #[arg(long, value_name = "FROM:TO", value_parser = typed::band_hz)]
    band: Option<[f64; 2]>,
    #[command(flatten)]
    design: DesignArgs,
    /// Voltage across the loudspeaker at its resonance, rms, to tell the size of a leak's hole by
    #[arg(long, value_name = "V", value_parser = typed::volts)]
    load_v: Option<f64>,
    /// Of the air, in °C [default: the job's, else 20]
    #[arg(long, value_name = "C", value_parser = typed::celsius)]
    temperature: Option<f64>,
    /// Of the air, in kPa; it falls by a tenth for each kilometre up
    #[arg(long, value_name = "KPA", default_value = "101.325", value_parser = typed::kilopascal)]
    pressure_kpa: f64,
    /// What to call the box
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// Folder for the results [default: beside the curve, named after it]
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Draw no pictures
    #[arg(long)]
    no_pictures: bool,
    #[command(flatten)]
    telling: TellingArgs,
}

#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Design")]
struct DesignArgs {
    /// Job folder whose job.toml describes the box [default: this folder, where it has one]
    #[arg(long, value_name = "DIR")]
    job: Option<PathBuf>,
    /// Which of the job's boxes it is [default: its only one]
    #[arg(long = "box", value_name = "NAME")]
    box_name: Option<String>,
    /// Designed volume of its air, in l
    #[arg(long, value_name = "L", value_parser = typed::litres)]
    design_l: Option<f64>,
    /// Designed tuning
    #[arg(long, value_name = "HZ", value_parser = typed::frequency_hz)]
    design_fb_hz: Option<f64>,
    /// The vent, inner diameter x length in mm, and x how many
    #[arg(long, value_name = "DxL", value_parser = port)]
    port: Option<[f64; 3]>,
    /// How its tubes end [default: flanged-free]
    #[arg(long, value_name = "ENDS", requires = "port")]
    port_ends: Option<EndsChoice>,
    /// Inner width x height x depth, in mm, to name what rings
    #[arg(long, value_name = "WxHxD", value_parser = sides)]
    inner_mm: Option<[f64; 3]>,
    /// Thickness of the walls, in mm [default: the job's, else 10]
    #[arg(long, value_name = "MM", value_parser = typed::millimetres)]
    wall_mm: Option<f64>,
    /// What the walls are made of: mdf, plywood, pla, petg …
    #[arg(long, value_name = "NAME", value_parser = material)]
    material: Option<Material>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum KindChoice {
    /// Airtight, or meant to be
    Closed,
    /// With a vent
    Vented,
    /// With a passive radiator
    PassiveRadiator,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum EndsChoice {
    /// One end flush with the wall, one free
    FlangedFree,
    /// Both flush
    FlangedFlanged,
    /// Both free
    FreeFree,
}

/// Examines the box and says what it is.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let telling = args.telling;
    let order = order(args)?;
    let found = examine(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    telling.result(&found.document, || box_summary::summary(&found.document, &found.folder))?;
    Ok(ExitCode::SUCCESS)
}

fn order(args: Args) -> Result<BoxOrder, Failure> {
    let (name, of_job, temperature_c) = args.design.of_job()?;
    let kind = args.kind.map(KindChoice::kind).or_else(|| kind_of(of_job.kind.as_deref()));
    let kind = kind.ok_or_else(|| {
        let says = match of_job.kind.as_deref() {
            Some(other) => format!("a box of kind {other} has no such diagnosis"),
            None => "the kind of box is not known".to_owned(),
        };
        Failure::usage(says, "give --kind closed, vented or passive-radiator")
    })?;
    let air = Air::new(args.temperature.or(temperature_c).unwrap_or(20.0), args.pressure_kpa)
        .map_err(|error| Failure::usage(&error, error.advice()))?;
    Ok(BoxOrder {
        ran: ran(args.design.job.as_deref(), &DesignArgs::tables(name.as_deref())),
        curve: args.curve,
        driver: args.driver,
        before: args.before,
        kind,
        cone: args.cone,
        opening: args.opening,
        band_hz: args.band,
        designed: args.design.designed(&of_job),
        inside: args.design.inside(&of_job),
        load_v: args.load_v,
        air,
        name: args.name.or(name),
        out: args.out,
        pictures: if args.no_pictures { Pictures::None } else { Pictures::Drawn },
    })
}

impl DesignArgs {
    /// The tables of the job into which it looks: that of the box with this name, and the air.
    fn tables(name: Option<&str>) -> Vec<String> {
        let of_box = name.map_or_else(|| "box".to_owned(), |name| format!("box.{name}"));
        vec!["job".to_owned(), of_box]
    }

    /// The job's box with its name, and the job's temperature; nothing where there is no job.
    fn of_job(&self) -> Result<(Option<String>, JobBox, Option<f64>), Failure> {
        let folder = match &self.job {
            Some(folder) => folder.as_path(),
            None if Path::new("job.toml").is_file() => Path::new("."),
            None if self.box_name.is_some() => {
                return Err(Failure::usage(
                    "--box names a box of a job, and there is no job here",
                    "give the job's folder with --job",
                ));
            }
            None => return Ok((None, JobBox::default(), None)),
        };
        let job = files::read_job(folder).map_err(|error| Failure::input(&error, error.advice()))?;
        let temperature_c = job.job.temperature_c;
        let known = job.enclosure.keys().cloned().collect::<Vec<_>>().join(", ");
        let boxes = job.enclosure;
        match &self.box_name {
            Some(name) => match boxes.get(name) {
                Some(found) => Ok((Some(name.clone()), found.clone(), temperature_c)),
                None => Err(Failure::usage(
                    format!("the job has no box {name:?}"),
                    &if known.is_empty() {
                        "add [box.NAME] to its job.toml".to_owned()
                    } else {
                        format!("name one of {known}")
                    },
                )),
            },
            None if boxes.len() > 1 => {
                Err(Failure::usage("the job has several boxes", &format!("name one with --box: {known}")))
            }
            None if boxes.len() == 1 => {
                let only = boxes.into_iter().next().map(|(name, found)| (Some(name), found));
                only.map_or(Ok((None, JobBox::default(), temperature_c)), |(name, found)| {
                    Ok((name, found, temperature_c))
                })
            }
            None => Ok((None, JobBox::default(), temperature_c)),
        }
    }

    fn designed(&self, of_job: &JobBox) -> Designed {
        let of_job = of_job.designed();
        let port = self.port.map(|[diameter_mm, length_mm, count]| Port {
            diameter_m: 1e-3 * diameter_mm,
            length_m: 1e-3 * length_mm,
            count: count as u32,
            ends: self.port_ends.map_or(PortEnds::default(), EndsChoice::ends),
        });
        Designed {
            volume_m3: self.design_l.map(|litres| 1e-3 * litres).or(of_job.volume_m3),
            fb_hz: self.design_fb_hz.or(of_job.fb_hz),
            port: port.or(of_job.port),
            ..of_job
        }
    }

    fn inside(&self, of_job: &JobBox) -> Inside {
        let of_job = of_job.inside();
        Inside {
            inner_m: self.inner_mm.map(|sides| sides.map(|side| 1e-3 * side)).or(of_job.inner_m),
            wall_m: self.wall_mm.map(|wall| 1e-3 * wall).or(of_job.wall_m),
            material: self.material.or(of_job.material),
        }
    }
}

impl KindChoice {
    fn kind(self) -> BoxKind {
        match self {
            Self::Closed => BoxKind::Closed,
            Self::Vented => BoxKind::Vented,
            Self::PassiveRadiator => BoxKind::PassiveRadiator,
        }
    }
}

impl EndsChoice {
    fn ends(self) -> PortEnds {
        match self {
            Self::FlangedFree => PortEnds::FlangedFree,
            Self::FlangedFlanged => PortEnds::FlangedFlanged,
            Self::FreeFree => PortEnds::FreeFree,
        }
    }
}

fn kind_of(name: Option<&str>) -> Option<BoxKind> {
    [BoxKind::Closed, BoxKind::Vented, BoxKind::PassiveRadiator].into_iter().find(|kind| Some(kind.name()) == name)
}

/// `110x180x95`.
fn sides(text: &str) -> Result<[f64; 3], String> {
    match numbers(text)?[..] {
        [width, height, depth] if width > 0.0 && height > 0.0 && depth > 0.0 => Ok([width, height, depth]),
        _ => Err(format!("{text:?} is not width x height x depth, three numbers above zero such as 110x180x95")),
    }
}

/// `32x85`, `32x85x2`.
fn port(text: &str) -> Result<[f64; 3], String> {
    match numbers(text)?[..] {
        [diameter, length] if diameter > 0.0 && length >= 0.0 => Ok([diameter, length, 1.0]),
        [diameter, length, count]
            if diameter > 0.0 && length >= 0.0 && count >= 1.0 && count.fract() == 0.0 && count <= 100.0 =>
        {
            Ok([diameter, length, count])
        }
        _ => Err(format!("{text:?} is not diameter x length, and x how many, such as 32x85 or 32x85x2")),
    }
}

fn numbers(text: &str) -> Result<Vec<f64>, String> {
    text.split(['x', '×']).map(typed::pure).collect()
}

fn material(text: &str) -> Result<Material, String> {
    Material::named(text).ok_or_else(|| format!("{text:?} is not known; there are {}", material_names()))
}
