//! The instances of an exchange file: where each stands, and its parsed content when asked for.
//!
//! In: bytes of a file. Out: instance numbers in order, records. Units: none.
//! Method: ISO 10303-21:2016, clauses 5 to 11: statements end at `;` outside of quotes and comments.
//! Does not know what an instance means.

use std::cell::Cell;

use super::record::{self, Record};

/// Bytes that the shortest instance takes: `#1=A();`.
const SHORTEST_INSTANCE: usize = 7;
/// Work that every file may cause, in bytes parsed or their like.
const FREE_WORK: u64 = 64 << 20;
/// Work that each byte of a file may cause: a shared vertex is looked at once for every edge that ends there.
const WORK_PER_BYTE: u64 = 32;

/// What is wrong with a file, and where.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::files) struct Problem {
    /// "#12", or another place in words.
    pub place: String,
    pub text: String,
    /// True where nothing more can be had from the file.
    pub is_final: bool,
}

impl Problem {
    pub fn at(id: u32, text: impl Into<String>) -> Self {
        Self { place: format!("#{id}"), text: text.into(), is_final: false }
    }

    pub fn of_file(text: impl Into<String>) -> Self {
        Self { place: "the whole file".to_owned(), text: text.into(), is_final: true }
    }
}

/// An indexed file.
pub(super) struct Exchange {
    bytes: Vec<u8>,
    /// Instance number and where its content begins, by number.
    index: Vec<(u32, u32)>,
    work_left: Cell<u64>,
}

/// True for the first words of an exchange file.
pub(in crate::files) fn is_step(bytes: &[u8]) -> bool {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    bytes.trim_ascii_start().starts_with(b"ISO-10303-21")
}

impl Exchange {
    pub fn open(bytes: Vec<u8>) -> Result<Self, Problem> {
        let statements = bytes.iter().filter(|byte| **byte == b';').count();
        let mut index = Vec::with_capacity(statements.min(bytes.len() / SHORTEST_INSTANCE + 1));
        let mut at = 0;
        loop {
            at = skip_blank(&bytes, at);
            let rest = bytes.get(at..).unwrap_or_default();
            if rest.is_empty() {
                return Err(Problem::of_file("it has no END-ISO-10303-21: it is cut off"));
            }
            if rest.starts_with(b"END-ISO-10303-21") {
                break;
            }
            if rest.first() == Some(&b'#') {
                let (id, content) = instance_head(&bytes, at)?;
                index.push((id, content));
            }
            at = statement_end(&bytes, at)
                .ok_or_else(|| Problem::of_file("its last statement has no end: it is cut off"))?;
        }
        index.sort_unstable();
        if let Some((first, _)) =
            index.iter().zip(index.iter().skip(1)).find(|(first, second)| first.0 == second.0)
        {
            return Err(Problem::at(first.0, "two instances have this number"));
        }
        let exchange = Self { bytes, index, work_left: Cell::new(0) };
        exchange.begin_work();
        Ok(exchange)
    }

    /// Gives a new question its budget.
    pub fn begin_work(&self) {
        self.work_left.set(FREE_WORK + WORK_PER_BYTE * self.bytes.len() as u64);
    }

    /// Counts work against the budget.
    pub fn spend(&self, work: u64) -> Result<(), Problem> {
        match self.work_left.get().checked_sub(work) {
            Some(left) => {
                self.work_left.set(left);
                Ok(())
            }
            None => Err(Problem::of_file("its shapes refer to each other far more than real ones do")),
        }
    }

    /// All instance numbers, rising.
    pub fn ids(&self) -> impl Iterator<Item = u32> {
        self.index.iter().map(|(id, _)| *id)
    }

    /// An instance's content, as written.
    fn content(&self, id: u32) -> Option<&[u8]> {
        let place = self.index.binary_search_by_key(&id, |(id, _)| *id).ok()?;
        let (_, start) = self.index.get(place)?;
        self.bytes.get(*start as usize..)
    }

