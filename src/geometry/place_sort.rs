//! Sorts millions of points along a line.
//!
//! In: items with a place on a line (finite, any unit) and a full order that goes by place first. Out: sorted by that order.
//! Method: one pass of a bucket sort with some four items a bucket, then each bucket on its own: linear time for places that
//! are spread like a scan's, and never worse than a comparison sort. Needs room for a second copy of the items.
//! Does not need the items to be in any order, but is fastest where they nearly are.

use std::cmp::Ordering;

/// Items that share a bucket on average.
const ITEMS_PER_BUCKET: usize = 4;
/// Fewer items than this are sorted at once.
const FEWEST_ITEMS: usize = 64;

/// Sorts by `order`, under which an item with a lower `place` never comes after one with a higher.
pub fn sort_along<T: Copy>(
    items: &mut Vec<T>,
    place: impl Fn(&T) -> f32,
    order: impl Fn(&T, &T) -> Ordering,
) {
    let (low, high) = items
        .iter()
        .map(&place)
        .fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), at| (low.min(at), high.max(at)));
    let is_spread = low < high && (high - low).is_finite();
    let (Some(filler), true) = (items.first().copied(), is_spread && items.len() >= FEWEST_ITEMS) else {
        items.sort_unstable_by(order);
        return;
    };
    let bucket_count = items.len() / ITEMS_PER_BUCKET;
    let per_place = (bucket_count - 1) as f32 / (high - low);
    // Monotone in the place whatever the rounding: subtraction, product and cut-off all are.
    let bucket_of = |item: &T| (((place(item) - low) * per_place) as usize).min(bucket_count - 1);
    let mut ends = vec![0_u32; bucket_count + 1];
    for item in items.iter() {
        ends[bucket_of(item) + 1] += 1;
    }
    for bucket in 1..ends.len() {
        ends[bucket] += ends[bucket - 1];
    }
    // `ends[b]` is where bucket b starts; it moves on to where it ends as the bucket fills.
    let mut sorted = vec![filler; items.len()];
    for item in items.iter() {
        let end = &mut ends[bucket_of(item)];
        sorted[*end as usize] = *item;
        *end += 1;
    }
    let mut start = 0;
    for end in &ends[..bucket_count] {
        sorted[start..*end as usize].sort_unstable_by(&order);
        start = *end as usize;
    }
    *items = sorted;
}

#[cfg(test)]
mod tests {
    use super::*;

    fn by_place_then_number(left: &(f32, u32), right: &(f32, u32)) -> Ordering {
        left.0.total_cmp(&right.0).then(left.1.cmp(&right.1))
    }

    fn check(places: impl Iterator<Item = f32>) {
        let mut items: Vec<(f32, u32)> = places.zip((0..).map(|index: u32| index * 7919 % 1000)).collect();
        let mut expected = items.clone();
        expected.sort_by(by_place_then_number);
        sort_along(&mut items, |item| item.0, by_place_then_number);
        assert_eq!(items, expected);
    }

    #[test]
    fn the_order_is_that_of_a_comparison_sort() {
        check((0..5000_u32).map(|index| (index.wrapping_mul(2_654_435_761) % 9973) as f32 * 0.1 - 300.0));
        check((0..5000).map(|index| (index as f32 * 0.37).sin().powi(9)));
    }

    #[test]
    fn few_equal_and_wild_places_are_sorted_too() {
        check([3.0, 1.0, 2.0].into_iter());
        check(std::iter::repeat_n(5.0, 100));
        check((0..100).map(|index| if index == 50 { f32::MAX } else { -index as f32 }));
        check((0..100).map(|index| if index % 2 == 0 { f32::MAX } else { f32::MIN }));
        check(std::iter::empty());
    }
}
