//! Rows of numbers as text: which separator, which decimal sign, which column is which.
//!
//! In: the first lines of a text. Out: a [`Dialect`], then numbers of one line at a time.
//! Units: a heading such as `x_mm` or `X [m]` gives one. Method: rules below, no statistics; fast-float2 parses.
//! Does not read files.

use crate::units::LengthUnit;

/// What stands between two numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Separator {
    Comma,
    Semicolon,
    Tab,
    Blank,
}

/// How numbers are written in a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dialect {
    pub separator: Separator,
    pub has_decimal_comma: bool,
}

/// Columns of a point table, counted from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Columns {
    pub position: [usize; 3],
    pub normal: Option<[usize; 3]>,
    /// The unit written in the heading.
    pub unit: Option<LengthUnit>,
}

impl Dialect {
    /// Tells the dialect from lines that hold numbers; the first line that settles it counts.
    pub fn detect<'a>(lines: impl Iterator<Item = &'a [u8]> + Clone) -> Self {
        let any = |byte: u8| lines.clone().any(|line| line.contains(&byte));
        if any(b';') {
            return Self { separator: Separator::Semicolon, has_decimal_comma: any(b',') };
        }
        if any(b'\t') && !lines.clone().any(has_comma_between_fields) {
            return Self { separator: Separator::Tab, has_decimal_comma: any(b',') };
        }
        if any(b',') {
            let is_decimal = lines.clone().all(has_blank_separated_decimal_commas);
            let separator = if is_decimal { Separator::Blank } else { Separator::Comma };
            return Self { separator, has_decimal_comma: is_decimal };
        }
        Self { separator: Separator::Blank, has_decimal_comma: false }
    }

    /// The fields of a line, trimmed. Runs of blanks count once; other separators count each.
    pub fn fields<'a>(&self, line: &'a [u8]) -> impl Iterator<Item = &'a [u8]> {
        let separator = self.separator;
        line.split(move |byte| match separator {
            Separator::Comma => *byte == b',',
            Separator::Semicolon => *byte == b';',
            Separator::Tab => *byte == b'\t',
            Separator::Blank => byte.is_ascii_whitespace(),
        })
        .map(<[u8]>::trim_ascii)
        .filter(move |field| separator != Separator::Blank || !field.is_empty())
    }

    /// One number, or nothing where the field is not one.
    pub fn number(&self, field: &[u8]) -> Option<f64> {
        if self.has_decimal_comma && field.contains(&b',') {
            let mut with_point = [0_u8; 40];
            let copy = with_point.get_mut(..field.len())?;
            copy.copy_from_slice(field);
            copy.iter_mut().filter(|byte| **byte == b',').for_each(|byte| *byte = b'.');
            return parse_number(copy);
        }
        parse_number(field)
    }

    /// As a person would say it.
    pub const fn text(&self) -> &'static str {
        match (self.separator, self.has_decimal_comma) {
            (Separator::Comma, _) => "separated by commas",
            (Separator::Semicolon, false) => "separated by semicolons",
            (Separator::Semicolon, true) => "separated by semicolons, decimal comma",
            (Separator::Tab, false) => "separated by tabs",
            (Separator::Tab, true) => "separated by tabs, decimal comma",
            (Separator::Blank, false) => "separated by blanks",
            (Separator::Blank, true) => "separated by blanks, decimal comma",
        }
    }
}

/// A number as people and programs write it: `1`, `-.5`, `1.`, `+1E5`, `nan`.
pub fn parse_number(field: &[u8]) -> Option<f64> {
    let unsigned = field.strip_prefix(b"+").unwrap_or(field);
    if unsigned.len() < field.len() && unsigned.first().is_some_and(|byte| matches!(byte, b'-' | b'+')) {
        return None;
    }
    fast_float2::parse(unsigned).ok()
}

/// True for `1,5 2,5 3,5`: at least two fields between blanks, at most one comma inside each and none at an end.
fn has_blank_separated_decimal_commas(line: &[u8]) -> bool {
    let fields = || line.split(u8::is_ascii_whitespace).filter(|field| !field.is_empty());
    fields().count() >= 2
        && fields().all(|field| {
            field.iter().filter(|byte| **byte == b',').count() <= 1
                && field.first() != Some(&b',')
                && field.last() != Some(&b',')
        })
}