    /// The type of a simple instance, without parsing the rest; empty for a complex one.
    pub fn kind(&self, id: u32) -> &[u8] {
        let content = self.content(id).unwrap_or_default();
        let end = content.iter().position(|byte| !record::is_name_byte(*byte)).unwrap_or(content.len());
        content.get(..end).unwrap_or_default()
    }

    pub fn record(&self, id: u32) -> Result<Record<'_>, Problem> {
        let content = self.content(id).ok_or_else(|| Problem::at(id, "there is no such instance"))?;
        let (record, length) = record::parse(content).map_err(|text| Problem::at(id, text))?;
        self.spend(length as u64 + 16)?;
        Ok(Record { id, ..record })
    }
}

/// The number after `#` and the place after `=`.
fn instance_head(bytes: &[u8], at: usize) -> Result<(u32, u32), Problem> {
    let digits = bytes.get(at + 1..).unwrap_or_default();
    let count = digits.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let id = digits.get(..count).and_then(|digits| std::str::from_utf8(digits).ok()?.parse().ok());
    let equals = skip_blank(bytes, at + 1 + count);
    let content = u32::try_from(skip_blank(bytes, equals + 1)).ok();
    match (id, bytes.get(equals), content) {
        (Some(id), Some(b'='), Some(content)) => Ok((id, content)),
        _ => Err(Problem {
            place: format!("byte {at}"),
            text: "an instance does not begin as #NUMBER=".to_owned(),
            is_final: true,
        }),
    }
}

/// The first place from `at` that is neither blank nor comment.
pub(super) fn skip_blank(bytes: &[u8], mut at: usize) -> usize {
    loop {
        match bytes.get(at) {
            Some(byte) if byte.is_ascii_whitespace() || *byte == 0 => at += 1,
            Some(b'/') if bytes.get(at + 1) == Some(&b'*') => {
                let inside = bytes.get(at + 2..).unwrap_or_default();
                let end = inside.windows(2).position(|pair| pair == b"*/");
                at = end.map_or(bytes.len(), |end| at + 2 + end + 2);
            }
            _ => return at,
        }
    }
}

/// The place after the `;` that ends the statement.
fn statement_end(bytes: &[u8], mut at: usize) -> Option<usize> {
    let mut is_quoted = false;
    loop {
        match bytes.get(at)? {
            b'\'' => is_quoted = !is_quoted,
            b';' if !is_quoted => return Some(at + 1),
            b'/' if !is_quoted && bytes.get(at + 1) == Some(&b'*') => {
                at = skip_blank(bytes, at);
                continue;
            }
            _ => {}
        }
        at += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn exchange(data: &str) -> Result<Exchange, Problem> {
        Exchange::open(
            format!("ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\n{data}\nENDSEC;\nEND-ISO-10303-21;\n").into(),
        )
    }

    #[test]
    fn quotes_and_comments_hide_ends_of_statements() {
        let file = exchange("#2 = A('it''s; not #3=B();');/* #4=C(); */ #1=/*;*/B (1);").unwrap();
        assert_eq!(file.ids().collect::<Vec<_>>(), [1, 2]);
        assert_eq!((file.kind(1), file.kind(2)), (b"B".as_slice(), b"A".as_slice()));
    }

    #[test]
    fn cut_and_doubled_files_are_refused() {
        assert!(exchange("#1=A();#1=B();").is_err());
        assert!(exchange("#99999999999=A();").is_err());
        assert!(exchange("#1=A('no end);").is_err());
        assert!(exchange("#1=A() /* no end").is_err());
        assert!(Exchange::open(b"ISO-10303-21;\nDATA;\n#1=A();\n".to_vec()).is_err());
    }

    #[test]
    fn work_is_limited() {
        let file = exchange("#1=A();").unwrap();
        let many = (0..10_000_000).find(|_| file.record(1).is_err());
        assert!(many.is_some());
        file.begin_work();
        assert!(file.record(1).is_ok());
    }
}
