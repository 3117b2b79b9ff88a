//! What a browser may do with the report: show it, and run the one script that has this checksum.
//!
//! Content Security Policy Level 3, W3C. Should anything in a file of the job get past the escaping, it still cannot
//! run, load or send.

use sha2::{Digest, Sha256};

/// The policy of a page with this script.
pub(super) fn policy(script: &str) -> String {
    let checksum = base64(&Sha256::digest(script.as_bytes()));
    format!(
        "default-src 'none'; script-src 'sha256-{checksum}'; style-src 'unsafe-inline'; font-src data:; img-src data:; \
         base-uri 'none'; form-action 'none'"
    )
}

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let group = |three: &[u8]| {
        let at = |n: usize| u32::from(three.get(n).copied().unwrap_or(0));
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        let sign = |n: usize| if n > three.len() { '=' } else { SIGNS[(bits >> (18 - 6 * n) & 63) as usize] as char };
        [sign(0), sign(1), sign(2), sign(3)]
    };
    bytes.chunks(3).flat_map(group).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_the_rfc() {
        // RFC 4648, section 10.
        for (bytes, expected) in [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foobar", "Zm9vYmFy")] {
            assert_eq!(base64(bytes.as_bytes()), expected);
        }
    }

    #[test]
    fn the_policy_has_the_checksum_of_the_script() {
        // FIPS 180-4, example "abc": ba7816bf 8f01cfea 414140de 5dae2223 b00361a3 96177a9c b410ff61 f20015ad.
        let policy = policy("abc");
        assert!(policy.contains("script-src 'sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=';"), "{policy}");
        assert!(policy.starts_with("default-src 'none';"));
    }
}
