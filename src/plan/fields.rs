//! Reads one table of a plan key by key: unknown keys, wrong kinds and absurd numbers become placed errors.
//!
//! In: a parsed TOML table with the byte ranges of its keys and values. Out: checked values with their ranges.
//! Units: lengths come out in mm, whatever the plan's unit; every number is finite.
//! Does not know what the tables mean: there is one file for each of them beside this one.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::names::{check_id, quoted_list, shortened, suggestion};
use super::plan_error::{PlanError, PlanProblem};
use crate::units::LengthUnit;

/// Largest length that a plan may name, mm: a kilometre is no car.
const LONGEST_MM: f64 = 1.0e6;
/// Most characters in a title.
const LONGEST_TITLE: usize = 200;
/// A value and where the plan gives it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Given<T> {
    pub value: T,
    pub span: Range<usize>,
}

/// The plan's text, for placing errors, and the unit of its lengths.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Context<'t> {
    pub file_name: &'t str,
    pub text: &'t str,
    pub units: LengthUnit,
}

impl Context<'_> {
    /// A problem at a place of this plan.
    pub fn error(&self, span: &Range<usize>, problem: PlanProblem) -> PlanError {
        PlanError::at(self.file_name, self.text, span.clone(), problem)
    }
}

/// One table, opened for reading: all its keys are known ones.
#[derive(Debug, Clone)]
pub(crate) struct Fields<'t> {
    pub context: Context<'t>,
    /// Where the table stands, for errors on what is missing in it.
    pub span: Range<usize>,
    /// How messages call it: "`gap` of seam `hood-nose`".
    pub name: String,
    table: &'t DeTable<'t>,
}

impl<'t> Fields<'t> {
    /// Opens a table whose keys must all be among `known`.
    ///
    /// # Errors
    /// A key that is not known, with the nearest known one as the hint.
    pub fn open(
        context: Context<'t>,
        table: &'t DeTable<'t>,
        span: Range<usize>,
        name: impl Into<String>,
        known: &[&str],
    ) -> Result<Self, PlanError> {
        let fields = Self { context, span, name: name.into(), table };
        let unknown = fields
            .table
            .keys()
            .filter(|key| !known.contains(&key.get_ref().as_ref()))
            .min_by_key(|key| key.span().start);
        match unknown {
            None => Ok(fields),
            Some(key) => {
                let problem =
                    PlanProblem::UnknownKey { key: shortened(key.get_ref()), table: fields.name.clone() };
                Err(context.error(&key.span(), problem).with_hint(suggestion(key.get_ref(), known)))
            }
        }
    }

    /// The same table under the name that its own keys give it.
    pub fn called(&self, name: String) -> Self {
        Self { name, ..self.clone() }
    }

    /// The same table with its lengths in another unit.
    pub fn in_units(&self, units: LengthUnit) -> Self {
        Self { context: Context { units, ..self.context }, ..self.clone() }
    }

    /// True where the key is written.
    pub fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// True where the key holds a table rather than one value.
    pub fn is_table(&self, key: &str) -> bool {
        self.get(key).is_some_and(|found| found.get_ref().is_table())
    }

    /// True where the key holds a list rather than one value.
    pub fn is_list(&self, key: &str) -> bool {
        self.get(key).is_some_and(|found| found.get_ref().is_array())
    }

    fn get(&self, key: &str) -> Option<&'t Spanned<DeValue<'t>>> {
        self.table.iter().find(|(candidate, _)| candidate.get_ref() == key).map(|(_, value)| value)
    }

    /// Where a key's value stands, or the table where it has none.
    pub fn span_of(&self, key: &str) -> Range<usize> {
        self.get(key).map_or_else(|| self.span.clone(), Spanned::span)
    }

    pub fn missing(&self, key: &str, example: &str) -> PlanError {
        let problem = PlanProblem::MissingKey { key: key.to_owned(), table: self.name.clone() };
        self.context.error(&self.span, problem).with_hint(format!("add a line such as {example}"))
    }

