//! What was built, as the job says: loudspeakers with their ways, drivers, boxes, fronts, networks, limits.

use crate::files::{self, Job, JobBaffle, JobBox, JobDriver, JobNetwork, JobSpeaker, frequency_text};
use crate::report::{Chapter, Entry};
use std::path::Path;

/// The chapter, unless the job says nothing.
pub(super) fn built(folder: &Path, job: &Job) -> Option<Chapter> {
    let mut entries: Vec<Entry> = Vec::new();
    let mut tell = |kind: &str, name: &str, says: String| entries.push(Entry::text(&format!("{kind} {name}"), says));
    job.unit.iter().for_each(|(name, unit)| {
        tell("unit", name, unit.speaker.as_ref().map_or_else(|| "built".into(), |speaker| format!("one of {speaker}")));
    });
    job.speaker.iter().for_each(|(name, speaker)| tell("loudspeaker", name, speaker_says(speaker)));
    job.driver.iter().for_each(|(name, driver)| tell("driver", name, driver_says(driver)));
    job.enclosure.iter().for_each(|(name, enclosure)| tell("box", name, box_says(enclosure)));
    job.baffle.iter().for_each(|(name, baffle)| tell("front", name, baffle_says(baffle)));
    job.network.iter().for_each(|(name, network)| tell("network", name, network_says(folder, network)));
    entries.extend(job.job.temperature_c.map(|celsius| Entry::text("air", format!("{celsius} °C"))));
    let limits = [("of a unit against the design", job.limits.against_design_db), ("of two units", job.limits.pair_db)];
    entries.extend(
        limits
            .into_iter()
            .filter_map(|(what, db)| Some(Entry::text(&format!("limit {what}"), format!("± {} dB", db?)))),
    );
    entries.extend(
        job.limits.band_hz.map(|[from, to]| {
            Entry::text("limits hold", format!("{} to {}", frequency_text(from), frequency_text(to)))
        }),
    );
    (!entries.is_empty()).then(|| Chapter {
        heading: "What was built".into(),
        numbers: entries,
        columns: Some(["Part", "As the job says"]),
        ..Chapter::default()
    })
}

/// The parts that are there, one after the other.
fn listed(parts: impl IntoIterator<Item = Option<String>>) -> String {
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if parts.is_empty() { "nothing is said of it".into() } else { parts.join(", ") }
}

/// `f_s 110 Hz`, if there is such a number.
fn number(name: &str, value: Option<f64>, unit: &str) -> Option<String> {
    value.map(|value| format!("{name} {value} {unit}").trim().to_owned())
}

fn speaker_says(speaker: &JobSpeaker) -> String {
    let ways = speaker.ways.iter().map(|way| {
        let place = way.at_mm.map_or(String::new(), |[x, y]| format!(" at {x}, {y} mm"));
        let turned = if way.polarity.as_deref() == Some("-") { ", reversed" } else { "" };
        Some(format!("way {}{place}{turned}", way.driver))
    });
    let named = |what: &str, name: &Option<String>| name.as_ref().map(|name| format!("{what} {name}"));
    let around =
        [named("box", &speaker.enclosure), named("front", &speaker.baffle), named("network", &speaker.network)];
    listed(around.into_iter().chain(ways))
}

fn driver_says(driver: &JobDriver) -> String {
    let from =
        |what: &str, path: &Option<std::path::PathBuf>| path.as_ref().map(|path| format!("{what} {}", path.display()));
    listed([
        from("as found in", &driver.from),
        from("response", &driver.response),
        from("impedance", &driver.impedance),
        number("R_e", driver.re_ohm, "Ω"),
        number("f_s", driver.fs_hz, "Hz"),
        number("Q_ms", driver.qms, ""),
        number("Q_es", driver.qes, ""),
        number("V_as", driver.vas_l, "l"),
        number("S_d", driver.sd_cm2, "cm²"),
        number("L_e", driver.le_mh, "mH"),
        number("cone goes", driver.xmax_mm, "mm to a side"),
        number("bears", driver.power_w, "W"),
    ])
}

fn box_says(enclosure: &JobBox) -> String {
    let port = enclosure.port.as_ref().map(|port| {
        let count = if port.count == 1 { String::new() } else { format!("{} times ", port.count) };
        format!("port {count}{} mm wide, {} mm long", port.diameter_mm, port.length_mm)
    });
    let inside = enclosure.inner_mm.map(|[width, height, depth]| format!("inside {width} × {height} × {depth} mm"));
    let walls = enclosure.wall_mm.map(|thick| {
        let of = enclosure.material.as_ref().map_or(String::new(), |material| format!(" of {material}"));
        format!("walls {thick} mm{of}")
    });
    listed([
        enclosure.kind.clone(),
        enclosure.volume_l.map(|litres| format!("{litres} l")),
        number("tuned to", enclosure.fb_hz, "Hz"),
        port,
        number("Q_L", enclosure.ql, ""),
        number("Q_A", enclosure.qa, ""),
        number("Q_P", enclosure.qp, ""),
        inside,
        walls,
    ])
}

fn baffle_says(baffle: &JobBaffle) -> String {
    let across = baffle.width_mm.zip(baffle.height_mm).map(|(width, height)| format!("{width} × {height} mm"));
    let round = (baffle.edge_radius_mm > 0.0).then(|| format!("edges rounded by {} mm", baffle.edge_radius_mm));
    listed([Some(baffle.shape().to_owned()), across, number("diameter", baffle.diameter_mm, "mm"), round])
}

/// The parts of a network are few: they stand here whole, so that the record does not hang on another file.
const MOST_CARDS: usize = 40;

fn network_says(folder: &Path, network: &JobNetwork) -> String {
    let path = network.netlist.display().to_string();
    let text = files::read_typed_text(&folder.join(&network.netlist)).unwrap_or_default();
    let is_card = |line: &&str| line.trim().starts_with(|c: char| c.is_ascii_alphabetic());
    let cards: Vec<&str> = text.lines().filter(is_card).take(MOST_CARDS).map(str::trim).collect();
    let tolerance = network.tolerance_percent.map(|percent| format!("parts within {percent} %"));
    listed([Some(path), (!cards.is_empty()).then(|| cards.join("; ")), tolerance])
}
