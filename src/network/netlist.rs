//! A passive network as its parts and nodes, from the text of a netlist.
//!
//! A line is a part: name, two nodes, value, and its loss if it has one: `L1 in mid 0.39m dcr=0.25`. `*` begins a comment
//! line, `;` or `$` a comment behind a part, `+` goes on with the line before. Capitals do not matter. The first line may
//! be a title. The amplifier is at `in`, ground is `0` (or `gnd`). A voltage source between the two is the amplifier, and
//! what tells a circuit simulator what to compute (`.ac`, `.end` …) is passed over.

use super::number::number;
use super::{Condition, Kind, NetworkError, Part};
use crate::quantity::{WORD, excerpt};
use std::ops::RangeInclusive;

/// Where the amplifier's other terminal is: place in the list of nodes.
pub const GROUND: usize = 0;
/// Where the amplifier is.
pub const INPUT: usize = 1;

/// A network.
#[derive(Debug, Clone, PartialEq)]
pub struct Netlist {
    /// Names of the nodes, ground and input first.
    pub nodes: Vec<String>,
    /// The parts.
    pub parts: Vec<Part>,
    /// What was passed over or is odd.
    pub notes: Vec<String>,
}

/// Lines that tell a simulator what to do.
const PASSED_OVER: [&str; 14] = [
    ".ac", ".op", ".tran", ".dc", ".print", ".plot", ".probe", ".save", ".end", ".title", ".options", ".option",
    ".temp", ".width",
];
/// No loudspeaker has as many; their equations are solved anew at each frequency.
const MOST_PARTS: usize = 100;
/// From the femtofarads to the teraohms that the factors of netlists can say.
const VALUES: RangeInclusive<f64> = 1e-18..=1e15;
/// A resistor below this was probably meant in megohm, or is a wire.
const TINY_OHM: f64 = 0.01;

impl Netlist {
    /// No parts: every way at the amplifier.
    pub fn wire() -> Self {
        Self { nodes: vec!["0".into(), "in".into()], parts: Vec::new(), notes: Vec::new() }
    }

    /// The network that a netlist describes.
    ///
    /// # Errors
    /// [`NetworkError`] with the line at fault, `Empty`, or `NoSuchNode` where nothing is at the input or at ground.
    pub fn of_text(text: &str) -> Result<Self, NetworkError> {
        let mut netlist = Self::wire();
        let mut lines_of: Vec<usize> = Vec::new();
        let mut control = false;
        for (line, card) in cards(text) {
            let first = card.split_whitespace().next().unwrap_or("").to_lowercase();
            match first.as_str() {
                ".control" => control = true,
                ".endc" => control = false,
                _ if control => {}
                name if PASSED_OVER.contains(&name) => {}
                _ => match netlist.card(line, &card) {
                    Ok(Some(part)) => netlist.add(part, line, &mut lines_of)?,
                    Ok(None) => {}
                    // A title is what does not read as a part.
                    Err(_) if line == first_line(text) && !first.starts_with('.') => {}
                    Err(error) => return Err(error),
                },
            }
        }
        if netlist.parts.is_empty() {
            return Err(NetworkError::Empty);
        }
        if !netlist.parts.iter().any(|part| part.nodes.contains(&INPUT)) {
            return Err(NetworkError::NoSuchNode { node: netlist.nodes[INPUT].clone() });
        }
        Ok(netlist)
    }

    /// The place of a node by its name; ground has two names.
    pub fn node(&self, name: &str) -> Option<usize> {
        let name = canonical(name);
        self.nodes.iter().position(|known| *known == name)
    }

    /// The first node that no current can reach from the amplifier, loads between these nodes included.
    pub fn floating(&self, loads: &[[usize; 2]]) -> Option<&str> {
        let joins: Vec<[usize; 2]> = self.parts.iter().map(|part| part.nodes).chain(loads.iter().copied()).collect();
        let mut reached = vec![false; self.nodes.len()];
        (reached[GROUND], reached[INPUT]) = (true, true);
        for _ in 0..self.nodes.len() {
            for [one, other] in &joins {
                if reached[*one] || reached[*other] {
                    (reached[*one], reached[*other]) = (true, true);
                }
            }
        }
        reached.iter().position(|reached| !reached).map(|node| self.nodes[node].as_str())
    }

