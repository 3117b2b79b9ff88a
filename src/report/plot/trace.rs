//! From columns of numbers to strokes inside a frame: gaps, cutting at the frame, thinning.
//!
//! A curve is cut where it crosses the frame (Y.-D. Liang, B. A. Barsky, "A New Concept and Method for Line Clipping",
//! ACM Trans. Graphics 3 (1984) 1–22), not bent along it. Of many points that fall into one column of the paper only
//! the first, lowest, highest and last are kept: the stroke covers the same paper.

use super::axis::Axis;
use super::geometry::Frame;
use super::sheet::Trace;

/// A place on the sheet.
pub(super) type Place = (f64, f64);

/// Points that share this much of the width, in units of the sheet, are one column.
const COLUMN: f64 = 0.25;
/// Places further off than so many frames are moved to there: their slope no longer matters.
const FARTHEST: f64 = 1e4;

/// Where a point of a curve stands on the sheet; none for a gap.
pub(super) fn place((x, y): (f64, f64), axes: (&Axis, &Axis), frame: Frame) -> Option<Place> {
    let across = axes.0.fraction(x)?.clamp(-FARTHEST, FARTHEST);
    let up = axes.1.fraction(y)?.clamp(-FARTHEST, FARTHEST);
    Some((frame.left + across * (frame.right - frame.left), frame.bottom - up * (frame.bottom - frame.top)))
}

/// The strokes of a curve inside the frame; a stroke of one place is a point between two gaps.
pub(super) fn strokes(trace: &Trace, axes: (&Axis, &Axis), frame: Frame) -> Vec<Vec<Place>> {
    runs(trace.points().map(|point| place(point, axes, frame)))
        .into_iter()
        .flat_map(|run| cut_to_frame(&thinned(&run), frame))
        .collect()
}

/// The stretches between gaps.
pub(super) fn runs<T>(points: impl Iterator<Item = Option<T>>) -> Vec<Vec<T>> {
    let mut runs = vec![Vec::new()];
    for point in points {
        match (point, runs.last_mut()) {
            (Some(point), Some(run)) => run.push(point),
            _ => runs.push(Vec::new()),
        }
    }
    runs.retain(|run| !run.is_empty());
    runs
}

fn thinned(run: &[Place]) -> Vec<Place> {
    let mut kept = Vec::new();
    let column = |place: &Place| (place.0 / COLUMN).floor();
    for group in run.chunk_by(|a, b| column(a) == column(b)) {
        let by_height = |a: &&Place, b: &&Place| a.1.total_cmp(&b.1);
        let first = group.first();
        let (lowest, highest) = (group.iter().min_by(by_height), group.iter().max_by(by_height));
        let last = group.last();
        for place in [first, lowest, highest, last].into_iter().flatten() {
            if kept.last() != Some(place) {
                kept.push(*place);
            }
        }
    }
    kept
}

fn cut_to_frame(run: &[Place], frame: Frame) -> Vec<Vec<Place>> {
    if let [only] = run {
        return if holds(frame, *only) { vec![vec![*only]] } else { Vec::new() };
    }
    let mut strokes: Vec<Vec<Place>> = Vec::new();
    for pair in run.windows(2) {
        let Some((from, to)) = segment_inside(pair[0], pair[1], frame) else { continue };
        match strokes.last_mut() {
            Some(stroke) if stroke.last() == Some(&from) => stroke.push(to),
            _ => strokes.push(vec![from, to]),
        }
    }
    strokes
}

fn holds(frame: Frame, (x, y): Place) -> bool {
    (frame.left..=frame.right).contains(&x) && (frame.top..=frame.bottom).contains(&y)
}

/// The part of a segment inside the frame: parameters t from 0 to 1 for which all four inequalities hold.
fn segment_inside(a: Place, b: Place, frame: Frame) -> Option<(Place, Place)> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let (mut enter, mut leave) = (0.0f64, 1.0f64);
    for (p, q) in [(-dx, a.0 - frame.left), (dx, frame.right - a.0), (-dy, a.1 - frame.top), (dy, frame.bottom - a.1)] {
        if p == 0.0 && q < 0.0 {
            return None;
        }
        if p < 0.0 {
            enter = enter.max(q / p);
        } else if p > 0.0 {
            leave = leave.min(q / p);
        }
    }
    let at = |t: f64| (a.0 + t * dx, a.1 + t * dy);
    // Ends that stay are taken as they are, so that the next segment begins at the very same place.
    let (from, to) = (if enter == 0.0 { a } else { at(enter) }, if leave == 1.0 { b } else { at(leave) });
    (enter <= leave).then_some((from, to))
}

