//! Options of the chain that measures impedance: the jig's inputs and parts, and the simulated jig.

use super::chain::{CardArgs, Level, Setting, Stand, seed};
use super::{Failure, typed};
use boxwright::audio::SimulatedSettings;
use boxwright::bench::{Change, Enclosure, Hum, HungDriver, JigSettings, Load, Opening, RingingWall, Speaker};
use boxwright::files::JobBench;
use boxwright::impedance::GAIN_LIMIT_DB;
use boxwright::job;
use clap::ValueEnum;
use serde_json::json;

#[derive(Debug, clap::Args)]
pub struct JigArgs {
    /// Input with the voltage before the sense resistor; inputs count from 1 [default: the job's, else 1]
    #[arg(long, value_name = "N", value_parser = typed::channel, help_heading = "Impedance jig")]
    drive: Option<usize>,
    /// Input with the voltage across the loudspeaker [default: the job's, else 2]
    #[arg(long, value_name = "N", value_parser = typed::channel, help_heading = "Impedance jig")]
    load: Option<usize>,
    /// The sense resistor's value, as measured [default: the job's]
    #[arg(long, value_name = "OHM", value_parser = typed::ohms, help_heading = "Impedance jig")]
    sense_ohm: Option<f64>,
    /// How far the gains of the two inputs may lie apart [default: the job's]
    #[arg(long, value_name = "DB", value_parser = typed::pure, help_heading = "Impedance jig")]
    gain_limit_db: Option<f64>,
    /// Peak voltage that fills an input: with it the analysis tells the voltage at the loudspeaker [default: the job's]
    #[arg(long, value_name = "V", value_parser = typed::volts, help_heading = "Impedance jig")]
    input_full_scale_v: Option<f64>,
    #[command(flatten)]
    card: CardArgs,
    #[command(flatten)]
    simulated: SimulatedArgs,
}

/// What is known of the jig's parts.
#[derive(Debug, Clone, Copy)]
pub struct Parts {
    pub sense_ohm: Option<f64>,
    pub gain_limit_db: Option<f64>,
    pub input_full_scale_v: Option<f64>,
}