    /// The part that a card describes; none where it is the amplifier.
    fn card(&mut self, line: usize, card: &str) -> Result<Option<Part>, NetworkError> {
        let card = card.replace(" = ", "=").replace("= ", "=").replace(" =", "=");
        let words: Vec<&str> = card.split_whitespace().collect();
        let name = words[0];
        let kind = match name.chars().next().map(|letter| letter.to_ascii_lowercase()) {
            Some('r') => Kind::Resistor,
            Some('l') => Kind::Coil,
            Some('c') => Kind::Capacitor,
            Some('v') if words.len() >= 3 && is_amplifier(words[1], words[2]) => {
                self.notes.push(format!(
                    "line {line}: {} is taken as the amplifier, its voltage is not used",
                    excerpt(name, WORD)
                ));
                return Ok(None);
            }
            _ => return Err(NetworkError::UnknownCard { line, name: excerpt(name, WORD) }),
        };
        let [_, from, to, rest @ ..] = words.as_slice() else {
            return Err(NetworkError::TooShort { line, card: excerpt(&card, WORD), found: words.len() });
        };
        let Some((value, options)) = rest.split_first() else {
            return Err(NetworkError::TooShort { line, card: excerpt(&card, WORD), found: words.len() });
        };
        let name = name.to_owned();
        let series_ohm = options.iter().try_fold(0.0, |sum, word| Ok::<_, NetworkError>(sum + loss(line, word)?))?;
        let value = number(value).ok_or_else(|| NetworkError::Value { line, word: excerpt(value, WORD) })?;
        for found in [value, if series_ohm == 0.0 { 1.0 } else { series_ohm }] {
            let name = excerpt(&name, WORD);
            if !(found > 0.0 && found.is_finite()) {
                return Err(NetworkError::NotPositive { line, name, found });
            }
            if !VALUES.contains(&found) {
                return Err(NetworkError::OutOfBounds { line, name, found });
            }
        }
        let nodes = [self.place(from), self.place(to)];
        if nodes[0] == nodes[1] {
            return Err(NetworkError::Loop { line, name: excerpt(&name, WORD), node: excerpt(from, WORD) });
        }
        if kind == Kind::Resistor && value < TINY_OHM {
            self.notes
                .push(format!("line {line}: {} is {value} ohm; a million ohm is written 1meg", excerpt(&name, WORD)));
        }
        Ok(Some(Part { name, kind, value, series_ohm, nodes, condition: Condition::Sound }))
    }

    fn add(&mut self, part: Part, line: usize, lines: &mut Vec<usize>) -> Result<(), NetworkError> {
        let same = |known: &Part| known.name.eq_ignore_ascii_case(&part.name);
        if let Some(at) = self.parts.iter().position(same) {
            return Err(NetworkError::Twice { line, name: excerpt(&part.name, WORD), before: lines[at] });
        }
        if self.parts.len() == MOST_PARTS {
            return Err(NetworkError::TooMany { line, most: MOST_PARTS });
        }
        self.parts.push(part);
        lines.push(line);
        Ok(())
    }

    fn place(&mut self, name: &str) -> usize {
        self.node(name).unwrap_or_else(|| {
            self.nodes.push(canonical(name));
            self.nodes.len() - 1
        })
    }
}

fn canonical(name: &str) -> String {
    let name = name.to_lowercase();
    if name == "gnd" { "0".into() } else { name }
}

fn is_amplifier(one: &str, other: &str) -> bool {
    let pair = [canonical(one), canonical(other)];
    pair.contains(&"in".to_owned()) && pair.contains(&"0".to_owned())
}

