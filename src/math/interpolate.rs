//! Values between the points of a table, and means around them.
//!
//! No equation beyond the straight line between points; what the axes are (plain, logarithmic) is the caller's choice.

/// Points of rising x with a value each.
#[derive(Debug, Clone, PartialEq)]
pub struct RisingTable {
    x_values: Vec<f64>,
    y_values: Vec<f64>,
}

impl RisingTable {
    /// A table, or `None` unless it has points, as many y as x, all finite, x strictly rising.
    pub fn new(x_values: Vec<f64>, y_values: Vec<f64>) -> Option<Self> {
        let finite = x_values.iter().chain(&y_values).all(|value| value.is_finite());
        let rising = x_values.windows(2).all(|pair| pair[0] < pair[1]);
        (finite && rising && !x_values.is_empty() && x_values.len() == y_values.len())
            .then_some(Self { x_values, y_values })
    }

    /// The value at `x` on the straight line between its neighbours; `None` beyond the ends.
    pub fn at(&self, x: f64) -> Option<f64> {
        let (first, last) = (self.x_values[0], self.x_values[self.x_values.len() - 1]);
        if !(first..=last).contains(&x) {
            return None;
        }
        let above = self.x_values.partition_point(|&point| point < x);
        if self.x_values[above] == x {
            return Some(self.y_values[above]);
        }
        let ratio = (x - self.x_values[above - 1]) / (self.x_values[above] - self.x_values[above - 1]);
        Some(self.y_values[above - 1] + ratio * (self.y_values[above] - self.y_values[above - 1]))
    }

    /// First and last x.
    pub fn range(&self) -> [f64; 2] {
        [self.x_values[0], self.x_values[self.x_values.len() - 1]]
    }
}

/// For each index, the mean of the values at most `reach(index)` places away; fewer at the ends.
pub fn mean_around(values: &[f64], reach: impl Fn(usize) -> usize) -> Vec<f64> {
    let mut sums = Vec::with_capacity(values.len() + 1);
    sums.push(0.0);
    for value in values {
        sums.push(sums[sums.len() - 1] + value);
    }
    (0..values.len())
        .map(|index| {
            let reach = reach(index).min(index).min(values.len() - 1 - index);
            (sums[index + reach + 1] - sums[index - reach]) / (2 * reach + 1) as f64
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_is_linear_between_its_points_and_silent_beyond() {
        let table = RisingTable::new(vec![1.0, 2.0, 4.0], vec![10.0, 20.0, 0.0]).unwrap();
        assert_eq!([table.at(1.0), table.at(1.5), table.at(3.0)], [Some(10.0), Some(15.0), Some(10.0)]);
        assert_eq!([table.at(4.0), table.at(0.99), table.at(4.01)], [Some(0.0), None, None]);
        assert!(RisingTable::new(vec![1.0, 1.0], vec![0.0, 0.0]).is_none());
        assert!(RisingTable::new(vec![], vec![]).is_none());
    }

    #[test]
    fn means_are_symmetric_and_shrink_at_the_ends() {
        let found = mean_around(&[1.0, 2.0, 6.0, 2.0, 1.0], |_| 1);
        assert_eq!(found, [1.0, 3.0, 10.0 / 3.0, 3.0, 1.0]);
    }
}