#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Simulated jig")]
struct SimulatedArgs {
    /// What hangs on the simulated jig: the mid-woofer of a small satellite, one way or another, or something else
    #[arg(long, value_enum, value_name = "LOAD", default_value = "driver")]
    simulated_load: SimulatedLoad,
    /// Mass on the cone, for `heavier`
    #[arg(long, value_name = "G", default_value = "3", value_parser = typed::above_zero)]
    simulated_mass_g: f64,
    /// Air of the box, for the loads in one [default: 2.4 for boxed, else the load's own]
    #[arg(long, value_name = "L", value_parser = typed::above_zero)]
    simulated_box_l: Option<f64>,
    /// Q of the box's leaks, or `none` [default: the load's own]
    #[arg(long, value_name = "Q", value_parser = typed::above_zero_or_none)]
    simulated_ql: Option<typed::OrNone>,
    /// Q of the absorption in the box, or `none` [default: the load's own]
    #[arg(long, value_name = "Q", value_parser = typed::above_zero_or_none)]
    simulated_qa: Option<typed::OrNone>,
    /// How much more the air yields for its filling
    #[arg(long, value_name = "PERCENT", value_parser = typed::pure)]
    simulated_filling_percent: Option<f64>,
    /// Where a wall of the box rings, or `none` [default: the load's own]
    #[arg(long, value_name = "HZ", value_parser = typed::above_zero_or_none)]
    simulated_wall_hz: Option<typed::OrNone>,
    /// Length of the tube, for `vented` [default: the load's own]
    #[arg(long, value_name = "MM", value_parser = typed::above_zero)]
    simulated_port_mm: Option<f64>,
    /// The resistor, for `known`
    #[arg(long, value_name = "OHM", default_value = "10", value_parser = typed::ohms)]
    simulated_known_ohm: f64,
    /// The capacitor before the driver, for `capacitor`
    #[arg(long, value_name = "UF", default_value = "47", value_parser = typed::above_zero)]
    simulated_capacitor_uf: f64,
    /// The sense resistor that is really there [default: what is known of it, else 10]
    #[arg(long, value_name = "OHM", value_parser = typed::ohms)]
    simulated_sense_ohm: Option<f64>,
    /// Resistance of the leads to the load
    #[arg(long, value_name = "OHM", default_value = "0.05", value_parser = typed::ohms_or_none)]
    simulated_lead_ohm: f64,
    /// Resistance of the load input
    #[arg(long, value_name = "OHM", default_value = "10k", value_parser = typed::ohms)]
    simulated_input_ohm: f64,
    /// Voltage of the output at full scale, its peak
    #[arg(long, value_name = "V", default_value = "5", value_parser = typed::volts)]
    simulated_drive_v: f64,
    /// How much more the load input shows than the drive input
    #[arg(long, value_name = "DB", default_value = "0.15", allow_hyphen_values = true, value_parser = typed::pure)]
    simulated_mismatch_db: f64,
    /// How much later, as degrees at 1 kHz (a delay: more above, less below)
    #[arg(long, value_name = "DEG", default_value = "0", allow_hyphen_values = true, value_parser = typed::pure)]
    simulated_mismatch_deg: f64,
    /// Noise on both inputs, or `none`
    #[arg(
        long, value_name = "DBFS", default_value = "-105", allow_hyphen_values = true,
        value_parser = typed::level_or_none
    )]
    simulated_noise_dbfs: Level,
    /// Hum on the load input, or `none`
    #[arg(
        long, value_name = "DBFS", default_value = "none", allow_hyphen_values = true,
        value_parser = typed::level_or_none
    )]
    simulated_hum_dbfs: Level,
    /// Frequency of the mains that hum
    #[arg(long, value_name = "HZ", default_value = "50", value_parser = typed::frequency_hz)]
    simulated_hum_hz: f64,
    /// The hum is on the drive input as well
    #[arg(long)]
    simulated_hum_on_both: bool,
    /// How fast the recorder's clock runs
    #[arg(long, value_name = "PPM", default_value = "0", allow_hyphen_values = true, value_parser = typed::ppm)]
    simulated_drift_ppm: f64,
    /// How much the voice coil's resistance grows in the end
    #[arg(long, value_name = "PERCENT", default_value = "0", allow_hyphen_values = true, value_parser = typed::pure)]
    simulated_warm_up_percent: f64,
    /// How much softer the suspension becomes in the end; its losses fall by half of that share
    #[arg(long, value_name = "PERCENT", default_value = "0", allow_hyphen_values = true, value_parser = typed::pure)]
    simulated_break_in_percent: f64,
    /// Time constant of both
    #[arg(long, value_name = "S", default_value = "20", value_parser = typed::seconds)]
    simulated_change_s: f64,
    /// How much softer the suspension is a decade lower: its creep
    #[arg(long, value_name = "PERCENT", default_value = "0", value_parser = typed::pure)]
    simulated_creep_percent: f64,
    /// Where the simulated jig's chance starts: the same number gives the same noise [default: another one each time]
    #[arg(long, value_name = "N")]
    simulated_seed: Option<u64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum SimulatedLoad {
    /// In free air
    Driver,
    /// The same with a mass on its cone
    Heavier,
    /// In a closed box, airtight and empty
    Boxed,
    /// In a closed box that leaks and rings
    Leaky,
    /// The same, sealed and braced
    Sealed,
    /// In a vented box
    Vented,
    /// In a box with a passive radiator
    PassiveRadiator,
    /// A resistor
    Known,
    /// The clips joined
    Short,
    /// Nothing
    Open,
    /// The whole satellite with its crossover
    Satellite,
    /// The driver behind a capacitor
    Capacitor,
}

