//! Length units of files and reports; everything inside the library is millimetres and radians.
//!
//! In: a unit's name from a file or a plan. Out: the factor to millimetres.
//! Method: the inch is exactly 25.4 mm (BIPM, The International System of Units, 9th ed., 2019; NIST SP 811, B.8).
//! Does not guess a unit: see `scan::look` for the warning when one looks wrong.

/// A unit of length that a scan, a curve file or a plan may be written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LengthUnit {
    Millimetre,
    Centimetre,
    Metre,
    Inch,
}

impl LengthUnit {
    /// Every unit, in the order in which messages list them.
    pub const ALL: [Self; 4] = [Self::Millimetre, Self::Centimetre, Self::Metre, Self::Inch];

    /// Reads the short name used in plans: `mm`, `cm`, `m`, `inch`.
    #[must_use]
    pub fn from_symbol(symbol: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.symbol() == symbol)
    }

    /// The short name used in plans and column headings.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Centimetre => "cm",
            Self::Metre => "m",
            Self::Inch => "inch",
        }
    }

    /// Millimetres in one of this unit.
    #[must_use]
    pub const fn mm(self) -> f64 {
        match self {
            Self::Millimetre => 1.0,
            Self::Centimetre => 10.0,
            Self::Metre => 1000.0,
            Self::Inch => 25.4,
        }
    }
}
