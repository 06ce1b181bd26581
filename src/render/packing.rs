//! Where several drawings of one scale go on a sheet, so that they are as large as it allows.
//!
//! In: widths and heights (mm), the room round each, and the sheet's width and greatest height (picture units).
//! Out: one scale for all and the upper left corner of each. Order is kept: down a column, then the next column.
//! Method: every way of cutting the row of drawings into columns is tried (there are four views, so eight ways); in each
//! the scale follows from the widths, and from the height where that is less; the largest scale wins, then the lesser height.
//! Does not turn drawings.

/// One scale and the place of each drawing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Packing {
    /// Picture units for a millimetre.
    pub per_mm: f64,
    /// Upper left corners, room included, in the order of the drawings.
    pub corners: Vec<[f64; 2]>,
    pub height: f64,
}

/// More drawings than this stand in one column: the ways to cut them would be too many to try.
const MOST_TRIED: usize = 10;

/// Packs drawings of `sizes` mm with `room` units about each on a sheet of `width` and at most `most_height`.
pub(super) fn pack(sizes: &[[f64; 2]], room: [f64; 2], [width, most_height]: [f64; 2]) -> Packing {
    let cuts = if sizes.len() > MOST_TRIED { 1u32 } else { 1 << sizes.len().saturating_sub(1) };
    let mut best: Option<Packing> = None;
    for cut in 0..cuts {
        let packing = packed(&columns(sizes.len(), cut), sizes, room, [width, most_height]);
        let is_better = best.as_ref().is_none_or(|best| {
            let gain = packing.per_mm / best.per_mm;
            gain > 1.001 || (gain > 0.999 && packing.height < best.height)
        });
        if is_better {
            best = Some(packing);
        }
    }
    best.unwrap_or(Packing { per_mm: 1.0, corners: Vec::new(), height: 0.0 })
}

/// Cuts the drawings' numbers after each set bit.
fn columns(count: usize, cut: u32) -> Vec<Vec<usize>> {
    let mut columns: Vec<Vec<usize>> = vec![Vec::new()];
    for index in 0..count {
        if let Some(last) = columns.last_mut() {
            last.push(index);
        }
        if index + 1 < count && cut >> index & 1 == 1 {
            columns.push(Vec::new());
        }
    }
    columns
}

fn packed(columns: &[Vec<usize>], sizes: &[[f64; 2]], room: [f64; 2], sheet: [f64; 2]) -> Packing {
    let widest_mm = |column: &Vec<usize>| column.iter().map(|index| sizes[*index][0]).fold(1.0, f64::max);
    let total_mm: f64 = columns.iter().map(widest_mm).sum();
    let mut per_mm = (sheet[0] - room[0] * columns.len() as f64).max(1.0) / total_mm;
    for column in columns {
        let tall_mm: f64 = column.iter().map(|index| sizes[*index][1]).sum();
        let free = (sheet[1] - room[1] * column.len() as f64).max(1.0);
        if tall_mm > 0.0 {
            per_mm = per_mm.min(free / tall_mm);
        }
    }
    let used: f64 = total_mm * per_mm + room[0] * columns.len() as f64;
    let spread = ((sheet[0] - used) / columns.len() as f64).max(0.0);
    let mut corners = vec![[0.0, 0.0]; sizes.len()];
    let (mut left, mut height) = (spread / 2.0, 0.0f64);
    for column in columns {
        let mut top = 0.0;
        for index in column {
            corners[*index] = [left, top];
            top += sizes[*index][1] * per_mm + room[1];
        }
        height = height.max(top);
        left += widest_mm(column) * per_mm + room[0] + spread;
    }
    Packing { per_mm, corners, height }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: a square above and three low views. On a wide sheet the low ones stand beside it, on a narrow one below.
    #[test]
    fn a_wide_sheet_gets_columns_and_a_narrow_one_a_single_column() {
        let sizes = [[1000.0, 1000.0], [1000.0, 200.0], [1000.0, 200.0], [1000.0, 200.0]];
        let wide = pack(&sizes, [20.0, 30.0], [900.0, 520.0]);
        assert_eq!(
            wide.corners.iter().map(|corner| corner[0] > 300.0).collect::<Vec<_>>(),
            [false, true, true, true]
        );
        assert!((wide.per_mm - 0.43).abs() < 1e-9, "(900 - 40) / 2000 mm: {}", wide.per_mm);
        assert!(wide.height <= 520.0);
        let narrow = pack(&sizes, [20.0, 30.0], [340.0, 900.0]);
        assert!(narrow.corners.iter().all(|corner| corner[0] == 0.0));
        assert!((narrow.per_mm - 0.32).abs() < 1e-9);
    }

    #[test]
    fn nothing_and_flat_things_are_packed_too() {
        assert!(pack(&[], [1.0, 1.0], [100.0, 100.0]).corners.is_empty());
        let flat = pack(&[[0.0, 0.0]], [1.0, 1.0], [100.0, 100.0]);
        assert!(flat.per_mm.is_finite() && flat.height.is_finite());
    }
}
