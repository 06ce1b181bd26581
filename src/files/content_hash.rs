//! The SHA-256 of a file (FIPS 180-4), by which a record names its inputs.
//!
//! In: a path. Out: 64 lower-case hexadecimal digits. Read in blocks; memory does not grow with the file.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use sha2::{Digest, Sha256};

use super::read_error::ReadError;

/// Bytes read at a time: they stay in the second-level cache until they are hashed.
const BLOCK_BYTES: usize = 256 << 10;

/// A file as a record names it, beside its name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileFacts {
    /// 64 lower-case hexadecimal digits.
    pub sha256: String,
    pub byte_count: u64,
}

/// Hashes a file's content.
///
/// # Errors
/// The file cannot be opened or read.
pub fn content_hash(path: &Path) -> Result<String, ReadError> {
    let mut file = File::open(path).map_err(|source| ReadError::Open { path: path.to_owned(), source })?;
    let mut hasher = Sha256::new();
    let mut block = vec![0; BLOCK_BYTES];
    loop {
        let count = file.read(&mut block).map_err(|source| ReadError::read(path, source))?;
        match block.get(..count) {
            Some(read) if count > 0 => hasher.update(read),
            _ => break,
        }
    }
    Ok(in_hex(hasher))
}

/// Hashes a text.
#[must_use]
pub fn text_hash(text: &str) -> String {
    bytes_hash(text.as_bytes())
}

pub(super) fn bytes_hash(bytes: &[u8]) -> String {
    let mut hasher = Sha256::new();
    hasher.update(bytes);
    in_hex(hasher)
}

fn in_hex(hasher: Sha256) -> String {
    hasher.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4 example: the message "abc" (NIST Cryptographic Standards and Guidelines, SHA-256 example values).
    #[test]
    fn the_published_example_comes_out() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("abc");
        std::fs::write(&path, "abc").unwrap();
        assert_eq!(
            content_hash(&path).unwrap(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        assert!(content_hash(&folder.path().join("none")).is_err());
    }
}
