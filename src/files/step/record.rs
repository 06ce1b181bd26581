//! The content of one instance: its types and their attributes.
//!
//! In: bytes from the instance's content on. Out: values that borrow from them. Units: none.
//! Method: ISO 10303-21:2016, clause 6 (tokens) and 9 (data section).
//! Does not follow references. Lists deeper than [`DEEPEST`] and records beyond [`MOST_VALUES`] are refused.

use super::exchange::skip_blank;
use crate::files::number_table::parse_number;

/// Levels of lists in one record; schemas use three.
const DEEPEST: u32 = 12;
/// Values in one record: shells of a hundred thousand faces, with room.
const MOST_VALUES: usize = 400_000;
/// Types of one complex instance.
const MOST_PARTS: usize = 32;

/// One attribute.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value<'a> {
    Number(f64),
    /// Between the quotes, as written.
    Text(&'a [u8]),
    /// Between the dots.
    Word(&'a [u8]),
    Reference(u32),
    List(Vec<Self>),
    /// A value with its type in front: `LENGTH_MEASURE(25.4)`.
    Typed(&'a [u8], Vec<Self>),
    /// `$` or `*`.
    Unset,
}

impl Value<'_> {
    pub fn number(&self) -> Option<f64> {
        match self {
            Self::Number(number) => Some(*number),
            Self::Typed(_, values) => match values.first() {
                Some(Self::Number(number)) => Some(*number),
                _ => None,
            },
            _ => None,
        }
    }

    pub const fn reference(&self) -> Option<u32> {
        if let Self::Reference(id) = self { Some(*id) } else { None }
    }

    pub fn list(&self) -> Option<&[Self]> {
        if let Self::List(values) = self { Some(values) } else { None }
    }

    pub fn is_true(&self) -> Option<bool> {
        match self {
            Self::Word(b"T") => Some(true),
            Self::Word(b"F") => Some(false),
            _ => None,
        }
    }
}

/// One instance.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Record<'a> {
    pub id: u32,
    /// Types and attributes: one of a simple instance, several of a complex one.
    pub parts: Vec<(&'a [u8], Vec<Value<'a>>)>,
}

impl<'a> Record<'a> {
    /// The attributes of one type.
    pub fn part(&self, kind: &[u8]) -> Option<&[Value<'a>]> {
        self.parts.iter().find(|(found, _)| *found == kind).map(|(_, values)| values.as_slice())
    }

    /// The type and attributes of a simple instance.
    pub fn simple(&self) -> Option<(&'a [u8], &[Value<'a>])> {
        match self.parts.as_slice() {
            [(kind, values)] => Some((kind, values)),
            _ => None,
        }
    }

    /// The name of a simple instance, or of a complex representation item.
    pub fn name(&self) -> Option<&'a [u8]> {
        let values = match self.simple() {
            Some((_, values)) => values,
            None => self.part(b"REPRESENTATION_ITEM")?,
        };
        if let Some(Value::Text(name)) = values.first() { Some(name) } else { None }
    }

    /// All references, at any depth.
    pub fn references(&self) -> Vec<u32> {
        let mut found = Vec::new();
        let mut open: Vec<&Value<'_>> = self.parts.iter().flat_map(|(_, values)| values).rev().collect();
        while let Some(value) = open.pop() {
            match value {
                Value::Reference(id) => found.push(*id),
                Value::List(values) | Value::Typed(_, values) => open.extend(values.iter().rev()),
                _ => {}
            }
        }
        found
    }
}

pub(super) const fn is_name_byte(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || byte == b'_' || byte == b'-'
}

/// Parses the content of an instance; also how many bytes it took.
pub(super) fn parse(bytes: &[u8]) -> Result<(Record<'_>, usize), &'static str> {
    let mut reader = Reader { bytes, at: 0, values: 0 };
    let mut parts = Vec::new();
    if reader.take(b'(') {
        while !reader.take(b')') {
            if parts.len() == MOST_PARTS {
                return Err("it has too many types");
            }
            parts.push(reader.typed()?);
        }
    } else {
        parts.push(reader.typed()?);
    }
    Ok((Record { id: 0, parts }, reader.at))
}

struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
    values: usize,
}

impl<'a> Reader<'a> {
    fn peek(&mut self) -> Option<u8> {
        self.at = skip_blank(self.bytes, self.at);
        self.bytes.get(self.at).copied()
    }

    fn take(&mut self, wanted: u8) -> bool {
        let is_there = self.peek() == Some(wanted);
        self.at += usize::from(is_there);
        is_there
    }

