//! The first lines of an HTTP request, taken apart without trust.
//!
//! In: bytes from whoever connects. Out: a [`Request`] or the status with which it is refused (RFC 9110, RFC 9112).
//! Does not read bodies: nothing here takes any.

use std::io::BufRead;

/// Longest head that is read, bytes.
const LONGEST_HEAD: u64 = 8 * 1024;

/// What is asked for.
#[derive(Debug, PartialEq, Eq)]
pub struct Request {
    pub is_head: bool,
    /// Names on the way from the folder to the file; empty for the folder itself.
    pub names: Vec<String>,
    /// The host that the browser thinks it speaks to.
    pub host: String,
}

/// Reads the head of a request.
///
/// # Errors
/// The HTTP status to answer with.
pub fn read_request(stream: impl BufRead) -> Result<Request, u16> {
    let mut lines = stream.take(LONGEST_HEAD).lines();
    let mut next = || lines.next().and_then(Result::ok).ok_or(400u16);
    let first = next()?;
    let mut host = String::new();
    loop {
        let line = next()?;
        if line.is_empty() {
            break;
        }
        if let Some((name, value)) = line.split_once(':')
            && name.eq_ignore_ascii_case("host")
        {
            value.trim().clone_into(&mut host);
        }
    }
    let mut words = first.split(' ');
    let (method, target, version) = (words.next(), words.next(), words.next());
    if !version.is_some_and(|version| version.starts_with("HTTP/1.")) || words.next().is_some() {
        return Err(400);
    }
    let is_head = match method {
        Some("GET") => false,
        Some("HEAD") => true,
        _ => return Err(405),
    };
    Ok(Request { is_head, names: names_in(target.unwrap_or_default()).ok_or(404u16)?, host })
}

/// The names in a path. `None` for whatever could lead out of the folder or is hidden: dots in front, separators of any
/// system, control characters, drive letters.
fn names_in(target: &str) -> Option<Vec<String>> {
    let path = target.split(['?', '#']).next()?.strip_prefix('/')?;
    let mut names = Vec::new();
    for part in path.split('/').filter(|part| !part.is_empty()) {
        let name = String::from_utf8(unescaped(part)?).ok()?;
        let is_bad = |letter: char| letter.is_control() || ['/', '\\', ':'].contains(&letter);
        if name.is_empty() || name.starts_with('.') || name.chars().any(is_bad) {
            return None;
        }
        names.push(name);
    }
    Some(names)
}

/// `%41` to `A`, once.
fn unescaped(part: &str) -> Option<Vec<u8>> {
    let mut bytes = part.bytes();
    let mut out = Vec::with_capacity(part.len());
    while let Some(byte) = bytes.next() {
        if byte == b'%' {
            let digit = |byte: u8| char::from(byte).to_digit(16);
            let (high, low) = (digit(bytes.next()?)?, digit(bytes.next()?)?);
            out.push((high * 16 + low) as u8);
        } else {
            out.push(byte);
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(text: &str) -> Result<Request, u16> {
        read_request(std::io::Cursor::new(text.to_owned()))
    }

    #[test]
    fn a_plain_request_is_taken_apart() {
        let found =
            asked("GET /scans/a%20b/report.html?x=/../y HTTP/1.1\r\nHOST: localhost:8023\r\n\r\n").unwrap();
        assert_eq!(found.names, ["scans", "a b", "report.html"]);
        assert_eq!((found.is_head, found.host.as_str()), (false, "localhost:8023"));
        assert!(asked("HEAD / HTTP/1.1\r\n\r\n").unwrap().is_head);
    }

    #[test]
    fn hostile_paths_are_refused() {
        for path in [
            "/..",
            "/../etc/passwd",
            "/a/../../b",
            "/%2e%2e/b",
            "/%2e%2e%2fb",
            "/..%2f..%2fetc",
            "/a%5c..%5cb",
            "/.git/config",
            "/a%00b",
            "/C:/x",
            "/%zz",
            "/%2",
            "/%ff%fe",
            "etc/passwd",
            "http://elsewhere/x",
            "*",
            "",
        ] {
            assert_eq!(asked(&format!("GET {path} HTTP/1.1\r\n\r\n")), Err(404), "{path}");
        }
        assert_eq!(asked("POST / HTTP/1.1\r\n\r\n"), Err(405));
        assert_eq!(asked("GET /\r\n\r\n"), Err(400));
        assert_eq!(asked("GET / HTTP/1.1\r\nHost: x"), Err(400), "cut off");
        assert_eq!(asked(&format!("GET /{} HTTP/1.1\r\n\r\n", "a".repeat(10_000))), Err(400), "too long");
        assert_eq!(asked("\u{0}\u{1}\u{2}"), Err(400));
    }
}