/// Dashes along a stroke, by its length on paper.
pub(super) fn dashes(stroke: &[Place], on: f64, off: f64) -> Vec<Vec<Place>> {
    let mut dashes: Vec<Vec<Place>> = Vec::new();
    let (mut left, mut is_on) = (on, true);
    dashes.extend(stroke.first().map(|first| vec![*first]));
    for pair in stroke.windows(2) {
        let (mut from, to) = (pair[0], pair[1]);
        let mut length = (to.0 - from.0).hypot(to.1 - from.1);
        while length > left {
            let t = left / length;
            from = (from.0 + t * (to.0 - from.0), from.1 + t * (to.1 - from.1));
            length -= left;
            match dashes.last_mut() {
                Some(dash) if is_on => dash.push(from),
                _ => dashes.push(vec![from]),
            }
            is_on = !is_on;
            left = if is_on { on } else { off };
        }
        left -= length;
        if let (true, Some(dash)) = (is_on, dashes.last_mut()) {
            dash.push(to);
        }
    }
    dashes
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Frame = Frame { left: 0.0, top: 0.0, right: 100.0, bottom: 50.0 };

    #[test]
    fn a_curve_is_cut_where_it_crosses_the_frame() {
        // From below left through the frame to above right: y = 60 − 0.7·x, from (100/7, 50) to (600/7, 0).
        let cut = cut_to_frame(&[(0.0, 60.0), (100.0, -10.0)], FRAME);
        let expected = [(100.0 / 7.0, 50.0), (600.0 / 7.0, 0.0)];
        assert_eq!((cut.len(), cut[0].len()), (1, 2));
        for (found, expected) in cut[0].iter().zip(expected) {
            // 1e-12: two products of numbers around 100.
            assert!((found.0 - expected.0).abs() < 1e-12 && (found.1 - expected.1).abs() < 1e-12, "{found:?}");
        }
        assert!(cut_to_frame(&[(0.0, -5.0), (100.0, -1.0)], FRAME).is_empty());
        // From a place on the edge outwards: nothing beyond the edge is drawn.
        let touching = cut_to_frame(&[(10.0, 50.0), (1e6, 1e6)], FRAME);
        assert!(touching.concat().iter().all(|place| holds(FRAME, *place)), "{touching:?}");
    }

    #[test]
    fn a_gap_parts_a_curve_and_a_lone_point_stays() {
        let axis = |to| Axis::linear([0.0, to], 5.0, "");
        let (x, y) = (axis(100.0), axis(50.0));
        let trace = Trace::new(&[0.0, 10.0, 20.0, 30.0, 40.0, 50.0], &[1.0, 2.0, f64::NAN, 4.0, f64::INFINITY, 6.0]);
        let lengths: Vec<usize> = strokes(&trace, (&x, &y), FRAME).iter().map(Vec::len).collect();
        assert_eq!(lengths, [2, 1, 1]);
    }

    #[test]
    fn thinning_keeps_the_extremes_of_a_column() {
        let run: Vec<Place> = (0..10_000).map(|n| (f64::from(n) * 1e-3, f64::from(n % 100))).collect();
        let kept = thinned(&run);
        // 10 units of width are 40 columns, of each at most four places.
        assert!((80..=160).contains(&kept.len()), "{}", kept.len());
        assert!(kept.iter().any(|place| place.1 == 99.0) && kept.iter().any(|place| place.1 == 0.0));
    }

    #[test]
    fn dashes_cover_their_share_of_the_length() {
        let stroke: Vec<Place> = (0..=140).map(|n| (f64::from(n), 0.0)).collect();
        let dashes = dashes(&stroke, 9.0, 5.0);
        let covered: f64 = dashes.iter().map(|dash| dash[dash.len() - 1].0 - dash[0].0).sum();
        // Ten whole periods of 14. 1e-9: 140 additions.
        assert_eq!(dashes.len(), 10);
        assert!((covered - 90.0).abs() < 1e-9, "{covered}");
    }
}
