//! Draws one picture of each kind from formulas, as SVG and PNG: `cargo run --example pictures -- DIR`.

use std::f64::consts::TAU;
use std::path::Path;

use boxwright::report::{
    DistortionPicture, EnvelopePicture, GateShape, HarmonicCurve, ImpulsePicture, LevelCurve, Origin, PhasePanel,
    Picture, ResponsePicture,
};
use num_complex::Complex64;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).unwrap_or_else(|| "target/pictures".to_owned());
    std::fs::create_dir_all(&folder)?;
    let pictures = [
        ("response", response()),
        ("units", units()),
        ("impulse", impulse()),
        ("envelope", envelope()),
        ("distortion", distortion()),
    ];
    for (name, picture) in pictures {
        std::fs::write(Path::new(&folder).join(format!("{name}.svg")), picture.svg()?)?;
        std::fs::write(Path::new(&folder).join(format!("{name}.png")), picture.png()?)?;
    }
    Ok(())
}

fn frequencies_hz() -> Vec<f64> {
    (-270..=207).map(|k| 1000.0 * (f64::from(k) / 48.0).exp2()).collect()
}

/// A closed box (second-order high-pass) with a cone resonance, an edge and the end of the treble.
fn satellite(hz: f64, resonance_hz: f64) -> Complex64 {
    let s = Complex64::new(0.0, hz / resonance_hz);
    let high_pass = s * s / (s * s + s / 0.8 + 1.0);
    let t = Complex64::new(0.0, hz / 3_200.0);
    let break_up = (t * t + t * 0.5 + 1.0) / (t * t + t * 0.35 + 1.0);
    let edge = 1.0 + 0.18 * Complex64::cis(-TAU * hz * 0.35e-3) / (1.0 + (300.0 / hz).powi(2));
    high_pass * break_up * edge / Complex64::new(1.0, hz / 24_000.0)
}

fn curve(name: &str, origin: Origin, resonance_hz: f64) -> LevelCurve {
    let frequency_hz = frequencies_hz();
    let values: Vec<Complex64> = frequency_hz.iter().map(|&hz| satellite(hz, resonance_hz)).collect();
    LevelCurve {
        name: name.to_owned(),
        origin,
        level_db: values.iter().map(|h| 84.0 + 20.0 * h.norm().log10()).collect(),
        u_db: match origin {
            Origin::Measured => frequency_hz.iter().map(|hz| 0.15 + 18.0 / hz + hz / 60_000.0).collect(),
            Origin::Predicted => Vec::new(),
        },
        phase_deg: values.iter().zip(&frequency_hz).map(|(h, hz)| h.arg().to_degrees() - 0.05 * hz).collect(),
        frequency_hz,
    }
}

fn response() -> Picture {
    let predicted = curve("design", Origin::Predicted, 95.0);
    ResponsePicture {
        title: "Rear left: response on the treble axis".to_owned(),
        level_reference: "dB re 20 µPa at 2.83 V, 1 m".to_owned(),
        curves: vec![curve("measured", Origin::Measured, 110.0), predicted],
        valid_hz: Some([200.0, 18_500.0]),
        shown_hz: None,
        phase: PhasePanel::Beneath,
    }
    .picture()
}

/// Four loudspeakers of one kind over each other.
fn units() -> Picture {
    let names = [("front left", 104.0), ("front right", 110.0), ("rear left", 122.0), ("rear right", 85.0)];
    let unit = |(place, (name, resonance_hz)): (usize, (&str, f64))| {
        let mut unit = curve(name, Origin::Measured, resonance_hz);
        let tilt = |hz: f64| (place as f64 - 1.5) * (0.4 + 0.3 * (hz / 500.0).ln());
        unit.level_db.iter_mut().zip(&unit.frequency_hz).for_each(|(level, hz)| *level += tilt(*hz));
        if place > 0 {
            unit.u_db.clear();
        }
        unit
    };
    ResponsePicture {
        title: "Are these units alike?".to_owned(),
        level_reference: "dB re 20 µPa at 2.83 V, 1 m".to_owned(),
        curves: names.into_iter().enumerate().map(unit).collect(),
        valid_hz: None,
        shown_hz: None,
        phase: PhasePanel::Absent,
    }
    .picture()
}

