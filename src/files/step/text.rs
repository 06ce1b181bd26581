//! Texts of exchange files as people read them.
//!
//! In: bytes between the quotes. Out: text. Units: none.
//! Method: ISO 10303-21:2016, clause 6.4.3: `''`, `\\`, `\S\c`, `\X\hh`, `\X2\hhhh…\X0\`, `\X4\hhhhhhhh…\X0\`; bytes above 127,
//! which newer editions allow, are UTF-8. Does not switch alphabets by `\P`.

/// Decodes a text; what is no known control stays as it is.
pub(super) fn decode(bytes: &[u8]) -> String {
    let mut text = String::new();
    let mut rest = bytes;
    while let Some(first) = rest.first() {
        let (piece, length) = match first {
            b'\'' if rest.starts_with(b"''") => (Some("'".to_owned()), 2),
            b'\\' => control(rest),
            b'\n' | b'\r' => (Some(String::new()), 1),
            _ => (None, 0),
        };
        if let Some(piece) = piece {
            text.push_str(&piece);
            rest = rest.get(length..).unwrap_or_default();
        } else {
            let plain = |byte: &u8| !matches!(byte, b'\'' | b'\\' | b'\n' | b'\r');
            let count = rest.iter().take_while(|byte| plain(byte)).count().max(1);
            text.push_str(&String::from_utf8_lossy(rest.get(..count).unwrap_or_default()));
            rest = rest.get(count..).unwrap_or_default();
        }
    }
    text
}

/// What a control at the beginning stands for, and its length.
fn control(rest: &[u8]) -> (Option<String>, usize) {
    if rest.starts_with(b"\\\\") {
        return (Some("\\".to_owned()), 2);
    }
    if rest.starts_with(b"\\S\\") {
        let letter = rest.get(3).map(|byte| char::from(byte | 0x80).to_string());
        return (letter, 4);
    }
    for (head, digits) in [(b"\\X2\\".as_slice(), 4), (b"\\X4\\", 8)] {
        if let Some(inside) = rest.strip_prefix(head)
            && let Some(end) = inside.windows(4).position(|four| four == b"\\X0\\")
        {
            let codes = inside.get(..end).unwrap_or_default().chunks(digits);
            return (codes.map(letter_of).collect(), head.len() + end + 4);
        }
    }
    if rest.starts_with(b"\\X\\") {
        return (rest.get(3..5).and_then(letter_of).map(String::from), 5);
    }
    (None, 0)
}

fn letter_of(digits: &[u8]) -> Option<char> {
    char::from_u32(u32::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn controls_become_letters() {
        for (written, read) in [
            ("T\\X2\\00FC\\X0\\r", "Tür"),
            ("T\\X\\FCr", "Tür"),
            ("T\\S\\|r", "Tür"),
            ("Tür", "Tür"),
            ("a''b\\\\c", "a'b\\c"),
            ("long\nname", "longname"),
            ("\\X4\\0001F697\\X0\\", "\u{1f697}"),
            ("\\X2\\00FC", "\\X2\\00FC"),
            ("\\X2\\zz\\X0\\", "\\X2\\zz\\X0\\"),
            ("\\", "\\"),
        ] {
            assert_eq!(decode(written.as_bytes()), read);
        }
    }
}
