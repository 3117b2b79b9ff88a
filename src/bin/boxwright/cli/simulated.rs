//! Options of the simulated bench that measures sound pressure: loudspeakers, room, seat, receiver, recorder.

use super::chain::{Level, seed};
use super::{Failure, typed};
use boxwright::bench::{BenchSettings, Cut, Polarity, Room, Subwoofer, Surroundings};
use clap::ValueEnum;
use serde_json::{Value, json};

#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Simulated bench")]
pub struct SimulatedArgs {
    /// What surrounds the simulated loudspeaker
    #[arg(long, value_enum, value_name = "ROOM", default_value = "small")]
    simulated_room: SimulatedRoom,
    /// Where the simulated microphone stands, from the loudspeaker: ahead, aside, up in m, or a seat of the living room:
    /// sofa, armchair, rug [default: straight ahead at the distance]
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = typed::seat_m)]
    simulated_seat: Option<[f64; 3]>,
    /// A subwoofer stands in the room as well, on output 3
    #[arg(long)]
    simulated_subwoofer: bool,
    /// Where it stands, from the loudspeaker: ahead, aside, up in m [default: -0.25,1.75,-0.75]
    #[arg(
        long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = typed::place_m,
        requires = "simulated_subwoofer"
    )]
    simulated_subwoofer_place: Option<[f64; 3]>,
    /// How late its amplifier's own processing makes it [default: 4]
    #[arg(long, value_name = "MS", value_parser = typed::milliseconds_as_s, requires = "simulated_subwoofer")]
    simulated_subwoofer_latency: Option<f64>,
    /// The receiver takes the bass from the loudspeaker: BW2, BW4 (Butterworth), LR2, LR4 (Linkwitz-Riley) and the
    /// corner in Hz, such as LR4:80 [default: all goes to it]
    #[arg(long, value_name = "FILTER:HZ", value_parser = typed::cut)]
    simulated_high_pass: Option<Cut>,
    /// The receiver takes the treble from the subwoofer, in the same way [default: all goes to it]
    #[arg(long, value_name = "FILTER:HZ", value_parser = typed::cut, requires = "simulated_subwoofer")]
    simulated_low_pass: Option<Cut>,
    /// How much later the receiver lets the loudspeaker play
    #[arg(long, value_name = "MS", default_value = "0", value_parser = typed::milliseconds_as_s)]
    simulated_satellite_delay: f64,
    /// How much later the receiver lets the subwoofer play [default: 0]
    #[arg(long, value_name = "MS", value_parser = typed::milliseconds_as_s, requires = "simulated_subwoofer")]
    simulated_subwoofer_delay: Option<f64>,
    /// How much louder the receiver lets the subwoofer play [default: 0]
    #[arg(
        long, value_name = "DB", allow_hyphen_values = true, value_parser = typed::level_dbfs,
        requires = "simulated_subwoofer"
    )]
    simulated_subwoofer_gain_db: Option<f64>,
    /// The subwoofer is connected the wrong way round
    #[arg(long, requires = "simulated_subwoofer")]
    simulated_subwoofer_reversed: bool,
    /// How fast the simulated recorder's clock runs
    #[arg(long, value_name = "PPM", default_value = "12", allow_hyphen_values = true, value_parser = typed::ppm)]
    simulated_drift_ppm: f64,
    /// Noise on the simulated microphone, or `none`
    #[arg(
        long, value_name = "DBFS", default_value = "-88", allow_hyphen_values = true,
        value_parser = typed::level_or_none
    )]
    simulated_noise_dbfs: Level,
    /// Where the simulated bench's chance starts: the same number gives the same noise [default: another one each time]
    #[arg(long, value_name = "N")]
    simulated_seed: Option<u64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum SimulatedRoom {
    /// Nothing reflects
    None,
    /// A small room by the first walls that a sound meets
    Small,
    /// A living room whose modes stand out in the bass
    Living,
}

