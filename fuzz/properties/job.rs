//! A job from any text: its loudspeakers, as far as its tables make some, have curves of numbers.

use crate::refusal::{of_file, one_sentence};
use boxwright::files::{Job, datasheet_from, job_from};
use boxwright::job::designs;
use boxwright::speaker::{Simulation, SpeakerError, simulate};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use tempfile::TempDir;

/// Frequencies at which its loudspeakers are simulated, Hz.
const FREQUENCIES_HZ: [f64; 3] = [20.0, 500.0, 20_000.0];
/// More corners or ways than this take too long to try many.
const MOST: usize = 12;

/// Reads the bytes as a job and as a data sheet and checks what came of it.
pub fn check(bytes: &[u8]) {
    let (text, name) = (String::from_utf8_lossy(bytes), Path::new("t"));
    match datasheet_from(&text, name) {
        Ok(sheet) => assert!(sheet.half_digits.values().all(|half| half.is_finite() && *half >= 0.0), "{sheet:?}"),
        Err(error) => of_file(&error),
    }
    match job_from(&text, name) {
        Ok(job) => loudspeakers(&job),
        Err(error) => of_file(&error),
    }
}

/// Files that a job may name: text is all that can be made up, not what lies on this disk.
const FILES: [(&str, &str); 4] = [
    ("n.cir", "L1 in w 0.39m dcr=0.25\nC1 in t 6.8u\nR1 t 0 8\n"),
    ("z.csv", "frequency_hz,magnitude_ohm,phase_deg\n20,7,10\n100,30,0\n500,6,-20\n20000,12,50\n"),
    ("p.csv", "frequency_hz,level_db,phase_deg\n20,60,10\n100,80,0\n500,86,-20\n20000,84,50\n"),
    ("n2.cir", "R1 in w 1\n"),
];

fn folder() -> &'static Path {
    static FOLDER: OnceLock<TempDir> = OnceLock::new();
    let made = FOLDER.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder for temporary files");
        for (name, text) in FILES {
            std::fs::write(folder.path().join(name), text).expect("room for a small file");
        }
        folder
    });
    made.path()
}

fn loudspeakers(job: &Job) {
    let named = job.driver.values().flat_map(|driver| [&driver.from, &driver.response, &driver.impedance]);
    let named = named.flatten().chain(job.network.values().map(|network| &network.netlist));
    let is_small = job.speaker.values().all(|speaker| speaker.ways.len() <= MOST)
        && job.speaker.len() <= MOST
        && job.baffle.values().all(|baffle| baffle.outline_mm.as_ref().is_none_or(|corners| corners.len() <= MOST));
    let is_ours = |path: &PathBuf| FILES.iter().any(|(name, _)| path.as_os_str() == *name);
    if !is_small || !named.into_iter().all(is_ours) {
        return;
    }
    match designs(job, &folder().join("job.toml"), None) {
        Ok(designed) => {
            for one in designed {
                assert!(one.findings.iter().all(|finding| !finding.says.contains("NaN")), "{:?}", one.findings);
                match simulate(&one.design, &FREQUENCIES_HZ) {
                    Ok(simulation) => numbers(&simulation),
                    Err(error) => refused(&error),
                }
            }
        }
        Err(error) => one_sentence(error.advice()),
    }
}

fn refused(error: &SpeakerError) {
    one_sentence(&error.to_string());
    one_sentence(error.advice());
}

fn numbers(simulation: &Simulation) {
    let pressures = simulation.ways.iter().flat_map(|way| &way.pressure_pa).chain(&simulation.pressure_pa);
    assert!(pressures.into_iter().all(|pa| pa.re.is_finite() && pa.im.is_finite()), "{simulation:?}");
    let excursions = simulation.ways.iter().filter_map(|way| way.excursion_m.as_ref()).flatten();
    let others = simulation.group_delay_s.iter().chain(simulation.port_m_s.iter().flatten());
    assert!(excursions.chain(others).all(|number| number.is_finite()), "{simulation:?}");
    for point in &simulation.points {
        assert!(point.input_a.re.is_finite() && point.input_a.im.is_finite(), "{point:?}");
    }
}
