//! Numbers as people read them: millimetres to a hundredth, inches to a thousandth or the nearest sixty-fourth.
//!
//! In: lengths in mm and the plan's unit. Out: short texts with a true minus sign.
//! Method: the decimals show a fifth of a usual uncertainty (0.05 mm) and no more. Does not decide: verdicts are made
//! before rounding, so a value may read as its limit and still be out.

use crate::units::LengthUnit;

/// A length in the plan's unit, without the unit's name.
#[must_use]
pub fn length(value_mm: f64, unit: LengthUnit) -> String {
    let decimals = decimals(unit);
    with_minus(format!("{:.decimals$}", value_mm / unit.mm()))
}

/// A length with its sign always shown.
#[must_use]
pub fn signed(value_mm: f64, unit: LengthUnit) -> String {
    let decimals = decimals(unit);
    with_minus(format!("{:+.decimals$}", value_mm / unit.mm()))
}

/// A length with its unit: `4.62 mm`, `0.182 in (3/16)`.
#[must_use]
pub fn length_with_unit(value_mm: f64, unit: LengthUnit) -> String {
    let number = length(value_mm, unit);
    if unit == LengthUnit::Inch {
        format!("{number} in ({})", sixty_fourths(value_mm))
    } else {
        format!("{number} {}", unit.symbol())
    }
}

/// A place along a seam: whole millimetres, or tenths of an inch.
#[must_use]
pub fn along(value_mm: f64, unit: LengthUnit) -> String {
    if unit == LengthUnit::Inch {
        format!("{:.1} in", value_mm / unit.mm())
    } else {
        format!("{:.0} mm", value_mm)
    }
}

/// The unit as columns and axes name it.
#[must_use]
pub const fn unit_name(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Inch => "in",
        other => other.symbol(),
    }
}

/// The nearest sixty-fourth of an inch, in lowest terms: `5/32`, `1 3/8`, `0`.
#[must_use]
pub fn sixty_fourths(value_mm: f64) -> String {
    let parts = (value_mm / 25.4 * 64.0).round() as i64;
    let sign = if parts < 0 { "−" } else { "" };
    let (whole, rest) = (parts.abs() / 64, parts.abs() % 64);
    let mut divisor = 64;
    let mut rest_lowest = rest;
    while rest_lowest > 0 && rest_lowest % 2 == 0 {
        rest_lowest /= 2;
        divisor /= 2;
    }
    match (whole, rest) {
        (whole, 0) => format!("{sign}{whole}"),
        (0, _) => format!("{sign}{rest_lowest}/{divisor}"),
        (whole, _) => format!("{sign}{whole} {rest_lowest}/{divisor}"),
    }
}

const fn decimals(unit: LengthUnit) -> usize {
    match unit {
        LengthUnit::Inch => 3,
        _ => 2,
    }
}

/// A true minus sign, and none (nor a plus) before a value that rounds to zero.
fn with_minus(number: String) -> String {
    let is_zero = number.chars().all(|letter| !letter.is_ascii_digit() || letter == '0');
    if is_zero { number.trim_start_matches(['-', '+']).to_owned() } else { number.replace('-', "−") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inches_are_given_as_the_nearest_sixty_fourth_in_lowest_terms() {
        // By hand: 4 mm = 10.08/64 in; 9.525 mm = 3/8 in; 25.4 + 3.175 mm = 1 1/8 in.
        let cases =
            [(4.0, "5/32"), (9.525, "3/8"), (28.575, "1 1/8"), (0.1, "0"), (-0.4, "−1/64"), (25.4, "1")];
        for (value_mm, expected) in cases {
            assert_eq!(sixty_fourths(value_mm), expected, "{value_mm}");
        }
    }

    #[test]
    fn what_rounds_to_zero_has_no_sign() {
        assert_eq!(signed(-0.001, LengthUnit::Millimetre), "0.00");
        assert_eq!(signed(0.001, LengthUnit::Millimetre), "0.00");
        assert_eq!(signed(-0.62, LengthUnit::Millimetre), "−0.62");
        assert_eq!(signed(0.62, LengthUnit::Millimetre), "+0.62");
    }
}
