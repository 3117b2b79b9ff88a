//! Rows of tests/reference/bench.csv.

const ROWS: &str = include_str!("../../tests/reference/bench.csv");

pub struct Row {
    inputs: Vec<(String, f64)>,
    pub expected: f64,
    pub rel_tol: f64,
}

impl Row {
    pub fn input(&self, name: &str) -> f64 {
        self.inputs.iter().find(|(found, _)| found == name).unwrap().1
    }
}

/// All rows of one quantity, at least one.
pub fn rows(quantity: &str) -> Vec<Row> {
    let fields = ROWS.lines().filter(|line| !line.starts_with('#')).map(|line| line.split(',').collect::<Vec<_>>());
    let row = |fields: Vec<&str>| Row {
        inputs: fields[1].split(' ').map(|pair| pair.split_once('=').unwrap()).map(named).collect(),
        expected: fields[2].parse().unwrap(),
        rel_tol: fields[4].parse().unwrap(),
    };
    let rows: Vec<Row> = fields.filter(|fields| fields[0] == quantity).map(row).collect();
    assert!(!rows.is_empty(), "no rows of {quantity}");
    rows
}

fn named((name, value): (&str, &str)) -> (String, f64) {
    (name.to_owned(), value.parse().unwrap())
}