impl SimulatedArgs {
    /// The bench that was asked for, at a distance that was said or else the job's, where no seat was.
    ///
    /// `when` makes its chance another one each time, where no seed was given.
    pub fn bench(&self, said_m: Option<f64>, job_m: Option<f64>, when: &str) -> Result<BenchSettings, Failure> {
        if said_m.is_some() && self.simulated_seat.is_some() {
            return Err(Failure::usage(
                "--distance and --simulated-seat say twice where the microphone stands",
                "leave one of them out",
            ));
        }
        let mut bench =
            BenchSettings { seed: self.simulated_seed.unwrap_or_else(|| seed(when)), ..BenchSettings::default() };
        bench.distance_m = said_m.or(job_m).unwrap_or(bench.distance_m);
        bench.seat_m = self.simulated_seat;
        bench.interface.drift_ppm = self.simulated_drift_ppm;
        bench.microphone.noise_dbfs = self.simulated_noise_dbfs.0;
        bench.surroundings = match self.simulated_room {
            SimulatedRoom::None => Surroundings::Anechoic,
            SimulatedRoom::Small => Surroundings::Room(Room::default()),
            SimulatedRoom::Living => Surroundings::Room(Room::living_room()),
        };
        bench.subwoofer = self.simulated_subwoofer.then(|| self.subwoofer());
        let receiver = &mut bench.receiver;
        (receiver.high_pass, receiver.low_pass) = (self.simulated_high_pass, self.simulated_low_pass);
        receiver.satellite_delay_s = self.simulated_satellite_delay;
        receiver.subwoofer_delay_s = self.simulated_subwoofer_delay.unwrap_or(0.0);
        receiver.subwoofer_gain_db = self.simulated_subwoofer_gain_db.unwrap_or(0.0);
        if self.simulated_subwoofer_reversed {
            receiver.subwoofer_polarity = Polarity::Reversed;
        }
        Ok(bench)
    }

    /// From the loudspeaker to the seat, if one was asked for.
    pub fn seat_distance_m(&self) -> Option<f64> {
        self.simulated_seat.map(distance_m)
    }

    fn subwoofer(&self) -> Subwoofer {
        let usual = Subwoofer::default();
        Subwoofer {
            beside_m: self.simulated_subwoofer_place.unwrap_or(usual.beside_m),
            late_s: self.simulated_subwoofer_latency.unwrap_or(usual.late_s),
            ..usual
        }
    }
}

fn distance_m([ahead_m, aside_m, up_m]: [f64; 3]) -> f64 {
    ahead_m.hypot(aside_m).hypot(up_m)
}

/// The simulated bench, for documents: seat, subwoofer and receiver only where there is something to say.
pub fn document(bench: &BenchSettings) -> Value {
    let room = match &bench.surroundings {
        Surroundings::Anechoic => "none",
        Surroundings::Room(room) if *room == Room::living_room() => "living",
        Surroundings::Room(_) => "small",
    };
    let mut document = json!({
        "room": room,
        "drift_ppm": bench.interface.drift_ppm,
        "noise_dbfs": bench.microphone.noise_dbfs.map_or(json!("none"), |level_dbfs| json!(level_dbfs)),
        "seed": bench.seed,
        "distance_m": bench.distance_m,
    });
    if let Some(seat_m) = bench.seat_m {
        document["seat_m"] = json!(seat_m);
        document["distance_m"] = json!(distance_m(seat_m));
    }
    if let Some(subwoofer) = &bench.subwoofer {
        document["subwoofer"] =
            json!({ "place_m": subwoofer.beside_m, "latency_ms": 1e3 * subwoofer.late_s, "output": 3 });
    }
    if bench.receiver != boxwright::bench::Receiver::default() {
        document["receiver"] = receiver_document(bench);
    }
    document
}

fn receiver_document(bench: &BenchSettings) -> Value {
    let receiver = &bench.receiver;
    let filter = |cut: Option<Cut>| cut.map_or(json!("none"), |cut| json!(cut));
    let mut document = json!({
        "high_pass": filter(receiver.high_pass),
        "satellite_delay_ms": 1e3 * receiver.satellite_delay_s,
    });
    if bench.subwoofer.is_some() {
        document["low_pass"] = filter(receiver.low_pass);
        document["subwoofer_delay_ms"] = json!(1e3 * receiver.subwoofer_delay_s);
        document["subwoofer_gain_db"] = json!(receiver.subwoofer_gain_db);
        document["subwoofer_polarity"] = json!(receiver.subwoofer_polarity);
    }
    document
}