    pub fn bad_value(&self, key: &str, expected: impl Into<String>, found: impl Into<String>) -> PlanError {
        let problem = PlanProblem::BadValue {
            key: key.to_owned(),
            expected: expected.into(),
            found: shortened(&found.into()),
        };
        self.context.error(&self.span_of(key), problem)
    }

    fn wrong_kind(&self, key: &str, expected: &str, found: &Spanned<DeValue<'_>>) -> PlanError {
        let problem = PlanProblem::WrongKind {
            key: key.to_owned(),
            expected: expected.to_owned(),
            found: format!("{} {}", article(found.get_ref()), found.get_ref().type_str()),
        };
        self.context.error(&found.span(), problem)
    }

    /// A string.
    pub fn text(&self, key: &str) -> Result<Option<Given<&'t str>>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(None) };
        match found.get_ref().as_str() {
            Some(value) => Ok(Some(Given { value, span: found.span() })),
            None => Err(self.wrong_kind(key, "a text in quotation marks", found)),
        }
    }

    /// A title for people: short, and without control characters.
    pub fn title(&self, key: &str) -> Result<Option<String>, PlanError> {
        let Some(given) = self.text(key)? else { return Ok(None) };
        let is_plain = !given.value.chars().any(char::is_control);
        if is_plain && given.value.chars().count() <= LONGEST_TITLE {
            return Ok(Some(given.value.to_owned()));
        }
        Err(self.bad_value(key, format!("one line of at most {LONGEST_TITLE} characters"), given.value))
    }

    /// A short name: lower case, digits, hyphens, fit to be a file's name.
    pub fn id(&self, key: &str) -> Result<Option<Given<String>>, PlanError> {
        let Some(given) = self.text(key)? else { return Ok(None) };
        check_id(&self.context, key, given.value, &given.span)?;
        Ok(Some(Given { value: given.value.to_owned(), span: given.span }))
    }

    /// One of a few words.
    pub fn choice<T: Copy>(&self, key: &str, choices: &[(&str, T)]) -> Result<Option<Given<T>>, PlanError> {
        let Some(given) = self.text(key)? else { return Ok(None) };
        if let Some((_, value)) = choices.iter().find(|(word, _)| *word == given.value) {
            return Ok(Some(Given { value: *value, span: given.span }));
        }
        let words: Vec<&str> = choices.iter().map(|(word, _)| *word).collect();
        let expected = format!("one of {}", quoted_list(&words));
        let error = self.bad_value(key, expected, format!("\"{}\"", given.value));
        Err(error.with_hint(suggestion(given.value, &words)))
    }

    /// `true` or `false`.
    pub fn flag(&self, key: &str) -> Result<Option<bool>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(None) };
        found.get_ref().as_bool().map(Some).ok_or_else(|| self.wrong_kind(key, "true or false", found))
    }

    /// A finite number.
    pub fn number(&self, key: &str) -> Result<Option<f64>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(None) };
        self.number_of(key, found).map(Some)
    }

    fn number_of(&self, key: &str, found: &Spanned<DeValue<'_>>) -> Result<f64, PlanError> {
        let (written, value) = match found.get_ref() {
            DeValue::Integer(integer) if integer.radix() == 10 => {
                (integer.as_str(), integer.as_str().parse())
            }
            DeValue::Float(float) => (float.as_str(), float.as_str().parse()),
            _ => return Err(self.wrong_kind(key, "a number", found)),
        };
        match value {
            Ok(number) if f64::is_finite(number) => Ok(number),
            _ => Err(self.not_finite(key, written, found)),
        }
    }

    fn not_finite(&self, key: &str, written: &str, found: &Spanned<DeValue<'_>>) -> PlanError {
        let problem = PlanProblem::BadValue {
            key: key.to_owned(),
            expected: "a finite number".to_owned(),
            found: shortened(written),
        };
        self.context.error(&found.span(), problem)
    }

    /// A length of either sign, mm.
    pub fn length_mm(&self, key: &str) -> Result<Option<f64>, PlanError> {
        let Some(number) = self.number(key)? else { return Ok(None) };
        self.checked_length_mm(key, number).map(Some)
    }

    fn checked_length_mm(&self, key: &str, number: f64) -> Result<f64, PlanError> {
        let length_mm = number * self.context.units.mm();
        if length_mm.abs() <= LONGEST_MM {
            return Ok(length_mm);
        }
        let unit = self.context.units.symbol();
        let longest = LONGEST_MM / self.context.units.mm();
        let error = self.bad_value(key, format!("at most {longest:.0} {unit}"), format!("{number:e} {unit}"));
        Err(error.with_hint("no car is that long: check the plan's `units`"))
    }

    /// A length that is not negative, mm.
    pub fn width_mm(&self, key: &str) -> Result<Option<f64>, PlanError> {
        match self.length_mm(key)? {
            Some(length_mm) if length_mm < 0.0 => Err(self
                .bad_value(key, "zero or more", self.written(key))
                .with_hint("write widths without a minus sign, also the lower one")),
            other => Ok(other),
        }
    }

    /// A length above zero, mm.
    pub fn positive_length_mm(&self, key: &str) -> Result<Option<f64>, PlanError> {
        match self.length_mm(key)? {
            Some(length_mm) if length_mm <= 0.0 => {
                Err(self.bad_value(key, "more than zero", self.written(key)))
            }
            other => Ok(other),
        }
    }

    /// A required length of either sign, mm.
    pub fn required_length_mm(&self, key: &str) -> Result<f64, PlanError> {
        self.length_mm(key)?.ok_or_else(|| self.missing(key, &format!("{key} = 0.0")))
    }

    /// A list of exactly `N` lengths, mm: a point or a shift.
    pub fn lengths_mm<const N: usize>(&self, key: &str) -> Result<Option<[f64; N]>, PlanError> {
        let Some(mut numbers) = self.numbers::<N>(key)? else { return Ok(None) };
        for number in &mut numbers {
            *number = self.checked_length_mm(key, *number)?;
        }
        Ok(Some(numbers))
    }

    /// A list of exactly `N` finite numbers: a direction or the like.
    pub fn numbers<const N: usize>(&self, key: &str) -> Result<Option<[f64; N]>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(None) };
        self.numbers_of(key, found).map(Some)
    }

    fn numbers_of<const N: usize>(
        &self,
        key: &str,
        found: &Spanned<DeValue<'_>>,
    ) -> Result<[f64; N], PlanError> {
        let expected = format!("a list of {N} numbers");
        let Some(items) = found.get_ref().as_array().filter(|items| items.len() == N) else {
            return Err(self.wrong_kind(key, &expected, found));
        };
        let mut numbers = [0.0; N];
        for (slot, item) in numbers.iter_mut().zip(items.iter()) {
            *slot = self.number_of(key, item)?;
        }
        Ok(numbers)
    }

    /// A list of points, mm; none where the key is not there.
    pub fn points_mm(&self, key: &str) -> Result<Vec<[f64; 3]>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(Vec::new()) };
        let Some(items) = found.get_ref().as_array() else {
            return Err(self.wrong_kind(key, "a list of points, as in [[x, y, z], [x, y, z]]", found));
        };
        let mut points = Vec::new();
        for item in items.iter() {
            let mut point = self.numbers_of::<3>(key, item)?;
            for number in &mut point {
                *number = self.checked_length_mm(key, *number)?;
            }
            points.push(point);
        }
        Ok(points)
    }

    /// A list of exactly `N` short texts.
    pub fn texts<const N: usize>(&self, key: &str) -> Result<Option<[String; N]>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(None) };
        let expected = format!("a list of {N} texts in quotation marks");
        let texts: Option<Vec<&str>> = found
            .get_ref()
            .as_array()
            .and_then(|items| items.iter().map(|item| item.get_ref().as_str()).collect());
        let Some(texts) = texts.filter(|texts| texts.len() == N) else {
            return Err(self.wrong_kind(key, &expected, found));
        };
        let is_fit = |text: &&str| {
            !text.trim().is_empty()
                && !text.chars().any(char::is_control)
                && text.chars().count() <= LONGEST_TITLE
        };
        if !texts.iter().all(is_fit) {
            return Err(self.bad_value(key, "texts of one line that are not empty", self.written(key)));
        }
        Ok(Some(std::array::from_fn(|index| texts[index].to_owned())))
    }

    /// A list of pairs of texts, as in `[["a", "b"]]`; none where the key is not written.
    pub fn text_pairs(&self, key: &str) -> Result<Vec<[Given<&'t str>; 2]>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(Vec::new()) };
        let wrong = || self.wrong_kind(key, "a list of pairs, as in [[\"one\", \"other\"]]", found);
        let text = |item: &'t Spanned<DeValue<'t>>| {
            Some(Given { value: item.get_ref().as_str()?, span: item.span() })
        };
        let pair = |item: &'t Spanned<DeValue<'t>>| {
            let items = item.get_ref().as_array().filter(|items| items.len() == 2)?;
            Some([text(items.first()?)?, text(items.get(1)?)?])
        };
        let items = found.get_ref().as_array().ok_or_else(wrong)?;
        items.iter().map(|item| pair(item).ok_or_else(wrong)).collect()
    }

    /// A table under this one.
    pub fn table(&self, key: &str, name: &str, known: &[&str]) -> Result<Option<Fields<'t>>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(None) };
        match found.get_ref().as_table() {
            Some(table) => Fields::open(self.context, table, found.span(), name, known).map(Some),
            None => Err(self.wrong_kind(key, "a table, as in { … }", found)),
        }
    }

    /// The tables written as `[[key]]`, in the file's order.
    pub fn tables(&self, key: &str, name: &str, known: &[&str]) -> Result<Vec<Fields<'t>>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(Vec::new()) };
        let expected = format!("tables, each headed [[{key}]]");
        let Some(items) = found.get_ref().as_array() else {
            return Err(self.wrong_kind(key, &expected, found));
        };
        items
            .iter()
            .map(|item| match item.get_ref().as_table() {
                Some(table) => Fields::open(self.context, table, item.span(), name, known),
                None => Err(self.wrong_kind(key, &expected, item)),
            })
            .collect()
    }

    /// The tables under freely chosen names, `[key.NAME]`, in the file's order: name and table.
    pub fn named_tables(
        &self,
        key: &str,
        known: &[&str],
    ) -> Result<Vec<(Given<String>, Fields<'t>)>, PlanError> {
        let Some(found) = self.get(key) else { return Ok(Vec::new()) };
        let Some(table) = found.get_ref().as_table() else {
            return Err(self.wrong_kind(key, &format!("tables, each headed [{key}.NAME]"), found));
        };
        let mut entries: Vec<_> = table.iter().collect();
        entries.sort_by_key(|(name, _)| name.span().start);
        entries
            .into_iter()
            .map(|(name, value)| {
                check_id(&self.context, key, name.get_ref(), &name.span())?;
                let inner = value
                    .get_ref()
                    .as_table()
                    .ok_or_else(|| self.wrong_kind(name.get_ref(), "a table with at least a title", value))?;
                let called = format!("[{key}.{}]", name.get_ref());
                let fields = Fields::open(self.context, inner, value.span(), called, known)?;
                Ok((Given { value: name.get_ref().to_string(), span: name.span() }, fields))
            })
            .collect()
    }

    /// A key's value as the plan writes it.
    pub fn written(&self, key: &str) -> String {
        let span = self.span_of(key);
        shortened(self.context.text.get(span).unwrap_or_default())
    }
}

fn article(value: &DeValue<'_>) -> &'static str {
    if matches!(value, DeValue::Integer(_) | DeValue::Array(_)) { "an" } else { "a" }
}

/// Two things that cannot both hold.
pub(crate) fn contradiction(context: &Context<'_>, span: &Range<usize>, message: String) -> PlanError {
    context.error(span, PlanProblem::Contradiction { message })
}

/// Refuses absurd counts.
pub(crate) fn check_count(
    context: &Context<'_>,
    span: &Range<usize>,
    what: &str,
    found: usize,
    most: usize,
) -> Result<(), PlanError> {
    if found <= most {
        return Ok(());
    }
    let problem =
        PlanProblem::TooMany { what: what.to_owned(), found: found.to_string(), allowed: most.to_string() };
    Err(context.error(span, problem))
}
