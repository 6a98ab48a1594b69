//! The id of an answer: what was asked and which engine answers, as a hash; and that of a link, of its secret.

use core::fmt;
use core::fmt::Write;

use sha2::{Digest, Sha256};

/// Hex digits of an id: 128 bits of the hash.
const DIGITS: usize = 32;

/// The first 32 hex digits of SHA-256: over the engine's version and the canonical input, or over a secret.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct ContentId(String);

impl ContentId {
    /// The id of a canonical input under an engine.
    pub fn of(engine: &str, canonical: &str) -> Self {
        // The zero byte keeps ("a", "bc") and ("ab", "c") apart.
        let mut hash = Sha256::new();
        hash.update(engine);
        hash.update([0]);
        hash.update(canonical);
        Self::of_sum(&hash.finalize().into())
    }

    /// The id of what has this sum.
    pub fn of_sum(sum: &[u8; 32]) -> Self {
        Self(hex(&sum[..DIGITS / 2]))
    }

    /// Reads an id; `None` unless it is 32 lower-case hex digits, so an id can be a file name.
    pub fn parse(text: &str) -> Option<Self> {
        let hex = text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b));
        (text.len() == DIGITS && hex).then(|| Self(text.to_string()))
    }

    /// Its digits.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for ContentId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// SHA-256 of something whole.
pub fn sum(bytes: impl AsRef<[u8]>) -> [u8; 32] {
    Sha256::digest(bytes).into()
}

/// Bytes as lower-case hex digits.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn depends_on_engine_and_input() {
        let id = ContentId::of("a", "bc");
        assert_eq!(id, ContentId::of("a", "bc"));
        assert_ne!(id, ContentId::of("ab", "c"));
        assert_eq!(ContentId::parse(id.as_str()), Some(id));
    }

    /// FIPS 180-4, the example of one block.
    #[test]
    fn sums_are_sha_256() {
        assert_eq!(hex(&sum("abc")), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn refuses_what_is_not_an_id() {
        for text in [
            "",
            "..",
            "0123456789abcdef0123456789abcde",
            "0123456789ABCDEF0123456789ABCDEF",
            "0123456789abcdef0123456789abcde/",
        ] {
            assert_eq!(ContentId::parse(text), None, "{text}");
        }
    }
}
