//! Who does the work of looking at a scan, and who hears how far it is.
//!
//! In: parts of a scan. Out: what each part gave, put together in the parts' order, so that sums do not depend on who read
//! what when. Does not know threads: whoever calls brings a [`Spread`].

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

use crate::scan::{InOrder, ScanFailure, Spread};

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

struct Waiting<T, Whole> {
    next: usize,
    early: BTreeMap<usize, T>,
    whole: Whole,
    failure: Option<ScanFailure>,
}

impl Hands<'_> {
    /// Reads all parts and folds what they gave into `whole`, in the parts' order.
    ///
    /// # Errors
    /// The first part that failed.
    pub(super) fn read_parts<T: Send, Whole: Send>(
        &self,
        (look, parts): (Look, usize),
        whole: Whole,
        read: impl Fn(usize) -> Result<T, ScanFailure> + Sync,
        fold: impl Fn(&mut Whole, T) + Sync,
    ) -> Result<Whole, ScanFailure> {
        let waiting = Mutex::new(Waiting { next: 0, early: BTreeMap::new(), whole, failure: None });
        let lock = || waiting.lock().unwrap_or_else(PoisonError::into_inner);
        self.spread.each(parts, &|part| {
            if lock().failure.is_some() {
                return;
            }
            let result = read(part);
            let mut waiting = lock();
            match result {
                Ok(gave) => {
                    waiting.early.insert(part, gave);
                }
                Err(failure) => waiting.failure = waiting.failure.take().or(Some(failure)),
            }
            let place = waiting.next;
            let mut place = place;
            while let Some(gave) = waiting.early.remove(&place) {
                fold(&mut waiting.whole, gave);
                place += 1;
            }
            waiting.next = place;
            self.watch.looked(look, place, parts);
        });
        let waiting = waiting.into_inner().unwrap_or_else(PoisonError::into_inner);
        waiting.failure.map_or(Ok(waiting.whole), Err)
    }

    /// What `make` gives for runs of `count` things, end to end.
    pub(super) fn in_runs<T: Send + Sync>(
        &self,
        count: usize,
        make: impl Fn(std::ops::Range<usize>) -> Vec<T> + Sync,
    ) -> Vec<T> {
        /// Things in a run: some milliseconds of work.
        const RUN: usize = 4096;
        let runs = count.div_ceil(RUN);
        let done = std::sync::atomic::AtomicUsize::new(0);
        let gave = crate::scan::gather(self.spread, runs, |run| {
            let made = make(run * RUN..count.min((run + 1) * RUN));
            self.watch.searched(1 + done.fetch_add(1, std::sync::atomic::Ordering::Relaxed), runs);
            made
        });
        gave.into_iter().flatten().collect()
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
        let whole = hands
            .read_parts((Look::Survey, 5), Vec::new(), Ok, |whole: &mut Vec<usize>, part| whole.push(part));
        assert_eq!(whole.unwrap(), [0, 1, 2, 3, 4]);
        assert_eq!(hands.in_runs(10_000, Vec::from_iter), Vec::from_iter(0..10_000));
    }

    #[test]
    fn a_failure_is_told() {
        let failed = Hands::one().read_parts(
            (Look::Survey, 3),
            (),
            |part| if part == 1 { Err(ScanFailure("cut off".to_owned())) } else { Ok(()) },
            |(), ()| (),
        );
        assert_eq!(failed, Err(ScanFailure("cut off".to_owned())));
    }
}
