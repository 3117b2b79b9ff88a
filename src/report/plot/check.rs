//! Checks that hold for every kind of picture.

use proptest::prelude::*;

use super::palette::BLUE;
use super::*;

fn response(level_db: f64) -> Picture {
    let frequency_hz: Vec<f64> = (-270..=207).map(|k| 1000.0 * (f64::from(k) / 48.0).exp2()).collect();
    let curve = LevelCurve {
        name: "rear left <&\"'>".to_owned(),
        origin: Origin::Measured,
        level_db: vec![level_db; frequency_hz.len()],
        u_db: Vec::new(),
        phase_deg: frequency_hz.iter().map(|hz| -0.2 * hz).collect(),
        frequency_hz,
    };
    ResponsePicture {
        title: "A & B <rear> \"left\"".to_owned(),
        level_reference: "dB re 20 µPa".to_owned(),
        curves: vec![curve],
        valid_hz: None,
        shown_hz: None,
        phase: PhasePanel::Beneath,
    }
    .picture()
}

/// The places that a path goes through, stroke by stroke, in units of the sheet.
fn strokes_of(path: &str) -> Vec<Vec<[f64; 2]>> {
    let numbers = |text: &str| -> Vec<f64> {
        let apart = text.replace('-', " -");
        apart.split_whitespace().map(|number| number.parse::<f64>().unwrap() / 10.0).collect()
    };
    let one = |stroke: &str| {
        let (first, steps) = stroke.split_once('l').unwrap_or((stroke, ""));
        let steps = numbers(steps);
        let mut places: Vec<[f64; 2]> = vec![numbers(first).try_into().unwrap()];
        for step in steps.chunks_exact(2) {
            let [x, y] = places[places.len() - 1];
            places.push([x + step[0], y + step[1]]);
        }
        places
    };
    path.trim_end_matches('z').split('M').skip(1).map(one).collect()
}

/// Straight strokes of an SVG with this colour and width, in units of the sheet: `[x1, y1, x2, y2]`.
fn straight_strokes(svg: &str, colour: &str, width: &str) -> Vec<[f64; 4]> {
    let document = roxmltree::Document::parse(svg).unwrap();
    let is_meant = |node: &roxmltree::Node<'_, '_>| {
        node.attribute("stroke") == Some(colour) && node.attribute("stroke-width") == Some(width)
    };
    document
        .descendants()
        .filter(is_meant)
        .flat_map(|node| strokes_of(node.attribute("d").unwrap_or("")))
        .filter_map(|stroke| stroke.concat().try_into().ok())
        .collect()
}

struct Bitmap {
    width: usize,
    height: usize,
    pixels: Vec<u8>,
}

impl Bitmap {
    fn decoded(bytes: &[u8]) -> Self {
        let mut reader = png::Decoder::new(bytes).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size()];
        let info = reader.next_frame(&mut pixels).unwrap();
        Self { width: info.width as usize, height: info.height as usize, pixels }
    }

    fn is_near(&self, x: usize, y: usize, (red, green, blue): (u8, u8, u8)) -> bool {
        let at = (y * self.width + x) * 3;
        let pixel = &self.pixels[at..at + 3];
        pixel.iter().zip([red, green, blue]).all(|(found, meant)| found.abs_diff(meant) < 40)
    }

    /// The mean place of pixels of a colour in a column, in units of the sheet.
    fn middle_in_column(&self, x: usize, rows: std::ops::Range<usize>, colour: (u8, u8, u8)) -> f64 {
        let found: Vec<usize> = rows.filter(|&y| self.is_near(x, y, colour)).collect();
        (found.iter().sum::<usize>() as f64 / found.len() as f64 + 0.5) / 2.0
    }
}

