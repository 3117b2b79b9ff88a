//! What a picture and a report cost: `cargo bench --bench pictures`.
//!
//! The picture of a response with 478 points, their uncertainty and a band, and the page of a report with twelve of them.
#![allow(clippy::unwrap_used)] // a benchmark that can't go on may stop
#![allow(missing_docs)]

use boxwright::MADE_BY;
use boxwright::report::{
    CAUTIONS, Chapter, Figure, LevelCurve, Origin, PhasePanel, Picture, ResponsePicture, Story, page_html,
};
use divan::Bencher;

fn main() {
    divan::main();
}

/// A second-order high-pass, which two curves of a closed box are.
fn picture() -> Picture {
    let curve = |name: &str, origin: Origin, resonance_hz: f64| {
        let frequency_hz: Vec<f64> = (-270..=207).map(|k| 1000.0 * (f64::from(k) / 48.0).exp2()).collect();
        let level = |hz: &f64| {
            let x = hz / resonance_hz;
            84.0 + 20.0 * (x * x / ((1.0 - x * x).powi(2) + (x / 0.8).powi(2)).sqrt()).log10() + (hz / 900.0).ln().sin()
        };
        LevelCurve {
            name: name.to_owned(),
            origin,
            level_db: frequency_hz.iter().map(level).collect(),
            u_db: frequency_hz.iter().map(|hz| 0.2 + 15.0 / hz).collect(),
            phase_deg: Vec::new(),
            frequency_hz,
        }
    };
    let picture = ResponsePicture {
        title: "Response".to_owned(),
        level_reference: "dB re 20 µPa at 2.83 V, 1 m".to_owned(),
        curves: vec![curve("measured", Origin::Measured, 110.0), curve("design", Origin::Predicted, 95.0)],
        valid_hz: Some([200.0, 18_500.0]),
        shown_hz: None,
        phase: PhasePanel::Absent,
    };
    picture.picture()
}

#[divan::bench]
fn picture_to_svg(bencher: Bencher<'_, '_>) {
    let picture = picture();
    bencher.bench(|| picture.svg().unwrap());
}

#[divan::bench]
fn picture_to_png(bencher: Bencher<'_, '_>) {
    let picture = picture();
    bencher.bench(|| picture.png().unwrap());
}

#[divan::bench]
fn report_of_twelve_pictures(bencher: Bencher<'_, '_>) {
    let picture = picture();
    let figure = || Figure { picture: picture.in_page().unwrap(), caption: "A response".to_owned() };
    bencher.bench(|| {
        let chapter =
            |n: usize| Chapter { heading: format!("Unit {n}"), figures: vec![figure()], ..Chapter::default() };
        page_html(&Story {
            title: "Twelve".to_owned(),
            summary: Vec::new(),
            answers: Vec::new(),
            chapters: (1..=12).map(chapter).collect(),
            cautions: CAUTIONS.to_vec(),
            made_by: MADE_BY.to_owned(),
            footer: Vec::new(),
        })
    });
}
