//! Writes a report page with every part it can have: `cargo run --example report_page -- FILE`.

use boxwright::MADE_BY;
use boxwright::quantity::{Code, Finding, Quantity, Severity, Unit, Whereabouts};
use boxwright::report::{
    CAUTIONS, Chapter, Entry, Figure, LevelCurve, Origin, PhasePanel, ReportError, ResponsePicture, Story, page_html,
};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let file = std::env::args().nth(1).unwrap_or_else(|| "target/report.html".to_owned());
    std::fs::write(file, page_html(&story()?))?;
    Ok(())
}

fn story() -> Result<Story, ReportError> {
    let response = Chapter {
        heading: "What the loudspeaker does".to_owned(),
        prose: vec![
            "The sweep went out at −20 dBFS and came back 62 dB above the noise. Between 200 Hz and 18.5 kHz the response stays \
             within 6 dB."
                .to_owned(),
        ],
        figures: vec![Figure {
            picture: response().picture().in_page()?,
            caption: "Response on the treble axis. The grey part is shorter than one period of the gate.".to_owned(),
        }],
        numbers: vec![
            Entry::quantity("arrival", Quantity { value: 3.2145, u: 0.0011, unit: Unit::Millisecond }),
            Entry::quantity("clock drift", Quantity { value: 12.31, u: 0.04, unit: Unit::PartsPerMillion }),
            Entry::text("gate", "5.0 ms after the arrival"),
        ],
        findings: vec![Finding {
            code: Code::ReflectionInGate,
            severity: Severity::Caution,
            says: "a reflection 9 dB below the direct sound arrives 4.6 ms after it".to_owned(),
            advice: "shorten the gate to 4.5 ms, or raise the stand".to_owned(),
            at: Whereabouts { band_hz: Some([200.0, 900.0]), ..Whereabouts::default() },
        }],
        settings: vec![Entry::text("smoothing", "1/12 octave, picture only"), Entry::text("window", "half-cosine fall")],
        ..Chapter::default()
    };
    Ok(Story {
        title: "Rear left: what was built".to_owned(),
        summary: vec!["A closed two-way box on the simulated bench, measured from one metre.".to_owned()],
        answers: vec!["Within 3 dB of the design from 200 Hz to 10 kHz.".to_owned()],
        chapters: vec![response],
        cautions: CAUTIONS.to_vec(),
        made_by: MADE_BY.to_owned(),
        footer: vec!["Simulated bench, seed 7.".to_owned()],
    })
}

/// A closed box with a resonance at 110 Hz, from the formula of a second-order high-pass.
fn response() -> ResponsePicture {
    let frequency_hz: Vec<f64> = (-270..=207).map(|k| 1000.0 * (f64::from(k) / 48.0).exp2()).collect();
    let level = |hz: f64| {
        let (x, q) = (hz / 110.0, 0.8);
        84.0 + 20.0 * (x * x / ((1.0 - x * x).powi(2) + (x / q).powi(2)).sqrt()).log10() + (hz / 900.0).ln().sin()
    };
    let measured = LevelCurve {
        name: "measured".to_owned(),
        origin: Origin::Measured,
        level_db: frequency_hz.iter().map(|&hz| level(hz)).collect(),
        u_db: frequency_hz.iter().map(|hz| 0.2 + 15.0 / hz).collect(),
        phase_deg: Vec::new(),
        frequency_hz,
    };
    ResponsePicture {
        title: "Response on the treble axis".to_owned(),
        level_reference: "dB re 20 µPa at 2.83 V, 1 m".to_owned(),
        curves: vec![measured],
        valid_hz: Some([200.0, 18_500.0]),
        shown_hz: None,
        phase: PhasePanel::Absent,
    }
}
