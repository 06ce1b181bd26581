//! Who does the work of looking at a scan, and who hears how far it is.
//!
//! In: parts of a scan. Out: what each part gave, in the parts' order, so that what is made of it does not depend on who read
//! what when. Does not know threads: whoever calls brings a [`Spread`].

use std::ops::Range;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use crate::scan::{InOrder, ScanFailure, Spread, gather};

/// Things in a run: some milliseconds of work.
pub(super) const RUN: usize = 4096;

/// One of the two passes over a scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// Everything, coarsely.
    Survey,
    /// Where edges may be, finely.
    CloseUp,
}

/// Hears how far the work is; every method may stay as it is.
pub trait TraceWatch: Sync {
    /// So many parts of the scan have been looked at.
    fn looked(&self, _look: Look, _parts_done: usize, _parts: usize) {}
    /// So many pieces of the search for edges are done.
    fn searched(&self, _done: usize, _all: usize) {}
}

/// Nobody watches.
#[derive(Debug, Clone, Copy)]
pub struct Alone;

impl TraceWatch for Alone {}

/// Who works and who watches.
pub struct Hands<'a> {
    pub spread: &'a dyn Spread,
    pub watch: &'a dyn TraceWatch,
}

impl Hands<'static> {
    /// One part after the other, unwatched.
    #[must_use]
    pub fn one() -> Self {
        Self { spread: &InOrder, watch: &Alone }
    }
}

impl Hands<'_> {
    /// What `read` gives for some of a scan's parts, in the parts' order.
    ///
    /// # Errors
    /// The first part that failed.
    pub(super) fn read_parts<T: Send + Sync>(
        &self,
        (look, some, all): (Look, Range<usize>, usize),
        read: impl Fn(usize) -> Result<T, ScanFailure> + Sync,
    ) -> Result<Vec<T>, ScanFailure> {
        let done = AtomicUsize::new(some.start);
        let has_failed = AtomicBool::new(false);
        let gave = gather(self.spread, some.len(), |index| {
            if has_failed.load(Ordering::Relaxed) {
                return None;
            }
            let result = read(some.start + index);
            has_failed.fetch_or(result.is_err(), Ordering::Relaxed);
            self.watch.looked(look, 1 + done.fetch_add(1, Ordering::Relaxed), all);
            Some(result)
        });
        gave.into_iter().flatten().collect()
    }

    /// Lets `change` at each place, told its number.
    pub(super) fn change<T: Send>(&self, places: &mut [T], change: impl Fn(usize, &mut T) + Sync) {
        let mut runs: Vec<&mut [T]> = places.chunks_mut(RUN).collect();
        self.change_each(&mut runs, |run, places| {
            for (number, place) in places.iter_mut().enumerate() {
                change(run * RUN + number, place);
            }
        });
    }

    /// The same for places that take long.
    pub(super) fn change_each<T: Send>(&self, places: &mut [T], change: impl Fn(usize, &mut T) + Sync) {
        let places: Vec<Mutex<&mut T>> = places.iter_mut().map(Mutex::new).collect();
        self.spread.each(places.len(), &|number| {
            change(number, &mut places[number].lock().unwrap_or_else(PoisonError::into_inner));
        });
    }

    /// What `make` gives for runs of `count` things, run by run.
    pub(super) fn by_runs<T: Send + Sync>(
        &self,
        count: usize,
        make: impl Fn(Range<usize>) -> T + Sync,
    ) -> Vec<T> {
        let runs = count.div_ceil(RUN);
        let done = AtomicUsize::new(0);
        gather(self.spread, runs, |run| {
            let made = make(run * RUN..count.min((run + 1) * RUN));
            self.watch.searched(1 + done.fetch_add(1, Ordering::Relaxed), runs);
            made
        })
    }

    /// The same, end to end.
    pub(super) fn in_runs<T: Send + Sync>(
        &self,
        count: usize,
        make: impl Fn(Range<usize>) -> Vec<T> + Sync,
    ) -> Vec<T> {
        let gave = self.by_runs(count, make);
        let mut all = Vec::with_capacity(gave.iter().map(Vec::len).sum());
        gave.into_iter().for_each(|made| all.extend(made));
        all
    }
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
    fn parts_are_put_together_in_their_own_order() {
        let hands = Hands { spread: &Backwards, watch: &Alone };
        assert_eq!(hands.read_parts((Look::Survey, 2..5, 7), Ok).unwrap(), [2, 3, 4]);
        assert_eq!(hands.in_runs(10_000, Vec::from_iter), Vec::from_iter(0..10_000));
        let mut places = vec![0; 10_000];
        hands.change(&mut places, |number, place| *place = number);
        assert_eq!(places, Vec::from_iter(0..10_000));
    }

    #[test]
    fn a_failure_is_told() {
        let failed = Hands::one().read_parts((Look::Survey, 0..3, 3), |part| {
            if part == 1 { Err(ScanFailure("cut off".to_owned())) } else { Ok(()) }
        });
        assert_eq!(failed, Err(ScanFailure("cut off".to_owned())));
    }
}