/// `dcr=0.25` in ohm.
fn loss(line: usize, word: &str) -> Result<f64, NetworkError> {
    let unknown = || NetworkError::UnknownOption { line, word: excerpt(word, WORD) };
    let (name, value) = word.split_once('=').ok_or_else(unknown)?;
    if !["dcr", "esr", "rs", "rser"].contains(&name.to_lowercase().as_str()) {
        return Err(unknown());
    }
    match number(value) {
        // A loss of nothing may be written.
        Some(0.0) => Ok(0.0),
        Some(found) if found > 0.0 => Ok(found),
        Some(found) => Err(NetworkError::NotPositive { line, name: excerpt(name, WORD), found }),
        None => Err(NetworkError::Value { line, word: excerpt(value, WORD) }),
    }
}

/// Cards with the line in which they begin, comments gone, continued lines joined.
fn cards(text: &str) -> Vec<(usize, String)> {
    let mut cards: Vec<(usize, String)> = Vec::new();
    for (at, line) in text.lines().enumerate() {
        let line = line.split(['*', ';', '$']).next().unwrap_or("").trim();
        match (line.strip_prefix('+'), cards.last_mut()) {
            (Some(more), Some((_, card))) => card.push_str(&format!(" {more}")),
            _ if line.is_empty() => {}
            _ => cards.push((at + 1, line.to_owned())),
        }
    }
    cards
}

/// The first line with anything in it.
fn first_line(text: &str) -> usize {
    text.lines().position(|line| !line.trim().is_empty()).map_or(1, |at| at + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_netlist_is_read_with_its_title_comments_losses_and_continuations() {
        let text = "rear crossover\n* low-pass\nL1 IN w 0.39mH dcr=0.25\nC1 w GND 6.8u ; polyester\n+ esr = 0.05\n\nV1 in 0 ac 1\n\
                    R2 in t 1.5\n.ac dec 10 10 20k\n.end\n";
        let found = Netlist::of_text(text).unwrap();
        assert_eq!(found.nodes, ["0", "in", "w", "t"]);
        let parts: Vec<_> = found.parts.iter().map(|part| (part.name.as_str(), part.series_ohm, part.nodes)).collect();
        assert_eq!(parts, [("L1", 0.25, [1, 2]), ("C1", 0.05, [2, 0]), ("R2", 0.0, [1, 3])]);
        assert_eq!(found.notes, ["line 7: V1 is taken as the amplifier, its voltage is not used"]);
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line() {
        for (text, says) in [
            ("", "there is no part in it"),
            ("* only\n", "there is no part in it"),
            ("L1 in w 1m\nL1 w 0 1m\n", "line 2: L1 is there already, in line 1"),
            ("L1 in w 1m\nC2 w 0\n", "line 2: \"C2 w 0\" has 3 words, a part needs a name, two nodes and a value"),
            ("L1 in w 1m\nC2 w w 1u\n", "line 2: C2 has both ends at w"),
            ("L1 in w 1m\nC2 w 0 4k7\n", "line 2: \"4k7\" is not a value such as 4.7, 6.8u or 0.39m"),
            ("L1 in w 1m\nC2 w 0 0\n", "line 2: C2 is 0, it must be more than 0 and finite"),
            ("L1 in w 1m\nQ1 w 0 x\n", "line 2: \"Q1\" is not a resistor, a coil or a capacitor (R…, L…, C…)"),
            (
                "L1 in w 1m\nC1 w 0 1u 50V\n",
                "line 2: \"50V\" is not understood behind a value; losses are dcr= or esr= in ohm",
            ),
            ("L1 a w 1m\n", "no part is at node in; the amplifier is at in, the other side of everything at 0"),
        ] {
            assert_eq!(Netlist::of_text(text).unwrap_err().to_string(), says, "{text:?}");
        }
    }

    #[test]
    fn a_node_that_nothing_joins_to_the_amplifier_is_named() {
        let netlist = Netlist::of_text("L1 in w 1m\nC1 x y 1u\n").unwrap();
        assert_eq!(netlist.floating(&[]), Some("x"));
        assert_eq!(netlist.floating(&[[3, 0]]), None);
    }
}
