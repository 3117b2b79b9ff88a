//! The token: who has it was told by this program.
//!
//! 256 bits of the system's randomness, as hexadecimal digits.

/// How many bytes of chance it holds.
const BYTES: usize = 32;

/// A secret that nobody can guess.
pub struct Token(String);

impl Token {
    /// A new one. `None` where the system has no randomness to give.
    pub fn new() -> Option<Self> {
        let mut chance = [0u8; BYTES];
        getrandom::fill(&mut chance).ok()?;
        Some(Self(chance.iter().map(|byte| format!("{byte:02x}")).collect()))
    }

    /// As it stands in the address.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// Whether these are the same; how long it takes tells nothing of where they differ.
    pub fn is(&self, other: &[u8]) -> bool {
        let own = self.0.as_bytes();
        own.len() == other.len() && own.iter().zip(other).fold(0, |differing, (a, b)| differing | (a ^ b)) == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_token_is_itself_only_and_another_one_each_time() {
        let [one, other] = [Token::new().unwrap(), Token::new().unwrap()];
        assert_eq!(one.text().len(), 64);
        assert!(one.is(one.text().as_bytes()) && !one.is(other.text().as_bytes()));
        assert!(!one.is(b"") && !one.is(&one.text().as_bytes()[..63]));
        let mut off = one.text().as_bytes().to_vec();
        off[63] ^= 1;
        assert!(!one.is(&off));
    }
}
