//! A command as a person types it into a POSIX shell.

/// The program's name and the words, those quoted that a shell would take apart.
pub fn command_text(words: &[String]) -> String {
    let quoted = words.iter().map(|word| quoted(word));
    std::iter::once("boxwright".to_owned()).chain(quoted).collect::<Vec<_>>().join(" ")
}

/// A word in double quotes where that is enough, else in single ones.
fn quoted(word: &str) -> String {
    let is_plain = |c: char| c.is_alphanumeric() || "-_./:,=%+@".contains(c);
    if !word.is_empty() && word.chars().all(is_plain) {
        return word.to_owned();
    }
    let is_tame = !word.chars().any(|c| "\"$`\\!".contains(c) || c.is_control());
    if is_tame { format!("\"{word}\"") } else { format!("'{}'", word.replace('\'', "'\\''")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_a_shell_would_take_apart_are_quoted() {
        let text = |words: &[&str]| command_text(&words.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>());
        assert_eq!(text(&["response", "a/b-c.wav", "--gate", "5 ms"]), "boxwright response a/b-c.wav --gate \"5 ms\"");
        assert_eq!(text(&["x", "", "it's", "a$b", "-3"]), "boxwright x \"\" \"it's\" 'a$b' -3");
        assert_eq!(text(&["a'$"]), r"boxwright 'a'\''$'");
    }
}
