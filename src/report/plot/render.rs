//! A sheet onto a surface: ground, grid, curves, frame, words.

use super::axis::{Axis, Tick};
use super::geometry::{Frame, Geometry, LABEL_EM, SAMPLE_GAP, SAMPLE_WIDTH, TEXT_EM, TITLE_EM, fitted};
use super::kinship::Kinship;
use super::palette::{Dash, FINE_GRID, FRAME, GRID, INK, NOT_VALID, SOFT_INK, Stroke};
use super::pen::{Anchor, Drawn, Part, Pen, Writing};
use super::sheet::{Cell, Layer, LegendEntry, Panel, Sample, Sheet, Tint, Trace};
use super::trace::{Place, place, runs, strokes};

/// How strongly what is not valid is covered.
pub(super) const VEIL: Tint = Tint { colour: NOT_VALID, opacity: 0.62 };
/// Signs on a curve are so far apart.
const BETWEEN_MARKERS: f64 = 150.0;

/// Draws a sheet whose places are known.
pub(super) fn render(pen: &mut impl Pen, sheet: &Sheet, places: &Geometry, kin: &Kinship) -> Drawn {
    let title = fitted(&sheet.title, TITLE_EM, places.width - 2.0 * 20.0);
    let baseline = (places.left, places.title_baseline);
    pen.write(Writing { text: &title, baseline, em: TITLE_EM, anchor: Anchor::Left, colour: INK })?;
    for ((entry, place), curve) in sheet.legend.iter().zip(&places.legend).zip(&kin.entries) {
        within(pen, curve.map(Part::Entry), |pen| legend_entry(pen, entry, *place, places.width))?;
    }
    for (number, (panel, frame)) in sheet.panels.iter().zip(&places.frames).enumerate() {
        within(pen, Some(Part::Panel(number)), |pen| panel_field(pen, sheet, panel, *frame, &kin.layers[number]))?;
        panel_words(pen, panel, *frame)?;
    }
    match places.frames.last() {
        Some(last) => horizontal_words(pen, &sheet.x, *last),
        None => Ok(()),
    }
}

/// Draws something that belongs to a part, if there is one.
fn within<P: Pen>(pen: &mut P, part: Option<Part>, draw: impl FnOnce(&mut P) -> Drawn) -> Drawn {
    part.inspect(|part| pen.begin(*part));
    draw(pen)?;
    part.inspect(|_| pen.end());
    Ok(())
}

fn legend_entry(pen: &mut impl Pen, entry: &LegendEntry, at: Place, width: f64) -> Drawn {
    let (left, baseline) = at;
    let middle = baseline - 0.36 * TEXT_EM;
    match entry.sample {
        Sample::Stroke(look) => {
            pen.stroke(&[(left, middle), (left + SAMPLE_WIDTH, middle)], look)?;
            if let Some(marker) = look.marker {
                pen.marker(marker, (left + SAMPLE_WIDTH / 2.0, middle), look)?;
            }
        }
        Sample::Patch(tint) | Sample::Doubt(tint) => {
            pen.fill_rectangle([(left, middle - 6.0), (left + SAMPLE_WIDTH, middle + 6.0)], tint)?;
        }
    }
    let text_left = left + SAMPLE_WIDTH + SAMPLE_GAP;
    let name = fitted(&entry.name, TEXT_EM, width - text_left - 4.0);
    pen.write(Writing { text: &name, baseline: (text_left, baseline), em: TEXT_EM, anchor: Anchor::Left, colour: INK })
}

fn panel_field(pen: &mut impl Pen, sheet: &Sheet, panel: &Panel, frame: Frame, curves: &[Option<usize>]) -> Drawn {
    grid(pen, &sheet.x, panel, frame)?;
    for (order, (layer, curve)) in panel.layers.iter().zip(curves).enumerate() {
        let axes = (&sheet.x, &panel.y);
        within(pen, curve.map(Part::Curve), |pen| draw_layer(pen, layer, order, axes, frame))?;
    }
    if let Some(valid) = sheet.valid {
        veil(pen, valid, &sheet.x, frame)?;
    }
    let Frame { left, top, right, bottom } = frame;
    // Four strokes, each half a stroke longer than its side: a closed path leaves notches on bitmaps.
    let (look, half) = (Stroke::plain(FRAME, 1.0), 0.5);
    for y in [top, bottom] {
        pen.stroke(&[(left - half, y), (right + half, y)], look)?;
    }
    for x in [left, right] {
        pen.stroke(&[(x, top - half), (x, bottom + half)], look)?;
    }
    Ok(())
}

