//! The units that an exchange file names.
//!
//! In: the file's unit contexts. Out: millimetres and radians in one of the file's units.
//! Method: ISO 10303-41: SI units with prefixes, and conversion based units (inch, degree) by their factors.
//! Does not allow different length units in one file.

use super::exchange::{Exchange, Problem};
use super::record::{Record, Value};

/// Conversions of conversions that are followed.
const DEEPEST: u32 = 4;

/// What one of the file's units is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Units {
    /// `None` where the file names no unit of length.
    pub length_mm: Option<f64>,
    pub angle_rad: f64,
}

/// Reads the units of all contexts of a file.
pub(super) fn read(file: &Exchange) -> Result<Units, Problem> {
    let mut units = Units { length_mm: None, angle_rad: 1.0 };
    for id in file.ids().filter(|id| file.kind(*id).is_empty()) {
        let record = file.record(id)?;
        let Some(list) =
            record.part(b"GLOBAL_UNIT_ASSIGNED_CONTEXT").and_then(|values| values.first()?.list())
        else {
            continue;
        };
        for unit in list.iter().filter_map(Value::reference) {
            let unit = file.record(unit)?;
            if unit.part(b"LENGTH_UNIT").is_some() {
                let length_mm = 1000.0 * size_of(file, &unit, 0)?;
                if units.length_mm.is_some_and(|known| (known - length_mm).abs() > 1e-9 * known) {
                    return Err(Problem {
                        is_final: true,
                        ..Problem::at(id, "the file mixes units of length")
                    });
                }
                units.length_mm = Some(length_mm);
            } else if unit.part(b"PLANE_ANGLE_UNIT").is_some() {
                units.angle_rad = size_of(file, &unit, 0)?;
            }
        }
    }
    Ok(units)
}

/// Metres or radians in one of this unit.
fn size_of(file: &Exchange, unit: &Record<'_>, depth: u32) -> Result<f64, Problem> {
    let size = if let Some(values) = unit.part(b"SI_UNIT") {
        si_size(values)
    } else if let Some([_, Value::Reference(factor), ..]) = unit.part(b"CONVERSION_BASED_UNIT")
        && depth < DEEPEST
    {
        let measure = file.record(*factor)?;
        let mut found = measure.parts.iter().flat_map(|(_, values)| values);
        let number = found.clone().find_map(Value::number);
        match (number, found.find_map(Value::reference)) {
            (Some(number), Some(base)) => Some(number * size_of(file, &file.record(base)?, depth + 1)?),
            _ => None,
        }
    } else {
        None
    };
    size.filter(|size| *size > 0.0).ok_or_else(|| Problem {
        is_final: true,
        ..Problem::at(unit.id, "this unit is neither an SI unit nor converted to one")
    })
}

fn si_size(values: &[Value<'_>]) -> Option<f64> {
    let (prefix, name) = match values {
        [prefix, Value::Word(name)] | [_, prefix, Value::Word(name)] => (prefix, *name),
        _ => return None,
    };
    if name != b"METRE" && name != b"RADIAN" {
        return None;
    }
    match prefix {
        Value::Unset => Some(1.0),
        Value::Word(b"KILO") => Some(1e3),
        Value::Word(b"DECI") => Some(1e-1),
        Value::Word(b"CENTI") => Some(1e-2),
        Value::Word(b"MILLI") => Some(1e-3),
        Value::Word(b"MICRO") => Some(1e-6),
        Value::Word(b"NANO") => Some(1e-9),
        _ => None,
    }
}
