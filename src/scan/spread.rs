//! Work over many pieces (stations, parts of a scan) that do not wait for one another.
//!
//! In: how many, and what to do for each. Out: what each gave, in order; so it does not matter who runs them, or when.
//! The pipeline gives a [`Spread`] with threads, everybody else takes [`InOrder`].
//! Does not know threads.

use std::sync::OnceLock;

/// Runs `work` once for every number below `count`, in any order, and comes back when all are done.
pub trait Spread: Sync {
    /// See the trait.
    fn each(&self, count: usize, work: &(dyn Fn(usize) + Sync));
}

/// One after the other.
#[derive(Debug, Clone, Copy)]
pub struct InOrder;

impl Spread for InOrder {
    fn each(&self, count: usize, work: &(dyn Fn(usize) + Sync)) {
        (0..count).for_each(work);
    }
}

/// What `make` gives for every number below `count`, in order.
pub fn gather<T: Send + Sync>(spread: &dyn Spread, count: usize, make: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let places: Vec<OnceLock<T>> = (0..count).map(|_| OnceLock::new()).collect();
    spread.each(count, &|index| {
        places[index].get_or_init(|| make(index));
    });
    places.into_iter().filter_map(OnceLock::into_inner).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Backwards;

    impl Spread for Backwards {
        fn each(&self, count: usize, work: &(dyn Fn(usize) + Sync)) {
            (0..count).rev().for_each(work);
        }
    }

    #[test]
    fn the_order_of_the_work_does_not_show() {
        let square = |index: usize| index * index;
        assert_eq!(gather(&Backwards, 5, square), [0, 1, 4, 9, 16]);
        assert_eq!(gather(&InOrder, 5, square), gather(&Backwards, 5, square));
    }
}