fn grid(pen: &mut impl Pen, x: &Axis, panel: &Panel, frame: Frame) -> Drawn {
    let strength = |tick: &Tick| Stroke::plain(if tick.label.is_some() { GRID } else { FINE_GRID }, 0.8);
    // The fine lines first, so that a strong line is never crossed by one.
    for is_fine in [true, false] {
        for tick in x.ticks.iter().filter(|tick| tick.label.is_none() == is_fine) {
            let Some(at) = across(x, tick.at, frame) else { continue };
            pen.stroke(&[(at, frame.top), (at, frame.bottom)], strength(tick))?;
        }
    }
    for tick in &panel.y.ticks {
        let Some(at) = up(&panel.y, tick.at, frame) else { continue };
        pen.stroke(&[(frame.left, at), (frame.right, at)], strength(tick))?;
    }
    Ok(())
}

/// Where an x inside the axis stands on the sheet.
fn across(x: &Axis, value: f64, frame: Frame) -> Option<f64> {
    let fraction = x.fraction(value).filter(|fraction| (-1e-9..=1.0 + 1e-9).contains(fraction))?;
    Some(frame.left + fraction * (frame.right - frame.left))
}

/// Where a y inside the axis stands on the sheet.
fn up(y: &Axis, value: f64, frame: Frame) -> Option<f64> {
    let fraction = y.fraction(value).filter(|fraction| (-1e-9..=1.0 + 1e-9).contains(fraction))?;
    Some(frame.bottom - fraction * (frame.bottom - frame.top))
}

fn draw_layer(pen: &mut impl Pen, layer: &Layer, order: usize, axes: (&Axis, &Axis), frame: Frame) -> Drawn {
    match layer {
        Layer::Line { trace, stroke } => curve(pen, &strokes(trace, axes, frame), *stroke, order),
        Layer::Band { lower, upper, tint } => band(pen, [lower, upper], *tint, axes, frame),
        Layer::Upright { at, stroke } => match across(axes.0, *at, frame) {
            Some(x) => pen.stroke(&[(x, frame.top), (x, frame.bottom)], *stroke),
            None => Ok(()),
        },
        Layer::Level { at, stroke } => match up(axes.1, *at, frame) {
            Some(y) => pen.stroke(&[(frame.left, y), (frame.right, y)], *stroke),
            None => Ok(()),
        },
        Layer::Cells(cells) => {
            let fields: Vec<_> =
                cells.iter().filter_map(|cell| Some((field(cell, axes, frame)?, cell.colour))).collect();
            pen.fields(&fields)
        }
    }
}

/// The corners of a cell, as much of it as lies inside the frame.
fn field(cell: &Cell, axes: (&Axis, &Axis), frame: Frame) -> Option<[Place; 2]> {
    let corner = |n: usize| place((cell.x[n], cell.y[n]), axes, frame);
    let within = |(x, y): Place| (x.clamp(frame.left, frame.right), y.clamp(frame.top, frame.bottom));
    let ((left, bottom), (right, top)) = (within(corner(0)?), within(corner(1)?));
    (right > left && bottom > top).then_some([(left, top), (right, bottom)])
}

/// A curve with its signs; those of the curves of one panel are shifted against each other.
fn curve(pen: &mut impl Pen, parts: &[Vec<Place>], look: Stroke, order: usize) -> Drawn {
    pen.strokes(parts, look)?;
    let Some(marker) = look.marker else { return Ok(()) };
    let shift = (order as f64 * 0.382).fract() * BETWEEN_MARKERS;
    let cell = |place: &Place| ((place.0 - shift) / BETWEEN_MARKERS).floor();
    for part in parts {
        for pair in part.windows(2).filter(|pair| cell(&pair[0]) != cell(&pair[1])) {
            pen.marker(marker, pair[1], look)?;
        }
    }
    Ok(())
}

