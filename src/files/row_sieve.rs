//! Drops rows that a sink's sieve does not want, before anything else of them is decoded.
//!
//! In: the bytes of whole rows, and how a position stands in one. Out: the numbers of the rows to decode. Units: mm.
//! Method: two passes without branches, because on a whole car no branch predictor knows what comes next: first who lies in
//! the sieve's box, then who of those lies in a marked cell. Each writes the row's number and steps on only if it stays.
//! Keeps exactly the rows for which [`Sieve::cell`] has a cell.

use crate::scan::Sieve;

/// Rows that stay, of one run.
#[derive(Debug)]
pub(super) struct RowSieve {
    kept: Vec<u32>,
    places: Vec<[f64; 3]>,
}

/// What a run of rows came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sifted {
    pub kept: usize,
    pub not_finite: u64,
}

impl RowSieve {
    /// For runs of at most so many rows.
    pub fn new(most_rows: usize) -> Self {
        Self { kept: vec![0; most_rows], places: vec![[0.0; 3]; most_rows] }
    }

    /// Sifts a run; `position` gives a row's position in mm.
    #[inline]
    pub fn sift(
        &mut self,
        rows: &[u8],
        stride: usize,
        sieve: &Sieve,
        position: impl Fn(&[u8]) -> [f64; 3],
    ) -> Sifted {
        let (in_box, not_finite) = self.sift_box(rows, stride, sieve, position);
        let mut kept = 0;
        for index in 0..in_box {
            let (Some(row), Some(places)) = (self.kept.get(index).copied(), self.places.get(index)) else {
                break;
            };
            let is_wanted = sieve.is_marked(sieve.number(places.map(|place| place as usize)));
            if let Some(slot) = self.kept.get_mut(kept) {
                *slot = row;
            }
            kept += usize::from(is_wanted);
        }
        Sifted { kept, not_finite }
    }

    fn sift_box(
        &mut self,
        rows: &[u8],
        stride: usize,
        sieve: &Sieve,
        position: impl Fn(&[u8]) -> [f64; 3],
    ) -> (usize, u64) {
        let (mut in_box, mut not_finite) = (0, 0);
        let most = self.kept.len().min(self.places.len());
        for (number, row) in (0_u32..).zip(rows.chunks_exact(stride).take(most)) {
            let [x_mm, y_mm, z_mm] = position(row);
            let places = sieve.places([x_mm, y_mm, z_mm]);
            // Zero times a number is zero, unless the number is infinite or none.
            not_finite += u64::from(x_mm * 0.0 + y_mm * 0.0 + z_mm * 0.0 != 0.0);
            if let (Some(slot), Some(place)) = (self.kept.get_mut(in_box), self.places.get_mut(in_box)) {
                *slot = number;
                *place = places;
            }
            in_box += usize::from(sieve.is_in_box(places));
        }
        (in_box, not_finite)
    }

    /// The rows that stayed of the run last sifted, in order.
    pub fn rows<'b>(
        &'b self,
        rows: &'b [u8],
        stride: usize,
        sifted: Sifted,
    ) -> impl Iterator<Item = &'b [u8]> + Clone {
        let kept = self.kept.get(..sifted.kept).unwrap_or_default();
        kept.iter().filter_map(move |number| {
            let start = *number as usize * stride;
            rows.get(start..start + stride)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn position(row: &[u8]) -> [f64; 3] {
        [f64::from(row[0]), f64::from(row[1]), if row[2] == 255 { f64::NAN } else { f64::from(row[2]) }]
    }

    #[test]
    fn the_rows_that_stay_are_those_whose_cell_is_marked() {
        let mut sieve = Sieve::new([10.0, 10.0, 10.0], 20.0, [4, 3, 2]);
        for cell in [0, 5, 7, 23] {
            sieve.mark(cell);
        }
        // Places that go round the box in steps with no common divisor; some are no numbers.
        let rows: Vec<u8> = (0..3000_u32)
            .flat_map(|index| [(index * 7 % 120) as u8, (index * 11 % 101) as u8, (index * 13 % 64) as u8])
            .chain([30, 30, 255])
            .collect();
        let mut row_sieve = RowSieve::new(3001);
        let sifted = row_sieve.sift(&rows, 3, &sieve, position);
        let expected: Vec<&[u8]> =
            rows.chunks_exact(3).filter(|row| sieve.cell(position(row)).is_some()).collect();
        assert!(expected.len() > 100 && expected.len() < 2000, "{}", expected.len());
        assert_eq!(row_sieve.rows(&rows, 3, sifted).collect::<Vec<_>>(), expected);
        assert_eq!(sifted, Sifted { kept: expected.len(), not_finite: 1 });
    }
}
