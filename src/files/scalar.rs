//! Numbers as scan files store them in binary.
//!
//! In: bytes, and which end comes first. Out: f64, exact but for 64-bit integers over 2^53.
//! Units: none. Does not know formats.

/// A binary number type.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scalar {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    I64,
    U64,
    F32,
    F64,
}

impl Scalar {
    /// Bytes that it takes.
    pub const fn size(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::I64 | Self::U64 | Self::F64 => 8,
        }
    }

    /// The number at the beginning of `bytes`, if there are enough.
    pub fn decode(self, bytes: &[u8], is_big_endian: bool) -> Option<f64> {
        Some(match self {
            Self::I8 => f64::from(i8::from_le_bytes(take(bytes, is_big_endian)?)),
            Self::U8 => f64::from(*bytes.first()?),
            Self::I16 => f64::from(i16::from_le_bytes(take(bytes, is_big_endian)?)),
            Self::U16 => f64::from(u16::from_le_bytes(take(bytes, is_big_endian)?)),
            Self::I32 => f64::from(i32::from_le_bytes(take(bytes, is_big_endian)?)),
            Self::U32 => f64::from(u32::from_le_bytes(take(bytes, is_big_endian)?)),
            Self::I64 => i64::from_le_bytes(take(bytes, is_big_endian)?) as f64,
            Self::U64 => u64::from_le_bytes(take(bytes, is_big_endian)?) as f64,
            Self::F32 => f64::from(f32::from_le_bytes(take(bytes, is_big_endian)?)),
            Self::F64 => f64::from_le_bytes(take(bytes, is_big_endian)?),
        })
    }
}

/// The first `N` bytes, least significant first.
fn take<const N: usize>(bytes: &[u8], is_big_endian: bool) -> Option<[u8; N]> {
    let mut array = *bytes.first_chunk::<N>()?;
    if is_big_endian {
        array.reverse();
    }
    Some(array)
}
