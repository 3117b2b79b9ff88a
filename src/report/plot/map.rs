//! A map: colours in steps over frequency and something else.

use super::palette::Colour;
use super::sheet::Cell;

/// The first and the last of a row of colours, dark to light: their order is seen in a grey print as well.
const DARK: Colour = (0, 47, 84);
const LIGHT: Colour = (176, 214, 236);

/// A colour between dark (0) and light (1).
pub(super) fn shade(share: f64) -> Colour {
    let mix = |from: u8, to: u8| (f64::from(from) + share * (f64::from(to) - f64::from(from))).round() as u8;
    (mix(DARK.0, LIGHT.0), mix(DARK.1, LIGHT.1), mix(DARK.2, LIGHT.2))
}

/// The rectangles of a map: columns around the frequencies, rows from each of `rows` to the next, the last without height.
/// `step` says which colour a place has, if any; neighbours of one colour are one cell.
pub(super) fn cells(
    hz: &[f64],
    rows: &[f64],
    step: impl Fn(usize, usize) -> Option<usize>,
    colour: impl Fn(usize) -> Colour,
) -> Vec<Cell> {
    let count = hz.len();
    let edge = |place: usize| match place {
        0 => hz[0],
        place if place == count => hz[count - 1],
        place => (hz[place - 1] * hz[place]).sqrt(),
    };
    let mut cells: Vec<Cell> = Vec::new();
    for (row, &at) in rows.iter().enumerate() {
        let next = rows.get(row + 1).copied().unwrap_or(at);
        let mut begun: Option<(usize, usize)> = None;
        for place in 0..=count {
            let here = (place < count).then(|| step(place, row)).flatten();
            if let Some((from, of)) = begun.filter(|(_, of)| Some(*of) != here) {
                cells.push(Cell { x: [edge(from), edge(place)], y: [at, next], colour: colour(of) });
                begun = None;
            }
            if let (None, Some(here)) = (begun, here) {
                begun = Some((place, here));
            }
        }
    }
    cells
}