/// A simulated jig says of itself that its inputs are alike, unless they are meant not to be.
const MOST_SAID_DB: f64 = 0.2;

impl JigArgs {
    /// Makes every choice and finds the devices.
    ///
    /// `when` makes the simulated jig's chance another one each time, where no seed was given.
    pub fn setting(&self, level_dbfs: Option<f64>, when: &str) -> Result<(Setting, Parts), Failure> {
        let (job, folder) = self.card.job()?;
        let said = JobBench { drive_channel: self.drive, load_channel: self.load, ..self.card.said(level_dbfs) };
        let chain = job::jig_chain(&said, &job.bench, self.card.loudness());
        let mut parts = Parts {
            sense_ohm: self.sense_ohm.or(job.bench.sense_ohm),
            gain_limit_db: self.gain_limit_db.or(job.bench.gain_limit_db),
            input_full_scale_v: self.input_full_scale_v.or(job.bench.input_full_scale_v),
        };
        self.simulated.refuse_idle_options()?;
        let settings = self.simulated.settings(parts, when);
        let (wiring, document) = (settings.wiring, document(&settings));
        let stand = Stand { settings: SimulatedSettings::Jig(Box::new(settings)), document };
        let setting = self.card.setting(chain, (job, folder), stand)?;
        // Who asks for the simulated jig can't measure its parts.
        if setting.is_simulated() {
            parts.sense_ohm = parts.sense_ohm.or(Some(wiring.sense_ohm));
            parts.input_full_scale_v = Some(wiring.input_full_scale_v);
            let apart_db = self.simulated.simulated_mismatch_db.abs().max(GAIN_LIMIT_DB);
            parts.gain_limit_db = parts.gain_limit_db.or((apart_db <= MOST_SAID_DB).then_some(apart_db));
        }
        Ok((setting, parts))
    }
}

impl SimulatedArgs {
    fn settings(&self, parts: Parts, when: &str) -> JigSettings {
        let usual = JigSettings::default();
        let mut wiring = usual.wiring;
        wiring.sense_ohm = self.simulated_sense_ohm.or(parts.sense_ohm).unwrap_or(wiring.sense_ohm);
        wiring.lead_ohm = self.simulated_lead_ohm;
        wiring.load_input_ohm = Some(self.simulated_input_ohm);
        wiring.drive_v_at_full_scale = self.simulated_drive_v;
        wiring.input_full_scale_v = parts.input_full_scale_v.unwrap_or(wiring.input_full_scale_v);
        let hum = |level: Level| level.0.map(|level_dbfs| Hum { frequency_hz: self.simulated_hum_hz, level_dbfs });
        let mut inputs = [usual.drive_input, usual.load_input];
        inputs.iter_mut().for_each(|input| input.noise_dbfs = self.simulated_noise_dbfs.0);
        let [mut drive_input, mut load_input] = inputs;
        load_input.gain_db = self.simulated_mismatch_db;
        load_input.delay_s = self.simulated_mismatch_deg / 360.0 / 1000.0;
        load_input.hum = hum(self.simulated_hum_dbfs);
        drive_input.hum = load_input.hum.filter(|_| self.simulated_hum_on_both);
        let mut recorder = usual.recorder;
        recorder.drift_ppm = self.simulated_drift_ppm;
        let seed = self.simulated_seed.unwrap_or_else(|| seed(when));
        JigSettings { seed, load: self.hanging(), wiring, recorder, drive_input, load_input, ..usual }
    }

