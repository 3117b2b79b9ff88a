//! Where a function of a few numbers is least, with a proof how much less it could be anywhere else.
//!
//! The range is cut into boxes. For each box the caller tells a bound below which the function does not go in it, and its
//! value in the middle. The box with the lowest bound is halved across its longest side, until no box is left whose bound
//! lies more than `settled` below the best value that was seen: then nothing in the whole range is better by more.
//!
//! Source: A. H. Land, A. G. Doig, "An Automatic Method of Solving Discrete Programming Problems", Econometrica 28 (1960)
//! 497–520; for continuous ranges R. E. Moore, "Interval Analysis" (1966), chapter 6 (from memory).

use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// A box of N numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region<const N: usize> {
    /// The lower end of each number.
    pub low: [f64; N],
    /// The upper end of each.
    pub high: [f64; N],
}

/// What is known of the function in a box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Looked {
    /// Nowhere in it is the function less.
    pub at_least: f64,
    /// In its middle; none where the middle is not allowed.
    pub in_the_middle: Option<f64>,
}

/// The least that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastPlace<const N: usize> {
    /// Where.
    pub place: [f64; N],
    /// The function there.
    pub value: f64,
    /// Nowhere in the range is it less.
    pub at_least: f64,
    /// The boxes that were not cut further, with their bounds: together all of the range that is of interest.
    pub left: Vec<(Region<N>, f64)>,
}

/// How far a search goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thoroughness<const N: usize> {
    /// It ends when nothing can be better by more than this.
    pub settled: f64,
    /// It ends, too, when nothing can be less than this: larger values are of no interest.
    pub no_interest: f64,
    /// At most so many boxes are looked at.
    pub most_looks: usize,
    /// What makes sides of different units comparable: each side counts as its length over this.
    pub unit: [f64; N],
}

impl<const N: usize> Region<N> {
    /// Its middle.
    pub fn middle(&self) -> [f64; N] {
        std::array::from_fn(|side| 0.5 * (self.low[side] + self.high[side]))
    }

    fn halves(&self, unit: &[f64; N]) -> [Self; 2] {
        let length = |side: &usize| (self.high[*side] - self.low[*side]) / unit[*side];
        let longest = (0..N).max_by(|a, b| length(a).total_cmp(&length(b))).unwrap_or(0);
        let middle = self.middle()[longest];
        let mut halves = [*self; 2];
        halves[0].high[longest] = middle;
        halves[1].low[longest] = middle;
        halves
    }
}

/// A box that waits, the one with the lowest bound first.
struct Waiting<const N: usize> {
    at_least: f64,
    region: Region<N>,
}

impl<const N: usize> PartialEq for Waiting<N> {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl<const N: usize> Eq for Waiting<N> {}

impl<const N: usize> PartialOrd for Waiting<N> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<const N: usize> Ord for Waiting<N> {
    fn cmp(&self, other: &Self) -> Ordering {
        other.at_least.total_cmp(&self.at_least)
    }
}

/// The least place in any of the regions; `look` tells of a region, and may stop as soon as its bound reaches the value it is
/// given. `known` is a place that is already there to be bettered. `None` if no place is allowed.
pub fn least_place<const N: usize>(
    regions: Vec<Region<N>>,
    known: Option<([f64; N], f64)>,
    thoroughness: Thoroughness<N>,
    look: impl Fn(&Region<N>, f64) -> Looked,
) -> Option<LeastPlace<N>> {
    let mut best = known;
    let mut waiting = BinaryHeap::new();
    let mut looks = 0;
    let mut news = regions;
    loop {
        for region in news.drain(..) {
            looks += 1;
            let least = best.map_or(f64::INFINITY, |(_, value)| value);
            let looked = look(&region, least.min(thoroughness.no_interest));
            if let Some(value) = looked.in_the_middle.filter(|value| *value < least) {
                best = Some((region.middle(), value));
            }
            waiting.push(Waiting { at_least: looked.at_least, region });
        }
        let settled = best.map_or(f64::INFINITY, |(_, value)| value - thoroughness.settled);
        let goes_on = |next: &Waiting<N>| {
            next.at_least.is_finite()
                && next.at_least < settled.min(thoroughness.no_interest)
                && looks < thoroughness.most_looks
        };
        if !waiting.peek().is_some_and(goes_on) {
            break;
        }
        news.extend(waiting.pop().into_iter().flat_map(|next| next.region.halves(&thoroughness.unit)));
    }
    let at_least = waiting.peek().map_or(f64::INFINITY, |next| next.at_least);
    let left = waiting.into_vec().into_iter().map(|one| (one.region, one.at_least)).collect();
    best.map(|(place, value)| LeastPlace { place, value, at_least: at_least.min(value), left })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Himmelblau's function has four minima of 0, at places that are known to six decimals (from memory): (3, 2) is one.
    /// Here with a slope that makes (3, 2) the deepest. Bound: the middle, less the steepest slope times half the diagonal.
    #[test]
    fn the_deepest_of_several_hollows_is_found_and_proven() {
        let height = |[x, y]: [f64; 2]| (x * x + y - 11.0).powi(2) + (x + y * y - 7.0).powi(2) - 0.5 * (x + y);
        let look = |region: &Region<2>, _: f64| {
            let middle = height(region.middle());
            let [dx, dy]: [f64; 2] = std::array::from_fn(|side| 0.5 * (region.high[side] - region.low[side]));
            // Slopes within ±5: |∂x| ≤ 4·5·(25+5+11) + 2·(5+25+7), and the same for y.
            let steepest = 4.0 * 5.0 * 41.0 + 2.0 * 37.0 + 0.5;
            Looked { at_least: middle - steepest * (dx + dy), in_the_middle: Some(middle) }
        };
        let whole = Region { low: [-5.0; 2], high: [5.0; 2] };
        let thoroughness =
            Thoroughness { settled: 0.5, no_interest: f64::INFINITY, most_looks: 2_000_000, unit: [1.0; 2] };
        let found = least_place(vec![whole], None, thoroughness, look).unwrap();
        assert!((found.place[0] - 3.0).abs() < 0.2 && (found.place[1] - 2.0).abs() < 0.2, "{found:?}");
        assert!(found.value - found.at_least <= 0.5 && found.at_least <= -2.5, "{found:?}");
        // Given up early: the bound says how little is proven.
        let early = Thoroughness { most_looks: 100, ..thoroughness };
        let early = least_place(vec![whole], None, early, look).unwrap();
        assert!(early.at_least < found.at_least && early.value >= found.at_least);
        // What is left uncut still holds the deepest place.
        let holds = |region: &Region<2>| (0..2).all(|n| (region.low[n]..=region.high[n]).contains(&[3.0, 2.0][n]));
        assert!(early.left.iter().any(|(region, at_least)| holds(region) && *at_least <= -2.5));
        // Of no interest: it need not be found, and the bound says so.
        let aside = Thoroughness { no_interest: -50.0, ..thoroughness };
        let aside = least_place(vec![whole], None, aside, look).unwrap();
        assert!(aside.at_least >= -50.0 && aside.left.len() < found.left.len());
    }

    #[test]
    fn where_nothing_is_allowed_there_is_no_least() {
        let nothing = |_: &Region<1>, _: f64| Looked { at_least: f64::INFINITY, in_the_middle: None };
        let thoroughness = Thoroughness { settled: 0.1, no_interest: f64::INFINITY, most_looks: 100, unit: [1.0] };
        assert!(least_place(vec![Region { low: [0.0], high: [1.0] }], None, thoroughness, nothing).is_none());
    }
}