#[test]
fn svg_and_png_have_one_geometry() {
    let picture = response(77.0);
    let (svg, bitmap) = (picture.svg().unwrap(), Bitmap::decoded(&picture.png().unwrap()));
    let document = roxmltree::Document::parse(&svg).unwrap();
    let size = |name| document.root_element().attribute(name).unwrap().parse::<usize>().unwrap() * 2;
    assert_eq!([bitmap.width, bitmap.height], [size("width"), size("height")]);

    // The frame: two panels, four strokes each.
    let frame = straight_strokes(&svg, "#606060", "10");
    assert_eq!(frame.len(), 8);
    let (top, bottom) = (frame[0][1], frame[1][1]);
    let left = frame[2][0];
    let row = ((top + 30.0) * 2.0) as usize;
    let dark: Vec<usize> = (0..bitmap.width / 8).filter(|&x| bitmap.is_near(x, row, (96, 96, 96))).collect();
    let found_left = (dark.iter().sum::<usize>() as f64 / dark.len() as f64 + 0.5) / 2.0;
    // Half a pixel of the file is a quarter of a unit; the drawing library places strokes to half a pixel of four.
    assert!((found_left - left).abs() <= 0.375, "{found_left} against {left}");

    // The curve: level, so its height is seen in any column.
    let heights: Vec<f64> = document
        .descendants()
        .filter(|node| node.attribute("stroke") == Some("#0072B2") && node.attribute("stroke-width") == Some("24"))
        .flat_map(|node| strokes_of(node.attribute("d").unwrap_or("")).concat())
        .map(|[_, y]| y)
        .filter(|y| (top..=bottom).contains(y))
        .collect();
    let found = bitmap.middle_in_column(905, (top * 2.0) as usize..(bottom * 2.0) as usize, BLUE);
    assert!(heights.len() > 100 && (found - heights[50]).abs() <= 0.375, "{found} against {}", heights[50]);
}

/// IEC 60263 on the drawing itself: lines of the grid 10 dB apart and a decade apart.
#[test]
fn the_drawn_grid_has_the_proportion_of_25_db_to_a_decade() {
    let svg = response(77.0).svg().unwrap();
    let strong = straight_strokes(&svg, "#CACACA", "8");
    let upright: Vec<f64> = strong.iter().filter(|line| line[0] == line[2]).map(|line| line[0]).collect();
    let level: Vec<f64> = strong.iter().filter(|line| line[1] == line[3]).map(|line| line[1]).collect();
    // Labelled lines: 20, 50, 100 …: the third next is a decade on.
    let decade = upright[3] - upright[0];
    let ten_db = level[0] - level[1];
    // Places are rounded to 0.1 unit, in both ends of both lengths.
    assert!((decade - 2.5 * ten_db).abs() < 0.4, "{decade} against 2.5 times {ten_db}");
}

#[test]
fn the_same_picture_gives_the_same_bytes() {
    let (one, other) = (response(70.0), response(70.0));
    assert_eq!(one.svg().unwrap(), other.svg().unwrap());
    assert_eq!(one.png().unwrap(), other.png().unwrap());
    assert_ne!(one.svg().unwrap(), response(71.0).svg().unwrap());
}

#[test]
fn words_of_people_stay_words_in_an_svg() {
    let svg = response(70.0).svg().unwrap();
    let document = roxmltree::Document::parse(&svg).unwrap();
    let texts: Vec<&str> = document
        .descendants()
        .filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "text")))
        .filter_map(|n| n.text())
        .collect();
    assert!(texts.iter().any(|text| text.trim() == "A & B <rear> \"left\""), "{texts:?}");
    let title = document.descendants().find(|n| n.tag_name().name() == "title").and_then(|n| n.text());
    assert_eq!(title, Some("A & B <rear> \"left\""));
}

/// Any double, and those that break pictures.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        -200.0..200.0f64,
        20.0..20_000.0f64,
        Just(0.0),
        Just(f64::NAN),
        Just(f64::INFINITY),
        Just(f64::NEG_INFINITY),
        Just(f64::MAX),
        Just(f64::MIN_POSITIVE),
    ]
}

fn any_column() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(any_number(), 0..30)
}

