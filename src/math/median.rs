//! The middle one of some values.
//!
//! ```text
//! m = x_(⌊n/2⌋)        of the values in rising order, counted from 0: the upper one of two middles
//! ```
//!
//! A value that is there, not a mean of two. By selection, which takes time in proportion to n.

/// The median; `None` of no values.
pub fn median(mut values: Vec<f64>) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_one_is_one_of_them() {
        for (values, expected) in [
            (vec![], None),
            (vec![3.0], Some(3.0)),
            (vec![9.0, 1.0], Some(9.0)),
            (vec![5.0, 1.0, 2.0], Some(2.0)),
            (vec![4.0, 1.0, 3.0, 2.0], Some(3.0)),
        ] {
            assert_eq!(median(values), expected);
        }
    }
}
