//! `boxwright driver CURVE`: a driver's parameters from its impedance, with their uncertainties.

use super::{Failure, TellingArgs, driver_summary, ran, ran::NO_TABLES, typed};
use boxwright::driver::{Doubted, FitSettings, Mounting, SuspensionKind, VoiceCoilKind};
use boxwright::job::{DriverOrder, Pictures, characterise};
use boxwright::quantity::Air;
use clap::ValueEnum;
use std::f64::consts::PI;
use std::path::PathBuf;
use std::process::ExitCode;

/// Find a driver's parameters in its free-air impedance, and all the rest with a second curve
///
/// CURVE is what `boxwright impedance` wrote, or any table of Hz, ohm and degrees. Alone it gives R_e, f_s and the Q. A second curve
/// with a known mass on the cone, or in an airtight box of known volume, or a known moving mass, gives M_ms, C_ms,
/// R_ms and Bl, and with the cone's diameter V_as and the sensitivity; with two of these it says whether they agree. Each value is shown with
/// ± 2u. Measure with a small signal, the driver held firmly and away from tables and walls.
#[derive(Debug, clap::Args)]
#[command(allow_negative_numbers = true)]
pub struct Args {
    /// The impedance in free air
    curve: PathBuf,
    /// Effective diameter of the cone, in mm: the cone and half of the surround, from the middle of the surround on one
    /// side to that on the other
    #[arg(long, value_name = "MM", value_parser = typed::millimetres)]
    diameter_mm: Option<f64>,
    /// Its standard uncertainty, in mm [default: 1 % of it]
    #[arg(long, value_name = "MM", value_parser = typed::u_mm, requires = "diameter_mm")]
    u_diameter_mm: Option<f64>,
    /// Area that moves the air, in cm2, where a data sheet gives it rather than the diameter
    #[arg(long, value_name = "CM2", value_parser = typed::square_centimetres, conflicts_with = "diameter_mm")]
    sd_cm2: Option<f64>,
    /// Its standard uncertainty, in cm2 [default: 2 % of it]
    #[arg(long, value_name = "CM2", value_parser = typed::u_cm2, requires = "sd_cm2")]
    u_sd_cm2: Option<f64>,
    /// The impedance with a mass stuck to the cone
    #[arg(long, value_name = "CURVE", requires = "added_mass_g")]
    with_mass: Option<PathBuf>,
    /// That mass, with what holds it, in g
    #[arg(long, value_name = "G", value_parser = typed::grams, requires = "with_mass")]
    added_mass_g: Option<f64>,
    /// Its standard uncertainty, in g [default: 1 % of it]
    #[arg(long, value_name = "G", value_parser = typed::u_g, requires = "added_mass_g")]
    u_added_mass_g: Option<f64>,
    /// The impedance in an airtight, unlined box
    #[arg(long, value_name = "CURVE", requires = "test_box_l")]
    in_box: Option<PathBuf>,
    /// Volume of its air with the driver in place, in l
    #[arg(long, value_name = "L", value_parser = typed::litres, requires = "in_box")]
    test_box_l: Option<f64>,
    /// Its standard uncertainty, in l [default: 2 % of it]
    #[arg(long, value_name = "L", value_parser = typed::u_l, requires = "test_box_l")]
    u_test_box_l: Option<f64>,
    /// Moving mass with its air, in g, where it is known
    #[arg(long, value_name = "G", value_parser = typed::grams)]
    mms_g: Option<f64>,
    /// Its standard uncertainty, in g [default: 2 % of it]
    #[arg(long, value_name = "G", value_parser = typed::u_g, requires = "mms_g")]
    u_mms_g: Option<f64>,
    /// How the driver stood for its free-air curve
    #[arg(long, value_name = "HOW", default_value = "free-air")]
    mounting: MountingChoice,
    /// Of the air, in °C
    #[arg(long, value_name = "C", default_value = "20", value_parser = typed::celsius)]
    temperature: f64,
    /// Of the air, in kPa; it falls by a tenth for each kilometre up
    #[arg(long, value_name = "KPA", default_value = "101.325", value_parser = typed::kilopascal)]
    pressure_kpa: f64,
    /// What of the curve is fitted, in Hz [default: all of it]
    #[arg(long, value_name = "FROM:TO", value_parser = typed::band_hz)]
    band: Option<[f64; 2]>,
    /// Model of the voice coil
    #[arg(long, value_name = "MODEL", default_value = "auto")]
    voice_coil: CoilChoice,
    /// Model of the suspension
    #[arg(long, value_name = "MODEL", default_value = "auto")]
    suspension: SuspensionChoice,
    /// The voice coil's resistance by a meter, in ohm, to compare with
    #[arg(long, value_name = "OHM", value_parser = typed::ohms)]
    re_ohm: Option<f64>,
    /// The driver's data sheet: TOML with the keys of job.toml's [driver.NAME] (re_ohm, fs_hz, qts, vas_l …)
    #[arg(long, value_name = "FILE")]
    datasheet: Option<PathBuf>,
    /// Judge the data sheet by a closed box of this volume, in l [default: the one the sheet asks for at Qtc 0.707]
    #[arg(long, value_name = "L", value_parser = typed::litres, requires = "datasheet")]
    box_l: Option<f64>,
    /// What to call the driver
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

#[derive(Debug, Clone, Copy, ValueEnum)]
enum MountingChoice {
    /// Held free, without a baffle
    FreeAir,
    /// In a large baffle
    Baffle,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum CoilChoice {
    /// The best of all by corrected AIC
    Auto,
    /// A coil without losses
    Inductance,
    /// A coil and a second one with a resistor across it
    Ladder,
    /// A coil and a second one with a semi-inductance across it
    SemiInductance,
    /// One power of frequency
    PowerLaw,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum SuspensionChoice {
    /// The better one by corrected AIC
    Auto,
    /// A spring
    Plain,
    /// A spring that goes on yielding
    Creep,
}

/// A diameter read between the middles of the surround, a letter scale, a box filled from a measuring jug.
const U_DIAMETER_RATIO: f64 = 0.01;
const U_ADDED_MASS_RATIO: f64 = 0.01;
const U_VOLUME_RATIO: f64 = 0.02;
const U_AREA_RATIO: f64 = 0.02;
const U_KNOWN_MASS_RATIO: f64 = 0.02;

/// Finds the driver and says what it is.
pub fn run(args: Args) -> Result<ExitCode, Failure> {
    let telling = args.telling;
    let order = order(args)?;
    let found = characterise(&order).map_err(|error| Failure::input(&error, error.advice()))?;
    telling.result(&found.document, || driver_summary::summary(&found.document, &found.folder))?;
    Ok(ExitCode::SUCCESS)
}

fn order(args: Args) -> Result<DriverOrder, Failure> {
    let air = Air::new(args.temperature, args.pressure_kpa).map_err(|error| Failure::usage(&error, error.advice()))?;
    Ok(DriverOrder {
        ran: ran(None, NO_TABLES),
        sd_m2: cone_area(&args),
        diameter_m: args.diameter_mm.map(|diameter_mm| 1e-3 * diameter_mm),
        curve: args.curve,
        with_mass: args.with_mass.zip(doubted(args.added_mass_g, args.u_added_mass_g, U_ADDED_MASS_RATIO, 1e-3)),
        in_box: args.in_box.zip(doubted(args.test_box_l, args.u_test_box_l, U_VOLUME_RATIO, 1e-3)),
        mms_kg: doubted(args.mms_g, args.u_mms_g, U_KNOWN_MASS_RATIO, 1e-3),
        mounting: match args.mounting {
            MountingChoice::FreeAir => Mounting::FreeAir,
            MountingChoice::Baffle => Mounting::Baffle,
        },
        air,
        fit: FitSettings {
            band_hz: args.band,
            voice_coil: args.voice_coil.kind(),
            suspension: args.suspension.kind(),
            dc_resistance_ohm: args.re_ohm,
        },
        datasheet: args.datasheet,
        box_m3: args.box_l.map(|box_l| 1e-3 * box_l),
        name: args.name,
        out: args.out,
        pictures: if args.no_pictures { Pictures::None } else { Pictures::Drawn },
    })
}

fn doubted(value: Option<f64>, u: Option<f64>, usual_ratio: f64, si: f64) -> Option<Doubted> {
    value.map(|value| Doubted { value: si * value, u: si * u.unwrap_or(usual_ratio * value) })
}

/// Of a circle of the diameter, whose doubt counts twice; or as given.
fn cone_area(args: &Args) -> Option<Doubted> {
    let of_diameter = |diameter_mm: f64| {
        let u_ratio = args.u_diameter_mm.map_or(U_DIAMETER_RATIO, |u| u / diameter_mm);
        let value = 0.25e-6 * PI * diameter_mm * diameter_mm;
        Doubted { value, u: 2.0 * u_ratio * value }
    };
    args.diameter_mm.map(of_diameter).or_else(|| doubted(args.sd_cm2, args.u_sd_cm2, U_AREA_RATIO, 1e-4))
}

impl CoilChoice {
    fn kind(self) -> Option<VoiceCoilKind> {
        match self {
            Self::Auto => None,
            Self::Inductance => Some(VoiceCoilKind::Inductance),
            Self::Ladder => Some(VoiceCoilKind::Ladder),
            Self::SemiInductance => Some(VoiceCoilKind::SemiInductance),
            Self::PowerLaw => Some(VoiceCoilKind::PowerLaw),
        }
    }
}

impl SuspensionChoice {
    fn kind(self) -> Option<SuspensionKind> {
        match self {
            Self::Auto => None,
            Self::Plain => Some(SuspensionKind::Plain),
            Self::Creep => Some(SuspensionKind::Creep),
        }
    }
}