/// Pictures of all kinds from the same columns, whatever they hold.
fn all_kinds(x: &[f64], y: &[f64], u: &[f64], edges: [f64; 2], name: &str) -> [Picture; 4] {
    let origins = [Origin::Measured, Origin::Predicted, Origin::Measured];
    let curves = origins.map(|origin| LevelCurve {
        name: name.to_owned(),
        origin,
        frequency_hz: x.to_vec(),
        level_db: y.to_vec(),
        u_db: u.to_vec(),
        phase_deg: u.to_vec(),
    });
    let response = ResponsePicture {
        title: name.to_owned(),
        level_reference: name.to_owned(),
        curves: curves.to_vec(),
        valid_hz: Some(edges),
        shown_hz: None,
        phase: PhasePanel::Beneath,
    };
    let impulse = ImpulsePicture {
        name: "impulse response".to_owned(),
        title: name.to_owned(),
        time_ms: x.to_vec(),
        amplitude: y.to_vec(),
        unit: name.to_owned(),
        view_ms: edges,
        gate: Some(GateShape { time_ms: x.to_vec(), weight: u.to_vec() }),
    };
    let envelope = EnvelopePicture {
        title: name.to_owned(),
        time_ms: x.to_vec(),
        level_db: y.to_vec(),
        view_ms: edges,
        gate_end_ms: Some(edges[0]),
        first_reflection_ms: Some(edges[1]),
    };
    let gaps = |column: &[f64]| column.iter().map(|value| (*value > 0.0).then_some(*value)).collect::<Vec<_>>();
    let distortion = DistortionPicture {
        title: name.to_owned(),
        frequency_hz: x.to_vec(),
        harmonics: (0..9)
            .map(|order| HarmonicCurve { order, level_db: y.iter().copied().map(Some).collect() })
            .collect(),
        thd_percent: gaps(u),
        noise_floor_db: gaps(y),
        high_order: None,
        valid_hz: Some(edges),
    };
    [response.picture(), impulse.picture(), envelope.picture(), distortion.picture()]
}

/// A script finds a curve, its panel, its axes and its entry, and reads the curve's values back.
#[test]
fn the_values_of_a_curve_can_be_read_back() {
    let level_db = 77.31;
    let svg = response(level_db).svg_in_page().unwrap();
    let document = roxmltree::Document::parse(&svg).unwrap();
    let about = document.descendants().find(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "metadata")));
    let about: serde_json::Value = serde_json::from_str(about.and_then(|node| node.text()).unwrap()).unwrap();
    assert_eq!(about["curves"], serde_json::json!(["rear left <&\"'>"]));
    assert_eq!((about["x"]["scale"].as_str(), about["x"]["from"].as_f64()), (Some("log"), Some(20.0)));
    let inside = |name: &str, number: &str| {
        document.descendants().filter(|node| node.attribute(name) == Some(number)).collect::<Vec<_>>()
    };
    assert_eq!((inside("data-panel", "0").len(), inside("data-panel", "1").len()), (1, 1));
    assert_eq!((inside("data-curve", "0").len(), inside("data-entry", "0").len()), (2, 1));
    let number = |value: &serde_json::Value| value.as_f64().unwrap();
    let (panel, curve) = (&about["panels"][0], inside("data-curve", "0")[0]);
    let path = curve.descendants().find_map(|node| node.attribute("d")).unwrap();
    let (top, bottom) = (number(&panel["frame"][1]) / 10.0, number(&panel["frame"][3]) / 10.0);
    let (from, to) = (number(&panel["y"]["from"]), number(&panel["y"]["to"]));
    let found = strokes_of(path)[0][100][1];
    let found_db = from + (bottom - found) / (bottom - top) * (to - from);
    // Places are rounded to 0.1 of some 440 units for 40 dB.
    assert!((found_db - level_db).abs() < 0.006, "{found_db}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]
    #[test]
    fn no_numbers_and_no_words_break_an_svg(
        x in any_column(), y in any_column(), u in any_column(),
        edges in (any_number(), any_number()), name in any::<String>(),
    ) {
        for picture in all_kinds(&x, &y, &u, [edges.0, edges.1], &name) {
            let svg = picture.svg_in_page().unwrap();
            let document = roxmltree::Document::parse(&svg);
            prop_assert!(document.is_ok(), "{:?}", document.err());
            for node in document.unwrap().descendants() {
                for attribute in node.attributes().filter(|a| a.name() != "aria-label") {
                    prop_assert!(!attribute.value().contains("NaN") && !attribute.value().contains("inf"));
                }
                // No stroke leaves the paper: 2000 units are twice the widest sheet.
                let whole = node.attribute("d").map(strokes_of).unwrap_or_default();
                for number in whole.concat().concat() {
                    prop_assert!((0.0..2_000.0).contains(&(number + 1e-6)), "{number}");
                }
            }
        }
    }
}

proptest! {
    // Few cases: each draws four bitmaps of several million pixels.
    #![proptest_config(ProptestConfig::with_cases(5))]
    #[test]
    fn no_numbers_break_a_png(
        x in any_column(), y in any_column(), u in any_column(), edges in (any_number(), any_number()),
    ) {
        for picture in all_kinds(&x, &y, &u, [edges.0, edges.1], "any") {
            let bitmap = Bitmap::decoded(&picture.png().unwrap());
            prop_assert!(bitmap.width >= 1000 && bitmap.height >= 300);
        }
    }
}
