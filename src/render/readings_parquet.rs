//! `readings.parquet`: the readings of one scan, or of all scans of a batch, as one table for programs that work on many.
//!
//! In: for each scan its name, its time, and the text of its `readings.csv`. Out: Apache Parquet bytes. Columns: `scan`,
//! `taken` (milliseconds since 1970-01-01 UTC; null where nobody said), then those of `readings.csv` under the same
//! names; lengths in the unit of the first scan, as their names say. An empty cell is null, never zero or NaN.
//! Rows keep the order of the scans and, within each, of its table, so that the same input gives the same bytes.
//! Strings are put into dictionaries and nothing is packed further: every reader can read it.
//! Does not judge and does not leave anything out.

use std::sync::Arc;

use parquet::basic::{LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::Type;

use super::error::RenderError;
use crate::summarise::reading_unit;
use crate::units::LengthUnit;

/// One scan's readings, as its `readings.csv` holds them.
#[derive(Debug, Clone, Copy)]
pub struct ScanReadings<'a> {
    pub name: &'a str,
    /// Seconds since 1970-01-01 UTC.
    pub taken_s: Option<i64>,
    /// The text of the table.
    pub csv: &'a str,
}

/// What a column of `readings.csv` holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Text,
    Count,
    Length,
}

impl Kind {
    fn of(name: &str) -> Self {
        match name {
            "station" => Self::Count,
            _ if base(name) == name => Self::Text,
            _ => Self::Length,
        }
    }
}

/// A column's name without its unit.
fn base(name: &str) -> &str {
    name.strip_suffix("_mm").or_else(|| name.strip_suffix("_in")).unwrap_or(name)
}

/// The table of these scans.
///
/// # Errors
/// A text is not a table of readings, or a cell is not what its column holds.
pub fn readings_parquet(scans: &[ScanReadings<'_>]) -> Result<Vec<u8>, RenderError> {
    let tables = scans.iter().map(Table::read).collect::<Result<Vec<_>, _>>()?;
    let names = tables.first().map_or_else(Vec::new, |table| table.names.clone());
    let unit = tables.first().map_or(LengthUnit::Millimetre, |table| table.unit);
    let properties = Arc::new(WriterProperties::builder().set_created_by("shutline".to_owned()).build());
    let mut writer = SerializedFileWriter::new(Vec::new(), Arc::new(schema(&names)?), properties)?;
    let mut group = writer.next_row_group()?;
    let mut column = 0;
    while let Some(mut cells) = group.next_column()? {
        match column {
            0 => put_text(&mut cells, per_row(&tables, |table| Some(table.scan.name)))?,
            1 => {
                let taken = per_row(&tables, |table| table.scan.taken_s.map(|taken_s| taken_s * 1000));
                put::<Int64Type>(&mut cells, taken)?;
            }
            _ => put_column(&mut cells, &tables, &names[column - 2], unit)?,
        }
        cells.close()?;
        column += 1;
    }
    group.close()?;
    Ok(writer.into_inner()?)
}

fn schema(names: &[String]) -> Result<Type, ParquetError> {
    let text = |name: &str, repetition| {
        Type::primitive_type_builder(name, Physical::BYTE_ARRAY)
            .with_logical_type(Some(LogicalType::String))
            .with_repetition(repetition)
            .build()
    };
    let taken = LogicalType::timestamp(true, TimeUnit::MILLIS);
    let taken = Type::primitive_type_builder("taken", Physical::INT64)
        .with_logical_type(Some(taken))
        .with_repetition(Repetition::OPTIONAL)
        .build()?;
    let mut fields = vec![Arc::new(text("scan", Repetition::REQUIRED)?), Arc::new(taken)];
    for name in names {
        let physical = match Kind::of(name) {
            Kind::Text => {
                fields.push(Arc::new(text(name, Repetition::OPTIONAL)?));
                continue;
            }
            Kind::Count => Physical::INT32,
            Kind::Length => Physical::DOUBLE,
        };
        let field = Type::primitive_type_builder(name, physical).with_repetition(Repetition::OPTIONAL);
        fields.push(Arc::new(field.build()?));
    }
    Type::group_type_builder("readings").with_fields(fields).build()
}

/// One scan's cells.
struct Table<'a> {
    scan: ScanReadings<'a>,
    unit: LengthUnit,
    names: Vec<String>,
    rows: Vec<csv::StringRecord>,
}