/// A decaying tone, and a weaker copy of it from the floor.
fn amplitude(ms: f64) -> f64 {
    let ring = |ms: f64| if ms < 0.0 { 0.0 } else { (-ms / 0.35).exp() * (TAU * 2.1 * ms).sin() };
    let rumble = |ms: f64| if ms < 0.0 { 0.0 } else { -0.12 * (-ms / 2.5).exp() * (TAU * 0.11 * ms).sin() };
    0.0041 * (ring(ms) + rumble(ms) - 0.4 * ring(ms - 5.6) + 0.2 * ring(ms - 8.3))
}

fn times_ms() -> Vec<f64> {
    (-96..1_000).map(|n| f64::from(n) / 48.0).collect()
}

fn impulse() -> Picture {
    let weight = |ms: f64| match ms {
        ms if !(-1.0..=5.0).contains(&ms) => 0.0,
        ms if ms > 3.75 => 0.5 + 0.5 * (std::f64::consts::PI * (ms - 3.75) / 1.25).cos(),
        _ => 1.0,
    };
    let time_ms = times_ms();
    ImpulsePicture {
        name: "impulse response".to_owned(),
        title: "Rear left: impulse response".to_owned(),
        amplitude: time_ms.iter().map(|&ms| amplitude(ms)).collect(),
        unit: "Pa/V".to_owned(),
        view_ms: [-1.5, 12.0],
        gate: Some(GateShape { weight: time_ms.iter().map(|&ms| weight(ms)).collect(), time_ms: time_ms.clone() }),
        time_ms,
    }
    .picture()
}

fn envelope() -> Picture {
    let time_ms = times_ms();
    let noise = |ms: f64| 2e-4 * (1.0 + 0.6 * (37.0 * ms).sin() * (11.3 * ms).cos());
    let decay = |ms: f64| if ms < 0.0 { (ms / 0.03).exp() } else { (-ms / 0.45).exp() };
    let strength = |ms: f64| decay(ms) + 0.35 * decay(ms - 5.6) + 0.2 * decay(ms - 8.3) + noise(ms);
    EnvelopePicture {
        title: "Rear left: how the sound dies away".to_owned(),
        level_db: time_ms.iter().map(|&ms| 20.0 * strength(ms).log10()).collect(),
        time_ms,
        view_ms: [-1.5, 15.0],
        gate_end_ms: Some(5.0),
        first_reflection_ms: Some(5.6),
    }
    .picture()
}

fn distortion() -> Picture {
    let frequency_hz = frequencies_hz();
    let floor = |hz: f64| -88.0 + 18.0 * (60.0 / hz) + 4.0 * (hz.ln() * 9.0).sin();
    let level =
        |order: f64, hz: f64| -26.0 - 9.0 * order - 16.0 * (hz / 70.0).ln_1p() / 2.0 + 5.0 * (hz.ln() * order).sin();
    let measurable = |order: f64, hz: f64| Some(level(order, hz)).filter(|db| *db > floor(hz) && order * hz < 20_000.0);
    let orders = 2..=7u32;
    let thd = |hz: f64| {
        let power: f64 =
            (2..=7).filter_map(|order| measurable(f64::from(order), hz)).map(|db| 10f64.powf(db / 10.0)).sum();
        (power > 0.0).then(|| 100.0 * power.sqrt())
    };
    DistortionPicture {
        title: "Rear left: harmonic distortion at 2.83 V".to_owned(),
        harmonics: orders
            .map(|order| HarmonicCurve {
                order,
                level_db: frequency_hz.iter().map(|&hz| measurable(f64::from(order), hz)).collect(),
            })
            .collect(),
        thd_percent: frequency_hz.iter().map(|&hz| thd(hz)).collect(),
        noise_floor_db: frequency_hz.iter().map(|&hz| Some(floor(hz))).collect(),
        high_order: None,
        valid_hz: Some([40.0, 10_000.0]),
        frequency_hz,
    }
    .picture()
}
