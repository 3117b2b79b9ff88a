//! Numbers and findings as text for a terminal.
//!
//! A value with its doubt is shown as `value ± 2u unit` ([`Quantity`] writes itself so). Nothing is cut off: a text that
//! is wider than the terminal goes on in the next line, under its own beginning.

use super::cautions::{Caution, LOCAL_CODES_FIRST};
use crate::quantity::{Finding, Quantity, Severity, Whereabouts};

/// One line of a table of numbers: what it is, and how much.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// What it is, in words.
    pub name: String,
    /// How much.
    pub value: Value,
}

/// What stands in the second column of a table.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number with its doubt, shown as ± 2u.
    Quantity(Quantity),
    /// Anything else, unit included.
    Text(String),
}

impl Entry {
    /// A line with a measured or fitted number.
    pub fn quantity(name: &str, quantity: Quantity) -> Self {
        Self { name: name.to_owned(), value: Value::Quantity(quantity) }
    }

    /// A line with a text.
    pub fn text(name: &str, text: impl Into<String>) -> Self {
        Self { name: name.to_owned(), value: Value::Text(text.into()) }
    }
}

impl std::fmt::Display for Value {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            // A number that is none is not shown as one.
            Self::Quantity(quantity) if !(quantity.value.is_finite() && quantity.u.is_finite()) => {
                f.write_str("not known")
            }
            Self::Quantity(quantity) => quantity.fmt(f),
            Self::Text(text) => f.write_str(text),
        }
    }
}

/// Whether severities are coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paint {
    /// Text alone, for files, pipes and `NO_COLOR`.
    Plain,
    /// ANSI escapes.
    Ansi,
}

/// How text is laid out for a terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    /// Columns; below 20 it is taken as 20.
    pub width: usize,
    /// Colour or none.
    pub paint: Paint,
}

const LEAST_WIDTH: usize = 20;

/// Aligned lines `name  value`, each ending with a line feed; nothing for no entries.
pub fn numbers_text(entries: &[Entry], layout: Layout) -> String {
    let width = layout.width.max(LEAST_WIDTH);
    let longest = entries.iter().map(|entry| columns(&harmless(&entry.name))).max().unwrap_or(0);
    // Names never take more than half of the line.
    let name_width = longest.min(width / 2 - 2);
    let mut text = String::new();
    for entry in entries {
        let names = wrapped(&harmless(&entry.name), name_width);
        let values = wrapped(&harmless(&entry.value.to_string()), width - name_width - 2);
        for row in 0..names.len().max(values.len()) {
            let name = names.get(row).map_or("", String::as_str);
            let value = values.get(row).map_or("", String::as_str);
            let gap = " ".repeat(name_width - columns(name).min(name_width) + 2);
            text.push_str(format!("{name}{gap}{value}").trim_end());
            text.push('\n');
        }
    }
    text
}

/// The findings, worst first: `caution  noisy (20 to 60 Hz): what was seen`, beneath it what to do.
pub fn findings_text(findings: &[Finding], layout: Layout) -> String {
    const INDENT: usize = 9; // the longest severity word and two blanks
    let width = layout.width.max(LEAST_WIDTH) - INDENT;
    let mut text = String::new();
    for finding in worst_first(findings) {
        let place = whereabouts_text(&finding.at).map_or(String::new(), |place| format!(" ({place})"));
        let word = severity_word(finding.severity);
        let says = format!("{}{place}: {}", finding.code, harmless(&finding.says));
        let advice = harmless(&finding.advice);
        let advised = if advice.is_empty() { Vec::new() } else { wrapped(&format!("try: {advice}"), width) };
        for (row, line) in wrapped(&says, width).into_iter().chain(advised).enumerate() {
            let lead = if row == 0 { word } else { "" };
            let gap = " ".repeat(INDENT - columns(lead));
            text.push_str(&format!("{}{gap}{line}\n", painted(lead, finding.severity, layout.paint)));
        }
    }
    text
}

/// The cautions, each with its heading, and that local codes come first; nothing for no cautions.
pub fn cautions_text<'a>(cautions: impl IntoIterator<Item = &'a Caution>, layout: Layout) -> String {
    const INDENT: &str = "  ";
    let width = layout.width.max(LEAST_WIDTH) - INDENT.len();
    let mut text = String::new();
    for caution in cautions {
        text.push_str(&painted(caution.heading, Severity::Caution, layout.paint));
        text.push('\n');
        for line in wrapped(caution.says, width) {
            text.push_str(&format!("{INDENT}{line}\n"));
        }
    }
    if !text.is_empty() {
        text.push_str(&wrapped(LOCAL_CODES_FIRST, width + INDENT.len()).join("\n"));
        text.push('\n');
    }
    text
}

/// The findings in the order in which people need them.
pub(super) fn worst_first(findings: &[Finding]) -> Vec<&Finding> {
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    sorted
}

/// How a severity is called.
pub(super) fn severity_word(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Caution => "caution",
        Severity::Fault => "fault",
    }
}

