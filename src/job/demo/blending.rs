//! The demo's last step: the satellite goes into the living room, a subwoofer joins it, and two seats shall be content.
//!
//! Each is heard alone from both seats, with a loopback as the zero of time. Then everything is set as `blend` says, and both together are
//! heard once more from the sofa.

use super::{DemoError, DemoOrder, LevelSaid, Measured, Taken, Wiring, add, measure};
use crate::bench::{
    BenchSettings, Cut, LIVING_ROOM_SEATS, Polarity as BenchPolarity, Receiver, Room, Slope, Subwoofer, Surroundings,
};
use crate::blend::{Polarity, Shape};
use crate::explanation::Align;
use crate::files::JobBench;
use crate::job::blend::{BlendOrder, Blended, USUAL_CROSSOVERS_HZ, blend};
use crate::job::{Added, Additions, CompareOrder, Compared, Pictures, compare};
use crate::response::{GateChoice, OctaveFraction};
use std::path::{Path, PathBuf};

/// What came of it.
pub(super) struct Blending {
    pub blended: Blended,
    pub checked: Compared,
    captures: Vec<Measured>,
}

/// The seats that count; names of the bench's.
const SEATS: usize = 2;
/// Higher up the subwoofer would be heard where it stands (common practice); the satellite does not reach much further down.
const HIGHEST_HZ: f64 = 150.0;
/// What a listener hears of a room's bass is no finer than this (common practice).
const SMOOTHED_OCTAVES: f64 = 1.0 / 6.0;
const SMOOTHED: &str = "1/6";
const SEEDS: [u64; 5] = [21, 22, 23, 24, 25];
/// Outputs of the simulated bench: the satellite on 1, the loopback on 2, the subwoofer on 3.
const SATELLITE_ALONE: [usize; 2] = [1, 2];
const SUBWOOFER_ALONE: [usize; 2] = [2, 3];
const BOTH: [usize; 3] = [1, 2, 3];

/// Listens, finds the setting, and listens again; `alone` is the satellite's own curve.
pub(super) fn blend_in_living_room(order: &DemoOrder, bench: &JobBench, alone: PathBuf) -> Result<Blending, DemoError> {
    let mut captures = Vec::new();
    for (at, (seat, place_m)) in LIVING_ROOM_SEATS.into_iter().take(SEATS).enumerate() {
        for (side, (name, outputs)) in
            [("satellite", SATELLITE_ALONE), ("subwoofer", SUBWOOFER_ALONE)].into_iter().enumerate()
        {
            let settings = living_room(place_m, Receiver::default(), SEEDS[2 * at + side]);
            captures.push(heard(order, bench, settings, &format!("{name} at the {seat}"), &outputs)?);
        }
    }
    let curves = |side: usize| captures.iter().skip(side).step_by(2).map(response).collect::<Vec<PathBuf>>();
    let shape = |name: &str| name.parse::<Shape>().ok();
    let (satellite, subwoofer) = (curves(0), curves(1));
    let words = told(order, &satellite, &subwoofer, &alone);
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let blended = blend(&BlendOrder {
        ran: order.ran(&[], &words),
        satellite,
        subwoofer,
        both: Vec::new(),
        seats: LIVING_ROOM_SEATS.iter().take(SEATS).map(|(name, _)| (*name).to_owned()).collect(),
        crossovers_hz: USUAL_CROSSOVERS_HZ.into_iter().filter(|hz| *hz <= HIGHEST_HZ).collect(),
        high_pass: vec![shape("BW2"), shape("LR4")],
        low_pass: vec![shape("LR4")],
        low_pass_hz: None,
        delay_s: None,
        boost_db: 6.0,
        gain_db: None,
        polarities: Polarity::ALL.to_vec(),
        band_hz: None,
        smoothing: OctaveFraction::new(SMOOTHED_OCTAVES).ok(),
        delay_error_s: 2e-4,
        lowest_hz: None,
        highest_hz: None,
        alone: Some(alone),
        simulation: None,
        loud_db: None,
        filtered: [None, None],
        room_m: Some(Room::living_room().size_m),
        out: Some(order.folder.join("blend")),
        pictures: Pictures::Drawn,
    })?;
    let (name, place_m) = LIVING_ROOM_SEATS[0];
    let settings = living_room(place_m, as_told(&blended), SEEDS[4]);
    let both = heard(order, bench, settings, &format!("both at the {name}"), &BOTH)?;
    let (measured, expected) = (response(&both), blended.folder.join(format!("{name}-sum.csv")));
    let band_hz = crate::blend::overlap_hz(blended.document.setting.crossover_hz);
    let band = band_hz.map(|hz| hz.to_string()).join(":");
    let places = [order.inside(&measured), order.inside(&expected)];
    let words = ["compare", &places[0], &places[1], "--band", &band, "--limits", "1", "--out", "blend-check"];
    let checked = compare(&CompareOrder {
        ran: order.ran(&["limits"], &words),
        measured,
        expected,
        band_hz: Some(band_hz),
        align: Align { level: true, delay: false },
        limits_db: [-1.0, 1.0],
        explain: None,
        out: Some(order.folder.join("blend-check")),
        pictures: Pictures::Drawn,
    })?;
    captures.push(both);
    Ok(Blending { blended, checked, captures })
}