fn band(pen: &mut impl Pen, [lower, upper]: [&Trace; 2], tint: Tint, axes: (&Axis, &Axis), frame: Frame) -> Drawn {
    let within = |place: Place| (place.0.clamp(frame.left, frame.right), place.1.clamp(frame.top, frame.bottom));
    let pairs = lower.points().zip(upper.points());
    let pairs = pairs.map(|(low, high)| Some((place(low, axes, frame)?, place(high, axes, frame)?)));
    for run in runs(pairs) {
        let below = run.iter().map(|(low, _)| within(*low));
        let outline: Vec<Place> = below.chain(run.iter().rev().map(|(_, high)| within(*high))).collect();
        pen.fill(&outline, tint)?;
    }
    Ok(())
}

/// Covers what lies left and right of the valid range.
fn veil(pen: &mut impl Pen, [from, to]: [f64; 2], x: &Axis, frame: Frame) -> Drawn {
    let width = frame.right - frame.left;
    let edge = |value: f64, unknown: f64| frame.left + x.fraction(value).unwrap_or(unknown).clamp(0.0, 1.0) * width;
    let (from, to) = (edge(from, 0.0), edge(to, 1.0));
    for [left, right] in [[frame.left, from], [to.max(from), frame.right]] {
        if right > left {
            pen.fill_rectangle([(left, frame.top), (right, frame.bottom)], VEIL)?;
            let inner = if left == frame.left { right } else { left };
            let look = Stroke { dash: Dash::Dashed { stroke: 2.0, gap: 3.0 }, ..Stroke::plain(SOFT_INK, 1.0) };
            pen.stroke(&[(inner, frame.top), (inner, frame.bottom)], look)?;
        }
    }
    Ok(())
}

fn panel_words(pen: &mut impl Pen, panel: &Panel, frame: Frame) -> Drawn {
    let word = |text, baseline, anchor, colour| Writing { text, baseline, em: LABEL_EM, anchor, colour };
    // Labels would touch if their lines were closer than this.
    let mut free_above = f64::INFINITY;
    for tick in &panel.y.ticks {
        let (Some(y), Some(label)) = (up(&panel.y, tick.at, frame), tick.label.as_deref()) else { continue };
        if y <= free_above {
            pen.write(word(label, (frame.left - 8.0, y + 0.36 * LABEL_EM), Anchor::Right, INK))?;
            free_above = y - 1.15 * LABEL_EM;
        }
    }
    let above = frame.top - 9.0;
    let title = fitted(&panel.y.title, LABEL_EM, frame.right - frame.left - 80.0);
    pen.write(word(&title, (frame.left, above), Anchor::Left, SOFT_INK))?;
    let Some((right_title, ticks)) = &panel.right else { return Ok(()) };
    pen.write(word(right_title, (frame.right + 8.0, above), Anchor::Left, SOFT_INK))?;
    for tick in ticks {
        let (Some(y), Some(label)) = (up(&panel.y, tick.at, frame), tick.label.as_deref()) else { continue };
        pen.stroke(&[(frame.right, y), (frame.right + 4.0, y)], Stroke::plain(FRAME, 1.0))?;
        pen.write(word(label, (frame.right + 8.0, y + 0.36 * LABEL_EM), Anchor::Left, INK))?;
    }
    Ok(())
}

fn horizontal_words(pen: &mut impl Pen, x: &Axis, frame: Frame) -> Drawn {
    let word = |text, baseline, colour| Writing { text, baseline, em: LABEL_EM, anchor: Anchor::Middle, colour };
    for tick in &x.ticks {
        let (Some(at), Some(label)) = (across(x, tick.at, frame), tick.label.as_deref()) else { continue };
        pen.write(word(label, (at, frame.bottom + 18.0), INK))?;
    }
    let middle = (frame.left + frame.right) / 2.0;
    pen.write(word(&x.title, (middle, frame.bottom + 40.0), SOFT_INK))
}
