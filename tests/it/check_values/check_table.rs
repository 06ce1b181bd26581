//! Reads a check file: `#` lines that name the source and the published results, a heading line, then values.

use std::path::Path;

pub struct CheckTable {
    pub head: Vec<String>,
    pub columns: Vec<String>,
    pub rows: Vec<Vec<String>>,
}

pub fn read(name: &str) -> CheckTable {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/check_values/data").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let (head, body): (Vec<&str>, Vec<&str>) =
        text.lines().filter(|line| !line.trim().is_empty()).partition(|line| line.starts_with('#'));
    let mut reader =
        csv::ReaderBuilder::new().flexible(true).from_reader(std::io::Cursor::new(body.join("\n")));
    let columns = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows = reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
    CheckTable { head: head.into_iter().map(str::to_owned).collect(), columns, rows }
}

impl CheckTable {
    pub fn texts(&self, column: &str) -> Vec<&str> {
        let at = self.columns.iter().position(|name| name == column);
        let at = at.unwrap_or_else(|| panic!("no column {column} in {:?}", self.columns));
        self.rows.iter().map(|row| row[at].as_str()).collect()
    }

    pub fn numbers(&self, column: &str) -> Vec<f64> {
        self.texts(column).into_iter().map(number).collect()
    }

    /// The number after `label` in the first head line that starts with `# {line}`.
    pub fn stated(&self, line: &str, label: &str) -> f64 {
        self.stated_list(line, label)[0]
    }

    /// The numbers after `label`, in brackets, quoted or alone.
    pub fn stated_list(&self, line: &str, label: &str) -> Vec<f64> {
        let start = format!("# {line}");
        let text = self
            .head
            .iter()
            .find(|text| text.starts_with(&start) && text.contains(label))
            .unwrap_or_else(|| panic!("no line '{start}' with '{label}'"));
        let after = text[text.find(label).unwrap() + label.len()..].trim_start_matches([' ', '=']);
        let (inner, ends): (&str, &[char]) = match after.strip_prefix(['[', '(']) {
            Some(inner) => (inner, &[']', ')']),
            None => (after, &[' ', ';', ',']),
        };
        let end = inner.find(ends).unwrap_or(inner.len());
        inner[..end].split(',').map(|part| number(part.trim_matches([' ', '\'']))).collect()
    }
}

fn number(text: &str) -> f64 {
    if text == "Infinity" {
        f64::INFINITY
    } else {
        text.parse().unwrap_or_else(|_| panic!("not a number: '{text}'"))
    }
}

/// Fails unless two numbers agree to a share of the expected one.
pub fn assert_close(what: &str, found: f64, expected: f64, relative: f64) {
    let error = (found - expected).abs();
    let allowed = relative * expected.abs().max(f64::MIN_POSITIVE);
    assert!(
        error <= allowed,
        "{what}: found {found:e}, expected {expected:e}, error {error:e} > {allowed:e}"
    );
}