fn living_room(seat_m: [f64; 3], receiver: Receiver, seed: u64) -> BenchSettings {
    BenchSettings {
        seed,
        seat_m: Some(seat_m),
        surroundings: Surroundings::Room(Room::living_room()),
        subwoofer: Some(Subwoofer::default()),
        receiver,
        ..BenchSettings::default()
    }
}

/// The command that searches the setting.
fn told(order: &DemoOrder, satellite: &[PathBuf], subwoofer: &[PathBuf], alone: &Path) -> Vec<String> {
    let seats: Vec<&str> = LIVING_ROOM_SEATS.iter().take(SEATS).map(|(name, _)| *name).collect();
    let room = Room::living_room().size_m.map(|side_m| side_m.to_string()).join("x");
    let crossovers = format!("{}:{HIGHEST_HZ}", USUAL_CROSSOVERS_HZ[0]);
    let inside = |paths: &[PathBuf]| paths.iter().map(|path| order.inside(path)).collect::<Vec<String>>();
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect::<Vec<String>>();
    [
        words(&["blend", "--sat"]),
        inside(satellite),
        words(&["--sub"]),
        inside(subwoofer),
        words(&[
            "--seats",
            &seats.join(","),
            "--crossover",
            &crossovers,
            "--high-pass",
            "BW2,LR4",
            "--low-pass",
            "LR4",
        ]),
        words(&["--smooth", SMOOTHED, "--alone", &order.inside(alone), "--room", &room, "--out", "blend"]),
    ]
    .concat()
}

/// What a person enters into the receiver.
fn as_told(blended: &Blended) -> Receiver {
    let setting = &blended.document.setting;
    let cut = |name: &str| {
        let slope = match name {
            "BW2" => Slope::Butterworth2,
            _ => Slope::LinkwitzRiley4,
        };
        Some(Cut { slope, corner_hz: setting.crossover_hz })
    };
    Receiver {
        high_pass: cut(&setting.high_pass),
        low_pass: cut("LR4"),
        satellite_delay_s: 1e-3 * setting.delay_ms.max(0.0),
        subwoofer_delay_s: 1e-3 * (-setting.delay_ms).max(0.0),
        subwoofer_gain_db: setting.gain_db,
        subwoofer_polarity: if setting.polarity == "+" { BenchPolarity::Straight } else { BenchPolarity::Reversed },
    }
}

fn heard(
    order: &DemoOrder,
    bench: &JobBench,
    settings: BenchSettings,
    unit: &str,
    outputs: &[usize],
) -> Result<Measured, DemoError> {
    let bench = JobBench { output_channels: Some(outputs.to_vec()), ..bench.clone() };
    let taken = Taken {
        unit,
        stage: "with the subwoofer",
        wiring: Wiring::Loopback,
        gate: GateChoice::None,
        level: LevelSaid::AtTheSeat,
    };
    measure(order, &bench, settings, &taken)
}

fn response(measured: &Measured) -> PathBuf {
    measured.responded.folder.join("response.csv")
}

impl Blending {
    /// What was written.
    pub fn files(&self) -> Vec<(PathBuf, &'static str)> {
        let mut files: Vec<(PathBuf, &'static str)> = Vec::new();
        for measured in &self.captures {
            files.push((measured.capture.clone(), "capture"));
            files.push((measured.responded.folder.join("result.json"), "result"));
        }
        files.push((self.blended.folder.join("blend.json"), "result"));
        files.push((self.checked.folder.join("compare.json"), "result"));
        files
    }

    /// Adds to the results what was done.
    pub fn tell(&self, order: &DemoOrder, additions: &mut Additions) {
        let told = |heading: &str, prose: &str| Added {
            heading: Some(heading.into()),
            prose: vec![prose.into()],
            ..Added::default()
        };
        let blended = told(
            "Where do satellite and subwoofer meet?",
            "Satellite and subwoofer were heard alone from two seats of a living room whose modes stand out.",
        );
        let checked = told(
            "Do they meet as predicted?",
            "Everything was set as told, and both together were heard from the sofa.",
        );
        add(order, &self.blended.folder.join("blend.json"), blended, additions);
        add(order, &self.checked.folder.join("compare.json"), checked, additions);
    }
}