/// True for tables in which a comma stands at the edge of a blank-separated field, or twice inside one.
fn has_comma_between_fields(line: &[u8]) -> bool {
    line.contains(&b',') && !has_blank_separated_decimal_commas(line)
}

/// True for a line whose first field is a number.
pub fn starts_with_number(line: &[u8]) -> bool {
    let first = line
        .trim_ascii_start()
        .split(|byte| matches!(byte, b',' | b';') || byte.is_ascii_whitespace())
        .next()
        .unwrap_or_default();
    parse_number(first).is_some()
}

impl Columns {
    /// x, y, z first, normals behind them where asked for.
    pub const fn in_order(with_normal: bool) -> Self {
        Self { position: [0, 1, 2], normal: if with_normal { Some([3, 4, 5]) } else { None }, unit: None }
    }

    /// The columns named in a heading, if it names x, y and z.
    pub fn from_heading(fields: &[&[u8]]) -> Option<Self> {
        let names: Vec<(String, Option<LengthUnit>)> =
            fields.iter().map(|field| heading_name(field)).collect();
        let place = |wanted: &[&str]| names.iter().position(|(name, _)| wanted.contains(&name.as_str()));
        let position = [place(&["x"])?, place(&["y"])?, place(&["z"])?];
        let normal = place(&["nx", "normalx", "normal_x"])
            .zip(place(&["ny", "normaly", "normal_y"]))
            .zip(place(&["nz", "normalz", "normal_z"]))
            .map(|((x, y), z)| [x, y, z]);
        let unit = position.first().and_then(|column| names.get(*column)).and_then(|(_, unit)| *unit);
        Some(Self { position, normal, unit })
    }
}

/// A heading's name in lower case without its unit, and the unit.
fn heading_name(field: &[u8]) -> (String, Option<LengthUnit>) {
    let text = String::from_utf8_lossy(field).to_lowercase();
    let text = text.trim_matches(|sign: char| sign.is_whitespace() || "/#\"'".contains(sign));
    let parts: Vec<&str> =
        text.split(|sign: char| "[]()_ ".contains(sign)).filter(|part| !part.is_empty()).collect();
    let unit = match parts.as_slice() {
        [_, .., "in" | "inches"] => Some(LengthUnit::Inch),
        [_, .., last] => LengthUnit::from_symbol(last),
        _ => None,
    };
    match (unit, parts.first()) {
        (Some(_), Some(name)) => ((*name).to_owned(), unit),
        _ => (text.to_owned(), None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(text: &str) -> Vec<Option<f64>> {
        let dialect = Dialect::detect(std::iter::once(text.as_bytes()));
        dialect.fields(text.as_bytes()).map(|field| dialect.number(field)).collect()
    }

    #[test]
    fn separators_and_decimal_signs_are_told_apart() {
        let wanted = vec![Some(1.5), Some(-2.0), Some(300.0)];
        for text in [
            "1.5 -2 3e2",
            "1.5,-2,3e2",
            "1.5, -2, 3e2",
            "1,5;-2,0;3E2",
            "1,5\t-2,0\t300",
            "1.5\t-2.\t+300",
            "1,5 -2,0 300,0",
            "1.5;-2;3e2",
            "  1.5   -2  300 ",
            "1.5,\t-2,\t300",
        ] {
            assert_eq!(numbers(text), wanted, "{text}");
        }
        assert_eq!(numbers("1 2 x"), [Some(1.0), Some(2.0), None]);
        assert_eq!(numbers("1 2 +-3"), [Some(1.0), Some(2.0), None]);
    }

    #[test]
    fn headings_name_columns_and_units() {
        let columns = Columns::from_heading(&[b"i", b"X [m]", b"Y [m]", b"Z [m]"]).unwrap();
        assert_eq!((columns.position, columns.unit), ([1, 2, 3], Some(LengthUnit::Metre)));
        let columns = Columns::from_heading(&[b"//x", b"y", b"z", b"Nx", b"Ny", b"Nz"]).unwrap();
        assert_eq!((columns.normal, columns.unit), (Some([3, 4, 5]), None));
        assert_eq!(Columns::from_heading(&[b"x_in", b"y_in", b"z_in"]).unwrap().unit, Some(LengthUnit::Inch));
        assert_eq!(Columns::from_heading(&[b"a", b"b", b"c"]), None);
    }
}
