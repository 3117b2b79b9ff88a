//! A piece of somebody's file as a message shows it: short, and on one line.
//!
//! Ours: a message that holds a megabyte of a broken file, or moves the terminal's cursor, helps nobody.

/// So much of a word or a name is enough to find it again.
pub const WORD: usize = 60;
/// So much of a sentence that somebody else's library says.
pub const SENTENCE: usize = 160;

/// The first letters of a text, with a sign where there is more; what is no letter, digit or sign is replaced.
pub fn excerpt(text: &str, most_letters: usize) -> String {
    let mut letters = text.chars();
    let mut shown: String = letters.by_ref().take(most_letters).map(printable).collect();
    if letters.next().is_some() {
        shown.push('…');
    }
    shown
}

fn printable(letter: char) -> char {
    if letter.is_control() { char::REPLACEMENT_CHARACTER } else { letter }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_shown_up_to_its_most_letters_and_on_one_line() {
        assert_eq!(excerpt("L1 in mid", 60), "L1 in mid");
        assert_eq!(excerpt("äöü€", 4), "äöü€");
        assert_eq!(excerpt("äöü€!", 4), "äöü€…");
        assert_eq!(excerpt("a\u{1b}[2Jb\nc", 60), "a\u{fffd}[2Jb\u{fffd}c");
    }
}