impl<'a> Table<'a> {
    fn read(scan: &ScanReadings<'a>) -> Result<Self, RenderError> {
        let mut reader = csv::Reader::from_reader(scan.csv.as_bytes());
        let names = reader.headers()?.iter().map(str::to_owned).collect();
        let rows = reader.records().collect::<Result<_, _>>()?;
        Ok(Self { scan: *scan, unit: reading_unit(scan.csv), names, rows })
    }

    /// The cells of a column, whatever unit its name ends in; `None` where they are empty.
    fn cells(&self, name: &str) -> impl Iterator<Item = Option<&str>> {
        let place = self.names.iter().position(|own| base(own) == base(name));
        self.rows.iter().map(move |row| row.get(place?).filter(|cell| !cell.is_empty()))
    }

    fn numbers<T: std::str::FromStr>(&self, name: &str) -> Result<Vec<Option<T>>, RenderError> {
        let wrong = |cell: &str| RenderError::BadCell {
            scan: self.scan.name.to_owned(),
            column: name.to_owned(),
            found: cell.to_owned(),
        };
        let parse = |cell: &str| cell.parse().map_err(|_| wrong(cell));
        self.cells(name).map(|cell| cell.map(parse).transpose()).collect()
    }
}

fn put_column(
    cells: &mut SerializedColumnWriter<'_>,
    tables: &[Table<'_>],
    name: &str,
    unit: LengthUnit,
) -> Result<(), RenderError> {
    match Kind::of(name) {
        Kind::Text => put_text(cells, tables.iter().flat_map(|table| table.cells(name)).collect()),
        Kind::Count => {
            let counts = tables.iter().map(|table| table.numbers(name)).collect::<Result<Vec<_>, _>>()?;
            put::<Int32Type>(cells, counts.concat())
        }
        Kind::Length => {
            let mut lengths = Vec::new();
            for table in tables {
                let factor = if table.unit == unit { 1.0 } else { table.unit.mm() / unit.mm() };
                let numbers = table.numbers::<f64>(name)?;
                lengths.extend(numbers.into_iter().map(|number| number.map(|number| number * factor)));
            }
            put::<DoubleType>(cells, lengths)
        }
    }
}

/// A value of the scan, once for each of its rows.
fn per_row<'a, T: Clone>(tables: &[Table<'a>], value: impl Fn(&Table<'a>) -> Option<T>) -> Vec<Option<T>> {
    tables.iter().flat_map(|table| vec![value(table); table.rows.len()]).collect()
}

fn put_text(cells: &mut SerializedColumnWriter<'_>, texts: Vec<Option<&str>>) -> Result<(), RenderError> {
    put::<ByteArrayType>(cells, texts.into_iter().map(|text| text.map(ByteArray::from)).collect())
}

/// Writes values; for a column that may be null, a level says for each row whether there is one.
fn put<T: DataType>(
    cells: &mut SerializedColumnWriter<'_>,
    values: Vec<Option<T::T>>,
) -> Result<(), RenderError> {
    let levels: Vec<i16> = values.iter().map(|value| i16::from(value.is_some())).collect();
    let values: Vec<T::T> = values.into_iter().flatten().collect();
    let writer = cells.typed::<T>();
    let is_optional = writer.get_descriptor().max_def_level() > 0;
    writer.write_batch(&values, is_optional.then_some(levels.as_slice()), None)?;
    Ok(())
}
