//! How much of what it has unpacked a Zstandard frame wants to look back on.
//!
//! In: the first bytes of a frame. Out: its window, bytes. Method: RFC 8878, 3.1.1.1: a descriptor byte, or the size of the content
//! where that is one piece. Does not unpack.

/// Bytes that are enough for the answer: magic number, descriptor, window, dictionary, content size.
pub(super) const HEAD_BYTES: usize = 18;

/// A window that any file may ask for, bytes: what the packer takes up to its level 19.
const ALWAYS_ALLOWED: u64 = 8 << 20;

/// The largest window that a file of this size may ask for; unpacking holds up to three times as much.
pub(super) const fn largest_window(file_bytes: u64) -> u64 {
    ALWAYS_ALLOWED.saturating_add(file_bytes / 2)
}

/// The window of a frame with this head; `None` where the head is cut off.
pub(super) fn window_of(head: &[u8]) -> Option<u64> {
    let [_, _, _, _, descriptor, rest @ ..] = head else { return None };
    let is_one_piece = descriptor >> 5 & 1 == 1;
    if !is_one_piece {
        let window = *rest.first()?;
        let base = 1_u64 << (10 + (window >> 3));
        return Some(base + base / 8 * u64::from(window & 7));
    }
    let dictionary_bytes = match descriptor & 3 {
        3 => 4,
        count => usize::from(count),
    };
    let size_bytes = 1 << (descriptor >> 6);
    let size = rest.get(dictionary_bytes..dictionary_bytes + size_bytes)?;
    let size = size.iter().rev().fold(0, |size, byte| size << 8 | u64::from(*byte));
    Some(if size_bytes == 2 { size + 256 } else { size })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand from RFC 8878, 3.1.1.1.2 to 3.1.1.1.4.
    #[test]
    fn windows_are_those_of_the_format() {
        let magic = [0x28, 0xb5, 0x2f, 0xfd];
        let window = |rest: &[u8]| window_of(&[&magic[..], rest].concat());
        assert_eq!(window(&[0x00, 0x68]), Some(8 << 20), "2^(10 + 13)");
        assert_eq!(window(&[0x04, 0x03]), Some(1024 + 3 * 128));
        assert_eq!(window(&[0x20, 200]), Some(200));
        assert_eq!(window(&[0x60, 1, 2]), Some(0x0201 + 256));
        assert_eq!(window(&[0xa1, 9, 1, 2, 3, 4]), Some(0x0403_0201), "behind a dictionary's number");
        assert_eq!(window(&[0xf4, 0, 0, 0, 0, 1, 0, 0, 0]), Some(1 << 32));
        assert_eq!(window(&[0xe0, 0]), None);
        assert_eq!(window_of(&magic), None);
    }
}
