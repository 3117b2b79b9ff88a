//! What a picture consists of, before any place on paper is known.

use super::axis::{Axis, Tick};
use super::palette::{Colour, Stroke};

/// A pair of columns; a point whose x or y is not finite is a gap.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Trace {
    pub x: Vec<f64>,
    pub y: Vec<f64>,
}

impl Trace {
    /// The columns, cut to the shorter one.
    pub fn new(x: &[f64], y: &[f64]) -> Self {
        let points = x.len().min(y.len());
        Self { x: x[..points].to_vec(), y: y[..points].to_vec() }
    }

    /// The columns, where `None` is a gap.
    pub fn with_gaps(x: &[f64], y: &[Option<f64>]) -> Self {
        let y: Vec<f64> = y.iter().map(|value| value.unwrap_or(f64::NAN)).collect();
        Self::new(x, &y)
    }

    pub fn points(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.x.iter().copied().zip(self.y.iter().copied())
    }
}

/// Something drawn in a panel, in the order of the list.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Layer {
    /// A curve.
    Line { trace: Trace, stroke: Stroke },
    /// The area between two curves on the same x.
    Band { lower: Trace, upper: Trace, tint: Tint },
    /// A vertical line.
    Upright { at: f64, stroke: Stroke },
    /// A horizontal line.
    Level { at: f64, stroke: Stroke },
    /// Rectangles, as of a map.
    Cells(Vec<Cell>),
}

/// A rectangle of one colour, from and to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cell {
    pub x: [f64; 2],
    pub y: [f64; 2],
    pub colour: Colour,
}

/// A colour laid on thinly: 0 is nothing, 1 is opaque.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Tint {
    pub colour: Colour,
    pub opacity: f64,
}

/// How tall a panel is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Height {
    /// From the proportion of decibels to decades (`geometry.rs`).
    OfDecibels,
    /// In units of the sheet.
    Units(f64),
}

/// One of the fields that share the horizontal axis.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Panel {
    pub y: Axis,
    pub height: Height,
    /// A second scale at the right-hand side, in values of `y`, with what stands above it.
    pub right: Option<(String, Vec<Tick>)>,
    pub layers: Vec<Layer>,
}

/// What the legend shows beside a name.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Sample {
    Stroke(Stroke),
    Patch(Tint),
    /// The band of a curve that has an entry of its own before this one.
    Doubt(Tint),
}

/// A line of the legend.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LegendEntry {
    pub name: String,
    pub sample: Sample,
}

/// Everything that is on the paper.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sheet {
    pub title: String,
    pub x: Axis,
    pub panels: Vec<Panel>,
    pub legend: Vec<LegendEntry>,
    /// The part of `x` to be believed; what lies outside is greyed.
    pub valid: Option<[f64; 2]>,
}
