//! Rows of numbers in a text, whatever separates them.
//!
//! What separates columns and decimals is decided once for the whole file, from its lines of numbers:
//!
//! | they hold | columns by | decimals by |
//! |---|---|---|
//! | `;` | `;` | `,` if there is one and no `.` |
//! | tab, not both `,` and `.` | tab | `,` if there is one |
//! | `,` and `.` | `,` | `.` |
//! | `,` alone, and each line splits at blanks into numbers like `3,5` | blanks | `,` |
//! | `,` alone, else | `,` | `.` |
//! | none of them | blanks | `.` |
//!
//! Ours: the meaning that most of the files found on benches have. A line that starts with no number is a comment.

use super::FileError;
use crate::quantity::{WORD, excerpt};
use std::path::Path;

/// Numbers and what stood around them.
#[derive(Debug)]
pub(super) struct Table {
    /// Each row with its line number, counted from 1.
    pub(super) rows: Vec<(usize, Vec<f64>)>,
    /// Comment lines, in order.
    pub(super) comments: Vec<String>,
    /// The last comment before the first row.
    pub(super) heading: Option<String>,
    pub(super) separator: Separator,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Separator {
    Letter(char),
    Blanks,
}

#[derive(Debug, Clone, Copy)]
struct Convention {
    separator: Separator,
    decimal: char,
}

/// No curve has more points.
const MOST_ROWS: usize = 1_000_000;
/// No row has more columns.
const MOST_COLUMNS: usize = 5;
/// No table has more lines around its numbers.
const MOST_COMMENTS: usize = 10_000;

/// The rows of a text.
pub(super) fn table(text: &str, path: &Path) -> Result<Table, FileError> {
    let convention = convention(text);
    let mut table = Table { rows: Vec::new(), comments: Vec::new(), heading: None, separator: convention.separator };
    let mut lines = 0;
    for (at, line) in text.lines().enumerate() {
        lines = at + 1;
        let line = line.trim_matches(|c: char| c.is_whitespace() || c == '\u{1a}');
        if line.is_empty() {
            continue;
        }
        let fields = convention.separator.fields(line);
        if number(fields[0], convention.decimal).is_none() {
            // Else the points of a file with two kinds of decimals would be lost unseen.
            if starts_with_a_number(line) {
                return Err(refuse(path, at + 1, shown(line), "numbers with one decimal sign in the whole file"));
            }
            if table.rows.is_empty() {
                table.heading = Some(line.to_owned());
            }
            if table.comments.len() == MOST_COMMENTS {
                let found = format!("more than {MOST_COMMENTS} lines without numbers");
                return Err(refuse(path, at + 1, found, "a table of numbers"));
            }
            table.comments.push(line.to_owned());
            continue;
        }
        let row = numbers(&fields, convention.decimal)
            .map_err(|(found, needed)| refuse(path, at + 1, shown(found), needed))?;
        if let Some((_, first)) = table.rows.first().filter(|(_, first)| first.len() != row.len()) {
            let needed = format!("{} as in the lines before", first.len());
            return Err(refuse(path, at + 1, format!("{} columns", row.len()), &needed));
        }
        if table.rows.len() == MOST_ROWS {
            return Err(refuse(path, at + 1, format!("more than {MOST_ROWS} points"), "a shorter curve"));
        }
        table.rows.push((at + 1, row));
    }
    if table.rows.is_empty() { Err(FileError::NoPoints { path: path.into(), lines }) } else { Ok(table) }
}

fn numbers<'a>(fields: &[&'a str], decimal: char) -> Result<Vec<f64>, (&'a str, &'static str)> {
    if fields.len() > MOST_COLUMNS {
        return Err((fields[MOST_COLUMNS], "no more columns"));
    }
    fields.iter().map(|field| number(field, decimal).ok_or((*field, "a number"))).collect()
}

/// As many fields of a line are looked at: one that is empty at its end, and one that is too many.
const MOST_FIELDS: usize = MOST_COLUMNS + 2;

impl Separator {
    /// The columns of a line; one that is empty at the end does not count.
    pub(super) fn fields(self, line: &str) -> Vec<&str> {
        let mut fields: Vec<&str> = match self {
            Self::Blanks => line.split_whitespace().take(MOST_FIELDS).collect(),
            Self::Letter(letter) => line.split(letter).map(str::trim).take(MOST_FIELDS).collect(),
        };
        if fields.len() > 1 && fields.last().is_some_and(|field| field.is_empty()) {
            fields.pop();
        }
        if fields.is_empty() { vec![line] } else { fields }
    }
}

fn convention(text: &str) -> Convention {
    let lines: Vec<&str> =
        text.lines().map(str::trim).filter(|line| starts_with_a_number(line)).take(MOST_ROWS).collect();
    let has = |letter| lines.iter().any(|line| line.contains(letter));
    let (comma, point) = (has(','), has('.'));
    let decimal = if comma && !point { ',' } else { '.' };
    let by = |separator, decimal| Convention { separator, decimal };
    if has(';') {
        by(Separator::Letter(';'), decimal)
    } else if has('\t') && !(comma && point) {
        by(Separator::Letter('\t'), decimal)
    } else if comma && point {
        by(Separator::Letter(','), '.')
    } else if comma && lines.iter().all(|line| is_blank_separated(line)) {
        by(Separator::Blanks, ',')
    } else if comma {
        by(Separator::Letter(','), '.')
    } else {
        by(Separator::Blanks, '.')
    }
}

fn is_blank_separated(line: &str) -> bool {
    let fields = Separator::Blanks.fields(line);
    fields.len() >= 2 && fields.iter().all(|field| number(field, ',').is_some())
}

/// A finite number that begins and ends like one.
fn number(field: &str, decimal: char) -> Option<f64> {
    let other = if decimal == ',' { '.' } else { ',' };
    if field.contains(other) || field.ends_with(',') || field.starts_with(',') {
        return None;
    }
    let is_number_letter = |c: char| c.is_ascii_digit() || "+-.,eE".contains(c);
    if !field.chars().all(is_number_letter) {
        return None;
    }
    field.replace(decimal, ".").parse().ok().filter(|number: &f64| number.is_finite())
}

/// Whether a line begins with a number, up to whatever separates columns or decimals.
fn starts_with_a_number(line: &str) -> bool {
    let first = line.split(|c: char| c.is_whitespace() || c == ';' || c == ',').next().unwrap_or("");
    number(first, '.').is_some()
}

/// The text in quotes, shortened where nobody would read it to its end.
pub(super) fn shown(text: &str) -> String {
    let is_longer = text.chars().nth(WORD).is_some();
    let kept = excerpt(text, WORD);
    if is_longer { format!("{:?}…", kept.trim_end_matches('…')) } else { format!("{kept:?}") }
}

fn refuse(path: &Path, line: usize, found: String, needed: &str) -> FileError {
    FileError::Table { path: path.into(), line, found, needed: needed.into() }
}