/// Where something was seen, as `channel 1, 2.1 to 2.3 s, 20 to 60 Hz`.
pub(super) fn whereabouts_text(at: &Whereabouts) -> Option<String> {
    let channel = at.channel.map(|channel| format!("channel {channel}"));
    let time = at.time_s.map(|[from, to]| format!("{from:.2} to {to:.2} s"));
    let band = at.band_hz.map(|[from, to]| format!("{from:.0} to {to:.0} Hz"));
    let parts: Vec<String> = [channel, time, band].into_iter().flatten().collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn painted(word: &str, severity: Severity, paint: Paint) -> String {
    let colour = match severity {
        Severity::Note => "36",
        Severity::Caution => "33",
        Severity::Fault => "1;31",
    };
    match paint {
        Paint::Ansi if !word.is_empty() => format!("\u{1b}[{colour}m{word}\u{1b}[0m"),
        _ => word.to_owned(),
    }
}

/// A text from a file cannot steer the terminal: control characters become blanks.
fn harmless(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

fn columns(text: &str) -> usize {
    text.chars().count()
}

/// Lines of at most `width` characters, broken at blanks, inside a word only where it is longer than a line.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let fit = |line: &str, word: &str| columns(line) + usize::from(!line.is_empty()) + columns(word) <= width;
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for piece in letters.chunks(width.max(1)) {
            let piece: String = piece.iter().collect();
            match lines.last_mut() {
                Some(line) if fit(line, &piece) => {
                    if !line.is_empty() {
                        line.push(' ');
                    }
                    line.push_str(&piece);
                }
                _ => lines.push(piece),
            }
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Code, Unit};
    use proptest::prelude::*;

    const PLAIN: Layout = Layout { width: 60, paint: Paint::Plain };

    fn noisy() -> Finding {
        Finding {
            code: Code::Noisy,
            severity: Severity::Caution,
            says: "the noise is only 24 dB below the reply".to_owned(),
            advice: "raise the level by 6 dB, or repeat the sweep four times".to_owned(),
            at: Whereabouts { band_hz: Some([20.0, 60.0]), ..Whereabouts::default() },
        }
    }

    #[test]
    fn values_stand_in_one_column_with_twice_their_uncertainty() {
        let arrival = Quantity { value: 3.2145, u: 0.0011, unit: Unit::Millisecond };
        let entries = [Entry::quantity("arrival", arrival), Entry::text("sample rate", "48000 Hz")];
        assert_eq!(numbers_text(&entries, PLAIN), "arrival      3.2145 ± 0.0022 ms\nsample rate  48000 Hz\n");
    }

    #[test]
    fn a_number_that_is_none_is_said_to_be_unknown() {
        let unknown = Quantity { value: f64::NAN, u: 0.1, unit: Unit::Hz };
        assert_eq!(numbers_text(&[Entry::quantity("resonance", unknown)], PLAIN), "resonance  not known\n");
    }

    #[test]
    fn the_worst_finding_comes_first_and_each_says_what_to_do() {
        let clipped = Finding { code: Code::Clipped, severity: Severity::Fault, ..noisy() };
        let text = findings_text(&[noisy(), clipped], PLAIN);
        let expected = "\
fault    clipped (20 to 60 Hz): the noise is only 24 dB
         below the reply
         try: raise the level by 6 dB, or repeat the sweep
         four times
caution  noisy (20 to 60 Hz): the noise is only 24 dB below
         the reply
         try: raise the level by 6 dB, or repeat the sweep
         four times
";
        assert_eq!(text, expected);
        let coloured = findings_text(&[noisy()], Layout { paint: Paint::Ansi, ..PLAIN });
        assert!(coloured.starts_with("\u{1b}[33mcaution\u{1b}[0m  noisy"));
    }

    #[test]
    fn cautions_before_a_sound_name_the_ears_first_and_local_codes_last() {
        let text = cautions_text(crate::report::cautions_at(crate::report::Moment::BeforeSound), PLAIN);
        assert!(text.starts_with("Your ears\n  Start at a low level"), "{text}");
        assert!(text.replace('\n', " ").ends_with(&format!("{LOCAL_CODES_FIRST} ")), "{text}");
        assert!(text.lines().all(|line| columns(line) <= PLAIN.width), "{text}");
        assert_eq!(cautions_text([], PLAIN), "");
    }

    proptest! {
        #[test]
        fn no_line_is_wider_than_the_terminal_and_no_escape_gets_through(
            name in any::<String>(), says in any::<String>(), width in 0usize..120,
        ) {
            let layout = Layout { width, paint: Paint::Plain };
            let finding = Finding { says: says.clone(), advice: name.clone(), ..noisy() };
            let text = numbers_text(&[Entry::text(&name, says)], layout) + &findings_text(&[finding], layout);
            prop_assert!(text.lines().all(|line| columns(line) <= width.max(LEAST_WIDTH)));
            prop_assert!(text.chars().all(|c| c == '\n' || !c.is_control()));
        }
    }
}