    /// The bytes from here on for which `belongs` holds.
    fn run(&mut self, belongs: impl Fn(u8) -> bool) -> &'a [u8] {
        let rest = self.bytes.get(self.at..).unwrap_or_default();
        let count = rest.iter().take_while(|byte| belongs(**byte)).count();
        self.at += count;
        rest.get(..count).unwrap_or_default()
    }

    /// The bytes up to a mark, which is taken too.
    fn up_to(&mut self, mark: u8) -> Result<&'a [u8], &'static str> {
        let inside = self.run(|byte| byte != mark);
        if self.bytes.get(self.at) != Some(&mark) {
            return Err("a value has no end");
        }
        self.at += 1;
        Ok(inside)
    }

    fn typed(&mut self) -> Result<(&'a [u8], Vec<Value<'a>>), &'static str> {
        self.peek();
        let kind = self.run(is_name_byte);
        if kind.is_empty() || !self.take(b'(') {
            return Err("it does not begin as TYPE(");
        }
        Ok((kind, self.values(0)?))
    }

    /// Values up to the closing bracket.
    fn values(&mut self, depth: u32) -> Result<Vec<Value<'a>>, &'static str> {
        if depth > DEEPEST {
            return Err("its lists are nested too deep");
        }
        let mut values = Vec::new();
        if self.take(b')') {
            return Ok(values);
        }
        loop {
            self.values += 1;
            if self.values > MOST_VALUES {
                return Err("it has too many values");
            }
            values.push(self.value(depth)?);
            if self.take(b')') {
                return Ok(values);
            }
            if !self.take(b',') {
                return Err("there is no comma between two values");
            }
        }
    }

    fn value(&mut self, depth: u32) -> Result<Value<'a>, &'static str> {
        let first = self.peek().ok_or("it has no end")?;
        match first {
            b'\'' => self.text(),
            b'(' | b'$' | b'*' | b'#' | b'.' | b'"' => {
                self.at += 1;
                match first {
                    b'(' => Ok(Value::List(self.values(depth + 1)?)),
                    b'#' => {
                        let digits = self.run(|byte| byte.is_ascii_digit());
                        let id = std::str::from_utf8(digits).ok().and_then(|digits| digits.parse().ok());
                        id.map(Value::Reference).ok_or("a reference has no number")
                    }
                    b'.' => Ok(Value::Word(self.up_to(b'.')?)),
                    b'"' => self.up_to(b'"').map(|_| Value::Unset),
                    _ => Ok(Value::Unset),
                }
            }
            byte if byte.is_ascii_alphabetic() => {
                let kind = self.run(is_name_byte);
                if !self.take(b'(') {
                    return Err("a typed value has no bracket");
                }
                Ok(Value::Typed(kind, self.values(depth + 1)?))
            }
            _ => {
                let digits = self
                    .run(|byte| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.' | b'E' | b'e'));
                parse_number(digits)
                    .filter(|number| number.is_finite())
                    .map(Value::Number)
                    .ok_or("a value is no number")
            }
        }
    }

    /// A quoted text; a doubled quote stands for itself.
    fn text(&mut self) -> Result<Value<'a>, &'static str> {
        let start = self.at + 1;
        loop {
            self.at += 1;
            self.up_to(b'\'')?;
            if self.bytes.get(self.at) != Some(&b'\'') {
                return Ok(Value::Text(self.bytes.get(start..self.at - 1).unwrap_or_default()));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_of_value_is_read() {
        let text = b"A ( 'o''c', 1.E-07 ,-.5,2,.T.,$,*,#12,(#1,(),(2.)),LENGTH_MEASURE(25.4),\"0F\" ) ; ";
        let (record, length) = parse(text).unwrap();
        assert_eq!(&text[length..], b" ; ");
        let (kind, values) = record.simple().unwrap();
        assert_eq!((kind, values.len()), (b"A".as_slice(), 11));
        assert_eq!(values[0], Value::Text(b"o''c"));
        assert_eq!((values[1].number(), values[2].number()), (Some(1e-7), Some(-0.5)));
        assert_eq!((values[4].is_true(), values[7].reference()), (Some(true), Some(12)));
        assert_eq!((values[9].number(), &values[5]), (Some(25.4), &Value::Unset));
        assert_eq!(record.references(), [12, 1]);
    }

    #[test]
    fn complex_instances_have_parts() {
        let (record, _) = parse(b"( B() REPRESENTATION_ITEM('n') C(1,2) )").unwrap();
        assert_eq!((record.name(), record.parts.len()), (Some(b"n".as_slice()), 3));
        assert_eq!(record.part(b"C").unwrap().len(), 2);
    }

    #[test]
    fn hostile_records_are_refused() {
        let deep = format!("A({}", "(".repeat(1_000_000));
        let many = format!("A({}1)", "1,".repeat(1_000_000));
        let parts = format!("({}", "A()".repeat(1_000_000));
        for bad in [
            deep.as_str(),
            &many,
            &parts,
            "A",
            "A(",
            "A(1",
            "A(1 2)",
            "A('x",
            "A(.T",
            "A(1e999)",
            "A(#)",
            "A(x)",
            "",
        ] {
            assert!(parse(bad.as_bytes()).is_err(), "{}", &bad[..bad.len().min(20)]);
        }
    }
}