    fn hanging(&self) -> Load {
        let mut hung = HungDriver::mid();
        match self.simulated_load {
            SimulatedLoad::Open => return Load::Open,
            SimulatedLoad::Short => return Load::Short,
            SimulatedLoad::Known => return Load::Resistor { ohm: self.simulated_known_ohm },
            SimulatedLoad::Satellite => return Load::Loudspeaker(Speaker::rear_satellite()),
            SimulatedLoad::Driver => {}
            SimulatedLoad::Heavier => hung.added_mass_kg = self.simulated_mass_g * 1e-3,
            SimulatedLoad::Capacitor => hung.series_capacitor_f = Some(self.simulated_capacitor_uf * 1e-6),
            SimulatedLoad::Boxed => hung.enclosure = Some(Enclosure::closed(BOXED_M3)),
            SimulatedLoad::Leaky => hung = HungDriver::first_box(),
            SimulatedLoad::Sealed => hung = HungDriver::sealed_box(),
            SimulatedLoad::Vented => hung = HungDriver::vented_box(),
            SimulatedLoad::PassiveRadiator => hung = HungDriver::radiator_box(),
        }
        hung.enclosure = hung.enclosure.map(|enclosure| self.built(enclosure));
        let slow = |percent: f64| Change { share: percent * 1e-2, time_s: self.simulated_change_s };
        hung.warm_up = slow(self.simulated_warm_up_percent);
        hung.break_in = slow(self.simulated_break_in_percent);
        hung.loss_share = -0.5 * hung.break_in.share;
        hung.creep_per_decade = self.simulated_creep_percent * 1e-2;
        Load::Driver(Box::new(hung))
    }
}

/// What the airtight box holds.
const BOXED_M3: f64 = 2.4e-3;
/// A wall that was asked for rings like one of MDF.
const WALL: RingingWall = RingingWall { hz: 300.0, q: 35.0, share: 0.012 };

impl SimulatedArgs {
    /// What is said of a box or a tube where there is none would do nothing.
    fn refuse_idle_options(&self) -> Result<(), Failure> {
        use SimulatedLoad::{Boxed, Leaky, PassiveRadiator, Sealed, Vented};
        let has_box = matches!(self.simulated_load, Boxed | Leaky | Sealed | Vented | PassiveRadiator);
        let of_box = self.simulated_box_l.is_some()
            || self.simulated_ql.is_some()
            || self.simulated_qa.is_some()
            || self.simulated_filling_percent.is_some()
            || self.simulated_wall_hz.is_some();
        if of_box && !has_box {
            return Err(Failure::usage(
                "this simulated load has no box",
                "give --simulated-load boxed, leaky, sealed, vented or passive-radiator",
            ));
        }
        if self.simulated_port_mm.is_some() && self.simulated_load != Vented {
            return Err(Failure::usage("this simulated load has no tube", "give --simulated-load vented"));
        }
        Ok(())
    }

    /// The load's box with what was said of it.
    fn built(&self, own: Enclosure) -> Enclosure {
        let volume_m3 = self.simulated_box_l.map_or(own.volume_m3, |litres| litres * 1e-3);
        let said = |option: Option<typed::OrNone>, own: Option<f64>| option.map_or(own, |number| number.0);
        let wall = match self.simulated_wall_hz {
            Some(number) => number.0.map(|hz| RingingWall { hz, ..own.wall.unwrap_or(WALL) }),
            None => own.wall,
        };
        let opening = own.opening.map(|opening| match (opening, self.simulated_port_mm) {
            (Opening::Vent { diameter_m, count, qp, .. }, Some(mm)) => {
                Opening::Vent { diameter_m, length_m: mm * 1e-3, count, qp }
            }
            (opening, _) => opening,
        });
        Enclosure {
            volume_m3,
            ql: said(self.simulated_ql, own.ql),
            qa: said(self.simulated_qa, own.qa),
            filling_ratio: own.filling_ratio * (1.0 + self.simulated_filling_percent.unwrap_or(0.0) * 1e-2),
            opening,
            wall,
        }
    }
}

/// The simulated jig, for documents: all that shaped the recording.
fn document(settings: &JigSettings) -> serde_json::Value {
    json!({
        "load": settings.load,
        "wiring": settings.wiring,
        "recorder": settings.recorder,
        "drive_input": settings.drive_input,
        "load_input": settings.load_input,
        "seed": settings.seed,
    })
}
